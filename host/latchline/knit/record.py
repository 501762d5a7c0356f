"""Where a session writes down what must outlive it: a journal, or nothing at all."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

from latchline.knit.settle import Known
from latchline.link.messages import BoardInfo, Done

WHOLE_LINES = "whole lines"  # the event of a board that counts every pass at the lines of the plan


class Record(Protocol):
    """Every method that changes something returns only when the change would outlive a loss of power."""

    @property
    def known(self) -> Known: ...
    def begin(self, info: BoardInfo, sequence: int | None) -> None:
        """From now on this board counts."""

    def passed(self, report: Done, as_planned: bool) -> None:
        """The next pass was knitted."""

    def confirmed(self, number: int) -> None:
        """The next pass was knitted by hand, and the knitter says so."""

    def rest(self) -> None:
        """Nothing is counted until `move`."""

    def move(self) -> None: ...
    def stepping(self, back: int) -> None:
        """The knitter is about to take passes back, until `back` are left."""

    def settled(self, done: int, sequence: int | None, why: str) -> None:
        """So many passes are knitted, as was found out or told; nothing is counted until `begin`."""

    def event(self, kind: str, text: str) -> None:
        """Something to remember: a note, a fault, plain rows."""

    def finish(self) -> None: ...


class Unwritten:
    """A record in memory only, as a dry run needs it."""

    def __init__(self, done: int = 0) -> None:
        self.known = Known(done, run=1)

    def begin(self, info: BoardInfo, sequence: int | None) -> None:
        self.known = replace(self.known, resting=False, board=info.board, boots=info.boots, sequence=sequence)

    def passed(self, report: Done, as_planned: bool) -> None:
        self.known = replace(self.known, done=report.pass_number)

    def confirmed(self, number: int) -> None:
        self.known = replace(self.known, done=number, resting=True)

    def rest(self) -> None:
        self.known = replace(self.known, resting=True)

    def move(self) -> None:
        self.known = replace(self.known, resting=False)

    def stepping(self, back: int) -> None:
        self.known = replace(self.known, back=back)

    def settled(self, done: int, sequence: int | None, why: str) -> None:
        self.known = replace(self.known, done=done, resting=True, sequence=sequence, back=None)

    def event(self, kind: str, text: str) -> None:
        pass

    def finish(self) -> None:
        self.known = replace(self.known, resting=True)
