"""The host, from its frames down to the needles, with the firmware at the other end of the line."""

from __future__ import annotations

import numpy as np
import pytest
from sim_driver import knit, small_plan

from boards import chip, native, ports

KINDS = [
    pytest.param(
        "native", marks=[pytest.mark.native, pytest.mark.skipif(bool(native.missing()), reason="there is no gcc")]
    ),
    pytest.param(
        "emu", marks=[pytest.mark.chip, pytest.mark.skipif(bool(chip.missing()), reason="there is no avr-gcc")]
    ),
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("profile", ["standard-200", "double-180", "mid-150", "chunky-112"])
def test_the_needles_knit_the_plan(kind: str, profile: str) -> None:
    ports.register()
    plan = small_plan(profile, passes=6)
    told = knit(plan, f"{kind}://{profile}?seed=3")
    assert not told.faults
    assert [done.number for done in told.done] == list(range(1, 7))
    for number, knitted in enumerate(told.port.world.knitted, 1):
        assert np.array_equal(knitted.selected, plan.selected(number))


@pytest.mark.parametrize("kind", KINDS)
def test_a_line_that_damages_frames_costs_time_and_no_needle(kind: str) -> None:
    ports.register()
    plan = small_plan("standard-200", passes=12, seed=5)
    told = knit(plan, f"{kind}://standard-200?seed=4&fault=flip:0.0005&fault=drop:0.0005&fault=double:0.0005")
    assert [done.number for done in told.done] == list(range(1, 13))
    knitted = list(told.port.world.knitted)
    assert len(knitted) == 12
    for number, one in enumerate(knitted, 1):
        assert np.array_equal(one.selected, plan.selected(number))
