"""One hand at the desk: whatever touches the open piece is done by one thread, one thing after another."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from typing import Any, TypeVar

Value = TypeVar("Value")


class Worker:
    """A thread that does what it is given in order. It never holds up the end of the program."""

    def __init__(self, name: str) -> None:
        self._todo: queue.SimpleQueue[tuple[Callable[[], Any], asyncio.AbstractEventLoop, asyncio.Future[Any]]] = (
            queue.SimpleQueue()
        )
        threading.Thread(target=self._run, name=name, daemon=True).start()

    async def do(self, work: Callable[[], Value]) -> Value:
        """The result of `work`; what it raises is raised here."""
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Value] = loop.create_future()
        self._todo.put((work, loop, future))
        return await future

    def _run(self) -> None:
        while True:
            work, loop, future = self._todo.get()
            if future.cancelled():
                continue
            try:
                value, error = work(), None
            except Exception as raised:
                value, error = None, raised
            try:
                loop.call_soon_threadsafe(_settle, future, value, error)
            except RuntimeError:  # the loop has ended, and nobody waits any more
                return


def _settle(future: asyncio.Future[Any], value: Any, error: Exception | None) -> None:
    if future.cancelled():
        return
    if error is not None:
        future.set_exception(error)
    else:
        future.set_result(value)
