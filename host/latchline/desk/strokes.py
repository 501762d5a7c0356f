"""What a hand does to a drawing: pure functions from cells to cells. Row 0 is the bottom row, stitch 0 the left one.

Cells are uint8 (rows, stitches), palette indices. A function returns a new array or the one given.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from latchline.chart.bounds import require_size
from latchline.chart.model import Cells
from latchline.errors import ChartError

Point = tuple[int, int]  # row, stitch
AXES = ("", "sideways", "upward", "both")  # what is drawn is mirrored across: left and right, bottom and top


def paint(cells: Cells, points: Sequence[Point], colour: int, mirrored: str = "") -> Cells:
    """The way of a pencil through these points; what lies outside the chart is left out."""
    return _put(cells, _way(points), colour, mirrored)


def box(cells: Cells, one: Point, other: Point, colour: int, mirrored: str = "", *, filled: bool = False) -> Cells:
    """A rectangle with these two corners: its outline, or all of it."""
    (low, high), (left, right) = sorted((one[0], other[0])), sorted((one[1], other[1]))
    low, left = max(low, -1), max(left, -1)  # an edge outside the chart is not drawn, and costs nothing
    high, right = min(high, cells.shape[0]), min(right, cells.shape[1])
    points = (
        (row, stitch)
        for row in range(low, high + 1)
        for stitch in range(left, right + 1)
        if filled or row in (low, high) or stitch in (left, right)
    )
    return _put(cells, points, colour, mirrored)


def flood(cells: Cells, at: Point, colour: int) -> Cells:
    """Give the colour to the cell and to all that join it, side by side, in the same colour."""
    row, stitch = at
    if not (0 <= row < cells.shape[0] and 0 <= stitch < cells.shape[1]):
        return cells
    same = cells == cells[row, stitch]
    inside = np.zeros_like(same)
    inside[row, stitch] = True
    edge = [(row, stitch)]
    while edge:
        reached = []
        for r, s in edge:
            for at_row, at_stitch in ((r + 1, s), (r - 1, s), (r, s + 1), (r, s - 1)):
                within = 0 <= at_row < same.shape[0] and 0 <= at_stitch < same.shape[1]
                if within and same[at_row, at_stitch] and not inside[at_row, at_stitch]:
                    inside[at_row, at_stitch] = True
                    reached.append((at_row, at_stitch))
        edge = reached
    return np.where(inside, np.uint8(colour), cells)


def part(cells: Cells, one: Point, other: Point) -> Cells:
    """The cells between two corners, both included. Raises ChartError when none lies in the chart."""
    (low, high), (left, right) = sorted((one[0], other[0])), sorted((one[1], other[1]))
    found = cells[max(low, 0) : max(high + 1, 0), max(left, 0) : max(right + 1, 0)]
    if not found.size:
        raise ChartError("nothing of the chart is selected", hint="draw a frame around some stitches")
    return found.copy()


def place(cells: Cells, stamp: Cells, at: Point) -> Cells:
    """Lay cells onto the chart, their bottom left one at a place; what hangs over is cut off."""
    result = cells.copy()
    row, stitch = at
    low, left = max(row, 0), max(stitch, 0)
    high, right = min(row + stamp.shape[0], cells.shape[0]), min(stitch + stamp.shape[1], cells.shape[1])
    if low < high and left < right:
        result[low:high, left:right] = stamp[low - row : high - row, left - stitch : right - stitch]
    return result


def shift(cells: Cells, rows: int, stitches: int) -> Cells:
    """Move everything up and to the right; what leaves on one side comes in on the other."""
    return np.roll(cells, (rows, stitches), axis=(0, 1))


def insert(cells: Cells, axis: int, at: int, count: int, colour: int, where: str) -> Cells:
    """Put `count` rows (axis 0) or stitches (axis 1) of one colour in before number `at`. Raises ChartError."""
    sizes = [cells.shape[0], cells.shape[1]]
    sizes[axis] += count
    require_size(sizes[1], sizes[0], where)
    return np.insert(cells, [min(max(at, 0), cells.shape[axis])] * count, np.uint8(colour), axis=axis)


def remove(cells: Cells, axis: int, at: int, count: int) -> Cells:
    """Take `count` rows or stitches out from number `at` on. Raises ChartError when nothing would be left."""
    gone = [place for place in range(at, at + count) if 0 <= place < cells.shape[axis]]
    if len(gone) == cells.shape[axis]:
        raise ChartError("a chart keeps one row and one stitch at least", hint="start an empty chart instead")
    return np.delete(cells, gone, axis=axis)


def _way(points: Sequence[Point]) -> Iterator[Point]:
    """The cells from point to point without a gap (Bresenham, IBM Systems J. 4 (1965) 25)."""
    if points:
        yield points[0]
    for (row, stitch), (to_row, to_stitch) in pairwise(points):
        tall, wide = abs(to_row - row), abs(to_stitch - stitch)
        up, right = (1 if to_row > row else -1), (1 if to_stitch > stitch else -1)
        error = wide - tall
        while (row, stitch) != (to_row, to_stitch):
            double = 2 * error
            if double > -tall:
                error, stitch = error - tall, stitch + right
            if double < wide:
                error, row = error + wide, row + up
            yield row, stitch


def _put(cells: Cells, points: Iterable[Point], colour: int, mirrored: str) -> Cells:
    result = cells.copy()
    rows, stitches = cells.shape
    for row, stitch in points:
        places = [(row, stitch)]
        if mirrored in ("sideways", "both"):
            places += [(r, stitches - 1 - s) for r, s in places]
        if mirrored in ("upward", "both"):
            places += [(rows - 1 - r, s) for r, s in places]
        for r, s in places:
            if 0 <= r < rows and 0 <= s < stitches:
                result[r, s] = colour
    return result
