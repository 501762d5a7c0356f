"""Gauge, size, yarn counts and charts brought to size."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from fabric.charts_by_hand import chart
from hypothesis import given
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart
from latchline.chart.resample import resample
from latchline.errors import ChartError, InputError
from latchline.fabric.yarn_class import WEIGHT_CLASSES, stitch_size_range, weight_class, yarn_class
from latchline.piece.yarn_count import TEX_MAX, TEX_MIN, tex_of
from latchline.shaping.gauge import (
    Gauge,
    estimate_gauge,
    gauge_from_pitch,
    gauge_from_swatch,
    keep_proportions,
    loop_length_from_gauge,
    parse_gauge,
    parse_size,
)


@given(strategies.gauges(), st.floats(2, 300), st.floats(2, 300))
def test_needles_and_rows_for_a_size_give_that_size_to_half_a_stitch(
    gauge: Gauge, width_cm: float, height_cm: float
) -> None:
    needles, rows = gauge.needles_for(width_cm), gauge.rows_for(height_cm)
    width, height = gauge.finished_cm(needles, rows)
    assert needles == 1 or abs(width - width_cm) <= gauge.stitch_mm / 20 + 1e-9
    assert rows == 1 or abs(height - height_cm) <= gauge.row_mm / 20 + 1e-9


@given(st.floats(3, 60))
def test_an_estimated_gauge_leads_back_to_its_loop_length(loop_length_mm: float) -> None:
    gauge = estimate_gauge(loop_length_mm)
    assert gauge.estimated
    assert loop_length_from_gauge(gauge) == pytest.approx(loop_length_mm, rel=1e-6)


def test_a_coarser_bed_gives_fewer_stitches() -> None:
    found = [gauge_from_pitch(pitch_mm).stitches for pitch_mm in (3.6, 4.5, 5.0, 6.5, 9.0)]
    assert found == sorted(found, reverse=True)
    assert all(gauge_from_pitch(pitch_mm).estimated for pitch_mm in (3.6, 9.0))


@pytest.mark.parametrize(
    "numbers", [(0, 60, 130, 150), (40, -1, 130, 150), (40, 60, 0, 150), (40, 60, 130, float("inf")), (40, 60, 1, 1)]
)
def test_a_swatch_that_nobody_measured_is_refused(numbers: tuple[float, float, float, float]) -> None:
    with pytest.raises(InputError):
        gauge_from_swatch(*numbers)


@pytest.mark.parametrize("text", ["", "30", "30x", "x39", "30x39x1", "-30x39", "30 by 39", "nanxnan", "0x39", "999x3"])
def test_a_gauge_in_other_words_is_refused_with_the_form(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_gauge(text)
    assert caught.value.hint


def test_gauge_and_size_are_read_with_either_cross() -> None:
    assert parse_gauge("30x39") == parse_gauge(" 30 × 39 ") == Gauge(30, 39)
    assert parse_size("40.5X60") == (40.5, 60)


@pytest.mark.parametrize(
    ("text", "tex"),
    [
        ("230 tex", 230),
        ("230tex", 230),
        ("300 dtex", 30),
        ("90 den", 10),
        ("Nm 2/30", 2000 / 30),
        ("30/2 Nm", 2000 / 30),
        ("NE 20/2", 2 * 590.541 / 20),
        ("worsted 24/2", 885.812 / 12),
        ("2 x Nm 28/2", 4000 / 28),
        ("3 strands of 20 tex", 60),
        ("Nm 4,5", 1000 / 4.5),
    ],
)
def test_counts_are_read_as_they_stand_on_labels(text: str, tex: float) -> None:
    assert tex_of(text) == pytest.approx(tex, rel=1e-5)


@pytest.mark.parametrize(
    "text", ["", "wool", "20", "tex", "0 tex", "Nm 0/2", "2/24 tex", "-3 tex", "Nm 0.01", "1 x", "9e9 tex"]
)
def test_what_is_no_count_is_refused_with_the_accepted_forms(text: str) -> None:
    with pytest.raises(InputError) as caught:
        tex_of(text)
    assert caught.value.hint


@given(st.text(max_size=30))
def test_any_text_is_a_count_that_can_be_believed_or_is_refused(text: str) -> None:
    try:
        tex = tex_of(text)
    except InputError:
        return
    assert TEX_MIN <= tex <= TEX_MAX


@given(st.floats(3, 60), st.floats(3, 60))
def test_a_finer_gauge_never_asks_for_a_heavier_yarn(one: float, other: float) -> None:
    coarse, fine = sorted((one, other))
    assert weight_class(Gauge(fine, 40)).number <= weight_class(Gauge(coarse, 40)).number


def test_every_gauge_has_a_yarn_weight() -> None:
    for stitches in np.arange(1, 60, 0.25):
        found = weight_class(Gauge(float(stitches), 40))
        assert found in WEIGHT_CLASSES
        four_inches = stitches * 1.016
        assert found.fewest - 0.5 < four_inches or found.number == 7
        assert four_inches < found.most + 1 or found.number == 0


def test_the_dial_parts_fine_medium_and_heavy() -> None:
    assert [yarn_class(size) for size in (0, 4, 4.5, 8, 8.5, 12, 12.5)] == [
        *("fine", "fine", "medium", "medium", "heavy", "heavy", "laid in only"),
    ]
    assert stitch_size_range("medium") == (4, 8)


@given(strategies.charts(), st.integers(1, 40), st.integers(1, 40), st.sampled_from(["majority", "nearest"]))
def test_a_resampled_chart_has_the_size_asked_for_and_no_new_colour(
    drawing: Chart, stitches: int, rows: int, how: str
) -> None:
    found = resample(drawing, stitches, rows, how)
    assert found.cells.shape == (rows, stitches)
    assert set(np.unique(found.cells)) <= set(np.unique(drawing.cells))
    assert found.palette == drawing.palette


@given(strategies.charts(), st.integers(1, 4), st.integers(1, 4), st.sampled_from(["majority", "nearest"]))
def test_whole_multiples_repeat_each_cell(drawing: Chart, across: int, along: int, how: str) -> None:
    found = resample(drawing, drawing.stitches * across, drawing.rows * along, how)
    assert np.array_equal(found.cells, np.kron(drawing.cells, np.ones((along, across), dtype=np.uint8)))


@given(strategies.charts(stitches=(1, 8), rows=(1, 8)), st.integers(1, 10), st.integers(1, 10))
def test_majority_takes_what_covers_most(drawing: Chart, stitches: int, rows: int) -> None:
    """Against areas added up in whole fractions, cell by cell."""
    found = resample(drawing, stitches, rows)
    for row in range(rows):
        for stitch in range(stitches):
            areas = [Fraction(0)] * len(drawing.palette)
            for y in range(drawing.rows):
                tall = shared(row, rows, y, drawing.rows)
                for x in range(drawing.stitches):
                    areas[drawing.cells[y, x]] += tall * shared(stitch, stitches, x, drawing.stitches)
            assert found.cells[row, stitch] == areas.index(max(areas))


def shared(new: int, news: int, old: int, olds: int) -> Fraction:
    """How much of one side two cells share, in the whole side's length."""
    low, high = max(Fraction(new, news), Fraction(old, olds)), min(Fraction(new + 1, news), Fraction(old + 1, olds))
    return max(high - low, Fraction(0))


@given(strategies.charts(stitches=(4, 24), rows=(4, 16)), strategies.gauges())
def test_a_square_drawing_stays_in_proportion(drawing: Chart, gauge: Gauge) -> None:
    stitches, rows = keep_proportions(drawing, gauge)
    width_cm, height_cm = gauge.finished_cm(stitches, rows)
    wanted_cm = width_cm * drawing.rows / drawing.stitches
    assert abs(height_cm - wanted_cm) <= gauge.row_mm / 20 + 1e-9 or rows == 1


def test_a_chart_out_of_bounds_or_another_word_is_refused() -> None:
    drawing = chart(["x."])
    with pytest.raises(ChartError):
        resample(drawing, 5000, 10)
    with pytest.raises(InputError, match="no resampling"):
        resample(drawing, 5, 10, "smooth")
