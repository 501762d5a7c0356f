"""Colour separation: a chart of several colours spread over passes that knit one colour each.

A colour changer stands at one end of the bed, so the yarn can change only when the carriage has
come to that end. The schemes below are written for a changer on the left (a change after a leftward
pass); one on the right is the mirror image, and by hand a change is possible at both ends.
`docs/explanation/separation.md` shows each scheme pass by pass. Doubled is common practice; the
other three are practice or derived from the rule just named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from latchline.technique.model import NO_STITCH, SecondBed, Separation, Steps
from latchline.technique.shortest import NO_COLOUR, shortest_by_hand

Rows = npt.NDArray[np.int32]
Palette = npt.NDArray[np.int16]
Present = npt.NDArray[np.bool_]


def _doubled(present: Present, _repeat: int) -> Steps:
    """Each colour that a row has out and back on the same needles."""
    row, yarn = np.nonzero(present)
    return _steps(row.astype(np.int32).repeat(2), yarn.astype(np.int16).repeat(2))


def _blank_return(present: Present, repeat: int) -> Steps:
    """Each colour that a row has out on its needles; the way back selects nothing."""
    steps = _doubled(present, repeat)
    colour = steps.colour.copy()
    colour[1::2] = NO_STITCH
    return replace(steps, colour=colour)


def _paired(present: Present, _repeat: int) -> Steps:
    """The last colour of a row is the first of the next; colours between come back without selecting.

    Rows take the colours upwards and downwards by turns. The first colour ends at the changer and
    the last one starts from it, so one pass does for each; a colour between needs the way back.
    """
    if not present.all():
        return _fewest(present)
    rows, colours = present.shape
    order = np.arange(colours, dtype=np.int16)
    passes = np.full(colours, 2)
    passes[[0, -1]] = 1
    up, down = order.repeat(passes), order[::-1].repeat(passes)
    empty = np.append(False, up[1:] == up[:-1])  # the same places in both orders
    yarn = np.tile(np.concatenate([up, down]), (rows + 1) // 2)[: rows * len(up)]
    steps = _steps(np.arange(rows, dtype=np.int32).repeat(len(up)), yarn)
    return replace(steps, colour=np.where(np.tile(empty, rows), np.int16(NO_STITCH), yarn))


def _paired_by_hand(present: Present, _repeat: int) -> Steps:
    """The same where any colour may follow at either side, if its yarn lies there: one pass for each colour of a row.

    Where rows lack colours the carriage now and then goes across without a yarn.
    """
    rows, colours = present.shape
    if not present.all():
        passes = shortest_by_hand([tuple(np.flatnonzero(row).tolist()) for row in present], colours)
        row_of, yarn = np.array(passes).T
        colour = np.where(yarn == NO_COLOUR, NO_STITCH, yarn).astype(np.int16)
        return replace(_steps(row_of.astype(np.int32), yarn.astype(np.int16)), colour=colour)
    order = np.arange(colours, dtype=np.int16)
    yarn = np.tile(np.concatenate([order, order[::-1]]), (rows + 1) // 2)[: rows * colours]
    return _steps(np.arange(rows, dtype=np.int32).repeat(colours), yarn)


def _fewest(present: Present) -> Steps:
    """The same where rows lack colours: the fewest passes, of equally short ways the one nearest to that order.

    Away from the changer a row begins with the colour in the carriage, or brings it back if the row
    has none of it; at the changer any colour may begin. All but the last colour come back to it.
    """
    rows = [tuple(np.flatnonzero(row).tolist()) for row in present]
    to_go = _passes_to_go(rows, present.shape[1])
    changer = present.shape[1]
    now = min(rows[0], key=lambda colour: _row_passes(rows[0], colour, to_go[1])) if rows else changer
    taken: list[tuple[int, int, int]] = []  # row, yarn, colour
    for number, row in enumerate(rows):
        order = row[::-1] if number % 2 else row
        if now != changer:
            taken.append((number, now, now if now in row else NO_STITCH))
        rest = [colour for colour in order if colour != now]
        if not rest:
            now = changer
            continue
        least = min(to_go[number + 1][colour] for colour in rest)
        last = next(colour for colour in reversed(rest) if to_go[number + 1][colour] == least)
        for colour in rest:
            if colour != last:
                taken += [(number, colour, colour), (number, colour, NO_STITCH)]
        taken.append((number, last, last))
        now = last
    row_of, yarn, colour_of = np.array(taken).T
    return replace(_steps(row_of.astype(np.int32), yarn.astype(np.int16)), colour=colour_of.astype(np.int16))


def _passes_to_go(rows: Sequence[tuple[int, ...]], colours: int) -> list[list[int]]:
    """For each row and what is in the carriage before it (one of the colours away from the changer, or, last, the
    changer itself): the fewest passes from there to the end."""
    to_go = [[0] * (colours + 1)]
    for row in reversed(rows):
        to_go.append([_row_passes(row, state if state < colours else -1, to_go[-1]) for state in range(colours + 1)])
    return to_go[::-1]


def _row_passes(row: tuple[int, ...], carried: int, after: Sequence[int]) -> int:
    """The fewest passes from a row on; carried: the colour away from the changer, −1 at the changer."""
    if row == (carried,):
        return 1 + after[-1]
    passes = 2 * len(row) + (-1 if carried < 0 else -2 if carried in row else 0)
    return passes + min(after[colour] for colour in row if colour != carried)


def _alternating(present: Present, repeat: int) -> Steps:
    """One colour for each chart row, out and back; the other needles keep the loop that they have."""
    rows, colours = present.shape
    row = np.arange(rows, dtype=np.int32).repeat(2)
    return _steps(row, (row // repeat % colours).astype(np.int16))


def _steps(row: Rows, yarn: Palette) -> Steps:
    return Steps(row=row, colour=yarn, yarn=yarn, second=np.zeros(len(row), dtype=np.uint8))


DOUBLED = Separation(
    name="doubled",
    title="each colour out and back on the same needles: two courses for a chart row",
    colours_min=2,
    colours_max=4,
    start="left",
    steps=_doubled,
    courses=2,
    passes_a_row=lambda colours: 2 * colours,
    held_most=lambda colours: 4 * (colours - 1),
    returns_empty=lambda _: False,
)

BLANK_RETURN = Separation(
    name="blank-return",
    title="each colour out on its needles, and back without knitting a stitch of the pattern",
    colours_min=2,
    colours_max=4,
    start="left",
    steps=_blank_return,
    courses=1,
    passes_a_row=lambda colours: 2 * colours,
    held_most=lambda colours: 4 * (colours - 1) + 1,
    returns_empty=lambda _: True,
)

PAIRED = Separation(
    name="paired",
    title="the last colour of a row is the first of the next",
    colours_min=2,
    colours_max=4,
    start="right",
    steps=_paired,
    courses=1,
    passes_a_row=lambda colours: 2 * colours - 2,
    held_most=lambda colours: 4 * colours - 6,
    returns_empty=lambda colours: colours > 2,
    steady=lambda colours: colours <= 2,
)

PAIRED = replace(
    PAIRED,
    by_hand=replace(
        PAIRED,
        title="the last colour of a row is the first of the next; each takes one pass, as it is changed at either side",
        steps=_paired_by_hand,
        passes_a_row=lambda colours: colours,
        held_most=lambda colours: 2 * colours - 2,
        returns_empty=lambda _: False,
    ),
)

ALTERNATING = Separation(
    name="alternating",
    title="one colour for each chart row, out and back; the chart must be drawn for it",
    colours_min=2,
    colours_max=4,
    start="left",
    steps=_alternating,
    courses=2,
    passes_a_row=lambda _: 2,
    held_most=lambda colours: 2 * (colours - 1),
    returns_empty=lambda _: False,
)

SINGLE_BED = (DOUBLED, BLANK_RETURN, PAIRED, ALTERNATING)
DOUBLE_BED = (PAIRED, BLANK_RETURN, DOUBLED, ALTERNATING)


def backed(steps: Steps, backing: str) -> Steps:
    """The steps with what the second bed knits in each pass.

    `full`: every needle of the second bed knits every colour of a row once. A pass that is followed by
    an empty way back knits the even needles and the way back the odd ones, so that the yarn is tied in
    on both ways and the back still grows by one course a colour.
    `alternate`: every other needle, the two halves by turns from pass to pass, as a second bed does by
    itself. A colour's next pass always falls on the other half. It cannot be had with empty ways back
    (`Separation.returns_empty`): the halves would make it a full backing.
    """
    second = np.full(len(steps.yarn), SecondBed.ALL, dtype=np.uint8)
    if backing == "alternate":
        second[0::2], second[1::2] = SecondBed.EVEN, SecondBed.ODD
    else:
        empty = np.flatnonzero(steps.colour == NO_STITCH)
        second[empty - 1] = SecondBed.EVEN
        second[empty] = SecondBed.ODD
    return replace(steps, second=second)
