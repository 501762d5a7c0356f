"""A drawing sheet that remembers what it joined, so that a test can hold the drawing to the netlist.

Parts are placed by their name in the netlist; every pin, wire end and net label is recorded with its
place. `joined` then tells from the places alone which pins the drawing connects.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import schemdraw
import schemdraw.elements as elm
import ziafont
from netlist import Netlist
from schemdraw.segments import SegmentText

schemdraw.use("svg")
schemdraw.svgconfig.text = "path"  # outlines: the picture needs no font
ziafont.config.precision = 2  # type: ignore[attr-defined]

XY = tuple[float, float]
SMALL, PLAIN = 8.5, 10.0
LEAD = 0.8  # of a pin of a box


def _at(x: float, y: float) -> XY:
    return round(float(x), 2), round(float(y), 2)


class Sheet:
    def __init__(self, title: str, netlist: Netlist) -> None:
        self.title, self.netlist = title, netlist
        self.drawing = schemdraw.Drawing(show=False, fontsize=PLAIN, inches_per_unit=0.5, lw=1.2)
        self.pins: list[tuple[XY, str]] = []
        self.wires: list[tuple[XY, XY]] = []
        self.labels: list[tuple[XY, str]] = []

    # --- placing ----------------------------------------------------------------------------

    def words(
        self, x: float, y: float, text: str, size: float = SMALL, halign: str = "left", valign: str = "center"
    ) -> None:
        made = elm.Element().at((x, y)).theta(0)
        aligned: Any = (halign, valign)
        made.segments.append(SegmentText((0, 0), text, align=aligned, fontsize=size))
        self.drawing.add(made)

    def two(
        self,
        element: type,
        ref: str,
        start: XY,
        end: XY,
        pins: Sequence[str] = ("1", "2"),
        side: str = "",
        value: bool = True,
        label: bool = True,
    ) -> None:
        """A part of two pins from `start` to `end`, its name and value beside it (above, or on the right)."""
        made = self.drawing.add(element().endpoints(start, end))
        for anchor, pin in zip(("start", "end"), pins, strict=True):
            self._pin(made.absanchors[anchor], ref, pin)
        x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        if not label:
            return
        words = [ref, self.netlist.parts[ref].value] if value else [ref]
        if start[0] == end[0]:
            left = side == "left"
            gap, halign = (-0.42, "right") if left else (0.42, "left")
            for row, line in enumerate(words):
                self.words(x + gap, y + 0.19 * (len(words) - 1) - 0.38 * row, line, halign=halign)
        else:
            self.words(x, y + {"below": -0.6, "high": 0.85}.get(side, 0.55), "  ".join(words), halign="center")

    def box(
        self,
        ref: str,
        corner: XY,
        size: XY,
        left: Sequence[str],
        right: Sequence[str],
        pitch: float,
        name: str,
    ) -> None:
        """A part as a box with its pins left and right, evenly from the top; `corner` is the lower left one."""
        part = self.netlist.parts[ref]
        (x, y), (width, height) = corner, size
        outline = [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
        for start, end in itertools.pairwise(outline):
            self.drawing.add(elm.Line().endpoints(start, end))
        for names, edge, sign, halign in ((left, x, -1, "left"), (right, x + width, 1, "right")):
            for row, pin in enumerate(names):
                level = y + height - pitch * (row + 0.75)
                self.drawing.add(elm.Line().endpoints((edge, level), (edge + sign * LEAD, level)))
                self._pin((edge + sign * LEAD, level), ref, pin)
                self.words(edge - sign * 0.12, level, pin, halign=halign)
                self.words(edge + sign * LEAD / 2, level + 0.14, part.pins[pin], SMALL - 1.5, "center", "bottom")
        self.words(x + width / 2, y + height + 0.3, name, PLAIN, "center", "bottom")

    def place(self, ref: str, pin: str) -> XY:
        """Where a pin that has been placed lies."""
        return next(at for at, node in self.pins if node == f"{ref}.{pin}")

    def _pin(self, point: XY, ref: str, pin: str) -> None:
        assert pin in self.netlist.parts[ref].pins, f"{ref} has no pin {pin}"
        self.pins.append((_at(*point), f"{ref}.{pin}"))

    def wire(self, *points: XY) -> None:
        for start, end in itertools.pairwise(points):
            if _at(*start) != _at(*end):
                self.drawing.add(elm.Line().endpoints(start, end))
                self.wires.append((_at(*start), _at(*end)))

    def tag(self, net: str, point: XY, side: str = "right") -> None:
        """Name the net at a point; equal names are joined. side: where the words go."""
        assert net in self.netlist.nets, f"the netlist has no net {net}"
        self.labels.append((_at(*point), net))
        dx, dy, halign, valign = {
            "right": (0.2, 0.0, "left", "center"),
            "left": (-0.2, 0.0, "right", "center"),
            "up": (0.0, 0.22, "center", "bottom"),
            "down": (0.0, -0.22, "center", "top"),
        }[side]
        self.words(point[0] + dx, point[1] + dy, net, SMALL, halign, valign)
        self.drawing.add(elm.Dot(open=True, radius=0.06).at(point))

    def name(self, net: str, point: XY) -> None:
        """Write a net's name above a wire."""
        self.labels.append((_at(*point), net))
        self.words(point[0], point[1] + 0.12, net, SMALL, "center", "bottom")

    def ground(self, point: XY) -> None:
        self.labels.append((_at(*point), "GND"))
        self.drawing.add(elm.Ground().at(point).theta(0))

    def spare(self, ref: str, pin: str) -> None:
        """A pin that is left free and told in words: it has a place of its own beside the sheet."""
        assert f"{ref}.{pin}" in self.netlist.open_pins, f"{ref}.{pin} is not free"
        self._pin((-1000.0, float(len(self.pins))), ref, pin)

    def finish(self) -> None:
        """Put a dot wherever three ends meet, and the title on top."""
        for point, ends in self._ends().items():
            if ends >= 3:
                self.drawing.add(elm.Dot(radius=0.07).at(point))
        box = self.drawing.get_bbox()
        self.words(box.xmin, box.ymax + 0.6, self.title, 13, "left", "bottom")

    def svg(self) -> bytes:
        """The picture; each letter's outline, which comes with every word, is kept once."""
        seen: set[str] = set()

        def first(match: re.Match[str]) -> str:
            known = match[1] in seen
            seen.add(match[1])
            return "" if known else match[0]

        text = bytes(self.drawing.get_imagedata("svg")).decode()
        return re.sub(r'<symbol id="([^"]+)"[^>]*?(?:/>|>.*?</symbol>)', first, text, flags=re.DOTALL).encode()

    # --- what is joined ---------------------------------------------------------------------

    def _ends(self) -> dict[XY, int]:
        ends: dict[XY, int] = defaultdict(int)
        for point, _ in self.pins:
            ends[point] += 1
        for wire in self.wires:
            for point in wire:
                ends[point] += 1
        for point in list(ends):
            ends[point] += sum(2 for wire in self.wires if _inside(point, *wire))
        return ends

    def joined(self) -> list[tuple[set[str], set[str]]]:
        """Groups of what touches: pins, and the names written on them."""
        groups = [(set(wire), [wire]) for wire in self.wires]
        groups += [({point}, []) for point, _ in (*self.pins, *self.labels)]
        merged: list[tuple[set[XY], list[tuple[XY, XY]]]] = []
        for points, wires in groups:
            touching = [other for other in merged if _touch((points, wires), other)]
            for other in touching:
                merged.remove(other)
                points, wires = points | other[0], wires + other[1]
            merged.append((points, wires))
        return [
            (
                {node for at, node in self.pins if at in points},
                {net for at, net in self.labels if at in points},
            )
            for points, _ in merged
        ]


def _inside(point: XY, start: XY, end: XY) -> bool:
    """Whether a point lies on an upright or level wire, its ends left out."""
    if point in (start, end):
        return False
    (x, y), (x1, y1), (x2, y2) = point, start, end
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    on_line = abs((x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)) < 0.02 * length
    return on_line and min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)


def _touch(one: tuple[set[XY], list[tuple[XY, XY]]], other: tuple[set[XY], list[tuple[XY, XY]]]) -> bool:
    """Two groups touch where they share a point, or where an end of one lies on a wire of the other."""
    if one[0] & other[0]:
        return True
    return any(_inside(point, *wire) for point in one[0] for wire in other[1]) or any(
        _inside(point, *wire) for point in other[0] for wire in one[1]
    )


def drawn_nets(sheets: Iterable[Sheet]) -> list[tuple[set[str], set[str]]]:
    """Groups over several sheets: equal net names join. Pins and names of each."""
    merged: list[tuple[set[str], set[str]]] = []
    for pins, names in (group for sheet in sheets for group in sheet.joined()):
        for other in [one for one in merged if one[1] & names]:
            merged.remove(other)
            pins, names = pins | other[0], names | other[1]
        merged.append((pins, names))
    return merged
