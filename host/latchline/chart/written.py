"""Charts written as text, one character a stitch, and as CSV, one cell a stitch."""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from latchline.chart.bounds import ROWS_MAX, require_size
from latchline.chart.colours import (
    Codes,
    chart_from_codes,
    check_asked,
    code_of,
    no_such_background,
    parse_colour,
    reduce_codes,
    stock_colour,
)
from latchline.chart.model import COLOURS_MAX, Cells, Chart, Colour
from latchline.chart.pictures import WHITE
from latchline.counted import counted
from latchline.errors import ChartError

BACKGROUND_CHARACTERS = " .-_0"
LEGEND_HEADING = "legend:"
LEGEND_LINE_MAX = 120
SEPARATORS = ",;\t"

_LEGEND_LINE = re.compile(r"^(?P<mark>\S)\s*=\s*(?P<name>[^#]*?)\s*(?P<hex>#\S+)?\s*$")


@dataclass(frozen=True)
class _Lines:
    """The drawing of a text chart: its lines from the top, and the file's line number of the first."""

    lines: tuple[str, ...]
    first: int

    def spot(self, where: str, line: int, column: int) -> str:
        return f"{where}, line {self.first + line}, column {column + 1}"


def decode(data: bytes, where: str) -> str:
    """UTF-8, with or without a byte order mark. Raises ChartError naming the line that is not."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ChartError(
            "this is neither a picture that can be read nor text in UTF-8",
            where=f"{where}, line {line}",
            hint="save a picture as PNG, or text as UTF-8",
        ) from None


def read_text(text: str, where: str, *, colours: int | None, background: str | None) -> Chart:
    """Read a text chart; `docs/reference/charts.md` describes it. Raises ChartError."""
    check_asked(colours, where)
    drawing, legend = _split(text, where)
    _require_straight(drawing, where)
    marks = list(dict.fromkeys("".join(drawing.lines)))
    if legend is None:
        palette, index_of = _marks_without_legend(drawing, marks, where)
    else:
        palette, index_of = legend
        _require_known(drawing, marks, index_of, where)
    rows = [[index_of[mark] for mark in line] for line in reversed(drawing.lines)]
    chart = Chart(np.array(rows, np.uint8), palette, where)
    return _reduced(_with_background(chart, background), colours)


def _split(text: str, where: str) -> tuple[_Lines, tuple[tuple[Colour, ...], dict[str, int]] | None]:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    heading = next((n for n, line in enumerate(lines) if line.strip().lower() == LEGEND_HEADING), None)
    legend = None if heading is None else _legend(lines[heading + 1 :], heading + 2, where)
    drawn = lines[:heading]
    # a row of spaces is a row of background; only lines with nothing in them are not part of the drawing
    first = next((n for n, line in enumerate(drawn) if line), len(drawn))
    last = next((n for n in range(len(drawn), first, -1) if drawn[n - 1]), first)
    if first == last:
        raise ChartError("there is no drawing in this file", where=where, hint="write one character a stitch")
    return _Lines(tuple(drawn[first:last]), first + 1), legend


def _require_straight(drawing: _Lines, where: str) -> None:
    widest = max(len(line) for line in drawing.lines)
    require_size(widest, len(drawing.lines), where)
    for number, line in enumerate(drawing.lines):
        unseen = next((mark for mark in dict.fromkeys(line) if unicodedata.category(mark).startswith("C")), None)
        if unseen is not None:
            word = "a tab" if unseen == "\t" else f"character U+{ord(unseen):04X}"
            raise ChartError(
                f"{word} is no stitch",
                where=drawing.spot(where, number, line.index(unseen)),
                hint="write one visible character or a space for each stitch",
            )
        if len(line) < widest:
            raise ChartError(
                f"this line has {counted(len(line), 'stitch')} where the widest has {widest}",
                where=drawing.spot(where, number, len(line)),
                hint='fill it up; "." for background does not get lost at the end of a line as a space does',
            )


def _marks_without_legend(drawing: _Lines, marks: list[str], where: str) -> tuple[tuple[Colour, ...], dict[str, int]]:
    index_of = dict.fromkeys(BACKGROUND_CHARACTERS, 0)
    others = [mark for mark in marks if mark not in index_of]
    if all(mark in "123456789" for mark in others):
        index_of.update({mark: int(mark) for mark in others})
    elif len(others) < COLOURS_MAX:
        # drawn with letters only, the first of them is the background: no yarn is carried that knits nothing
        first = 0 if len(others) > 1 and len(others) == len(marks) else 1
        index_of.update({mark: index for index, mark in enumerate(others, first)})
    else:
        mark = others[COLOURS_MAX - 1]
        line = next(n for n, line in enumerate(drawing.lines) if mark in line)
        raise ChartError(
            f"the drawing has {len(others)} different characters besides background "
            f'and a chart takes {COLOURS_MAX - 1} at most; "{mark}" is one too many',
            where=drawing.spot(where, line, drawing.lines[line].index(mark)),
            hint="use fewer characters, or give several the same colour in a legend",
        )
    most = max(index_of[mark] for mark in [*others, "."])
    return tuple(stock_colour(index) for index in range(most + 1)), index_of


def _legend(lines: list[str], first: int, where: str) -> tuple[tuple[Colour, ...], dict[str, int]]:
    palette: list[Colour] = []
    index_of: dict[str, int] = {}
    for number, line in enumerate(lines, first):
        if not line.strip():
            continue
        spot = f"{where}, line {number}"
        mark, colour = _legend_line(line, len(palette), spot)
        if mark in index_of:
            raise ChartError(f'"{mark}" stands in the legend twice', where=spot, hint="take one of the two out")
        clash = next((known for known in palette if known.name == colour.name and known != colour), None)
        if colour.name and clash is not None:
            raise ChartError(
                f'"{colour.name}" is {clash.hex} further up and {colour.hex} here',
                where=spot,
                hint="give one name one colour",
            )
        if colour not in palette:
            palette.append(colour)
        if len(palette) > COLOURS_MAX:
            raise ChartError(
                f"the legend has more than {COLOURS_MAX} colours", where=spot, hint="let some share a colour"
            )
        index_of[mark] = palette.index(colour)
    if not palette:
        raise ChartError(
            "the legend is empty",
            where=where,
            hint='write lines such as "x = navy #1f3a5f" under it, or leave it out',
        )
    return tuple(palette), index_of


def _legend_line(line: str, index: int, spot: str) -> tuple[str, Colour]:
    hint = 'write it as "x = navy #1f3a5f", "x = navy" or "x = #1f3a5f"'
    if len(line) > LEGEND_LINE_MAX:
        raise ChartError(f"a line of a legend has {LEGEND_LINE_MAX} characters at most", where=spot, hint=hint)
    # a space as mark stands at the very start of its line; other marks may be indented
    match = _LEGEND_LINE.match(line if line.startswith(" =") else line.strip()) or re.match(
        r"^(?P<mark> ) *=\s*(?P<name>[^#]*?)\s*(?P<hex>#\S+)?\s*$", line
    )
    if match is None or not (match["name"] or match["hex"]):
        raise ChartError("this is no line of a legend", where=spot, hint=hint)
    name = match["name"]
    shown = parse_colour(match["hex"] or name)
    if shown is None and match["hex"]:
        raise ChartError(f'"{match["hex"]}" is no colour', where=spot, hint=hint)
    return match["mark"], replace(shown or stock_colour(min(index, COLOURS_MAX - 1)), name=name)


def _require_known(drawing: _Lines, marks: list[str], index_of: dict[str, int], where: str) -> None:
    unknown = next((mark for mark in marks if mark not in index_of), None)
    if unknown is None:
        return
    line = next(n for n, line in enumerate(drawing.lines) if unknown in line)
    raise ChartError(
        f'"{unknown}" does not stand in the legend',
        where=drawing.spot(where, line, drawing.lines[line].index(unknown)),
        hint=f'the legend has {" ".join(index_of)}; add "{unknown} = …" or mend the drawing',
    )


def _with_background(chart: Chart, background: str | None) -> Chart:
    """Bring the colour asked for to index 0; the others keep their order."""
    if background is None:
        return chart
    wanted = parse_colour(background)
    for index, colour in enumerate(chart.palette):
        named = colour.name and colour.name.casefold() == background.strip().casefold()
        if named or (wanted is not None and code_of(wanted) == code_of(colour)):
            order = [index, *(other for other in range(len(chart.palette)) if other != index)]
            cells: Cells = np.argsort(order).astype(np.uint8)[chart.cells]
            return Chart(cells, tuple(chart.palette[other] for other in order), chart.name)
    raise no_such_background(background, chart.palette, chart.name)


def _reduced(chart: Chart, colours: int | None) -> Chart:
    """At most `colours` colours; those that are left keep their numbers, and what stands for the background is 0."""
    if colours is None or chart.colours <= colours:
        return chart
    used, places, counts = np.unique(chart.cells, return_inverse=True, return_counts=True)
    codes = np.array([code_of(chart.palette[index]) for index in used], np.uint32)
    kept = reduce_codes(codes, counts, colours)
    stands_for = np.array([used[np.flatnonzero(codes == code)[0]] for code in kept])
    palette = list(chart.palette)
    if used[0] == 0 and stands_for[0] != 0:
        palette[0] = palette[stands_for[0]]
        stands_for[stands_for == stands_for[0]] = 0
    cells: Cells = stands_for[places.reshape(chart.cells.shape)].astype(np.uint8)
    return Chart(cells, tuple(palette), chart.name)


def separator(text: str) -> str:
    """The separator of a CSV file: the most frequent on its first line that has any, a comma failing that."""
    for line in text.splitlines():
        if line.strip():
            return max(SEPARATORS, key=line.count)
    return ","


def looks_like_csv(text: str) -> bool:
    """Whether every line has the same number, not 0, of separators, with something else between them."""
    lines = [line for line in text.splitlines() if line.strip()][:ROWS_MAX]
    if not lines:
        return False
    mark = separator(text)
    counts = [line.count(mark) for line in lines]
    return counts[0] > 0 and all(one == other for one, other in pairwise(counts)) and lines[0].strip(mark) != ""


def read_csv(text: str, where: str, *, colours: int | None, background: str | None) -> Chart:
    """Read a chart from CSV; `docs/reference/charts.md` describes it. Raises ChartError."""
    check_asked(colours, where)
    rows: list[list[str]] = []
    numbers: list[int] = []
    reader = csv.reader(text.splitlines(), delimiter=separator(text), skipinitialspace=True, strict=True)
    try:
        for row in reader:
            if "".join(row).strip() or len(row) > 1:
                rows.append([cell.strip() for cell in row])
                numbers.append(reader.line_num)
    except csv.Error as error:
        raise ChartError(
            f"this line is not CSV ({error})",
            where=f"{where}, line {reader.line_num}",
            hint="save it again as CSV",
        ) from None
    if not rows:
        raise ChartError("there is no drawing in this file", where=where, hint="write one cell a stitch")
    _require_same_length(rows, numbers, where)
    found = {cell for row in rows for cell in row}
    if all(cell == "" or cell.isdecimal() for cell in found):
        chart = _chart_from_numbers(rows, numbers, where)
        return _reduced(_with_background(chart, background), colours)
    codes, names = _codes(rows, numbers, where, background)
    return chart_from_codes(codes[::-1], where, colours=colours, background=background, names=names)


def _require_same_length(rows: list[list[str]], numbers: list[int], where: str) -> None:
    widest = max(len(row) for row in rows)
    require_size(widest, len(rows), where)
    for row, number in zip(rows, numbers, strict=True):
        if len(row) < widest:
            raise ChartError(
                f"this line has {counted(len(row), 'cell')} where the widest has {widest}",
                where=f"{where}, line {number}",
                hint="fill it up; an empty cell between separators is background",
            )


def _chart_from_numbers(rows: list[list[str]], numbers: list[int], where: str) -> Chart:
    values: list[list[int]] = []
    for row, number in zip(rows, numbers, strict=True):
        for column, cell in enumerate(row, 1):
            if len(cell) > 2 or int(cell or 0) >= COLOURS_MAX:
                raise ChartError(
                    f'"{cell[:12]}" is too high for the number of a colour',
                    where=f"{where}, line {number}, cell {column}",
                    hint=f"number them from 0, the background, to {COLOURS_MAX - 1}",
                )
        values.append([int(cell or 0) for cell in row])
    cells = np.array(values[::-1], np.uint8)
    return Chart(cells, tuple(stock_colour(index) for index in range(int(cells.max()) + 1)), where)


def _codes(
    rows: list[list[str]], numbers: list[int], where: str, background: str | None
) -> tuple[Codes, dict[int, str]]:
    """The colour of every cell, top row first, and the names that were used for them."""
    empty = parse_colour(background) if background is not None else None
    known: dict[str, int] = {"": WHITE if empty is None else code_of(empty)}
    names: dict[int, str] = {}
    for row, number in zip(rows, numbers, strict=True):
        for column, cell in enumerate(row, 1):
            if cell in known:
                continue
            colour = parse_colour(cell)
            if colour is None:
                raise ChartError(
                    f'"{cell[:24]}" is no colour',
                    where=f"{where}, line {number}, cell {column}",
                    hint=f"write #rrggbb or a CSS colour name, or numbers from 0 to {COLOURS_MAX - 1} throughout",
                )
            known[cell] = code_of(colour)
            names.setdefault(code_of(colour), colour.name)
    return np.array([[known[cell] for cell in row] for row in rows], np.uint32), names
