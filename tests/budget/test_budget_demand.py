"""What a piece asks of the selectors, against a loop that walks the carriage edge by edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.errors import ProfileError
from latchline.machine.demand import measure_demand, most_at_once, needing_current
from latchline.machine.profile import Profile, load_profile
from strategies import selections

PROFILES = ("standard-200", "double-180", "mid-150", "chunky-112")
Masks = npt.NDArray[np.bool_]


def registers_of_a_pass(
    profile: Profile, mask: npt.NDArray[np.bool_], first: int, rightward: bool, advance: int
) -> list[int]:
    """The selector register at every edge of one pass: bit n for selector n, from the rule alone."""
    selectors, edges = profile.selectors, profile.edges_per_needle
    travel = 1 if rightward else -1
    lead = profile.lead_edges("rightward" if rightward else "leftward")
    lowest, highest = (first - 40) * edges, (first + len(mask) + 40) * edges
    values = []
    for position in range(lowest, highest):
        value = 0
        for column, current in enumerate(mask ^ (selectors.active == "low")):
            needle = first + column
            point = needle * edges - travel * lead
            passed = (position - point) * travel
            if current and -advance <= passed < selectors.hold_edges:
                bank = selectors.layout == "bank"
                value |= 1 << (needle % selectors.count if bank else 0 if rightward or selectors.count == 1 else 1)
        values.append(value)
    return values


@pytest.mark.parametrize("active", ["high", "low"])
@pytest.mark.parametrize("name", PROFILES)
@given(data=st.data())
def test_the_most_selectors_at_once_equals_a_count_edge_by_edge(name: str, active: str, data: st.DataObject) -> None:
    profile = load_profile(name)
    profile = replace(profile, selectors=replace(profile.selectors, active=active))
    masks, first = data.draw(selections(needles=profile.needles))
    advance = data.draw(st.integers(1, profile.advance_max_edges))
    counted = max(
        value.bit_count()
        for n, mask in enumerate(masks)
        for value in registers_of_a_pass(profile, mask, first, bool(n % 2), advance)
    )
    assert most_at_once(profile, needing_current(profile, masks), advance) == counted


@pytest.mark.parametrize("name", PROFILES)
@given(data=st.data())
def test_the_duty_of_each_selector_equals_the_time_added_up_needle_by_needle(name: str, data: st.DataObject) -> None:
    profile = load_profile(name)
    masks, first = data.draw(selections(needles=profile.needles))
    pace = data.draw(st.floats(5, 60))
    demand = measure_demand(profile, masks, first, pace)
    on_s = np.zeros((len(masks), profile.selectors.count))
    width_mm = (masks.shape[1] + 2 * profile.turn_clearance_needles) * profile.pitch_mm
    edge_ms = profile.edge_mm / (width_mm / 1000 * pace / 60)
    for n, mask in enumerate(masks):
        for column, selected in enumerate(mask):
            bank = profile.selectors.layout == "bank"
            one = (first + column) % profile.selectors.count if bank else (1 - n % 2) * (profile.selectors.count - 1)
            room = profile.edges_per_needle * (profile.selectors.count if bank else 1)
            edges = min(profile.advance_max_edges + profile.selectors.hold_edges, room)
            on_s[n, one] += selected * edges * edge_ms / 1000
    assert demand.duty_pass == pytest.approx(np.minimum(on_s.max(axis=0) * pace / 60, 1))
    assert demand.duty == pytest.approx(np.minimum(on_s.mean(axis=0) * pace / 60, 1))


@given(st.data())
def test_a_selector_more_never_lowers_the_count_at_once(data: st.DataObject) -> None:
    profile = load_profile("standard-200")
    masks, _ = data.draw(selections(needles=profile.needles))
    more = masks.copy()
    more[data.draw(st.integers(0, len(masks) - 1)), data.draw(st.integers(0, masks.shape[1] - 1))] = True
    advance = profile.advance_max_edges
    assert most_at_once(profile, more, advance) >= most_at_once(profile, masks, advance)


@given(st.floats(5, 60), st.floats(1.01, 3))
def test_a_faster_pace_keeps_no_more_selectors_on_at_once(pace: float, faster: float) -> None:
    profile = load_profile("standard-200")
    masks = np.ones((1, 40), dtype=np.bool_)
    slow, fast = (measure_demand(profile, masks, 80, p) for p in (pace, pace * faster))
    assert fast.peak_m_s > slow.peak_m_s
    assert fast.at_once == slow.at_once == fast.at_once_fastest


def test_a_selector_that_is_active_low_is_on_for_the_needles_that_it_does_not_select() -> None:
    profile = load_profile("standard-200")
    low = replace(profile, selectors=replace(profile.selectors, active="low"))
    masks = np.random.default_rng(3).random((6, 80)) < 0.4
    high_demand, low_demand = measure_demand(profile, ~masks, 60, 30), measure_demand(low, masks, 60, 30)
    assert low_demand.duty == pytest.approx(high_demand.duty)
    assert low_demand.at_once == high_demand.at_once


def test_an_empty_selection_asks_for_nothing() -> None:
    demand = measure_demand(load_profile("standard-200"), np.zeros((3, 20), dtype=np.bool_), 0, 30)
    assert (demand.at_once, demand.mean_at_once) == (0, 0)


@pytest.mark.parametrize(
    ("shape", "first", "pace"),
    [
        ((0, 20), 0, 30),
        ((2, 0), 0, 30),
        ((2, 20), 181, 30),
        ((2, 20), 0, 0),
        ((2, 20), 0, -5),
        ((2, 20), 0, float("nan")),
    ],
)
def test_masks_off_the_bed_and_paces_that_cannot_be_are_refused(
    shape: tuple[int, int], first: int, pace: float
) -> None:
    with pytest.raises(ProfileError):
        measure_demand(load_profile("standard-200"), np.ones(shape, dtype=np.bool_), first, pace)


def test_a_longer_hold_keeps_more_selectors_on() -> None:
    profile = load_profile("standard-200")
    longer = replace(profile, selectors=replace(profile.selectors, hold_edges=16))
    masks = np.ones((1, 60), dtype=np.bool_)
    assert most_at_once(longer, masks, 4) == 5  # 20 edges of 4 a needle
    assert most_at_once(profile, masks, 4) == 2  # 5 edges
