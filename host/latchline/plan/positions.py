"""Which needles are in work, held or out of work in each pass, from what is done by hand between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.counted import counted
from latchline.errors import InputError
from latchline.machine.needles import Span
from latchline.plan.hand import WORK, HandStep, Position, positions_after
from latchline.plan.shape import Armhole, CastOn, Due, Here, Neck, ToWidth, Work, in_order

Bools = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int32]
Places = npt.NDArray[np.int64]

Worked = tuple[str, Ints, tuple[Work, ...]]  # a band's name, its `row_starts`, and what it is asked to do

TABLE_KEYS_MOST = 1 << 25  # beyond so many possible pairs they are sorted instead of marked


@dataclass(frozen=True, eq=False)
class Positions:
    """Distinct rows of positions, uint8 (distinct, width), and which of them each pass has, int32 (passes)."""

    table: Bytes
    of_pass: Ints


@dataclass(frozen=True, eq=False)
class Laid:
    """Where the needles stand, what is done by hand, and which needles hold a loop before the first pass.

    settled: as `Plan` has it.
    """

    positions: Positions
    hand: tuple[HandStep, ...]
    cast_on: Bools
    settled: tuple[tuple[str, int], ...] = ()


def lay_out(
    span: Span,
    begun: Span | None,
    bands: Sequence[Worked],
    rightward: Bools,
    called: Callable[[Span], str],
) -> Laid:
    """Follow the needles through all bands. What is asked of a band falls on its rows, never amid the colours of one.

    called: what a span of needles is called. Raises InputError
    naming the band, the row of it and the needles.
    """
    rows: dict[bytes, int] = {}
    hand: list[HandStep] = []
    of_pass = np.zeros(len(rightward), dtype=np.int32)
    now = np.zeros(span.width, dtype=np.uint8)
    if begun is not None or not casts_on(bands):
        low, high = (0, span.width - 1) if begun is None else (begun.first - span.first, begun.last - span.first)
        now[max(low, 0) : high + 1] = Position.WORK
    cast_on = now == Position.WORK
    settled: list[tuple[str, int]] = []
    number, asked = 1, ""
    for name, starts, works in bands:
        passes, rows_in = int(starts[-1]) - 1, len(starts) - 1
        try:
            alternates = bool((np.diff(starts) % 2 == 1).all())
            here = Here(number, now, _side(rightward, number), alternates)
            due = in_order(works, rows_in, here)
            settled += [
                (work.asked, work.settled(here)) for work in works if isinstance(work, ToWidth | Armhole | Neck)
            ]
        except InputError as error:
            raise error.at(_place(error.where, name)) from None
        marked = number
        for item in due:
            before = number + int(starts[min(item.before, rows_in + 1) - 1]) - 1
            if before > marked:
                of_pass[marked - 1 : before - 1] = _row(
                    rows, now, _place(asked, name, _row_at(starts, marked - number))
                )
                marked = before
            asked, where = item.asked, _place(item.asked, name, item.before)
            try:
                for step in item.make(Here(before, now, _side(rightward, before))):
                    needles = called(Span(span.first + step.first, span.first + step.last))
                    where = _place(item.asked, name, item.before, needles)
                    if item.before > rows_in + (not item.within):
                        raise _past(item, rows_in)
                    now = positions_after(step, now)
                    hand.append(step)
            except InputError as error:
                raise error.at(where) from None
        if marked < number + passes:
            where = _place(asked, name, _row_at(starts, marked - number))
            of_pass[marked - 1 : number + passes - 1] = _row(rows, now, where)
        number += passes
    table = np.frombuffer(b"".join(rows), dtype=np.uint8).reshape(len(rows), span.width)
    return Laid(Positions(table, of_pass), tuple(hand), cast_on, tuple(settled))


def casts_on(bands: Sequence[Worked]) -> bool:
    """Whether a band casts on, so that no needle has a loop before."""
    return any(isinstance(work, CastOn) for _, _, works in bands for work in works)


def _past(item: Due, rows: int) -> InputError:
    more = item.before - rows - (not item.within)
    return InputError(
        f"this falls after the band's last row, which is {rows}",
        hint=f"knit {counted(more, 'row')} more, begin sooner, or shape less",
    )


def row_starts(knitted_row: Ints) -> Ints:
    """The pass of a band, from 1, with which each of its rows begins, and one more than its last pass.

    knitted_row: of each pass, upwards.
    """
    return np.append(np.flatnonzero(np.diff(knitted_row, prepend=0)) + 1, len(knitted_row) + 1).astype(np.int32)


def _row_at(starts: Ints, passes: int) -> int:
    """The row, from 1, that comes after so many passes of a band."""
    return int(np.searchsorted(starts, passes + 1, side="right"))


def _place(asked: str, name: str, row: int = 0, needles: str = "") -> str:
    """Where something goes wrong: where it was asked for, then the band, and what is known of row and needles."""
    parts = (f'{asked}, band "{name}"' if asked else name, f"row {row}" if row else "", needles)
    return ", ".join(part for part in parts if part)


def _row(rows: dict[bytes, int], now: Bytes, where: str) -> int:
    if not (now == WORK).any():
        raise InputError("no needle is in work any more", where=where, hint="cast on first, or leave some stitches")
    return rows.setdefault(now.tobytes(), len(rows))


def _side(rightward: Bools, before: int) -> str:
    """Where the carriage stands before a pass; of one more than the last: after it."""
    if before > len(rightward):
        return "right" if rightward[-1] else "left"
    return "left" if rightward[before - 1] else "right"


def within(table: Bools, of_pass: Ints, edge: Bools | None, positions: Positions, first: int) -> tuple[Bools, Ints]:
    """A band's selections kept to the needles that knit, its end needles made what `edge` says: each pair once.

    first: the band's first pass.
    """
    here = positions.of_pass[first - 1 : first - 1 + len(of_pass)]
    working = positions.table == Position.WORK
    row, now, place = _pairs(of_pass, here, len(table), len(working))
    chosen = table[row]
    knitting = working[now]
    if edge is not None:
        lines = np.arange(len(chosen))
        chosen[lines, knitting.argmax(axis=1)] = edge[row]
        chosen[lines, knitting.shape[1] - 1 - knitting[:, ::-1].argmax(axis=1)] = edge[row]
    chosen &= knitting
    return chosen, place.astype(np.int32)


def pushed_ahead(table: Bools, acting: Ints, positions: Positions) -> tuple[Bools, Ints]:
    """What is driven in each pass where needles are pushed for the coming one: only those that work in both.

    The table with what it lacked, and each pass's row of it. Row 0 selects nothing: after the last pass nothing comes.
    """
    working = positions.table == Position.WORK
    row, now, place = _pairs(acting[1:], positions.of_pass[:-1], len(table), len(working))
    chosen = table[row] & working[now]
    fewer = np.flatnonzero((chosen != table[row]).any(axis=1))
    driven = row.astype(np.int32)
    driven[fewer] = np.arange(len(table), len(table) + len(fewer), dtype=np.int32)
    return np.concatenate([table, chosen[fewer]]), np.append(driven[place], np.int32(0))


def _pairs(rows: Ints, others: Ints, row_count: int, other_count: int) -> tuple[Places, Places, Places]:
    """The distinct pairs of two indices, and which of them each entry has."""
    distinct, place = _distinct(rows.astype(np.int64) * other_count + others, row_count * other_count)
    row, other = np.divmod(distinct, other_count)
    return row, other, place


def _distinct(key: npt.NDArray[np.int64], keys: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    if keys > TABLE_KEYS_MOST:
        found, place = np.unique(key, return_inverse=True)
        return found, place
    used = np.zeros(keys, dtype=np.bool_)
    used[key] = True
    found = np.flatnonzero(used)
    where = np.empty(keys, dtype=np.int64)
    where[found] = np.arange(len(found))
    return found, where[key]
