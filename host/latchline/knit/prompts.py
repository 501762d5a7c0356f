"""What the knitter is told before a pass, beyond what the plan itself says. Computed, not printed."""

from __future__ import annotations

from latchline.plan.limits import weights_due
from latchline.plan.model import Plan


def before(plan: Plan, number: int) -> tuple[str, ...]:
    """One thing a line; empty when the pass needs nothing."""
    lines = plan.actions(number)
    if weights_due(plan, number):
        lines = (*lines, "move the weights up")
    return lines


def following(plan: Plan, number: int, within: int = 200) -> int | None:
    """The first pass from `number` on that has something to be done before it, looking `within` passes ahead."""
    return next((n for n in range(number, min(plan.passes, number + within) + 1) if before(plan, n)), None)


def next_band(plan: Plan, number: int) -> int | None:
    """The first pass of the next band after pass `number`."""
    return next((band.first for band in plan.bands if band.first > number), None)


def carriage(plan: Plan, done: int) -> tuple[str, ...]:
    """Where fabric and carriage must be before pass done + 1, which is within the plan."""
    side = "left" if plan.rightward[done] else "right"
    last = (f"pass {done} is the last one that counts: undo whatever lies above it",) if done else ()
    return (*last, f"put the carriage at the {side}, past the end sensor")


def set_up(plan: Plan, done: int) -> tuple[str, ...]:
    """What to do before going on with pass done + 1, with the carriage anywhere and a pass perhaps half knitted."""
    coming = done + 1
    first = plan.band_of(coming).first
    notes = plan.notes.get(first, ()) if coming != first else ()
    *undo, side = carriage(plan, done)
    return (*undo, *notes, *before(plan, coming), side)
