"""The whole simulated bench: what the needles do is what the plan says, whatever the hand does."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sim_driver import Told, knit, small_plan

from latchline.link.messages import TICK_US
from latchline.machine.profile import load_profile, parse_profile, shipped_profiles
from latchline.sim.board.board import ModelBoard
from latchline.sim.port import SimPort
from strategies import simulator_addresses


def wrong_needles(told: Told, plan: object) -> list[int]:
    """For each pass that the host counts, how many needles stand otherwise than planned."""
    knitted = told.port.world.knitted
    assert len(knitted) == len(told.done)
    return [
        int(np.count_nonzero(one.selected != plan.selected(number)))  # type: ignore[attr-defined]
        for number, one in enumerate(knitted, 1)
    ]


@settings(max_examples=25)
@given(simulator_addresses(), st.integers(0, 2**16), st.integers(1, 60), st.booleans())
def test_the_needles_selected_are_those_of_the_plan(address: str, seed: int, width: int, start_right: bool) -> None:
    name = address.partition("//")[2].partition("?")[0]
    plan = small_plan(name, passes=4, seed=seed, width=width, start_right=start_right)
    told = knit(plan, address)
    assert [done.number for done in told.done] == [1, 2, 3, 4]
    assert all(done.as_planned for done in told.done)
    assert wrong_needles(told, plan) == [0, 0, 0, 0]


@pytest.mark.parametrize("name", shipped_profiles())
@pytest.mark.parametrize("start_right", [False, True])
def test_every_shipped_machine_knits_its_whole_bed_from_either_side(name: str, start_right: bool) -> None:
    plan = small_plan(name, passes=6, start_right=start_right)
    told = knit(plan, f"sim://{name}?seed=5")
    assert not told.faults
    assert wrong_needles(told, plan) == [0] * 6
    assert [one.rightward for one in told.port.world.knitted] == plan.rightward.tolist()


def test_a_selector_that_selects_with_its_coil_off_selects_the_same_needles() -> None:
    text = load_profile("standard-200").source.replace("limit_ms = 1000", 'limit_ms = 2000\nactive = "low"')
    profile = parse_profile(text, name="low", file="low.toml")
    plan = small_plan(profile, passes=4, width=20)
    told = knit(plan, "sim://standard-200?seed=1&pace=60&pauses=0&backing-up=0", machine=profile)
    span = slice(plan.span.first, plan.span.last + 1)  # beside it such a machine selects, as nothing drives it
    for number, one in enumerate(told.port.world.knitted, 1):
        assert one.selected[span].tolist() == plan.masks[number - 1].tolist()


def test_the_same_seed_gives_the_same_run_and_another_one_another() -> None:
    plan = small_plan(passes=3)
    runs = [knit(plan, f"sim://standard-200?seed={seed}") for seed in (4, 4, 5)]
    ends = [[one.end_us for one in told.port.world.knitted] for told in runs]
    assert ends[0] == ends[1] != ends[2]
    assert [done.report for done in runs[0].done] == [done.report for done in runs[1].done]


@pytest.mark.parametrize("seed", [2, 6])
def test_a_stroke_goes_the_same_way_in_one_slice_as_in_many(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    plan = small_plan(passes=5, width=60)
    address = f"sim://standard-200?seed={seed}&pauses=0.5&backing-up=0.5"
    at_one_go = knit(plan, address, wait_s=2.5)
    monkeypatch.setattr(SimPort, "make_board", staticmethod(lambda analog: ModelBoard(analog=analog)))
    in_slices = knit(plan, address)
    assert [done.report for done in at_one_go.done] == [done.report for done in in_slices.done]
    for one, other in zip(at_one_go.port.world.knitted, in_slices.port.world.knitted, strict=True):
        assert (one.begin_us, one.end_us, one.selected.tolist()) == (
            other.begin_us,
            other.end_us,
            other.selected.tolist(),
        )


@pytest.mark.parametrize(("pace", "width"), [(20, 200), (30, 200), (40, 200), (60, 40), (30, 10)])
def test_the_hand_keeps_its_pace(pace: int, width: int) -> None:
    told = knit(small_plan(passes=12, width=width), f"sim://standard-200?seed=2&pace={pace}&pauses=0&backing-up=0")
    begins = [one.begin_us for one in told.port.world.knitted]
    assert 60e6 / float(np.mean(np.diff(begins))) == pytest.approx(pace, rel=0.15)


def test_the_report_of_a_pass_agrees_with_the_clock_on_the_wall() -> None:
    told = knit(small_plan(passes=6), "sim://standard-200?seed=9")
    for done, one in zip(told.done, told.port.world.knitted, strict=True):
        assert done.report.start == one.begin_us // TICK_US
        ends = [one.begin_us, *one.tenth_us]
        for units, begin, end in zip(done.report.tenth_units, ends, ends[1:], strict=False):
            assert units == pytest.approx((end - begin) / 256, abs=1.1)


def test_the_carriage_waits_at_the_turn_as_long_as_the_lamp_is_dark() -> None:
    plan = small_plan(passes=3)
    told = knit(plan, "sim://standard-200?seed=3&fault=full:1", wait_s=3.0)
    assert [done.number for done in told.done] == [1, 2, 3]
    assert not told.faults
    assert wrong_needles(told, plan) == [0] * 3


def test_the_reference_comes_first_and_the_plan_says_from_which_side(tmp_path: Path) -> None:
    told = knit(small_plan(passes=1, start_right=True), f"sim://standard-200?seed=3&trace={tmp_path / 'run.vcd'}")
    trace = told.port.world.trace
    assert trace is not None
    position = next(line for line in trace.lines(told.port.world.knitted) if line.name == "position")
    first = told.port.world.knitted[0].begin_us
    profile = load_profile("standard-200")
    assert position.values[position.at_us < first].max() >= profile.right_sensor_edge


def test_a_carriage_that_only_stands_still_for_a_moment_has_not_backed_up() -> None:
    """Standing long enough for a coil to come to rest, she takes it back a needle; else she just goes on."""
    told = knit(small_plan(passes=40, width=40), "sim://standard-200?seed=3&pauses=1&backing-up=0")
    stood = [done.report for done in told.done if done.report.stops]
    assert len(stood) > 20
    backed = sum(bool(report.backings) for report in stood)
    assert 0 < backed < len(stood)
