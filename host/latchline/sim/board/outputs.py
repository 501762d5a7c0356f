"""What the output pins of a board did: a record of their changes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from latchline.sim.face import Signals, Times

NO_SIGNALS = Signals(np.zeros(0, np.int64), np.zeros(0, np.uint16), *(np.zeros(0, bool) for _ in range(3)))


class Outputs:
    """Gathers changes one by one or many at a time; `taken` hands them over and begins afresh."""

    def __init__(self) -> None:
        self._state = (0, False, False, False)
        self._rows: list[tuple[int, int, bool, bool, bool]] = []  # the newest, those before are in the parts
        self._parts: list[npt.NDArray[np.int64]] = []

    def show(self, at_us: int, register: int, enabled: bool, lamp: bool, buzzer: bool) -> None:
        state = (register, enabled, lamp, buzzer)
        if state == self._state:
            return
        self._state = state
        if self._rows and self._rows[-1][0] == at_us:
            self._rows.pop()
        self._rows.append((at_us, *state))

    def registers(self, at_us: Times, register: npt.NDArray[np.int64]) -> None:
        """Changes of the register alone."""
        if not len(at_us):
            return
        if self._rows and self._rows[-1][0] == at_us[0]:
            self._rows.pop()
        _, enabled, lamp, buzzer = self._state
        rows = np.empty((len(at_us), 5), np.int64)
        rows[:, 0], rows[:, 1], rows[:, 2:] = at_us, register, (enabled, lamp, buzzer)
        self._parts += [self._newest(), rows[:-1]]
        self._state = (int(register[-1]), enabled, lamp, buzzer)
        self._rows = [(int(at_us[-1]), *self._state)]

    def _newest(self) -> npt.NDArray[np.int64]:
        return np.array(self._rows, np.int64).reshape(-1, 5)

    def taken(self) -> Signals:
        if not self._rows:
            return NO_SIGNALS
        table = np.concatenate([*self._parts, self._newest()]).T
        self._rows, self._parts = [], []
        return Signals(
            np.ascontiguousarray(table[0]),
            table[1].astype(np.uint16),
            table[2].astype(bool),
            table[3].astype(bool),
            table[4].astype(bool),
        )
