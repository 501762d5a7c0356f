"""A pass as it is set by hand: runs of needles as they lie on the bed, folded where they repeat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from latchline.plan.hand import Position
from latchline.plan.model import Plan

REPEAT_LONGEST = 12  # runs that one repeat may have; a longer one is no help to a hand
FORWARD, STAYS, OUT = "1", "0", "-"
_SAYS = {FORWARD: "up", STAYS: "down", OUT: "out of work or held"}


@dataclass(frozen=True)
class Part:
    """Some runs, several times over. runs: (needles, mark), mark one of FORWARD, STAYS and OUT."""

    times: int
    runs: tuple[tuple[int, str], ...]

    @property
    def needles(self) -> int:
        return self.times * sum(count for count, _ in self.runs)


@dataclass(frozen=True)
class Placed:
    """A part with the names of the needles on which it begins and ends, from the operator's left."""

    part: Part
    first: str
    last: str

    @property
    def line(self) -> str:
        """As in `L30 to L19: 3 up, 2 down, 8 times`."""
        runs = ", ".join(f"{count} {_SAYS[mark]}" for count, mark in self.part.runs)
        times = f", {self.part.times} times" if self.part.times > 1 else ""
        where = self.first if self.first == self.last else f"{self.first} to {self.last}"
        return f"{where}: {runs}{times}"


def marks_of(plan: Plan, number: int) -> str:
    """What each needle of the plan's span does before a pass, from the operator's left."""
    selected = plan.acting_masks(number, number)[0]
    working = plan.positions_of(number, number)[0] == Position.WORK
    return "".join(np.where(working, np.where(selected, FORWARD, STAYS), OUT).tolist())


def runs_of(marks: str) -> list[tuple[int, str]]:
    """Runs of equal marks."""
    return [(len(list(group)), mark) for mark, group in groupby(marks)]


def folded(runs: list[tuple[int, str]]) -> list[Part]:
    """The runs with their repeats folded: at each place the repeat that spares most, the shortest first."""
    parts: list[Part] = []
    at = 0
    while at < len(runs):
        best = Part(1, (runs[at],))
        for length in range(1, min(REPEAT_LONGEST, (len(runs) - at) // 2) + 1):
            piece = tuple(runs[at : at + length])
            times = 1
            while tuple(runs[at + times * length : at + (times + 1) * length]) == piece:
                times += 1
            if times > 1 and (times - 1) * length > (best.times - 1) * len(best.runs):
                best = Part(times, piece)
        parts.append(best)
        at += best.times * len(best.runs)
    return parts


def expanded(parts: list[Part]) -> str:
    """The marks again."""
    return "".join(mark * count for part in parts for _ in range(part.times) for count, mark in part.runs)


def joined(parts: list[Part]) -> list[Part]:
    """The parts with those that do not repeat drawn together, neighbour to neighbour."""
    found: list[Part] = []
    for part in parts:
        if found and found[-1].times == part.times == 1:
            found[-1] = Part(1, found[-1].runs + part.runs)
        else:
            found.append(part)
    return found


def names_of(plan: Plan) -> tuple[str, ...]:
    """The needles of the plan's span, from the operator's left."""
    return tuple(plan.profile.needle_name(needle) for needle in range(plan.span.first, plan.span.last + 1))


def placed(plan: Plan, number: int) -> list[Placed]:
    """The parts of a pass on their needles, as the bed lies, whichever way the carriage goes."""
    return placed_on(names_of(plan), folded(runs_of(marks_of(plan, number))))


def placed_on(names: Sequence[str], parts: list[Part]) -> list[Placed]:
    """The parts on the needles of these names, one after the other."""
    found, at = [], 0
    for part in parts:
        found.append(Placed(part, names[at], names[at + part.needles - 1]))
        at += part.needles
    return found
