"""Everything that can go wrong with a session, as methods that may be called in any order.

A `Trial` holds a bench, a journal and perhaps a running session, and watches after every step that
no needle is wrong in silence, no pass is counted that was not knitted, and no knitted pass is lost.
"""

from __future__ import annotations

import contextlib
import itertools
import random
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import cast

import numpy as np
import numpy.typing as npt
from knit.rig import Bench, Knitter, Wire, connect, small_plan

from latchline.errors import LatchlineError, PortError
from latchline.knit import events as told
from latchline.knit.events import Answer, Event, Kind
from latchline.knit.journal import Journal
from latchline.knit.session import Session
from latchline.plan.model import Plan
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import POWER_ON, RESET_PIN, WATCHDOG, Board

IDLE_US = 50_000
PIECE_MOST_S = 3600.0


class Killed(BaseException):
    """The program ends here, without another word."""


class MortalJournal(Journal):
    """A journal during whose writing the program may be killed."""

    instant: Callable[[], None] = staticmethod(lambda: None)

    def _write(self, *arguments: object) -> None:
        self.instant()
        super()._write(*arguments)  # type: ignore[arg-type]
        self.instant()


class Trial:
    """One piece after another on one bench. `counts` says what has happened to them."""

    def __init__(
        self,
        folder: Path,
        *,
        seed: int = 0,
        plan: Plan | None = None,
        make_board: Callable[[], Board] = ModelBoard,
        first_name: int = 0,
    ) -> None:
        self.folder = folder
        self.chance = random.Random(seed)
        self.make_board = make_board
        self.plan = plan or small_plan(40, bands=2)
        self.other = small_plan(12, needles=20)
        self.bench = Bench(self.plan, seed=seed, board=make_board())
        self.knitter = Knitter(self.bench)
        self.counts: Counter[str] = Counter()
        self.session: Session | None = None
        self.wire: Wire | None = None
        self.journal: MortalJournal | None = None
        self.noise = 0.0
        self.looks_for_port = False  # whether the program goes on when the port is back
        self.opening_resets = False  # whether the board starts anew when its port is opened
        self._memory_lost = ""  # an old journal and a board that forgot: never both, as then nobody knows
        self._life: int | None = None
        self._names = itertools.count(1000 * first_name)
        self._unplug_first: int | None = None
        self._fresh_journal()

    # Running

    def run(self, seconds: float) -> None:
        """Let so much virtual time pass; the host is started when there is a board to talk to."""
        until_us = self.bench.now_us + round(seconds * 1e6)
        while self.bench.now_us < until_us:
            before_us = self.bench.now_us
            try:
                if self.session is None and self.bench.powered:
                    self._connect()
                if self.session is not None:
                    self._step(self.session)
            except Killed:
                self.counts["killed"] += 1
                self.drop()
            except LatchlineError as error:
                self.counts[type(error).__name__] += 1
                self.drop()
            if self.session is None or self.bench.now_us == before_us:
                self.bench.advance(self.bench.now_us + IDLE_US)

    def _connect(self) -> None:
        journal = self.journal = cast(MortalJournal, MortalJournal.open(self.path))
        if self.opening_resets:
            self.reset()
        host, self.wire = connect(self.bench)
        self._lay(self.wire)
        journal.instant = self._instant
        self.wire.unplug_after, self._unplug_first = self._unplug_first, None
        self.session = Session(
            host,
            journal.plan(),
            self.knitter,
            clock=self.wire.clock,
            record=journal,
            wait_s=0.05,
            reopen=self._reopen if self.looks_for_port else None,
            sleep=self._sleep,
        )

    def _lay(self, wire: Wire) -> None:
        wire.spoil, wire.instant = self._spoil, self._instant

    def _reopen(self) -> Wire:
        if not self.bench.powered:
            raise PortError("there is no such port")
        self.counts["port back"] += 1
        if self.opening_resets:
            self.reset()
        self.wire = Wire(self.bench)
        self._lay(self.wire)
        return self.wire

    def _sleep(self, seconds: float) -> None:
        self.bench.advance(self.bench.now_us + round(seconds * 1e6))

    def _step(self, session: Session) -> None:
        for event in session.step():
            self._check(event)
        if session.over:
            finished = self.journal is not None and self.journal.finished
            self.drop()
            if finished:
                self._inspect()

    def drop(self) -> None:
        """The program is gone."""
        if self.journal is not None:
            self.journal.instant = lambda: None
            self.journal.close()
        self.session, self.wire, self.journal, self._life = None, None, None, None
        self.knitter.forget()

    def _instant(self) -> None:
        if self._life is not None:
            self._life -= 1
            if self._life < 0:
                self._life = None
                raise Killed

    def _spoil(self, data: bytes) -> bytes:
        if not self.noise:
            return data
        out = bytearray()
        for byte in data:
            for bit in range(8):
                if self.chance.random() < self.noise:
                    byte ^= 1 << bit
            out += bytes((byte,)) * (1 if self.chance.random() > self.noise else self.chance.choice((0, 2)))
        return bytes(out)

    # What must hold

    def _check(self, event: Event) -> None:
        bench = self.bench
        match event:
            case told.Greeted():
                self.knitter.tired = False
            case told.Knitted(number, as_planned):
                self.counts["passes"] += 1
                assert as_planned
                assert len(bench.rows) >= number, "a pass was counted that was not knitted"
                assert (bench.rows[number - 1] == self.plan.driven_masks(number, number)[0]).all(), "a needle was wrong"
            case told.Asked(question):
                self.counts[f"asked {question.kind.name.lower()}"] += 1
            case told.Answered(question, Answer.GO_ON) if question.kind in (Kind.READY, Kind.UNKNIT):
                assert self.session is not None
                assert len(bench.rows) == question.pass_number - 1, "the count and the fabric differ"
                assert bench.good_rows() == len(bench.rows)
            case told.Stopped(error):
                self.counts[f"fault {error.number}"] += 1
        assert self.knitter.lost == 0, "a knitted pass was lost"

    def _inspect(self) -> None:
        """A finished piece: every row as planned, and each pass in the journal once."""
        bench = self.bench
        if self.knitter.regrets:
            bench.undo_spoiled()  # the carriage went once more without the lamp
        assert len(bench.rows) == bench.good_rows() == self.plan.passes
        with Journal.open(self.path) as journal:
            numbers = [entry.number for entry in journal.entries() if not entry.undone]
        assert numbers == list(range(1, self.plan.passes + 1))
        self.counts["pieces"] += 1
        bench.rows.clear()
        self._memory_lost = ""
        self._fresh_journal()

    def _fresh_journal(self, *, lost: bool = False) -> None:
        self.path = self.folder / f"piece-{next(self._names)}.latchline"
        Journal.create(self.path, self.plan, lost=lost).close()

    def finish(self) -> None:
        """Put everything right again, knit the piece to its end and look at it."""
        self.noise, self._life, self.bench.slip = 0.0, None, ""
        self.knitter.tired = False
        if not self.bench.powered:
            self.bench.restore_power()
        if self.wire is not None:
            self.wire.unplug_after = None
        pieces, until_us = self.counts["pieces"], self.bench.now_us + round(PIECE_MOST_S * 1e6)
        while self.counts["pieces"] == pieces:
            assert self.bench.now_us < until_us, "the piece does not come to its end"
            self.run(1.0)

    # What goes wrong: host and wire

    def kill(self, instants: int) -> None:
        """Kill the program after so many reads, writes and commits."""
        self._life = instants

    def leave(self) -> None:
        """Close the program in good order, at whatever point."""
        if self.session is not None:
            self.counts["left"] += 1
            with contextlib.suppress(Killed):
                self.session.close()
            self.drop()

    def knit_another_piece(self, seconds: float) -> None:
        """Take the piece off, knit another one on the same board for a while, and hang this one on again."""
        if self.bench.motion is not None or not self._at_side() or not self._lose("board"):
            return
        self.counts["another piece"] += 1
        mine, path = self.plan, self.path
        rows = self._hang(self.other, [])
        self._fresh_journal()
        self.run(seconds)
        if not self._at_side():  # whoever has not been heard by the board yet has not moved the carriage either
            self.bench.halt()
            self.bench.move(self.bench.outside[0])
        self._hang(mine, rows)
        self.path, self._memory_lost = path, "board"

    def _hang(self, plan: Plan, rows: list[npt.NDArray[np.bool_]]) -> list[npt.NDArray[np.bool_]]:
        """Hang a piece on the needles; the lamp is not heeded until its own program has come to it."""
        self.drop()
        self.knitter.tired = True
        while self.bench.motion is not None:
            self._sleep(0.1)
        self.plan = plan
        return self.bench.hang(plan, rows)

    def sleep(self, seconds: float) -> None:
        """The computer sleeps; knitting goes on meanwhile."""
        self.counts["asleep"] += 1
        self.bench.advance(self.bench.now_us + round(seconds * 1e6))

    def unplug(self, after_bytes: int) -> None:
        """The cable is pulled after so many more bytes; the board keeps its power."""
        if self.wire is not None:
            self.counts["unplugged"] += 1
            self.wire.unplug_after = self.wire.sent_bytes + after_bytes

    def _lose(self, which: str) -> bool:
        """May the journal be an old one, or the board forget? Not both."""
        if self._memory_lost not in ("", which):
            return False
        self._memory_lost = which
        return True

    def unplug_from_the_start(self, after_bytes: int) -> None:
        """The same for the next session to be started."""
        self._unplug_first = after_bytes

    def lose_journal(self) -> None:
        self.drop()
        self.counts["journal lost"] += 1
        self._fresh_journal(lost=True)

    def restore_old_journal(self, at: int) -> None:
        """A copy of the journal from some time ago takes its place."""
        copies = sorted(self.folder.glob(f"{self.path.name}.copy-*"))
        if copies and self._lose("journal"):
            self.drop()
            self.counts["old journal"] += 1
            for ending in ("-wal", "-shm"):
                self.path.with_name(self.path.name + ending).unlink(missing_ok=True)
            shutil.copy(copies[at % len(copies)], self.path)

    def copy_journal(self) -> None:
        self.drop()
        number = len(list(self.folder.glob(f"{self.path.name}.copy-*")))
        shutil.copy(self.path, self.path.with_name(f"{self.path.name}.copy-{number:04}"))

    # What goes wrong: board

    def cut_power(self, seconds: float, *, cable: bool) -> None:
        """The board loses power; with `cable` the port goes away, too."""
        self.counts["power cut"] += 1
        if cable and self.looks_for_port and self.wire is not None:
            self.wire.gone = True
        elif cable:
            self.drop()
        self.bench.cut_power()
        self.run(seconds)
        self.bench.restore_power(POWER_ON)

    def reset(self, *, watchdog: bool = False) -> None:
        self.counts["reset"] += 1
        self.bench.restore_power(WATCHDOG if watchdog else RESET_PIN)

    def swap_board(self, number: int) -> None:
        """Another board takes its place."""
        if not self._lose("board"):
            return
        self.counts["board swapped"] += 1
        self.drop()
        self.bench.cut_power()
        self.bench.board = self.make_board()
        memory = bytearray(b"\xff" * 1024)
        memory[960:968] = number.to_bytes(4, "little") + (number ^ 0xFFFFFFFF).to_bytes(4, "little")
        self.bench.board.memory = bytes(memory)
        self._start_board()

    def lose_checkpoint(self) -> None:
        """The board forgets everything but its own number."""
        if not self._lose("board"):
            return
        self.counts["checkpoint lost"] += 1
        self.drop()
        self.bench.cut_power()
        self.bench.board.memory = b"\xff" * 960 + self.bench.board.memory[960:]
        self._start_board()

    def _start_board(self) -> None:
        """A board that is new to this world is brought up to its time."""
        self.bench.board.run(self.bench.now_us)
        self.bench.board.sent()
        self.bench.board.signals()
        self.bench.restore_power()

    # What goes wrong: carriage

    def hand(self, what: str) -> None:
        """The carriage does something that it should not, if it stands at a side."""
        bench = self.bench
        if what in ("lost", "bounce"):
            bench.slip = what
            return
        if bench.motion is not None or self.knitter.busy or not self._at_side():
            return
        self.counts[what] += 1
        self.knitter.regrets |= not bench.lamp
        match what:
            case "rush":
                bench.knit_row(edges_per_s=900)
            case "too fast":
                bench.knit_row(edges_per_s=3000)
            case "turn early":
                bench.turn_early()
            case "back up":
                bench.knit_row(60, 45, edges_per_s=700)
            case "stand still":
                bench.knit_row(60, edges_per_s=700, pause_s=self.chance.choice((0.05, 0.6)))

    def _at_side(self) -> bool:
        return self.bench.place <= self.bench.left_line or self.bench.place >= self.bench.right_line

    # What the knitter wishes

    def wish(self, wish: told.Wish) -> None:
        if self.session is not None:
            self.counts[f"wish {type(wish).__name__.lower()}"] += 1
            self.session.wish(wish)


HAND = ("rush", "too fast", "turn early", "back up", "stand still", "lost", "bounce")
