"""Turning, repeating and placing a chart: its algebra, and what it refuses."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.chart.bounds import ROWS_MAX, STITCHES_MAX
from latchline.chart.model import Chart, Colour
from latchline.chart.transform import (
    crop,
    enlarge,
    flip,
    mirror,
    place,
    require_colours,
    tile,
    turn,
)
from latchline.errors import ChartError
from strategies import charts

WHITE, NAVY, BLUE, RED = (
    Colour(255, 255, 255),
    Colour(0, 0, 128, "navy"),
    Colour(0, 0, 140),
    Colour(200, 0, 0),
)

# as drawn:  1 2 3      cells, bottom row first
#            4 5 0
SMALL = Chart(np.array([[4, 5, 0], [1, 2, 3]], np.uint8), tuple(Colour(n, n, n) for n in range(6)), "small.png")


def same(one: Chart, other: Chart) -> bool:
    return np.array_equal(one.cells, other.cells) and (one.palette, one.name) == (other.palette, other.name)


@pytest.mark.parametrize(
    ("turned", "drawn_top_down"),
    [
        (mirror(SMALL), [[3, 2, 1], [0, 5, 4]]),
        (flip(SMALL), [[4, 5, 0], [1, 2, 3]]),
        (turn(SMALL, 1), [[4, 1], [5, 2], [0, 3]]),
        (turn(SMALL, 2), [[0, 5, 4], [3, 2, 1]]),
        (turn(SMALL, -1), [[3, 0], [2, 5], [1, 4]]),
        (enlarge(SMALL, 2, 1), [[1, 1, 2, 2, 3, 3], [4, 4, 5, 5, 0, 0]]),
        (enlarge(SMALL, 1, 2), [[1, 2, 3], [1, 2, 3], [4, 5, 0], [4, 5, 0]]),
        (crop(SMALL, 1, 1, 2, 3), [[5, 0]]),
        (crop(SMALL, 2, 2, 1, 2), [[1, 2]]),
        (tile(SMALL, 5), [[1, 2, 3, 1, 2], [4, 5, 0, 4, 5]]),
        (tile(SMALL, 5, 1), [[3, 1, 2, 3, 1], [0, 4, 5, 0, 4]]),
        (tile(SMALL, 2, -1), [[2, 3], [5, 0]]),
        (place(SMALL, 6, 2), [[0, 0, 1, 2, 3, 0], [0, 0, 4, 5, 0, 0]]),
    ],
)
def test_a_small_chart_comes_out_as_it_would_be_redrawn_by_hand(turned: Chart, drawn_top_down: list[list[int]]) -> None:
    assert turned.cells[::-1].tolist() == drawn_top_down
    assert turned.cells.dtype == np.uint8
    assert turned.palette == SMALL.palette
    assert turned.name == "small.png"


@given(charts())
def test_mirrored_or_flipped_twice_a_chart_is_itself(chart: Chart) -> None:
    assert same(mirror(mirror(chart)), chart)
    assert same(flip(flip(chart)), chart)
    assert same(flip(mirror(chart)), turn(chart, 2))


@given(charts(), st.integers(-9, 9))
def test_four_quarter_turns_bring_a_chart_back(chart: Chart, quarters: int) -> None:
    assert same(turn(turn(turn(turn(chart, 1), 1), 1), 1), chart)
    assert same(turn(turn(chart, quarters), -quarters), chart)
    assert same(turn(chart, quarters), turn(chart, quarters + 4))


@given(charts(), st.integers(1, 5), st.integers(1, 5))
def test_every_nth_stitch_and_row_of_an_enlarged_chart_is_the_chart(chart: Chart, stitches: int, rows: int) -> None:
    large = enlarge(chart, stitches, rows)
    assert (large.stitches, large.rows) == (chart.stitches * stitches, chart.rows * rows)
    for row in range(rows):
        for stitch in range(stitches):
            assert np.array_equal(large.cells[row::rows, stitch::stitches], chart.cells)


@given(charts(), st.integers(1, 80), st.integers(-50, 50))
def test_a_tiled_chart_repeats_over_every_seam_and_starts_at_its_offset(chart: Chart, width: int, offset: int) -> None:
    wide = tile(chart, width, offset)
    assert (wide.rows, wide.stitches) == (chart.rows, width)
    assert np.array_equal(wide.cells[:, : -chart.stitches], wide.cells[:, chart.stitches :])
    start = offset % chart.stitches
    seen = wide.cells[:, start : start + chart.stitches]
    assert np.array_equal(seen, chart.cells[:, : seen.shape[1]])


@given(charts(), st.integers(0, 20), st.integers(0, 20))
def test_a_placed_chart_can_be_cut_out_again_and_the_rest_is_background(chart: Chart, left: int, right: int) -> None:
    placed = place(chart, left + chart.stitches + right, left)
    assert np.array_equal(crop(placed, 1, chart.rows, left + 1, left + chart.stitches).cells, chart.cells)
    assert np.count_nonzero(placed.cells) == np.count_nonzero(chart.cells)


@given(charts())
def test_no_transform_changes_the_chart_that_it_was_given(chart: Chart) -> None:
    before = chart.cells.copy()
    for changed in (
        mirror(chart),
        flip(chart),
        turn(chart, 1),
        tile(chart, 7),
        enlarge(chart),
        place(chart, 30, 0),
    ):
        changed.cells.fill(0)
    assert np.array_equal(chart.cells, before)


@pytest.mark.parametrize(
    ("attempt", "sentence"),
    [
        (
            lambda: enlarge(SMALL, 0, 1),
            "small.png: a chart cannot be enlarged 0 × 1 times; both must be 1 or more.",
        ),
        (
            lambda: crop(SMALL, 2, 1, 1, 3),
            "small.png: row 2 to row 1 cannot be cut out of this chart; "
            "it has row 1 to row 2, and the first must not come after the last.",
        ),
        (
            lambda: crop(SMALL, 1, 2, 1, 4),
            "small.png: stitch 1 to stitch 4 cannot be cut out of this chart; "
            "it has stitch 1 to stitch 3, and the first must not come after the last.",
        ),
        (
            lambda: crop(SMALL, 0, 2, 1, 3),
            "small.png: row 0 to row 2 cannot be cut out of this chart; "
            "it has row 1 to row 2, and the first must not come after the last.",
        ),
        (
            lambda: place(SMALL, 6, 4),
            "small.png: a chart of 3 stitches, placed 4 needles in from the left end, does not fit on 6 needles; "
            "move it, crop it, or take more needles.",
        ),
        (
            lambda: place(SMALL, 6, -1),
            "small.png: a chart of 3 stitches, placed 1 needle beyond the left end, does not fit on 6 needles; "
            "move it, crop it, or take more needles.",
        ),
    ],
)
def test_what_cannot_be_done_to_a_chart_is_said_in_one_sentence(attempt: Callable[[], Chart], sentence: str) -> None:
    with pytest.raises(ChartError) as caught:
        attempt()
    assert str(caught.value) == sentence


@pytest.mark.parametrize(
    "attempt",
    [
        lambda: enlarge(SMALL, STITCHES_MAX, 1),
        lambda: enlarge(SMALL, 1, ROWS_MAX),
        lambda: enlarge(SMALL, 1000, 1000),
        lambda: enlarge(SMALL, 10**12, 10**12),
        lambda: tile(SMALL, STITCHES_MAX + 1),
        lambda: place(SMALL, 10**15, 0),
        lambda: turn(enlarge(SMALL, 1, STITCHES_MAX), 1),
    ],
)
def test_a_result_that_no_bed_could_knit_is_refused_before_it_takes_memory(attempt: Callable[[], Chart]) -> None:
    with pytest.raises(ChartError, match="too large"):
        attempt()


@pytest.mark.parametrize("width", [0, -1])
def test_a_chart_cannot_be_repeated_over_nothing(width: int) -> None:
    with pytest.raises(ChartError, match="has nothing to knit"):
        tile(SMALL, width)


def test_too_many_colours_for_a_technique_are_counted_and_the_nearest_two_named() -> None:
    chart = Chart(np.array([[0, 1, 2, 3]], np.uint8), (WHITE, NAVY, RED, BLUE), "flag.png")
    require_colours(chart, 4, "jacquard")
    with pytest.raises(ChartError) as caught:
        require_colours(chart, 2, "fair-isle")
    assert str(caught.value) == (
        "flag.png: the chart has 4 colours and fair-isle takes 2 at most; "
        "the nearest two are navy (#000080) and #00008c; choose a technique that takes more, or reduce them with colours = 2."
    )


def test_a_colour_of_the_palette_that_no_stitch_has_is_not_counted() -> None:
    require_colours(Chart(np.array([[0, 2]], np.uint8), (WHITE, NAVY, RED, BLUE)), 2, "fair-isle")
