"""Timing of what no board has measured: from one confirmed pass to the next."""

from __future__ import annotations

import pytest

from latchline.timing.by_hand import as_csv, as_text, time_by_hand


def test_the_pace_leaves_breaks_out() -> None:
    timing = time_by_hand([(1, 100.0), (2, 120.0), (3, 140.0), (4, 1000.0), (5, 1020.0)])
    assert timing.pace_rows_min == pytest.approx(3.0)
    assert timing.breaks == 1
    assert timing.cycle_s is not None
    assert (timing.cycle_s.count, timing.cycle_s.median) == (3, 20.0)
    assert "pace 3.0 rows a minute" in "\n".join(as_text(timing))


def test_a_single_pass_has_no_pace() -> None:
    timing = time_by_hand([(1, 100.0)])
    assert timing.pace_rows_min is None
    assert as_csv(timing) == "pass,confirmed_s\r\n1,100.000\r\n"
    assert next(iter(as_text(timing))).startswith("1 pass confirmed")
