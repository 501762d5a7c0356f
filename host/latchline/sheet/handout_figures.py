"""What a handout shows: the fabric beside the chart that it is knitted from, and each hand step before and after."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterator
from itertools import groupby

import numpy as np

from latchline.chart.model import Chart
from latchline.drawing.scene import Picture, Scene
from latchline.errors import InputError
from latchline.fabric.outline import outline
from latchline.piece.model import Piece
from latchline.plan.hand import GONE, HandKind, HandStep, Position, goes, positions_after
from latchline.plan.model import Plan
from latchline.plan.signs import NOTHING, Signs
from latchline.preview.outline import outline_scene
from latchline.preview.picture import draw_fabric
from latchline.shaping.gauge import Gauge

WIDTH_MM = 180.0
HALF_MM, TALL_MM = 86.0, 72.0  # room for the fabric and for a chart beside it
CAPTION_MM, LETTERS_MM = 7.0, 4.2
NARROW_MM, OUTLINE_MM = 68.0, (62.0, 54.0)  # room for the fabric beside an outline, and for that without its words
PICTURE_PX = 900  # the longer side of the fabric's picture
TALLEST = 2.0  # how much taller than wide the fabric is shown whole
CELL_MOST_MM = 6.0
GRID_FROM_MM = 1.6  # narrower cells get a line at every fifth only
NEEDLES_DRAWN, APART_MM, STEP_MM = 8, 5.2, 24.0
INK, GREY, PALE = "#000000", "#767676", "#d8d8d8"


def fabric_and_chart(piece: Piece, plan: Plan, gauge: Gauge) -> Scene | None:
    """The fabric's knit side, and beside it the first chart or file of signs, else the outline of a shaped piece.

    None: nothing can be shown.
    """
    fabric = _fabric(plan, gauge)
    chart = next((band.drawing for band in plan.bands if band.drawing is not None), None)
    signs = next(_signs_of(piece), None)
    measured = chart is None and signs is None and not is_rectangle(plan, gauge)
    if fabric is None and chart is None and signs is None and not measured:
        return None
    scene = Scene(WIDTH_MM, TALL_MM + CAPTION_MM, "the fabric and its chart")
    left = 0.0
    if fabric is not None:
        png, (pixels_wide, pixels_tall), words = fabric
        scale = min((HALF_MM if not measured else NARROW_MM) / pixels_wide, TALL_MM / pixels_tall)
        wide, tall = pixels_wide * scale, pixels_tall * scale
        scene.items.append(Picture(0.0, TALL_MM - tall, wide, tall, png))
        scene.box(0, TALL_MM - tall, wide, tall, None, GREY, 0.2)
        scene.words(0, TALL_MM + CAPTION_MM - 2, words, LETTERS_MM)
        left = WIDTH_MM - HALF_MM
    if chart is not None:
        _draw_chart(scene, chart, left)
        scene.words(left, TALL_MM + CAPTION_MM - 2, "the chart: read it upwards", LETTERS_MM)
    elif signs is not None:
        _draw_signs(scene, signs, left)
        scene.words(left, TALL_MM + CAPTION_MM - 2, "signs: read them upwards, as you see the bed", LETTERS_MM)
    elif measured:
        drawn = outline_scene(plan, gauge, OUTLINE_MM)
        scene.put(drawn, WIDTH_MM - drawn.width_mm, scene.height_mm - drawn.height_mm)
    return scene


def is_rectangle(plan: Plan, gauge: Gauge) -> bool:
    """Whether the finished piece has four corners, so that its size says enough."""
    edges = outline(plan, gauge).edges
    return not plan.shaped or (len(edges) == 1 and len(edges[0]) <= 4)


def signs_used(piece: Piece) -> list[str]:
    """The signs that occur in the piece's files of signs."""
    return sorted({sign for signs in _signs_of(piece) for row in signs.rows for sign in row} - set(NOTHING))


def _signs_of(piece: Piece) -> Iterator[Signs]:
    return (work for band in piece.bands for work in band.works if isinstance(work, Signs))


def _fabric(plan: Plan, gauge: Gauge) -> tuple[bytes, tuple[int, int], str] | None:
    """A PNG, its width and height, and what it shows: of a long piece a part, from its patterned or longest band on."""
    first, last, words = 1, plan.passes, "the fabric, knit side"
    tall = plan.passes * gauge.row_mm / (plan.span.width * gauge.stitch_mm)
    if tall > TALLEST:
        patterned = next((band for band in plan.bands if band.technique.needs_chart), None)
        first = (patterned or max(plan.bands, key=lambda band: band.passes)).first
        last = min(plan.passes, first + max(1, round(plan.span.width * gauge.stitch_mm / gauge.row_mm)))
        words = "a part of the fabric, knit side"
    try:
        stitch_px = int(np.clip(PICTURE_PX // plan.span.width, 4, 24))
        drawn = draw_fabric(plan, "knit", gauge, stitch_px=stitch_px, first=first, last=last)
    except InputError:  # too large: the handout does without
        return None
    picture = drawn.convert("RGB")
    picture.thumbnail((PICTURE_PX, PICTURE_PX))
    out = io.BytesIO()
    picture.quantize(64).save(out, "PNG", optimize=True)
    return out.getvalue(), picture.size, words


def _draw_chart(scene: Scene, chart: Chart, left: float) -> None:
    """One box for each run of cells of one colour, and lines between cells that are wide enough."""
    cell = min(CELL_MOST_MM, HALF_MM / chart.stitches, TALL_MM / chart.rows)
    top = TALL_MM - chart.rows * cell
    for row, line in enumerate(chart.cells[::-1].tolist()):
        at = 0
        for colour, run in groupby(line):
            size = len(list(run))
            scene.box(left + at * cell, top + row * cell, size * cell, cell, chart.palette[colour].hex, None)
            at += size
    _grid(scene, left, top, cell, chart.stitches, chart.rows)


def _draw_signs(scene: Scene, signs: Signs, left: float) -> None:
    wide, tall = len(signs.rows[0]), len(signs.rows)
    cell = min(CELL_MOST_MM, HALF_MM / wide, TALL_MM / tall)
    top = TALL_MM - tall * cell
    _grid(scene, left, top, cell, wide, tall)
    for row, line in enumerate(reversed(signs.rows)):
        for column, sign in enumerate(line):
            if sign not in NOTHING:
                x, y = left + (column + 0.5) * cell, top + (row + 0.5) * cell + 0.28 * cell
                scene.words(x, y, sign, 0.8 * cell, anchor="middle", bold=True)


def _grid(scene: Scene, left: float, top: float, cell: float, wide: int, tall: int) -> None:
    step = 1 if cell >= GRID_FROM_MM else 5
    for column in range(0, wide + 1, step):
        x = left + column * cell
        scene.line(x, top, x, top + tall * cell, 0.3 if column % 5 == 0 else 0.1, GREY)
    for row in range(0, tall + 1, step):
        y = top + (tall - row) * cell
        scene.line(left, y, left + wide * cell, y, 0.3 if row % 5 == 0 else 0.1, GREY)
    scene.box(left, top, wide * cell, tall * cell, None, INK, 0.4)


def beside(scene: Scene, title: str, words: str) -> Scene:
    """A drawing with its title and words to the right of it."""
    scene.height_mm = max(scene.height_mm, STEP_MM)
    left = WIDTH_MM - HALF_MM
    lines = [(part, True) for part in textwrap.wrap(title, 38)] + [(part, False) for part in textwrap.wrap(words, 42)]
    scene.height_mm = max(scene.height_mm, 2 + 1.25 * LETTERS_MM * len(lines))
    for number, (part, bold) in enumerate(lines, 1):
        scene.words(left, 1.25 * LETTERS_MM * number, part, LETTERS_MM, bold=bold)
    return scene


def hand_drawing(kind: HandKind) -> Scene:
    """Some needles before and after a hand step of a kind, drawn from what the kind does: loops as rings."""
    step = HandStep(1, kind.name, 2, 5 if kind.name != "move" else 3, 2 if kind.name == "cross" else 1)
    before = np.full(NEEDLES_DRAWN, Position.WORK, dtype=np.uint8)
    loops = np.ones(NEEDLES_DRAWN, dtype=np.int32)
    if kind.fresh or kind.sets == Position.WORK:
        released = kind.name == "release"
        before[2:6] = Position.HELD if released else Position.OUT
        loops[2:6] = 1 if released else 0
    if kind.name == "pick-up":
        loops[2:6] = 0
        step = HandStep(1, kind.name, 3, 3)
        loops[[2, 4, 5]] = 1
    after, onto = positions_after(step, before), goes(step, NEEDLES_DRAWN)
    there = np.zeros_like(loops)
    np.add.at(there, onto[onto != GONE], loops[onto != GONE])
    if kind.makes:
        there[step.first : step.last + 1] += 1
    scene = Scene(WIDTH_MM, STEP_MM, kind.title)
    for left, words, positions, hung in ((0.0, "before", before, loops), (47.0, "after", after, there)):
        scene.words(left, 4, words, 3.6, fill=GREY)
        for needle in range(NEEDLES_DRAWN):
            _needle(scene, left + 2 + needle * APART_MM, int(positions[needle]), int(hung[needle]))
    if kind.goes is not None:  # which loop is which
        for needle in range(NEEDLES_DRAWN):
            came = "+".join(str(origin + 1) for origin in np.flatnonzero(onto == needle))
            scene.words(2.0 + needle * APART_MM, STEP_MM - 1, str(needle + 1), 2.8, anchor="middle")
            scene.words(49.0 + needle * APART_MM, STEP_MM - 1, came, 2.8, anchor="middle")
    scene.arrow(43, 13, 4, rightward=True)
    return scene


def _needle(scene: Scene, x: float, position: int, loops: int) -> None:
    """A needle from above: its stem, farther back where it is out of work, farther forward where it is held."""
    top = {Position.OUT: 5.5, Position.WORK: 8.5, Position.HELD: 11.5}[Position(position)]
    scene.box(x - 0.8, top, 1.6, 7, PALE if position == Position.OUT else INK, INK, 0.3)
    for number in range(loops):
        scene.box(x - 2.0, top + 6 - 1.8 * number, 4.0, 1.3, "#ffffff", INK, 0.45)
