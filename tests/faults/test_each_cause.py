"""Each way in which a piece can be interrupted, one by one: what is asked, and that the piece comes out whole."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from faults.trial import Trial

from latchline.knit.events import Pause

Cause = Callable[[Trial], object]


def in_mid_pass(trial: Trial) -> None:
    """Let time pass until the carriage is in the middle of a pass."""
    bench = trial.bench
    while (
        bench.motion is None or not bench.motion.knits or not bench.left_line + 20 < bench.place < bench.right_line - 20
    ):
        trial.run(0.01)


def at_the_turn(trial: Trial) -> None:
    """Let time pass until the carriage stands at a side, all reports told and the checkpoint written."""
    while trial.bench.motion is not None or not trial.bench.lamp:
        trial.run(0.01)
    trial.knitter.tired = True
    trial.run(0.3)


def killed(trial: Trial) -> None:
    trial.kill(0)
    trial.run(0.3)


def asleep(trial: Trial) -> None:
    trial.sleep(20)


def unplugged(trial: Trial) -> None:
    trial.unplug(100)
    trial.run(0.5)


def reset(trial: Trial) -> None:
    trial.reset(watchdog=True)


def opened_anew(trial: Trial) -> None:
    trial.opening_resets = True
    trial.drop()
    trial.run(0.5)
    trial.opening_resets = False


def power_cut(trial: Trial) -> None:
    trial.cut_power(0.2, cable=True)


def swapped(trial: Trial) -> None:
    trial.swap_board(4711)


def journal_lost(trial: Trial) -> None:
    trial.lose_journal()


def journal_lost_and_power_cut(trial: Trial) -> None:
    trial.lose_journal()
    trial.cut_power(0.2, cable=True)


def checkpoint_lost(trial: Trial) -> None:
    trial.lose_checkpoint()


def old_journal(trial: Trial) -> None:
    trial.copy_journal()
    trial.knitter.tired = False
    trial.run(6)
    trial.restore_old_journal(0)


CAUSES: list[tuple[Cause, int]] = [
    (killed, 0),
    (asleep, 0),
    (unplugged, 0),
    (reset, 1),
    (opened_anew, 1),
    (power_cut, 1),
    (swapped, 1),
    (journal_lost, 1),
    (journal_lost_and_power_cut, 1),
    (checkpoint_lost, 1),
    (old_journal, 1),
]


KEPT = (reset, opened_anew)  # a board that keeps its power tells exactly how far it is, if no pass was under way


@pytest.mark.parametrize("moment", [in_mid_pass, at_the_turn])
@pytest.mark.parametrize(("cause", "questions"), CAUSES)
def test_the_piece_comes_out_whole_with_no_more_questions_than_it_takes(
    quick_folder: Path, cause: Cause, questions: int, moment: Cause
) -> None:
    trial = Trial(quick_folder, seed=9)
    trial.run(4)
    moment(trial)
    cause(trial)
    trial.finish()
    trial.drop()
    assert trial.counts["asked row"] == (0 if cause in KEPT and moment is at_the_turn else questions)
    assert trial.counts["pieces"] == 1


@pytest.mark.parametrize("cause", [killed, reset, power_cut, swapped, checkpoint_lost])
def test_a_session_that_was_stopped_in_good_order_asks_nothing(quick_folder: Path, cause: Cause) -> None:
    trial = Trial(quick_folder, seed=9)
    trial.run(4)
    trial.wish(Pause())
    trial.knitter.patient = True
    trial.run(2)
    assert trial.counts["asked paused"] == 1
    cause(trial)
    trial.knitter.patient = False
    trial.finish()
    trial.drop()
    assert trial.counts["asked row"] == 0
