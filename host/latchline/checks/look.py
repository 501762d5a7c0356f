"""What the checks look at: a plan, and facts about it that several rules want to know."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from latchline.checks.model import Finding
from latchline.fabric.hanging import Hanging, hanging
from latchline.fabric.loops import Bools, Codes, does, knits
from latchline.fabric.structure import CHUNK_PASSES, floats
from latchline.plan.hand import HandStep, Position
from latchline.plan.limits import Limits
from latchline.plan.model import Band, Plan
from latchline.runs import runs
from latchline.technique.model import Does

NEEDLES_AT_ONCE = 32  # so many needles are followed at a time, to keep memory small

Numbers = npt.NDArray[np.int64]


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


@dataclass(frozen=True, eq=False)
class Kept:
    """Stretches of passes in which a needle doesn't knit: equally long arrays.

    needle: place in the span. pass_first, pass_last: from 1. tucked: how many of those passes tuck;
    in the others the needle misses or is held.
    """

    needle: Numbers
    pass_first: Numbers
    pass_last: Numbers
    tucked: Numbers

    def places(self, size: Numbers, longer_than: int) -> Places:
        places = Places(size, self.pass_first, self.pass_last, self.needle, self.needle, self.tucked)
        return places.where(size > longer_than)

    @property
    def missed(self) -> Numbers:
        return self.pass_last - self.pass_first + 1 - self.tucked


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
    def working(self) -> Bools:
        """Which needles are in working position in each pass, bool (passes, width)."""
        working: Bools = self.plan.positions_of() == Position.WORK
        return working

    @cached_property
    def hanging(self) -> list[Hanging]:
        """How many loops hang on the needles wherever something is done by hand; empty where nothing is."""
        return list(hanging(self.plan)) if self.plan.shaped else []

    def hand_of(self, band: Band) -> list[HandStep]:
        """What is done by hand before the band's passes."""
        return [step for step in self.plan.hand if band.first <= step.before <= band.last]

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

    @cached_property
    def kept(self) -> Kept:
        """Every stretch in which a needle doesn't knit and that is longer than the shortest limit."""
        shortest = min(self.own.held_passes, self.own.tucks_stacked, self.own.tucks_stacked_fine)
        parts = []
        for start in range(0, self.plan.span.width, NEEDLES_AT_ONCE):
            codes = np.ascontiguousarray(self.codes[:, start : start + NEEDLES_AT_ONCE].T)
            idle = ~knits(codes)
            if self.plan.shaped:  # a needle that is held or out of work by hand is at rest, not idle
                idle &= self.working[:, start : start + NEEDLES_AT_ONCE].T
            line, first, last = runs(idle, shortest)
            tucks = np.zeros((len(codes), codes.shape[1] + 1), dtype=np.int32)
            np.cumsum(codes == Does.TUCK, axis=1, dtype=np.int32, out=tucks[:, 1:])
            parts.append(np.stack([line + start, first + 1, last + 1, tucks[line, last + 1] - tucks[line, first]]))
        return Kept(*np.concatenate(parts, axis=1).astype(np.int64))

    @cached_property
    def long_floats(self) -> Places:
        """Floats longer than the limit, within a pass or over turns; kind: the yarn."""
        every = floats(self.plan, longer_than=self.own.float_needles or 0)
        low = np.minimum(every.needle_from, every.needle_to).astype(np.int64) + 1
        high = np.maximum(every.needle_from, every.needle_to).astype(np.int64) - 1
        return Places(
            size=high - low + 1,
            pass_first=every.pass_from.astype(np.int64),
            pass_last=every.pass_to.astype(np.int64),
            needle_first=low,
            needle_last=high,
            kind=every.yarn.astype(np.int64),
        )

    def tucks_limit(self, band: Band) -> int:
        """How many tucks running a needle of the band bears: more in fine yarn."""
        fine = bool(band.yarns) and self.own.yarn_class(band.yarns[0], self.plan.profile.pitch_mm) == "fine"
        return self.own.tucks_stacked_fine if fine else self.own.tucks_stacked

    @cached_property
    def never_knitting(self) -> dict[int, Numbers]:
        """By the first pass of each band that has some: needles (places in the span) that knit in none of its passes.

        Not where they knit again, or the piece is over, before they have tucked or missed too often.
        """
        result = {}
        for band in self.bands_checked("never-knits"):
            idle = ~knits(self.codes_of(band)).any(axis=0)
            most = max(self.tucks_limit(band), self.own.held_passes)
            if self.plan.shaped:
                idle &= self._waits_too_long(band, most)
            elif band.passes <= most and idle.any():
                codes = self.codes[band.first - 1 : band.first + most]
                waiting = np.logical_and.accumulate(~knits(codes), axis=0)
                tucked = (waiting & (codes == Does.TUCK)).sum(axis=0)
                waited = waiting.sum(axis=0)
                missed = waited - tucked
                idle &= (tucked > self.tucks_limit(band)) | (missed > self.own.held_passes) | (waited > most)
            if idle.any():
                result[band.first] = np.flatnonzero(idle).astype(np.int64)
        return result

    def _waits_too_long(self, band: Band, most: int) -> Bools:
        """Needles that tuck or miss too often from a band's first pass on, until they knit; held by hand they wait."""
        here = slice(band.first - 1, band.last + most)
        codes = self.codes[here]
        waiting = np.logical_and.accumulate(~knits(codes), axis=0) & self.working[here]
        tucked = (waiting & (codes == Does.TUCK)).sum(axis=0)
        missed = waiting.sum(axis=0) - tucked
        too_long: Bools = (tucked > self.tucks_limit(band)) | (missed > self.own.held_passes) | (missed + tucked > most)
        return too_long

    def doing(self, band: Band, code: Does, longer_than: int) -> Places:
        """Runs of needles of a band that do the same in one pass; kind: the code."""
        parts = []
        for start in range(band.first, band.last + 1, CHUNK_PASSES):
            marks: Bools = self.codes[start - 1 : min(start - 1 + CHUNK_PASSES, band.last)] == code
            line, first, last = runs(marks, longer_than)
            parts.append(np.stack([last - first + 1, line + start, line + start, first, last]))
        size, pass_first, pass_last, needle_first, needle_last = np.concatenate(parts, axis=1).astype(np.int64)
        return Places(size, pass_first, pass_last, needle_first, needle_last, np.full(len(size), int(code)))


Rule = Callable[[Look], Iterator[Finding]]


def found(look: Look, places: Places, groups: Numbers, describe: Callable[[int, int], Finding]) -> Iterator[Finding]:
    """One finding for each group, with its worst place filled in. describe(size, index) gives the words."""
    for group, index, count in places.worst(groups):
        size = int(places.size[index])
        place = {
            "chart_row": group,
            "pass_first": int(places.pass_first[index]),
            "pass_last": int(places.pass_last[index]),
            "needles": look.needles(int(places.needle_first[index]), int(places.needle_last[index])),
            "places": count,
            "measured": size,
        }
        yield Finding(**vars(describe(size, index)) | place)  # a third of what dataclasses.replace takes
