"""The piece as it lies, drawn with its measures: the schematic of preview and sheet."""

from __future__ import annotations

from itertools import groupby, pairwise
from math import hypot

from latchline.counted import counted
from latchline.drawing.scene import Point, Scene
from latchline.fabric.outline import Corner, outline
from latchline.plan.hand import Position
from latchline.plan.model import Plan
from latchline.shaping.gauge import Gauge

ROOM_MM = (132.0, 150.0)  # for the piece itself
SIDE_MM, TOP_MM = 24.0, 10.0
MEASURED_FROM_MM = 9.0  # an edge shorter than this on paper gets no measure of its own
LETTER, LINE_MM = 0.52, 3.2  # a letter's width over its size; from one line of words to the next
INK, GREY, PALE = "#000000", "#767676", "#efe9dc"

Line = tuple[float, float, float]  # words on paper: from, to, and their baseline, mm


def outline_scene(plan: Plan, gauge: Gauge, room_mm: tuple[float, float] = ROOM_MM) -> Scene:
    """The outline with measures in cm, and rows and needles at each corner; as the operator sees it, purl side.

    room_mm: width and height for the piece itself.
    """
    shape = outline(plan, gauge)
    wide, tall = gauge.finished_cm(max(shape.width, 1), max(shape.rows, 1))
    scale = min(room_mm[0] / wide, room_mm[1] / tall)
    low = min((at.across_mm for edge in shape.edges for at in edge), default=0.0)
    height = tall * scale
    scene = Scene(room_mm[0] + 2 * SIDE_MM, height + 2 * TOP_MM + 14, f"outline of {plan.name}")
    left = (scene.width_mm - wide * scale) / 2

    def place(corner: Corner) -> Point:
        across, up = (corner.across_mm - low) / 10, corner.up_mm / 10
        return left + across * scale, TOP_MM + height - up * scale

    for edge in shape.edges:
        points = [place(corner) for corner in edge]
        scene.area(points, PALE, INK)
        scene.path([*points, points[0]], 0.5)
    taken: list[Line] = []
    for edge in shape.edges[:2]:
        points = [place(corner) for corner in edge]
        _measures(scene, edge, points, taken)
        for number, corner in enumerate(edge):
            away = _away(points[number - 1], points[number], points[(number + 1) % len(points)])
            _corner(scene, plan, corner, points[number], away, taken, left + wide * scale / 2)
    y = TOP_MM + height + 9
    scene.line(left, y, left + wide * scale, y, 0.3)
    for x in (left, left + wide * scale):
        scene.line(x, y - 1.5, x, y + 1.5, 0.3)
    whole = f"{wide:.1f} cm wide, {tall:.1f} cm tall: "
    whole += f"{counted(round(shape.knitted[0]), 'stitch')}, {counted(round(shape.knitted[1]), 'row')}"
    scene.words(scene.width_mm / 2, y + 5, whole, 4.0, anchor="middle", bold=True)
    return scene


def outline_words(plan: Plan, gauge: Gauge) -> str:
    """The same in words: what is folded, what is off, and how it lies."""
    shape = outline(plan, gauge)
    words = (_corner_words(plan, corner) for edge in shape.edges[:1] for corner in edge)
    corners = "; ".join(said for said, _ in groupby(words))  # where two bands meet, one needle has two places
    notes = ["the purl side, as it lies on the needles"]
    if any(band.part == "waste" for band in plan.bands):
        notes.append("waste yarn taken off")
    if any(band.part == "hem inside" for band in plan.bands):
        notes.append("the hem folded")
    if plan.shaped and (plan.positions == Position.HELD).any():
        notes.append("short rows drawn flat, each needle as many rows tall as it has knitted; the fabric itself curves")
    return ", ".join(notes) + f". Corners: {corners}" if corners else "nothing that counts is knitted"


def _measures(scene: Scene, edge: tuple[Corner, ...], points: list[Point], taken: list[Line]) -> None:
    """The length of each longer side: its width, or its height where it rises."""
    for (one, other), (a, b) in zip(pairwise([*edge, edge[0]]), pairwise([*points, points[0]]), strict=True):
        if hypot(b[0] - a[0], b[1] - a[1]) < MEASURED_FROM_MM:
            continue
        across, up = abs(other.across_mm - one.across_mm) / 10, abs(other.up_mm - one.up_mm) / 10
        text = f"{across:.1f}" if up < 0.05 else f"{up:.1f}" if across < 0.05 else f"{across:.1f} by {up:.1f}"
        # the fabric lies to the left of the walk: the words go inside it, where others leave them room
        length = hypot(b[0] - a[0], b[1] - a[1])
        inward = ((b[1] - a[1]) / length, -(b[0] - a[0]) / length)
        wide = LETTER * 3.2 * len(text)
        reach = 2.0 + wide / 2 if abs(inward[0]) > 0.5 else 3.6
        for share in (0.5, 0.3, 0.7):
            x = a[0] + share * (b[0] - a[0]) + inward[0] * reach
            y = a[1] + share * (b[1] - a[1]) + inward[1] * reach + 1.1
            if _has_room(taken, (x - wide / 2, x + wide / 2, y)):
                scene.words(x, y, text, 3.2, anchor="middle")
                break


def _has_room(taken: list[Line], line: Line) -> bool:
    """Whether a line of words touches none that has been written; then it is one of them."""
    left, right, y = line
    free = all(right + 1 < low or left - 1 > high or abs(y - there) > LINE_MM for low, high, there in taken)
    if free:
        taken.append(line)
    return free


def _corner(scene: Scene, plan: Plan, corner: Corner, at: Point, away: Point, taken: list[Line], middle: float) -> None:
    """Row and needle beside a corner, away from the fabric, where there is room. middle: of the piece."""
    text = _corner_words(plan, corner)
    left = away[0] < 0 if abs(away[0]) > 0.2 else at[0] < middle
    above, below = at[1] - 1.2, at[1] + 4.2
    x, wide = at[0] + (-2 if left else 2), LETTER * 2.7 * len(text)
    for y in (below,) if not corner.up_mm else (above, below) if away[1] <= 0.3 else (below, above):
        if _has_room(taken, (x - wide, x, y) if left else (x, x + wide, y)):
            scene.words(x, y, text, 2.7, anchor="end" if left else "start", fill=GREY)
            return


def _away(before: Point, at: Point, after: Point) -> Point:
    """The way out of the fabric at a corner, which lies to the left of the walk; no longer than 1."""
    sides = []
    for a, b in ((before, at), (at, after)):
        length = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
        sides.append((-(b[1] - a[1]) / length, (b[0] - a[0]) / length))
    return (sides[0][0] + sides[1][0]) / 2, (sides[0][1] + sides[1][1]) / 2


def _corner_words(plan: Plan, corner: Corner) -> str:
    """`row 110, L63`: the needle that lies inside the corner."""
    place = min(max(round(corner.needles), 0), plan.span.width)
    centre = plan.profile.centre - plan.span.first
    needle = plan.span.first + (place if place < centre else place - 1)
    return f"row {corner.rows:.0f}, {plan.profile.needle_name(needle)}"
