"""The outline of the finished piece: where fabric is, and the corners of its edge.

Short rows are counted on their own needles, as the piece lies on the needles and not as it would curve once it
is off them; a hem is folded, waste yarn is off.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from latchline.fabric.layout import Heights, stretches
from latchline.fabric.loops import Bools
from latchline.plan.model import Band, Plan
from latchline.shaping.gauge import Gauge

ROWS_MOST = 4000  # a taller piece is looked at in coarser rows
SMOOTHED_STITCHES = 1.3  # steps of an edge smaller than this are one slope

NONE = -1  # no fabric in a cell

Ints = npt.NDArray[np.int32]
Cell = tuple[int, int]  # row, column


class Corner(NamedTuple):
    """needles: from the span's left; rows: from the lower edge, as they were knitted; the same by each band's gauge."""

    needles: float
    rows: float
    across_mm: float
    up_mm: float


@dataclass(frozen=True, eq=False)
class Outline:
    """The edges of a piece, each closed, as the operator sees it (purl side).

    Bands with a gauge of their own are laid middle above middle. width, rows: of the whole piece, in stitches and rows
    of its gauge; knitted: the same as they are knitted.
    """

    edges: tuple[tuple[Corner, ...], ...]
    width: float
    rows: float
    knitted: tuple[float, float]


def outline(plan: Plan, gauge: Gauge) -> Outline:
    """The edges of the finished piece, largest first; empty where nothing counts."""
    cells, parts, row = _cells(plan)
    fabric = cells != NONE
    as_knitted = _parts(plan, scaled=False)

    def corner(x: int, y: int, cell: Cell) -> Corner:
        """By the gauge of the band whose cell lies inside of it."""
        number = int(cells[cell])
        band, _, feet, lift = parts[number]
        foot = float(feet[cell[1]])
        low, high = round(foot / row), round((foot + lift) / row)
        share = (y - low) / (high - low)
        rows = float(as_knitted[number][2][cell[1]]) + share * as_knitted[number][3]
        across = (x - plan.span.width / 2) * gauge.stitch_mm * band.scale[0]
        return Corner(float(x), round(rows, 6), across, round((foot + share * lift) * gauge.row_mm, 6))

    loops = []
    for walk in _edges(fabric):
        loop: list[Corner] = []
        for start, end, cell in walk:  # where two bands meet, the edge goes on from another place
            loop += [at for at in (corner(*start, cell), corner(*end, cell)) if not loop or loop[-1][2:] != at[2:]]
        loops.append(np.array(loop[:-1] if loop[0][2:] == loop[-1][2:] else loop))
    limit = SMOOTHED_STITCHES * gauge.stitch_mm
    smooth = [_smoothed(loop, limit) for loop in sorted(loops, key=_area, reverse=True)]
    edges = tuple(tuple(Corner(*at) for at in loop.tolist()) for loop in smooth)
    there = np.flatnonzero(fabric.any(axis=0))
    wide = float(there[-1] - there[0] + 1) if len(there) else 0.0
    tall = _tall(parts)
    knitted = wide, _tall(as_knitted)
    if edges and any(band.scale != (1.0, 1.0) for band in plan.bands if band.counts):
        across = [at.across_mm for edge in edges for at in edge]
        wide = (max(across) - min(across)) / gauge.stitch_mm
    return Outline(edges, wide, tall, knitted)


def _parts(plan: Plan, *, scaled: bool = True) -> list[tuple[Band, Bools, Heights, float]]:
    """The stretches of passes that count.

    Where it begins on every other needle, all of those that come into work next are at its lower edge.
    """
    parts = [
        (band, working, foot.copy(), lift)
        for band, working, foot, lift in stretches(plan, scaled=scaled)
        if band.counts
    ]
    if len(parts) > 1 and (np.diff(np.flatnonzero(parts[0][1])) == 2).all():
        band, working, foot, lift = parts[0]
        parts[0] = (band, working | parts[1][1], foot, lift)
    return parts


def _tall(parts: Iterable[tuple[Band, Bools, Heights, float]]) -> float:
    return max((float((foot + lift)[working].max()) for _, working, foot, lift in parts), default=0.0)


def silhouette(plan: Plan) -> tuple[Bools, float]:
    """Where fabric lies: bool (rows, width), row 0 lowest; and how many rows of the gauge each row stands for."""
    cells, _, row = _cells(plan)
    return cells != NONE, row


def _cells(plan: Plan) -> tuple[Ints, list[tuple[Band, Bools, Heights, float]], float]:
    """Which stretch of passes has made each cell, int32 (rows, width), the stretches, and the rows of a cell."""
    parts = _parts(plan)
    tall = _tall(parts)
    row = max(1.0, tall / ROWS_MOST)
    cells = np.full((round(tall / row) + 1, plan.span.width), NONE, dtype=np.int32)
    levels = np.arange(len(cells))[:, None]
    for number, (_, working, foot, lift) in enumerate(parts):
        low, high = np.round(foot / row), np.round((foot + lift) / row)
        here = slice(int(low[working].min()), int(high[working].max()) + 1)
        cells[here][(levels[here] >= low) & (levels[here] < high) & working] = number
    return cells, parts, row


def _edges(fabric: Bools) -> list[list[tuple[Cell, Cell, Cell]]]:
    """The borders of the fabric as closed walks along its cells' corners, the fabric always on the left.

    Each step from a corner (x, y) to the next, with the cell inside of it.
    """
    padded = np.pad(fabric, 1)
    inside = padded[1:-1, 1:-1]
    ways: dict[Cell, list[tuple[Cell, Cell]]] = {}
    for beyond, start, end in (
        (padded[:-2, 1:-1], (0, 0), (1, 0)),  # lower edge, rightward
        (padded[1:-1, 2:], (1, 0), (1, 1)),
        (padded[2:, 1:-1], (1, 1), (0, 1)),
        (padded[1:-1, :-2], (0, 1), (0, 0)),
    ):
        for row, column in np.argwhere(inside & ~beyond).tolist():
            onward = ((column + end[0], row + end[1]), (row, column))
            ways.setdefault((column + start[0], row + start[1]), []).append(onward)
    walks = []
    while ways:
        first = at = next(iter(ways))
        walk: list[tuple[Cell, Cell, Cell]] = []
        while not walk or at != first:
            further, cell = ways[at].pop()
            if not ways[at]:
                del ways[at]
            walk.append((at, further, cell))
            at = further
        walks.append(walk)
    return walks


def _area(loop: npt.NDArray[np.float64]) -> float:
    x, y = loop[:, 2:].T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def _smoothed(loop: npt.NDArray[np.float64], limit: float) -> npt.NDArray[np.float64]:
    """The walk without the corners that lie within a step of a straight line (Ramer, Douglas and Peucker).

    limit: of the step, mm.
    """
    start = int(np.lexsort((loop[:, 2], loop[:, 3]))[0])  # lowest, of these the leftmost
    walk = np.roll(loop, -start, axis=0)
    corners = np.concatenate([walk, walk[:1]])
    closed = corners[:, 2:]
    far = int(np.argmax(np.hypot(*(closed - closed[0]).T)))
    keep = np.zeros(len(closed), dtype=np.bool_)
    keep[[0, far]] = True
    left = [(0, far), (far, len(closed) - 1)]
    while left:
        low, high = left.pop()
        if high - low < 2:
            continue
        line, points = closed[high] - closed[low], closed[low + 1 : high] - closed[low]
        length = float(np.hypot(*line))
        away = np.hypot(*points.T) if length == 0 else np.abs(line[0] * points[:, 1] - line[1] * points[:, 0]) / length
        worst = int(away.argmax())
        if away[worst] > limit:
            keep[low + 1 + worst] = True
            left += [(low, low + 1 + worst), (low + 1 + worst, high)]
    keep[-1] = False
    return corners[keep]
