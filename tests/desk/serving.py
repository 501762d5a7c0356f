"""A desk of its own for a test, run as the command runs it."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Coroutine, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlsplit

import httpx
import uvicorn

from latchline.desk import serve
from latchline.desk.desk import Desk
from latchline.desk.guard import Keys

Found = TypeVar("Found")


def run_apart(work: Coroutine[Any, Any, Found]) -> Found:
    """What it comes to, found in a thread of its own: a browser that other tests have open keeps a loop in this one."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, work).result()


@dataclass
class Reached:
    """A desk that can be reached. address: the line that it prints, with its key."""

    address: str

    @property
    def origin(self) -> str:
        parts = urlsplit(self.address)
        return f"{parts.scheme}://{parts.netloc}"

    @property
    def port(self) -> int:
        port = urlsplit(self.address).port
        assert port is not None
        return port

    @property
    def key(self) -> str:
        return urlsplit(self.address).fragment.removeprefix("key=")

    def client(self, **headers: str) -> httpx.Client:
        given = {"X-Latchline-Key": self.key} | headers
        return httpx.Client(base_url=self.origin, headers=given, timeout=30, trust_env=False)


@dataclass
class Served(Reached):
    """A running desk, as the command runs it."""

    process: subprocess.Popen[str]


@contextlib.contextmanager
def served(
    *arguments: object, home: Path, command: Sequence[object] = (sys.executable, "-m", "latchline")
) -> Iterator[Served]:
    """Run `latchline desk` with these arguments. home: where it keeps journals and settings."""
    words = [str(word) for word in (*command, "desk", "--no-browser", *arguments)]
    environment = os.environ | {"HOME": str(home), "XDG_STATE_HOME": str(home), "XDG_DATA_HOME": str(home)}
    process = subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, cwd=home
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:"), process.stderr.read() if process.stderr else ""
        yield Served(address, process)
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGCONT)
            process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=20)
        finally:
            process.kill()


@contextlib.contextmanager
def hosted(source: Path) -> Iterator[tuple[Reached, Desk]]:
    """A desk in a thread of this process, so that a test sees the simulated board on which a page knits."""
    with serve.listen(serve.LOOPBACK, 0) as listening:
        keys, address = Keys(), serve.Address(listening.getsockname()[1])
        desk = Desk(source, keys, address)
        server = uvicorn.Server(serve.config(desk))
        running = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        running.start()
        try:
            yield Reached(address.page(keys.own)), desk
        finally:
            desk.close()
            server.should_exit = server.force_exit = True
            running.join(20)
