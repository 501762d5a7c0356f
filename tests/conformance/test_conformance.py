"""One set of stories for three boards: the model in Python, the firmware's core on this computer, and the chip's
own image under an emulator. A difference is a fault in one of them or a hole in docs/protocol.md."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from conformance import scripts
from conformance.story import BEAT_TAKES_US, Record, Story, close_differences, exact_differences, longest_on_us, tell
from hypothesis import given, settings

from boards import chip, native
from latchline.sim.board.board import ModelBoard
from strategies import stories

SLOTS = 16  # of the firmware

needs_native = pytest.mark.skipif(bool(native.missing()), reason=f"there is no {native.missing()}")
needs_chip = pytest.mark.skipif(bool(chip.missing()), reason=f"there is no {chip.missing()}")


def readings(coils: int, enabled: bool) -> tuple[int, int]:
    """A supply that gives in a little for each coil that is on, and a current that grows."""
    on = coils.bit_count() if enabled else 0
    return 700 - 5 * on, 40 * on


def differences_to_the_model(story: Story) -> list[str]:
    model = tell(ModelBoard(slots=SLOTS, analog=readings), story)
    return exact_differences(model, tell(native.NativeBoard(analog=readings), story)) + cooked(model, story)


def differences_to_the_chip(story: Story) -> list[str]:
    core = tell(native.NativeBoard(analog=readings), story)
    real = tell(chip.ChipBoard(analog=readings), story, early_us=chip.start_us())
    return close_differences(core, real) + cooked(real, story, BEAT_TAKES_US)


def cooked(record: Record, story: Story, late_us: int = 0) -> list[str]:
    """No coil may ever be on for longer than its limit, whatever the story."""
    longest_us = longest_on_us(record)
    return [f"a coil was on for {longest_us} µs"] if longest_us > story.bed.limit_ms * 1000 + late_us else []


@pytest.mark.native
@needs_native
@pytest.mark.parametrize("script", scripts.STORIES, ids=lambda script: script.__name__)
def test_model_and_core_do_the_same_to_the_microsecond(script: Callable[[], Story]) -> None:
    assert differences_to_the_model(script()) == []


@pytest.mark.chip
@needs_native
@needs_chip
@pytest.mark.parametrize("script", scripts.STORIES, ids=lambda script: script.__name__)
def test_core_and_chip_do_the_same_but_for_the_time_that_it_takes(script: Callable[[], Story]) -> None:
    assert differences_to_the_chip(script()) == []


@pytest.mark.native
@needs_native
@given(stories())
def test_model_and_core_agree_whatever_host_and_hand_do(story: Story) -> None:
    assert differences_to_the_model(story) == []


@pytest.mark.chip
@needs_native
@needs_chip
@settings(max_examples=40, derandomize=True)  # paces may still add up to a threshold within a tick or two
@given(stories(edge_us=(300, 20_000), steady=True))
def test_core_and_chip_agree_whatever_host_and_hand_do(story: Story) -> None:
    assert differences_to_the_chip(story) == []
