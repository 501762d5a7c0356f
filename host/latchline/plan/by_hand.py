"""What the plan itself asks of hands.

Floats to be caught, needles to be set that the carriage could not select, and what is done on the second bed where
hands work on the pattern bed.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

import numpy as np
import numpy.typing as npt

from latchline.plan.catches import Limited, catches
from latchline.plan.hand import GONE, WORK, HandStep, Position, goes, kind_of
from latchline.plan.model import Band, Plan
from latchline.runs import runs
from latchline.technique.model import Does

Bools = npt.NDArray[np.bool_]

BETWEEN = Limited(True, False, at_ends=False)  # a float lies between two needles that take its yarn
PASSES_AT_ONCE = 4096
TAKES = (Does.KNIT, Does.TUCK)


def catch_steps(plan: Plan) -> tuple[HandStep, ...]:
    """For each band that asks for it, what is to be caught after each pass: the fewest places, staggered."""
    return tuple(step for band in plan.bands if band.options.catch_floats for step in _of_band(plan, band))


def _of_band(plan: Plan, band: Band) -> Iterator[HandStep]:
    for low in range(band.first, band.last + 1, PASSES_AT_ONCE):
        high = min(low + PASSES_AT_ONCE - 1, band.last)
        turn = plan.knitted_row[low - 1 : high] % 4
        caught = [catches(taken, band.options.catch_floats, BETWEEN, turn) for taken in _taken(plan, band, low, high)]
        for number in range(low, high + 1):
            yarns = plan.yarns_of(number)
            for place, of_yarn in enumerate(caught):
                needles = np.flatnonzero(of_yarn[number - low]).tolist()
                if needles:
                    names = ", ".join(plan.places_name(needle, needle) for needle in needles)
                    words = f"{yarns[min(place, len(yarns) - 1)].name} on {names}"
                    yield HandStep(number + 1, "catch", needles[0], needles[-1], words=words)


def _taken(plan: Plan, band: Band, low: int, high: int) -> list[Bools]:
    """Which needles take the first yarn of each pass, and, where there are two, the second."""
    masks = plan.acting_masks(low, high)
    kinds = [band.technique.cams_for(plan.direction(number), band.way) for number in range(low, high + 1)]
    selected = np.array([cams.selected for cams in kinds])[:, None]
    unselected = np.array([cams.unselected for cams in kinds])[:, None]
    does = np.where(masks, selected, unselected)
    taken: list[Bools] = [np.isin(does, TAKES)]
    if band.technique.yarns == 2:
        taken.append(does == Does.KNIT_CONTRAST)
    return taken


def with_second_bed(plan: Plan) -> tuple[HandStep, ...]:
    """All hand steps, with those for the second bed where it has loops, gets or loses them: common practice, no source.

    Its loops are taken onto the pattern bed before what is bound off or taken off, and before a band on one bed; its
    needles come into work, are held and go with those of the pattern bed. Only for a piece that is shaped by hand.
    """
    if not plan.shaped or not any(band.technique.double_bed for band in plan.bands):
        return plan.hand
    by_pass = {before: tuple(steps) for before, steps in groupby(plan.hand, key=lambda step: step.before)}
    comes, goes_off = _second_comes_and_goes(plan)
    steps: list[HandStep] = []
    for before in sorted({*by_pass, *comes, *goes_off}):
        there = plan.on_two_beds(max(before - 1, 1)) and before not in goes_off
        first = _over(plan, before - 1, before, "second-onto") if before in goes_off else []
        then = _over(plan, before, before, "second-in") if before in comes else []
        own = by_pass.get(before, ())
        for step in own if there else [step for step in own if step.kind == "hold"] if before in comes else ():
            earlier, later = _second(plan, step)
            first, then = first + earlier, then + later
        steps += [*first, *own, *sorted(then, key=lambda step: LATER.index(step.kind))]  # each kind in one line
    return tuple(steps)


def _second_comes_and_goes(plan: Plan) -> tuple[set[int], set[int]]:
    """The passes before which the second bed begins to knit after a band on one bed, and before which it ends."""
    met = [(plan.on_two_beds(band.first - 1), plan.on_two_beds(band.first), band.first) for band in plan.bands[1:]]
    comes = {first for before, here, first in met if here and not before}
    return comes, {first for before, here, first in met if before and not here}


def _over(plan: Plan, number: int, before: int, kind: str) -> list[HandStep]:
    """A step over each stretch of needles that have loops in a pass."""
    _, first, last = runs((plan.positions_of(number, number)[0] != Position.OUT)[None, :], 0)
    return [HandStep(before, kind, low, high) for low, high in zip(first.tolist(), last.tolist(), strict=True)]


BOTH_OFF = ("bind-off", "onto-cord", "take-off", "buttonhole")
LATER = ("second-in", "second-move", "second-hold", "second-release")
LIKEWISE = {"hold": "second-hold", "release": "second-release", "into-work": "second-in", "wrap": "second-in"}


def _second(plan: Plan, step: HandStep) -> tuple[list[HandStep], list[HandStep]]:
    """What is done on the second bed before a step on the pattern bed, and after it."""

    def second(kind: str) -> HandStep:
        return HandStep(step.before, kind, step.first, step.last)

    if step.kind in BOTH_OFF:
        return [second("second-onto")], [second("second-in")] if step.kind == "buttonhole" else []
    if step.kind == "move" and step.leaves == Position.OUT:
        return [], [second("second-move")]
    if step.kind == "move" and step.before > 1:
        before = plan.positions_of(step.before - 1, step.before - 1)[0]
        targets = range(step.first + step.by, step.last + step.by + 1)
        return [], [HandStep(step.before, "second-in", at, at) for at in targets if before[at] == Position.OUT]
    return [], [second(LIKEWISE[step.kind])] if step.kind in LIKEWISE else []


def setting_steps(plan: Plan) -> tuple[HandStep, ...]:
    """Where needles are pushed one pass ahead: those that the hand brought into work since, or touched, and how each
    must stand for a pass in which selection makes a difference.
    """
    if plan.profile.drive != "next-pass":
        return ()
    return tuple(step for before, steps in groupby(plan.hand, key=lambda step: step.before)
                 for step in _settings(plan, before, list(steps)))  # fmt: skip


def _settings(plan: Plan, before: int, steps: list[HandStep]) -> Iterator[HandStep]:
    if before > plan.passes:
        return
    band = plan.band_of(before)
    cams = band.technique.cams_for(plan.direction(before), band.way)
    if cams.selected == cams.unselected:
        return
    fresh, unsettled = touched(steps, plan.span.width)
    working = plan.positions_of(before, before)[0] == Position.WORK
    selected = plan.acting_masks(before, before)[0]
    for kind, marks in (("forward", (fresh | unsettled) & selected), ("back", unsettled & ~selected)):
        _, first, last = runs((marks & working)[None, :])
        for low, high in zip(first.tolist(), last.tolist(), strict=True):
            yield HandStep(before, kind, low, high)


def touched(steps: list[HandStep], width: int) -> tuple[Bools, Bools]:
    """Which needles some steps bring into working position, not selected, and which may then stand anywhere."""
    fresh, unsettled = np.zeros(width, dtype=np.bool_), np.zeros(width, dtype=np.bool_)
    for step in steps:
        kind, here = kind_of(step), slice(step.first, step.last + 1)
        if kind.sets == WORK:
            fresh[here], unsettled[here] = True, False
        elif kind.unsettles:
            onto = goes(step, width)[here]
            unsettled[here] = True
            unsettled[onto[onto != GONE]] = True
    return fresh, unsettled
