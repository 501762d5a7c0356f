"""From where the carriage is to what the board's sensor pins show, faults of the sensors included."""

from __future__ import annotations

import numpy as np

from latchline.machine.profile import Profile
from latchline.sim.carriage import Motion, Places
from latchline.sim.face import PIN_A, PIN_B, PIN_LEFT, PIN_RIGHT, Pins, Times
from latchline.sim.faults import Faults

BOUNCE_US = 60  # a contact that bounces goes back and forth within this
_QUADRATURE = np.array([0, PIN_A, PIN_A | PIN_B, PIN_B], np.uint8)  # rightward


class Sensors:
    """The encoder and the two end sensors of one machine."""

    def __init__(self, profile: Profile, faults: Faults, rng: np.random.Generator, place: int) -> None:
        self.profile, self.faults = profile, faults
        self._rng = rng
        self._table = np.array([shown(level, faults) for level in range(16)], np.uint8)
        self._offset = 0  # edges that the encoder has lost or made up
        self._edges = 0
        self._place = place
        self.pins = int(self._damaged(self._levels(np.array([place]), np.zeros(1, np.int64)))[0])

    def _levels(self, places: Places, offset: Places) -> Pins:
        pins: Pins = _QUADRATURE[(places + offset) % 4]
        pins[places > self.profile.left_sensor_edge] |= PIN_LEFT
        pins[places < self.profile.right_sensor_edge] |= PIN_RIGHT
        return pins

    def _damaged(self, pins: Pins) -> Pins:
        shown: Pins = self._table[pins]
        return shown

    def sense(self, motion: Motion) -> tuple[Times, Pins]:
        """Every change of the pins that this motion makes, in order."""
        at_us, places = motion.at_us, motion.places
        if not self.faults.by_name or not len(motion):
            return at_us, self._levels(places, np.zeros(1, np.int64))
        offset = np.full(len(places), self._offset, np.int64)
        count, steps = len(places), np.sign(np.diff(places, prepend=self._place))
        for name, slip in (("lost", -1), ("extra", 1)):
            for edge in self.faults.struck(name, self._edges, count, self._rng):
                offset[edge:] += slip * steps[edge]
        bounces = self.faults.struck("bounce", self._edges, count, self._rng)
        self._edges += count
        self._place = int(places[-1])
        self._offset = int(offset[-1])
        pins = self._levels(places, offset)
        if bounces:
            at_us, pins = self._bounced(at_us, pins, bounces)
        pins = self._damaged(pins)
        changed = np.diff(pins, prepend=np.uint8(self.pins)) != 0
        self.pins = int(pins[-1])
        return at_us[changed], pins[changed]

    def _bounced(self, at_us: Times, pins: Pins, edges: list[int]) -> tuple[Times, Pins]:
        """After each of these edges the contact opens and closes once more."""
        before = [pins[edge - 1] if edge else np.uint8(self.pins) for edge in edges]
        where = np.repeat(np.array(edges) + 1, 2)
        again = np.array([pin for old, edge in zip(before, edges, strict=True) for pin in (old, pins[edge])], np.uint8)
        times = np.array([at_us[edge] + part * BOUNCE_US // 3 for edge in edges for part in (1, 2)], np.int64)
        return np.insert(at_us, where, times), np.insert(pins, where, again)


def shown(level: int, faults: Faults) -> int:
    """What the four pins show in place of `level`."""
    a, b, left, right = (level >> bit & 1 for bit in range(4))
    if "channels-swapped" in faults:
        a, b = b, a
    if "ends-swapped" in faults:
        left, right = right, left
    stuck = ("a-dead", "b-dead", "left-stuck", "right-stuck")  # each pin then stays at 0, which is "on" for an end
    a, b, left, right = (0 if name in faults else pin for name, pin in zip(stuck, (a, b, left, right), strict=True))
    return a | b << 1 | left << 2 | right << 3
