"""What goes wrong between hands and needles: empty hooks, crowded ones, cables that don't reach, loops left."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from latchline.checks.look import Look
from latchline.checks.model import GOOD_TO_KNOW, LOOK_AT, MUST_MEND, Finding
from latchline.counted import counted
from latchline.plan.hand import Position
from latchline.runs import runs
from latchline.technique.model import Does


def empty_needles(look: Look) -> Iterator[Finding]:
    """Needles in work side by side that hold no loop when the carriage comes; one alone makes an eyelet."""
    for state in look.hanging:
        if state.before > look.plan.passes:
            continue
        working = look.plan.positions_of(state.before, state.before)[0] == Position.WORK
        empty = working & (state.loops == 0)
        _, first, last = runs(empty[None, :], 1)
        if len(first):
            worst = int(np.argmax(last - first))
            size = int(last[worst] - first[worst]) + 1
            yield Finding(
                rule="empty-needles",
                severity=MUST_MEND,
                band=look.plan.band_of(state.before).name,
                what=f"{size} needles side by side are in work without a loop",
                why="the yarn lies in their hooks as one long loop, and the next row drops it",
                todo="leave a loop between two empty needles, hang loops onto them, or put them out of work",
                chart_row=int(look.plan.chart_row[state.before - 1]),
                pass_first=state.before,
                pass_last=state.before,
                needles=look.needles(int(first[worst]), int(last[worst])),
                places=len(first),
                measured=size,
                limit=1,
            )
        stays = np.flatnonzero(empty & (look.codes[state.before - 1] == Does.MISS))
        if len(stays):
            yield Finding(
                rule="empty-needles",
                severity=LOOK_AT,
                band=look.plan.band_of(state.before).name,
                what="an empty needle misses in the pass that should give it a loop",
                why="a needle that takes no yarn stays empty, and the hole becomes a ladder",
                todo="let the chart knit there, or hang a loop onto the needle",
                chart_row=int(look.plan.chart_row[state.before - 1]),
                pass_first=state.before,
                pass_last=state.before,
                needles=look.needles(int(stays[0]), int(stays[0])),
                places=len(stays),
                measured=len(stays),
                limit=0,
            )


def loops_crowded(look: Look) -> Iterator[Finding]:
    """More loops on one needle than a stitch is easily drawn through."""
    limit = look.own.loops_on_needle
    for state in look.hanging:
        if state.before > look.plan.passes or not state.steps:
            continue
        most = int(state.loops.max())
        if most > limit:
            place = int(state.loops.argmax())
            yield Finding(
                rule="loops-crowded",
                severity=LOOK_AT,
                band=look.plan.band_of(state.before).name,
                what=f"{counted(most, 'loop hangs', 'loops hang')} on one needle",
                why="a stitch is hard to draw through so many, and the latch may not close over them",
                todo="spread the transfers, or knit that stitch by hand",
                pass_first=state.before,
                pass_last=state.before,
                needles=look.needles(place, place),
                places=int(np.count_nonzero(state.loops > limit)),
                measured=most,
                limit=limit,
            )


def cable_reach(look: Look) -> Iterator[Finding]:
    """Groups that cross over more needles than their loops stretch."""
    limit = look.own.cable_needles
    for band in look.plan.bands:
        wide = [step for step in look.hand_of(band) if step.kind == "cross" and step.needles > limit]
        if not wide:
            continue
        worst = max(wide, key=lambda step: step.needles)
        yield Finding(
            rule="cable-reach",
            severity=LOOK_AT,
            band=band.name,
            what=f"a cable crosses {worst.needles} needles",
            why="each loop is stretched over the other group; beyond that the yarn breaks or the needles bend",
            todo="cross fewer stitches, or knit the row before with a larger stitch size",
            pass_first=worst.before,
            pass_last=worst.before,
            needles=look.needles(worst.first, worst.last),
            places=len(wide),
            measured=worst.needles,
            limit=limit,
        )


def loops_left(look: Look) -> Iterator[Finding]:
    """Loops that still hang on the needles of a piece that was cast on, or of which some were taken off."""
    plan = look.plan
    if not plan.shaped or (plan.cast_on_loops().any() and not plan.hand_before(plan.passes + 1)):
        return
    last = look.hanging[-1]
    left = np.flatnonzero(last.loops)
    if len(left):
        yield Finding(
            rule="loops-left",
            severity=GOOD_TO_KNOW,
            band=plan.bands[-1].name,
            what=f"{counted(int(last.loops.sum()), 'loop hangs', 'loops hang')} on the needles after the last pass",
            why="the piece is cast on and not bound off, so that it would run down when it is taken off",
            todo='end it: add a band with end = "bound-off", "cord" or "waste"',
            pass_first=plan.passes,
            pass_last=plan.passes,
            needles=look.needles(int(left[0]), int(left[-1])),
            measured=int(last.loops.sum()),
            limit=0,
        )


def second_bed_loops(look: Look) -> Iterator[Finding]:
    """A piece on two beds that hands shape, begin or end, so that there is something to do on the second bed, too."""
    plan = look.plan
    band = next((band for band in plan.bands if band.technique.double_bed), None)
    if not plan.shaped or band is None:
        return
    yield Finding(
        rule="second-bed-loops",
        severity=LOOK_AT,
        band=band.name,
        what="the piece is shaped, begun or ended by hand, and a second bed knits in it",
        why="what is done by hand on the pattern bed is followed loop by loop; the second bed's loops are not",
        todo="do what the steps say of the second bed as well: its loops go with those of the pattern bed, and onto it "
        "before they are bound off",
        pass_first=band.first,
        pass_last=band.last,
    )
