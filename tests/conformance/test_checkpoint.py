"""The newest whole checkpoint in a board's memory is never given up for an older one (docs/protocol.md, section 12)."""

from __future__ import annotations

import struct
from collections.abc import Callable

import pytest
from conformance import scripts
from conformance.story import Moved, Power, Said
from conformance.test_conformance import differences_to_the_model, needs_chip, needs_native

from boards.chip import ChipBoard
from boards.native import NativeBoard
from latchline.link.frames import crc16
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import Board

STEP_US = 2000


def newest_done(memory: bytes) -> int:
    """The highest count of passes in a whole slot of sixteen bytes; 0 without one."""
    slots = [memory[at : at + 16] for at in range(0, 960, 16)]
    whole = [slot for slot in slots if crc16(slot[:14]) == int.from_bytes(slot[14:], "little")]
    newest = max(whole, key=lambda slot: int.from_bytes(slot[:2], "little"), default=None)
    return struct.unpack_from("<I", newest, 10)[0] if newest else 0


@pytest.mark.native
@needs_native
def test_model_and_core_finish_a_checkpoint_under_a_pass_at_the_same_time() -> None:
    assert differences_to_the_model(scripts.turns_before_a_checkpoint_is_whole()) == []


@pytest.mark.parametrize(
    "make_board",
    [
        ModelBoard,
        pytest.param(NativeBoard, marks=[pytest.mark.native, needs_native]),
        pytest.param(ChipBoard, marks=[pytest.mark.chip, needs_chip]),
    ],
)
def test_a_checkpoint_that_is_whole_is_not_written_over(make_board: Callable[[], Board]) -> None:
    story, board = scripts.turns_before_a_checkpoint_is_whole(), make_board()
    found, until_us = [0], 0
    for at_us, event in story.events[:-2]:
        while until_us < at_us:
            until_us = min(at_us, until_us + STEP_US)
            board.run(until_us)
            found.append(newest_done(board.memory))
        match event:
            case Power(cause):
                board.power(at_us, cause)
            case Said(data):
                board.receive(at_us, data)
            case Moved(times, pins):
                board.edges(times, pins)
    assert found == sorted(found)
    assert found[-1] > 30
