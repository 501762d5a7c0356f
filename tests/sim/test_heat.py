"""No motion of the carriage keeps a coil on for more than its budget (docs/protocol.md, section 8)."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from conformance.judge import excess_s
from conformance.scripts import BANK, CARRIAGE, begun
from conformance.story import Story, longest_on_us, tell
from conformance.test_conformance import needs_native
from hypothesis import given, settings
from hypothesis import strategies as st

from boards.native import NativeBoard
from latchline.link.messages import Bed, Fault
from latchline.link.setup import bed_message
from latchline.machine.profile import load_profile
from latchline.sim.board.board import ModelBoard
from latchline.sim.board.heat import COILS, Heat, duty
from latchline.sim.face import Board
from strategies import coil_changes, rocking

MakeBoard = Callable[[], Board]
ONE_MS = dataclasses.replace(BANK, duty=3, limit_ms=20)

BEDS = (
    BANK,
    CARRIAGE,
    dataclasses.replace(BANK, duty=3),
    dataclasses.replace(BANK, limit_ms=20),
    dataclasses.replace(CARRIAGE, active_low=1, limit_ms=60),
)


def rocked(bed: Bed, swings: list[tuple[int, int]]) -> Story:
    story, plan = begun(bed)
    story.walk(60, 1500)
    for edges, edge_us in swings:
        story.walk(min(max(story.place + edges, plan.left_line + 4), plan.right_line - 4), edge_us)
    return story


@settings(max_examples=40)
@given(st.sampled_from(BEDS), rocking())
def test_no_rocking_keeps_a_coil_on_beyond_its_budget(bed: Bed, swings: list[tuple[int, int]]) -> None:
    record = tell(ModelBoard(slots=16), rocked(bed, swings))
    assert excess_s(bed, record) <= 0
    assert longest_on_us(record) <= bed.limit_ms * 1000


def test_the_budget_is_what_ends_a_rocking_that_no_limit_ends() -> None:
    """Two edges to and fro, 100 ms each: the coil is never on for its limit, yet comes to rest, and stays within its share."""
    story = rocked(BANK, [(2, 50_000), (-2, 50_000)] * 100)
    record = tell(ModelBoard(slots=16), story)
    assert not record.of(Fault)
    assert excess_s(BANK, record) <= 0
    signals = record.signals
    on = (signals.register != 0) & signals.enabled
    spans = np.diff(np.append(signals.at_us, record.end_us))
    assert 0.3 < spans[on].sum() / 20e6 < 0.75


@pytest.mark.parametrize(
    ("name", "sixteenths"), [("standard-200", 8), ("double-180", 8), ("chunky-112", 11), ("mid-150", 13)]
)
def test_the_highest_duty_of_the_shipped_profiles_is_what_the_page_says(name: str, sixteenths: int) -> None:
    assert duty(bed_message(load_profile(name))) == sixteenths


def in_step(bed: Bed, offset_us: int, on_ms: int, off_ms: int) -> Story:
    """Rocked over a place at which a coil goes on and off, so many milliseconds each, just so long after a beat."""
    story, _ = begun(bed)
    story.walk(60, 1500)
    started_us = story.events[0][0]
    at_us = started_us + 1000 * ((story.now_us - started_us) // 1000 + 1) + offset_us
    for _ in range(300):
        for place, ms in ((61, off_ms), (60, on_ms)):
            at_us += 1000 * ms
            story.walk(place, at_us - story.now_us - 37)
    return story


@pytest.mark.parametrize(
    "make_board", [ModelBoard, pytest.param(NativeBoard, marks=[pytest.mark.native, needs_native])]
)
@pytest.mark.parametrize("offset_us", [-1, 0, 3])
def test_a_motion_in_step_with_the_beat_hides_no_time_from_the_budget(make_board: MakeBoard, offset_us: int) -> None:
    story = in_step(ONE_MS, offset_us, 1, 1)
    record = tell(make_board(), story)
    assert excess_s(story.bed, record) <= 0
    assert longest_on_us(record) <= story.bed.limit_ms * 1000


@given(st.sampled_from(BEDS), coil_changes(), st.integers(0, 30))
def test_many_changes_of_coils_at_one_go_leave_the_budgets_as_one_by_one(
    bed: Bed, changes: list[tuple[int, bool, int]], first: int
) -> None:
    one_by_one, at_one_go = Heat(), Heat()
    for heat in (one_by_one, at_one_go):
        heat.set_bed(bed, 0)
        for change in changes[:first]:
            heat.switch(*change)
    for change in changes[first:]:
        one_by_one.switch(*change)
    rest = changes[first:]
    coils, ticks = (np.array([change[which] for change in rest], np.int64) for which in (0, 2))
    on = np.array([change[1] for change in rest], np.bool_)
    at_one_go.switch_all(coils, on, ticks)
    beat = changes[-1][2] // 250 + 1 if changes else 1
    assert at_one_go.soonest(beat) == one_by_one.soonest(beat)
    assert [at_one_go.settle(coil, beat) for coil in range(COILS)] == [
        one_by_one.settle(coil, beat) for coil in range(COILS)
    ]
