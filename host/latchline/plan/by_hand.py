"""Floats that are caught by hand: the picture is left alone, and a list says which needle, in which row."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from latchline.plan.catches import Limited, catches
from latchline.plan.hand import HandStep
from latchline.plan.model import Band, Plan
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
