"""Knitting with a knitter at the keys: port, journal, screen and session brought together."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections import deque
from collections.abc import Callable, Sequence

from latchline.cli.keys import Keys, parse
from latchline.cli.screen import Display, Lines, Screen
from latchline.cli.signals import Signals
from latchline.cli.wording import BLOCK, can_print
from latchline.connect import cautioned, cautions_for, connect, session_on
from latchline.errors import LinkError
from latchline.knit.by_hand import HandSession
from latchline.knit.events import Answer, Answered, Kind, Pause, Question, Reply, Summary
from latchline.knit.journal import Journal
from latchline.knit.prompts import Prompt, What
from latchline.knit.session import Session
from latchline.link.port import Port, clock_of
from latchline.plan.model import Plan

THINKING_S = 0.02  # but not while a knitter thinks


class Agrees:
    """Takes whatever is to be done as done; a doubtful row and another piece's plan are left to the knitter.

    reads: whether what was shown can be read afterwards, so that cautions need not be answered.
    """

    LEFT = frozenset((Kind.ROW, Kind.SURE, Kind.OTHER))

    def __init__(self, reads: bool) -> None:
        self._left = self.LEFT if reads else self.LEFT | {Kind.CAUTION}

    def answer(self, question: Question) -> Reply | None:
        return None if question.kind in self._left else Answer.GO_ON


def knit(
    port: Port,
    plan: Plan,
    journal: Journal,
    *,
    say: Callable[[str], None],
    agrees: bool = False,
    waits_at_bands: bool = True,
    waits_at_changes: bool | None = None,
    begun: Sequence[Question] = (),
) -> Summary:
    """Knit to the end, or until the knitter stops; `say` takes the lines where there is no terminal to draw on.

    begun: a question to be answered before the first one. Raises LinkError, JournalError, KeyboardInterrupt; the
    board has been told to pause then.
    """
    name, virtual = str(port.port), clock_of(port) is not time.monotonic
    drawn = can_draw()
    lines = port

    def reopen() -> Port:
        nonlocal lines
        with contextlib.suppress(LinkError, OSError):
            lines.close()
        lines = connect(name, plan.profile)
        return lines

    session = session_on(
        port,
        plan,
        operator=Agrees(reads=not drawn) if agrees else None,
        record=journal,
        waits_at_bands=waits_at_bands,
        waits_at_changes=waits_at_changes,
        first=[*_cautions(name), *begun],
        reopen=reopen if drawn and not virtual else None,
    )
    pause_s = THINKING_S if virtual and not agrees else 0.0
    try:
        return _shown(session, plan, say, drawn, name, pause_s)
    finally:
        if lines is not port:
            lines.close()


def knit_by_hand(
    plan: Plan, journal: Journal, *, say: Callable[[str], None], agrees: bool = False, begun: Sequence[Question] = ()
) -> Summary:
    """The same without a board: the knitter confirms each pass. Raises JournalError, KeyboardInterrupt."""
    drawn = can_draw()
    session = HandSession(plan, Agrees(reads=not drawn) if agrees else None, record=journal, first=begun)
    return _shown(session, plan, say, drawn, "", 0.0)


def _shown(
    session: Session | HandSession, plan: Plan, say: Callable[[str], None], drawn: bool, port: str, pause_s: float
) -> Summary:
    """Follow a session on a screen or in lines, to its end."""
    try:
        with Signals() as signals, Keys() as keys, Screen(plan) if drawn else Lines(plan, say) as display:
            _follow(session, signals, keys, display, port, pause_s=pause_s)
    finally:
        session.close()
    return session.summary()


def _follow(
    session: Session | HandSession, signals: Signals, keys: Keys, display: Display, port: str, *, pause_s: float
) -> None:
    """Step to the end, show what happens, and hand on what is typed. pause_s: at each step while a question stands."""
    shown: Question | None = None
    typed: deque[str] = deque()
    while not session.over:
        events = session.step()
        # What was typed until now was typed at the question that was shown until now.
        typed += keys.entries()
        if typed:
            _typed(typed.popleft(), session, shown, display)
        elif keys.ended and shown is not None:
            session.answer(shown.serial, Answer.STOP)
        for event in events:
            display.told(event)
            if isinstance(event, Answered) and event.question.kind is Kind.CAUTION:
                cautioned(port)
        display.show(session, keys.typing.so_far)
        shown = session.question
        if pause_s and shown is not None:
            time.sleep(pause_s)
        if signals.halt:
            session.wish(Pause())
            display.__exit__(None, None, None)
            keys.__exit__(None, None, None)
            signals.sleep()
            keys.__enter__()
            display.__enter__()


def _cautions(port: str) -> list[Question]:
    texts = cautions_for(port)
    return [Question(Kind.CAUTION, 1, tuple(Prompt(What.CAUTION, 1, text) for text in texts))] if texts else []


def can_draw() -> bool:
    """Whether there is a terminal on which a screen can be drawn."""
    if not all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr)):
        return False
    return os.environ.get("TERM", "dumb") not in ("", "dumb", "unknown") and can_print(sys.stderr, BLOCK)


def _typed(entry: str, session: Session | HandSession, question: Question | None, display: Display) -> None:
    meaning = parse(entry, question)
    if isinstance(meaning, str):
        display.say(meaning)
    elif isinstance(meaning, Answer | int):
        if question is None or (meaning is Answer.GO_ON and question.kind is Kind.PASS and display.turn()):
            return
        session.answer(question.serial, meaning)
    else:
        session.wish(meaning)
