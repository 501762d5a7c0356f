"""The host, from its frames down to the needles, with the firmware at the other end of the line."""

from __future__ import annotations

import re
import subprocess
import sys

import numpy as np
import pytest
import serial
from sim_driver import knit, small_plan

from boards import chip, native, ports
from boards.compiled import FIRMWARE
from latchline.link.messages import PROTOCOL, BoardInfo, Greet, from_wire, to_wire

KINDS = [
    pytest.param(
        "native", marks=[pytest.mark.native, pytest.mark.skipif(bool(native.missing()), reason="there is no gcc")]
    ),
    pytest.param(
        "emu", marks=[pytest.mark.chip, pytest.mark.skipif(bool(chip.missing()), reason="there is no avr-gcc")]
    ),
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("profile", ["standard-200", "double-180", "mid-150", "chunky-112"])
def test_the_needles_knit_the_plan(kind: str, profile: str) -> None:
    ports.register()
    plan = small_plan(profile, passes=6)
    told = knit(plan, f"{kind}://{profile}?seed=3")
    assert not told.faults
    assert [done.number for done in told.done] == list(range(1, 7))
    for number, knitted in enumerate(told.port.world.knitted, 1):
        assert np.array_equal(knitted.selected, plan.selected(number))


@pytest.mark.parametrize("kind", KINDS)
def test_a_line_that_damages_frames_costs_time_and_no_needle(kind: str) -> None:
    ports.register()
    plan = small_plan("standard-200", passes=12, seed=5)
    told = knit(plan, f"{kind}://standard-200?seed=4&fault=flip:0.0005&fault=drop:0.0005&fault=double:0.0005")
    assert [done.number for done in told.done] == list(range(1, 13))
    knitted = list(told.port.world.knitted)
    assert len(knitted) == 12
    for number, one in enumerate(knitted, 1):
        assert np.array_equal(one.selected, plan.selected(number))


@pytest.mark.chip
@pytest.mark.skipif(bool(chip.missing()), reason=f"there is no {chip.missing()}")
def test_a_pseudo_terminal_leads_to_the_emulated_board() -> None:
    """What `make emulate` starts, opened by its name like any serial port."""
    chip.build()
    script = FIRMWARE / "emulator" / "pty_board.py"
    board = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    try:
        assert board.stdout is not None
        name = re.search(r"/dev/\S+[^.\s]", board.stdout.readline())
        assert name is not None
        with serial.Serial(name[0], 250_000, timeout=1) as port:
            answers = []
            for _ in range(20):  # a chip that has only just been started does not listen yet
                port.write(b"\0" + to_wire(Greet(PROTOCOL, 99)))
                answers.append(from_wire(port.read_until(b"\0")[:-1]))
                if isinstance(answers[-1], BoardInfo) and answers[-1].nonce == 99:
                    break
            assert isinstance(answers[-1], BoardInfo)
            assert answers[-1].nonce == 99
    finally:
        board.terminate()
        board.wait(20)
        if board.stdout is not None:
            board.stdout.close()
