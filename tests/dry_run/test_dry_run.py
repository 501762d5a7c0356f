"""The main job, whole: chart → plan → serial code → board → carriage → needles, compared with the plan."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart, Colour
from latchline.dry_run import DryRun, address_of, compare, dry_run
from latchline.errors import InputError, KnittingError, LinkError, PortError
from latchline.link.messages import Done
from latchline.machine.needles import Span
from latchline.machine.profile import Profile, load_profile, parse_profile, profile_text, shipped_profiles
from latchline.piece.file import load_piece, parse_piece
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.sim.world import World
from latchline.technique.table import technique_named

TWO = (Colour(255, 255, 255), Colour(0, 0, 0))


def checks(rows: int = 12, machine: str = "standard-200", needles: str = "L10-R10") -> Plan:
    profile = load_profile(machine)
    band = BandRequest("checks", technique_named("fair-isle"), Options(rows=rows, alternate_needles="only"))
    return compile_plan("checks", profile, profile.span(needles), [band])


def knitted(plan: Plan, *faults: str, seed: int = 1, **habits: float) -> DryRun:
    address = address_of(plan, seed=seed, pace=None, faults=faults, trace="")
    more = "".join(f"&{name.replace('_', '-')}={value}" for name, value in habits.items())
    return dry_run(plan, address + more)


@pytest.mark.parametrize("machine", shipped_profiles())
def test_every_needle_stands_as_planned_on_every_shipped_machine(machine: str) -> None:
    result = knitted(checks(machine=machine))
    assert result.as_planned
    assert result.faults == ()
    assert result.compared == result.passes * load_profile(machine).needles


def test_the_whole_bed_can_be_knitted() -> None:
    assert knitted(checks(rows=4, needles="L100-R100")).as_planned


WIDENING = """
machine = "chunky-112"
needles = "L12-R12"
[[bands]]
begin = "wrapped"
needles = "L8-R8"
[[bands]]
technique = "tuck"
alternate_needles = "only"
rows = 10
shape = [{ by = 1, every = 3, times = 3 }]
hand = [{ do = "cross", row = 5, needles = "L2-R2" }]
"""


def test_where_needles_are_pushed_ahead_carriage_and_hands_are_compared_with_what_knits() -> None:
    plan = parse_piece(WIDENING).plan()
    assert knitted(plan).as_planned
    untold = replace(plan, hand=tuple(step for step in plan.hand if step.kind != "forward"))
    assert {needle.pass_number for needle in knitted(untold).wrong} == {
        step.before for step in plan.hand if step.kind == "forward"
    }


def test_where_a_coil_that_is_off_selects_the_needles_of_the_span_are_compared() -> None:
    text = profile_text("standard-200").replace("limit_ms = 1000", 'limit_ms = 1000\nactive = "low"')
    profile = parse_profile(text, name="mine", file="mine.toml")
    band = BandRequest("checks", technique_named("slip"), Options(rows=6, alternate_needles="only"))
    plan = compile_plan("checks", profile, profile.span("L20-R20"), [band])
    result = knitted(plan)
    assert (result.as_planned, result.compared) == (True, 6 * 40)
    assert {wrong.needle % 16 for wrong in knitted(plan, "coil-open:3").wrong} == {3}


@pytest.mark.parametrize("seed", [3, 11, 12, 17])
def test_a_coil_put_to_rest_selects_no_needle_in_silence_where_a_coil_that_is_off_selects(seed: int) -> None:
    """After a stop in mid row the hand goes back a needle, so that the coil pulls in again before it is needed;

    a hand that did not would get fault 7 (`tests/sim/test_model.py`).
    """
    text = profile_text("standard-200").replace("limit_ms = 1000", 'limit_ms = 1000\nactive = "low"')
    profile = parse_profile(text.replace("needles = 200", "needles = 60"), name="mine", file="mine.toml")
    band = BandRequest("checks", technique_named("slip"), Options(rows=8, row_repeat=2, alternate_needles="only"))
    result = knitted(compile_plan("checks", profile, profile.span("L20-R20"), [band]), seed=seed, pauses=0.5, pace=25)
    assert result.as_planned
    assert result.faults == ()


def test_an_address_that_makes_no_sense_is_refused_in_one_sentence() -> None:
    with pytest.raises(InputError) as caught:
        dry_run(checks(), "sim://standard-200?fault=earthquake")
    assert "earthquake" in caught.value.sentence()


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    profile = draw(st.sampled_from(shipped_profiles()).map(load_profile) | strategies.profiles())
    chart = draw(strategies.two_colour_charts(stitches=(2, 20), rows=(1, 8)))
    chart = Chart(chart.cells, TWO[: len(chart.palette)] if len(chart.palette) < 2 else TWO)
    width = draw(st.integers(2, min(60, profile.needles)))
    first = draw(st.integers(0, profile.needles - width))
    technique = draw(st.sampled_from(["tuck", "tuck-one-way", "slip", "slip-one-way", "fair-isle"]))
    options = Options(
        rows=draw(st.integers(1, 8)),
        row_repeat=draw(st.integers(1, 3)),
        reversal=draw(st.sampled_from([-1, 0, 1, 2])),
        alternate_needles=draw(st.sampled_from(["off", "only", "background", "within"])),
        shown_side=draw(st.sampled_from([None, "knit", "purl"])),
        edge_needles=draw(st.sampled_from([None, "knit", "as-chart"])),
    )
    start = draw(st.sampled_from([None, "left", "right"]))
    band = BandRequest("band", technique_named(technique), options, chart)
    return compile_plan("drawn", profile, Span(first, first + width - 1), [band], start=start)


@settings(max_examples=40)
@given(plans(), st.integers(0, 10_000), st.floats(0, 0.5), st.floats(0, 0.3), st.floats(15, 45), st.booleans())
def test_whatever_chart_options_span_machine_and_hand_the_needles_are_those_of_the_plan(
    plan: Plan, seed: int, backing: float, jitter: float, pace: float, turns_early: bool
) -> None:
    faults = ("early-turn:0.1",) if turns_early else ()
    result = knitted(plan, *faults, seed=seed, backing_up=backing, jitter=jitter, pace=pace)
    assert result.as_planned


@pytest.mark.parametrize("fault", ["flip:0.0005", "drop:0.001", "double:0.001", "split:0.2", "stall:0.01"])
def test_a_bad_wire_costs_time_and_no_needle(fault: str) -> None:
    assert knitted(checks(), fault).as_planned


@pytest.mark.parametrize("fault", ["coil-stuck:3", "coil-weak:3", "coil-slow:3", "coil-open:3"])
def test_a_coil_that_does_not_do_what_the_board_drives_is_seen_on_the_needles(fault: str) -> None:
    """The board itself is content; only a look at the needles tells. A slow coil is seen at a brisk pace."""
    result = knitted(checks(needles="L40-R40"), fault, pace=60)
    assert not result.as_planned
    assert {wrong.needle % 16 for wrong in result.wrong} == {3}


def test_a_board_that_starts_anew_in_the_middle_goes_on_at_the_right_pass() -> None:
    result = knitted(checks(rows=30), "reset:25")
    assert result.as_planned
    assert result.restarts == 1


def test_the_same_seed_gives_the_same_run() -> None:
    assert knitted(checks(), "flip:0.0005", seed=7) == knitted(checks(), "flip:0.0005", seed=7)
    assert knitted(checks(), seed=7).seconds != knitted(checks(), seed=8).seconds


def test_a_cable_that_is_pulled_ends_the_run_with_one_sentence() -> None:
    with pytest.raises(PortError, match="the port does not work any more"):
        knitted(checks(), "unplug:12")


def test_a_dead_encoder_channel_is_not_waited_for_for_ever() -> None:
    with pytest.raises((KnittingError, LinkError)) as caught:
        knitted(checks(), "a-dead")
    assert "\n" not in caught.value.sentence()


def test_a_profile_of_the_users_own_is_simulated_as_it_is(tmp_path: Path) -> None:
    text = (
        profile_text("standard-200")
        .replace("needles = 200", "needles = 60")
        .replace("pitch_mm = 4.5", "pitch_mm = 7.0")
    )
    profile: Profile = parse_profile(text, name="mine", file=str(tmp_path / "mine.toml"))
    band = BandRequest("checks", technique_named("slip"), Options(rows=6, alternate_needles="only"))
    plan = compile_plan("checks", profile, profile.span("L30-R30"), [band])
    assert knitted(plan).as_planned


def test_a_pass_that_is_counted_but_was_never_knitted_has_every_needle_wrong() -> None:
    plan = checks(rows=2)
    report = Done(plan.fingerprint, 1, 0, 0, 12_345, bytes(20), 0, 0, 0, 1, 300, 0, 0)
    nowhere = cast(World, SimpleNamespace(needles=SimpleNamespace(knitted=[]), started_us=[0]))
    wrong = compare(plan, 1, report, nowhere)
    assert [needle.needle for needle in wrong] == list(range(plan.span.first, plan.span.last + 1))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bench-cushion", "harbour-hat", "net-scarf", "ferry-sweater-front"])
def test_the_whole_pieces_of_the_boathouse_are_knitted_needle_for_needle(name: str) -> None:
    with resources.as_file(resources.files("latchline") / "examples") as folder:
        plan = load_piece(folder / f"{name}.toml").plan()
    result = knitted(plan)
    assert result.as_planned
    assert result.compared == plan.passes * plan.profile.needles


def test_a_shaped_jacquard_is_knitted_as_planned_where_needles_are_pushed_a_pass_ahead(tmp_path: Path) -> None:
    """What is done on the second bed between two passes leaves the needles of the pattern bed as they were pushed."""
    bed = profile_text("double-180").replace('drive = "this-pass"', 'drive = "next-pass"')
    (tmp_path / "ahead.toml").write_text(bed)
    text = 'machine = "ahead.toml"\nneedles = "L10-R10"\n[[bands]]\ntechnique = "slip"\nchart = "c.txt"\nrows = 4\n'
    text += (
        '[[bands]]\ntechnique = "jacquard"\nchart = "c.txt"\nrows = 8\nshape = [{ by = -1, every = 3, times = 2 }]\n'
    )
    (tmp_path / "c.txt").write_text("##..#.\n..##.#\n")
    (tmp_path / "piece.toml").write_text(text)
    plan = load_piece(tmp_path / "piece.toml").plan()
    assert plan.profile.drive == "next-pass"
    assert any(step.kind == "second-in" for step in plan.hand)
    assert knitted(plan, seed=3).as_planned
