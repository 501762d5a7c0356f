"""Which pass comes next: every combination of what a journal knows and what a board tells."""

from __future__ import annotations

import pytest

from latchline.knit.settle import Adopt, AskRow, Begin, Found, Known, settle
from latchline.link.messages import Checkpoint, Status

PIECE, OTHER = 0xAAAA, 0xBBBB
PASSES = 100
SLOTS = 32
NOTHING = Checkpoint(0, 0, 0, 0)


def board(
    *,
    number: int = 7,
    boots: int = 3,
    plan: int = 0,
    done: int = 0,
    seen: int = 0,
    checkpoint: Checkpoint = NOTHING,
    writing: bool = False,
    run: int = 0,
    saved_run: int = 0,
) -> Found:
    flags = Status.WRITING if writing else 0
    credit = seen + SLOTS if plan else 0
    status = Status(boots, plan, done, 0, done, credit, 0, 0, flags, 0, 0, 0)
    return Found(number, boots, SLOTS, status, checkpoint, run, saved_run)


def saved(done: int, sequence: int = 50, plan: int = PIECE) -> Checkpoint:
    return Checkpoint(1, plan, done, sequence)


def kept(done: int, valid: int = Checkpoint.EXACT) -> Checkpoint:
    """What a board kept over a reset; no checkpoint was written since counting began."""
    return Checkpoint(valid, PIECE, done, 10)


NEW = Known()
KNITTING = Known(done=40, resting=False, board=7, boots=3, sequence=10)
RESTING = Known(done=40, resting=True, board=7, boots=3, sequence=10)
LOST = Known(resting=False)
RUN, LATER = 111, 222
MINE = Known(done=8, resting=False, board=7, boots=3, sequence=10, run=RUN)
MINE_RESTING = Known(done=8, resting=True, board=7, boots=3, sequence=10, run=RUN)

CASES = {
    "a new piece on a board that knows nothing": (NEW, board(), Begin(0)),
    "a new piece after another one": (NEW, board(checkpoint=saved(100, plan=OTHER)), Begin(0)),
    "the same piece once more after it was finished": (NEW, board(checkpoint=saved(100)), Begin(0)),
    "a new journal, but the board is half through": (NEW, board(checkpoint=saved(40)), (40, 41)),
    "a new journal, and the board is at it": (NEW, board(plan=PIECE, done=40, seen=38), (40, 0)),
    "a lost journal": (LOST, board(checkpoint=saved(40)), (40, 41)),
    "a lost journal of a finished piece": (LOST, board(checkpoint=saved(100)), (100, 0)),
    "a lost journal and a board that knows nothing": (LOST, board(), (0, 1)),
    "the program was killed": (KNITTING, board(plan=PIECE, done=40, seen=40), Adopt(40)),
    "the program was killed and the board went on": (KNITTING, board(plan=PIECE, done=72, seen=40), Adopt(40)),
    "killed between journal and acknowledgement": (KNITTING, board(plan=PIECE, done=41, seen=39), Adopt(40)),
    "the board is behind the journal": (KNITTING, board(plan=PIECE, done=39, seen=39), (40, 39)),
    "somebody else acknowledged": (KNITTING, board(plan=PIECE, done=45, seen=42), (40, 45)),
    "another board is at the same piece": (KNITTING, board(number=8, plan=PIECE, done=41, seen=40), (40, 41)),
    "the plan was put in force after a restart": (KNITTING, board(boots=4, plan=PIECE, done=41, seen=40), (40, 41)),
    "the board was restarted, the two agree": (KNITTING, board(boots=4, checkpoint=saved(40)), (40, 41)),
    "restarted, the checkpoint is further": (KNITTING, board(boots=4, checkpoint=saved(44)), (44, 45)),
    "restarted, the checkpoint was torn": (KNITTING, board(boots=4, checkpoint=saved(39)), (40, 41)),
    "restarted before a checkpoint was written": (
        KNITTING,
        board(boots=4, checkpoint=saved(70, sequence=10)),
        (40, 41),
    ),
    "restarted, checkpoint lost": (KNITTING, board(boots=4), (40, 41)),
    "restarted after the last pass": (Known(100, False, 7, 3, 10), board(boots=4, checkpoint=saved(100)), Begin(100)),
    "restarted, the board finished by itself": (
        Known(99, False, 7, 3),
        board(boots=4, checkpoint=saved(100)),
        Begin(100),
    ),
    "another board": (KNITTING, board(number=8, boots=3), (40, 41)),
    "another board that once knitted the same": (KNITTING, board(number=8, checkpoint=saved(90)), (40, 41)),
    "still running, but the plan was ended": (KNITTING, board(checkpoint=saved(43)), Begin(43)),
    "still running, never begun": (KNITTING, board(checkpoint=saved(70, sequence=10)), Begin(40)),
    "still running, the checkpoint on its way": (KNITTING, board(checkpoint=saved(43), writing=True), (43, 44)),
    "the checkpoint is impossibly far": (KNITTING, board(boots=4, checkpoint=saved(73)), (40, 73)),
    "the checkpoint is far behind": (KNITTING, board(boots=4, checkpoint=saved(20)), (40, 20)),
    "stopped in good order": (RESTING, board(boots=9, checkpoint=saved(40)), Begin(40)),
    "stopped in good order, then a checkpoint torn": (RESTING, board(boots=9, checkpoint=saved(39)), Begin(40)),
    "stopped in good order, another board": (RESTING, board(number=8), Begin(40)),
    "stopped, yet the board is further": (RESTING, board(boots=9, checkpoint=saved(41)), (40, 41)),
    "stepped back, checkpoint from before": (RESTING, board(checkpoint=saved(45, sequence=10)), Begin(40)),
    "killed while stepping back": (Known(40, True, 7, 3, 10, back=37), board(boots=4), (37, 40)),
    "killed, and the plan of this run is in force": (MINE, board(plan=PIECE, done=26, seen=8, run=RUN), Adopt(8)),
    "killed, then the same piece was begun again": (MINE, board(plan=PIECE, done=3, seen=3, run=LATER), (8, 9)),
    "killed, then the same piece was begun again and stopped": (
        MINE,
        board(checkpoint=saved(3), saved_run=LATER),
        (8, 9),
    ),
    "killed, and the checkpoint is of this run": (MINE, board(checkpoint=saved(11), saved_run=RUN), Begin(11)),
    "killed, then another piece was knitted": (MINE, board(checkpoint=saved(60, plan=OTHER)), (8, 9)),
    "killed, and another piece is in force": (MINE, board(plan=OTHER, done=5, seen=5), (8, 9)),
    "killed, another piece's checkpoint is older": (MINE, board(checkpoint=saved(60, 10, OTHER)), Begin(8)),
    "stopped, then another piece was knitted": (
        MINE_RESTING,
        board(checkpoint=saved(60, plan=OTHER)),
        Begin(8, since=True),
    ),
    "stopped, then the same piece was begun again": (
        MINE_RESTING,
        board(checkpoint=saved(12), saved_run=LATER),
        Begin(8, since=True),
    ),
    "reset with no pass under way": (MINE, board(boots=4, checkpoint=kept(11), saved_run=RUN), Begin(11)),
    "reset with a pass under way": (
        MINE,
        board(boots=4, checkpoint=kept(11, Checkpoint.UNDER_WAY), saved_run=RUN),
        (11, 12),
    ),
    "reset, but while another run was knitted": (MINE, board(boots=4, checkpoint=kept(11), saved_run=LATER), (8, 9)),
    "reset, and the journal is of an old form": (KNITTING, board(boots=4, checkpoint=kept(41)), (41, 42)),
    "reset, and the board is behind the journal": (MINE, board(boots=4, checkpoint=kept(7), saved_run=RUN), (8, 9)),
    "still running, but it has forgotten": (KNITTING, board(), (40, 41)),
    "killed in the first pass, and it has forgotten": (Known(0, False, 7, 3, 0), board(), (0, 1)),
    "told by the knitter, then restarted": (Known(12, True), board(boots=4), Begin(12)),
}


@pytest.mark.parametrize(("known", "found", "wanted"), CASES.values(), ids=CASES)
def test_the_next_pass_is_named_or_asked_for(
    known: Known, found: Found, wanted: Adopt | Begin | tuple[int, int]
) -> None:
    decided = settle(PIECE, PASSES, known, found)
    assert (decided.candidates if isinstance(decided, AskRow) else decided) == wanted


def test_no_pass_in_the_journal_is_ever_left_out_without_asking() -> None:
    """Whatever a board may tell of this piece, the count goes down only by the knitter's word."""
    for known in (KNITTING, RESTING):
        for number in (7, 8):
            for boots in (3, 4):
                for done in range(0, PASSES + 1, 3):
                    for sequence in (10, 50):
                        found = board(number=number, boots=boots, checkpoint=saved(done, sequence))
                        decided = settle(PIECE, PASSES, known, found)
                        assert isinstance(decided, AskRow) or decided.done >= known.done
