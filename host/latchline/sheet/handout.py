"""The handout that a teacher gives to a class, in large print: the piece, its yarn, its steps and its words."""

from __future__ import annotations

import numpy as np

from latchline.drawing.scene import Scene
from latchline.fabric.loops import pass_yarns
from latchline.fabric.outline import outline
from latchline.fabric.yarn_need import yarn_need
from latchline.piece.measure import gauge_of
from latchline.piece.model import Piece
from latchline.plan.hand import GONE, HandKind, HandStep, Position, goes, kind_of, positions_after
from latchline.plan.model import Band, Plan
from latchline.preview.outline import outline_scene, outline_words
from latchline.sheet.drawings import act_in_words, needle_drawing
from latchline.sheet.make import Block, Facts, Figure, Grid, Listed, Page, Sheet

STEPS_LISTED = 10  # hand steps of a band; the working chart has them all
NEEDLES_DRAWN = 8
WIDTH_MM, HEIGHT_MM, APART_MM = 180.0, 30.0, 8.0
INK, PALE = "#000000", "#d8d8d8"


def make_handout(piece: Piece, plan: Plan) -> Sheet:
    """The piece on one page, and its words on another."""
    gauge = gauge_of(plan.profile, pass_yarns(plan).yarns, piece.swatch)
    shape = outline(plan, gauge)
    width, height = gauge.finished_cm(shape.width, shape.rows)
    estimated = ", an estimate" if gauge.estimated else ""
    facts = (
        ("size", f"{width:.1f} × {height:.1f} cm, {shape.width:.0f} stitches × {shape.rows:.0f} rows"),
        ("gauge", f"{gauge.stitches:.1f} stitches and {gauge.rows:.1f} rows to 10 cm{estimated}"),
        ("machine", f"{plan.profile.title}, needles {plan.profile.span_name(plan.span)}"),
        ("begin", f"with the carriage at the {plan.start}"),
    )
    need = yarn_need(plan, piece.swatch)
    yarns = tuple(
        (total.yarn.name + (", taken off again" if total.waste else ""), f"{total.metres_with_margin:.0f} m")
        for total in need.totals
    )
    colours = tuple(total.yarn.colour for total in need.totals)
    blocks: list[Block] = [
        Figure("the piece, in cm", outline_scene(plan, gauge), outline_words(plan, gauge)),
        Facts("at a glance", facts),
        Grid("yarn", ("yarn", "have at hand"), yarns, colours),
        Listed("steps, in order", tuple(line for band in plan.bands for line in _steps(plan, band))),
    ]
    pages = [Page(plan.name, "handout", tuple(blocks))]
    words = glossary(plan)
    if words:
        pages.append(Page("Words and signs", f"those that occur in {plan.name}", words))
    return Sheet(f"handout: {plan.name}", tuple(pages), large=True)


def _steps(plan: Plan, band: Band) -> list[str]:
    """What is knitted in a band, then what hands do in it."""
    yarns = " and ".join(yarn.name for yarn in band.yarns)
    lines = [f"{band.name}: {band.passes} passes of {band.technique.title}, {yarns}"]
    by_hand = [
        f"before pass {number}: {words}"
        for number in range(band.first, band.last + 1)
        for words in plan.hand_words(number)
    ]
    more = len(by_hand) - STEPS_LISTED
    lines += by_hand[:STEPS_LISTED] + ([f"and {more} more, on the working chart"] if more > 0 else [])
    if band is plan.bands[-1]:
        lines += [f"at the end: {words}" for words in plan.hand_words(plan.passes + 1)]
    return lines


def glossary(plan: Plan) -> tuple[Block, ...]:
    """The words that occur in a plan with a drawing each, from the techniques and the kinds of hand steps."""
    blocks: list[Block] = []
    for technique in dict.fromkeys(band.technique for band in plan.bands):
        cams = technique.cams
        if cams.selected != cams.unselected:
            acts = (act_in_words(cams.selected), act_in_words(cams.unselected))
            words = f"{technique.title}. Selected: {acts[0]}; not selected: {acts[1]}"
            drawing = needle_drawing(cams.selected, cams.unselected, ("#f4ead8", "#1f3a5f"))
            blocks.append(Figure(technique.name, drawing, words))
    shown: set[str] = set()
    for step in plan.hand:
        kind = kind_of(step)
        if kind.name not in shown:
            shown.add(kind.name)
            title = f"{kind.title}, on the working chart {_sign(step)}"
            blocks.append(Figure(title, hand_drawing(kind), _in_words(kind)))
    return tuple(blocks)


def _sign(step: HandStep) -> str:
    return "< or >" if step.kind == "move" else kind_of(step).sign


def _in_words(kind: HandKind) -> str:
    moved = "loops go to other needles" if kind.goes else ""
    comes = {Position.WORK: "needles come into work", Position.HELD: "needles are held"}
    what = [
        "the loops leave the needles" if kind.sets == Position.OUT else moved,
        "each needle gets a loop" if kind.makes else "",
        comes.get(kind.sets, "") if kind.sets is not None else "",
    ]
    said = ", ".join(part for part in what if part) or "no loop changes its place"
    return said + (f"; it takes {kind.at_hand}" if kind.at_hand else "")


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
    scene = Scene(WIDTH_MM, HEIGHT_MM, kind.title)
    for left, words, positions, hung in ((6.0, "before", before, loops), (96.0, "after", after, there)):
        scene.words(left, 5, words, 4.0, bold=True)
        for needle in range(NEEDLES_DRAWN):
            _needle(scene, left + 4 + needle * APART_MM, int(positions[needle]), int(hung[needle]))
    if kind.goes is not None:  # which loop is which
        for needle in range(NEEDLES_DRAWN):
            came = "+".join(str(origin + 1) for origin in np.flatnonzero(onto == needle))
            scene.words(10.0 + needle * APART_MM, HEIGHT_MM - 1, str(needle + 1), 2.8, anchor="middle")
            scene.words(100.0 + needle * APART_MM, HEIGHT_MM - 1, came, 2.8, anchor="middle")
    scene.arrow(90, 16, 5, rightward=True)
    return scene


def _needle(scene: Scene, x: float, position: int, loops: int) -> None:
    """A needle from above: its stem, farther back where it is out of work, farther forward where it is held."""
    top = {Position.OUT: 9.0, Position.WORK: 13.0, Position.HELD: 17.0}[Position(position)]
    scene.box(x - 1, top, 2, 8, PALE if position == Position.OUT else INK, INK, 0.3)
    for number in range(loops):
        y = top + 7 - 2.2 * number
        scene.box(x - 2.4, y, 4.8, 1.5, "#ffffff", INK, 0.5)
