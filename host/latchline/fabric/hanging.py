"""How many loops hang on each needle at the passes before which something is done by hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import numpy.typing as npt

from latchline.fabric.loops import Bools, Codes, does, knits
from latchline.plan.hand import GONE, HandStep, goes, kind_of
from latchline.plan.model import Plan
from latchline.technique.model import Does

CHUNK_PASSES = 2048

Counts = npt.NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Hanging:
    """The needles right before a pass (one more than the last: at the end), everything by hand being done.

    loops: int32 (width), how many hang on each. steps: what was done.
    """

    before: int
    loops: Counts
    steps: tuple[HandStep, ...]


def hanging(plan: Plan) -> Iterator[Hanging]:
    """Before the first pass, before each one with hand steps, and at the end."""
    loops = plan.cast_on_loops().astype(np.int32)
    due = {before: tuple(steps) for before, steps in groupby(plan.hand, key=lambda step: step.before)}
    marks = sorted({1, plan.passes + 1, *due})
    done = 0
    for before in marks:
        for low in range(done + 1, before, CHUNK_PASSES):
            loops = _knitted(loops, does(plan, low, min(low + CHUNK_PASSES - 1, before - 1)))
        done = before - 1
        for step in due.get(before, ()):
            loops = _worked(loops, step)
        yield Hanging(before, loops, due.get(before, ()))


def _knitted(loops: Counts, codes: Codes) -> Counts:
    """After some passes: a stitch leaves one loop, each tuck since then adds one."""
    made = knits(codes)
    since: Bools = np.logical_or.accumulate(made[::-1], axis=0)[::-1]  # whether it knits in this pass or later
    later = np.zeros_like(since)
    later[:-1] = since[1:]
    tucks = np.count_nonzero((codes == Does.TUCK) & ~later & ~made, axis=0).astype(np.int32)
    after: Counts = np.where(since[0], 1, loops).astype(np.int32) + tucks
    return after


def _worked(loops: Counts, step: HandStep) -> Counts:
    onto = goes(step, len(loops))
    after = np.zeros_like(loops)
    stays = onto != GONE
    np.add.at(after, onto[stays], loops[stays])
    if kind_of(step).makes:
        after[step.first : step.last + 1] += 1
    return after
