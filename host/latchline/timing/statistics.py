"""Figures over many passes: spread, what a session came to, time left, and two sessions side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

import numpy as np

from latchline.timing.passes import Floats, PassTiming

BREAK_S = 60.0  # a pause from which we call it a break and leave it out of the pace; our choice
LATEST = 60  # cycles from which the time left is estimated: the pace of now, not of this morning
FEWEST = 6  # below this there is no telling
SHARE = 0.9  # of the cases in which the time left lies within its stated error
CONFIDENCE = 0.95  # of the interval for the difference of two sessions


@dataclass(frozen=True)
class Spread:
    """Some values in seven figures. deviation: of a sample (n − 1); quartiles by linear interpolation."""

    count: int
    mean: float
    deviation: float
    lowest: float
    lower_quartile: float
    median: float
    upper_quartile: float
    highest: float


@dataclass(frozen=True)
class TimingSummary:
    """A session in figures.

    elapsed_s = knitting_s (carriage between the turn lines) + turning_s (pauses) + breaks_s (pauses
    of a minute and more). pace_rows_min: passes a minute, breaks left out; None for a single pass.
    bed_m_s: mean speed in each tenth from the operator's left, leftward and rightward passes apart
    (None where there are none). near_limit: passes at 80 % of the highest speed or more.
    missed_edges, doubled_edges: found by the end sensors, added up.
    """

    passes: int
    again: int
    elapsed_s: float
    knitting_s: float
    turning_s: float
    breaks_s: float
    breaks: int
    pace_rows_min: float | None
    speed_m_s: Spread
    fastest_m_s: float
    unevenness: Spread
    pause_s: Spread | None
    overrun_needles: Spread
    hesitations: int
    backings: int
    missed_edges: int
    doubled_edges: int
    near_limit: int
    bed_m_s: dict[str, tuple[float, ...] | None]


@dataclass(frozen=True)
class TimeLeft:
    """left_s, and error_s either way: nine times in ten the rest takes no longer and no less, breaks apart."""

    left_s: float
    error_s: float
    from_passes: int


@dataclass(frozen=True)
class Difference:
    """One figure of two sessions: their means, second minus first, and half the width of its 95 % interval."""

    name: str
    first: float
    second: float
    difference: float
    error: float

    @property
    def clear(self) -> bool:
        """Whether the difference is more than the scatter within the sessions explains."""
        return abs(self.difference) > self.error


def spread(values: Sequence[float] | Floats) -> Spread:
    """Of one value or more."""
    some = np.asarray(values, dtype=np.float64)
    lowest, lower, median, upper, highest = np.percentile(some, [0, 25, 50, 75, 100]).tolist()
    deviation = float(some.std(ddof=1)) if len(some) > 1 else 0.0
    return Spread(len(some), float(some.mean()), deviation, lowest, lower, median, upper, highest)


def summarise(timings: Sequence[PassTiming]) -> TimingSummary:
    """Of one pass or more."""
    pauses = [timing.pause_s for timing in timings if timing.pause_s is not None]
    turns = [pause for pause in pauses if pause < BREAK_S]
    cycles = steady_cycles(timings)
    missed = [timing.missed_edges for timing in timings]
    return TimingSummary(
        passes=len(timings),
        again=sum(timing.again for timing in timings),
        elapsed_s=timings[-1].end_s - timings[0].start_s,
        knitting_s=sum(timing.duration_s for timing in timings),
        turning_s=sum(turns),
        breaks_s=sum(pauses) - sum(turns),
        breaks=len(pauses) - len(turns),
        pace_rows_min=60 * len(cycles) / sum(cycles) if cycles else None,
        speed_m_s=spread([timing.speed_m_s for timing in timings]),
        fastest_m_s=max(timing.fastest_m_s for timing in timings),
        unevenness=spread([timing.unevenness for timing in timings]),
        pause_s=spread(turns) if turns else None,
        overrun_needles=spread([timing.overrun_needles for timing in timings]),
        hesitations=sum(timing.hesitations for timing in timings),
        backings=sum(timing.backings for timing in timings),
        missed_edges=sum(max(0, edges) for edges in missed),
        doubled_edges=sum(max(0, -edges) for edges in missed),
        near_limit=sum(timing.near_limit for timing in timings),
        bed_m_s={
            way: _bed_means([timing for timing in timings if timing.direction == way])
            for way in ("leftward", "rightward")
        },
    )


def _bed_means(timings: Sequence[PassTiming]) -> tuple[float, ...] | None:
    if not timings:
        return None
    return tuple(np.mean([timing.bed_m_s for timing in timings], axis=0).tolist())


def steady_cycles(timings: Sequence[PassTiming]) -> list[float]:
    """Seconds from the end of one pass to the end of the next, those with a break in them left out."""
    return [
        timing.pause_s + timing.duration_s
        for timing in timings
        if timing.pause_s is not None and timing.pause_s < BREAK_S
    ]


def time_left(cycle_s: Sequence[float], passes_left: int) -> TimeLeft | None:
    """What the passes still to come will take, from what those so far took; None while they are too few.

    The sum of m cycles is foretold from the mean of the latest n. Its error is that of the mean and
    that of the sum together, s·√(m + m²/n), times Student's factor; neighbouring passes resemble each
    other, so s² is widened by (1 + r)/(1 − r), with r the correlation from one cycle to the next.
    """
    latest = np.asarray(cycle_s[-LATEST:], dtype=np.float64)
    count = len(latest)
    if count < FEWEST:
        return None
    deviation = float(latest.std(ddof=1)) * sqrt(_likeness(latest))
    error = deviation * sqrt(passes_left + passes_left**2 / count)
    return TimeLeft(float(latest.mean()) * passes_left, error * student((1 + SHARE) / 2, count - 1), count)


def _likeness(values: Floats) -> float:
    """(1 + r)/(1 − r) with r the correlation from one value to the next, taken between 0 and 0.9."""
    around = values - values.mean()
    whole = float(around @ around)
    r = float(around[1:] @ around[:-1]) / whole if whole > 0 else 0.0
    r = min(max(r + 1 / len(values), 0.0), 0.9)  # the estimate is too low by about 1/n
    return (1 + r) / (1 - r)


def student(share: float, freedom: float) -> float:
    """The quantile of Student's t by its expansion about the normal one.

    Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 26.7.5 (memory); within 1 % of
    the exact value from four degrees of freedom on, which a test holds against scipy.
    """
    z = NormalDist().inv_cdf(share)
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
    )
    return z + sum(term / freedom**power for power, term in enumerate(terms, 1))


FIGURES: dict[str, Callable[[PassTiming], float | None]] = {
    "speed_m_s": lambda timing: timing.speed_m_s,
    "unevenness": lambda timing: timing.unevenness,
    "pause_s": lambda timing: None if timing.pause_s is None or timing.pause_s >= BREAK_S else timing.pause_s,
    "overrun_needles": lambda timing: timing.overrun_needles,
    "hesitations": lambda timing: float(timing.hesitations),
    "limit": lambda timing: timing.limit,
}


def compare(first: Sequence[PassTiming], second: Sequence[PassTiming]) -> list[Difference]:
    """Second minus first, figure by figure, with Welch's interval (Welch, Biometrika 34 (1947); memory)."""
    differences = []
    for name, figure in FIGURES.items():
        some, others = (
            [value for timing in group if (value := figure(timing)) is not None] for group in (first, second)
        )
        if some and others:
            differences.append(_difference(name, spread(some), spread(others)))
    return differences


def _difference(name: str, one: Spread, other: Spread) -> Difference:
    shares = [group.deviation**2 / group.count for group in (one, other)]
    whole = sum(shares)
    error = 0.0
    if whole > 0 and min(one.count, other.count) > 1:
        freedom = whole**2 / sum(
            share**2 / (group.count - 1) for share, group in zip(shares, (one, other), strict=True)
        )
        error = student((1 + CONFIDENCE) / 2, freedom) * sqrt(whole)
    elif min(one.count, other.count) == 1:
        error = float("inf")
    return Difference(name, one.mean, other.mean, other.mean - one.mean, error)
