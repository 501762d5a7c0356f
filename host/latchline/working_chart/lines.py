"""Which passes a working chart shows, line by line, and where its drawing begins again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from latchline.errors import InputError
from latchline.mend import Mend
from latchline.plan.model import Band, Plan

FOLDED_FROM = 4  # plain passes in a row that become one line


@dataclass(frozen=True)
class Line:
    """One line of the chart: a pass, or a run of plain ones folded together."""

    first: int
    last: int

    @property
    def folded(self) -> bool:
        return self.last > self.first


def chart_lines(plan: Plan, first: int, last: int) -> list[Line]:
    """The lines for passes first to last: runs of plain knitting take one line each, up to the next hand steps."""
    lines: list[Line] = []
    by_hand = {step.before for step in plan.hand}
    for band in plan.bands:
        low, high = max(band.first, first), min(band.last, last)
        if low > high:
            continue
        starts = sorted(
            {low, *(number for at in by_hand if low <= at <= high for number in (at, at + 1) if number <= high)}
        )
        for start, end in pairwise([*starts, high + 1]):
            if not band.technique.needs_chart and end - start >= FOLDED_FROM:
                lines.append(Line(start, end - 1))
            else:
                lines.extend(Line(number, number) for number in range(start, end))
    return lines


def checked_lines(plan: Plan, first: int, last: int | None, most: int, hint: str = "") -> list[Line]:
    lines = chart_lines(plan, first, plan.passes if last is None else last)
    if len(lines) > most:
        what = f"a working chart of {len(lines)} lines is too long (at most {most})"
        raise InputError(what, hint=hint, mends=[Mend("draw a part", "passes")])
    return lines


def repeat_columns(plan: Plan, band: Band) -> list[int]:
    """Where copies of the drawing meet, or where one placed once begins and ends: columns of the span."""
    if band.drawing is None:
        return []
    wide, options = band.drawing.stitches, band.options
    if options.once_at is not None:
        at = options.once_at - plan.span.first
        return [column for column in (at, at + wide) if 0 < column < plan.span.width]
    return [column for column in range(1, plan.span.width) if (column - options.shift) % wide == 0]


def repeat_passes(plan: Plan, band: Band) -> list[int]:
    """Passes, after the band's first, with which the drawing begins again at its bottom row."""
    rows = plan.chart_row[band.first - 1 : band.last]
    again = np.flatnonzero((rows[1:] == 1) & (rows[:-1] != 1)) + 1
    return [band.first + int(place) for place in again]


def runs(places: Sequence[int]) -> list[tuple[int, int]]:
    """Runs of consecutive numbers, as first and last."""
    runs: list[tuple[int, int]] = []
    for place in places:
        if runs and runs[-1][1] == place - 1:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs


def turns(plan: Plan, line: Line) -> dict[str, int]:
    """Where the carriage may turn after the passes of a line, by the side: a place in the span, or past its end.

    The farthest of them, as a folded line stands for several. Empty where every pass turns past the whole piece.
    """
    found: dict[str, int] = {}
    if not plan.narrow:
        return found
    clear = plan.profile.turn_clearance_needles
    for number in range(line.first, line.last + 1):
        span = plan.turn_span(number)
        if plan.rightward[number - 1]:
            place = span.last - plan.span.first + clear
            found["right"] = max(place, found.get("right", place))
        else:
            place = span.first - plan.span.first - clear
            found["left"] = min(place, found.get("left", place))
    return found


def end_side(plan: Plan, line: Line) -> str:
    return "right" if plan.rightward[line.last - 1] else "left"
