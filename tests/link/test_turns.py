"""Each pass is counted past its own last needles: what the host sends, and what comes of it on the needles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import serial
from hypothesis import given

from boards import native
from latchline import dry_run as dry
from latchline.knit.session import Session
from latchline.knit.talk import GoesOn
from latchline.link.faults import crossed_needles
from latchline.link.host import Host
from latchline.link.messages import PLANS_LINE, BoardInfo, Done, Fault, Pass
from latchline.machine.needles import Span
from latchline.machine.profile import load_profile
from latchline.piece.file import parse_piece
from latchline.plan.hand import Position
from latchline.plan.model import Plan
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import Board
from latchline.sim.port import SimPort, parse_url, register
from latchline.sim.world import World
from strategies import shaped_plans

SHORT_ROWS = """
needles = "L30-R30"
[[bands]]
technique = "fair-isle"
rows = 16
alternate_needles = "only"
shape = [{ hold = 40, steps = 5, side = "left" }]
"""


def short_rows(machine: str = "standard-200") -> Plan:
    return parse_piece(f'machine = "{machine}"\n{SHORT_ROWS}').plan()


class OldBoard(ModelBoard):
    """It does not tell that it heeds the lines of a pass."""

    def _info(self, nonce: int) -> BoardInfo:
        return replace(super()._info(nonce), features=0)


class Knitting:
    """A dry run on any board, with what the host sent and what the board reported."""

    def __init__(self, plan: Plan, make_board: Callable[[], Board] = ModelBoard, options: str = "") -> None:
        register()
        port = serial.serial_for_url(f"sim://{plan.profile.name}?seed=1{options}", do_not_open=True)
        assert isinstance(port, SimPort)
        port.machine = plan.profile
        port.open()
        if make_board is not ModelBoard:
            told = parse_url(f"sim://{plan.profile.name}?seed=1{options}")
            port.world = World(
                plan.profile, seed=1, hand=told.hand, faults=told.faults, make_board=lambda analog: make_board()
            )
        self.sent: dict[int, Pass] = {}
        self.reports: list[Done] = []
        self.wrong: list[dry.WrongNeedle] = []
        self.asked: list[str] = []
        host = Host(port, port.clock)
        send = host.send

        def heard(message: object) -> None:
            if isinstance(message, Pass):
                self.sent[message.pass_number] = message
            send(message)  # type: ignore[arg-type]

        host.send = heard  # type: ignore[method-assign]
        session = Session(
            host, plan, GoesOn(), clock=port.clock, waits_at_bands=False, waits_at_changes=False, wait_s=0.5
        )
        while not session.over:
            for event in session.step():
                question = getattr(event, "question", None)
                self.asked += [prompt.text for prompt in question.prompts] if question is not None else []
                report = getattr(event, "report", None)
                if isinstance(report, Done):
                    self.reports.append(report)
                    self.wrong += dry.compare(plan, report.pass_number, report, port.world)
        self.summary = session.summary()
        port.close()


def furthest(plan: Plan, knitting: Knitting) -> list[int]:
    """At how many needles from the span's end the carriage turned before each pass but the first; below 0 past it."""
    pitch = plan.profile.edges_per_needle
    return [
        round(report.furthest / pitch) - plan.span.first if report.direction else plan.span.last - round(report.furthest / pitch)
        for report in knitting.reports[1:]
    ]  # fmt: skip


@given(shaped_plans())
def test_a_pass_spans_every_needle_that_knits_or_is_set_and_shares_its_turns(plan: Plan) -> None:
    there = np.zeros((plan.passes, plan.span.width), dtype=bool)
    for number in range(1, plan.passes + 1):
        span = plan.turn_span(number)
        there[number - 1, span.first - plan.span.first : span.last - plan.span.first + 1] = True
        if number < plan.passes:
            side = "last" if plan.rightward[number - 1] else "first"
            assert getattr(span, side) == getattr(plan.turn_span(number + 1), side)
    working = plan.positions_of() == Position.WORK
    assert not (working & ~there).any()
    assert not (plan.driven_masks() & ~there).any()


def test_where_needles_are_set_one_pass_ahead_a_pass_spans_those_of_the_coming_one_too() -> None:
    plan = short_rows("chunky-112")
    assert plan.profile.drive == "next-pass"
    working = plan.positions_of() == Position.WORK
    for number in range(1, plan.passes):
        span = plan.turn_span(number)
        coming = np.flatnonzero(working[number]) + plan.span.first
        assert span.first <= coming[0]
        assert coming[-1] <= span.last


def test_where_a_coil_that_is_off_selects_the_turns_are_those_of_the_whole_piece() -> None:
    # a needle just past the start line needs its coil at once, and no coil can act within an edge (fault 15)
    profile = load_profile("standard-200")
    plan = replace(short_rows(), profile=replace(profile, selectors=replace(profile.selectors, active="low")))
    assert short_rows().narrow
    assert not plan.narrow


@pytest.mark.parametrize("machine", ["standard-200", "chunky-112"])
def test_the_carriage_turns_before_held_needles_and_every_needle_stands_as_planned(machine: str) -> None:
    plan = short_rows(machine)
    knitting = Knitting(plan)
    assert (knitting.wrong, knitting.summary.finished, knitting.summary.faults) == ([], True, ())
    assert max(furthest(plan, knitting)) > 15  # 40 needles are held in the end, and it turns about 15 past the last
    assert {(one.left_line == PLANS_LINE, one.right_line) for one in knitting.sent.values()} == {
        (True, PLANS_LINE), (False, PLANS_LINE)
    }  # fmt: skip


NATIVE = [pytest.mark.native, pytest.mark.skipif(bool(native.missing()), reason=f"there is no {native.missing()}")]
BOARDS = pytest.mark.parametrize("board", [ModelBoard, pytest.param(native.NativeBoard, marks=NATIVE)])


@BOARDS
@pytest.mark.parametrize("machine", ["standard-200", "chunky-112"])
@pytest.mark.parametrize("fault", ["early-turn", "reversal"])
def test_a_carriage_that_turns_before_the_line_of_a_narrow_pass_is_stopped_and_the_pass_knitted_anew(
    machine: str, fault: str, board: Callable[[], Board]
) -> None:
    plan = short_rows(machine)
    knitting = Knitting(plan, board, f"&fault={fault}:@7")
    assert (knitting.wrong, knitting.summary.finished) == ([], True)
    assert [number for number, _ in knitting.summary.faults] == [6]
    assert max(furthest(plan, knitting)) > 10  # it still turned among the held needles afterwards


WHOLE_BED = """
needles = "L100-R100"
[[bands]]
technique = "fair-isle"
rows = 12
alternate_needles = "only"
shape = [{ hold = 120, steps = 4, side = "left" }]
"""


@pytest.mark.parametrize(
    "options", ["", "&clearance=60", "&clearance=0", "&backing-up=1&pauses=0.5", "&fault=bounce:0.2"]
)
def test_a_narrow_pass_may_be_left_past_the_end_sensors_or_close_to_its_line(options: str) -> None:
    plan = parse_piece(WHOLE_BED).plan()
    assert plan.narrow
    knitting = Knitting(plan, options=options)
    assert (knitting.wrong, knitting.summary.finished, knitting.summary.faults) == ([], True, ())


@BOARDS
@pytest.mark.parametrize("nth", [5, 6])
def test_a_carriage_lifted_off_in_a_narrow_pass_is_found_at_the_end_sensor_that_it_still_passes(
    nth: int, board: Callable[[], Board]
) -> None:
    knitting = Knitting(parse_piece(WHOLE_BED).plan(), board, f"&fault=lift-off:@{nth}")
    assert (knitting.wrong, knitting.summary.finished) == ([], True)
    assert knitting.summary.faults
    assert {number for _, number in knitting.summary.faults} == {nth}


@pytest.mark.native
@pytest.mark.skipif(bool(native.missing()), reason=f"there is no {native.missing()}")
def test_the_core_counts_short_rows_as_the_model_does() -> None:
    plan = short_rows()
    knitting = Knitting(plan, native.NativeBoard)
    assert (knitting.wrong, knitting.summary.finished, knitting.summary.faults) == ([], True, ())
    assert max(furthest(plan, knitting)) > 15


def test_a_board_that_heeds_no_lines_gets_none_and_the_knitter_is_told() -> None:
    plan = short_rows()
    knitting = Knitting(plan, OldBoard)
    assert (knitting.wrong, knitting.summary.finished, knitting.summary.faults) == ([], True, ())
    assert {(one.left_line, one.right_line) for one in knitting.sent.values()} == {(PLANS_LINE, PLANS_LINE)}
    assert max(furthest(plan, knitting)) < 0
    assert [text for text in knitting.asked if "over needles that are held" in text]


def test_a_piece_that_is_not_shaped_is_sent_as_ever() -> None:
    plan = parse_piece(SHORT_ROWS.replace('shape = [{ hold = 40, steps = 5, side = "left" }]', "")).plan()
    assert not plan.narrow
    knitting = Knitting(plan)
    assert {(one.left_line, one.right_line) for one in knitting.sent.values()} == {(PLANS_LINE, PLANS_LINE)}


def test_needles_before_the_turn_were_not_crossed_by_a_row_that_was_left() -> None:
    # the board counts from the end of the plan's span, 20 needles further left than this pass begins
    fault = Fault(21, 1, 4, 95, 700, 256 + 26)
    assert crossed_needles(fault) == Span(70, 95)
    assert crossed_needles(fault, Span(90, 129)) == Span(90, 95)
