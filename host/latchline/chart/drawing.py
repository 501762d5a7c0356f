"""What is done to a drawing before it is knitted: cut, turned, flipped, mirrored, enlarged, in that order."""

from __future__ import annotations

from latchline.chart.model import Chart
from latchline.chart.transform import crop, enlarge, flip, mirror, turn

Ends = tuple[int, int]


def arranged(
    chart: Chart,
    *,
    crop_rows: Ends | None = None,
    crop_stitches: Ends | None = None,
    turns: int = 0,
    flipped: bool = False,
    mirrored: bool = False,
    enlarged: Ends = (1, 1),
) -> Chart:
    """A drawing as it is to be knitted. Raises ChartError.

    crop_rows, crop_stitches: first and last to keep, from 1; None keeps all.
    turns: quarter turns clockwise. enlarged: needles and rows for each cell.
    """
    if crop_rows or crop_stitches:
        rows = crop_rows or (1, chart.rows)
        stitches = crop_stitches or (1, chart.stitches)
        chart = crop(chart, *rows, *stitches)
    if turns % 4:
        chart = turn(chart, turns)
    if flipped:
        chart = flip(chart)
    if mirrored:
        chart = mirror(chart)
    if enlarged != (1, 1):
        chart = enlarge(chart, *enlarged)
    return chart
