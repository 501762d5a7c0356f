"""The simulated hand: places without gaps, times that only rise, speeds that a hand and a machine can bear."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.machine.profile import load_profile, shipped_profiles
from latchline.sim.carriage import BRISKEST_M_S2, ENCODER_UNEVEN, TURN_S, Hand, cruise_us, reached_rows_min, stroke

profiles = st.sampled_from(shipped_profiles()).map(load_profile)
STEADY = Hand(jitter=0)


@given(profiles, st.lists(st.integers(-200, 1000), min_size=2, max_size=6), st.integers(0, 99), st.booleans())
def test_a_stroke_goes_edge_by_edge_through_all_its_turns(profile, turns, seed, fast) -> None:  # type: ignore[no-untyped-def]
    motion = stroke(np.random.default_rng(seed), profile, Hand(), turns, 2000, begin_us=5000, fast=fast)
    wanted: list[int] = []
    place = turns[0]
    for turn in turns[1:]:
        step = 1 if turn > place else -1
        wanted += range(place + step, turn + step, step) if turn != place else []
        place = turn
    assert motion.places.tolist() == wanted
    assert (np.diff(motion.at_us, prepend=5000) > 0).all()


@given(profiles, st.floats(10, 120), st.integers(0, 99))
def test_a_hand_stays_below_the_machines_highest_speed(profile, pace, seed) -> None:  # type: ignore[no-untyped-def]
    hand = Hand(rows_per_minute=pace)
    edges = profile.needles * profile.edges_per_needle
    motion = stroke(np.random.default_rng(seed), profile, hand, [0, edges], cruise_us(profile, hand, edges), begin_us=0)
    speed_m_s = profile.edge_mm / np.diff(motion.at_us) * 1000
    assert speed_m_s.max() < profile.speed_max_m_s


@given(profiles, st.integers(20, 60))
def test_a_hand_gathers_speed_no_quicker_than_it_can_push(profile, pace) -> None:  # type: ignore[no-untyped-def]
    """v² = 2·a·s from standing still, v taken over one edge, the encoder's own unevenness allowed for."""
    hand = Hand(rows_per_minute=pace, jitter=0)
    edges = profile.needles * profile.edges_per_needle
    motion = stroke(np.random.default_rng(1), profile, hand, [0, edges], cruise_us(profile, hand, edges), begin_us=0)
    speed_m_s = profile.edge_mm / np.diff(motion.at_us) * 1000
    way_m = motion.places[1:] * profile.edge_mm / 1000
    quick = speed_m_s**2 > 2 * BRISKEST_M_S2 * way_m * (1 + 2.5 * ENCODER_UNEVEN) ** 2
    slowest = speed_m_s.max() * 0.11  # it does not quite begin from nothing
    assert not (quick & (speed_m_s > slowest)).any()


def test_a_pause_lasts_as_long_as_it_is_told_to() -> None:
    profile = load_profile("standard-200")
    motion = stroke(np.random.default_rng(1), profile, STEADY, [0, 100, 200], 2000, begin_us=0, pauses={1: 700_000})
    assert np.diff(motion.at_us)[99] == pytest.approx(700_000, rel=0.05)


def test_a_lifted_carriage_comes_down_elsewhere() -> None:
    profile = load_profile("standard-200")
    motion = stroke(np.random.default_rng(1), profile, STEADY, [0, 100], 2000, begin_us=0, lifted=7)
    assert sorted(set(np.diff(motion.places).tolist())) == [1, 8]


@pytest.mark.parametrize("needles", [20, 60, 200])
@pytest.mark.parametrize("machine", ["standard-200", "double-180", "mid-150"])
def test_who_asks_for_a_quicker_pace_never_gets_a_slower_one(machine: str, needles: int) -> None:
    profile = load_profile(machine)
    edges = min(needles, profile.needles) * profile.edges_per_needle
    asked = [5, 10, 20, 30, 45, 60, 90, 120, 150, 300, 600]
    hands = [Hand(rows_per_minute=pace, jitter=0) for pace in asked]
    times = [cruise_us(profile, hand, edges) for hand in hands]
    assert times == sorted(times, reverse=True)
    told = [reached_rows_min(profile, hand, edges) for hand in hands]
    assert told == sorted(told)
    for hand, edge_us, reached in zip(hands, times, told, strict=True):
        motion = stroke(np.random.default_rng(1), profile, hand, [0, edges], edge_us, begin_us=0)
        really = min(60 / (motion.at_us[-1] / 1e6 + TURN_S), hand.rows_per_minute)
        assert reached == pytest.approx(really, rel=0.08)
