"""Host, wire, board and carriage do their worst in any order, and no piece of knitting suffers.

The rules are Hypothesis's to order; `trial.py` says what must hold after each. The long run
(`pytest -s -m long tests/faults/test_any_order.py`) goes on for 100,000 passes and prints its counts.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

import pytest
from faults.trial import HAND, Trial
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from boards import chip, native
from latchline.knit.events import Note, Pause, PlainRows, StepBack, Stop, Wish
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import Board

WISHES: list[Wish] = [Pause(), PlainRows(), StepBack(1), StepBack(3), Note("a thin place in the yarn"), Stop()]


class AnyOrder(RuleBasedStateMachine):
    make_board: ClassVar[Callable[[], Board]] = ModelBoard
    place: ClassVar[Path]
    totals: ClassVar[Counter[str]] = Counter()

    @initialize(seed=st.integers(0, 2**32 - 1))
    def begin(self, seed: int) -> None:
        self.folder = tempfile.TemporaryDirectory(dir=self.place)
        self.trial = Trial(Path(self.folder.name), seed=seed, make_board=type(self).make_board)

    def teardown(self) -> None:
        if not hasattr(self, "trial"):
            return
        try:
            self.trial.finish()
        finally:
            self.totals.update(self.trial.counts)
            self.trial.drop()
            self.folder.cleanup()

    @rule(seconds=st.floats(0.3, 6))
    def knit(self, seconds: float) -> None:
        self.trial.run(seconds)

    @rule(seconds=st.floats(0.3, 6))
    def knit_on(self, seconds: float) -> None:
        self.trial.run(seconds)

    @rule(instants=st.integers(0, 300), seconds=st.floats(0, 2))
    def kill_the_program(self, instants: int, seconds: float) -> None:
        self.trial.kill(instants)
        self.trial.run(seconds)

    @rule(seconds=st.floats(0, 2))
    def leave_the_program(self, seconds: float) -> None:
        self.trial.leave()
        self.trial.run(seconds)

    @rule(looks=st.booleans())
    def use_a_program_that_looks_for_its_port(self, looks: bool) -> None:
        self.trial.looks_for_port = looks

    @rule(seconds=st.floats(0.3, 12))
    def knit_another_piece_on_the_board(self, seconds: float) -> None:
        self.trial.knit_another_piece(seconds)

    @rule(seconds=st.sampled_from((1, 5, 20, 60)))
    def send_the_computer_to_sleep(self, seconds: int) -> None:
        self.trial.sleep(seconds)

    @rule(after_bytes=st.integers(0, 2000), seconds=st.floats(0, 2))
    def pull_the_cable(self, after_bytes: int, seconds: float) -> None:
        self.trial.unplug(after_bytes)
        self.trial.run(seconds)

    @rule(level=st.sampled_from((0, 0, 1e-5, 1e-4, 1e-3)))
    def change_the_noise_on_the_line(self, level: float) -> None:
        self.trial.noise = level

    @rule(seconds=st.floats(0, 0.5), cable=st.booleans())
    def cut_the_power(self, seconds: float, cable: bool) -> None:
        self.trial.cut_power(seconds, cable=cable)

    @rule(watchdog=st.booleans())
    def reset_the_board(self, watchdog: bool) -> None:
        self.trial.reset(watchdog=watchdog)

    @rule(resets=st.booleans())
    def use_a_port_whose_opening_resets_the_board(self, resets: bool) -> None:
        self.trial.opening_resets = resets

    @rule(number=st.integers(1, 2**32 - 1))
    def swap_the_board(self, number: int) -> None:
        self.trial.swap_board(number)

    @rule()
    def lose_the_checkpoint(self) -> None:
        self.trial.lose_checkpoint()

    @rule()
    def lose_the_journal(self) -> None:
        self.trial.lose_journal()

    @rule()
    def copy_the_journal(self) -> None:
        self.trial.copy_journal()

    @rule(at=st.integers(0, 9))
    def bring_an_old_journal_back(self, at: int) -> None:
        self.trial.restore_old_journal(at)

    @rule(what=st.sampled_from(HAND), seconds=st.floats(0, 1))
    def move_the_carriage_badly(self, what: str, seconds: float) -> None:
        self.trial.hand(what)
        self.trial.run(seconds)

    @rule(wish=st.sampled_from(WISHES), seconds=st.floats(0, 1))
    def wish_for_something(self, wish: Wish, seconds: float) -> None:
        self.trial.wish(wish)
        self.trial.run(seconds)


def go_through(
    place: Path, make_board: Callable[[], Board], *, examples: int, steps: int, always_the_same: bool = True
) -> Counter[str]:
    """Try so many orders of so many steps; tells what happened in all of them."""

    class Machine(AnyOrder):
        totals: ClassVar[Counter[str]] = Counter()

    Machine.place = place
    Machine.make_board = staticmethod(make_board)
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            database=None,
            derandomize=always_the_same,
            phases=(Phase.generate,),  # shrinking would take minutes; each failure prints its steps
            suppress_health_check=list(HealthCheck),
            report_multiple_bugs=False,
        ),
    )
    return Machine.totals


@pytest.mark.slow
def test_no_needle_is_wrong_no_pass_is_lost_and_none_is_made_up(quick_folder: Path) -> None:
    counts = go_through(quick_folder, ModelBoard, examples=12, steps=30)
    assert counts["pieces"] >= 12
    assert counts["passes"] >= 400


@pytest.mark.native
@pytest.mark.skipif(bool(native.missing()), reason=native.missing())
def test_the_firmware_core_keeps_its_pieces_whole_too(quick_folder: Path) -> None:
    counts = go_through(quick_folder, native.NativeBoard, examples=12, steps=30)
    assert counts["pieces"] >= 12


@pytest.mark.chip
@pytest.mark.skipif(bool(chip.missing()), reason=chip.missing())
def test_the_emulated_chip_keeps_its_pieces_whole_too(quick_folder: Path) -> None:
    counts = go_through(quick_folder, chip.ChipBoard, examples=1, steps=12)
    assert counts["pieces"] >= 1


@pytest.mark.long
def test_a_hundred_thousand_passes(quick_folder: Path) -> None:
    counts: Counter[str] = Counter()
    while counts["passes"] < 100_000:
        counts += go_through(quick_folder, ModelBoard, examples=100, steps=60, always_the_same=False)
        print(f"\n{counts['passes']} passes", flush=True)
    print("\nmodel board:", ", ".join(f"{name} {count}" for name, count in sorted(counts.items())))


@pytest.mark.long
@pytest.mark.native
@pytest.mark.skipif(bool(native.missing()), reason=native.missing())
def test_twenty_thousand_passes_on_the_firmware_core(quick_folder: Path) -> None:
    counts: Counter[str] = Counter()
    while counts["passes"] < 20_000:
        counts += go_through(quick_folder, native.NativeBoard, examples=50, steps=60, always_the_same=False)
    print("\nnative core:", ", ".join(f"{name} {count}" for name, count in sorted(counts.items())))
