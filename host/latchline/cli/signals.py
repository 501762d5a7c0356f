"""Ends and halts that come from outside: told to stop, terminal closed, Ctrl-Z."""

from __future__ import annotations

import os
import signal
from types import FrameType, TracebackType
from typing import Any


class Signals:
    """While this is entered, SIGTERM and SIGHUP end the program as Ctrl-C does, and Ctrl-Z only sets `halt`."""

    def __init__(self) -> None:
        self.halt = False
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Signals:
        for name, handler in (("SIGTERM", _end), ("SIGHUP", _end), ("SIGTSTP", self._note)):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                self._before[number] = signal.signal(number, handler)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.halt = True

    def sleep(self) -> None:
        """Halt this program until it is brought back."""
        self.halt = False
        os.kill(os.getpid(), signal.SIGSTOP)


def _end(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt
