"""From chart cells to selections: alternate needles, reversal, edge needles, colours.

The formulas are those of `docs/explanation/selection.md`. All arrays are over needles of the
span, 0 at the operator's left; row numbers are knitted rows of the band, from 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.plan.catches import Limited, catches
from latchline.plan.options import Options
from latchline.technique.model import ANY_CONTRAST, NO_STITCH, Does, Steps, Technique

Cells = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Rows:
    """What each knitted row of a band shows, after all options.

    table: uint8 (distinct, width), the colour of each stitch as a place among the band's colours, 0
    the unselected one. of_row: int32 (rows), each row's place in the table. chart_row: int32 (rows),
    from 0.
    """

    table: Cells
    of_row: Ints
    chart_row: Ints

    def present(self, colours: int) -> Bools:
        """Which of so many colours each knitted row has: bool (rows, colours)."""
        has = np.stack([(self.table == colour).any(axis=1) for colour in range(colours)], axis=1)
        present: Bools = has[self.of_row]
        return present


@dataclass(frozen=True, eq=False)
class Selections:
    """Distinct selections and which of them each pass has.

    table: bool (distinct, width). of_pass: int32 (passes). chart_row: int32 (passes), from 0.
    edge: bool (distinct), what an end needle is made to be; None where it is left as charted.
    """

    table: Bools
    of_pass: Ints
    chart_row: Ints
    edge: Bools | None = None


def rows_of(
    cells: Cells,
    rows: int,
    options: Options,
    technique: Technique,
    edge: bool | None,
    motif: tuple[int, int] | None = None,
) -> Rows:
    """What so many knitted rows show.

    cells: uint8 (H, width), places among the band's colours, row 0 the first one knitted, already
    mirrored onto needles. edge: what the end needles are made to be, selected or not; None leaves them
    as the chart has them. motif: for a chart that is placed once, its first column and the one past its
    last; outside it needles knit, in colour work the main yarn.

    Row k takes chart row ⌊k / n⌋ mod H and the ground's phase, n the row repeat. It depends on no more
    than those two and the reversal, so each distinct combination is worked out once.
    """
    row = np.arange(rows, dtype=np.int32)
    chart_row = row // options.row_repeat % len(cells)
    phases = 4 if options.break_floats else 2  # catches are staggered over four rows
    phase = ground_row(row, options.row_repeat, one_way=technique.one_way) % phases
    key = (chart_row * phases + phase) * 2 + _reversed(row, options.reversal)
    distinct, of_row = _distinct(key, len(cells) * phases * 2)
    rest, is_reversed = np.divmod(distinct, 2)
    turn = rest % phases
    chosen = _chosen(cells, rest // phases, turn % 2, is_reversed.astype(np.bool_), options, motif)
    fixed = np.zeros(chosen.shape[1], dtype=np.bool_)
    if motif is not None:
        outside = int(bool(technique.edge_selected))
        fixed[: motif[0]] = fixed[motif[1] :] = True
        chosen[:, fixed] = outside
    if edge is not None and chosen.shape[1]:
        chosen[:, [0, -1]] = int(edge)
        fixed[[0, -1]] = True
    elif options.edge_needles == "knit" and technique.edge_selected is None:  # they knit either way: as drawn
        fixed[[0, -1]] = True
    if options.break_floats:
        marks = chosen != 0
        chosen = (marks ^ catches(marks, options.break_floats, floating_runs(technique), turn, fixed)).view(np.uint8)
    return Rows(chosen, of_row, chart_row)


def select(rows: Rows, steps: Steps, edge: bool | None = None) -> Selections:
    """The selections of a band's passes. edge: what an end needle is made to be where the ends move."""
    colours = int(steps.colour.max(initial=0)) + 3
    key = rows.of_row[steps.row] * colours + (steps.colour + 2)
    distinct, of_pass = _distinct(key, len(rows.table) * colours)
    row, colour = np.divmod(distinct, colours)
    at_edge = None
    if edge is not None:
        at_edge = _selected(np.full((len(row), 1), int(edge), dtype=np.uint8), colour - 2)[:, 0]
    return Selections(_selected(rows.table[row], colour - 2), of_pass, rows.chart_row[steps.row], at_edge)


def floating_runs(technique: Technique) -> Limited:
    """Which runs of a row's selection leave a yarn lying loose; where two yarns share the row, both kinds do."""
    if technique.yarns != 1:
        return Limited(True, True, at_ends=technique.yarns == 2 and not technique.colour_work)
    held = technique.cams.selected == Does.HELD
    return Limited(not held, held, at_ends=technique.cams.unselected == Does.TUCK)


def ground(rows: int, width: int) -> Bools:
    """Every other needle, shifted each row: (x + row) mod 2, bool (rows, width)."""
    return ((np.arange(width) + np.arange(rows)[:, None]) % 2).astype(np.bool_)


def ground_row(row: Ints, repeat: int, *, one_way: bool) -> Ints:
    """Which row of the ground each knitted row has: ⌊k / n⌋.

    In a one-way technique the ground shows in every second pass only, so it advances with those:
    ⌊⌊k / 2⌋ / ⌈n / 2⌉⌋. Else it would tuck, or miss, on the same needles for ever.
    """
    return row // 2 // ((repeat + 1) // 2) if one_way else row // repeat


def _reversed(row: Ints, reversal: int) -> Ints:
    if reversal <= 0:
        return np.full(len(row), -reversal, dtype=np.int32)
    return row // reversal % 2


def _distinct(key: Ints, keys: int) -> tuple[Ints, Ints]:
    """Like numpy.unique with its inverse, without sorting: keys are small whole numbers."""
    used = np.zeros(keys, dtype=np.bool_)
    used[key] = True
    distinct = np.flatnonzero(used).astype(np.int32)
    place = np.empty(keys, dtype=np.int32)
    place[distinct] = np.arange(len(distinct), dtype=np.int32)
    return distinct, place[key]


def _chosen(
    cells: Cells,
    chart_row: Ints,
    phase: Ints,
    is_reversed: Bools,
    options: Options,
    motif: tuple[int, int] | None,
) -> Cells:
    """The chart's rows as the options change them: 0 unselected, else the colour."""
    chosen = cells[chart_row]
    if options.mirror_rows:
        first, past = motif or (0, cells.shape[1])
        chosen[:, first:past] = np.where(phase[:, None] == 1, chosen[:, first:past][:, ::-1], chosen[:, first:past])
    if options.alternate_needles != "off" or is_reversed.any():
        mark = ground(2, cells.shape[1])[phase]
        selected = chosen != 0
        match options.alternate_needles:
            case "only":
                selected = mark
            case "background":
                selected = selected | mark
            case "within":
                selected = selected & mark
        selected = selected ^ is_reversed[:, None]
        # With more than two colours a stitch that stays selected keeps its own.
        chosen = np.where(selected, np.maximum(chosen, 1), 0).astype(np.uint8)
    return chosen


def _selected(chosen: Cells, colour: npt.NDArray[np.int32]) -> Bools:
    """Which stitches of each row are of the row's colour."""
    any_contrast = colour == ANY_CONTRAST
    if any_contrast.all():
        marked: Bools = chosen != 0
        return marked
    result: Bools = chosen == colour[:, None].astype(np.int16)
    result[any_contrast] = chosen[any_contrast] != 0
    result[colour == NO_STITCH] = False
    return result
