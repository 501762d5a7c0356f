"""The examples of docs/reference/charts.md are charts, and mean what the page says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from latchline.chart.bounds import BYTES_MAX, CELLS_MAX, ROWS_MAX, STITCHES_MAX
from latchline.chart.model import Chart
from latchline.chart.read import read_chart

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "charts.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(text|csv)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


@pytest.fixture
def charts(tmp_path: Path) -> list[Chart]:
    read = []
    for number, (kind, text) in enumerate(BLOCKS):
        path = tmp_path / f"{number}.{'txt' if kind == 'text' else kind}"
        path.write_text(text, encoding="utf-8")
        read.append(read_chart(path))
    return read


def test_the_examples_of_the_page_are_read_as_it_says(charts: list[Chart]) -> None:
    boat, legend, tuck, numbers, colours = charts
    assert boat.cells[0].tolist() == [1] * 8
    assert boat.cells[1].tolist() == [0, 0, 0, 2, 0, 0, 0, 0]
    assert [colour.name for colour in legend.palette] == ["cream", "navy", "buoy red"]
    assert legend.cells[0].tolist() == [1, 1, 0, 0, 2, 2, 0, 0]
    assert tuck.cells[0].tolist() == [1, 1, 1, 1]
    assert [colour.name for colour in tuck.palette] == ["tuck", "knit"]
    assert numbers.cells[0].tolist() == [2, 0, 0, 2]
    assert [colour.hex for colour in colours.palette] == ["#ffffff", "#000080", "#b5432e"]


def test_the_page_gives_the_limits_that_hold() -> None:
    limits = f"{BYTES_MAX >> 20} MiB, {STITCHES_MAX:,} stitches, {ROWS_MAX:,} rows, {CELLS_MAX:,} cells"
    assert limits in PAGE
