"""Which pass comes next, from what the journal knows and what the board tells. No input, no output.

A pass counts as knitted when the board has reported it done. The journal learns of it a little
later, the board's checkpoint about 40 ms later, so each is a lower bound of the truth. The board
itself, while it runs, is exact. Hence:

- a board that still has the plan in force is taken over as it is;
- a board that has been running all the while, but not with this plan any more, has its last pass in
  the journal or in its checkpoint, whichever is further; without a checkpoint it has forgotten;
- a board that was reset while no pass was under way still tells exactly how far this run is, if it kept its power;
- a journal that was put to rest (paused, stopped, at a fault) is exact, as nothing was counted after it;
- otherwise a pass may have been finished that neither has heard of, or be half knitted: the knitter
  is asked, and sees the answer on the needles.
"""

from __future__ import annotations

from dataclasses import dataclass

from latchline.counted import counted
from latchline.link.messages import Checkpoint, Status

LAG = 1  # passes by which a checkpoint that was torn by a loss of power lies behind


@dataclass(frozen=True)
class Known:
    """What a journal knows.

    done: passes knitted. resting: whether nothing can have been counted since then. board, boots:
    the board it last counted with and that one's number of starts; None before the first (then
    resting tells that the piece is new, not resting that its journal was lost).
    sequence: of the checkpoint that the board held when counting began, which is no news.
    back: where a step back that is under way will end; None when there is none.
    run: the identity of this knitting of the piece; 0 in a journal of an old form.
    """

    done: int = 0
    resting: bool = True
    board: int | None = None
    boots: int | None = None
    sequence: int | None = None
    back: int | None = None
    run: int = 0


@dataclass(frozen=True)
class Found:
    """What a board tells when it is greeted.

    run: of the plan in force; saved_run: of the checkpoint; 0 where the board tells none.
    """

    board: int
    boots: int
    slots: int
    status: Status
    checkpoint: Checkpoint
    run: int = 0
    saved_run: int = 0


@dataclass(frozen=True)
class Adopt:
    """The plan is in force; reports after `done` are waiting on the board."""

    done: int


@dataclass(frozen=True)
class Begin:
    """`done` passes are knitted; the plan is to be put in force from the next one.

    since: whether the board has begun another piece since.
    """

    done: int
    since: bool = False


@dataclass(frozen=True)
class AskRow:
    """One of the candidates is the number of the last whole pass; `why` is a clause for the knitter."""

    candidates: tuple[int, int]
    why: str


def settle(fingerprint: int, passes: int, known: Known, found: Found) -> Adopt | Begin | AskRow:
    """What to do with a plan of this fingerprint and so many passes."""
    if of_this_plan(fingerprint, known, found):
        return _in_force(known, found)
    if known.back is not None:
        return AskRow((known.back, known.done), "a step back was under way")
    checkpoint = found.checkpoint
    tells = bool(checkpoint.valid) and checkpoint.fingerprint == fingerprint and _of_this_run(known, found.saved_run)
    if known.board is None and not known.done:
        return _without_journal(checkpoint.done if tells else 0, passes, new=known.resting)
    kept = checkpoint.valid in (Checkpoint.EXACT, Checkpoint.UNDER_WAY)  # over a reset
    news = tells and known.board == found.board and (kept or checkpoint.sequence != known.sequence)
    furthest = max(known.done, checkpoint.done) if news else known.done
    if news and not known.done - LAG <= checkpoint.done <= known.done + (0 if known.resting else found.slots):
        return AskRow((known.done, checkpoint.done), "journal and board disagree")
    # Another piece was begun on this board since, so its memory of this one is gone.
    since = known.board == found.board and (
        bool(found.status.fingerprint)
        or (bool(checkpoint.valid) and not tells and (kept or checkpoint.sequence != known.sequence))
    )
    exact = news and checkpoint.valid == Checkpoint.EXACT and checkpoint.done >= known.done
    if known.resting or furthest == passes or (exact and known.run == found.saved_run != 0):
        return Begin(furthest, since)
    if since:
        return AskRow((furthest, furthest + 1), "another piece was knitted on this board since")
    running = (known.board, known.boots) == (found.board, found.boots)
    if running and checkpoint.valid and not found.status.flags & Status.WRITING:
        return Begin(furthest)
    why = "the board was restarted" if known.board == found.board else "this is another board"
    if running:
        why = "the board is still writing down how far it is" if checkpoint.valid else "the board has forgotten"
    return AskRow((furthest, furthest + 1), why)


def _without_journal(saved: int, passes: int, *, new: bool) -> Begin | AskRow:
    """A journal that has nothing in it yet: of a piece that is new, or in place of one that was lost."""
    if new and saved in (0, passes):
        return Begin(0)  # after a finished piece the board still tells of it
    if saved:
        other = saved + 1 if saved < passes else 0
        why = f"the board remembers {counted(saved, 'pass')} of this piece, but there is no journal of it"
        return AskRow((saved, other), why)
    return AskRow((0, 1), "neither a journal nor the board tells how far this piece is")


def _in_force(known: Known, found: Found) -> Adopt | AskRow:
    status = found.status
    seen = status.credit - found.slots
    if known.board is None and not known.done:
        return AskRow((status.done, 0), "the board is in the middle of this piece, but no journal tells of it")
    if (known.board, known.boots) == (found.board, found.boots) and seen <= known.done <= status.done:
        return Adopt(known.done)
    return AskRow((known.done, status.done), "journal and board disagree")


def of_this_plan(fingerprint: int, known: Known, found: Found) -> bool:
    """Whether the plan in force on the board is this one, in this very run."""
    return found.status.fingerprint == fingerprint and _of_this_run(known, found.run)


def _of_this_run(known: Known, run: int) -> bool:
    """Whether what the board tells is of the journal's own run. A journal that has no board yet cannot know."""
    return known.board is None or not known.run or not run or known.run == run
