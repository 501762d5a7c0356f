"""A pass that is set by hand, written and drawn; where there is little room in stretches, with no needle left out."""

from __future__ import annotations

from functools import lru_cache
from textwrap import wrap

from latchline.knit.candidates import SELECTED, UNSELECTED, in_lines
from latchline.knit.folding import FORWARD, OUT, STAYS, folded, joined, marks_of, names_of, placed_on, runs_of
from latchline.plan.model import Plan

TEN = 10  # needles by which a bed is counted
ALONE = "–"  # out of work or held: no hand touches it
_DRAWN = str.maketrans({FORWARD: SELECTED, STAYS: UNSELECTED, OUT: ALONE})


def stretches(plan: Plan, number: int, width: int, room: int) -> tuple[tuple[str, ...], ...]:
    """The lines of each stretch of a pass, at most `room` of them unless one needle alone takes more."""
    return _stretches(marks_of(plan, number), names_of(plan), width, room)


def whole(plan: Plan, number: int, width: int) -> list[str]:
    """All needles of a pass."""
    return _stretch(marks_of(plan, number), names_of(plan), width)


@lru_cache(maxsize=64)
def _stretches(marks: str, names: tuple[str, ...], width: int, room: int) -> tuple[tuple[str, ...], ...]:
    found: list[tuple[str, ...]] = []
    at, count = 0, len(marks)
    while at < count:
        left = count - at
        sizes = (left, *range((left - 1) // TEN * TEN, 0, -TEN), *range(min(left, TEN) - 1, 1, -1), 1)
        lines: list[str] = []
        for size in sizes:
            lines = _stretch(marks[at : at + size], names[at : at + size], width)
            if len(lines) <= room:
                break
        found.append(tuple(lines))
        at += size
    return tuple(found)


def _stretch(marks: str, names: tuple[str, ...], width: int) -> list[str]:
    """Needles as runs, and drawn; runs that do not repeat stand together."""
    parts = placed_on(names, joined(folded(runs_of(marks))))
    legend = [f"{ALONE} out of work or held: leave it"] if OUT in marks else []
    texts = [*(part.line for part in parts), *legend]
    return [*(line for text in texts for line in wrap(text, width)), *in_lines(marks.translate(_DRAWN), names, width)]
