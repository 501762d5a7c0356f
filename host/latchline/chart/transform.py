"""Mirror, turn, enlarge, crop, repeat and place charts: pure functions from Chart to Chart.

A row counts from the bottom of the drawing, a stitch from its left. Every result keeps the
palette and the name, and stays within the bounds of `latchline.chart.bounds`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from latchline.chart.bounds import require_size
from latchline.chart.colours import COLOURS_ASKED_MIN, label, nearest_pair
from latchline.chart.model import Cells, Chart
from latchline.counted import counted
from latchline.errors import ChartError
from latchline.mend import Mend


def _with_cells(chart: Chart, cells: Cells) -> Chart:
    return replace(chart, cells=np.array(cells, order="C"))


def mirror(chart: Chart) -> Chart:
    """Left and right change places."""
    return _with_cells(chart, chart.cells[:, ::-1])


def flip(chart: Chart) -> Chart:
    """Bottom and top change places."""
    return _with_cells(chart, chart.cells[::-1])


def turn(chart: Chart, quarters: int) -> Chart:
    """Turn by quarter turns clockwise, as the drawing is seen; negative turns the other way.

    Raises ChartError when the turned chart would be too wide.
    """
    if quarters % 2:
        require_size(chart.rows, chart.stitches, chart.name)
    return _with_cells(chart, np.rot90(chart.cells, quarters % 4))


def enlarge(chart: Chart, stitches: int = 1, rows: int = 1) -> Chart:
    """Draw every cell `stitches` wide and `rows` tall, both from 1.

    Raises ChartError for a factor under 1 or a result out of bounds.
    """
    if stitches < 1 or rows < 1:
        raise ChartError(
            f"a chart cannot be enlarged {stitches} × {rows} times",
            where=chart.name,
            hint="both must be 1 or more",
        )
    require_size(chart.stitches * stitches, chart.rows * rows, chart.name)
    return _with_cells(chart, chart.cells.repeat(rows, axis=0).repeat(stitches, axis=1))


def crop(chart: Chart, first_row: int, last_row: int, first_stitch: int, last_stitch: int) -> Chart:
    """Keep rows `first_row` to `last_row` and stitches `first_stitch` to `last_stitch`.

    All four count from 1 and are kept themselves; row 1 is the bottom row, stitch 1 the left one.
    Raises ChartError when a pair stands the wrong way round or leaves the chart.
    """
    for word, first, last, most in (
        ("row", first_row, last_row, chart.rows),
        ("stitch", first_stitch, last_stitch, chart.stitches),
    ):
        if not 1 <= first <= last <= most:
            raise ChartError(
                f"{word} {first} to {word} {last} cannot be cut out of this chart",
                where=chart.name,
                hint=f"it has {word} 1 to {word} {most}, and the first must not come after the last",
            )
    return _with_cells(chart, chart.cells[first_row - 1 : last_row, first_stitch - 1 : last_stitch])


def tile(chart: Chart, width: int, offset: int = 0) -> Chart:
    """Repeat the chart side by side over `width` stitches.

    The repeat is shifted `offset` stitches to the right (negative: to the left), so that its first
    stitch stands on stitch `offset`, counted from 0; the ends of the width cut through it.
    Raises ChartError for a width out of bounds.
    """
    require_size(width, chart.rows, chart.name)
    if width == chart.stitches and offset % width == 0:
        return _with_cells(chart, chart.cells)
    return _with_cells(chart, chart.cells[:, (np.arange(width) - offset) % chart.stitches])


def place(chart: Chart, width: int, at: int) -> Chart:
    """The chart once on `width` stitches, with `at` stitches of background to its left.

    Raises ChartError when it would stand over an end, or for a width out of bounds.
    """
    require_size(width, chart.rows, chart.name)
    if at < 0 or at + chart.stitches > width:
        place = (
            f"{counted(at, 'needle')} in from the left end"
            if at >= 0
            else f"{counted(-at, 'needle')} beyond the left end"
        )
        raise ChartError(
            f"a chart of {counted(chart.stitches, 'stitch')}, placed {place}, "
            f"does not fit on {counted(width, 'needle')}",
            where=chart.name,
            hint="move it, crop it, or take more needles",
        )
    cells = np.zeros((chart.rows, width), np.uint8)
    cells[:, at : at + chart.stitches] = chart.cells
    return _with_cells(chart, cells)


def require_colours(chart: Chart, most: int, technique_name: str) -> None:
    """Complain of a chart with more colours than the technique can knit.

    Raises ChartError with the count, the two colours nearest to each other, and the way out.
    """
    if len(chart.palette) <= most or chart.colours <= most:  # counting a large chart costs more than compiling it
        return
    used = [chart.palette[index] for index in np.unique(chart.cells)]
    one, other = nearest_pair(used)
    few = most >= COLOURS_ASKED_MIN
    raise ChartError(
        f"the chart has {chart.colours} colours and {technique_name} takes {most} at most; "
        f"the nearest two are {label(one)} and {label(other)}",
        where=chart.name,
        hint="choose a technique that takes more" if few else "choose another technique",
        mends=[Mend("reduce them", "colours", most)] if few else [],
    )
