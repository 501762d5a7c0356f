"""Needles that come into work, leave it, are held and hand their loops on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given

from latchline.chart.model import Chart
from latchline.checks.find import findings
from latchline.errors import InputError
from latchline.machine.needles import Span
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.hand import Position
from latchline.plan.listing import plain
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import AllNeedles, AtRate, ByHand, CastOn, Groups, Neck, ShortRows, ToWidth, Work
from latchline.technique.table import technique_named
from strategies import coloured_palette, shaped_plans


def plan_of(*bands: tuple[int, tuple[Work, ...]], width: int = 40, technique: str = "stocking", **more: object) -> Plan:
    profile = load_profile("standard-200")
    ground = "off" if technique == "stocking" else "only"
    requests = [
        BandRequest(f"band {n}", technique_named(technique), Options(rows=rows, alternate_needles=ground), works=works)
        for n, (rows, works) in enumerate(bands, 1)
    ]
    return compile_plan("shaped", profile, profile.centred(width), requests, **more)  # type: ignore[arg-type]


def widths(plan: Plan) -> list[int]:
    return [int(np.count_nonzero(row == Position.WORK)) for row in plan.positions_of()]


def test_narrowing_reaches_its_width_in_the_last_row() -> None:
    plan = plan_of((60, (ToWidth(30),)), width=40)
    assert widths(plan)[0] == 40
    assert widths(plan)[-1] == 30
    assert [step.before for step in plan.hand[::2]] == [12, 24, 36, 48, 60]


def test_an_odd_stitch_cannot_be_taken_off_both_sides() -> None:
    with pytest.raises(InputError, match="band 1: from 40 to 31 stitches one stitch is left over"):
        plan_of((60, (ToWidth(31),)))


def test_widening_past_the_end_of_the_bed_names_band_and_row() -> None:
    with pytest.raises(InputError, match="band 1, row 3: widening leaves the bed; begin on fewer needles"):
        plan_of((9, (AtRate("left", 1, 3, 2),)), width=200)
    with pytest.raises(InputError, match="band 1, row 2: widening leaves the bed"):
        plan_of((9, (Groups((4,), "left", on=True),)), width=196, start="right")


@pytest.mark.parametrize("technique", ["fair-isle", "tuck"])
@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"shift": 3},
        {"centred": True},
        {"mirror_rows": True},
        {"alternate_needles": "background"},
        {"break_floats": 2},
        {"alternate_needles": "within", "row_repeat": 2},
        {"once_at": 95},
    ],
    ids=str,
)
def test_a_piece_that_widens_takes_more_needles_and_its_chart_stays_where_it_was(
    technique: str, asked: dict[str, object]
) -> None:
    profile = load_profile("standard-200")
    drawing = Chart(np.random.default_rng(5).integers(0, 2, (7, 5)).astype(np.uint8), coloured_palette(2), "drawn")
    options = Options(rows=12, edge_needles="as-chart", **asked)  # type: ignore[arg-type]
    named = profile.centred(20)

    def plan(*works: Work) -> Plan:
        request = BandRequest("band", technique_named(technique), options, drawing, works=works)
        return compile_plan("p", profile, named, [request])

    straight, wide = plan(), plan(AtRate("left", 1, 2, 5), AtRate("right", 1, 4, 2))
    assert (wide.span.first, wide.span.last) <= (named.first - 5, named.last + 8)
    assert wide.span.last >= named.last + 2
    at = named.first - wide.span.first
    if asked.get(
        "break_floats"
    ):  # a float that ended with the needles may go on now, so that only the stagger is alike
        assert at % 4 == 0
    else:
        assert (wide.acting_masks()[:, at : at + 20] == straight.acting_masks()).all()
    assert (wide.positions_of()[:, : at - 5] == Position.OUT).all()
    working = (wide.positions_of() == Position.WORK).sum(axis=1)
    assert working[0] == 20
    assert working[-1] == 27


def test_needles_cast_on_and_bound_off_before_a_pass_is_knitted_take_room_too() -> None:
    plan = plan_of((8, (Groups((2,), "left", on=True), Groups((2,), "left"))), width=20, start="left")
    assert (plan.span.first, plan.span.width) == (88, 22)
    assert widths(plan) == [20] * 8


def test_steps_by_hand_stay_on_their_needles_when_a_piece_widens() -> None:
    widening = (AtRate("left", 1, 2, 4), ByHand(3, "move", 4, 4, 1), Groups((3,), "left", on=True, after=8))
    plan = plan_of((20, widening), width=20)
    moved = next(step for step in plan.hand if step.kind == "move" and step.before == 3)
    assert plan.places_name(moved.first, moved.last) == "L6"
    assert plan.span.first == 90 - 7
    cast = plan_of((4, (CastOn("wrapped", 0, 19),)), (20, (AtRate("both", 1, 2, 3),)), width=20)
    assert plan.places_name(0, 0) == "L17"
    assert cast.hand_words(1)[0].startswith("bring L10-R10 into working position")
    assert not cast.cast_on_loops().any()


def test_the_end_needles_of_tuck_knit_wherever_the_edge_has_moved() -> None:
    plan = plan_of((12, (AtRate("both", -1, 2, 5),)), technique="tuck")
    masks, working = plan.acting_masks(), plan.positions_of() == Position.WORK
    for mask, here in zip(masks, working, strict=True):
        first, last = np.flatnonzero(here)[[0, -1]]
        assert mask[first]
        assert mask[last]
        assert not mask[~here].any()


def test_groups_go_off_at_the_side_where_the_carriage_stands() -> None:
    plan = plan_of((8, (Groups((4, 3, 2, 1)),)), start="right")
    assert [(step.before, step.needles) for step in plan.hand] == [
        (1, 4),
        (2, 4),
        (3, 3),
        (4, 3),
        (5, 2),
        (6, 2),
        (7, 1),
        (8, 1),
    ]
    for step in plan.hand:
        at_left = step.first < 20
        assert at_left == bool(plan.rightward[step.before - 1])  # a rightward pass starts at the left


def test_six_short_rows_of_three_at_each_end_of_ninety_three_leave_fifty_seven() -> None:
    # a public page on short rows, read: 12 rows; 57 computed
    plan = plan_of((12, (ShortRows((3,) * 6),)), (1, ()), width=93)
    assert widths(plan) == [*range(90, 54, -3), 93]
    held_far = [step for step in plan.hand if step.kind == "hold"]
    assert all((step.first < 46) == (not plan.rightward[step.before - 1]) for step in held_far)


def test_held_needles_come_back_in_steps() -> None:
    plan = plan_of((12, (ShortRows((4, 4, 4), side="left", release="in steps"),)), start="right")
    assert widths(plan) == [36, 36, 32, 32, 28, 28, 32, 32, 36, 36, 40, 40]


def test_a_neck_is_knitted_one_side_after_the_other() -> None:
    # the front neck 32 stitches wide of a book on knitting: 12, then 3, 2, 2, 1, 1, 1 a side
    plan = plan_of((40, (Neck(32, shoulders=(5, 5, 6)),)), (1, ()), width=64, start="right")
    positions = plan.positions_of()
    for number, row in enumerate(positions[:40], 1):
        working = np.flatnonzero(row == Position.WORK)
        assert (working >= 38).all() if number <= 20 else (working < 26).all()
    assert (positions[20, 38:] == Position.HELD).any()
    assert widths(plan)[19] == widths(plan)[39] == 6
    assert widths(plan)[40] == 12


def test_a_piece_cast_on_and_bound_off_keeps_no_needle_in_work() -> None:
    plan = plan_of((4, (CastOn("every-other", 0, 39),)), (20, (AllNeedles(21, "bind-off"),)))
    assert widths(plan)[:3] == [20, 40, 40]
    assert not plan.cast_on_loops().any()
    assert plan.actions(25) == (
        "bind off the loops of L20-R20 with the transfer tool, 40 in all, and put the needles out of work",
    )


def test_a_piece_without_shaping_has_no_positions() -> None:
    plan = plan_of((4, ()))
    assert not plan.shaped
    assert (plan.positions_of() == Position.WORK).all()


def test_shaping_enters_the_fingerprint() -> None:
    plans = [plan_of((60, works)) for works in ((), (ToWidth(30),), (ToWidth(30, fashioned=3),), (ToWidth(32),))]
    assert len({plan.fingerprint for plan in plans}) == 4


def test_a_piece_may_begin_on_fewer_needles_than_it_grows_to() -> None:
    profile = load_profile("standard-200")
    narrow = profile.centred(20)
    plan = plan_of((20, (ToWidth(40),)), begun=Span(narrow.first, narrow.last))
    assert widths(plan)[0] == 22 - 2
    assert widths(plan)[-1] == 40


def stand(plan: Plan, number: int, before: set[int]) -> set[int]:
    """Which needles are forward for a pass: those that the pass before pushed, then what the knitter is told to do.

    A loop that is moved, crossed or lifted leaves needles anywhere: here, the wrong way, until a step sets them.
    """
    wanted = set(np.flatnonzero(plan.acting_masks(number, number)[0]).tolist())
    forward = set(before)
    for step in plan.hand_before(number):
        here = set(range(step.first, step.last + 1))
        match step.kind:
            case "forward":
                forward |= here
            case "back" | "into-work" | "release" | "wrap":
                forward -= here
            case "every-other":
                forward -= set(range(step.first, step.last + 1, 2))
            case "move" | "cross" | "pick-up" | "buttonhole" | "buttonhole-waste":
                moved = {needle + step.by for needle in here} if step.kind == "move" else here
                forward = (forward - here - moved) | ((here | moved) - wanted)
    return forward


@given(shaped_plans(drives=("next-pass",)))
def test_where_needles_are_pushed_ahead_carriage_and_hands_together_make_each_selection(plan: Plan) -> None:
    working, acting, driven = plan.positions_of() == Position.WORK, plan.acting_masks(), plan.driven_masks()
    assert not (driven & ~working).any()
    for number in range(2, plan.passes + 1):
        if plain(plan, number):
            assert not {step.kind for step in plan.hand_before(number)} & {"forward", "back"}
            continue
        here = set(np.flatnonzero(working[number - 1]).tolist())
        forward = stand(plan, number, set(np.flatnonzero(driven[number - 2]).tolist()))
        assert forward & here == set(np.flatnonzero(acting[number - 1]).tolist())


def test_a_needle_that_comes_into_work_follows_chart_and_edge_rule_from_its_first_pass_on() -> None:
    profile = replace(load_profile("standard-200"), drive="next-pass")
    narrow = profile.centred(10)
    request = BandRequest(
        "band", technique_named("tuck"), Options(rows=6, alternate_needles="only"), works=(AtRate("both", 1, 2, 2, 0),)
    )
    plan = compile_plan("p", profile, profile.centred(16), [request], begun=Span(narrow.first, narrow.last))
    working, masks = plan.positions_of() == Position.WORK, plan.acting_masks()
    for number in range(2, plan.passes + 1):
        ends = np.flatnonzero(working[number - 1])[[0, -1]]
        assert masks[number - 1, ends].all()
    assert plan.hand_words(3) == (
        "bring L6 into working position",
        "bring R6 into working position",
        "push L6, R6 forward by hand, as selected for this row: the carriage could not",
    )
    assert not [finding for finding in findings(plan) if finding.rule == "edge-needle"]


def test_a_chart_of_held_stitches_does_not_go_with_needles_held_by_hand() -> None:
    with pytest.raises(InputError, match="band 1, row 1, R18: hold lets every held needle knit on its way back"):
        plan_of((8, (ShortRows((3, 3), side="right"),)), technique="hold", start="left")
    plan_of((8, (ShortRows((3, 3), side="right"),)), (8, ()), technique="slip", start="left")


def spread_plan(*works: Work, separation: str = "paired", rows: int = 12, changer: str = "left") -> Plan:
    """Two colours spread over the passes of each row."""
    profile = load_profile("standard-200")
    drawing = Chart(np.array([[0, 1, 1, 0], [1, 0, 0, 1]], np.uint8), coloured_palette(2), "drawn")
    options = Options(rows=rows, separation=separation, changer=changer)
    request = BandRequest("band", technique_named("slip-colours"), options, drawing, works=works)
    return compile_plan("p", profile, profile.centred(20), [request])


@pytest.mark.parametrize(("separation", "passes"), [("paired", 2), ("doubled", 4)])
def test_where_a_row_takes_several_passes_shaping_falls_on_rows(separation: str, passes: int) -> None:
    plan = spread_plan(AtRate("both", -1, 3, 4), ByHand(12, "marker", 5, 5), separation=separation)
    assert plan.passes == 12 * passes
    moved = [step.before for step in plan.hand if step.kind == "move"]
    assert moved == [passes * (row - 1) + 1 for row in (3, 3, 6, 6, 9, 9, 12, 12)]
    assert [step.before for step in plan.hand if step.kind == "marker"] == [passes * 11 + 1]
    positions = plan.positions_of()
    assert all((positions[row : row + passes] == positions[row]).all() for row in range(0, plan.passes, passes))


def test_a_row_that_such_a_band_does_not_have_is_refused_by_its_number() -> None:
    with pytest.raises(InputError, match=r"row 14 is not in the band; it has rows 1 to 12; 13 is after it"):
        spread_plan(ByHand(14, "marker", 5, 5))
    with pytest.raises(InputError, match=r"row 15, L6: this falls after the band's last row, which is 12; knit 3 rows"):
        spread_plan(AtRate("left", -1, 3, 5))


def test_groups_where_the_carriage_does_not_stand_take_a_length_of_yarn_of_their_own() -> None:
    plan = spread_plan(Groups((3, 2)))
    assert {plan.direction(number) for number in range(1, plan.passes, 2)} == {plan.direction(1)}
    told = [(step.before, plan.places_name(step.first, step.last), bool(step.words)) for step in plan.hand]
    assert told == [(1, "R8-R10", False), (3, "L10-L8", True), (5, "R6-R7", False), (7, "L7-L6", True)]


def test_needles_on_the_carriages_side_are_not_held_across_a_row_of_two_colours() -> None:
    assert spread_plan(ShortRows((3, 3), side="left")).hand
    with pytest.raises(InputError, match="row 2: needles are held away from the carriage"):
        spread_plan(ShortRows((3, 3), side="right"))
