"""Redraw a chart on another number of stitches and rows, in its own colours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from latchline.chart.bounds import require_size
from latchline.chart.model import Chart
from latchline.errors import InputError

WAYS_TO_RESAMPLE = ("nearest", "majority")


def resample(chart: Chart, stitches: int, rows: int, how: str = "majority") -> Chart:
    """The chart on `stitches` × `rows` cells.

    how: `nearest` takes the cell under the middle of each new one, which keeps thin lines or loses
    them whole; `majority` takes the colour that covers most of each new cell (the lower palette
    index when two cover the same). Raises ChartError when the size is out of bounds, InputError for
    another word.
    """
    require_size(stitches, rows, chart.name)
    if how == "nearest":
        from PIL import Image

        picture = Image.fromarray(chart.cells).resize((stitches, rows), Image.Resampling.NEAREST)
        return replace(chart, cells=np.array(picture, dtype=np.uint8))
    if how != "majority":
        raise InputError(f'there is no resampling called "{how}"', hint="accepted: " + ", ".join(WAYS_TO_RESAMPLE))
    down = _cover(chart.rows, rows)
    across = _cover(chart.stitches, stitches)
    best = np.full((rows, stitches), -1.0)
    cells = np.zeros((rows, stitches), dtype=np.uint8)
    for index in range(len(chart.palette)):
        covered = down @ (chart.cells == index).astype(np.float64) @ across.T
        wins = covered > best + 1e-9
        cells[wins] = index
        best = np.where(wins, covered, best)
    return replace(chart, cells=cells)


def _cover(old: int, new: int) -> npt.NDArray[np.float64]:
    """How much of each old cell lies in each new one along one side: (new, old), in old cells."""
    edges = np.linspace(0, old, new + 1)
    cell = np.arange(old)
    low = np.maximum(edges[:-1, None], cell[None])
    high = np.minimum(edges[1:, None], cell[None] + 1)
    shared: npt.NDArray[np.float64] = np.clip(high - low, 0, None)
    return shared
