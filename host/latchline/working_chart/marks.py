"""The marks of a working chart, and what each means: told by shape, so that black and white loses nothing."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from latchline.drawing.scene import Disc, Scene
from latchline.fabric.layout import second_needles
from latchline.fabric.loops import NO_YARN, PassYarns
from latchline.plan.hand import HandStep, kind_of
from latchline.plan.model import Plan, Yarn
from latchline.technique.model import Does

INK = "#000000"

Mark = Callable[[Scene, float, float, float], None]  # draws about (x, y), reaching so far to each side


def cams_of(plan: Plan, number: int) -> tuple[Does, Does]:
    band = plan.band_of(number)
    cams = band.technique.cams_for(plan.direction(number), band.way)
    return cams.selected, cams.unselected


def square(scene: Scene, x: float, y: float, reach: float) -> None:
    scene.box(x - reach, y - reach, 2 * reach, 2 * reach, INK, None)


def dot(scene: Scene, x: float, y: float, reach: float) -> None:
    scene.items.append(Disc(x, y, reach * 1.02, None, INK, 0.35))


def triangle(scene: Scene, x: float, y: float, reach: float) -> None:
    scene.area([(x - reach * 1.1, y + reach), (x + reach * 1.1, y + reach), (x, y - reach * 1.1)])


def cross(scene: Scene, x: float, y: float, reach: float) -> None:
    scene.line(x - reach, y - reach, x + reach, y + reach, 0.5)
    scene.line(x - reach, y + reach, x + reach, y - reach, 0.5)


def arch(scene: Scene, x: float, y: float, reach: float) -> None:
    """A tuck: an open loop."""
    turn = [math.pi * step / 8 for step in range(9)]
    top = [(x - reach * 0.8 * math.cos(angle), y - reach * 0.9 * math.sin(angle)) for angle in turn]
    scene.path([(x - reach * 0.8, y + reach), *top, (x + reach * 0.8, y + reach)], 0.32)


def bar(scene: Scene, x: float, y: float, reach: float) -> None:
    """A miss: the yarn goes straight past."""
    scene.line(x - reach, y, x + reach, y, 0.4)


def change_sign(scene: Scene, x: float, y: float) -> None:
    """A solid diamond, which nothing else on the page is."""
    scene.area([(x - 1.9, y), (x, y - 1.5), (x + 1.9, y), (x, y + 1.5)])


def turn_mark(scene: Scene, x: float, y: float, reach: float) -> None:
    """A triangle on its point, as on the sheet."""
    points = [(x - 1.1 * reach, y - reach), (x + 1.1 * reach, y - reach), (x, y + 1.1 * reach)]
    scene.area([(x + 1.5 * (px - x), y + 1.5 * (py - y)) for px, py in points], "#ffffff")
    scene.area(points, INK)


def second_dots(scene: Scene, x: float, y: float, back: int) -> None:
    """Four needles of the second bed from the span's left: filled ones knit."""
    for needle, knits_there in enumerate(second_needles(np.array([back], dtype=np.uint8), 4)[0].tolist()):
        scene.items.append(Disc(x + 1.5 * needle, y, 0.6, INK if knits_there else "#ffffff", INK, 0.15))


# Marks of selected needles: of the main or only yarn, then of each further colour.
MARKS: tuple[Mark, ...] = (square, dot, triangle, cross)
UNSELECTED: dict[Does, Mark] = {Does.TUCK: arch, Does.MISS: bar}


def mark_number(plan: Plan, carried: PassYarns, number: int, yarn: int) -> int:
    band = plan.band_of(number)
    names: list[Yarn] = list(band.yarns)
    if not band.technique.separations:
        return 0
    return min(names.index(carried.yarns[yarn]), len(MARKS) - 1)


def knitting_is_blank(plan: Plan, number: int) -> bool:
    """In tuck and slip the needles that do something else carry the marks, as there are fewer of them."""
    cams = cams_of(plan, number)
    separated = plan.band_of(number).technique.separations
    return not separated and cams[0] == Does.KNIT and cams[1] in (Does.TUCK, Does.MISS)


def mark_of_pass(plan: Plan, carried: PassYarns, number: int) -> Mark | None:
    first = int(carried.first[number - 1])
    return MARKS[mark_number(plan, carried, number, first)] if first != NO_YARN else square


SELECTED_WORDS = {
    Does.KNIT: "selected: knits",
    Does.KNIT_CONTRAST: "selected: knits contrast",
    Does.HELD: "selected: to holding position",
    Does.LAID_OVER: "selected: laid-in yarn over",
    Does.TUCK: "selected: tucks",
    Does.MISS: "selected: misses",
}
UNSELECTED_WORDS = {
    Does.KNIT: "not selected: knits",
    Does.TUCK: "not selected: tucks",
    Does.MISS: "not selected: misses",
    Does.LAID_UNDER: "not selected: laid-in yarn under",
}


def sign_of(step: HandStep) -> str:
    """The letter of a hand step; where loops move, the way they go."""
    return kind_of(step).sign if step.kind != "move" else ">" if step.by > 0 else "<"
