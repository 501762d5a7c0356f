"""What stitches are stamped on: a bitmap or a line drawing, with one geometry for both.

The bitmap's tiles hold brightness only, so that one tile serves every yarn: a pixel is the number
of a yarn times the shades, plus the brightness. The picture stays a palette image, small and quick.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from html import escape

import numpy as np
import numpy.typing as npt
from PIL import Image

from latchline.errors import InputError
from latchline.fabric.layout import Heights, Layout
from latchline.fabric.loops import Bools
from latchline.mend import Mend
from latchline.preview.stitches import Strand, Tile, draw_tile, outline
from latchline.shaping.gauge import Gauge

PIXELS_MAX = 120_000_000
STAMPS_MAX = 400_000  # an SVG beyond this is more than a viewer bears
SHADES_MOST = 40
TILES_KEPT = 1000
GAP = (38, 34, 32)  # what shows between the stitches
RISE_MOST = 30  # courses; no loop stretches as far
SVG_STITCH_PX = 16

Ints = npt.NDArray[np.int64]
Drawn = Callable[..., tuple[Strand, ...]]


Part = tuple[float | None, float | None]
"""Between which heights in courses a fabric is shown; None: to its foot, to its head."""


class Canvas(ABC):
    """A fabric being drawn, or some of its passes. Heights in courses are turned into pixels here and nowhere else."""

    def __init__(
        self, loops: Layout, gauge: Gauge, stitch_px: int, *, mirrored: bool, part: Part = (None, None)
    ) -> None:
        self.loops = loops
        self.stitch_px = stitch_px
        self.course = 1 / gauge.row_per_stitch
        self.course_px = stitch_px * self.course
        self.mirrored = mirrored
        self.pad = stitch_px
        self.wide = loops.width * stitch_px + 2 * self.pad
        self.bottom = 0
        top = round((loops.courses + 1) * self.course_px) + 2 * self.pad
        low, high = part
        if high is not None:
            top = self.foot_px(high)
        if low is not None:
            self.bottom = self.foot_px(low)
        self.tall = max(top - self.bottom, 1)

    def foot_px(self, height: float) -> int:
        """Pixels from the picture's bottom to a height in courses; the cast-on row has height −1."""
        return self.pad + round((height + 1) * self.course_px) - self.bottom

    def reached(self) -> Bools:
        """Which passes can show something in this part of the fabric: bool (passes)."""
        feet = self.loops.base[:-1, None] if self.loops.feet is None else self.loops.feet[:-1]
        reach, head = RISE_MOST + 2, (self.tall + self.bottom - self.pad) / self.course_px - 1
        foot = (self.bottom - self.pad) / self.course_px - 1
        within: Bools = (feet.max(axis=1) >= foot - reach - 1) & (feet.min(axis=1) <= head + reach + 1)
        return within

    @abstractmethod
    def stamp(self, height: float, places: Ints, yarns: Ints, shape: Drawn, *sizes: object) -> None:
        """Put `shape(*sizes)` on stitches `places`, with its foot at a height in courses."""

    def stamp_plain(self, heights: Heights, places: Ints, yarns: Ints, shape: Drawn) -> None:
        """Stamp a shape that knows no other size than the course, with its foot at a height of each place."""
        for height, here in _alike(heights):
            self.stamp(height, places[here], yarns[here], shape, self.course)

    def stamp_risen(
        self, low: Heights, high: Heights, places: Ints, yarns: Ints, shape: Drawn, *more: object,
        lean: Ints | None = None,
    ) -> None:  # fmt: skip
        """Stamp loops that rise from one height to another; what is too long to knit is drawn shorter.

        lean: needles to the right by which the upper end lies, of a shape that takes that after its sizes.
        """
        if lean is not None and lean.any():
            for by in np.unique(lean).tolist():
                here = lean == by
                sideways = (-by if self.mirrored else by,) if by else ()
                self.stamp_risen(low[here], high[here], places[here], yarns[here], shape, *more, *sideways)
            return
        for height, here in _alike(low):
            foot = round((height + 1) * self.course_px)
            rise = (np.round((high[here] + 1) * self.course_px) - foot).astype(np.int64)
            coarse = np.where(rise > 8 * self.course_px, max(1, round(self.course_px)), 1)
            rise = np.minimum(rise // coarse * coarse, round(RISE_MOST * self.course_px))
            for value, alike in _alike(rise):
                mine = here[alike]
                self.stamp(height, places[mine], yarns[mine], shape, value / self.stitch_px, self.course, *more)


def _alike(sizes: Heights | Ints) -> Iterator[tuple[float, Ints]]:
    """Each size, the least first, and which of the places have it."""
    for size in sorted(set(sizes.tolist())):  # of a few hundred sizes, many times quicker than numpy.unique
        yield size, np.flatnonzero(sizes == size)


@lru_cache(maxsize=TILES_KEPT)
def _tile(stitch_px: int, shades: int, shape: Drawn, *sizes: object) -> Tile:
    """A shape as a tile; kept for the next picture, which mostly needs the same ones."""
    return draw_tile(shape(*sizes), stitch_px, shades)


class Bitmap(Canvas):
    """A palette image."""

    def __init__(
        self, loops: Layout, gauge: Gauge, stitch_px: int, *, mirrored: bool, part: Part = (None, None)
    ) -> None:
        super().__init__(loops, gauge, stitch_px, mirrored=mirrored, part=part)
        self.colours = list(dict.fromkeys(yarn.colour for yarn in loops.yarns))
        self.shades = min(SHADES_MOST, 255 // max(1, len(self.colours)))
        if self.shades < 4:
            raise InputError(f"a picture of {len(self.colours)} yarn colours cannot be drawn", hint="at most 63")
        if self.tall * self.wide > PIXELS_MAX:
            raise InputError(
                f"a picture of {self.wide} × {self.tall} pixels is too large",
                mends=[Mend("draw fewer passes", "passes"), Mend("smaller stitches", "stitch_px")],
            )
        self.pixels = np.zeros((self.tall, self.wide), dtype=np.uint8)
        self._flat = self.pixels.reshape(-1)
        number = {colour: place for place, colour in enumerate(self.colours)}
        self._colour_of = np.array([number[yarn.colour] for yarn in loops.yarns], dtype=np.int64)

    def stamp(self, height: float, places: Ints, yarns: Ints, shape: Drawn, *sizes: object) -> None:
        if not len(places):
            return
        tile = _tile(self.stitch_px, self.shades, shape, *sizes)
        top = len(self.pixels) - self.foot_px(height) - tile.top
        rows, columns, light = tile.drawn
        if top < 0 or top + len(tile.pixels) > len(self.pixels):  # some of it lies outside the part that is shown
            inside = (top + rows >= 0) & (top + rows < len(self.pixels))
            rows, columns, light = rows[inside], columns[inside], light[inside]
        order = np.argsort(places % -(-tile.pixels.shape[1] // self.stitch_px), kind="stable")  # neighbours overlap
        corner = top * self.wide + self.pad + tile.left + places[order] * self.stitch_px
        base = (self._colour_of[yarns[order]] * self.shades).astype(np.uint8)
        # Of an index that comes twice numpy keeps what is assigned last.
        self._flat[corner[:, None] + (rows * self.wide + columns)] = light + base[:, None]

    def image(self) -> Image.Image:
        picture = Image.fromarray(self.pixels)
        picture.putpalette(_palette(self.colours, self.shades), "RGB")
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
    return np.clip(np.concatenate(entries).round(), 0, 255).astype(np.uint8).tobytes()


class LineDrawing(Canvas):
    """SVG: each shape once as a symbol that takes the yarn's colour, each stitch a use of one."""

    def __init__(self, loops: Layout, gauge: Gauge, *, mirrored: bool, part: Part = (None, None)) -> None:
        super().__init__(loops, gauge, SVG_STITCH_PX, mirrored=mirrored, part=part)
        self._names: dict[tuple[object, ...], str] = {}
        self._symbols: list[str] = []
        self._uses: list[str] = []

    def stamp(self, height: float, places: Ints, yarns: Ints, shape: Drawn, *sizes: object) -> None:
        reach = (RISE_MOST + 2) * self.course_px
        if not len(places) or not -reach <= self.foot_px(height) <= self.tall + reach:
            return
        if len(self._uses) + len(places) > STAMPS_MAX:
            raise InputError(
                "a line drawing of so many stitches is too large",
                hint="write a .png",
                mends=[Mend("draw fewer passes", "passes")],
            )
        key = (shape, *sizes)
        if key not in self._names:
            self._names[key] = f"s{len(self._names)}"
            self._symbols.append(_symbol(self._names[key], shape(*sizes), self.stitch_px))
        name = self._names[key]
        y = self.tall - self.foot_px(height)
        for place, yarn in zip(places.tolist(), yarns.tolist(), strict=True):
            x = self.pad + place * self.stitch_px
            self._uses.append(f'<use href="#{name}" x="{x}" y="{y}" color="{self.loops.yarns[yarn].colour}"/>')

    def svg(self, title: str) -> str:
        ground = "#{:02x}{:02x}{:02x}".format(*GAP)
        return (
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.wide}" height="{self.tall}" '
            f'viewBox="0 0 {self.wide} {self.tall}"><title>{escape(title)}</title>\n<defs>\n'
            + "\n".join(self._symbols)
            + f'\n</defs>\n<rect width="100%" height="100%" fill="{ground}"/>\n'
            + "\n".join(self._uses)
            + "\n</svg>\n"
        )


def _symbol(name: str, strands: tuple[Strand, ...], stitch_px: int) -> str:
    """A group of areas in pixels, y down, its foot at the origin."""
    parts = []
    for strand in strands:
        for grow, fill, opacity in (
            (1.22, "#1c1815", 1.0),
            (1.0, "currentColor", 1.0),
            (1.0, "#000000", 1 - strand.light),
            (0.5, "#ffffff", 0.16 * strand.light),
        ):
            if opacity <= 0:
                continue
            points = " ".join(f"{x * stitch_px:.2f},{-y * stitch_px:.2f}" for x, y in outline(strand, grow))
            shown = f' fill-opacity="{opacity:.2f}"' if opacity < 1 else ""
            parts.append(f'<polygon points="{points}" fill="{fill}"{shown}/>')
    return f'<g id="{name}">' + "".join(parts) + "</g>"
