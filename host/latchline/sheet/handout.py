"""The handout that a teacher gives to a class, in large print: the piece, its yarn, its steps and its words."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import Any

from latchline.counted import counted
from latchline.fabric.loops import pass_yarns
from latchline.fabric.outline import outline
from latchline.fabric.yarn_need import yarn_need
from latchline.piece.measure import gauge_of
from latchline.piece.model import Piece
from latchline.plan.hand import HandKind, HandStep, Position, kind_of, lines_of
from latchline.plan.model import Band, Plan, is_fold, stitch_size_of
from latchline.plan.signs import SIGNS, Signs
from latchline.preview.outline import outline_scene, outline_words
from latchline.sheet.drawings import act_in_words, needle_drawing
from latchline.sheet.handout_figures import (
    OUTLINE_MM,
    beside,
    fabric_and_chart,
    hand_drawing,
    is_rectangle,
    signs_used,
)
from latchline.sheet.make import Block, Facts, Figure, Grid, Listed, Page, Sheet, metres

TOLD_WHOLE = 2  # so many hand steps of a kind are told in whole sentences, more of them in a list
STEPS_LISTED = 12  # of that list; the working chart has them all


def make_handout(piece: Piece, plan: Plan) -> Sheet:
    """The piece on one page, and its words on another."""
    gauge = gauge_of(plan.profile, pass_yarns(plan).yarns, piece.swatch)
    shape = outline(plan, gauge)
    width, height = gauge.finished_cm(shape.width, shape.rows)
    estimated = ", an estimate" if gauge.estimated else ""
    knitted = f"{counted(round(shape.knitted[0]), 'stitch')} × {counted(round(shape.knitted[1]), 'row')}"
    facts = (
        ("size", f"{width:.1f} × {height:.1f} cm, {knitted}"),
        ("gauge", f"{gauge.stitches:.1f} stitches and {gauge.rows:.1f} rows to 10 cm{estimated}"),
        ("machine", f"{plan.profile.title}, needles {plan.profile.span_name(plan.span)}"),
        ("begin", f"with the carriage at the {plan.start}"),
    )
    need = yarn_need(plan, piece.swatch)
    yarns = tuple(
        (total.yarn.name + (", taken off again" if total.waste else ""), metres(total.metres_with_margin))
        for total in need.totals
    )
    colours = tuple(total.yarn.colour for total in need.totals)
    blocks: list[Block] = [
        Facts("at a glance", facts),
        Grid("yarn", ("yarn", "have at hand"), yarns, colours, (0.6, 0.4)),
    ]
    shown = fabric_and_chart(piece, plan, gauge)
    words = "the fabric's knit side" + (f"; {outline_words(plan, gauge)}" if plan.shaped else "")
    if shown is not None:
        blocks.insert(0, Figure("fabric", shown, words, headed=False))
    if any(band.drawing is not None for band in plan.bands) and not is_rectangle(plan, gauge):
        blocks.append(Figure("the piece, in cm", outline_scene(plan, gauge, OUTLINE_MM), outline_words(plan, gauge)))
    pages = [Page(plan.name, "handout", tuple(blocks)), Page("Step by step", plan.name, (_listed(piece, plan),))]
    told = (*_signs(piece), *glossary(plan))
    if told:
        pages.append(Page("Words and signs", f"those that occur in {plan.name}", told))
    return Sheet(f"handout: {plan.name}", tuple(pages), large=True)


def _signs(piece: Piece) -> tuple[Block, ...]:
    lines = tuple(f"{sign}  {SIGNS[sign][2]}" for sign in signs_used(piece))
    return (Listed("signs used, worked before their row", lines),) if lines else ()


def _listed(piece: Piece, plan: Plan) -> Listed:
    """The bands in order, those that are alike and follow one another as one, each with what hands do in it."""
    lines: list[str] = []
    signed = {band.name for band in piece.bands if any(isinstance(work, Signs) for work in band.works)}
    for _, alike in groupby(plan.bands, key=lambda band: _alike(plan, band)):
        lines += _steps(plan, list(alike), signed)
    lines += [f"at the end: {words}" for words in plan.hand_words(plan.passes + 1)]
    return Listed("in this order", tuple(lines))


def _alike(plan: Plan, band: Band) -> tuple[Any, ...]:
    """What a band asks for: passes of a technique with these yarns and hand steps, counted from its first pass."""
    steps = tuple(
        (step.before - band.first, replace(step, before=1))
        for number in range(band.first, band.last + 1)
        for step in plan.hand_before(number)
    )
    return band.technique.name, band.yarns, band.part, band.passes, id(band.drawing), band.options, steps


def _steps(plan: Plan, bands: list[Band], signed: set[str]) -> list[str]:
    """What is knitted in some bands that are alike, then what hands do in them, a line for each kind.

    signed: the names of bands of which a file of signs says what hands do.
    """
    band, many = bands[0], len(bands) > 1
    yarns = " and ".join(yarn.name for yarn in band.yarns)
    called = f"{band.name} to {bands[-1].name}, {len(bands)} times" if many else band.name
    counter = "" if many else f", row counter {band.first - 1} to {band.last}"
    size = stitch_size_of(band)
    dial = f", stitch size {size:g}" if size is not None else ", a larger stitch size" if is_fold(band) else ""
    lines = [f"{called}: {counted(band.passes, 'pass')} of {band.technique.title}, {yarns}{dial}{counter}"]
    if band.name in signed:
        first = next((step.before for step in plan.hand if band.first <= step.before <= band.last), band.first)
        return [
            *lines,
            f"from pass {first} on, work the signs of each row before it is knitted, as the working chart lists them",
        ]
    kinds: dict[str, list[HandStep]] = {}
    for number in range(band.first, band.last + 1):
        for step in plan.hand_before(number):
            kinds.setdefault(step.kind, []).append(step)
    settings = ((number, plan.held_setting(number)) for number in range(band.first, band.last + 1))
    lines += [f"before {_at(plan, number, many=many)}: {setting}" for number, setting in settings if setting]
    for steps in kinds.values():
        when = [_at(plan, step.before, many=many) for step in steps]
        if len(steps) <= TOLD_WHOLE:
            told = [words for _, words in lines_of(steps, plan.places_name)]
            told = told if len(told) == len(steps) else [told[0]] * len(steps)
            lines += [f"before {at}: {words}" for at, words in zip(when, told, strict=True)]
            continue
        listed = [f"{at} {_where(plan, step)}" for at, step in zip(when[:STEPS_LISTED], steps, strict=False)]
        more = len(steps) - STEPS_LISTED
        rest = f"; and {more} more, on the working chart" if more > 0 else ""
        lines.append(f"{kind_of(steps[0]).title}, before {'; '.join(listed)}{rest}")
    return lines


def _at(plan: Plan, number: int, *, many: bool) -> str:
    """A pass or, where several bands are told as one, the row of the band that begins with it."""
    return f"row {int(plan.knitted_row[number - 1])}" if many else f"pass {number}"


def _where(plan: Plan, step: HandStep) -> str:
    way = "" if step.kind != "move" else f" to the {'right' if step.by > 0 else 'left'}"
    return plan.places_name(step.first, step.last) + way


def glossary(plan: Plan) -> tuple[Block, ...]:
    """The words that occur in a plan with a drawing each, from the techniques and the kinds of hand steps."""
    blocks: list[Block] = []
    for technique in dict.fromkeys(band.technique for band in plan.bands):
        cams = technique.cams
        if cams.selected != cams.unselected:
            acts = (act_in_words(cams.selected), act_in_words(cams.unselected))
            words = f"{technique.title}. Selected: {acts[0]}; not selected: {acts[1]}"
            drawing = needle_drawing(cams.selected, cams.unselected, ("#f4ead8", "#1f3a5f"))
            blocks.append(Figure(f"{technique.name}: {technique.title}", drawing, words))
    shown: set[str] = set()
    for step in plan.hand:
        kind = kind_of(step)
        if kind.name not in shown and not kind.on_second:
            shown.add(kind.name)
            title = f"{kind.title}, on the working chart {_sign(step)}"
            words = _in_words(kind)
            blocks.append(Figure(title, beside(hand_drawing(kind), title, words), words, headed=False))
    second = dict.fromkeys(kind for step in plan.hand if (kind := kind_of(step)).on_second)
    if second:
        lines = tuple(f"{kind.sign}  {kind.title}" for kind in second)
        blocks.append(Listed("on the second bed, by their letters on the working chart", lines))
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
