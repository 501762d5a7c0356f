"""From a chart file to the drawing that a band knits: read, cut, turn, mirror, enlarge, in that order."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from latchline.chart.model import Chart
from latchline.chart.read import read_chart
from latchline.chart.transform import crop, enlarge, flip, mirror, turn, without_unused_colours


@dataclass(frozen=True)
class Drawing:
    """A chart file and what is done to it before it is knitted.

    crop_rows, crop_stitches: first and last to keep, from 1; None keeps all.
    turn: quarter turns clockwise. enlarge_*: needles and rows for each cell.
    """

    path: Path
    colours: int | None = None
    background: str | None = None
    crop_rows: tuple[int, int] | None = None
    crop_stitches: tuple[int, int] | None = None
    turn: int = 0
    flip: bool = False
    mirror: bool = False
    enlarge_stitches: int = 1
    enlarge_rows: int = 1

    def chart(self) -> Chart:
        """Read the file. Raises ChartError."""
        chart = read_chart(self.path, colours=self.colours, background=self.background)
        if self.crop_rows or self.crop_stitches:
            rows = self.crop_rows or (1, chart.rows)
            stitches = self.crop_stitches or (1, chart.stitches)
            chart = without_unused_colours(crop(chart, *rows, *stitches))
        if self.turn % 4:
            chart = turn(chart, self.turn)
        if self.flip:
            chart = flip(chart)
        if self.mirror:
            chart = mirror(chart)
        if self.enlarge_stitches != 1 or self.enlarge_rows != 1:
            chart = enlarge(chart, self.enlarge_stitches, self.enlarge_rows)
        return chart
