"""One knitting at a time, in a thread of its own; every page sees the same, and any of them may answer."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from latchline.connect import cautioned, cautions_for, connect, session_on
from latchline.errors import InputError, JournalError, LatchlineError, LinkError, NotKnittable
from latchline.knit.by_hand import BY_HAND, HandSession
from latchline.knit.candidates import marks, meaning
from latchline.knit.events import Answer, Answered, Kind, Question, Stop
from latchline.knit.folding import placed
from latchline.knit.journal import Journal
from latchline.knit.journals import journal_folder, new_path, unfinished
from latchline.knit.plain import answer_of, plain, plain_event, plain_view, wish_of
from latchline.knit.prompts import Prompt, What
from latchline.knit.session import Session
from latchline.knit.view import View, row_of
from latchline.link.port import Port, clock_of
from latchline.plan.model import Plan

TELL_S = 0.03  # between two messages that only move what is shown; an event is told at once
CALM_S = 0.25  # between two looks where nothing happens
THINKING_S = 0.02  # a simulated port's time flies, but not while a knitter thinks
END_S = 2.0  # how long the desk's end waits for the board to be told
WAITS_S = 0.02

Tell = Callable[[dict[str, Any]], None]


class Knitting:
    """A session under way, or the one that ended last.

    tell: sends a message to every page. shown: the newest message, for a page that comes.
    """

    def __init__(self, journal: Journal, session: Session | HandSession, line: _Line | None, tell: Tell) -> None:
        self.plan: Plan = session.plan
        self.journal = journal
        self._session = session
        self._line = line
        self._tell = tell
        self._leaving = threading.Event()
        self._drawn: tuple[int, dict[str, Any]] = (0, {})
        self._step = (0, 0)  # how far the knitter has come within a question, by its serial
        self.over = False
        self.shown: dict[str, Any] = {"kind": "knit", "name": self.plan.name, "events": [], "view": None, "over": None}
        self._thread = threading.Thread(target=self._run, name="knitting", daemon=True)
        self._thread.start()

    def answer(self, given: dict[str, Any]) -> None:
        """Raises InputError for what is no answer; whether it met its question is told by an event."""
        self._session.answer(*answer_of(given))

    def step(self, given: dict[str, Any]) -> None:
        """At which of a question's things to do the knitter is, from 0; what is no such place does nothing."""
        serial, place = int(given["question"]), int(given["step"])
        question = self._session.question
        if question is not None and question.serial == serial and 0 <= place < len(question.prompts):
            self._step = serial, place

    def wish(self, given: dict[str, Any]) -> int:
        """The serial under which the wish's fate is told. Raises InputError for what is no wish."""
        return self._session.wish(wish_of(given))

    def events(self) -> list[object]:
        """All that the session has told, as far back as it is kept."""
        return [item.event for item in self._session.since(0)]

    def view(self) -> View:
        """The state of the session now."""
        return self._session.view()

    def message(self, view: View, events: list[dict[str, Any]]) -> dict[str, Any]:
        """What a page is told of a view. events: those since the message before."""
        return {
            "kind": "knit",
            "name": self.plan.name,
            "events": events,
            "view": plain_view(view) | self._pictures(view) | {"step": self._step_of(view)},
            "over": None,
        }

    def leave(self) -> None:
        """Put the board to rest and go; the journal goes on from here another time."""
        self._leaving.set()
        self._thread.join(END_S)

    # The thread

    def _run(self) -> None:
        error: LatchlineError | None = None
        try:
            self._follow()
        except LatchlineError as raised:
            error = raised
        except Exception as raised:  # a fault of ours; the page is told, and the journal is whole
            error = LatchlineError(f"the desk made a mistake ({type(raised).__name__}: {raised})")
        summary = self._session.summary()
        with suppress(LatchlineError, OSError):
            self._session.close()
        if self._line is not None:
            with suppress(LatchlineError, OSError):
                self._line.close()
        self.journal.discard_unused()
        self.journal.close()
        self.over = True
        over = {
            "finished": summary.finished,
            "done": summary.done,
            "knitted": summary.knitted,
            "wrong": list(summary.wrong),
            "faults": [list(fault) for fault in summary.faults],
            "seconds": round(summary.seconds, 1),
            "journal": self.journal.path.name,
            "trouble": None if error is None else plain(error),
        }
        self.shown = self.shown | {"events": [], "over": over}
        self._tell(self.shown)

    def _follow(self) -> None:
        told_at = 0.0
        waiting: list[dict[str, Any]] = []
        number = 0
        while not self._session.over and not self._leaving.is_set():
            self._session.step()
            news = self._session.since(number)
            for item in news:
                number = item.number
                self._heeded(item.event)
            if news:
                waiting += [plain_event(item) for item in news]
            now = time.monotonic()
            if now - told_at >= (TELL_S if waiting else CALM_S):
                told_at = now
                self._told(self._session.view(), waiting)
                waiting = []
            if self._line is not None and self._session.question is not None:
                time.sleep(THINKING_S)
        if not self._session.over:
            self._put_to_rest()
        waiting += [plain_event(item) for item in self._session.since(number)]
        self._told(self._session.view(), waiting)

    def _heeded(self, event: object) -> None:
        """Remember that the cautions of this port were read."""
        match event:
            case Answered(Question(kind=Kind.CAUTION), Answer.GO_ON) if self._line is not None:
                cautioned(self._line.name)

    def _put_to_rest(self) -> None:
        """Tell the board to pause, as at a stop; the desk does not wait longer than END_S for it."""
        self._session.wish(Stop())
        end = time.monotonic() + END_S
        while not self._session.over and time.monotonic() < end:
            self._session.step()

    def _told(self, view: View, events: list[dict[str, Any]]) -> None:
        message = self.message(view, events)
        quiet = not events and message["view"] == self.shown["view"]
        self.shown = message | {"events": []}
        if not quiet:
            self._tell(message)

    def _step_of(self, view: View) -> int:
        serial, place = self._step
        return place if view.question is not None and view.question.serial == serial else 0

    def _pictures(self, view: View) -> dict[str, Any]:
        """What a page draws beside the view: the coming pass as beads, and the rows that are asked about."""
        question = view.question
        key = view.number if question is None else -question.serial
        if self._drawn[0] != key:
            rows = []
            if question is not None and question.kind is Kind.ROW:
                rows = [self._candidate(number) for number in question.candidates]
            beads = self._beads(view.number) if self._line is None else []
            self._drawn = key, {"beads": beads, "candidates": rows}
        return self._drawn[1]

    def _beads(self, number: int) -> list[dict[str, Any]]:
        """The pass as runs of needles, folded where they repeat; a run is [needles, mark] as in `knit/folding.py`."""
        return [
            {
                "times": one.part.times,
                "runs": [list(run) for run in one.part.runs],
                "first": one.first,
                "last": one.last,
                "line": one.line,
            }
            for one in placed(self.plan, number)
        ]

    def _candidate(self, number: int) -> dict[str, Any]:
        if not number:
            return {"number": 0, "side": self.plan.start, "direction": "", "marks": "", "means": []}
        row = row_of(self.plan, number)
        side = "right" if row.direction == "rightward" else "left"
        return {
            "number": number,
            "side": side,
            "direction": row.direction,
            "marks": marks(self.plan, number),
            "first": row.first,
            "last": row.last,
            "means": meaning(self.plan, number),
        }


def begin(plan: Plan, source: tuple[str, str], port: str, tell: Tell, *, worst: str) -> Knitting:
    """Knit a plan from its beginning.

    source: name and text of the piece file. worst: what must be mended first; empty where nothing must.
    Raises NotKnittable, PortError, JournalError, InputError.
    """
    if worst:
        raise NotKnittable(worst.rstrip("."), where=plan.name, hint="mend it, or say that you knit it all the same")
    first = _begun_before(plan)
    if port == BY_HAND:
        journal = Journal.create(_fresh(plan), plan, source_name=source[0], source=source[1], port=BY_HAND)
        return Knitting(journal, HandSession(plan, record=journal, wait_s=WAITS_S, first=first), None, tell)
    line = _Line(port, plan)
    try:
        journal = Journal.create(_fresh(plan), plan, source_name=source[0], source=source[1], port=line.name)
    except BaseException:
        line.close()
        raise
    return _on(line, journal, plan, first, tell)


def go_on(path: Path, port: str, tell: Tell) -> Knitting:
    """Go on with a journal. port: empty for the one used before. Raises JournalError, PortError, InputError."""
    journal = Journal.open(path)
    try:
        if journal.finished:
            raise InputError("this piece is finished", where=path.name, hint="begin it anew to knit it again")
        plan = journal.plan()
        if BY_HAND in (port, journal.port):
            return Knitting(journal, HandSession(plan, record=journal, wait_s=WAITS_S), None, tell)
        line = _Line(port or journal.port or "auto", plan)
    except BaseException:
        journal.close()
        raise
    if line.name != journal.port:
        journal.on_port(line.name)
    return _on(line, journal, plan, [], tell)


def begun() -> list[dict[str, Any]]:
    """The pieces that are not finished, the one last knitted first."""
    found = []
    with suppress(LatchlineError):
        for path in unfinished()[:20]:
            with suppress(LatchlineError), Journal.read(path) as journal:
                plan = journal.plan()
                found.append(
                    {"journal": str(path), "name": plan.name, "done": journal.known.done, "passes": plan.passes}
                    | {"port": journal.port, "last_s": journal.last_s()}
                )
    return found


def _fresh(plan: Plan) -> Path:
    return new_path(journal_folder(), plan, time.time())


def _begun_before(plan: Plan) -> list[Question]:
    """The question to be answered first where this piece was begun before and is not finished."""
    with suppress(JournalError):  # one that another run is using is no concern of ours
        for path in unfinished(fingerprint=plan.fingerprint)[:1]:
            with Journal.read(path) as journal:
                done = journal.known.done
            return [Question(Kind.BEGUN, 1, (Prompt(What.BEGUN, 1, path.name, count=done),))] if done else []
    return []


class _Line:
    """An open port that can be opened again under its name. Raises PortError."""

    def __init__(self, name: str, plan: Plan) -> None:
        self._plan = plan
        self._port = connect(name, plan.profile)
        self.name = str(self._port.port)

    @property
    def port(self) -> Port:
        return self._port

    def reopen(self) -> Port:
        with suppress(LinkError, OSError):
            self._port.close()
        self._port = connect(self.name, self._plan.profile)
        return self._port

    def close(self) -> None:
        self._port.close()


def _on(line: _Line, journal: Journal, plan: Plan, first: list[Question], tell: Tell) -> Knitting:
    cautions = cautions_for(line.name)
    if cautions:
        first = [Question(Kind.CAUTION, 1, tuple(Prompt(What.CAUTION, 1, text) for text in cautions)), *first]
    simulated = clock_of(line.port) is not time.monotonic
    session = session_on(
        line.port, plan, record=journal, first=first, wait_s=WAITS_S, reopen=None if simulated else line.reopen
    )
    return Knitting(journal, session, line, tell)
