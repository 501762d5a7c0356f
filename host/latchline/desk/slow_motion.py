"""What the page needs to show passes in slow motion: all of it read off the plan and the loops, pass by pass."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from latchline.desk.document import Looked
from latchline.errors import InputError
from latchline.fabric.layout import second_needles
from latchline.fabric.loops import does, pass_yarns
from latchline.fabric.on_needles import on_needles, on_second
from latchline.knit.folding import names_of
from latchline.plan.model import EVERY, FROM, REST, Plan
from latchline.technique.model import Does, SecondBed

PASSES_MAX = 40
DOES = {
    Does.KNIT: "k",
    Does.KNIT_CONTRAST: "c",
    Does.TUCK: "t",
    Does.MISS: "m",
    Does.HELD: "h",
    Does.LAID_OVER: "o",
    Does.LAID_UNDER: "u",
    Does.OUT: "-",
}
_LETTERS = np.array([DOES[one] for one in sorted(Does)])


def slow_motion(looked: Looked, first: int, last: int) -> dict[str, Any]:
    """Passes first to last, and what they have in common. Raises InputError.

    Of each pass: does, a letter of DOES a needle; acting and driven, `1` where it is selected in this pass and
    where the selectors leave it selected; before and after, the yarns of the loops on each needle, oldest first,
    as places in yarns. second_does, second_before, second_after: the same of the second bed, `k` where its needle
    knits and `m` where it rests, with one loop a needle; empty for a pass on one bed.
    """
    plan = looked.plan
    first, last = min(max(first, 1), plan.passes), min(max(last, 1), plan.passes)
    if not 0 <= last - first < PASSES_MAX:
        raise InputError(f"at most {PASSES_MAX} passes are shown at once", hint="ask for fewer of them")
    carried, loops, second = pass_yarns(plan), on_needles(plan, first, last), on_second(plan, first, last)
    codes, acting, driven = does(plan, first, last), plan.acting_masks(first, last), plan.driven_masks(first, last)
    return {
        "name": plan.name,
        "passes": plan.passes,
        "needles": list(names_of(plan)),
        "ahead": plan.profile.drive == "next-pass",
        "yarns": [{"name": yarn.name, "colour": yarn.colour} for yarn in carried.yarns],
        "shown": [
            {
                "number": number,
                "direction": plan.direction(number),
                "band": plan.band_of(number).name,
                "technique": plan.band_of(number).technique.name,
                "chart_row": int(plan.chart_row[number - 1]),
                "steps": list(plan.actions(number)),
                "why_empty": plan.why_empty(number),
                "second_bed": _second_bed(plan, number),
                "first_yarn": int(carried.first[number - 1]),
                "second_yarn": int(carried.second[number - 1]),
                "does": "".join(_LETTERS[codes[at]].tolist()),
                "acting": _marks(acting[at]),
                "driven": _marks(driven[at]),
                "before": [list(one) for one in loops[at][0]],
                "after": [list(one) for one in loops[at][1]],
                "second_does": _second_does(plan, number),
                "second_before": second[at][0],
                "second_after": second[at][1],
            }
            for at, number in enumerate(range(first, last + 1))
        ],
    }


def _marks(selected: npt.NDArray[np.bool_]) -> str:
    return "".join(np.where(selected, "1", "0").tolist())


def _second_bed(plan: Plan, number: int) -> str:
    """Which needles of the second bed knit in a pass; empty on a single bed."""
    if not plan.band_of(number).technique.double_bed:
        return ""
    second = SecondBed(int(plan.second_bed[number - 1]))
    return FROM.get(second) or (EVERY if second is SecondBed.ALL else REST)


def _second_does(plan: Plan, number: int) -> str:
    if not plan.band_of(number).technique.double_bed:
        return ""
    knitting = second_needles(plan.second_bed[number - 1 : number], plan.span.width)[0]
    return "".join(np.where(knitting, DOES[Does.KNIT], DOES[Does.MISS]).tolist())
