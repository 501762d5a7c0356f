"""What the needles really do: each takes the position that its selector has as the selector passes it.

This looks at where the carriage is and at what the board's outputs do, never at what the board
believes, so that a fault of the board shows as a needle in the wrong position.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.machine.profile import Profile
from latchline.sim.carriage import Motion, Places
from latchline.sim.face import Signals, Times
from latchline.sim.faults import Faults

COILS = 16
SLOW_COIL = 4.0  # times the usual time to act, of a slow coil
_KEY = 1 << 48  # above any time, so that coil × _KEY + time sorts by coil, then time


@dataclass(frozen=True)
class Knitted:
    """The carriage has gone once along the bed, from beyond one line to beyond the other.

    rightward: its direction. begin_us, end_us: the first edge beyond the start line and the one at the
    finish line. tenth_us: when each tenth of the way ended, ten times. selected: for each needle of
    the bed. lamp: the ready lamp was lit all the way.
    """

    rightward: bool
    begin_us: int
    end_us: int
    tenth_us: tuple[int, ...]
    selected: npt.NDArray[np.bool_]
    lamp: bool


class Needles:
    """Follows carriage and coils; `knitted` grows by one entry a pass."""

    def __init__(self, profile: Profile, faults: Faults) -> None:
        self.profile = profile
        self.knitted: list[Knitted] = []
        selectors = profile.selectors
        self._act_us = np.full(COILS, round((selectors.pull_in_ms + selectors.mechanical_ms) * 1000), np.int64)
        self._release_us = round(selectors.release_ms * 1000)
        self._stuck = faults.coils("coil-stuck")
        for slow in faults.coils("coil-slow"):
            self._act_us[slow] = round(self._act_us[slow] * SLOW_COIL)
        self._dead = [coil for name in ("coil-weak", "coil-open", "coil-short") for coil in faults.coils(name)]
        self._needles = np.arange(profile.needles)
        self._zone = 0
        self._from = 0
        self._way: list[Motion] = []
        self._lines: tuple[int, int] | None = None
        self._place: int | None = None
        # What the outputs did since the pass before: time, coils that are on, lamp. It begins with all dark.
        self._outputs: list[tuple[Times, npt.NDArray[np.uint16], npt.NDArray[np.bool_]]] = [
            (np.zeros(1, np.int64), np.zeros(1, np.uint16), np.zeros(1, bool))
        ]

    def signals(self, signals: Signals) -> None:
        """What the outputs did; given before the motion of the same time."""
        if len(signals.at_us):
            on = np.where(signals.enabled, signals.register, np.uint16(0))
            self._outputs.append((signals.at_us, on, signals.lamp))

    def motion(self, motion: Motion, lines: tuple[int, int] | None) -> None:
        """Where the carriage went. lines: between which a pass happens, if there is a plan."""
        if not len(motion) or lines is None:
            return
        places, (leftmost, rightmost) = motion.places, motion.reach
        stood, self._place = self._place, int(places[-1])
        if lines == self._lines and self._zone == _zone(lines, leftmost) == _zone(lines, rightmost):
            if self._zone == 0:
                self._way.append(motion)
            return
        zones = (places >= lines[1]).astype(np.int8) - (places <= lines[0])
        if lines != self._lines:
            zone = int(zones[0]) if stood is None else _zone(lines, stood)
            self._lines, self._zone, self._from, self._way = lines, zone, 0, []
        begin, changed = 0, np.empty(len(zones), bool)
        np.not_equal(zones[1:], zones[:-1], out=changed[1:])
        changed[0] = zones[0] != self._zone
        for edge in changed.nonzero()[0].tolist():
            zone = int(zones[edge])
            if zone == 0:
                self._from, self._way = self._zone, []
                begin = edge
            elif self._zone == 0 and self._from == -zone:
                self._way.append(Motion(motion.at_us[begin : edge + 1], places[begin : edge + 1]))
                self._over(lines)
                begin = edge + 1
            elif self._zone == 0:
                self._way = []
            self._zone = zone
        if self._zone == 0:
            self._way.append(Motion(motion.at_us[begin:], places[begin:]))

    def _over(self, lines: tuple[int, int]) -> None:
        """A pass is over: see which needles it selected."""
        at_us = np.concatenate([part.at_us for part in self._way])
        places = np.concatenate([part.places for part in self._way])
        sign = -self._from
        start, finish = (lines[0], lines[1]) if sign > 0 else (-lines[1], -lines[0])
        way = sign * places
        first_at = np.maximum.accumulate(way).searchsorted(start + np.arange(1, 11) * (finish - start) // 10)
        self.knitted.append(
            Knitted(
                rightward=sign > 0,
                begin_us=int(at_us[0]),
                end_us=int(at_us[-1]),
                tenth_us=tuple(at_us[first_at].tolist()),
                selected=self._selected(at_us, way, sign),
                lamp=self._lit(int(at_us[0]), int(at_us[-1])),
            )
        )
        self._way = []
        self._forget(int(at_us[-1]))

    def _joined(self) -> tuple[Times, npt.NDArray[np.uint16], npt.NDArray[np.bool_]]:
        if len(self._outputs) > 1:
            times, on, lamp = (np.concatenate(column) for column in zip(*self._outputs, strict=True))
            self._outputs = [(times, on, lamp)]
        return self._outputs[0]

    def _lit(self, begin_us: int, end_us: int) -> bool:
        """Was the lamp lit from the one time up to the other?"""
        times, _, lamp = self._joined()
        begin = max(int(np.searchsorted(times, begin_us, "right")) - 1, 0)
        return bool(lamp[begin : int(np.searchsorted(times, end_us))].all())

    def _forget(self, until_us: int) -> None:
        """Keep of the outputs only what counts from then on."""
        times, on, lamp = self._joined()
        keep = max(int(np.searchsorted(times, until_us, "right")) - 1, 0)
        self._outputs = [(times[keep:], on[keep:], lamp[keep:])]

    def _met_us(self, at_us: Times, way: Places, sign: int) -> tuple[Times, npt.NDArray[np.bool_]]:
        """When the selector last passed each needle of the bed forward, and whether it did at all."""
        profile = self.profile
        lead = profile.lead_edges("rightward" if sign > 0 else "leftward")
        points = sign * self._needles * profile.edges_per_needle - lead
        low = min(int(way.min()), int(points.min()))
        last = np.full(max(int(way.max()), int(points.max())) - low + 1, -1)
        forward = np.ones(len(way), bool)
        np.greater(way[1:], way[:-1], out=forward[1:])
        edges = forward.nonzero()[0]
        last[way[edges] - low] = edges  # of several the last one stays
        index = last[points - low]
        return at_us[index], index >= 0

    def _selected(self, at_us: Times, way: Places, sign: int) -> npt.NDArray[np.bool_]:
        selectors, needles = self.profile.selectors, self._needles
        if selectors.layout == "bank":
            coils = needles % selectors.count
        else:
            coils = np.full(len(needles), 0 if selectors.count == 1 or sign > 0 else 1)
        met_us, met = self._met_us(at_us, way, sign)
        pulled = self._pulled(coils, met_us)
        for dead in self._dead:
            pulled[coils == dead] = False
        for stuck in self._stuck:
            pulled[coils == stuck] = True
        selected: npt.NDArray[np.bool_] = met & (pulled ^ (selectors.active == "low"))
        return selected

    def _pulled(self, coils: Places, met_us: Times) -> npt.NDArray[np.bool_]:
        """Has the coil pulled in, and not let go again, at this time?"""
        keys, rises = self._changes()
        if not len(keys):
            return np.zeros(len(coils), bool)
        index = keys.searchsorted(coils * _KEY + met_us, "right") - 1
        since_us = coils * _KEY + met_us - keys[index]
        mine = (index >= 0) & (since_us <= met_us)
        on = rises[index]
        # after a fall: was it pulled in when it fell, and has it not released yet?
        on_for_us = keys[index] - keys[np.maximum(index - 1, 0)]
        held = ~on & (index > 0) & (since_us < self._release_us) & (on_for_us >= self._act_us[coils])
        pulled: npt.NDArray[np.bool_] = mine & ((on & (since_us >= self._act_us[coils])) | held)
        return pulled

    def _changes(self) -> tuple[Times, npt.NDArray[np.bool_]]:
        """Every change of every coil since the pass before, as coil × _KEY + time in order, and whether it rises."""
        times, words, _ = self._joined()
        changed = words.copy()
        changed[1:] ^= words[:-1]
        coils, index = _bits(changed).nonzero()
        return coils * _KEY + times[index], _bits(words)[coils, index].astype(bool)


def _bits(words: npt.NDArray[np.uint16]) -> npt.NDArray[np.uint8]:
    """A row for each coil."""
    return np.unpackbits(words.astype("<u2").view(np.uint8).reshape(-1, 2), axis=1, bitorder="little").T


def _zone(lines: tuple[int, int], place: int) -> int:
    """−1 at the left line or beyond it, 1 at the right, 0 between."""
    return (place >= lines[1]) - (place <= lines[0])
