"""Figures over a session, the time that is left, and two sessions side by side."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest
from timing.reports import PROFILE, SPAN, report, session

from latchline.timing import listing
from latchline.timing.passes import PassRecord, time_passes
from latchline.timing.statistics import FEWEST, compare, steady_cycles, summarise, time_left


def test_knitting_turning_and_breaks_make_up_the_session() -> None:
    records = [PassRecord(report(n, start), start + 1.0) for n, start in [(1, 0.0), (2, 2.0), (3, 200.0), (4, 202.5)]]
    summary = summarise(time_passes(records, PROFILE, SPAN))
    assert summary.breaks == 1
    assert summary.breaks_s == pytest.approx(197, abs=0.01)
    assert summary.turning_s == pytest.approx(2.5, abs=0.01)
    assert summary.elapsed_s == pytest.approx(summary.knitting_s + summary.turning_s + summary.breaks_s)
    assert summary.pace_rows_min == pytest.approx(60 / 2.25, rel=0.01)


def test_missed_and_doubled_edges_are_added_up_apart() -> None:
    records = [
        PassRecord(report(n, 2.0 * n, rightward=True, correction=edges), 2.0 * n + 1)
        for n, edges in enumerate([2, -1, 0, 1], 1)
    ]
    summary = summarise(time_passes(records, PROFILE, SPAN))
    assert (summary.missed_edges, summary.doubled_edges) == (3, 1)


def test_a_session_of_one_pass_has_no_pace_and_no_pause() -> None:
    summary = summarise(session(1, seed=1))
    assert summary.pace_rows_min is None
    assert summary.pause_s is None
    assert list(listing.as_summary(summary))


def test_time_left_waits_for_enough_passes_and_then_says_how_sure_it_is() -> None:
    cycles = steady_cycles(session(30, seed=2))
    assert time_left(cycles[: FEWEST - 1], 100) is None
    left = time_left(cycles, 100)
    assert left is not None
    assert left.left_s == pytest.approx(100 * float(np.mean(cycles)), rel=1e-9)
    assert 0 < left.error_s < left.left_s


def test_a_break_does_not_lengthen_the_time_left() -> None:
    timings = session(20, seed=3) + session(20, seed=4, first_s=4000.0)
    records_with_break = steady_cycles(timings)
    assert max(records_with_break) < 10


def test_no_passes_left_take_no_time() -> None:
    left = time_left([2.0, 2.1, 1.9, 2.0, 2.2, 2.1, 2.0], 0)
    assert left is not None
    assert (left.left_s, left.error_s) == (0.0, 0.0)


def _speed_differs(seed: int, second_speed_s: float) -> bool:
    pair = session(60, seed=seed), session(60, seed=seed + 1000, speed_s=second_speed_s)
    return next(one for one in compare(*pair) if one.name == "speed_m_s").clear


def test_a_slower_session_is_found_slower_and_like_ones_seldom_differ() -> None:
    assert all(_speed_differs(seed, 1.1) for seed in range(10))
    # At 95 % one pair in twenty of like sessions differs by chance; 10 of 60 would be one in a thousand.
    assert sum(_speed_differs(seed, 1.0) for seed in range(60)) < 10


def test_a_session_of_one_pass_compares_with_nothing_clearly() -> None:
    assert not any(one.clear for one in compare(session(1, seed=8), session(50, seed=9)))
    assert (
        len(list(listing.as_comparison(compare(session(1, seed=8), session(50, seed=9))))) == 6
    )  # no pauses to compare


# ---- listing -----------------------------------------------------------------------------------


def test_the_csv_reads_back_as_rfc_4180_has_it() -> None:
    timings = session(5, seed=10)
    text = listing.as_csv(timings)
    assert text.count("\r\n") == 6
    assert "\n" not in text.replace("\r\n", "")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [int(row["pass"]) for row in rows] == [1, 2, 3, 4, 5]
    assert rows[0]["pause_s"] == ""
    assert rows[0]["direction"] == "leftward"
    for row, timing in zip(rows, timings, strict=True):
        assert sum(float(row[f"tenth_{n}_s"]) for n in range(1, 11)) == pytest.approx(timing.duration_s, abs=1e-4)


def test_the_json_has_the_columns_of_the_csv_and_can_be_written() -> None:
    timings = session(5, seed=11)
    value = json.loads(json.dumps(listing.as_json(timings, summarise(timings)), allow_nan=False))
    assert list(value["passes"][0]) == listing.as_csv(timings).split("\r\n")[0].split(",")
    assert value["summary"]["passes"] == 5
    assert value["passes"][0]["start"].endswith("Z")


def test_the_table_says_what_was_out_of_the_ordinary() -> None:
    records = [
        PassRecord(report(1, 0.0), 1.0),
        PassRecord(report(2, 2.0, stops=3, backings=1, backed=8, correction=1, shortest=200), 3.0),
    ]
    lines = list(listing.as_table(time_passes(records, PROFILE, SPAN)))
    assert len(lines) == 3
    assert lines[2].endswith("near the speed limit, 1 stop, backed up 2 needles, 1 edge missed")


@pytest.mark.parametrize(("seconds", "shown"), [(0, "0:00"), (59.6, "1:00"), (125, "2:05"), (3723, "1:02:03")])
def test_a_time_is_shown_as_a_clock_would(seconds: float, shown: str) -> None:
    assert listing.clock(seconds) == shown
