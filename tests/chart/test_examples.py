"""The packaged charts keep to the limits of the techniques that they are drawn for.

Spencer, Knitting Technology, 3rd ed. 2001, ch. 9: a float passes at most 6 needles, a needle tucks or
floats at most 4 times in succession, normally at most 2 adjacent needles tuck. Two-colour work by hand:
floats of at most 5 stitches (common practice, no source).
"""

from __future__ import annotations

from importlib.resources import as_file, files

import numpy as np
import numpy.typing as npt
import pytest

from latchline.chart.model import Chart
from latchline.chart.read import read_chart

CHARTS = sorted(
    item.name for item in files("latchline").joinpath("examples").iterdir() if item.name.endswith((".png", ".txt"))
)


def example(name: str) -> Chart:
    with as_file(files("latchline").joinpath("examples", name)) as path:
        return read_chart(path)


def longest_run(cells: npt.NDArray[np.bool_]) -> int:
    """The longest run of True along a row that repeats without end; twice its length when all of it is."""
    twice = np.concatenate([cells, cells], axis=1)
    longest = 0
    for row in twice:
        ends = np.flatnonzero(~np.concatenate([[False], row, [False]]))
        longest = max(longest, int(np.diff(ends).max()) - 1)
    return longest


def test_a_run_is_measured_across_the_seam() -> None:
    assert longest_run(np.array([[1, 0, 0, 1, 1]], bool)) == 3
    assert longest_run(np.array([[0, 0]], bool)) == 0
    assert longest_run(np.array([[1, 1]], bool)) == 4


def test_there_is_a_chart_for_every_kind_of_work() -> None:
    assert CHARTS == [
        "bench-bunting.png",
        "fishing-net.txt",
        "gulls-and-waves.png",
        "harbour-lettering.png",
        "signal-flags.png",
        "tide-lines.txt",
    ]


@pytest.mark.parametrize("name", ["gulls-and-waves.png", "harbour-lettering.png"])
def test_the_two_colour_charts_have_no_float_over_five_stitches_even_at_the_seam(name: str) -> None:
    chart = example(name)
    assert chart.colours == 2
    for colour in range(2):
        assert longest_run(chart.cells != colour) <= 5


def test_the_bunting_uses_two_of_its_three_colours_a_row_and_no_float_over_five_stitches() -> None:
    chart = example("bench-bunting.png")
    assert chart.colours == 3
    for row in chart.cells:
        used = np.unique(row)
        assert len(used) == 2
        for colour in used:
            assert longest_run((row != colour)[None]) <= 5


def test_the_flags_have_four_colours_of_different_brightness() -> None:
    chart = example("signal-flags.png")
    assert chart.colours == 4 == len({299 * c.red + 587 * c.green + 114 * c.blue for c in chart.palette})


@pytest.mark.parametrize(("name", "adjacent", "successive"), [("fishing-net.txt", 2, 4), ("tide-lines.txt", 5, 4)])
def test_the_textures_neither_overload_a_needle_nor_float_too_far(name: str, adjacent: int, successive: int) -> None:
    chart = example(name)
    unselected = chart.cells == 0
    assert unselected.any()
    assert longest_run(unselected) <= adjacent
    assert longest_run(unselected.T) <= successive


def test_the_widths_share_a_span_of_120_needles() -> None:
    assert all(120 % example(name).stitches == 0 for name in CHARTS if name != "signal-flags.png")
