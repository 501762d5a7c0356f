"""Pictures of the fabric, knit side or purl side, as a bitmap: stitches stamped from drawn tiles.

Tiles hold brightness only, so one tile serves every yarn: a pixel of the picture is the number of a
yarn times the shades, plus the brightness. That keeps the picture a palette image, small and quick.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from PIL import Image

from latchline.errors import InputError
from latchline.fabric import stitches as shapes
from latchline.fabric.gauge import Gauge
from latchline.fabric.layout import Heights, Layout, layout
from latchline.fabric.loops import NO_YARN, Bools, Codes, knits
from latchline.fabric.stitches import Strand, Tile, draw_tile
from latchline.plan.model import Plan
from latchline.technique.model import Does

SIDES = ("knit", "purl")
PIXELS_MAX = 120_000_000
SHADES_MOST = 40
GAP = (38, 34, 32)  # what shows between the stitches

RISE_MOST = 30  # courses; no loop stretches as far

Ints = npt.NDArray[np.int64]


def draw_fabric(
    plan: Plan, side: str, gauge: Gauge, *, stitch_px: int | None = None, first: int = 1, last: int | None = None
) -> Image.Image:
    """The fabric of passes first to last, with the cast-on row under it, as a palette image.

    side: `knit` shows the wales mirrored, as that side faces away from the operator; `purl` as the
    operator sees them. stitch_px: width of a stitch, 4 to 64; None chooses one.
    Raises InputError when the picture would be too large.
    """
    loops = layout(plan, back=side == "purl", first=first, last=last)
    if stitch_px is None:
        stitch_px = int(np.clip(2400 // loops.width, 6, 24))
    canvas = _Canvas(loops, gauge, stitch_px, mirrored=side == "knit")
    if side == "knit":
        _knit_side(canvas)
    else:
        _purl_side(canvas)
    return canvas.image()


def cell_size(gauge: Gauge, stitch_px: int) -> tuple[int, float]:
    """Width of a stitch and height of a course, in pixels."""
    return stitch_px, stitch_px / gauge.row_per_stitch


class _Canvas:
    """A picture being stamped. Heights are turned into pixels here and nowhere else."""

    def __init__(self, loops: Layout, gauge: Gauge, stitch_px: int, *, mirrored: bool) -> None:
        self.loops = loops
        self.stitch_px = stitch_px
        self.course = 1 / gauge.row_per_stitch
        self.course_px = stitch_px * self.course
        self.mirrored = mirrored
        self.pad = stitch_px
        self.colours = list(dict.fromkeys(yarn.colour for yarn in loops.yarns))
        self.shades = min(SHADES_MOST, 255 // max(1, len(self.colours)))
        tall = round((loops.courses + 1) * self.course_px) + 2 * self.pad
        wide = loops.width * stitch_px + 2 * self.pad
        if tall * wide > PIXELS_MAX:
            raise InputError(
                f"a picture of {wide} × {tall} pixels is too large",
                hint="draw fewer passes with --passes FIRST-LAST, or smaller stitches with --stitch-px",
            )
        if self.shades < 4:
            raise InputError(f"a picture of {len(self.colours)} yarn colours cannot be drawn", hint="at most 63")
        self.pixels = np.zeros((tall, wide), dtype=np.uint8)
        self._tiles: dict[tuple[object, ...], Tile] = {}
        number = {colour: place for place, colour in enumerate(self.colours)}
        self.colour_of = np.array([number[yarn.colour] for yarn in loops.yarns] + [0], dtype=np.int64)

    def foot_px(self, height: float) -> int:
        """Pixels from the picture's bottom to a height in courses; the cast-on row has height −1."""
        return self.pad + round((height + 1) * self.course_px)

    def tile(self, shape: object, *sizes: object) -> Tile:
        key = (shape, *sizes)
        if key not in self._tiles:
            strands: tuple[Strand, ...] = shape(*sizes)  # type: ignore[operator]
            self._tiles[key] = draw_tile(strands, self.stitch_px, self.shades)
        return self._tiles[key]

    def stamp(self, tile: Tile, foot: int, places: Ints, yarns: Ints) -> None:
        """Stamp a tile with its foot at `foot` pixels, at the left edges of stitches `places`."""
        if not len(places):
            return
        tall, wide = tile.pixels.shape
        high = len(self.pixels) - foot - tile.top
        cut = max(0, -high)
        low_cut = max(0, high + tall - len(self.pixels))
        pixels = tile.pixels[cut : tall - low_cut]
        rows = slice(high + cut, high + tall - low_cut)
        strip = self.pixels[rows]
        lefts = self.pad + places * self.stitch_px + tile.left
        base = self.colour_of[yarns] * self.shades
        columns = lefts[:, None] + np.arange(wide)
        inside = pixels > 0
        apart = -(-wide // self.stitch_px)
        for part in range(apart):  # tiles of one part do not overlap
            mine = places % apart == part
            if not mine.any():
                continue
            at = columns[mine]
            old = strip[:, at]
            new = pixels[:, None, :] + base[mine][None, :, None].astype(np.uint8)
            strip[:, at] = np.where(inside[:, None, :], new, old)

    def loop_rise(self, low: Heights | float, high: Heights | float, count: int) -> Ints:
        """Pixels from foot to foot for `count` loops; what is too long to knit is drawn shorter."""
        scaled = np.round((np.asarray(high) + 1) * self.course_px) - np.round((np.asarray(low) + 1) * self.course_px)
        rise = np.broadcast_to(scaled, count).astype(np.int64)
        coarse = np.where(rise > 8 * self.course_px, max(1, round(self.course_px)), 1)
        return np.minimum(rise // coarse * coarse, round(RISE_MOST * self.course_px))

    def stamp_risen(self, shape: object, height: float, rise: Ints, places: Ints, yarns: Ints, *more: object) -> None:
        """Stamp loops of different rise, all with their foot at one height."""
        for value in np.unique(rise).tolist():
            mine = rise == value
            tile = self.tile(shape, value / self.stitch_px, self.course, *more)
            self.stamp(tile, self.foot_px(height), places[mine], yarns[mine])

    def image(self) -> Image.Image:
        picture = Image.fromarray(self.pixels, mode="P")
        picture.putpalette(_palette(self.colours, self.shades))
        return picture


def _palette(colours: Sequence[str], shades: int) -> bytes:
    """The gap's colour, then each yarn from its shadow to its highlight."""
    entries = [np.array([GAP], dtype=np.float64)]
    light = np.linspace(0, 1, shades)[:, None]
    for colour in colours:
        rgb = np.array([[int(colour[at : at + 2], 16) for at in (1, 3, 5)]], dtype=np.float64)
        dark = rgb * 0.18
        bright = rgb + (255 - rgb) * 0.22
        lower = dark + (rgb - dark) * np.minimum(light / 0.8, 1)
        entries.append(lower + (bright - rgb) * np.clip((light - 0.8) / 0.2, 0, 1))
    return bytes(np.clip(np.concatenate(entries).round(), 0, 255).astype(np.uint8).tobytes())


def _knit_side(canvas: _Canvas) -> None:
    """First what lies behind, then the loops from the cast-on row upwards, each over the one below it."""
    loops, last = canvas.loops, canvas.loops.width - 1
    for number, acts in enumerate(loops.acts):
        height = float(loops.base[number])
        passed = np.flatnonzero(_between(loops.yarn[number] == loops.first[number]) & (acts >= Does.TUCK))
        yarn = np.full(len(passed), loops.first[number], dtype=np.int64)
        canvas.stamp(canvas.tile(shapes.behind, canvas.course), canvas.foot_px(height), last - passed, yarn)
        tucks = np.flatnonzero(acts == Does.TUCK)
        rise = canvas.loop_rise(height, loops.top[number][tucks], len(tucks))
        canvas.stamp_risen(shapes.tuck_behind, height, rise, last - tucks, loops.yarn[number][tucks].astype(np.int64))
        laid = np.flatnonzero((acts == Does.LAID_OVER) | (acts == Does.LAID_UNDER))
        yarn = np.full(len(laid), loops.second[number], dtype=np.int64)
        canvas.stamp(canvas.tile(shapes.behind, canvas.course), canvas.foot_px(height), last - laid, yarn)
    _cast_on(canvas, shapes.knit_side_loop, False)
    for number, acts in enumerate(loops.acts):
        height, made = float(loops.base[number]), knits(acts)
        for wide in (False, True):
            here = np.flatnonzero(made & (loops.tucked[number] == wide))
            rise = canvas.loop_rise(height, loops.top[number][here], len(here))
            yarns = loops.yarn[number][here].astype(np.int64)
            canvas.stamp_risen(shapes.knit_side_loop, height, rise, last - here, yarns, wide)


def _purl_side(canvas: _Canvas) -> None:
    """Upwards: legs of the new loops, heads of those that they are drawn through, then sinkers, tucks and floats."""
    loops = canvas.loops
    hanging = np.full(loops.width, _cast_on_yarn(loops), dtype=np.int64)
    _cast_on(canvas, shapes.purl_legs)
    for number, acts in enumerate(loops.acts):
        height, yarns = float(loops.base[number]), loops.yarn[number].astype(np.int64)
        made = np.flatnonzero(knits(acts))
        rise = canvas.loop_rise(height, loops.top[number][made], len(made))
        canvas.stamp_risen(shapes.purl_legs, height, rise, made, yarns[made])
        _laid_in(canvas, acts, number, over=False)
        canvas.stamp(canvas.tile(shapes.purl_head, canvas.course), canvas.foot_px(height), made, hanging[made])
        hanging[made] = yarns[made]
        for yarn in {int(loops.first[number]), int(loops.second[number])} - {NO_YARN}:
            _sinkers_and_floats(canvas, loops.yarn[number] == yarn, height, yarn)
        tucks = np.flatnonzero(acts == Does.TUCK)
        rise = canvas.loop_rise(height, loops.top[number][tucks], len(tucks))
        canvas.stamp_risen(shapes.purl_tuck, height, rise, tucks, yarns[tucks])
        _laid_in(canvas, acts, number, over=True)
    every = np.arange(loops.width)
    canvas.stamp(canvas.tile(shapes.purl_head, canvas.course), canvas.foot_px(loops.courses), every, hanging)


def _cast_on_yarn(loops: Layout) -> int:
    carried = loops.first[loops.first != NO_YARN]
    return int(carried[0]) if len(carried) else 0


def _cast_on(canvas: _Canvas, shape: object, *more: object) -> None:
    loops = canvas.loops
    every = np.arange(loops.width)
    rise = canvas.loop_rise(-1.0, loops.first_top, loops.width)
    if canvas.mirrored:
        rise = rise[::-1]
    yarns = np.full(loops.width, _cast_on_yarn(loops), dtype=np.int64)
    canvas.stamp_risen(shape, -1.0, rise, every, yarns, *more)


def _laid_in(canvas: _Canvas, acts: Codes, number: int, *, over: bool) -> None:
    wanted = np.flatnonzero(acts == (Does.LAID_OVER if over else Does.LAID_UNDER))
    yarns = np.full(len(wanted), canvas.loops.second[number], dtype=np.int64)
    tile = canvas.tile(shapes.float_past if over else shapes.behind, canvas.course)
    canvas.stamp(tile, canvas.foot_px(float(canvas.loops.base[number])), wanted, yarns)


def _between(formed: Bools) -> Bools:
    """Needles without a loop of this yarn that lie between two that have one."""
    after = np.logical_or.accumulate(formed)
    before = np.logical_or.accumulate(formed[::-1])[::-1]
    passed: Bools = after & before & ~formed
    return passed


def _sinkers_and_floats(canvas: _Canvas, formed: Bools, height: float, yarn: int) -> None:
    """The yarn of one pass from loop to loop."""
    passed = _between(formed)
    for shape, places in (
        (shapes.purl_sinker, formed[:-1] & formed[1:]),
        (shapes.float_start, formed[:-1] & passed[1:]),
        (shapes.float_end, passed[:-1] & formed[1:]),
    ):
        here = np.flatnonzero(places) + 1
        tile = canvas.tile(shape, canvas.course)
        canvas.stamp(tile, canvas.foot_px(height), here, np.full(len(here), yarn, dtype=np.int64))
    here = np.flatnonzero(passed)
    tile = canvas.tile(shapes.float_past, canvas.course)
    canvas.stamp(tile, canvas.foot_px(height), here, np.full(len(here), yarn, dtype=np.int64))
