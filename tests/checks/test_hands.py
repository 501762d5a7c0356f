"""What the checks know of hands: empty hooks, crowded ones, cables and loops left on the needles."""

from __future__ import annotations

import numpy as np
import pytest
from checks.pieces import band, found, piece
from hypothesis import given

from latchline.checks.find import can_be_knitted, findings
from latchline.checks.model import Finding
from latchline.fabric.hanging import hanging
from latchline.fabric.structure import structure
from latchline.plan.compile import BandRequest
from latchline.plan.model import Plan
from latchline.plan.shape import AllNeedles, AtRate, ByHand, CastOn, ShortRows, Work
from strategies import shaped_plans


def plan_of(*works: Work, technique: str = "stocking", rows: int = 20) -> Plan:
    request = band(technique, rows=rows, alternate_needles="off" if technique == "stocking" else "only")
    return piece(BandRequest(request.name, request.technique, request.options, works=works), width=20)


def one(rule: str, *works: Work) -> Finding:
    (finding,) = found(rule, plan_of(*works))
    return finding


def test_one_emptied_needle_is_an_eyelet_and_two_side_by_side_drop() -> None:
    assert not found("empty-needles", plan_of(ByHand(5, "move", 4, 4, 1)))
    finding = one("empty-needles", ByHand(5, "move", 4, 5, 2))
    assert (finding.pass_first, finding.needles, finding.severity) == (5, "L6-L5", "must mend")


def test_an_emptied_needle_that_is_put_out_of_work_is_no_fault() -> None:
    assert can_be_knitted(findings(plan_of(AtRate("both", -1, 4, 4, fashioned=3))))
    assert not found("empty-needles", plan_of(AtRate("both", -1, 4, 4, fashioned=3)))


def test_three_loops_make_a_double_decrease_and_four_are_too_many() -> None:
    double = (ByHand(5, "move", 4, 4, 1), ByHand(5, "move", 6, 6, -1))
    assert not found("loops-crowded", plan_of(*double))
    finding = one("loops-crowded", *double, ByHand(5, "move", 3, 3, 2))
    assert (finding.needles, finding.measured) == ("L5", 4)


@pytest.mark.parametrize(("needles", "reaches"), [(6, True), (8, False)])
def test_a_cable_of_four_over_four_is_looked_at(needles: int, reaches: bool) -> None:
    cable = ByHand(5, "cross", 4, 3 + needles, needles // 2)
    assert bool(found("cable-reach", plan_of(cable))) is not reaches


def test_a_piece_that_is_cast_on_and_not_taken_off_keeps_loops() -> None:
    cast_on, end = CastOn("wrapped", 0, 19), AllNeedles(None, "bind-off")
    assert one("loops-left", cast_on).measured == 20
    assert not found("loops-left", plan_of(cast_on, end))
    assert not found("loops-left", plan_of())


def test_held_needles_are_not_said_to_keep_their_loops_too_long_or_never_to_knit() -> None:
    plan = plan_of(ShortRows((3,) * 4, side="left", release="later"), technique="slip")
    rules = {finding.rule for finding in findings(plan)}
    assert not rules & {"loop-kept", "never-knits"}


def test_the_end_needle_is_looked_for_where_the_edge_has_moved() -> None:
    assert not found("edge-needle", plan_of(AtRate("both", -1, 2, 6), technique="tuck"))


@given(shaped_plans())
def test_as_many_loops_hang_as_the_structure_leaves_there(plan: Plan) -> None:
    at_end = list(hanging(plan))[-1].loops
    loops = structure(plan)
    left = loops.drawn_by == plan.passes + 1
    on = np.broadcast_to(np.arange(plan.span.width), left.shape) if loops.drawn_at is None else loops.drawn_at
    counted = np.bincount(on[left], minlength=plan.span.width)
    for _, _, drawn_by, drawn_at in loops.by_hand.tolist():
        counted[drawn_at] += drawn_by == plan.passes + 1
    assert at_end.tolist() == counted.tolist()


@given(shaped_plans())
def test_any_shaped_piece_is_checked_without_a_slip(plan: Plan) -> None:
    for finding in findings(plan):
        assert 0 <= finding.pass_first <= plan.passes
