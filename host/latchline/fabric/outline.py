"""The outline of the finished piece: where fabric is, and the corners of its edge.

Short rows are counted on their own needles, as the piece lies on the needles and not as it would curve once it
is off them; a hem is folded, waste yarn is off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.fabric.layout import courses_of, stretches
from latchline.fabric.loops import Bools
from latchline.plan.hand import Position
from latchline.plan.model import Band, Plan
from latchline.shaping.gauge import Gauge

ROWS_MOST = 4000  # a taller piece is looked at in coarser rows
SMOOTHED_STITCHES = 1.3  # steps of an edge smaller than this are one slope

Corner = tuple[float, float]  # needles from the span's left, rows from the lower edge


@dataclass(frozen=True, eq=False)
class Outline:
    """The edges of a piece, each closed, as the operator sees it (purl side). corners: in needles and rows.

    width, rows: of the whole piece, in stitches and rows of its gauge; knitted: the same as they are knitted.
    """

    edges: tuple[tuple[Corner, ...], ...]
    width: float
    rows: float
    knitted: tuple[float, float]


def outline(plan: Plan, gauge: Gauge) -> Outline:
    """The edges of the finished piece, largest first; empty where nothing counts."""
    fabric, row = silhouette(plan)
    loops = [np.array(loop, dtype=np.float64) * (1.0, row) for loop in _edges(fabric)]
    scale = np.array([gauge.stitch_mm, gauge.row_mm])
    smooth = [_smoothed(loop, scale) for loop in sorted(loops, key=_area, reverse=True)]
    there = np.flatnonzero(fabric.any(axis=0))
    wide = float(there[-1] - there[0] + 1) if len(there) else 0.0
    tall = float(np.flatnonzero(fabric.any(axis=1))[-1] + 1) * row if len(there) else 0.0
    knitted = wide, tall
    if any(band.scale != (1.0, 1.0) for band in plan.bands if band.counts):
        wide = max(_stitches(plan, band) * band.scale[0] for band in plan.bands if band.counts)
        knitted = knitted[0], courses_of(plan, scaled=False)
    return Outline(tuple(tuple((float(x), float(y)) for x, y in loop) for loop in smooth), wide, tall, knitted)


def _stitches(plan: Plan, band: Band) -> int:
    """From the first to the last needle that is in work or held in a band."""
    there = np.flatnonzero((plan.positions_of(band.first, band.last) != Position.OUT).any(axis=0))
    return int(there[-1] - there[0] + 1)


def silhouette(plan: Plan) -> tuple[Bools, float]:
    """Where fabric lies: bool (rows, width), row 0 lowest; and how many rows of knitting each row stands for."""
    parts = [(working, foot.copy(), lift) for working, foot, lift in stretches(plan) if lift > 0]
    tall = max((float((foot + lift)[working].max()) for working, foot, lift in parts), default=0.0)
    row = max(1.0, tall / ROWS_MOST)
    fabric = np.zeros((round(tall / row) + 1, plan.span.width), dtype=np.bool_)
    levels = np.arange(len(fabric))[:, None]
    for working, foot, lift in parts:
        low, high = np.round(foot / row), np.round((foot + lift) / row)
        here = slice(int(low[working].min()), int(high[working].max()) + 1)
        fabric[here] |= (levels[here] >= low) & (levels[here] < high) & working
    return fabric, row


def _edges(fabric: Bools) -> list[list[tuple[int, int]]]:
    """The borders of the fabric as closed walks along its cells' corners, the fabric always on the left."""
    padded = np.pad(fabric, 1)
    inside = padded[1:-1, 1:-1]
    ways: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for beyond, start, end in (
        (padded[:-2, 1:-1], (0, 0), (1, 0)),  # lower edge, rightward
        (padded[1:-1, 2:], (1, 0), (1, 1)),
        (padded[2:, 1:-1], (1, 1), (0, 1)),
        (padded[1:-1, :-2], (0, 1), (0, 0)),
    ):
        for row, column in np.argwhere(inside & ~beyond).tolist():
            ways.setdefault((column + start[0], row + start[1]), []).append((column + end[0], row + end[1]))
    loops = []
    while ways:
        first = next(iter(ways))
        loop, at = [first], first
        while True:
            onward = ways[at]
            at = onward.pop()
            if not onward:
                del ways[loop[-1]]
            if at == first:
                break
            loop.append(at)
        loops.append(loop)
    return loops


def _area(loop: npt.NDArray[np.float64]) -> float:
    x, y = loop.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def _smoothed(loop: npt.NDArray[np.float64], scale: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The walk without the corners that lie within a step of a straight line (Ramer, Douglas and Peucker)."""
    start = int(np.lexsort((loop[:, 0], loop[:, 1]))[0])  # lowest, of these the leftmost
    walk = np.roll(loop, -start, axis=0)
    closed = np.concatenate([walk, walk[:1]])
    far = int(np.argmax(np.hypot(*((closed - closed[0]) * scale).T)))
    limit = SMOOTHED_STITCHES * float(scale[0])
    keep = np.zeros(len(closed), dtype=np.bool_)
    keep[[0, far]] = True
    left = [(0, far), (far, len(closed) - 1)]
    while left:
        low, high = left.pop()
        if high - low < 2:
            continue
        line, points = (closed[high] - closed[low]) * scale, (closed[low + 1 : high] - closed[low]) * scale
        length = float(np.hypot(*line))
        away = np.hypot(*points.T) if length == 0 else np.abs(line[0] * points[:, 1] - line[1] * points[:, 0]) / length
        worst = int(away.argmax())
        if away[worst] > limit:
            keep[low + 1 + worst] = True
            left += [(low, low + 1 + worst), (low + 1 + worst, high)]
    keep[-1] = False
    return closed[keep]
