"""What a check finds, and what the checks look at."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from latchline.fabric.loops import Codes, does
from latchline.plan.limits import Limits
from latchline.plan.model import Band, Plan

MUST_MEND = "must mend"
LOOK_AT = "look at"
GOOD_TO_KNOW = "good to know"
SEVERITIES = (MUST_MEND, LOOK_AT, GOOD_TO_KNOW)

Numbers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Mend:
    """A way out that the user may take: what it does, as an option of the commands and as a key of the piece file."""

    what: str
    option: str
    key: str


@dataclass(frozen=True)
class Finding:
    """One fault or remark.

    rule: its name in `docs/reference/findings.md`. severity: one of SEVERITIES. what, why, todo:
    one sentence each, without the full stop. chart_row: from 1, 0 where it belongs to none.
    pass_first, pass_last: where the worst of its places lies, from 1; 0 where it belongs to no
    pass. needles: span of the worst place, empty where it belongs to none. places: how many there
    are in this chart row (or band). measured, limit: in the unit that `what` names.
    """

    rule: str
    severity: str
    band: str
    what: str
    why: str
    todo: str
    chart_row: int = 0
    pass_first: int = 0
    pass_last: int = 0
    needles: str = ""
    places: int = 1
    measured: float | None = None
    limit: float | None = None
    mends: tuple[Mend, ...] = ()


@dataclass(frozen=True, eq=False)
class Look:
    """A plan and all that several rules want to know of it, worked out once."""

    plan: Plan
    limits: Limits

    @cached_property
    def codes(self) -> Codes:
        """What every needle does in every pass, uint8 (passes, width)."""
        return does(self.plan)

    @cached_property
    def own(self) -> Limits:
        """The limits with those filled in that go by the bed's pitch."""
        return self.limits.at(self.plan.profile.pitch_mm)

    def chart_row(self, passes: Numbers) -> Numbers:
        """The chart rows (from 1, 0 where none) of passes from 1."""
        return self.plan.chart_row[passes - 1].astype(np.int64)

    def codes_of(self, band: Band) -> Codes:
        return self.codes[band.first - 1 : band.last]

    def bands_checked(self, rule: str) -> Iterator[Band]:
        """The bands whose technique asks for the rule."""
        return (band for band in self.plan.bands if rule in band.technique.checks)

    def needles(self, first: int, last: int) -> str:
        """The name of a needle or span, from places in the span of the plan."""
        names = [self.plan.profile.needle_name(self.plan.span.first + int(place)) for place in (first, last)]
        return names[0] if names[0] == names[1] else "-".join(names)


Rule = Callable[[Look], Iterator[Finding]]


@dataclass(frozen=True, eq=False)
class Places:
    """Where one rule was broken: equally long arrays, one entry a place.

    size: what is measured, the larger the worse. pass_*: from 1. needle_*: places in the span.
    kind: what else the rule wants to know of a place; each rule says what.
    """

    size: Numbers
    pass_first: Numbers
    pass_last: Numbers
    needle_first: Numbers
    needle_last: Numbers
    kind: Numbers

    def __len__(self) -> int:
        return len(self.size)

    def where(self, keep: npt.NDArray[np.bool_]) -> Places:
        parts = (self.size, self.pass_first, self.pass_last, self.needle_first, self.needle_last, self.kind)
        return Places(*(part[keep] for part in parts))

    def of_band(self, band: Band) -> Places:
        """Those that begin in the band."""
        return self.where((self.pass_first >= band.first) & (self.pass_first <= band.last))

    def worst(self, groups: Numbers) -> Iterator[tuple[int, int, int]]:
        """For each group: its number, the index of its worst place (the first of equals), how many places it has."""
        order = np.lexsort((self.needle_first, self.pass_first, -self.size, groups))
        ordered = groups[order]
        starts = np.flatnonzero(np.append(True, ordered[1:] != ordered[:-1])) if len(ordered) else ordered
        counts = np.diff(np.append(starts, len(ordered)))
        for start, count in zip(starts.tolist(), counts.tolist(), strict=True):
            yield int(ordered[start]), int(order[start]), count


def found(look: Look, places: Places, groups: Numbers, describe: Callable[[int, int], Finding]) -> Iterator[Finding]:
    """One finding for each group, with its worst place filled in. describe(size, index) gives the words."""
    for group, index, count in places.worst(groups):
        size = int(places.size[index])
        yield replace(
            describe(size, index),
            chart_row=group,
            pass_first=int(places.pass_first[index]),
            pass_last=int(places.pass_last[index]),
            needles=look.needles(int(places.needle_first[index]), int(places.needle_last[index])),
            places=count,
            measured=size,
        )


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Worst first, then as the piece is knitted."""
    return tuple(
        sorted(findings, key=lambda item: (SEVERITIES.index(item.severity), item.pass_first, item.rule, item.chart_row))
    )
