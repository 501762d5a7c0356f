"""Colour separation with changers left, right and by hand, on one bed and on two."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart
from latchline.errors import InputError
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.technique.model import SecondBed
from latchline.technique.separation import SINGLE_BED
from latchline.technique.table import technique_named

BED = load_profile("double-180")
NAMES = [separation.name for separation in SINGLE_BED]


def separated(chart: Chart, technique: str = "slip-colours", start: str | None = None, **options: Any) -> Plan:
    band = BandRequest("band", technique_named(technique), Options(shown_side="purl", **options), chart)
    return compile_plan("piece", BED, BED.centred(chart.stitches), [band], start=start)


def changes(plan: Plan) -> list[str]:
    """The directions of the passes after which the yarn changes."""
    after = np.flatnonzero(plan.colour[1:] != plan.colour[:-1]) + 1
    return [plan.direction(int(number)) for number in after]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("changer", "after"), [("left", "leftward"), ("right", "rightward")])
@given(chart=st.integers(2, 4).flatmap(strategies.coloured_charts))
def test_the_yarn_changes_only_where_the_changer_stands(name: str, changer: str, after: str, chart: Chart) -> None:
    assert set(changes(separated(chart, separation=name, changer=changer))) <= {after}


@pytest.mark.parametrize("name", NAMES)
@given(chart=st.integers(2, 4).flatmap(strategies.coloured_charts))
def test_a_changer_on_the_right_mirrors_the_directions_and_nothing_else(name: str, chart: Chart) -> None:
    left, right = (separated(chart, separation=name, changer=side) for side in ("left", "right"))
    assert (left.rightward == ~right.rightward).all()
    assert (left.acting_masks() == right.acting_masks()).all()
    assert (left.colour == right.colour).all()


@pytest.mark.parametrize("start", ["left", "right"])
@pytest.mark.parametrize("name", NAMES)
def test_by_hand_the_carriage_may_start_at_either_side(name: str, start: str) -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    assert separated(chart, separation=name, changer="hand", start=start).start == start


@pytest.mark.parametrize(("name", "side"), [("doubled", "left"), ("paired", "right")])
def test_the_carriage_starts_where_the_separation_needs_it(name: str, side: str) -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    assert separated(chart, separation=name).start == side
    other = "left" if side == "right" else "right"
    with pytest.raises(InputError, match=f"starts with the carriage at the {side}"):
        separated(chart, separation=name, start=other)


def test_end_needles_made_to_knit_take_the_main_yarn_before_colours_are_separated() -> None:
    chart = Chart(np.array([[1, 1, 2, 2]], np.uint8), strategies.coloured_palette(3))
    plan = separated(chart, separation="doubled", edge_needles="knit")
    assert plan.acting_masks()[::2].astype(int).tolist() == [[1, 0, 0, 1], [0, 1, 0, 0], [0, 0, 1, 0]]
    blue = Chart(np.array([[1, 1, 1, 1]], np.uint8), strategies.coloured_palette(2))
    plan = separated(blue, separation="doubled", edge_needles="knit")
    assert plan.acting_masks()[::2].astype(int).tolist() == [[1, 0, 0, 1], [0, 1, 1, 0]]


def test_alternating_takes_its_colour_from_the_chart_row_whatever_the_row_repeat() -> None:
    chart = Chart(np.array([[0, 0], [1, 1]], np.uint8), strategies.coloured_palette(2))
    plan = separated(chart, separation="alternating", row_repeat=2)
    assert plan.colour.tolist() == [0, 0, 0, 0, 1, 1, 1, 1]
    assert plan.acting_masks().all()


@pytest.mark.parametrize(("name", "colours"), [("blank-return", 2), ("blank-return", 4), ("paired", 3), ("paired", 4)])
def test_an_empty_way_leads_back_to_the_changer(name: str, colours: int) -> None:
    chart = Chart(np.array([[0, 1, 2, 3]], np.uint8) % colours, strategies.coloured_palette(colours))
    plan = separated(chart, separation=name, rows=4)
    empty = ~plan.acting_masks().any(axis=1)
    assert empty.any()
    assert not plan.rightward[empty].any()
    before = np.flatnonzero(empty) - 1
    assert (plan.colour[before] == plan.colour[empty]).all()


def test_an_empty_way_back_is_tied_in_by_the_other_half_of_the_second_bed() -> None:
    chart = Chart(np.array([[0, 1, 2]], np.uint8), strategies.coloured_palette(3))
    plan = separated(chart, "jacquard", separation="paired")
    assert plan.second_bed.tolist() == [SecondBed.ALL, SecondBed.EVEN, SecondBed.ODD, SecondBed.ALL]
    assert [bool(mask.any()) for mask in plan.acting_masks()] == [True, True, False, True]


@pytest.mark.parametrize(("name", "colours"), [("blank-return", 2), ("paired", 3)])
def test_alternate_backing_is_refused_where_ways_back_are_empty(name: str, colours: int) -> None:
    chart = Chart(np.array([[0, 1, colours - 1]], np.uint8), strategies.coloured_palette(colours))
    with pytest.raises(InputError, match=r"on alternate needles of the second bed; accepted: .*doubled"):
        separated(chart, "jacquard", separation=name, backing="alternate")


def test_an_unknown_separation_is_answered_with_the_names() -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    with pytest.raises(
        InputError, match='"tripled" is not known; accepted: doubled, blank-return, paired, alternating'
    ):
        separated(chart, separation="tripled")


def test_the_bird_s_eye_back_shows_both_colours_on_every_needle_by_turns() -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    plan = separated(chart, "jacquard", backing="alternate", rows=4)
    even = [int(c) for c, back in zip(plan.colour, plan.second_bed, strict=True) if back == SecondBed.EVEN]
    odd = [int(c) for c, back in zip(plan.colour, plan.second_bed, strict=True) if back == SecondBed.ODD]
    assert sorted(even) == sorted(odd) == [0, 0, 1, 1]
    assert plan.second_bed.tolist() == [SecondBed.EVEN, SecondBed.ODD] * 4, (
        "passes that follow each other knit different halves"
    )


def test_a_jacquard_is_refused_on_one_bed() -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    single = load_profile("standard-200")
    band = BandRequest("band", technique_named("jacquard"), Options(), chart)
    with pytest.raises(InputError, match="needs a second bed"):
        compile_plan("piece", single, single.centred(2), [band])


def test_the_operator_lays_in_before_every_pass_and_sets_and_releases_the_hold() -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    inlay, hold = separated(chart, "inlay", rows=3), separated(chart, "hold", rows=4)
    assert all("lay the inlay yarn across" in inlay.actions(number)[-1] for number in (1, 2, 3))
    told = [hold.actions(number)[-1].split(",")[0].split(":")[0] for number in (1, 2, 3, 4)]
    # Leftward first, the pattern rightward: before the first pass there is nothing to release.
    assert told[1:] == ["set the carriage to hold", "release the hold", "set the carriage to hold"]
    assert not any("release" in line for line in hold.actions(1))


def test_the_operator_is_told_each_change_of_colour_and_of_backing() -> None:
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    plan = separated(chart, "jacquard", rows=2)
    assert any("thread main" in line for line in plan.actions(1))
    assert "set the second bed to knit every needle" in plan.actions(1)
    assert plan.actions(2) == ("change to contrast",)
    assert plan.actions(3) == ()


def test_a_second_bed_that_alternates_by_itself_is_set_once_for_a_band() -> None:
    three = Chart(np.array([[0, 1, 2, 0]] * 6, np.uint8), strategies.coloured_palette(3))
    for options in ({"backing": "alternate"}, {}, {"separation": "doubled"}):
        plan = separated(three, "jacquard", **options)
        told = [number for number in range(1, plan.passes + 1) if plan.second_setting(number)]
        assert told == [1]
    assert separated(three, "jacquard").bands[0].separation.name == "blank-return"  # type: ignore[union-attr]
    paired = separated(three, "jacquard", separation="paired")
    assert [paired.second_setting(number).split(",")[0] for number in range(1, 9)] == [
        "every needle",
        "every other needle",
        "",
        "every needle",
        "",
        "every other needle",
        "",
        "every needle",
    ]


def test_a_second_bed_that_stays_as_it_is_set_is_set_for_each_half() -> None:
    bed = replace(BED, second_carriage="as-set")
    chart = Chart(np.array([[0, 1]], np.uint8), strategies.coloured_palette(2))
    band = BandRequest("band", technique_named("jacquard"), Options(backing="alternate", rows=2), chart)
    plan = compile_plan("piece", bed, bed.centred(2), [band])
    assert [plan.second_setting(number)[-17:] for number in (1, 2, 3, 4)] == [
        "first on the left",
        "econd on the left",
        "first on the left",
        "econd on the left",
    ]


def test_the_plan_says_why_a_pass_selects_nothing() -> None:
    chart = Chart(np.array([[0, 0, 1], [0, 2, 2]], np.uint8), strategies.coloured_palette(3))
    plan = separated(chart, "jacquard", separation="blank-return")
    said = [plan.why_empty(number) for number in range(1, plan.passes + 1)]
    assert said[:2] == ["", "way back: brings main to the changer"]
    assert said[4] == "no stitch of third in this row, and the second bed knits it"
    assert [bool(text) for text in said] == (~plan.acting_masks().any(axis=1)).tolist()
