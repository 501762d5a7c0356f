"""How a hand moves the carriage along the bed: places in encoder edges, times in virtual microseconds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import sqrt

import numpy as np
import numpy.typing as npt

from latchline.machine.profile import Profile
from latchline.sim.face import Times

Places = npt.NDArray[np.int64]

BELOW_TOP = 0.85  # a hand stays this much below the machine's highest speed
RAMP_NEEDLES = 15  # over which it gathers and loses speed, or more where that would be too brisk:
BRISKEST_M_S2 = 3.0  # a carriage has weight, and the hand feels it (assumed)
GENTLY_M_S2 = 1.5  # setting off among the needles, where selectors need their time (assumed)
SLOWEST = 0.1  # of cruising speed, at the turn
UNEVEN_OVER_EDGES = 24  # a hand's unevenness is no quicker than this: a carriage has weight
ENCODER_UNEVEN = 0.01  # edges of the encoder strip that stand a little too early or late
BETWEEN_LEGS_US = 120_000  # standing still before going the other way within a stroke
SLOWEST_M_S = 0.1  # in mid stroke; a hand that has more time rests at the turn
TURN_S = 0.25  # standing still at the turn, on average


@dataclass(frozen=True)
class Hand:
    """The habits of one pair of hands. Chances are for each pass.

    jitter: unevenness of the speed, as a share of it.
    reaction_s: from seeing the lamp to doing something about it. clearance_needles: how far past the
    last needle in use the carriage turns, give or take two; None for what the machine's profile says.
    """

    rows_per_minute: float = 30.0
    jitter: float = 0.04
    pauses: float = 0.05
    backing_up: float = 0.05
    reaction_s: float = 0.3
    clearance_needles: int | None = None


@dataclass(frozen=True)
class Motion:
    """The carriage is at places[i] from at_us[i] on. Neighbouring places differ by one edge, unless it was lifted."""

    at_us: Times
    places: Places

    def __len__(self) -> int:
        return len(self.at_us)

    @cached_property
    def reach(self) -> tuple[int, int]:
        """The leftmost and the rightmost place."""
        return int(self.places.min()), int(self.places.max())


NO_MOTION = Motion(np.zeros(0, np.int64), np.zeros(0, np.int64))


def cruise_us(profile: Profile, hand: Hand, edges: int) -> float:
    """Time from edge to edge in mid stroke, so that strokes of so many edges keep the hand's pace, if it can.

    A stretch gathered or lost at constant acceleration takes as long again as at cruising speed.
    """
    way_m = edges * profile.edge_mm / 1000
    pass_s = max(60 / hand.rows_per_minute - TURN_S, 2 * sqrt(way_m / BRISKEST_M_S2))
    ramp_m = _ramp_m(profile, way_m)
    speed_m_s = (way_m + 2 * ramp_m) / pass_s
    if speed_m_s**2 / (2 * BRISKEST_M_S2) > ramp_m:  # way/v + v/a = time, solved for v
        root = max(pass_s**2 - 4 * way_m / BRISKEST_M_S2, 0.0)
        speed_m_s = BRISKEST_M_S2 / 2 * (pass_s - sqrt(root))
    fastest, slowest = fastest_us(profile) * 1.15, profile.edge_mm / SLOWEST_M_S * 1000
    return min(max(profile.edge_mm / speed_m_s * 1000, fastest), slowest)


def _ramp_m(profile: Profile, way_m: float) -> float:
    return min(RAMP_NEEDLES * profile.pitch_mm / 1000, way_m / 3)


def reached_rows_min(profile: Profile, hand: Hand, edges: int) -> float:
    """The pace, rows a minute, that this hand really comes to over so many edges when it would keep its own."""
    way_m = edges * profile.edge_mm / 1000
    speed_m_s = profile.edge_mm / cruise_us(profile, hand, edges) * 1000
    ramp_m = max(_ramp_m(profile, way_m), speed_m_s**2 / (2 * BRISKEST_M_S2))
    pass_s = max((way_m + 2 * ramp_m) / speed_m_s, 2 * sqrt(way_m / BRISKEST_M_S2))
    return min(hand.rows_per_minute, 60 / (pass_s + TURN_S))


def fastest_us(profile: Profile) -> float:
    return profile.edge_mm / (BELOW_TOP * profile.speed_max_m_s) * 1000


def leg(
    rng: np.random.Generator,
    profile: Profile,
    hand: Hand,
    begin: int,
    end: int,
    edge_us: float,
    *,
    most_m_s2: float = BRISKEST_M_S2,
    fast: bool = False,
) -> tuple[Times, Places]:
    """From place to place without turning: the time that each edge takes, and the places.

    edge_us: cruising time from edge to edge. most_m_s2: the hardest that the hand pushes. fast: too fast for
    the machine.
    """
    step = 1 if end > begin else -1
    places = np.arange(begin + step, end + step, step, dtype=np.int64)
    count = len(places)
    along = np.arange(count) + 0.5
    aside = np.minimum(along, count - along)
    ramp = max(min(RAMP_NEEDLES * profile.edges_per_needle, count // 3), 1)
    # constant acceleration: v² = 2·a·s, here as a share of cruising speed
    briskest = np.sqrt(2 * most_m_s2 * aside * profile.edge_mm / 1000) / (profile.edge_mm / edge_us * 1000)
    speed = np.minimum(np.sqrt(aside / ramp), briskest)
    np.minimum(np.maximum(speed, SLOWEST, out=speed), 1.0, out=speed)
    knots = np.arange(0, count + UNEVEN_OVER_EDGES, UNEVEN_OVER_EDGES)
    hand_uneven = np.interp(along, knots, hand.jitter * _bounded(rng, len(knots)))
    takes = edge_us / speed * (1 + hand_uneven + ENCODER_UNEVEN * _bounded(rng, count))
    if fast:
        middle = slice(count // 3, count // 2)
        takes[middle] = profile.edge_mm / (1.6 * profile.speed_max_m_s) * 1000
    else:
        np.maximum(takes, fastest_us(profile), out=takes)
    return takes.astype(np.int64), places


def _bounded(rng: np.random.Generator, count: int) -> npt.NDArray[np.float64]:
    """Normal deviates, the rare far ones cut off."""
    return np.minimum(np.maximum(rng.standard_normal(count), -2.5), 2.5)


def stroke(
    rng: np.random.Generator,
    profile: Profile,
    hand: Hand,
    turns: list[int],
    edge_us: float,
    *,
    begin_us: int,
    pauses: Mapping[int, int] | None = None,
    fast: bool = False,
    lifted: int = 0,
) -> Motion:
    """Through all `turns`; the first one is where the carriage stands.

    At each of the others it stands still for a moment, or for `pauses[i]` microseconds at turn i; going
    on the same way from one is allowed. lifted: in mid stroke the carriage is lifted off and put back so
    many edges further on.
    """
    times, places = [], []
    wait_us = 0
    for number, (begin, end) in enumerate(pairwise(turns)):
        if begin != end:
            most_m_s2 = GENTLY_M_S2 if number else BRISKEST_M_S2
            takes, along = leg(rng, profile, hand, begin, end, edge_us, most_m_s2=most_m_s2, fast=fast)
            takes[0] += wait_us
            times.append(takes)
            places.append(along)
        wait_us = (pauses or {}).get(number + 1, BETWEEN_LEGS_US)
    if not times:
        return NO_MOTION
    takes, along = np.concatenate(times), np.concatenate(places)
    if lifted:
        middle = len(takes) // 2
        keep = np.r_[0:middle, middle + abs(lifted) : len(takes)]
        takes, along = takes[keep], along[keep]
        takes[middle : middle + 1] += 1_000_000
    return Motion(begin_us + np.cumsum(takes), along)
