"""The set-up sheet: what the operator sets, threads and watches: a summary, then a section for each band.

The summary suffices for a simple piece. A band that is set like an earlier one says so, and no more.
Here is what it says; `sheet.write` puts it on paper, several sections a page.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from latchline.counted import counted, every
from latchline.drawing.scene import Scene
from latchline.fabric.loops import NO_YARN, pass_yarns
from latchline.fabric.outline import outline
from latchline.fabric.yarn_class import CREDIT, stitch_size_range, weight_class, yarn_class
from latchline.fabric.yarn_need import YarnNeed, YarnUse, yarn_need
from latchline.machine.cautions import SHORT_CAUTIONS
from latchline.machine.needles import Span
from latchline.machine.profile import DIRECTIONS, Profile
from latchline.piece.measure import gauge_of
from latchline.piece.model import Piece
from latchline.plan.hand import Position, at_hand
from latchline.plan.limits import weights_due
from latchline.plan.model import Band, Plan, Yarn
from latchline.preview.outline import outline_scene, outline_words
from latchline.shaping.gauge import TIGHTNESS_MACHINE_MADE, Gauge, tightness
from latchline.sheet.drawings import act_in_words, bed_drawing, needle_drawing, piece_drawing, turn_marks
from latchline.technique.model import Does

CHANGES_LISTED = 24
HAND_LISTED = 60
BANDS_LISTED = 40
HANDS_CAUTION = "Stop the carriage beyond the turn mark before your hands go to the yarn or the needles."
CARRIAGE_CAUTION = SHORT_CAUTIONS[4]

# What a carriage setting does, for profiles that do not say how their levers are called.
PLAIN_WORDS = {
    "plain": "plain: every needle knits",
    "tuck": "tuck: selected needles knit, the others tuck",
    "miss": "miss: selected needles knit, the others are passed by",
    "two-colour": "two colours: selected needles take the contrast yarn, the others the main yarn",
    "inlay": "inlay: all needles knit; the laid-in yarn goes over the selected ones",
    "hold": "hold: needles in holding position stay out and keep their loops",
}


@dataclass(frozen=True)
class Facts:
    """Pairs of a label and what it is."""

    title: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Listed:
    """Sentences, one a line; `urgent` ones are set off."""

    title: str
    items: tuple[str, ...]
    urgent: bool = False


@dataclass(frozen=True)
class Grid:
    """A table. colours: a dab for each row, or None. shares: of the width, one a column; none: alike."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    colours: tuple[str | None, ...] = ()
    shares: tuple[float, ...] = ()


@dataclass(frozen=True)
class Figure:
    """A drawing, and the same in words for who cannot see it. headed: whether the title stands above the drawing."""

    title: str
    scene: Scene
    words: str
    headed: bool = True


Block = Facts | Listed | Grid | Figure


@dataclass(frozen=True)
class Page:
    """One section: the summary, or a band. Short ones share a page of paper."""

    title: str
    under: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Sheet:
    """The whole set-up sheet, or a handout. large: in large print."""

    title: str
    pages: tuple[Page, ...]
    large: bool = False


def make_sheet(piece: Piece, plan: Plan) -> Sheet:
    """The sheet of a piece and its plan."""
    gauge = gauge_of(plan.profile, pass_yarns(plan).yarns, piece.swatch)
    need = yarn_need(plan, piece.swatch)
    pages = [_piece_page(plan, gauge, need, piece.measured)]
    weights_every = piece.limits.weights_rows
    uses: dict[int, list[YarnUse]] = {}
    for use in need.by_band:
        uses.setdefault(use.band_first, []).append(use)
    first_of: dict[tuple[Any, ...], tuple[int, Band]] = {}
    for number, band in enumerate(plan.bands, 1):
        like = first_of.setdefault(_set_alike(band), (number, band))
        before = None if like[1] is band else like
        pages.append(_band_page(plan, number, band, uses.get(band.first, []), weights_every, before))
    return Sheet(f"set-up sheet: {plan.name}", tuple(pages))


def _piece_page(plan: Plan, gauge: Gauge, need: YarnNeed, measured: tuple[str, ...]) -> Page:
    shape = outline(plan, gauge)
    courses = shape.knitted[1]
    width, height = gauge.finished_cm(shape.width, shape.rows)
    how = "an estimate: knit and measure a swatch" if gauge.estimated else "from your swatch"
    facts: tuple[tuple[str, str], ...] = (
        ("machine", plan.profile.title),
        ("needles", f"{plan.profile.span_name(plan.span)}, {counted(plan.span.width, 'needle')}"),
        ("passes", f"{plan.passes}, in {counted(len(plan.bands), 'band')}"),
        ("first pass", f"{plan.direction(1)}: the carriage stands at the {plan.start}"),
        ("gauge", f"{gauge.stitches:.1f} stitches and {gauge.rows:.1f} rows to 10 cm ({how})"),
        (
            "finished size",
            f"about {width:.1f} × {height:.1f} cm, {counted(round(courses), 'row')} tall, relaxed and washed",
        ),
    )
    if not gauge.estimated:
        weight = weight_class(gauge)
        facts += (("yarn weight", f"by its gauge near {weight.number} {weight.name}. {CREDIT}"),)
    blocks: list[Block] = [
        Facts("at a glance", facts),
        _bands_grid(plan),
        _yarn_grid(need),
    ]
    if not plan.shaped:
        blocks.append(Figure("bands, the first one lowest", piece_drawing(plan), _bands_in_words(plan)))
    if measured:
        blocks.insert(1, Listed("asked for in centimetres", measured))
    if need.by_hand:
        blocks.append(Listed("yarn by hand, counted above", hand_yarn(need)))
    if plan.hand:
        blocks.append(Listed("have at hand", at_hand(plan.hand)))
    notes = _yarn_notes(need)
    if notes:
        blocks.append(Listed("to look at", notes))
    blocks.append(Listed("before power goes on", SHORT_CAUTIONS, urgent=True))
    if plan.shaped:
        blocks.append(Figure("the piece, in cm", outline_scene(plan, gauge), outline_words(plan, gauge)))
    return Page(plan.name, "the whole piece", tuple(blocks))


def _set_alike(band: Band) -> tuple[Any, ...]:
    """Bands with the same of these are set up alike."""
    return (
        band.technique.name,
        band.way,
        band.yarns,
        band.separation,
        band.options.backing,
        band.stitch_size,
        band.tension,
    )


def _bands_grid(plan: Plan) -> Grid:
    """All bands at one look: how the carriage is set, and which yarn knits where."""
    rows = []
    for number, band in enumerate(plan.bands[:BANDS_LISTED], 1):
        one_way = f", {band.way} only" if band.way != "both" else ""
        rows.append(
            (
                f"{number}  {band.name}",
                f"{band.first} to {band.last}" if band.passes > 1 else f"{band.first}",
                f"{band.technique.cams.setting}{one_way}",
                _who_knits(band),
            )
        )
    if len(plan.bands) > BANDS_LISTED:
        rows.append((f"and {len(plan.bands) - BANDS_LISTED} more", "", "", ""))
    columns = ("band", "passes", "carriage", "yarns")
    return Grid("bands, in the order of knitting", columns, tuple(rows), shares=(0.34, 0.14, 0.2, 0.32))


def _who_knits(band: Band) -> str:
    """Which yarn is knitted by which needles."""
    names = [yarn.name for yarn in band.yarns]
    selected = band.technique.cams.selected
    if selected == Does.KNIT_CONTRAST and len(names) > 1:
        return f"{names[0]}; {names[1]} on selected needles"
    if selected == Does.LAID_OVER and len(names) > 1:
        return f"{names[0]}; {names[1]} laid in"
    return ", ".join(names)


def _bands_in_words(plan: Plan) -> str:
    return "; ".join(
        f"{number} {band.name}, {_passes(band)}" for number, band in enumerate(plan.bands[:BANDS_LISTED], 1)
    )


def _yarn_grid(need: YarnNeed) -> Grid:
    rows = []
    for total in need.totals:
        length = total.loop_length
        rows.append(
            (
                f"{total.yarn.name}, taken off again" if total.waste else total.yarn.name,
                _count(total.yarn),
                f"{length.mm:.1f} mm {length.source}",
                f"{metres(total.metres)}{_grams(total.grams)}",
                f"{metres(total.metres_with_margin)}{_grams(total.grams_with_margin)}",
            )
        )
    columns = ("yarn", "count", "yarn in a stitch", "in the piece", "have at hand")
    return Grid("yarn, with casting on and off, a swatch and waste", columns, tuple(rows), _colours(need))


def hand_yarn(need: YarnNeed) -> tuple[str, ...]:
    """What casting on, binding off and the like take, one a line."""
    return tuple(
        f"{use.title}: {use.yarn.name}, {counted(use.loops, 'loop')}, {use.metres:.1f} m" for use in need.by_hand
    )


def _colours(need: YarnNeed) -> tuple[str, ...]:
    return tuple(total.yarn.colour for total in need.totals)


def _count(yarn: Yarn) -> str:
    return "not given" if yarn.tex is None else f"{yarn.tex:.0f} tex"


def metres(length: float) -> str:
    return f"{length:.0f} m" if length >= 1 else "under 1 m"


def _grams(grams: float | None) -> str:
    if grams is None:
        return ""
    return f", {grams:.0f} g" if grams >= 1 else ", under 1 g"


def _yarn_notes(need: YarnNeed) -> tuple[str, ...]:
    notes = []
    low, high = TIGHTNESS_MACHINE_MADE
    for total in need.totals:
        if total.yarn.tex is None or total.loop_length.estimated:
            continue
        factor = tightness(total.yarn.tex, total.loop_length.mm)
        if not low <= factor <= high:
            word = "slacker" if factor < low else "tighter"
            notes.append(
                f"{total.yarn.name}: tightness {factor:.2f} is {word} than the {low} to {high} of "
                "machine-made plain fabric; home knitting often is slacker."
            )
    if any(total.loop_length.estimated for total in need.totals):
        notes.append("Yarn in a stitch is an estimate where it is not given: unravel ten stitches and measure.")
    return tuple(notes)


def _passes(band: Band) -> str:
    return f"passes {band.first} to {band.last}" if band.passes > 1 else f"pass {band.first}"


def _band_page(
    plan: Plan,
    number: int,
    band: Band,
    uses: Sequence[YarnUse],
    weights_every: int,
    like: tuple[int, Band] | None,
) -> Page:
    """like: an earlier band that is set up the same way, by its number."""
    title = f"{number}  {band.name}"
    under = f"{band.technique.title} · {_passes(band)} · {plan.name}"
    watch = [*_rhythm(plan, band, weights_every), *_changes(plan, band), *_actions(band)]
    by_hand = _by_hand(plan, band)
    if like is not None:
        labels = ("first pass", "row counter", "held needles", *(("needles", "turn") if plan.shaped else ()))
        own = [(label, value) for label, value in _set_up(plan, band) if label in labels]
        brief: list[Block] = [Facts("set", (("levers, yarns", f"as for band {like[0]}, {like[1].name}"), *own))]
        brief += [Listed("on the way", tuple(watch))] if watch else []
        brief += [Listed("by hand, in this order", by_hand)] if by_hand else []
        return Page(title, under, tuple(brief))
    profile = plan.profile
    rightward = bool(plan.rightward[band.first - 1])
    here = _span_at(plan, band.first)
    blocks: list[Block] = [
        Facts("set", _set_up(plan, band)),
        Figure(
            "needles in work and turn marks",
            bed_drawing(profile, here, rightward=rightward, turns=plan.turn_span(band.first)),
            _turns(plan, band),
        ),
        Grid("carriage", ("", "setting"), _levers(profile, band)),
    ]
    if band.technique.double_bed:
        blocks.insert(1, _two_beds(plan, band))
    cams = band.technique.cams
    if cams.selected != cams.unselected:
        colours = tuple(yarn.colour for yarn in band.yarns[:2])
        words = f"selected: {act_in_words(cams.selected)}; not selected: {act_in_words(cams.unselected)}"
        blocks.append(Figure("what the needles do", needle_drawing(cams.selected, cams.unselected, colours), words))
    blocks.append(_feeders(band, uses))
    if watch:
        blocks.append(Listed("on the way", tuple(watch)))
    if by_hand:
        blocks.append(Listed("by hand, in this order", by_hand))
    blocks.append(Listed("take care", _cautions(band), urgent=True))
    return Page(title, under, tuple(blocks))


def _two_beds(plan: Plan, band: Band) -> Facts:
    """How to begin on two beds. Common practice, no source."""
    needles = plan.profile.span_name(_span_at(plan, band.first))
    cams = band.technique.cams
    cast_on = (
        "one pass with every needle of both beds, so that the yarn runs in zigzag; hang the comb and the "
        "weights into it; one pass out and back with each bed by itself, then both beds"
    )
    begin = ("cast on", cast_on)
    if band.first > 1 and plan.on_two_beds(band.first - 1) and plan.band_of(band.first - 1).technique.double_bed:
        begin = ("loops", "as the band before leaves them, on both beds")
    elif band.first > 1 and not plan.on_two_beds(band.first - 1):
        begin = ("loops", "the fabric hangs on the pattern bed; the second bed's needles come in empty, and the "
                 "first pass that knits on them lays their loops")  # fmt: skip
    return Facts(
        "two beds, before the band",
        (
            ("pattern bed", f"{needles} in work; its needles are selected"),
            ("second bed", f"the needles opposite {needles} in work; the end needles on the pattern bed"),
            ("racking", "half pitch: the needles of one bed stand between those of the other, so that they can't meet"),
            begin,
            (
                "carriages",
                f"coupled; that of the pattern bed to {cams.setting}, that of the second bed to knit both ways, "
                f"{plan.second_setting(band.first)}",
            ),
        ),
    )


def _set_up(plan: Plan, band: Band) -> tuple[tuple[str, str], ...]:
    start = "left" if plan.rightward[band.first - 1] else "right"
    end = "right" if plan.rightward[band.last - 1] else "left"
    rows = [
        ("needles", _needles(plan, band)),
        ("first pass", f"{plan.direction(band.first)}, from the {start}; the band ends at the {end}"),
        ("turn", _turns(plan, band)),
        ("row counter", f"{band.first - 1} when the band starts, {band.last} when it is done"),
    ]
    if plan.profile.drive == "next-pass" and band.technique.needs_chart:
        rows.append(("selection", f"one pass ahead: pass {band.first - 1} pushes the needles of pass {band.first}"))
    if band.separation is not None:
        rows.append(("colours", band.separation.title))
    if band.technique.double_bed:
        settings = [setting for k in range(band.first, band.last + 1) if (setting := plan.second_setting(k))]
        by_hand = (
            f"; then {counted(len(settings) - 1, 'setting')} by hand, each named on the way" if settings[1:] else ""
        )
        rows.append(("second bed", f"{settings[0]} knits{by_hand}"))
    if band.stitch_size is not None:
        rows.append(("stitch size", f"{band.stitch_size:g} for this band"))
    if band.tension:
        rows.append(("tension", band.tension))
    if any(plan.holds(number) for number in range(band.first, band.last + 1)):
        rows.append(("held needles", f"while some are held, {plan.hold_words}"))
    if band.technique.accessories:
        rows.append(("accessories", "; ".join(band.technique.accessories)))
    return tuple(rows)


def _span_at(plan: Plan, number: int) -> Span:
    """From the first to the last needle that is in work or held in a pass."""
    there = np.flatnonzero(plan.positions_of(number, number)[0] != Position.OUT)
    return Span(plan.span.first + int(there[0]), plan.span.first + int(there[-1]))


def _needles(plan: Plan, band: Band) -> str:
    """The needles that knit in the first pass of a band and, where they are others, in its last."""
    first, last = _needles_at(plan, band.first), _needles_at(plan, band.last)
    return first if first == last else f"{first}; at its end {last}"


def _needles_at(plan: Plan, number: int) -> str:
    there = plan.positions_of(number, number)[0]
    work, held = int((there == Position.WORK).sum()), int((there == Position.HELD).sum())
    span = plan.span_of(number)
    name, count = plan.profile.span_name(span), f"{work} of {plan.profile.needles}"
    words = f"{name} in work, {count}" if work == span.width else f"{count} in work, among {name}"
    return f"{words}, {held} held" if held else words


def _by_hand(plan: Plan, band: Band) -> tuple[str, ...]:
    """The hand steps of a band, one a line with the pass before which it is due; what follows the last pass, too."""
    last = band.last + (band is plan.bands[-1])
    lines = []
    for number in range(band.first, last + 1):
        when = f"before pass {number}" if number <= plan.passes else "after the last pass"
        lines += [f"{when}: {line}" for line in plan.hand_words(number)]
        if number <= plan.passes and (setting := plan.held_setting(number)):
            lines.append(f"{when}: {setting}")
    more = len(lines) - HAND_LISTED
    return tuple(lines[:HAND_LISTED]) + ((f"and {more} more on the working chart",) if more > 0 else ())


def _turns(plan: Plan, band: Band) -> str:
    """Where the carriage may turn: past the last needle of each pass, however few knit."""
    clear = plan.profile.turn_clearance_needles
    spans = dict.fromkeys(plan.turn_span(number) for number in range(band.first, band.last + 1))
    first, last = plan.turn_span(band.first), plan.turn_span(band.last)
    if list(spans) == [plan.span]:
        return f"{_marks(plan.profile, first)}: {counted(clear, 'needle')} past the last one of the piece"
    words = f"{_marks(plan.profile, first)} in its first pass"
    words += f", {_marks(plan.profile, last)} in its last" if first != last else ""
    words += ", elsewhere on the way" if len(spans) > len({first, last}) else ""
    return f"{words}: always {counted(clear, 'needle')} past the last one that knits"


def _marks(profile: Profile, span: Span) -> str:
    places = []
    for needle, side in zip(turn_marks(profile, span), ("left", "right"), strict=True):
        beyond = -needle if side == "left" else needle - (profile.needles - 1)
        places.append(
            profile.needle_name(needle) if beyond <= 0 else f"{counted(beyond, 'needle')} past the {side} end"
        )
    return f"{places[0]} and {places[1]}"


def _levers(profile: Profile, band: Band) -> tuple[tuple[str, ...], ...]:
    return tuple((way, lever_words(profile, band, way)) for way in DIRECTIONS)


def lever_words(profile: Profile, band: Band, direction: str) -> str:
    """How the carriage is set for a direction: the profile's own words, else plain ones."""
    setting = band.technique.cams_for(direction, band.way).setting
    own = profile.levers.get(setting, {}).get(direction, "")
    return own or PLAIN_WORDS[setting]


def _feeders(band: Band, uses: Sequence[YarnUse]) -> Grid:
    feeders = band.technique.feeders
    rows, colours = [], []
    for place, yarn in enumerate(band.yarns if not band.technique.yarns else band.yarns[: band.technique.yarns]):
        feeder = (
            f"colour {band.colours[place] + 1}" if not band.technique.yarns else feeders[min(place, len(feeders) - 1)]
        )
        used = [use for use in uses if use.yarn == yarn]
        takes = "; ".join(f"{use.metres:.1f} m{_grams(use.grams)}" for use in used)
        dial = yarn if band.stitch_size is None else replace(yarn, stitch_size=band.stitch_size)
        rows.append((feeder, yarn.name, _count(yarn), _stitch_size(dial), takes))
        colours.append(yarn.colour)
    suits = ", ".join(band.technique.yarn_classes)
    columns = ("feeder", "yarn", "count", "stitch size", "this band takes")
    return Grid(f"thread (yarn that suits this technique: {suits})", columns, tuple(rows), tuple(colours))


def _stitch_size(yarn: Yarn) -> str:
    if yarn.stitch_size is None:
        return "not given"
    name = yarn_class(yarn.stitch_size)
    if name == "laid in only":
        return f"{yarn.stitch_size:g}: only for laying in"
    low, high = stitch_size_range(name)
    return f"{yarn.stitch_size:g} ({name}: {low:g} to {high:g} of 12)"


def _rhythm(plan: Plan, band: Band, rows: int) -> Iterable[str]:
    marks = [number - 1 for number in range(band.first, band.last + 1) if weights_due(plan, number, rows)]
    if marks:
        shown = ", ".join(str(mark) for mark in marks[:12]) + (" …" if len(marks) > 12 else "")
        yield f"Move the edge weights up {every(rows, 'row')} of fabric: at row counter {shown}."


def _changes(plan: Plan, band: Band) -> Iterable[str]:
    """The colour changes of a band, as a rhythm where they have one, else one by one."""
    if not band.separation:
        return
    changes = colour_changes(plan, band)
    if len(changes) < 2:
        return
    yield f"{len(changes)} colour changes, the first before pass {changes[0][0]}; the working chart marks each."
    rhythm = _rhythm_of(changes)
    if rhythm:
        yield rhythm
        return
    shown = ", ".join(f"{number} {name}" for number, name in changes[:CHANGES_LISTED])
    more = len(changes) - CHANGES_LISTED
    yield f"Before pass: {shown}" + (f", and {more} more on the working chart." if more > 0 else ".")


def colour_changes(plan: Plan, band: Band) -> list[tuple[int, str]]:
    """Before which passes of a band another yarn comes into the carriage, and which; its first pass counts."""
    carried = pass_yarns(plan)
    changes: list[tuple[int, str]] = []
    now = NO_YARN
    for number in range(band.first, band.last + 1):
        yarn = int(carried.first[number - 1])
        if yarn not in (now, NO_YARN):
            changes.append((number, carried.yarns[yarn].name))
            now = yarn
    return changes


def _rhythm_of(changes: Sequence[tuple[int, str]]) -> str:
    """`every 2 passes, in turn: cream, navy`, or nothing when the changes keep no such rhythm."""
    gaps = {later[0] - earlier[0] for earlier, later in pairwise(changes)}
    names = [name for _, name in changes]
    cycle = next((size for size in range(1, 9) if all(a == b for a, b in zip(names, names[size:], strict=False))), 0)
    if len(gaps) != 1 or not cycle or len(names) < 2 * cycle:
        return ""
    return f"{every(gaps.pop(), 'pass').capitalize()}, in turn: {', '.join(names[:cycle])}."


def _actions(band: Band) -> Iterable[str]:
    """What the operator does before passes of this band, beyond moving the carriage."""
    for way in DIRECTIONS:
        action = band.technique.cams_for(way, band.way).action
        if action:
            yield f"Before each pass {way}: {action}."


def _cautions(band: Band) -> tuple[str, ...]:
    by_hand = band.separation is not None or any(_actions(band))
    return (CARRIAGE_CAUTION, HANDS_CAUTION) if by_hand else (CARRIAGE_CAUTION,)
