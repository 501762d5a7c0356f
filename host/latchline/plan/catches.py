"""Where floats are caught: the fewest stitches of each row that keep every float within a limit.

Each row is worked out for itself, exactly, from left to right (dynamic programming): the cheapest way to
each needle, for each colour that it may have and each length of the run that it stands in. Of equally
few stitches those are taken that leave the outlines of the drawing alone, and then those that do not
stand over the ones of the rows before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.runs import runs

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int32]

ROWS_AT_ONCE = 4096
OUTLINE = 8
STITCH = 1 << 12  # more than all the finer wishes of a row together: 255 needles of at most 11 each
DRAWN = 1 << 20  # more than 255 of those: no stitch of the drawing goes where a catch will do
NEVER = 1 << 29
# How little a needle is wished for, by its place modulo 4, in four rows running. Found by trying all: in any two,
# three or four needles side by side the best one changes from row to row, as often as there are needles.
WISHES = np.array([[0, 2, 1, 3], [2, 0, 3, 1], [1, 2, 0, 3], [2, 1, 3, 0]], dtype=np.int32)


@dataclass(frozen=True)
class Limited:
    """Which runs are floats: of unselected and of selected needles; at_ends: also those that end with the row."""

    unselected: bool
    selected: bool
    at_ends: bool


def catches(marks: Bools, most: int, limited: Limited, turn: Ints, fixed: Bools | None = None) -> Bools:
    """Which stitches to change so that no float passes by more than `most` needles, as few as can be in each row.

    marks: bool (rows, width), selected or not. Stitches outside the floats that are too long are changed
    only where there is no other way (floats of two side by side, none of which may pass by two).
    turn: int32 (rows), counts rows for the staggering. fixed: bool (width), needles that are left alone;
    where that leaves no way, a row is given back as it is.
    """
    changed = np.zeros_like(marks)
    too_long = np.zeros((marks.shape[0], marks.shape[1] + 1), dtype=np.int16)
    for value, is_limited in enumerate((limited.unselected, limited.selected)):
        if not is_limited:
            continue
        line, first, last = runs(marks == bool(value), most)
        inside = (first > 0) & (last < marks.shape[1] - 1) | limited.at_ends
        too_long[line[inside], first[inside]] += 1  # runs never touch those of their own kind, so no place is lost
        too_long[line[inside], last[inside] + 1] -= 1
    floating: Bools = too_long[:, :-1].cumsum(axis=1) > 0
    rows = np.flatnonzero(floating.any(axis=1))
    frozen = np.zeros(marks.shape[1], dtype=np.bool_) if fixed is None else fixed
    for start in range(0, len(rows), ROWS_AT_ONCE):
        here = rows[start : start + ROWS_AT_ONCE]
        costs = _costs(marks[here], floating[here], limited, turn[here], frozen)
        changed[here] = _fewest(marks[here], most, limited, costs)
    return changed


def _fewest(marks: Bools, most: int, limited: Limited, costs: Ints) -> Bools:
    """`catches` for rows that need some.

    States of each colour: 0 its first run, 1 to `most` an inner run of so many needles, most + 1 its last run.
    A first and a last run are no float. Where a colour's runs have no limit, state 1 stands for all lengths.
    """
    rows, width = marks.shape
    kinds, final = (limited.unselected, limited.selected), most + 1
    way = np.full((2, most + 2, rows), NEVER, dtype=np.int32)
    way[:, 1 if limited.at_ends else 0] = costs[:, 0]
    came = np.zeros((width, 2, rows), dtype=np.int16)  # the other colour's state before a change of colour
    went_on = np.zeros((width, 2, 2, rows), dtype=np.bool_)  # by colour: its last run, its unlimited run
    for at in range(1, width):
        before = way[:, :final].argmin(axis=1)
        change = np.take_along_axis(way, before[:, None], axis=1)[::-1, 0]  # to each colour, from the other
        came[at] = before[::-1]
        for value in (0, 1):
            mine, on = way[value], went_on[at, value]
            on[0], on[1] = mine[final] <= change[value], not kinds[value] and mine[1] <= change[value]
            if not limited.at_ends:
                mine[final] = np.minimum(mine[final], change[value])
            if kinds[value]:
                mine[2:final] = mine[1 : final - 1].copy()
                mine[1] = change[value]
            else:
                mine[1] = np.minimum(mine[1], change[value])
        way += costs[:, at, None]
        np.minimum(way, NEVER, out=way)
    value, state = np.divmod(way.reshape(-1, rows).argmin(axis=0), most + 2)
    possible = way.min(axis=(0, 1)) < NEVER
    wanted = np.zeros_like(marks)
    line = np.arange(rows)
    for at in range(width - 1, -1, -1):
        wanted[:, at] = value == 1
        on = np.where(state == final, went_on[at, value, 0, line], went_on[at, value, 1, line])
        new = ((state == final) | (state == 1)) & ~on
        back = (state > 1) & (state < final)
        state = np.where(new, came[at, value, line], state - back)
        value = np.where(new, 1 - value, value)
    changed: Bools = (wanted != marks) & possible[:, None]
    return changed


def _costs(marks: Bools, floating: Bools, limited: Limited, turn: Ints, fixed: Bools) -> Ints:
    """What it costs to have each needle unselected, and to have it selected: int32 (2, width, rows)."""
    width = marks.shape[1]
    beside = np.zeros_like(marks)  # a stitch of another colour stands beside: changing it moves an outline
    beside[:, 1:] |= marks[:, 1:] != marks[:, :-1]
    beside[:, :-1] |= marks[:, 1:] != marks[:, :-1]
    price = np.where(floating, STITCH, DRAWN) + OUTLINE * beside + WISHES[turn[:, None] % 4, np.arange(width) % 4]
    price[:, fixed] = NEVER
    costs = np.stack([np.where(marks, price, 0), np.where(marks, 0, price)])
    if not limited.selected:  # more unselected needles cannot help
        costs[0][marks] = NEVER
    if not limited.unselected:
        costs[1][~marks] = NEVER
    transposed: Ints = np.ascontiguousarray(costs.transpose(0, 2, 1), dtype=np.int32)
    return transposed
