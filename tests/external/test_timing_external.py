"""Timing statistics against scipy, and the stated error of the time left against knitters drawn by numpy."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from scipy import stats
from timing.reports import session

from latchline.timing.passes import variation
from latchline.timing.statistics import SHARE, compare, spread, student, time_left
from strategies import figures

pytestmark = pytest.mark.external


@given(figures())
def test_a_spread_is_what_scipy_and_its_quantiles_say(some: list[float]) -> None:
    ours = spread(some)
    theirs = stats.describe(some)
    quartiles = stats.mstats.mquantiles(some, [0.25, 0.5, 0.75], alphap=1, betap=1)
    assert ours.count == theirs.nobs
    assert (ours.lowest, ours.highest) == theirs.minmax
    assert ours.mean == pytest.approx(theirs.mean)
    assert ours.deviation == pytest.approx(np.sqrt(theirs.variance), abs=1e-9)
    assert [ours.lower_quartile, ours.median, ours.upper_quartile] == pytest.approx(quartiles)


@given(figures())
def test_unevenness_is_scipys_coefficient_of_variation(some: list[float]) -> None:
    assert variation(np.array(some)) == pytest.approx(stats.variation(some), abs=1e-12)


@pytest.mark.parametrize("share", [0.9, 0.95, 0.975])
@pytest.mark.parametrize("freedom", [4, 5, 6, 10, 30, 59, 200])
def test_students_quantile_is_within_one_percent_of_scipys(share: float, freedom: int) -> None:
    assert student(share, freedom) == pytest.approx(stats.t.ppf(share, freedom), rel=0.01)


@pytest.mark.parametrize("seeds", list(pairwise(range(100, 106))))
def test_the_difference_of_two_sessions_has_scipys_welch_interval(seeds: tuple[int, int]) -> None:
    first, second = session(40, seed=seeds[0]), session(25, seed=seeds[1], scatter=0.2)
    ours = next(one for one in compare(first, second) if one.name == "speed_m_s")
    welch = stats.ttest_ind([t.speed_m_s for t in second], [t.speed_m_s for t in first], equal_var=False)
    interval = welch.confidence_interval(0.95)
    assert ours.difference - ours.error == pytest.approx(interval.low, rel=0.01)
    assert ours.difference + ours.error == pytest.approx(interval.high, rel=0.01)
    assert ours.clear == (welch.pvalue < 0.05)


def _cycles(chance: np.random.Generator, count: int, likeness: float) -> np.ndarray:
    """Seconds a row, each like the one before by this correlation, never below zero."""
    noise = chance.standard_normal(count)
    for index in range(1, count):
        noise[index] = likeness * noise[index - 1] + np.sqrt(1 - likeness**2) * noise[index]
    return 2.5 * np.exp(0.2 * noise)


@pytest.mark.parametrize("likeness", [0.0, 0.3, 0.6])
@pytest.mark.parametrize(("so_far", "left"), [(12, 40), (60, 60), (200, 300)])
def test_the_time_left_lies_within_its_error_about_as_often_as_it_says(likeness: float, so_far: int, left: int) -> None:
    chance = np.random.default_rng(20)
    hits, trials = 0, 400
    for _ in range(trials):
        cycles = _cycles(chance, so_far + left, likeness)
        estimate = time_left(cycles[:so_far].tolist(), left)
        assert estimate is not None
        hits += abs(float(cycles[so_far:].sum()) - estimate.left_s) <= estimate.error_s
    print(f"likeness {likeness}, {so_far} passes known, {left} left: {hits / trials:.1%} within")
    assert hits / trials > SHARE - 0.12
