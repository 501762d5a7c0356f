"""A drawing of lines, boxes and words that can be written as SVG or as PNG."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from PIL import Image, ImageDraw, ImageFont

from latchline.drawing.scene import Point, dashes

INK, PALE, SIZE = "#111111", "#c8c8c8", 13
DASHED = (5.0, 4.0)  # on and off


@dataclass(frozen=True)
class Stroke:
    """Points joined in turn. dash: lengths on and off by turns; none for a whole line."""

    points: tuple[Point, ...]
    colour: str
    width: float
    dash: tuple[float, ...]


@dataclass(frozen=True)
class Area:
    """A filled shape."""

    points: tuple[Point, ...]
    colour: str


@dataclass(frozen=True)
class Words:
    """anchor: start, middle or end; `at` is on the line on which the letters stand."""

    at: Point
    text: str
    anchor: str
    bold: bool


class Plot:
    """What is to be drawn, in order. Sizes in pixels, y downwards."""

    def __init__(self, width: int, height: int, title: str) -> None:
        self.width, self.height, self.title = width, height, title
        self.items: list[Stroke | Area | Words] = []

    def stroke(
        self, points: Sequence[Point], colour: str = INK, width: float = 1.0, dash: tuple[float, ...] = ()
    ) -> None:
        self.items.append(Stroke(tuple(points), colour, width, dash))

    def area(self, points: Sequence[Point], colour: str) -> None:
        self.items.append(Area(tuple(points), colour))

    def box(self, left: float, top: float, right: float, bottom: float, colour: str) -> None:
        self.area(((left, top), (right, top), (right, bottom), (left, bottom)), colour)

    def words(self, x: float, y: float, text: str, anchor: str = "start", bold: bool = False) -> None:
        self.items.append(Words((x, y), text, anchor, bold))

    def svg(self) -> bytes:
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" '
            f'font-family="sans-serif" font-size="{SIZE}" role="img" aria-label="{escape(self.title)}">',
            f'<rect width="{self.width}" height="{self.height}" fill="white"/>',
            *(_as_svg(item) for item in self.items),
            "</svg>",
        ]
        return "\n".join(parts).encode()

    def png(self) -> bytes:
        """Drawn at twice the size and made smaller, so that slanting lines are smooth."""
        big = Image.new("RGB", (2 * self.width, 2 * self.height), "white")
        draw = ImageDraw.Draw(big)
        font = ImageFont.load_default(2 * SIZE)
        for item in self.items:
            _paint(draw, item, font)
        out = io.BytesIO()
        big.resize((self.width, self.height), Image.Resampling.LANCZOS).save(out, "PNG", optimize=True)
        return out.getvalue()


def _as_svg(item: Stroke | Area | Words) -> str:
    if isinstance(item, Words):
        x, y = item.at
        bold = ' font-weight="bold"' if item.bold else ""
        return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{item.anchor}"{bold}>{escape(item.text)}</text>'
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in item.points)
    if isinstance(item, Area):
        return f'<polygon points="{points}" fill="{item.colour}"/>'
    dash = f' stroke-dasharray="{" ".join(f"{length:g}" for length in item.dash)}"' if item.dash else ""
    return f'<polyline points="{points}" fill="none" stroke="{item.colour}" stroke-width="{item.width:g}"{dash}/>'


_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}


def _paint(
    draw: ImageDraw.ImageDraw, item: Stroke | Area | Words, font: ImageFont.FreeTypeFont | ImageFont.ImageFont
) -> None:
    if isinstance(item, Words):
        x, y = item.at
        for shift in (0, 1) if item.bold else (0,):  # the one font has no bold
            draw.text((2 * x + shift, 2 * y), item.text, INK, font, anchor=_ANCHORS[item.anchor])
        return
    points = [(2 * x, 2 * y) for x, y in item.points]
    if isinstance(item, Area):
        draw.polygon(points, fill=item.colour)
        return
    twice = [2 * length for length in item.dash]
    lines: Sequence[Sequence[Point]] = dashes(points, twice) if item.dash else [points]
    for line in lines:
        draw.line(line, fill=item.colour, width=max(1, round(2 * item.width)), joint="curve")
