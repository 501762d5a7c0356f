"""A desk of its own for a test, run as the command runs it."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import httpx


@dataclass
class Served:
    """A running desk. address: the line that it printed."""

    process: subprocess.Popen[str]
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


@contextlib.contextmanager
def served(*arguments: object, home: Path) -> Iterator[Served]:
    """Run `latchline desk` with these arguments. home: where it keeps journals and settings."""
    command = [sys.executable, "-m", "latchline", "desk", "--no-browser", *(str(word) for word in arguments)]
    environment = os.environ | {"HOME": str(home), "XDG_STATE_HOME": str(home), "XDG_DATA_HOME": str(home)}
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, cwd=home
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:"), process.stderr.read() if process.stderr else ""
        yield Served(process, address)
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGCONT)
            process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=20)
        finally:
            process.kill()
