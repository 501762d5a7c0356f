"""What a board is to the world around it: pins and bytes in, pins and bytes out, in virtual time.

The model board (`sim/board/board.py`), the native core and the emulated chip all show this face, so
that one simulator and one conformance suite serve the three. Times are whole microseconds since
the world began and never go back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Times = npt.NDArray[np.int64]
Pins = npt.NDArray[np.uint8]

BYTE_US = 40  # ten bits at 250000 baud
PIN_A, PIN_B, PIN_LEFT, PIN_RIGHT, PIN_MIDDLE = 1, 2, 4, 8, 16  # a sensor is on when its level is 0

POWER_ON, RESET_PIN, BROWN_OUT, WATCHDOG = 1, 2, 4, 8

# Register value (bit i is coil i) and output enable in; converter counts of supply and current out.
Analog = Callable[[int, bool], tuple[int, int]]


@dataclass(frozen=True)
class Signals:
    """What the output pins did: one entry for each change of any of them, in order of time."""

    at_us: Times
    register: npt.NDArray[np.uint16]
    enabled: npt.NDArray[np.bool_]
    lamp: npt.NDArray[np.bool_]
    buzzer: npt.NDArray[np.bool_]


class Board(Protocol):
    """A board under power. Calls come in order of time; each first runs the board up to its time."""

    def power(self, at_us: int, cause: int) -> None:
        """Start, or start again, with this reset cause. What outlives power is kept."""

    def run(self, until_us: int) -> None:
        """Let time pass."""

    def edges(self, at_us: Times, pins: Pins) -> int:
        """Changes of the sensor pins: from at_us[i] on their levels are pins[i].

        Tells how many of them were taken: all, but for a board that stops where its lamp goes dark; it has come to
        the time of the first that it has left.
        """

    def receive(self, at_us: int, data: bytes) -> None:
        """Bytes from the host; the first is complete at at_us, the others BYTE_US apart."""

    def sent(self) -> list[tuple[int, bytes]]:
        """Bytes sent since the last call, each with the time at which its first byte is complete."""

    def signals(self) -> Signals:
        """What the outputs did since the last call."""

    @property
    def memory(self) -> bytes:
        """The 1024 bytes that outlive power."""

    @memory.setter
    def memory(self, data: bytes) -> None: ...
