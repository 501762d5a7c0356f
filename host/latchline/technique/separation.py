"""Colour separation: a chart of several colours spread over passes that knit one colour each.

A colour changer stands at one end of the bed, so the yarn can change only when the carriage has
come to that end. The schemes below are written for a changer on the left (a change after a leftward
pass); one on the right is the mirror image, and by hand a change is possible at both ends.
`docs/explanation/separation.md` shows each scheme pass by pass. Doubled is common practice; the
other three are practice or derived from the rule just named.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from latchline.technique.model import NO_STITCH, Back, Separation, Steps

Rows = npt.NDArray[np.int32]
Palette = npt.NDArray[np.int16]


def _doubled(rows: int, colours: int, _repeat: int) -> Steps:
    """Each colour out and back on the same needles."""
    yarn = np.tile(np.arange(colours, dtype=np.int16).repeat(2), rows)
    return _steps(np.arange(rows, dtype=np.int32).repeat(2 * colours), yarn)


def _blank_return(rows: int, colours: int, _repeat: int) -> Steps:
    """Each colour out on its needles; the way back selects nothing."""
    steps = _doubled(rows, colours, _repeat)
    colour = steps.colour.copy()
    colour[1::2] = NO_STITCH
    return replace(steps, colour=colour)


def _paired(rows: int, colours: int, _repeat: int) -> Steps:
    """The last colour of a row is the first of the next; colours between come back without selecting.

    Rows take the colours upwards and downwards by turns. The first colour ends at the changer and
    the last one starts from it, so one pass does for each; a colour between needs the way back.
    """
    order = np.arange(colours, dtype=np.int16)
    passes = np.full(colours, 2)
    passes[[0, -1]] = 1
    up, down = order.repeat(passes), order[::-1].repeat(passes)
    empty = np.append(False, up[1:] == up[:-1])  # the same places in both orders
    yarn = np.tile(np.concatenate([up, down]), (rows + 1) // 2)[: rows * len(up)]
    steps = _steps(np.arange(rows, dtype=np.int32).repeat(len(up)), yarn)
    return replace(steps, colour=np.where(np.tile(empty, rows), np.int16(NO_STITCH), yarn))


def _alternating(rows: int, colours: int, repeat: int) -> Steps:
    """One colour for each chart row, out and back; the other needles keep the loop that they have."""
    row = np.arange(rows, dtype=np.int32).repeat(2)
    return _steps(row, (row // repeat % colours).astype(np.int16))


def _steps(row: Rows, yarn: Palette) -> Steps:
    return Steps(row=row, colour=yarn, yarn=yarn, back=np.zeros(len(row), dtype=np.uint8))


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
DOUBLE_BED = (PAIRED, DOUBLED, BLANK_RETURN, ALTERNATING)


def backed(steps: Steps, backing: str) -> Steps:
    """The steps with what the back bed knits in each pass.

    `full`: every back needle knits every colour of a row once. A pass that is followed by an empty
    way back knits the even needles and the way back the odd ones, so that the yarn is tied in on
    both ways and the back still grows by one course a colour.
    `alternate`: every other back needle, the other half in the colour's next pass; neighbouring
    colours start on different halves, which gives the bird's-eye back. It cannot be had with empty
    ways back (`Separation.returns_empty`): the halves would make it a full backing.
    """
    back = np.full(len(steps.yarn), Back.ALL, dtype=np.uint8)
    if backing == "alternate":
        for colour in range(int(steps.yarn.max(initial=0)) + 1):
            passes = np.flatnonzero(steps.yarn == colour)
            back[passes] = np.where((np.arange(len(passes)) + colour) % 2 == 0, Back.EVEN, Back.ODD)
    else:
        empty = np.flatnonzero(steps.colour == NO_STITCH)
        back[empty - 1] = Back.EVEN
        back[empty] = Back.ODD
    return replace(steps, back=back)
