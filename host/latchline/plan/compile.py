"""Options × chart × technique × bed → a plan. Nothing here reads or writes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from latchline.chart.model import COLOURS_MAX, Cells, Chart, Colour
from latchline.chart.transform import mirror, place, require_colours, tile
from latchline.counted import counted
from latchline.errors import InputError
from latchline.machine.needles import Span
from latchline.machine.profile import Profile
from latchline.mend import Mend
from latchline.plan.by_hand import catch_steps, setting_steps, with_second_bed
from latchline.plan.fingerprint import fingerprint
from latchline.plan.hand import Position
from latchline.plan.model import SET_UP_PASS, Band, Bools, Plan, Yarn, is_fold, stitch_size_of
from latchline.plan.options import PASSES_MAX, Options
from latchline.plan.positions import Laid, casts_on, lay_out, pushed_ahead, row_starts, within
from latchline.plan.room import moved_by, room_for
from latchline.plan.select import Rows, rows_of, select
from latchline.plan.shape import NO_ROOM, Work
from latchline.technique.model import NO_STITCH, Does, Separation, Steps, Technique, one_pass_a_row
from latchline.technique.separation import backed
from latchline.technique.table import STOCKING

DEFAULT_YARNS = ("main", "contrast", "third", "fourth")
DEFAULT_COLOURS = ("#e8dfcc", "#2f5d7c", "#b8502e", "#3f6b45")


@dataclass(frozen=True)
class BandRequest:
    """One band as asked for: a technique, a drawing (or none), options, yarns (main first).

    works: shaping and hand steps. part, stitch_size, tension, scale, measured: as Band has them.
    """

    name: str
    technique: Technique
    options: Options
    drawing: Chart | None = None
    yarns: tuple[Yarn, ...] = ()
    works: tuple[Work, ...] = ()
    part: str = "fabric"
    stitch_size: float | None = None
    tension: str = ""
    scale: tuple[float, float] = (1.0, 1.0)
    measured: bool = False


@dataclass(frozen=True, eq=False)
class _Part:
    """A compiled band before it is put in its place in the plan. edge: as `Selections` has it."""

    band: Band
    table: npt.NDArray[np.bool_]
    of_pass: npt.NDArray[np.int32]
    chart_row: npt.NDArray[np.int32]
    knitted_row: npt.NDArray[np.int32]
    colour: npt.NDArray[np.int16]
    way_back: npt.NDArray[np.bool_]
    second_bed: npt.NDArray[np.uint8]
    start: str | None
    edge: npt.NDArray[np.bool_] | None = None
    works: tuple[Work, ...] = ()


def compile_plan(
    name: str,
    profile: Profile,
    span: Span,
    requests: Sequence[BandRequest],
    *,
    start: str | None = None,
    begun: Span | None = None,
) -> Plan:
    """Compile the bands, one after another, over a span of needles.

    start: the side on which the carriage stands; None: what the first separation needs, else right.
    begun: the needles that hold a loop before the first pass; None: all, or none where a band casts on.
    A piece that widens beyond the span takes more needles; what counts from its left end stays where it is.
    Raises InputError (ChartError for a drawing) with the band's name as the place.
    """
    if not requests:
        raise InputError("there is nothing to knit", hint="add a band or a chart")
    moving = (begun is not None and begun != span) or any(request.works for request in requests)
    parts = _compile_bands(requests, profile, span, moving=moving)
    bands, rightward = _in_order(parts, start)
    laid = None
    if moving:
        works = [(part.band.name, row_starts(part.knitted_row), part.works) for part in parts]
        try:
            laid = lay_out(span, begun, works, rightward, profile.needles_name)
        except InputError as error:
            if error.name != NO_ROOM:
                raise
            begun = span if begun is None and not casts_on(works) else begun
            options, called = [request.options for request in requests], profile.needles_name
            try:
                wide = room_for(span, begun, works, rightward, called, needles=profile.needles, options=options)
            except InputError as none:
                raise none.at(none.where or error.where) from None
            if wide == span:
                raise
            wider = [_in_room(request, span, wide) for request in requests]
            return compile_plan(name, profile, wide, wider, start=start, begun=begun)
        _refuse_held(bands, laid, span, profile)
        parts = _within(parts, bands, laid)
    plan = _joined(name, profile, span, parts, bands, rightward, laid)
    if asked := (*catch_steps(plan), *setting_steps(plan)):
        plan = replace(plan, hand=tuple(sorted((*plan.hand, *asked), key=lambda step: step.before)))
    return replace(plan, fingerprint=fingerprint(plan))


def _compile_bands(requests: Sequence[BandRequest], profile: Profile, span: Span, *, moving: bool) -> list[_Part]:
    """Each band by itself, after the pass that sets the needles up where the machine needs one."""
    parts: list[_Part] = []
    left = PASSES_MAX
    alike: dict[tuple[Any, ...], _Part] = {}  # a long piece names the same band many times
    for request in requests:
        key = request.technique.name, request.options, id(request.drawing), request.yarns
        known = alike.get(key)
        if known is not None and not request.works and known.band.passes <= left:
            band = replace(
                known.band,
                name=request.name,
                part=request.part,
                stitch_size=request.stitch_size,
                tension=request.tension,
                scale=request.scale,
                measured=request.measured,
            )
            parts.append(replace(known, band=band, works=()))
        else:
            parts.append(_compile_band(request, profile, span, left, moving=moving))
            alike[key] = parts[-1]
        left -= parts[-1].band.passes
    if profile.drive == "next-pass" and parts[0].band.technique.needs_chart:
        parts.insert(0, _set_up_pass(parts[0].band.yarns, span))
    return parts


def _joined(
    name: str,
    profile: Profile,
    span: Span,
    parts: Sequence[_Part],
    bands: tuple[Band, ...],
    rightward: Bools,
    laid: Laid | None,
) -> Plan:
    """The parts as one plan: what acts in each pass, and what is driven in it. Row 0 of its table selects nothing."""
    table = np.concatenate([np.zeros((1, span.width), dtype=np.bool_)] + [part.table for part in parts])
    offsets = np.cumsum([1] + [len(part.table) for part in parts])
    acting = np.concatenate(
        [part.of_pass + offset for part, offset in zip(parts, offsets[:-1], strict=True)], dtype=np.int32
    )
    driven = acting
    if profile.drive == "next-pass" and laid is not None:
        table, driven = pushed_ahead(table, acting, laid.positions)
    elif profile.drive == "next-pass":
        driven = np.append(acting[1:], np.int32(0))  # after the last pass nothing comes
    plan = Plan(
        name=name,
        profile=profile,
        span=span,
        bands=bands,
        table=_packed(table),
        acting=acting,
        driven=driven,
        rightward=rightward,
        chart_row=np.concatenate([part.chart_row for part in parts]),
        knitted_row=np.concatenate([part.knitted_row for part in parts]),
        colour=np.concatenate([part.colour for part in parts]),
        way_back=np.concatenate([part.way_back for part in parts]),
        second_bed=np.concatenate([part.second_bed for part in parts]),
        band=np.repeat(np.arange(len(parts), dtype=np.int32), [len(part.of_pass) for part in parts]),
        notes=_notes(bands, rightward),
    )
    if laid is None:
        return plan
    positions = laid.positions
    plan = replace(
        plan,
        hand=laid.hand,
        positions=positions.table,
        position=positions.of_pass,
        cast_on=laid.cast_on,
        settled=laid.settled,
    )
    return replace(plan, hand=with_second_bed(plan))


def _in_room(request: BandRequest, span: Span, wide: Span) -> BandRequest:
    """The same over more needles, its drawing and what is done by hand where they were."""
    further, options, drawing = span.first - wide.first, request.options, request.drawing
    if drawing is not None and options.once_at is None:
        options = _centred(options, drawing, span)
        options = replace(options, shift=(options.shift + further) % drawing.stitches)
    return replace(request, options=options, works=tuple(moved_by(work, further) for work in request.works))


def _refuse_held(bands: Sequence[Band], laid: Laid, span: Span, profile: Profile) -> None:
    """A technique that lets all held needles knit on its way back would knit those held by hand, too."""
    for band in bands:
        if band.technique.cams.selected != Does.HELD:
            continue
        held = laid.positions.table[laid.positions.of_pass[band.first - 1 : band.last]] == Position.HELD
        if held.any():
            row, place = divmod(int(held.argmax()), span.width)
            raise InputError(
                f"{band.technique.name} lets every held needle knit on its way back, and this one is to stay held",
                where=f"{band.name}, row {row + 1}, {profile.needle_name(span.first + place)}",
                hint="release it before this band, or hold it in a band of another technique",
            )


def _within(parts: Sequence[_Part], bands: Sequence[Band], laid: Laid) -> list[_Part]:
    """The parts with their selections kept to the needles that are in work."""
    kept = []
    for part, band in zip(parts, bands, strict=True):
        table, of_pass = within(part.table, part.of_pass, part.edge, laid.positions, band.first)
        kept.append(replace(part, table=table, of_pass=of_pass))
    return kept


def fit(drawing: Chart, span: Span, options: Options, technique: Technique) -> Chart:
    """The drawing on the needles of the span: repeated or placed once, then mirrored if it shows the knit side.

    A drawing wider than the span is cut at the span's ends; the checks say so.
    """
    shown = options.shown_side or ("knit" if technique.colour_work else "purl")
    chart = mirror(drawing) if shown == "knit" else drawing
    if options.once_at is not None:
        return place(chart, span.width, options.once_at - span.first)
    if chart.stitches == span.width and options.shift % span.width == 0:
        return chart
    return tile(chart, span.width, options.shift)


def _compile_band(
    request: BandRequest, profile: Profile, span: Span, passes_left: int, *, moving: bool = False
) -> _Part:
    """passes_left: how many the piece may still have; held against what is asked before arrays are made of it."""
    _refuse_idle_options(request)
    drawing = _usable_drawing(request, profile)
    request = replace(request, options=_centred(request.options, drawing, span))
    technique, options = request.technique, request.options
    chart = fit(drawing, span, options, technique) if drawing is not None else None
    rows = _rows_to_knit(request, chart)
    if rows > passes_left:
        raise _too_many(counted(rows, "row"), request)
    numbers = _colours(request, chart, rows)
    band = Band(
        name=request.name,
        technique=technique,
        options=options,
        first=1,
        last=rows,
        yarns=(),
        colours=numbers if technique.colour_work else (),
        drawing=drawing,
        chart=chart,
        edge=_edge(request),
        part=request.part,
        stitch_size=request.stitch_size,
        tension=request.tension,
        scale=request.scale,
        measured=request.measured,
    )
    shown = shown_rows(band, span, rows, moving=moving)
    separation, start, steps = None, None, one_pass_a_row(rows)
    if technique.separations:
        present = shown.present(len(numbers))
        present[:, 0] |= moving and band.edge is not None
        used = np.flatnonzero(present.any(axis=0))
        numbers = tuple(numbers[place] for place in used)
        shown = replace(shown, table=_places(shown.table, used.tolist()))
        separation, start = separation_of(request, profile, len(numbers))
        steps = _steps(request, separation, present[:, used])
        if len(steps.row) > passes_left:
            raise _too_many(counted(len(steps.row), "pass"), request)
    chosen = select(shown, steps, band.edge if moving else None)
    passes = len(steps.row)
    colours = numbers if technique.colour_work else ()
    band = replace(band, last=passes, yarns=_yarns(request, numbers), colours=colours, separation=separation)
    return _Part(
        band=band,
        table=chosen.table,
        of_pass=chosen.of_pass,
        chart_row=np.zeros(passes, dtype=np.int32) if chart is None else chosen.chart_row + np.int32(1),
        knitted_row=steps.row + np.int32(1),
        colour=steps.yarn,
        way_back=steps.colour == NO_STITCH,
        second_bed=steps.second,
        start=start,
        edge=chosen.edge,
        works=request.works,
    )


def shown_rows(band: Band, span: Span, rows: int, *, moving: bool = False) -> Rows:
    """What so many knitted rows of a band show, after all its options. moving: but for its ends, which move."""
    technique, options, chart = band.technique, band.options, band.chart
    cells = np.zeros((1, span.width), dtype=np.uint8)
    if chart is not None:
        cells = _places(chart.cells, band.colours) if technique.colour_work else (chart.cells != 0).view(np.uint8)
    motif = None
    if chart is not None and band.drawing is not None and options.once_at is not None:
        first = options.once_at - span.first
        motif = first, first + band.drawing.stitches
    return rows_of(cells, rows, options, technique, None if moving else band.edge, motif)


def _centred(options: Options, drawing: Chart | None, span: Span) -> Options:
    """With the shift that centring comes to: then the chart's middle, or a border between two of it, is the span's."""
    if not options.centred or drawing is None:
        return options
    return replace(
        options, centred=False, shift=((span.width - drawing.stitches) // 2 + options.shift) % drawing.stitches
    )


def _edge(request: BandRequest) -> bool | None:
    """What the end needles are made to be, selected or not; None: left as charted."""
    technique = request.technique
    wanted = request.options.edge_needles or technique.edge_default
    if not technique.needs_chart or wanted == "as-chart":
        return None
    return True if wanted == "contrast" else technique.edge_selected


def _rows_to_knit(request: BandRequest, chart: Chart | None) -> int:
    """The rows asked for, else once through the chart, or through the ground."""
    options = request.options
    if options.rows is not None:
        return options.rows
    if chart is not None:
        return chart.rows * options.row_repeat
    if options.alternate_needles != "only":
        return options.row_repeat
    return 4 * ((options.row_repeat + 1) // 2) if request.technique.one_way else 2 * options.row_repeat


def _too_many(what: str, request: BandRequest) -> InputError:
    return InputError(
        f"{what} are too many for a piece",
        where=request.name,
        hint=f"at most {PASSES_MAX} passes in all its bands; see rows and the row repeat",
    )


def _colours(request: BandRequest, chart: Chart | None, rows: int) -> tuple[int, ...]:
    """The chart's numbers of the colours that the band may knit, upwards: those of its stitches, and the main one."""
    technique, options = request.technique, request.options
    if chart is None or len(chart.palette) <= 2:
        return (0, 1)
    knitted = replace(chart, cells=chart.cells[: -(-rows // options.row_repeat)])
    require_colours(knitted, technique.colours_max, technique.name)
    used = [int(number) for number in np.unique(knitted.cells)]
    exchanged = options.reversal or options.alternate_needles != "off" or options.break_floats
    if len(used) > 2 and exchanged:
        raise InputError(
            "reversal, alternate needles and broken floats need a chart of two colours",
            where=request.name,
            hint=f"this one has {len(used)}",
            mends=[Mend("reduce it", "colours", 2)],
        )
    if technique.separations and not exchanged:
        return tuple(sorted({0, *used}))  # the ends may be made to knit the main yarn
    return tuple(used) if len(used) > 1 else (0, used[0] or 1)


def _places(cells: Cells, numbers: Sequence[int]) -> Cells:
    """Colours by their numbers as places among those of the band."""
    if list(numbers) == list(range(len(numbers))):
        return cells
    places = np.zeros(COLOURS_MAX, dtype=np.uint8)
    places[list(numbers)] = np.arange(len(numbers), dtype=np.uint8)
    there: Cells = places[cells]
    return there


def _usable_drawing(request: BandRequest, profile: Profile) -> Chart | None:
    """The drawing that the band knits, None where it knits none. Raises InputError when they do not go together."""
    technique, options, drawing = request.technique, request.options, request.drawing
    if technique.double_bed and profile.beds < 2:
        raise InputError(
            f'{technique.name} needs a second bed, and "{profile.name}" has one bed',
            where=request.name,
            hint="choose a machine with two beds, or slip-colours",
        )
    if options.alternate_needles == "only":
        return None
    if drawing is None and technique.needs_chart:
        raise InputError(
            f"{technique.name} needs a chart", where=request.name, hint="name one, or use alternate-needles only"
        )
    return drawing


def _refuse_idle_options(request: BandRequest) -> None:
    """An option that the technique has no use for is a misunderstanding, not to be passed over in silence."""
    technique, options = request.technique, request.options
    two_yarns = technique.colour_work and technique.yarns == 2
    idle = (
        ("separation", options.separation is not None and not technique.separations, "is not separated by colour"),
        ("changer", options.changer is not None and not technique.separations, "is not separated by colour"),
        ("backing", options.backing != "full" and not technique.double_bed, "has no second bed to back it"),
        ("one-way", options.one_way != "rightward" and not technique.one_way, "works in both directions"),
        ("break-floats", options.break_floats and technique.double_bed, "has a second bed that ties each yarn in"),
        ("catch-floats", options.catch_floats and "float-across" not in technique.checks, "has no floats to catch"),
        (
            "edge-needles",
            options.edge_needles == "contrast" and not two_yarns,
            "knits no contrast yarn beside the main",
        ),
        ("shift", options.shift and options.once_at is not None, "with once-at places the chart on a needle"),
        ("centred", options.centred and options.once_at is not None, "with once-at places the chart on a needle"),
    )
    for name, is_idle, why in idle:
        if is_idle:
            raise InputError(f"{technique.name} {why}", where=request.name, hint=f"leave {name} out")


def separation_of(request: BandRequest, profile: Profile, colours: int) -> tuple[Separation, str | None]:
    """How the band's colours are spread over passes, and the side at which it must then start.

    Named none, a jacquard takes the first with which the second bed keeps one setting. Raises InputError.
    """
    technique, options = request.technique, request.options
    changer = options.changer or (profile.changer if profile.changer != "none" else "hand")
    halved = technique.double_bed and options.backing == "alternate"
    able = [
        item
        for item in (item.changed_at(changer) for item in technique.separations)
        if colours <= item.colours_max and not (halved and item.returns_empty(colours))
    ]
    wanted = [item for item in able if options.separation in (None, item.name)]
    if not wanted:
        named = any(item.name == options.separation for item in technique.separations)
        cannot = f"does not do {colours} colours" + (" on alternate needles of the second bed" if halved else "")
        raise InputError(
            f'the separation "{options.separation}" {cannot if named else "is not known"}',
            where=request.name,
            hint="accepted: " + ", ".join(item.name for item in able),
        )
    steady = [item for item in wanted if item.steady(colours)] if technique.double_bed else wanted
    separation = (steady or wanted)[0]
    starts = {"left": separation.start, "right": _other(separation.start), "hand": None}
    return separation, starts[changer]


def _steps(request: BandRequest, separation: Separation, present: Bools) -> Steps:
    """The passes of the band. On two beds every colour is knitted in every row, if only by the second bed."""
    double = request.technique.double_bed
    steps = separation.steps(np.ones_like(present) if double else present, request.options.row_repeat)
    return backed(steps, request.options.backing) if double else steps


def _yarns(request: BandRequest, numbers: Sequence[int]) -> tuple[Yarn, ...]:
    """The yarns that the band knits; plain names where the request gives fewer."""
    colour_work = request.technique.colour_work
    palette = request.drawing.palette if request.drawing is not None and colour_work else ()
    wanted = numbers if colour_work else range(max(request.technique.yarns, 1))
    return tuple(
        request.yarns[number] if number < len(request.yarns) else _plain_yarn(number, palette) for number in wanted
    )


def _plain_yarn(number: int, palette: Sequence[Colour]) -> Yarn:
    name = DEFAULT_YARNS[number] if number < len(DEFAULT_YARNS) else f"colour {number + 1}"
    colour = palette[number].hex if number < len(palette) else DEFAULT_COLOURS[number % len(DEFAULT_COLOURS)]
    return Yarn(name, colour)


def _packed(table: npt.NDArray[np.bool_]) -> npt.NDArray[np.uint8]:
    return np.packbits(table, axis=1, bitorder="little")


def _set_up_pass(yarns: tuple[Yarn, ...], span: Span) -> _Part:
    """The plain pass by which a next-pass machine pushes the needles for the first patterned one."""
    band = Band(SET_UP_PASS, STOCKING, Options(rows=1), 1, 1, yarns[:1])
    return _Part(
        band=band,
        table=np.zeros((1, span.width), dtype=np.bool_),
        of_pass=np.zeros(1, dtype=np.int32),
        chart_row=np.zeros(1, dtype=np.int32),
        knitted_row=np.ones(1, dtype=np.int32),
        colour=np.full(1, -1, dtype=np.int16),
        way_back=np.zeros(1, dtype=np.bool_),
        second_bed=np.zeros(1, dtype=np.uint8),
        start=None,
    )


def _in_order(parts: Sequence[_Part], start: str | None) -> tuple[tuple[Band, ...], npt.NDArray[np.bool_]]:
    """Number the passes through the bands and settle the directions."""
    firsts = np.cumsum([1] + [part.band.passes for part in parts])
    total = int(firsts[-1]) - 1
    need = next(
        (
            _other(part.start) if (first - 1) % 2 else part.start
            for part, first in zip(parts, firsts[:-1], strict=True)
            if part.start is not None
        ),
        None,
    )
    chosen = start or next((part.band.options.start for part in parts[:1]), None) or need or "right"
    rightward = np.zeros(total, dtype=np.bool_)
    rightward[0 if chosen == "left" else 1 :: 2] = True
    bands = []
    for part, first in zip(parts, firsts[:-1].tolist(), strict=True):
        here = "left" if rightward[first - 1] else "right"
        if part.start is not None and part.start != here:
            raise InputError(
                f"this separation starts with the carriage at the {part.start}, but it will stand at the {here}",
                where=part.band.name,
                hint="start at the other side, or knit one plain row more or less before it",
            )
        wanted = part.band.options.start
        if wanted is not None and wanted != here:
            raise InputError(
                f"the carriage will stand at the {here}, not at the {wanted}",
                where=part.band.name,
                hint="knit one plain row more or less before it",
            )
        bands.append(replace(part.band, first=first, last=first + part.band.passes - 1))
    return tuple(bands), rightward


def _other(side: str) -> str:
    return "left" if side == "right" else "right"


def _notes(bands: Sequence[Band], rightward: npt.NDArray[np.bool_]) -> dict[int, tuple[str, ...]]:
    """What the operator does before the first pass of each band."""
    notes = {}
    sized = any(stitch_size_of(band) is not None or is_fold(band) for band in bands)
    for band in bands:
        lines = [f"{band.name}: {band.technique.title}"]
        if band.technique.yarns:
            yarns = ", ".join(
                f"{yarn.name} as {feeder}" for yarn, feeder in zip(band.yarns, band.technique.feeders, strict=False)
            )
            lines.append(f"thread {yarns}")
        lines.append(_carriage_note(band, "rightward" if rightward[band.first - 1] else "leftward"))
        size = stitch_size_of(band)
        if size is not None:
            lines.append(f"set the stitch size to {size:g}")
        elif sized:
            suits = f"set the stitch size that suits {band.yarns[0].name}"
            lines.append("set a larger stitch size, for this row only" if is_fold(band) else suits)
        if band.tension:
            lines.append(f"set the yarn's tension: {band.tension}")
        notes[band.first] = tuple(lines)
    return notes


def _carriage_note(band: Band, direction: str) -> str:
    """How the carriage is set for a band. direction: of its first pass, which may be the plain way back."""
    cams, back = band.technique.cams, band.technique.back
    if band.way in ("both", direction):
        return f"set the carriage to {cams.setting}" + (f", {band.way} only" if band.way != "both" else "")
    if cams.action:  # it is set anew before each pass
        return f"set the carriage to {back.setting} for this {direction} pass; the pattern is worked {band.way} only"
    return f"set the carriage to {cams.setting}, {band.way} only; this {direction} pass knits {back.setting}"
