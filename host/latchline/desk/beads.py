"""A pass as beads to bring forward by hand: runs of needles as they lie on the bed, folded where they repeat."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any

from latchline.machine.needles import needle_name
from latchline.plan.model import Plan

REPEAT_LONGEST = 12  # runs that one repeat may have; a longer one is no help to a hand


@dataclass(frozen=True)
class Part:
    """Some runs, several times over. runs: (needles, brought forward?)."""

    times: int
    runs: tuple[tuple[int, bool], ...]

    @property
    def needles(self) -> int:
        return self.times * sum(count for count, _ in self.runs)


def runs_of(selected: str) -> list[tuple[int, bool]]:
    """Runs of a string of 0 and 1, from the operator's left."""
    return [(len(list(group)), mark == "1") for mark, group in groupby(selected)]


def folded(runs: list[tuple[int, bool]]) -> list[Part]:
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
    """The string of 0 and 1 again."""
    return "".join("01"[up] * count for part in parts for _ in range(part.times) for count, up in part.runs)


def beads(plan: Plan, number: int) -> list[dict[str, Any]]:
    """The parts of a pass with the needles on which each begins and ends."""
    selected = "".join("01"[int(mark)] for mark in plan.acting_masks(number, number)[0])
    found, at = [], plan.span.first
    for part in folded(runs_of(selected)):
        ends = [needle_name(needle, plan.profile.centre) for needle in (at, at + part.needles - 1)]
        found.append({"times": part.times, "runs": [list(run) for run in part.runs], "first": ends[0], "last": ends[1]})
        at += part.needles
    return found
