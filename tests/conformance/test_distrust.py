"""Sensors, encoders and hosts that lie: right needles, or a named fault with the coils off."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from conformance import distrust
from conformance.judge import counted, excess_s, said, wrong_needles
from conformance.scripts import begun
from conformance.story import BEAT_TAKES_US, Record, Story, longest_on_us, tell
from conformance.test_conformance import (
    differences_to_the_chip,
    differences_to_the_model,
    needs_chip,
    needs_native,
)
from hypothesis import given
from hypothesis import strategies as st

from boards import chip
from latchline.link.messages import Checkpoint, Fault, PlanStart, Refused, Status
from latchline.sim.board.board import ModelBoard
from strategies import lies

IDS = [told[0].__name__ for told in distrust.TOLD]


def played(script: Callable[[], Story]) -> tuple[Story, Record]:
    story = script()
    return story, tell(ModelBoard(slots=16), story)


def named(record: Record) -> tuple[int, ...]:
    """The faults in the order in which they were raised, without what is said again."""
    numbers: list[int] = []
    for message in record.of(Fault):
        if isinstance(message, Fault) and message.fault and message.fault not in numbers:
            numbers.append(message.fault)
    return tuple(numbers)


@pytest.mark.parametrize(("script", "faults", "passes"), distrust.TOLD, ids=IDS)
def test_every_lie_ends_in_right_needles_or_in_the_fault_that_names_it(
    script: Callable[[], Story], faults: tuple[int, ...], passes: int
) -> None:
    story, record = played(script)
    assert named(record) == faults
    assert len(counted(record)) == passes
    if said(story, PlanStart):
        assert wrong_needles(story, record) == []
    assert longest_on_us(record) <= story.bed.limit_ms * 1000


@pytest.mark.parametrize("script", [told[0] for told in distrust.TOLD if told[1]])
def test_a_fault_finds_the_coils_off_and_the_lamp_dark(script: Callable[[], Story]) -> None:
    _, record = played(script)
    at_us = next(at for at, message in record.frames if isinstance(message, Fault) and message.fault)
    now = int(np.searchsorted(record.signals.at_us, at_us, "right")) - 1
    assert not record.signals.enabled[now]
    assert not record.signals.register[now]
    assert not record.signals.lamp[now]


@pytest.mark.native
@needs_native
@pytest.mark.parametrize("script", [told[0] for told in distrust.TOLD], ids=IDS)
def test_model_and_core_distrust_alike(script: Callable[[], Story]) -> None:
    assert differences_to_the_model(script()) == []


@pytest.mark.chip
@needs_native
@needs_chip
@pytest.mark.parametrize(
    "script", [t[0] for t in distrust.TOLD if t[0] is not distrust.a_carriage_that_rocks_on_a_coil]
)
def test_core_and_chip_distrust_alike(script: Callable[[], Story]) -> None:
    assert differences_to_the_chip(script()) == []


def checkpoints(script: Callable[[], Story]) -> list[tuple[int, int, int]]:
    """valid, run and done of each CHECKPOINT, in order."""
    _, record = played(script)
    return [(one.valid, one.run, one.done) for one in record.of(Checkpoint) if isinstance(one, Checkpoint)]


def test_a_board_tells_exactly_what_was_done_after_a_reset_with_no_pass_under_way() -> None:
    exact = (Checkpoint.EXACT, 0xDEADBEEF, 1)
    assert checkpoints(distrust.a_reset_with_no_pass_under_way)[:3] == [exact] * 3


def test_a_board_says_that_a_pass_was_under_way_until_it_is_stopped() -> None:
    assert checkpoints(distrust.a_reset_with_a_pass_under_way) == [(3, 0, 1), (1, 0, 1)]


def test_a_loss_of_power_leaves_only_what_lasts() -> None:
    assert checkpoints(distrust.a_loss_of_power_after_a_reset) == [(1, 0, 1)]


def test_a_row_begun_and_left_names_the_needles_that_were_crossed() -> None:
    _, record = played(distrust.backed_out_of_a_pass_just_begun)
    fault = next(one for one in record.of(Fault) if isinstance(one, Fault) and one.fault == 21)
    assert (fault.needle, fault.detail) == (2, 3 + 256)  # points −8, −4 and 0 are those of the needles 0 to 2


def test_a_dead_channel_is_named_within_a_few_needles() -> None:
    _, record = played(distrust.channel_b_dies_amid_a_pass)
    at_us = next(at for at, message in record.frames if isinstance(message, Fault))
    assert at_us < record.end_us  # eight changes of the living channel are sixteen edges of the carriage
    fault = next(one for one in record.of(Fault) if isinstance(one, Fault))
    assert fault.pass_number == 1
    assert fault.detail == 0


def test_a_probed_coil_must_cool_down() -> None:
    _, record = played(distrust.probes_without_end)
    assert Refused(0x0A, 3) in record.of(Refused)


def test_a_rocking_carriage_keeps_a_coil_on_for_no_more_than_its_share() -> None:
    story, record = played(distrust.a_carriage_that_rocks_on_a_coil)
    assert excess_s(story.bed, record) <= 0
    assert any(isinstance(status, Status) and status.rests for status in record.of(Status))


@pytest.mark.chip
@needs_chip
def test_a_rocking_carriage_cooks_no_coil_of_the_chip_either() -> None:
    """When exactly a coil may go on again hangs on a tick, and a chip is a tick or two off: so only the budget is held to."""
    story = distrust.a_carriage_that_rocks_on_a_coil()
    record = tell(chip.ChipBoard(), story, early_us=chip.start_us())
    assert excess_s(story.bed, record) <= 0.01  # a tick here and there, over half a minute
    assert longest_on_us(record) <= story.bed.limit_ms * 1000 + BEAT_TAKES_US


@given(st.data())
def test_whatever_sensors_and_encoder_tell_no_needle_is_wrong_in_silence(data: st.DataObject) -> None:
    """Three crossings after a clean start. Needles may be wrong only in a pass that is not counted."""
    bed = data.draw(st.sampled_from((distrust.BRISK, distrust.ONE_COIL)))
    story, _plan = begun(bed)
    edge_us = data.draw(st.integers(700, 4500))
    for turn in (bed.right_sensor + 9, bed.left_sensor - 9, bed.right_sensor + 9):
        distrust.crossing(story, turn, data.draw(lies(bed)), edge_us).wait(100_000)
    record = tell(ModelBoard(slots=16), story)
    assert wrong_needles(story, record) == []
