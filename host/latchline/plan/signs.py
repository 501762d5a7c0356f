"""Signs over the needles, row by row: lace by hand transfer, small cables, ladders.

A sign stands on the needle whose loop is meant, as the operator sees the bed. Signs of one kind side by
side are worked as one group, with a tool of so many eyes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby

from latchline.counted import counted
from latchline.errors import InputError
from latchline.plan.hand import HandStep

NOTHING = " ."
EYES_MOST = 7  # loops that one tool moves at once; more are moved in parts; common practice, no source

# sign → kind of hand step, needles that its loops go to the right, what it means
SIGNS: dict[str, tuple[str, int, str]] = {
    "<": ("move", -1, "move the loop one needle to the left; its own needle stays in work and makes an eyelet"),
    ">": ("move", 1, "move the loop one needle to the right; its own needle stays in work and makes an eyelet"),
    "(": ("move", -2, "move the loop two needles to the left"),
    ")": ("move", 2, "move the loop two needles to the right"),
    "x": ("cross", 0, "cross the first half of these needles over the other half, the left one in front"),
    "y": ("cross", 1, "cross the halves of these needles, the right one in front"),
    "l": ("latch-up", 0, "latch up the ladder or float"),
    "p": ("pick-up", 0, "pick up the loop below the neighbour"),
    "t": ("marker", 0, "put in a marker"),
    "w": ("weight", 0, "hang a weight"),
}


@dataclass(frozen=True)
class Asked:
    """What a band is asked to do beside knitting. asked: where that stands, as complaints name it; empty: nowhere."""

    asked: str = field(default="", kw_only=True, compare=False, repr=False)


@dataclass(frozen=True)
class Signs(Asked):
    """Rows of signs, the first one knitted first, repeated across needles first to last and up the band.

    A row's signs are worked after its pass is due to begin, that is before the pass of the same number.
    """

    rows: tuple[str, ...]
    first: int
    last: int

    def steps(self, before: int, row: int) -> Iterator[HandStep]:
        """The hand steps of a row (from 0), in the order in which a tool works.

        Loops that go left are moved from the left on, those that go right from the right on, so that
        none is laid onto a needle that is still to be emptied.
        """
        signs = self.rows[row % len(self.rows)]
        line = [signs[place % len(signs)] for place in range(self.last - self.first + 1)]
        groups = []
        at = self.first
        for sign, run in groupby(line):
            size = len(list(run))
            if sign not in NOTHING:
                groups += [(at + part, min(at + part + self._most(sign), at + size) - 1, sign)
                           for part in range(0, size, self._most(sign))]  # fmt: skip
            at += size
        leftward = [group for group in groups if SIGNS[group[2]][1] <= 0]
        for first, last, sign in [*leftward, *[group for group in reversed(groups) if group not in leftward]]:
            kind, by, _ = SIGNS[sign]
            if kind == "cross":
                if (last - first + 1) % 2:  # refused with its needles where it is laid out
                    yield HandStep(before, kind, first, last)
                by = -((last - first + 1) // 2) if by else (last - first + 1) // 2
            yield HandStep(before, kind, first, last, by)

    def _most(self, sign: str) -> int:
        return EYES_MOST if SIGNS[sign][0] == "move" else 1000

    def worked_rows(self, passes: int) -> Iterator[int]:
        """The rows (from 0) of a band that have a sign."""
        marked = [any(sign not in NOTHING for sign in row) for row in self.rows]
        return (row for row in range(passes) if marked[row % len(marked)])


def read_signs(text: str, where: str) -> tuple[str, ...]:
    """Rows of signs from a text whose top line is the last row; a line from `#` on is a comment.

    Raises InputError naming line and column of a sign that is not known.
    """
    rows: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        row = line.split("#")[0].rstrip()
        if not row:
            continue
        for column, sign in enumerate(row, 1):
            if sign not in SIGNS and sign not in NOTHING:
                raise InputError(
                    f'"{sign}" is no sign', where=f"{where}, line {number}, column {column}",
                    hint=f"accepted: {' '.join(SIGNS)} and . for nothing",
                )  # fmt: skip
        if rows and len(row) != len(rows[0]):
            raise InputError(
                f"this row has {counted(len(row), 'sign')}, the others {len(rows[0])}",
                where=f"{where}, line {number}",
                hint="write a dot where nothing is done",
            )
        rows.append(row)
    if not rows or len(rows[0]) > 1000:
        raise InputError("there are no signs in it" if not rows else "the rows are too long", where=where)
    return tuple(reversed(rows))
