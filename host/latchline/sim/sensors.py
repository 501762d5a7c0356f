"""From where the carriage is to what the board's sensor pins show, faults of the sensors included."""

from __future__ import annotations

import numpy as np

from latchline.machine.profile import Profile
from latchline.sim.carriage import Motion
from latchline.sim.face import PIN_A, PIN_B, PIN_LEFT, PIN_RIGHT, Pins, Times
from latchline.sim.faults import Faults

PULSE_US = 20  # a contact that bounces opens and closes again within two of these
HELD = {"gap": (PIN_A | PIN_B, 4), "a-drops": (PIN_A, 8), "b-drops": (PIN_B, 8)}  # what stays as it is, how many edges
BOUNCING_EDGES = 24  # over which an end sensor that bounces is off at every other one
_QUADRATURE = np.array([0, PIN_A, PIN_A | PIN_B, PIN_B], np.uint8)  # rightward


class Sensors:
    """The encoder and the two end sensors of one machine."""

    def __init__(self, profile: Profile, faults: Faults, rng: np.random.Generator, place: int) -> None:
        self.profile, self.faults = profile, faults
        self._rng = rng
        self._table = np.array([shown(level, faults) for level in range(16)], np.uint8)
        self._ends = profile.left_sensor_edge, profile.right_sensor_edge
        self._edges = self._touches = 0
        self._held: dict[str, int] = {}  # for how many edges more
        self._bouncing = (0, 0)  # pin, and for how many edges more
        self._out_us = faults.amount("encoder-out", 1e12) * 1e6
        self._true = self._level = int(self._levels(Motion(np.zeros(1, np.int64), np.array([place])))[0])
        self.pins = int(self._table[self._level])

    def _levels(self, motion: Motion) -> Pins:
        places = motion.places
        pins: Pins = _QUADRATURE[places & 3]
        (left, right), (leftmost, rightmost) = self._ends, motion.reach
        if left < leftmost and rightmost < right:
            return pins | np.uint8(PIN_LEFT | PIN_RIGHT)
        pins[places > left] |= PIN_LEFT
        pins[places < right] |= PIN_RIGHT
        return pins

    def sense(self, motion: Motion) -> tuple[Times, Pins]:
        """Every change of the pins that this motion makes, in order."""
        at_us, pins = motion.at_us, self._levels(motion)
        if not self.faults.told or not len(motion):
            return at_us, pins
        pins = self._spoilt(at_us, pins)
        before, self._level = np.concatenate([[self._level], pins[:-1]]), int(pins[-1])
        lost, extra, bounce = (
            self.faults.struck(name, self._edges, len(pins), self._rng) for name in ("lost", "extra", "bounce")
        )
        self._edges += len(pins)
        at_us, pins = _inserted(at_us, pins, before, lost, extra, bounce)
        pins = self._table[pins]
        changed = np.diff(pins, prepend=np.uint8(self.pins)) != 0
        if changed.any():
            self.pins = int(pins[-1])
        return at_us[changed], pins[changed]

    def _spoilt(self, at_us: Times, true: Pins) -> Pins:
        """The levels with channels that stay as they are, and end sensors that bounce."""
        pins = true.copy()
        came_on = np.concatenate([[self._true], true[:-1]]) & ~true & (PIN_LEFT | PIN_RIGHT)
        self._true = int(true[-1])
        for name, (mask, edges) in HELD.items():
            left = self._held.get(name, 0)
            struck = self.faults.struck(name, self._edges, len(pins), self._rng)
            for begin, end in [(0, left), *((at, at + edges) for at in struck)]:
                self._hold(pins, mask, begin, end)
                left = max(left, end)
            self._held[name] = max(left - len(pins), 0)
        self._hold(pins, PIN_A | PIN_B, int(at_us.searchsorted(self._out_us)), len(pins))
        touches = came_on.nonzero()[0]
        pin, left = self._bouncing
        pins[0:left:2] |= np.uint8(pin)
        for touch in self.faults.struck("end-bounce", self._touches, len(touches), self._rng):
            at, pin = int(touches[touch]) + 1, int(came_on[touches[touch]])
            left = at + BOUNCING_EDGES
            pins[at:left:2] |= np.uint8(pin)
        self._touches += len(touches)
        self._bouncing = pin, max(left - len(pins), 0)
        return pins

    def _hold(self, pins: Pins, mask: int, begin: int, end: int) -> None:
        """Keep the pins of a mask as they are from one edge on to another."""
        if begin < end and begin < len(pins):
            level = (int(pins[begin - 1]) if begin else self._level) & mask
            pins[begin:end] = pins[begin:end] & ~np.uint8(mask) | np.uint8(level)


def _inserted(
    at_us: Times, pins: Pins, before: Pins, lost: list[int], extra: list[int], bounce: list[int]
) -> tuple[Times, Pins]:
    """Lost changes are never seen; an extra one is a short pulse on the other channel; a bounce one on the same."""
    if not (lost or extra or bounce):
        return at_us, pins
    pulses = {edge: pins[edge] ^ 3 ^ ((pins[edge] ^ before[edge]) & 3) for edge in extra}
    pulses |= {edge: before[edge] for edge in bounce}
    edges = sorted(set(pulses) - set(lost))
    where = np.repeat(np.array(edges, np.int64) + 1, 2)
    again = np.array([pin for edge in edges for pin in (pulses[edge], pins[edge])], np.uint8)
    times = np.array([at_us[edge] + part * PULSE_US for edge in edges for part in (1, 2)], np.int64)
    kept = np.ones(len(pins), bool)
    kept[lost] = False
    return (
        np.insert(at_us, where, times)[np.insert(kept, where, True)],
        np.insert(pins, where, again)[np.insert(kept, where, True)],
    )


def shown(level: int, faults: Faults) -> int:
    """What the four pins show in place of `level`."""
    a, b, left, right = (level >> bit & 1 for bit in range(4))
    if "channels-swapped" in faults:
        a, b = b, a
    if "ends-swapped" in faults:
        left, right = right, left
    stuck = ("a-dead", "b-dead", "left-stuck", "right-stuck")  # each pin then stays at 0, which is "on" for an end
    a, b, left, right = (0 if name in faults else pin for name, pin in zip(stuck, (a, b, left, right), strict=True))
    left, right = (1 if name in faults else pin for name, pin in (("left-missing", left), ("right-missing", right)))
    return a | b << 1 | left << 2 | right << 3
