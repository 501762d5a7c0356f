"""From chart cells to selections: alternate needles, reversal, edge needles, colours.

The formulas are those of `docs/explanation/selection.md`. All arrays are over needles of the
span, 0 at the operator's left; row numbers are knitted rows of the band, from 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.plan.options import Options
from latchline.runs import within_runs
from latchline.technique.model import ANY_CONTRAST, NO_STITCH, Steps, Technique

Cells = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Selections:
    """Distinct selections and which of them each pass has.

    table: bool (distinct, width). of_pass: int32 (passes). chart_row: int32 (passes), from 0.
    edge: bool (distinct), what an end needle is made to be; None where it is left as charted.
    """

    table: Bools
    of_pass: npt.NDArray[np.int32]
    chart_row: npt.NDArray[np.int32]
    edge: Bools | None = None


def select(
    cells: Cells, steps: Steps, options: Options, technique: Technique, edge: bool | None, *, moving: bool = False
) -> Selections:
    """The selections of a band.

    cells: uint8 (H, width), row 0 the first one knitted, already mirrored onto needles.
    edge: what the end needles are made to be, selected or not, before colours are separated; None
        leaves them as the chart has them. moving: don't apply it yet, as the edges move.

    Row k takes chart row ⌊k / n⌋ mod H and the ground's phase ⌊k / n⌋ mod 2, n the row repeat. A
    selection depends on no more than those two, the reversal and the colour, so each
    distinct combination is worked out once and passes only point at it.
    """
    height = cells.shape[0]
    repeat = steps.row // options.row_repeat
    chart_row = repeat % height
    phase = repeat % 2
    colours = int(steps.colour.max(initial=0)) + 3
    key = ((chart_row * 2 + phase) * 2 + _reversed(steps.row, options.reversal)) * colours + (steps.colour + 2)
    distinct, of_pass = _distinct(key, height * 4 * colours)
    rest, colour = np.divmod(distinct, colours)
    rest, is_reversed = np.divmod(rest, 2)
    chosen = _chosen(cells, rest // 2, rest % 2, is_reversed.astype(np.bool_), options, technique)
    at_edge = None
    if edge is not None and moving:
        at_edge = _selected(np.full((len(chosen), 1), int(edge), dtype=np.uint8), colour - 2)[:, 0]
    elif edge is not None and chosen.shape[1]:
        chosen[:, [0, -1]] = int(edge)
    return Selections(_selected(chosen, colour - 2), of_pass, chart_row, at_edge)


def ground(rows: int, width: int) -> Bools:
    """Every other needle, shifted each row: (x + row) mod 2, bool (rows, width)."""
    return ((np.arange(width) + np.arange(rows)[:, None]) % 2).astype(np.bool_)


def _reversed(row: npt.NDArray[np.int32], reversal: int) -> npt.NDArray[np.int32]:
    if reversal <= 0:
        return np.full(len(row), -reversal, dtype=np.int32)
    return row // reversal % 2


def _distinct(key: npt.NDArray[np.int32], keys: int) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """Like numpy.unique with its inverse, without sorting: keys are small whole numbers."""
    used = np.zeros(keys, dtype=np.bool_)
    used[key] = True
    distinct = np.flatnonzero(used).astype(np.int32)
    place = np.empty(keys, dtype=np.int32)
    place[distinct] = np.arange(len(distinct), dtype=np.int32)
    return distinct, place[key]


def _chosen(
    cells: Cells,
    chart_row: npt.NDArray[np.int32],
    phase: npt.NDArray[np.int32],
    is_reversed: Bools,
    options: Options,
    technique: Technique,
) -> Cells:
    """The chart's rows as the options change them: 0 unselected, else the palette index."""
    chosen = cells[chart_row]
    if options.mirror_rows:
        chosen = np.where(phase[:, None] == 1, chosen[:, ::-1], chosen)
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
    if options.break_floats:
        mark = ground(2, cells.shape[1])[phase]
        unselected = within_runs(chosen == 0, options.break_floats)
        if technique.yarns == 1:
            chosen[mark & unselected] = 1
        else:  # the other yarn floats behind the selected needles
            selected = within_runs(chosen != 0, options.break_floats)
            chosen[_inside(unselected, mark)] = 1
            chosen[_inside(selected, mark)] = 0
    return chosen


def _inside(runs: Bools, mark: Bools) -> Bools:
    """Where the ground breaks runs without touching their ends, which would lengthen the run beside them.

    A run of three has one needle inside, which breaks it whether the ground marks it or not.
    """
    inside = np.zeros((len(runs), runs.shape[1] + 2), dtype=np.bool_)
    inside[:, 2:-2] = runs[:, :-2] & runs[:, 1:-1] & runs[:, 2:]
    alone = ~(inside[:, :-2] | inside[:, 2:])
    broken: Bools = inside[:, 1:-1] & (mark | alone)
    return broken


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
