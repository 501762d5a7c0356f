"""Pictures of the fabric, knit side or purl side: which shape is stamped where, and in which order."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from PIL import Image

from latchline.fabric.layout import Layout, layout
from latchline.fabric.loops import NO_YARN, Bools, knits
from latchline.plan.model import Plan
from latchline.preview import stitches as shapes
from latchline.preview.canvas import Bitmap, Canvas, Drawn, LineDrawing
from latchline.shaping.gauge import Gauge
from latchline.technique.model import Does

SIDES = ("knit", "purl")
STITCH_PX = (4, 64)  # narrowest and widest stitch of a bitmap


def draw_fabric(
    plan: Plan, side: str, gauge: Gauge, *, stitch_px: int | None = None, first: int = 1, last: int | None = None
) -> Image.Image:
    """The fabric of passes first to last, with the cast-on row under it, as a palette image.

    side: `knit` shows the wales mirrored, as that side faces away from the operator; `purl` as the
    operator sees them. stitch_px: width of a stitch, 4 to 64; None chooses one.
    Around the fabric there is one stitch's width of ground. Raises InputError when the picture
    would be too large.
    """
    loops = layout(plan, back=side == "purl", first=first, last=last)
    if stitch_px is None:
        stitch_px = int(np.clip(2400 // loops.width, 6, 24))
    canvas = Bitmap(loops, gauge, stitch_px, mirrored=side == "knit")
    _draw(canvas, side)
    return canvas.image()


def fabric_svg(plan: Plan, side: str, gauge: Gauge, *, first: int = 1, last: int | None = None) -> str:
    """The same as SVG text. Raises InputError when it would hold too many stitches."""
    loops = layout(plan, back=side == "purl", first=first, last=last)
    canvas = LineDrawing(loops, gauge, mirrored=side == "knit")
    _draw(canvas, side)
    return canvas.svg(f"{plan.name}, {side} side")


def _draw(canvas: Canvas, side: str) -> None:
    if side == "knit":
        _knit_side(canvas)
    else:
        _purl_side(canvas)


def _knit_side(canvas: Canvas) -> None:
    """First what lies behind, then the loops from the cast-on row upwards, each over the one below it."""
    loops, last = canvas.loops, canvas.loops.width - 1
    for number, acts in enumerate(loops.acts):
        height, yarns = float(loops.base[number]), loops.yarn[number].astype(np.int64)
        past = np.flatnonzero(_between(yarns == loops.first[number]) & (acts >= Does.TUCK))
        canvas.stamp_plain(height, last - past, _all_of(loops.first[number], past), shapes.behind)
        tucks = np.flatnonzero(acts == Does.TUCK)
        canvas.stamp_risen(height, loops.top[number][tucks], last - tucks, yarns[tucks], shapes.tuck_behind)
        laid = np.flatnonzero((acts == Does.LAID_OVER) | (acts == Does.LAID_UNDER))
        canvas.stamp_plain(height, last - laid, _all_of(loops.second[number], laid), shapes.behind)
    _cast_on(canvas, shapes.knit_side_loop, False)
    for number, acts in enumerate(loops.acts):
        height, yarns, made = float(loops.base[number]), loops.yarn[number].astype(np.int64), knits(acts)
        for wide in (False, True):
            here = np.flatnonzero(made & (loops.tucked[number] == wide))
            canvas.stamp_risen(height, loops.top[number][here], last - here, yarns[here], shapes.knit_side_loop, wide)


def _purl_side(canvas: Canvas) -> None:
    """Upwards: legs of the new loops, heads of those that they are drawn through, then sinkers, tucks and floats.

    The second bed's stitches show their legs on this side, as the front bed's do on the other.
    """
    loops = canvas.loops
    shows_legs = np.zeros(loops.width, dtype=np.bool_)
    hanging = np.full(loops.width, _cast_on_yarn(loops), dtype=np.int64)
    _cast_on(canvas, shapes.purl_legs)
    edge = np.arange(1, loops.width)
    canvas.stamp_plain(-1.0, edge, _all_of(_cast_on_yarn(loops), edge), shapes.purl_sinker)
    for number, acts in enumerate(loops.acts):
        height, yarns = float(loops.base[number]), loops.yarn[number].astype(np.int64)
        made = np.flatnonzero(knits(acts))
        if loops.on_second[number]:
            canvas.stamp_risen(height, loops.top[number][made], made, yarns[made], shapes.knit_side_loop, False)
            hanging[made], shows_legs[made] = yarns[made], True
            continue
        canvas.stamp_risen(height, loops.top[number][made], made, yarns[made], shapes.purl_legs)
        under = np.flatnonzero(acts == Does.LAID_UNDER)
        canvas.stamp_plain(height, under, _all_of(loops.second[number], under), shapes.behind)
        heads = made[~shows_legs[made]]
        canvas.stamp_plain(height, heads, hanging[heads], shapes.purl_head)
        hanging[made], shows_legs[made] = yarns[made], False
        for yarn in sorted({int(loops.first[number]), int(loops.second[number])} - {NO_YARN}):
            _sinkers_and_floats(canvas, yarns == yarn, height, yarn)
        tucks = np.flatnonzero(acts == Does.TUCK)
        canvas.stamp_risen(height, loops.top[number][tucks], tucks, yarns[tucks], shapes.purl_tuck)
        over = np.flatnonzero(acts == Does.LAID_OVER)
        canvas.stamp_plain(height, over, _all_of(loops.second[number], over), shapes.float_past)
    heads = np.flatnonzero(~shows_legs)
    canvas.stamp_plain(loops.courses, heads, hanging[heads], shapes.purl_head)


def _all_of(yarn: int, places: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    return np.full(len(places), yarn, dtype=np.int64)


def _cast_on_yarn(loops: Layout) -> int:
    carried = loops.first[loops.first != NO_YARN]
    return int(carried[0]) if len(carried) else 0


def _cast_on(canvas: Canvas, shape: Drawn, *more: object) -> None:
    loops = canvas.loops
    every = np.arange(loops.width)
    tops = loops.first_top[::-1] if canvas.mirrored else loops.first_top
    canvas.stamp_risen(-1.0, tops, every, _all_of(_cast_on_yarn(loops), every), shape, *more)


def _between(formed: Bools) -> Bools:
    """Needles without a loop of this yarn that lie between two that have one."""
    after = np.logical_or.accumulate(formed)
    before = np.logical_or.accumulate(formed[::-1])[::-1]
    passed: Bools = after & before & ~formed
    return passed


def _sinkers_and_floats(canvas: Canvas, formed: Bools, height: float, yarn: int) -> None:
    """The yarn of one pass from loop to loop."""
    passed = _between(formed)
    for shape, places in (
        (shapes.purl_sinker, formed[:-1] & formed[1:]),
        (shapes.float_start, formed[:-1] & passed[1:]),
        (shapes.float_end, passed[:-1] & formed[1:]),
    ):
        here = np.flatnonzero(places) + 1
        canvas.stamp_plain(height, here, _all_of(yarn, here), shape)
    here = np.flatnonzero(passed)
    canvas.stamp_plain(height, here, _all_of(yarn, here), shapes.float_past)
