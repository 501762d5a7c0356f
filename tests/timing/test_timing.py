"""How a pass went, from the board's report of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from timing.reports import PROFILE, SPAN, report

from latchline.timing.passes import (
    WRAP_S,
    Floats,
    PassRecord,
    limit_interval_ticks,
    tenth_edges,
    time_pass,
    time_passes,
    unwrapped,
)
from strategies import late_reports

EPOCH_S = 1_790_000_000.0


def test_a_pass_takes_the_sum_of_its_tenths_and_the_rounding_is_given_back() -> None:
    timing = time_pass(report(2, tenths_s=[0.1] * 10), 5.0, PROFILE, SPAN)
    assert timing.duration_s == pytest.approx(1.0, abs=10 * 128e-6)
    assert timing.end_s == pytest.approx(6.0, abs=10 * 128e-6)
    assert timing.rightward
    assert timing.unevenness < 0.02  # but for the first tenth, which is one edge shorter, all the same


def test_the_tenths_add_up_to_the_way_between_the_turn_lines() -> None:
    left, right = PROFILE.turn_lines(SPAN)
    assert tenth_edges(PROFILE, SPAN).sum() == right - left - 1  # the pass begins one edge past its line


def test_speed_is_the_way_over_the_time() -> None:
    left, right = PROFILE.turn_lines(SPAN)
    timing = time_pass(report(2, tenths_s=[0.08] * 10), 0.0, PROFILE, SPAN)
    way_m = (right - left) * 4.5 / 4 / 1000
    assert timing.speed_m_s == pytest.approx(way_m / 0.8, rel=0.005)


def test_one_slow_tenth_shows_in_that_place_of_the_bed_whichever_way_the_pass_went() -> None:
    slow_at_the_left = [0.1] * 10
    slow_at_the_left[0] = 0.5
    rightward = time_pass(report(2, tenths_s=slow_at_the_left), 0.0, PROFILE, SPAN)
    leftward = time_pass(report(1, tenths_s=slow_at_the_left[::-1]), 0.0, PROFILE, SPAN)
    assert np.argmin(rightward.bed_m_s) == 0
    assert np.argmin(leftward.bed_m_s) == 0
    assert rightward.unevenness > 0.2


def test_a_tenth_too_long_to_be_reported_makes_the_time_a_lower_bound() -> None:
    assert time_pass(report(1, tenths_s=[0.1] * 9 + [60.0]), 0.0, PROFILE, SPAN).at_least
    assert not time_pass(report(1, tenths_s=[0.1] * 9 + [16.0]), 0.0, PROFILE, SPAN).at_least


@pytest.mark.parametrize(
    ("stops", "backings", "hesitations"), [(0, 0, 0), (2, 0, 2), (2, 1, 0), (5, 2, 1), (255, 200, 0)]
)
def test_a_reversal_is_no_hesitation(stops: int, backings: int, hesitations: int) -> None:
    timing = time_pass(report(1, stops=stops, backings=backings, backed=6), 0.0, PROFILE, SPAN)
    assert timing.hesitations == hesitations
    assert timing.backed_needles == 1.5


@pytest.mark.parametrize(
    ("rightward", "furthest", "overrun"),
    [(True, (50 - 15) * 4, 15.0), (False, (149 + 15) * 4, 15.0), (True, (50 - 6) * 4 + 2, 5.5)],
)
def test_the_overrun_is_counted_from_the_last_working_needle_of_the_side_turned_at(
    rightward: bool, furthest: int, overrun: float
) -> None:
    timing = time_pass(report(1, rightward=rightward, furthest=furthest), 0.0, PROFILE, SPAN)
    assert timing.overrun_needles == overrun


@pytest.mark.parametrize(
    ("rightward", "correction", "missed"), [(True, 2, 2), (True, -1, -1), (False, -2, 2), (False, 1, -1)]
)
def test_edges_lost_on_the_way_to_a_sensor_count_as_missed_on_either_side(
    rightward: bool, correction: int, missed: int
) -> None:
    # Leftward a lost edge leaves the count too high at the left sensor, which the rightward pass reports.
    timing = time_pass(report(1, rightward=rightward, correction=correction), 0.0, PROFILE, SPAN)
    assert timing.missed_edges == missed


def test_the_limit_is_reached_at_the_interval_at_which_the_board_stops() -> None:
    limit_ticks = limit_interval_ticks(PROFILE)
    advance_ticks = PROFILE.advance_us / 4
    assert 1 + advance_ticks // (limit_ticks * 1.001) <= PROFILE.advance_max_edges
    assert 1 + advance_ticks // (limit_ticks * 0.999) > PROFILE.advance_max_edges
    assert time_pass(report(1, shortest=round(2 * limit_ticks)), 0.0, PROFILE, SPAN).limit == pytest.approx(
        0.5, rel=0.01
    )
    assert time_pass(report(1, shortest=round(limit_ticks / 0.85)), 0.0, PROFILE, SPAN).near_limit


# ---- the board's clock on the host's ----------------------------------------------------------


def _records(
    starts_s: list[float], *, delays_s: list[float] | None = None, boots: list[int] | None = None
) -> list[PassRecord]:
    """Passes of 1 s that begin at these true times; the board started at 0 unless `boots` says otherwise."""
    delays_s = delays_s or [0.005] * len(starts_s)
    boots = boots or [1] * len(starts_s)
    first = {boot: starts_s[boots.index(boot)] - 3.0 for boot in boots}
    return [
        PassRecord(report(number, start - first[boot]), EPOCH_S + start + 1.0 + delay, boot)
        for number, (start, delay, boot) in enumerate(zip(starts_s, delays_s, boots, strict=True), 1)
    ]


def _pauses(records: list[PassRecord]) -> list[float | None]:
    return [timing.pause_s for timing in time_passes(records, PROFILE, SPAN)]


def test_the_pause_between_passes_comes_from_the_board_and_not_from_when_reports_arrived() -> None:
    records = _records([10.0, 12.0, 14.5], delays_s=[0.01, 0.9, 0.02])
    assert _pauses(records)[1:] == pytest.approx([1.0, 1.5], abs=2e-3)


def test_the_wrap_of_the_tick_count_is_no_pause() -> None:
    records = _records([10.0, WRAP_S + 5.0, WRAP_S + 9.5])
    ticks = [record.report.start for record in records]
    assert ticks[2] < ticks[1]
    assert _pauses(records)[1:] == pytest.approx([WRAP_S - 6.0, 3.5], abs=2e-3)


def test_a_night_with_the_board_left_on_counts_its_wraps() -> None:
    records = _records([10.0, 12.0, 12.0 + 3600 * 13, 14.0 + 3600 * 13])
    assert _pauses(records)[1:] == pytest.approx([1.0, 3600 * 13 - 1, 1.0], abs=2e-3)


def test_a_report_that_waited_hours_for_a_sleeping_computer_moves_nothing() -> None:
    records = _records([10.0, 12.0, 14.0, 16.0 + 3600 * 4], delays_s=[0.01, 0.01, 3600 * 3.9, 0.01])
    assert _pauses(records)[1:] == pytest.approx([1.0, 1.0, 3600 * 4 + 1], abs=2e-3)


def test_a_board_that_started_anew_is_laid_on_the_computers_clock() -> None:
    records = _records([10.0, 12.0, 100.0, 102.0], boots=[1, 1, 2, 2])
    assert _pauses(records)[1:] == pytest.approx([1.0, 87.0, 1.0], abs=0.01)
    assert time_passes(records, PROFILE, SPAN)[0].start_s == pytest.approx(EPOCH_S + 10.0, abs=0.01)


def test_another_board_with_as_many_starts_is_no_wrap() -> None:
    """A simulated board without its memory counts its starts from 1 each time."""
    before, after = _records([3000.0, 3002.0]), _records([3100.0, 3102.0])
    assert after[0].report.start < before[1].report.start + 1
    records = before + [
        replace(record, report=replace(record.report, pass_number=n)) for n, record in enumerate(after, 3)
    ]
    assert _pauses(records)[1:] == pytest.approx([1.0, 97.0, 1.0], abs=0.01)


@given(late_reports())
def test_ticks_unwrap_to_the_true_times_whatever_the_gaps_and_delays(reports: tuple[Floats, Floats]) -> None:
    true_s, late_s = reports
    ticks = [int(time * 250_000) & 0xFFFFFFFF for time in true_s.tolist()]
    found_s = unwrapped(ticks, EPOCH_S + true_s + late_s)
    np.testing.assert_allclose(found_s - found_s[0], true_s - true_s[0], atol=2e-5)


def test_a_row_undone_and_knitted_again_is_marked() -> None:
    records = _records([10.0, 12.0, 14.0])
    records[2] = replace(records[2], report=replace(records[2].report, pass_number=2))
    assert [timing.again for timing in time_passes(records, PROFILE, SPAN)] == [False, False, True]


def test_no_pass_no_timing() -> None:
    assert time_passes([], PROFILE, SPAN) == []
