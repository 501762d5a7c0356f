"""Which loops hang on each needle before and after a pass, the oldest first: what one sees who looks at the bed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from latchline.fabric.layout import second_needles
from latchline.fabric.loops import does, knits, pass_yarns, takes_first, takes_second
from latchline.fabric.structure import begun
from latchline.plan.hand import GONE, HandStep, goes, kind_of
from latchline.plan.model import Plan
from latchline.technique.model import Does

LOOKED_BACK = 32  # passes at first; twice as many wherever a loop is older
LOOKED_BACK_MOST = 512  # a loop that has been kept longer is shown in the yarn with which the piece began

Loops = npt.NDArray[np.object_]
Hanging = list[tuple[int, ...]]


def on_needles(plan: Plan, first: int, last: int) -> list[tuple[Hanging, Hanging]]:
    """The needles right before and right after each of passes first to last.

    Right before: everything by hand being done. For each needle of the span its loops, as indices into
    `PassYarns.yarns`.
    """
    back = LOOKED_BACK
    while True:
        start = max(1, first - back)
        found = [(before.tolist(), after.tolist()) for before, after in _followed(plan, start, first, last)]
        unknown = start > 1 and any(_UNKNOWN in loops for before, _ in found for loops in before)
        if not unknown or back >= LOOKED_BACK_MOST:
            return [(_known(plan, before), _known(plan, after)) for before, after in found]
        back *= 2


def on_second(plan: Plan, first: int, last: int) -> list[tuple[list[int], list[int]]]:
    """The second bed's needles right before and right after each of passes first to last: of each the yarn of its loop.

    Yarns are indices into `PassYarns.yarns`; both lists are empty for a pass on one bed. A loop that is older than
    the band is shown in the yarn with which the piece began, as on the pattern bed.
    """
    found: list[tuple[list[int], list[int]]] = []
    carried = pass_yarns(plan).first
    for number in range(first, last + 1):
        band = plan.band_of(number)
        if not band.technique.double_bed:
            found.append(([], []))
            continue
        start = max(band.first, number - LOOKED_BACK_MOST)
        if found and found[-1][1] and number > band.first:
            loops = np.array(found[-1][1])
        else:
            loops = np.full(plan.span.width, _cast_on_yarn(plan))
            earlier = second_needles(plan.second_bed[start - 1 : number - 1], plan.span.width)
            for knitting, yarn in zip(earlier, carried[start - 1 : number - 1].tolist(), strict=True):
                loops[knitting] = yarn
        knitting = second_needles(plan.second_bed[number - 1 : number], plan.span.width)[0]
        found.append((loops.tolist(), np.where(knitting, carried[number - 1], loops).tolist()))
    return found


_UNKNOWN = -1  # the yarn of a loop that was there at the start


def _known(plan: Plan, loops: Hanging) -> Hanging:
    """As in the pictures of the fabric: what was cast on is shown in the yarn of the first pass that has one."""
    cast_on = _cast_on_yarn(plan)
    return [tuple(cast_on if yarn == _UNKNOWN else yarn for yarn in one) for one in loops]


def _cast_on_yarn(plan: Plan) -> int:
    carried = pass_yarns(plan).first
    carried = carried[carried >= 0]
    return int(carried[0]) if len(carried) else 0


def _followed(plan: Plan, start: int, first: int, last: int) -> Iterator[tuple[Loops, Loops]]:
    """Pass by pass from `start` on; what hangs on the needles before and after each of passes first to last."""
    yarns = pass_yarns(plan)
    loops = _filled(plan.span.width, ())
    loops[begun(plan, start)] = _one((_UNKNOWN,))
    codes = does(plan, start, last)
    for number in range(start, last + 1):
        for step in plan.hand_before(number) if start == 1 or number > start else ():
            loops = _worked(loops, step, _carried(plan, number))
        before = loops.copy()
        acts = codes[number - start]
        made = knits(acts)
        loops[made & takes_first(acts)] = _one((int(yarns.first[number - 1]),))
        loops[made & takes_second(acts)] = _one((int(yarns.second[number - 1]),))
        for needle in np.flatnonzero(acts == Does.TUCK).tolist():
            loops[needle] = (*loops[needle], int(yarns.first[number - 1]))
        if number >= first:
            yield before, loops.copy()


def _carried(plan: Plan, number: int) -> int:
    """The yarn of a loop that is made by hand before a pass."""
    return max(int(pass_yarns(plan).first[number - 1]), 0)


def _worked(loops: Loops, step: HandStep, carried: int) -> Loops:
    onto = goes(step, len(loops))
    after = _filled(len(loops), ())
    for needle in np.flatnonzero(onto != GONE).tolist():
        after[onto[needle]] = after[onto[needle]] + loops[needle]
    if kind_of(step).makes:
        for needle in range(step.first, step.last + 1):
            after[needle] = (*after[needle], carried)
    return after


def _filled(width: int, value: tuple[int, ...]) -> Loops:
    loops = np.empty(width, dtype=object)
    loops[:] = _one(value)
    return loops


def _one(value: tuple[int, ...]) -> Loops:
    """A tuple as one thing, which numpy would otherwise spread."""
    one = np.empty(1, dtype=object)
    one[0] = value
    return one
