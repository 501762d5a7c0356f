"""The rows that are asked about, drawn as the needles lie."""

from __future__ import annotations

import numpy as np
from hypothesis import given

from latchline.knit.candidates import HELD, RESTS, SELECTED, UNSELECTED, candidates, marks, meaning
from latchline.plan.hand import Position
from latchline.plan.model import Plan
from strategies import shaped_plans


@given(shaped_plans())
def test_a_needle_is_drawn_as_it_stands(plan: Plan) -> None:
    for number in range(1, plan.passes + 1):
        drawn = np.array(list(marks(plan, number)))
        positions, selected = plan.positions_of(number, number)[0], plan.acting_masks(number, number)[0]
        working = positions == Position.WORK
        assert ((drawn == HELD) == (positions == Position.HELD)).all()
        assert ((drawn == RESTS) == (positions == Position.OUT)).all()
        assert ((drawn == SELECTED) == (working & selected)).all()
        assert ((drawn == UNSELECTED) == (working & ~selected)).all()


@given(shaped_plans())
def test_every_mark_that_is_drawn_is_explained(plan: Plan) -> None:
    for number in range(1, plan.passes + 1):
        told, drawn = meaning(plan, number), set(marks(plan, number))
        assert (HELD in drawn) == any(line.startswith(HELD) for line in told)
        assert (RESTS in drawn) == any(line.startswith(RESTS) for line in told)
        shown = "\n".join(candidates(plan, [number]))
        assert all(mark in shown for mark in drawn)
