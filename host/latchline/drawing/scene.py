"""A line drawing in millimetres; `svg`, `png` and `pdf` beside this put it on paper.

x runs right, y down, both from the top left corner. Words are Latin letters in PNG and PDF, whose
built-in fonts hold no others: a letter that they lack is shown as a question mark.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

Point = tuple[float, float]


@dataclass(frozen=True)
class Shape:
    """A line or an area through points (x, y). fill, stroke: `#rrggbb` or None; dash: lengths in mm."""

    points: tuple[tuple[float, float], ...]
    fill: str | None = None
    stroke: str | None = "#000000"
    line_mm: float = 0.2
    closed: bool = True
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Disc:
    """A circle about (x, y)."""

    x: float
    y: float
    radius: float
    fill: str | None = "#000000"
    stroke: str | None = None
    line_mm: float = 0.2


@dataclass(frozen=True)
class Words:
    """One line of text; (x, y) is its baseline's start, middle or end. size_mm: of a capital with its space."""

    x: float
    y: float
    text: str
    size_mm: float = 3.0
    anchor: str = "start"
    bold: bool = False
    fill: str = "#000000"


@dataclass(frozen=True)
class Picture:
    """A PNG picture with its top left corner at (x, y)."""

    x: float
    y: float
    width_mm: float
    height_mm: float
    png: bytes


Item = Shape | Disc | Words | Picture


@dataclass
class Scene:
    """A drawing under way."""

    width_mm: float
    height_mm: float
    title: str = ""
    items: list[Item] = field(default_factory=list)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, line_mm: float = 0.2, stroke: str = "#000000", dash: Any = ()
    ) -> None:
        self.items.append(Shape(((x1, y1), (x2, y2)), None, stroke, line_mm, closed=False, dash=tuple(dash)))

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: str | None = None,
        stroke: str | None = "#000000",
        line_mm: float = 0.2,
    ) -> None:
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        self.items.append(Shape(corners, fill, stroke, line_mm))

    def area(
        self, points: Sequence[tuple[float, float]], fill: str | None = "#000000", stroke: str | None = None
    ) -> None:
        self.items.append(Shape(tuple(points), fill, stroke))

    def path(self, points: Sequence[tuple[float, float]], line_mm: float = 0.3, stroke: str = "#000000") -> None:
        self.items.append(Shape(tuple(points), None, stroke, line_mm, closed=False))

    def words(self, x: float, y: float, text: str, size_mm: float = 3.0, **how: Any) -> None:
        self.items.append(Words(x, y, text, size_mm, **how))

    def put(self, other: Scene, x: float, y: float) -> None:
        """Another drawing with its top left corner at (x, y)."""
        for item in other.items:
            if isinstance(item, Shape):
                moved = tuple((px + x, py + y) for px, py in item.points)
                self.items.append(replace(item, points=moved))
            else:
                self.items.append(replace(item, x=item.x + x, y=item.y + y))

    def arrow(self, x: float, y: float, length: float, *, rightward: bool, fill: str = "#000000") -> None:
        """A solid arrow head with its middle at (x, y)."""
        half, sign = length / 2, 1 if rightward else -1
        self.area([(x + sign * half, y), (x - sign * half, y - half * 0.8), (x - sign * half, y + half * 0.8)], fill)


def dashes(points: Sequence[Point], dash: Sequence[float]) -> list[tuple[Point, Point]]:
    """The drawn pieces of each straight stretch of a dashed line; `dash`: lengths on and off by turns."""
    pieces: list[tuple[Point, Point]] = []
    for (x1, y1), (x2, y2) in pairwise(points):
        length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
        at, place = 0.0, 0
        while at < length:
            end = min(at + dash[place % len(dash)], length)
            if place % 2 == 0:
                one, other = ((x1 + (x2 - x1) * share / length, y1 + (y2 - y1) * share / length) for share in (at, end))
                pieces.append((one, other))
            at, place = end, place + 1
    return pieces


def plain_letters(text: str) -> str:
    """The text with a question mark for each letter that the built-in fonts lack."""
    return text.encode("cp1252", "replace").decode("cp1252")
