"""Pictures of the fabric, knit side or purl side: which shape is stamped where, and in which order."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from PIL import Image

from latchline.fabric.layout import DRAWN_PASSES_MAX, Layout, layout
from latchline.fabric.loops import NO_YARN, Bools, Codes, knits
from latchline.plan.hand import GONE, HandStep, goes
from latchline.plan.model import Plan
from latchline.preview import stitches as shapes
from latchline.preview.canvas import Bitmap, Canvas, Drawn, LineDrawing, Part
from latchline.shaping.gauge import Gauge
from latchline.technique.model import Does

SIDES = ("knit", "purl")
OfYarns = tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]  # places, and the yarn at each

PASSES_AROUND = 400  # loops reach no farther
STITCH_PX = (4, 64)  # narrowest and widest stitch of a bitmap


def draw_fabric(
    plan: Plan, side: str, gauge: Gauge, *, stitch_px: int | None = None, first: int = 1, last: int | None = None
) -> Image.Image:
    """The fabric of passes first to last as a palette image: that part of the whole piece's picture, pixel for pixel.

    side: `knit` shows the wales mirrored, as that side faces away from the operator; `purl` as the
    operator sees them. stitch_px: width of a stitch, 4 to 64; None chooses one.
    Around the fabric there is one stitch's width of ground, and under its first pass the row cast on.
    Raises InputError when the picture would be too large.
    """
    loops, part = _laid_out(plan, side, first, last)
    if stitch_px is None:
        stitch_px = int(np.clip(2400 // loops.width, 6, 24))
    canvas = Bitmap(loops, gauge, stitch_px, mirrored=side == "knit", part=part)
    _draw(canvas, side)
    return canvas.image()


def fabric_svg(plan: Plan, side: str, gauge: Gauge, *, first: int = 1, last: int | None = None) -> str:
    """The same as SVG text. Raises InputError when it would hold too many stitches."""
    loops, part = _laid_out(plan, side, first, last)
    canvas = LineDrawing(loops, gauge, mirrored=side == "knit", part=part)
    _draw(canvas, side)
    return canvas.svg(f"{plan.name}, {side} side")


def _laid_out(plan: Plan, side: str, first: int, last: int | None) -> tuple[Layout, Part]:
    """The loops of the whole piece, and between which heights passes first to last lie.

    Of a piece with more passes than can be laid out at once: of those around them.
    """
    last = plan.passes if last is None else last
    low, high = 1, plan.passes
    if plan.passes > DRAWN_PASSES_MAX:
        around = min(PASSES_AROUND, max(0, DRAWN_PASSES_MAX - (last - first + 1)) // 2)
        low, high = max(1, first - around), min(plan.passes, last + around)
    loops = layout(plan, back=side == "purl", first=low, last=high)
    feet = loops.base if loops.feet is None else loops.feet
    shown = feet[first - low : last - low + 2]  # passes that share a row do not lie one above the other
    foot = None if first == 1 else float(shown.min())
    head = None if last == plan.passes else float(shown.max())
    return loops, (foot, head)


def _draw(canvas: Canvas, side: str) -> None:
    if side == "knit":
        _knit_side(canvas)
    else:
        _purl_side(canvas)


def _knit_side(canvas: Canvas) -> None:
    """First what lies behind, then the loops from the cast-on row upwards, each over the one below it."""
    loops, last, reached = canvas.loops, canvas.loops.width - 1, canvas.reached()
    _behind_knit_side(canvas, np.flatnonzero(reached))
    _cast_on(canvas, shapes.knit_side_loop, False)
    hands, made = _Hands(canvas), knits(loops.acts)
    of_width = [(wide, _by_pass(made & (loops.tucked == wide))) for wide in (False, True)]
    for number in range(len(loops.acts)):
        hands.work(number, shapes.knit_side_loop, False)
        for wide, places in of_width:
            here = places[number]
            yarns = loops.yarn[number, here].astype(np.int64)
            hands.made(here, yarns)
            if len(here) and reached[number]:
                foot, top, lean = loops.foot(number, here), loops.top[number][here], loops.leaning(number, here)
                canvas.stamp_risen(foot, top, last - here, yarns, shapes.knit_side_loop, wide, lean=lean)
    hands.work(len(loops.acts), shapes.knit_side_loop, False)


def _behind_knit_side(canvas: Canvas, numbers: npt.NDArray[np.int64]) -> None:
    """What shows between the wales in these passes: yarn that passes behind, tuck loops, a yarn that is laid in."""
    loops, last, acts = canvas.loops, canvas.loops.width - 1, canvas.loops.acts[numbers]
    carried = loops.yarn[numbers] == loops.first[numbers, None]
    kinds = _between(carried) & (acts >= Does.TUCK), acts == Does.TUCK, _laid(acts)
    for number, past, tucks, laid in zip(numbers.tolist(), *(_by_pass(kind) for kind in kinds), strict=True):
        if len(past):
            behind = _all_of(loops.first[number], past)
            canvas.stamp_plain(loops.foot(number, past), last - past, behind, shapes.behind)
        if len(tucks):
            foot, top, yarns = loops.foot(number, tucks), loops.top[number][tucks], loops.yarn[number, tucks]
            canvas.stamp_risen(foot, top, last - tucks, yarns.astype(np.int64), shapes.tuck_behind)
        if len(laid):
            second = _all_of(loops.second[number], laid)
            canvas.stamp_plain(loops.foot(number, laid), last - laid, second, shapes.behind)


def _purl_side(canvas: Canvas) -> None:
    """Upwards: legs of the new loops, heads of those that they are drawn through, then sinkers, tucks and floats.

    The second bed's stitches show their legs on this side, as the front bed's do on the other.
    """
    loops, reached = canvas.loops, canvas.reached()
    shows_legs = np.zeros(loops.width, dtype=np.bool_)
    _cast_on(canvas, shapes.purl_legs)
    edge = np.flatnonzero(loops.begun[1:] & loops.begun[:-1]) + 1
    canvas.stamp_plain(np.full(len(edge), -1.0), edge, _all_of(_cast_on_yarn(loops), edge), shapes.purl_sinker)
    hands = _Hands(canvas)
    for number, made in enumerate(_by_pass(knits(loops.acts))):
        hands.work(number, shapes.purl_legs)
        heads = made[~shows_legs[made] & hands.holds[made]]
        through, yarns = hands.yarn[heads], loops.yarn[number, made].astype(np.int64)
        hands.made(made, yarns)
        shows_legs[made] = loops.on_second[number]
        if reached[number]:
            _purl_pass(canvas, number, (made, yarns), (heads, through))
    hands.work(len(loops.acts), shapes.purl_legs)
    heads = np.flatnonzero(~shows_legs & hands.holds)
    canvas.stamp_plain(loops.foot(len(loops.acts), heads), heads, hands.yarn[heads], shapes.purl_head)


def _purl_pass(canvas: Canvas, number: int, loops_made: OfYarns, drawn_through: OfYarns) -> None:
    """One pass on the purl side: the loops that it makes, and those that it draws them through."""
    loops, acts = canvas.loops, canvas.loops.acts[number]
    (made, yarns), (heads, through) = loops_made, drawn_through
    foot, top, lean = loops.foot(number, made), loops.top[number][made], loops.leaning(number, made)
    if loops.on_second[number]:
        canvas.stamp_risen(foot, top, made, yarns, shapes.knit_side_loop, False)
        return
    canvas.stamp_risen(foot, top, made, yarns, shapes.purl_legs, lean=lean)
    under = np.flatnonzero(acts == Does.LAID_UNDER)
    canvas.stamp_plain(loops.foot(number, under), under, _all_of(loops.second[number], under), shapes.behind)
    canvas.stamp_plain(loops.foot(number, heads), heads, through, shapes.purl_head)
    for yarn in sorted({int(loops.first[number]), int(loops.second[number])} - {NO_YARN}):
        _sinkers_and_floats(canvas, number, loops.yarn[number] == yarn, yarn)
    tucks = np.flatnonzero(acts == Does.TUCK)
    foot, top, yarns = loops.foot(number, tucks), loops.top[number][tucks], loops.yarn[number, tucks]
    canvas.stamp_risen(foot, top, tucks, yarns.astype(np.int64), shapes.purl_tuck)
    over = np.flatnonzero(acts == Does.LAID_OVER)
    canvas.stamp_plain(loops.foot(number, over), over, _all_of(loops.second[number], over), shapes.float_past)


def _by_pass(where: Bools) -> list[npt.NDArray[np.int64]]:
    """The places of each pass at which something is so."""
    passes, places = np.nonzero(where)
    return np.split(places, np.searchsorted(passes, np.arange(1, len(where))))


def _laid(acts: Codes) -> Bools:
    laid: Bools = (acts == Does.LAID_OVER) | (acts == Does.LAID_UNDER)
    return laid


class _Hands:
    """What hangs on the needles while the fabric is drawn, and what hands do to it.

    holds: bool (width), needles with a loop. yarn: int (width), of the loop that shows.
    """

    def __init__(self, canvas: Canvas) -> None:
        self._canvas, loops = canvas, canvas.loops
        self.holds = loops.begun.copy()
        self.yarn = np.full(loops.width, _cast_on_yarn(loops), dtype=np.int64)
        self._made_by_hand: dict[int, list[int]] = {}
        for place, before in enumerate(loops.by_hand[:, 0].astype(int).tolist()):
            self._made_by_hand.setdefault(before, []).append(place)
        self._steps: dict[int, list[HandStep]] = {}
        for step in loops.hand:
            self._steps.setdefault(step.before - 1, []).append(step)

    def made(self, places: npt.NDArray[np.int64], yarns: npt.NDArray[np.int64]) -> None:
        self.holds[places], self.yarn[places] = True, yarns

    def work(self, number: int, shape: Drawn, *more: object) -> None:
        """What is done before pass `number` (from 0): an edge where loops are bound off, new loops, moved ones."""
        canvas, loops = self._canvas, self._canvas.loops
        for step in self._steps.get(number, ()):
            onto = goes(step, loops.width).astype(np.int64)
            bound = np.flatnonzero((onto == GONE) & self.holds)
            at = loops.width - 1 - bound if canvas.mirrored else bound
            canvas.stamp_plain(loops.foot(number, bound), at, self.yarn[bound], shapes.purl_head)
            moved = np.flatnonzero((onto != GONE) & self.holds)
            holds, yarn = np.zeros_like(self.holds), self.yarn.copy()
            holds[onto[moved]], yarn[onto[moved]] = True, self.yarn[moved]
            self.holds, self.yarn = holds, yarn
        for place in self._made_by_hand.get(number + 1, ()):
            needle, top, lean = (float(value) for value in loops.by_hand[place, 1:])
            here = np.array([int(needle)])
            carried = int(loops.first[min(number, len(loops.first) - 1)])
            yarns = _all_of(max(carried, 0), here)
            at = loops.width - 1 - here if canvas.mirrored else here
            foot = loops.foot(number, here) - 1.0
            canvas.stamp_risen(foot, np.array([top]), at, yarns, shape, *more, lean=np.array([int(lean)]))
            self.made(here, yarns)


def _all_of(yarn: int, places: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    return np.full(len(places), yarn, dtype=np.int64)


def _cast_on_yarn(loops: Layout) -> int:
    carried = loops.first[loops.first != NO_YARN]
    return int(carried[0]) if len(carried) else 0


def _cast_on(canvas: Canvas, shape: Drawn, *more: object) -> None:
    loops = canvas.loops
    here = np.flatnonzero(loops.begun)
    at = loops.width - 1 - here if canvas.mirrored else here
    lean = None if loops.first_lean is None else loops.first_lean[here].astype(np.int64)
    foot = loops.foot(0, here) - 1.0
    canvas.stamp_risen(foot, loops.first_top[here], at, _all_of(_cast_on_yarn(loops), here), shape, *more, lean=lean)


def _between(formed: Bools) -> Bools:
    """Needles without a loop of this yarn that lie between two that have one."""
    after = np.logical_or.accumulate(formed, axis=-1)
    before = np.logical_or.accumulate(formed[..., ::-1], axis=-1)[..., ::-1]
    passed: Bools = after & before & ~formed
    return passed


def _sinkers_and_floats(canvas: Canvas, number: int, formed: Bools, yarn: int) -> None:
    """The yarn of one pass from loop to loop."""
    foot = canvas.loops.foot
    passed = _between(formed)
    for shape, places in (
        (shapes.purl_sinker, formed[:-1] & formed[1:]),
        (shapes.float_start, formed[:-1] & passed[1:]),
        (shapes.float_end, passed[:-1] & formed[1:]),
    ):
        here = np.flatnonzero(places) + 1
        canvas.stamp_plain(foot(number, here), here, _all_of(yarn, here), shape)
    here = np.flatnonzero(passed)
    canvas.stamp_plain(foot(number, here), here, _all_of(yarn, here), shapes.float_past)
