"""What the output pins of a board did: a record of their changes."""

from __future__ import annotations

import numpy as np

from latchline.sim.face import Signals

NO_SIGNALS = Signals(np.zeros(0, np.int64), np.zeros(0, np.uint16), *(np.zeros(0, bool) for _ in range(3)))


class Outputs:
    """Gathers changes one by one or many at a time; `taken` hands them over and begins afresh."""

    def __init__(self) -> None:
        self._state = (0, False, False, False)
        self._rows: list[tuple[int, int, bool, bool, bool]] = []

    def show(self, at_us: int, register: int, enabled: bool, lamp: bool, buzzer: bool) -> None:
        state = (register, enabled, lamp, buzzer)
        if state == self._state:
            return
        self._state = state
        if self._rows and self._rows[-1][0] == at_us:
            self._rows.pop()
        self._rows.append((at_us, *state))

    def registers(self, at_us: list[int], register: list[int]) -> None:
        """Changes of the register alone."""
        if at_us:
            _, enabled, lamp, buzzer = self._state
            self._state = (register[-1], enabled, lamp, buzzer)
            self._rows += [(at, word, enabled, lamp, buzzer) for at, word in zip(at_us, register, strict=True)]

    def taken(self) -> Signals:
        rows, self._rows = self._rows, []
        if not rows:
            return NO_SIGNALS
        table = np.array(rows, np.int64).T
        return Signals(
            np.ascontiguousarray(table[0]),
            table[1].astype(np.uint16),
            table[2].astype(bool),
            table[3].astype(bool),
            table[4].astype(bool),
        )
