"""The working chart: one line a pass, from the bottom up, to hang at the machine and knit from.

Columns are needles as the operator sees them, left to right. Everything that matters is told by
shape or words, so that a black and white print loses nothing.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Container, Iterator, Mapping, Sequence
from itertools import product

from latchline.counted import counted
from latchline.drawing.scene import Scene
from latchline.fabric.loops import NO_YARN, PassYarns, pass_yarns
from latchline.machine.needles import Span
from latchline.plan.hand import Position, kind_of
from latchline.plan.model import Plan
from latchline.shaping.gauge import Gauge
from latchline.technique.model import SecondBed
from latchline.working_chart.lines import Line, checked_lines, end_side, repeat_columns, repeat_passes, runs, turns
from latchline.working_chart.marks import (
    INK,
    MARKS,
    SELECTED_WORDS,
    UNSELECTED,
    UNSELECTED_WORDS,
    Mark,
    cams_of,
    change_sign,
    knitting_is_blank,
    mark_number,
    mark_of_pass,
    second_dots,
    sign_of,
    square,
    turn_mark,
)

PAPER_MM = (210.0, 297.0)  # A4 (ISO 216)
MARGIN = 10.0
LEFT, RIGHT = 27.0, 47.0  # room beside the grid for numbers, and for yarns and remarks
HEAD, FOOT = 24.0, 40.0
FOOT_LEGEND = 2  # lines about what is done by hand for which the foot has room
LETTER = 1.6  # a generous letter of the 3 mm lines
CELL_LEAST, CELL_MOST = 3.0, 5.2  # width of a stitch on paper
COMPACT_FROM, COMPACT_LEAST, COMPACT_MOST = 61, 2.2, 3.0  # with so many lines they are set closer
PAGES_PASSES_MAX = 4000  # on pages; some hundreds of them
SCENE_PASSES_MAX = 1000  # in one drawing

LETTER_AT, MARK_AT, MARK_REACH = 0.27, 0.76, 0.19  # of a cell: where a hand's letter stands, and the mark beside it

GREY, RESTING = "#767676", "#d4d4d4"


def chart_pages(plan: Plan, gauge: Gauge, first: int = 1, last: int | None = None) -> Iterator[Scene]:
    """The chart on A4 pages, the first passes on the first page; wide spans go over several pages.

    Raises InputError for more than 4000 passes.
    """
    lines = checked_lines(plan, first, last, PAGES_PASSES_MAX)
    least, widest = (COMPACT_LEAST, COMPACT_MOST) if len(lines) >= COMPACT_FROM else (CELL_LEAST, CELL_MOST)
    upright = plan.span.width * least <= PAPER_MM[0] - 2 * MARGIN - LEFT - RIGHT
    width, height = PAPER_MM if upright else PAPER_MM[::-1]
    room = width - 2 * MARGIN - LEFT - RIGHT
    across = math.ceil(plan.span.width * least / room)
    columns = math.ceil(plan.span.width / across)
    cell = min(widest, room / columns)
    row = max(least, cell / gauge.row_per_stitch)
    foot = _foot(plan, lines, width)
    most = max(1, int((height - 2 * MARGIN - HEAD - foot) / row))
    most = most // 10 * 10 if most >= 20 else most
    parts = [lines[at : at + most] for at in range(0, len(lines), most)]
    pieces = [Span(at, min(at + columns, plan.span.width) - 1) for at in range(0, plan.span.width, columns)]
    carried = pass_yarns(plan)
    for number, (part, piece) in enumerate(product(parts, pieces), 1):
        sheet = _Sheet(plan, carried, part, piece, cell, row)
        yield sheet.page(width, height, f"page {number} of {len(parts) * len(pieces)}")


def chart_scene(plan: Plan, gauge: Gauge, first: int = 1, last: int | None = None) -> Scene:
    """The chart as one drawing, for the screen. Raises InputError for more than 1000 passes."""
    lines = checked_lines(plan, first, last, SCENE_PASSES_MAX, "write a .pdf")
    row = max(CELL_LEAST, CELL_MOST / gauge.row_per_stitch)
    sheet = _Sheet(plan, pass_yarns(plan), lines, Span(0, plan.span.width - 1), CELL_MOST, row)
    width = max(175.0, sheet.grid_width + LEFT + RIGHT + 2 * MARGIN)
    return sheet.page(width, sheet.grid_height + HEAD + _foot(plan, lines, width) + 2 * MARGIN, "")


class _Sheet:
    """One page: some lines over some needles. Needles are counted from the span's left here."""

    def __init__(
        self, plan: Plan, carried: PassYarns, lines: Sequence[Line], columns: Span, cell: float, row: float
    ) -> None:
        self.plan, self.lines, self.columns = plan, lines, columns
        self.cell, self.row = cell, row
        self.carried = carried
        self.grid_width = columns.width * cell
        self.grid_height = len(lines) * row
        self.left = MARGIN + LEFT
        self.top = MARGIN + HEAD

    def page(self, width: float, height: float, label: str) -> Scene:
        scene = Scene(width, height, f"working chart: {self.plan.name}")
        self._header(scene, label)
        self._grid(scene)
        self._needles(scene)
        for place, line in enumerate(self.lines):
            self._line(scene, place, line)
        self._centre(scene)
        self._repeats(scene)
        _legend(scene, self, self.top + self.grid_height + 11)
        return scene

    def x(self, column: float) -> float:
        return self.left + (column - self.columns.first) * self.cell

    def y(self, place: float) -> float:
        """The lower edge of a line; the first knitted stands lowest."""
        return self.top + self.grid_height - place * self.row

    def _header(self, scene: Scene, label: str) -> None:
        plan, y = self.plan, MARGIN + 6
        scene.words(MARGIN, y, _cut(plan.name, 0.5 * (scene.width_mm - 2 * MARGIN - 30)), 6.0, bold=True)
        scene.words(scene.width_mm - MARGIN, y, label, 3.4, anchor="end")
        bands = dict.fromkeys(plan.band_of(line.first).name for line in self.lines)
        here = Span(plan.span.first + self.columns.first, plan.span.first + self.columns.last)
        needles = plan.profile.span_name(here)
        if here != plan.span:
            needles += f" of {plan.profile.span_name(plan.span)}"
        room = scene.width_mm - 2 * MARGIN
        scene.words(MARGIN, y + 4.6, _cut(plan.profile.title, room), 3.0)
        passes = f"passes {self.lines[0].first} to {self.lines[-1].last} of {plan.passes}"
        scene.words(MARGIN, y + 8.6, f"needles {needles} · {passes} · the purl side faces you", 3.0)
        scene.words(MARGIN, y + 12.6, _cut("; ".join(bands), room), 3.0, fill=GREY)

    def _grid(self, scene: Scene) -> None:
        right, bottom = self.left + self.grid_width, self.top + self.grid_height
        plain = [place for place, line in enumerate(self.lines) if not line.folded]
        for column in range(self.columns.first, self.columns.last + 2):
            number = self.plan.span.first + column - self.plan.profile.centre
            heavy = 0.35 if number % 10 == 0 else 0.12
            stroke = INK if number % 5 == 0 else GREY
            for low, high in runs(plain):
                scene.line(self.x(column), self.y(low), self.x(column), self.y(high + 1), heavy, stroke)
        for place in range(len(self.lines) + 1):
            tenth = place < len(self.lines) and self.lines[place].first % 10 == 1
            scene.line(self.left, self.y(place), right, self.y(place), 0.35 if tenth else 0.12, INK if tenth else GREY)
        scene.box(self.left, self.top, self.grid_width, bottom - self.top, line_mm=0.5)

    def _centre(self, scene: Scene) -> None:
        """The heavy line between L1 and R1, unbroken by words: drawn over everything."""
        column = self.plan.profile.centre - self.plan.span.first
        if self.columns.first <= column <= self.columns.last + 1:
            scene.line(self.x(column), self.y(0), self.x(column), self.top, 0.7, INK)

    def _needles(self, scene: Scene) -> None:
        """Needle names under and over the grid, every fifth, and both at the centre."""
        profile = self.plan.profile
        size = min(2.8, self.cell * 0.85)
        named: dict[int, str] = {}
        ends = (self.columns.first, self.columns.last)
        for rank in range(4):  # where two names would touch, the end, then the centre, then the round one stays
            for column in range(self.columns.first, self.columns.last + 1):
                name = profile.needle_name(self.plan.span.first + column)
                number = int(name[1:])
                wanted = (column in ends, number == 1, number % 10 == 0, number % 5 == 0)[rank]
                letter = 0.3 * size / self.cell  # half a letter's width, in columns
                if wanted and all(
                    abs(column - other) > letter * (len(name) + len(there)) + 0.2 for other, there in named.items()
                ):
                    named[column] = name
        for column, name in named.items():
            middle, bold = self.x(column) + self.cell / 2, int(name[1:]) % 10 == 0
            scene.words(middle, self.top - 1.5, name, size, anchor="middle", bold=bold)
            scene.words(middle, self.top + self.grid_height + 3.4, name, size, anchor="middle", bold=bold)

    def _line(self, scene: Scene, place: int, line: Line) -> None:
        middle = self.y(place) - self.row / 2
        base = middle + 1.0
        plan, right = self.plan, self.left + self.grid_width
        rightward = bool(plan.rightward[line.first - 1])
        arrow, number = (self.left - 3.2, self.left - 6.0) if rightward else (right + 3.2, right + 6.0)
        scene.arrow(arrow, middle, min(3.0, self.row * 0.8), rightward=rightward)
        text = f"{line.first}-{line.last}" if line.folded else str(line.first)
        bold = line.first % 10 == 0 or line.folded
        scene.words(number, base, text, min(2.9, self.row * 1.15), anchor="end" if rightward else "start", bold=bold)
        chart_row = int(plan.chart_row[line.first - 1])
        if chart_row and not line.folded:
            scene.words(MARGIN + 7, base, str(chart_row), 2.5, anchor="end", fill=GREY)
        if plan.band_of(line.first).technique.double_bed:
            second_dots(scene, MARGIN + 9, middle, int(plan.second_bed[line.first - 1]))
        self._yarn(scene, line, right + 20, middle)
        self._folded_or_cells(scene, place, line)
        for column in turns(plan, line).values():
            if self.columns.first <= column <= self.columns.last:
                turn_mark(scene, self.x(column) + self.cell / 2, middle, 0.3 * min(self.cell, self.row))

    def _folded_or_cells(self, scene: Scene, place: int, line: Line) -> None:
        plan, middle = self.plan, self.y(place) - self.row / 2
        if line.folded:
            band = plan.band_of(line.first)
            words = f"{line.last - line.first + 1} passes of {band.technique.title}, ends at the {end_side(plan, line)}"
            scene.words(self.left + 2, middle + 0.3 * min(2.9, self.row * 0.8), words, min(2.9, self.row * 0.8))
            return
        self._cells(scene, place, line.first)

    def _cells(self, scene: Scene, place: int, number: int) -> None:
        cams = cams_of(self.plan, number)
        letters = self._letters(number)
        bare = self._resting(scene, place, number, letters)
        if cams[0] != cams[1]:
            self._marks(scene, place, number, letters)
            bare = set()
        elif not letters:
            size, middle = min(2.6, self.row * 0.75), self.y(place) - self.row / 2
            words, wide = ("needles in work knit", 10.5) if self.plan.shaped else ("all needles knit", 8.4)
            scene.box(self.left + 0.4, middle - 0.44 * self.row, wide * size, 0.88 * self.row, "#ffffff", None)
            scene.words(self.left + 1, middle + 0.33 * size, words, size, fill=GREY)
        self._write(scene, place, letters, bare)

    def _marks(self, scene: Scene, place: int, number: int, letters: Mapping[int, str]) -> None:
        """What selected and unselected needles do; where hands do something, too, smaller and to the right of it."""
        cams = cams_of(self.plan, number)
        mark = None if knitting_is_blank(self.plan, number) else mark_of_pass(self.plan, self.carried, number)
        no_mark = None if self.plan.band_of(number).technique.separations else UNSELECTED.get(cams[1])
        middle = self.y(place) - self.row / 2
        selected = self.plan.acting_masks(number, number)[0, self.columns.first : self.columns.last + 1]
        working = self.plan.positions_of(number, number)[0] == Position.WORK
        for column, is_selected in enumerate(selected.tolist(), self.columns.first):
            if not working[column]:
                continue
            draw = mark if is_selected else no_mark
            if draw is not None:
                at, most = (MARK_AT, MARK_REACH) if column in letters else (0.5, 0.34)
                reach = min(most * self.cell, 0.34 * self.row)
                draw(scene, self.x(column) + at * self.cell, middle, reach)

    def _resting(self, scene: Scene, place: int, number: int, letters: Mapping[int, str]) -> set[int]:
        """Needles that are out of work or held: grey, a held one with a bar. Returns the columns in work."""
        if not self.plan.shaped:
            return set(letters)
        positions = self.plan.positions_of(number, number)[0]
        for column in range(self.columns.first, self.columns.last + 1):
            if positions[column] == Position.WORK:
                continue
            x, y = self.x(column), self.y(place) - self.row
            scene.box(x + 0.1, y + 0.1, self.cell - 0.2, self.row - 0.2, RESTING, None)
            if positions[column] == Position.HELD:
                middle = y + self.row / 2
                low, high = (MARK_AT - MARK_REACH, MARK_AT + MARK_REACH) if column in letters else (0.2, 0.8)
                scene.line(x + low * self.cell, middle, x + high * self.cell, middle, 0.5)
        return {column for column in letters if positions[column] == Position.WORK}

    def _letters(self, number: int) -> dict[int, str]:
        """What is done by hand before the pass, its letters on each needle."""
        letters: dict[int, str] = {}
        for step in self.plan.hand_before(number):
            for column in range(max(step.first, self.columns.first), min(step.last, self.columns.last) + 1):
                there = letters.get(column, "")
                letters[column] = there if sign_of(step) in there else there + sign_of(step)
        return letters

    def _write(self, scene: Scene, place: int, letters: Mapping[int, str], bare: Container[int]) -> None:
        """Letters, one below the other at the left of their needle's mark. bare: columns that bear none."""
        for column, there in letters.items():
            size = min(2.6, 0.8 * self.cell, 0.95 * self.row / len(there))
            x = self.x(column) + (0.5 if column in bare else LETTER_AT) * self.cell
            scene.box(
                x - 0.24 * self.cell, self.y(place) - 0.95 * self.row, 0.48 * self.cell, 0.9 * self.row, "#ffffff", None
            )
            for number, letter in enumerate(there):
                middle = self.y(place) - self.row * (1 - (number + 0.5) / len(there))
                scene.words(x, middle + 0.36 * size, letter, size, anchor="middle", bold=True)

    def _yarn(self, scene: Scene, line: Line, x: float, middle: float) -> None:
        """The yarns of a pass where they change or a page starts, with a sign at the change."""
        now = self._yarns(line.first)
        before = self._yarns(line.first - 1) if line.first > 1 else ()
        if now == before and line is not self.lines[0] and not line.folded:
            return
        if now != before and now:
            change_sign(scene, x - 2.6, middle)
        at = x
        for place in now:
            yarn = self.carried.yarns[place]
            mark = self._yarn_mark(line.first, place)
            scene.box(at, middle - 1.3, 2.6, 2.6, yarn.colour, INK, 0.2)
            if mark is not None:
                mark(scene, at + 4.6, middle, 1.1)
                at += 3.2
            name = yarn.name if len(now) == 1 else yarn.name[:9]
            scene.words(at + 3.6, middle + 1.0, name[:18], 2.8, bold=now != before)
            at += 6 + 1.5 * min(len(name), 18)

    def _yarn_mark(self, number: int, yarn: int) -> Mark | None:
        """The mark of the stitches that a yarn knits in a pass, where selection tells yarns apart."""
        technique = self.plan.band_of(number).technique
        if technique.separations:
            return MARKS[mark_number(self.plan, self.carried, number, yarn)]
        return square if technique.yarns == 2 and yarn == int(self.carried.second[number - 1]) else None

    def _yarns(self, number: int) -> tuple[int, ...]:
        both = (int(self.carried.first[number - 1]), int(self.carried.second[number - 1]))
        return tuple(place for place in both if place != NO_YARN)

    def _repeats(self, scene: Scene) -> None:
        """Dashed lines where the drawing meets itself, across and along."""
        places = {line.first: place for place, line in enumerate(self.lines)}
        for band in self.plan.bands:
            here = [places[number] for number in range(band.first, band.last + 1) if number in places]
            if band.chart is None or band.drawing is None or not here:
                continue
            low, high = min(here), max(here) + 1
            for column in repeat_columns(self.plan, band):
                if self.columns.first <= column <= self.columns.last + 1:
                    scene.line(self.x(column), self.y(low) + 1.2, self.x(column), self.y(high) - 1.2, 0.8, INK, (2, 1))
            for number in repeat_passes(self.plan, band):
                if number in places:
                    y = self.y(places[number])
                    scene.line(self.left - 1.2, y, self.left + self.grid_width + 1.2, y, 0.8, INK, (2, 1))


def _cut(text: str, room_mm: float) -> str:
    """A line of 3 mm letters, shortened where it would leave the page."""
    most = int(room_mm / LETTER)
    return text if len(text) <= most else text[: most - 1] + "…"


def _foot(plan: Plan, lines: Sequence[Line], width_mm: float) -> float:
    """The room below the grid: more of it where much is done by hand."""
    return FOOT + 5 * max(0, len(_hand_legend(plan, lines, width_mm)) - FOOT_LEGEND)


def _hand_legend(plan: Plan, lines: Sequence[Line], width_mm: float) -> list[str]:
    """What the letters, the grey and the triangles of some lines mean, and what is done after the last pass."""
    told = []
    kinds = dict.fromkeys(kind_of(step) for line in lines for step in plan.hand_before(line.first))
    if kinds:
        signs: dict[str, list[str]] = {}
        for kind in kinds:
            signs.setdefault("< >" if kind.name == "move" else kind.sign, []).append(kind.title)
        words = "; ".join(f"{sign} {' or '.join(titles)}" for sign, titles in signs.items())
        told.append(f"by hand before the pass, at the left of the needle's own mark: {words}")
    if plan.shaped:
        told.append("grey: out of work; grey with a bar: held")
    if plan.narrow:
        clear = counted(plan.profile.turn_clearance_needles, "needle")
        told.append(
            f"triangle on its point: the carriage may turn there, {clear} past the last one that knits; "
            f"in a line without one: {clear} past the piece"
        )
    if lines[-1].last == plan.passes:
        told += [f"after the last pass: {words}" for words in plan.hand_words(plan.passes + 1)]
    room = int((width_mm - 2 * MARGIN) / LETTER)
    return [part for words in told for part in textwrap.wrap(words, room)]


def _legend(scene: Scene, sheet: _Sheet, y: float) -> None:
    """What the marks on this page mean."""
    entries: list[tuple[Mark | None, str]] = []
    for line in sheet.lines:
        if line.folded:
            continue
        selected, unselected = cams_of(sheet.plan, line.first)
        if selected == unselected:
            continue
        if sheet.plan.band_of(line.first).technique.separations:
            first = int(sheet.carried.first[line.first - 1])
            if first != NO_YARN:
                mark = mark_of_pass(sheet.plan, sheet.carried, line.first)
                entries.append((mark, f"selected: knits {sheet.carried.yarns[first].name}"))
            entries.append((None, "empty: keeps its loop"))
            continue
        blank = knitting_is_blank(sheet.plan, line.first)
        entries.append((None, "empty: knits") if blank else (square, SELECTED_WORDS[selected]))
        entries.append((UNSELECTED.get(unselected), UNSELECTED_WORDS[unselected]))
    x = MARGIN
    for mark, words in dict.fromkeys(entries):
        if x + 12 + 1.5 * len(words) > scene.width_mm - MARGIN:
            x, y = MARGIN, y + 5
        scene.box(x, y - 3.2, 4.4, 4.0, None, GREY, 0.15)
        if mark is not None:
            mark(scene, x + 2.2, y - 1.2, 1.3)
        scene.words(x + 6, y, words, 3.0)
        x += 12 + 1.55 * len(words)
    for words in _hand_legend(sheet.plan, sheet.lines, scene.width_mm):
        y += 5
        scene.words(MARGIN, y, words, 3.0)
    if any(sheet.plan.band_of(line.first).technique.double_bed for line in sheet.lines):
        y += 5
        second_dots(scene, MARGIN, y - 1.2, SecondBed.EVEN)
        scene.words(MARGIN + 8, y, "needles of the second bed that knit, counted from the left of those in work", 3.0)
    y += 6
    scene.arrow(MARGIN + 2.2, y - 1.2, 3, rightward=True)
    scene.words(
        MARGIN + 6,
        y,
        "the way the carriage goes, and the pass; grey at the far left: the chart row. Read upwards.",
        3.0,
    )
    y += 5
    change_sign(scene, MARGIN + 2.2, y - 1.2)
    scene.words(MARGIN + 6, y, "change yarns before this pass", 3.0)
    scene.line(MARGIN + 62, y - 1.2, MARGIN + 72, y - 1.2, 0.8, INK, (2, 1))
    scene.words(MARGIN + 74, y, "the drawing meets itself; heavy line up: between L1 and R1", 3.0)
