"""Where loops lie in the fabric: heights, stretched loops and the second bed."""

from __future__ import annotations

import numpy as np
import pytest
from fabric.charts_by_hand import chart, plan_of
from hypothesis import given

import strategies
from latchline.chart.model import Colour
from latchline.fabric.layout import courses_of, layout, second_needles
from latchline.plan.model import Plan
from latchline.technique.model import Does, SecondBed

KNITS = (Does.KNIT, Does.KNIT_CONTRAST, Does.LAID_OVER, Does.LAID_UNDER)


@given(strategies.plans())
def test_a_loop_reaches_to_the_pass_that_draws_through_it(plan: Plan) -> None:
    """Looked for upwards, needle by needle; the picture's own way goes by whole arrays."""
    loops = layout(plan)
    for needle in range(loops.width):
        codes = loops.acts[:, needle].tolist()
        for number, code in enumerate(codes):
            if code not in (*KNITS, Does.TUCK):
                continue
            later = [at for at in range(number + 1, plan.passes) if codes[at] in KNITS]
            assert loops.top[number, needle] == loops.base[later[0] if later else plan.passes]
            if code in KNITS:
                waiting = codes[number + 1 : later[0] if later else plan.passes]
                assert loops.tucked[number, needle] == (Does.TUCK in waiting)


@given(strategies.plans())
def test_no_loop_reaches_downwards_and_none_beyond_the_top(plan: Plan) -> None:
    for back in (False, True):
        loops = layout(plan, back=back)
        assert loops.base[0] == 0
        assert loops.base.min() >= 0
        assert loops.base[-1] == pytest.approx(loops.base.max())
        assert loops.base[-1] == pytest.approx(courses_of(plan))
        knitted = np.isin(loops.acts, KNITS)
        assert ((loops.top - loops.base[:-1, None])[knitted] >= 0).all()


@pytest.mark.parametrize(("separation", "courses"), [("doubled", 2), ("blank-return", 1), ("paired", 1)])
def test_colours_that_share_a_row_lie_at_the_same_height(separation: str, courses: int) -> None:
    palette = [Colour(250, 250, 250), Colour(0, 0, 90), Colour(200, 0, 0)]
    plan = plan_of("slip-colours", chart(["012012", "001122", "210210"], palette), separation=separation)
    loops = layout(plan)
    assert loops.courses == 3 * courses
    knitted = np.isin(loops.acts, KNITS)
    assert np.allclose((loops.top - loops.base[:-1, None])[knitted], 1)


@given(strategies.plans())
def test_a_part_of_a_piece_has_the_loops_of_that_part(plan: Plan) -> None:
    first = 1 + plan.passes // 2
    whole, part = layout(plan), layout(plan, first=first)
    assert np.array_equal(part.acts, whole.acts[first - 1 :])
    assert np.array_equal(part.yarn, whole.yarn[first - 1 :])


@pytest.mark.parametrize("separation", ["doubled", "blank-return", "paired"])
def test_a_picture_that_begins_within_a_row_keeps_its_colours_side_by_side(separation: str) -> None:
    plan = plan_of("slip-colours", chart(["x..x.x", ".xx..x", "xx...."]), separation=separation)
    for first in range(1, plan.passes + 1):
        part = layout(plan, first=first)
        knitted = np.isin(part.acts, KNITS)
        assert np.allclose((part.top - part.base[:-1, None])[knitted], 1), first


def test_back_needles_are_all_every_other_one_or_none() -> None:
    kinds = np.array([SecondBed.REST, SecondBed.ALL, SecondBed.EVEN, SecondBed.ODD], dtype=np.uint8)
    assert second_needles(kinds, 5).astype(int).tolist() == [
        *([0, 0, 0, 0, 0], [1, 1, 1, 1, 1], [1, 0, 1, 0, 1], [0, 1, 0, 1, 0]),
    ]
