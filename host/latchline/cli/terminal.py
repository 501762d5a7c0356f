"""Knitting with a knitter at the keys: port, journal, screen and session brought together."""

from __future__ import annotations

import sys
import time
from collections import deque
from collections.abc import Callable

from latchline.cli.keys import Keys, parse
from latchline.cli.screen import Display, Lines, Screen
from latchline.connect import watched_bed
from latchline.knit.events import Answer, Kind, Question, Reply, Summary
from latchline.knit.journal import Journal
from latchline.knit.session import Session
from latchline.link.host import Host
from latchline.link.port import Port, clock_of
from latchline.plan.model import Plan

VIRTUAL_WAIT_S = 0.25  # a simulated port's time flies while nobody waits for it
THINKING_S = 0.02  # but not while a knitter thinks


class Agrees:
    """Takes whatever is to be done as done; only a doubtful row is left to the knitter."""

    def answer(self, question: Question) -> Reply | None:
        return None if question.kind in (Kind.ROW, Kind.SURE) else Answer.GO_ON


def knit(
    port: Port,
    plan: Plan,
    journal: Journal,
    *,
    say: Callable[[str], None],
    agrees: bool = False,
    waits_at_bands: bool = True,
) -> Summary:
    """Knit to the end, or until the knitter stops; `say` takes the lines where there is no terminal to draw on.

    Raises LinkError, JournalError, KeyboardInterrupt.
    """
    clock = clock_of(port)
    virtual = clock is not time.monotonic
    session = Session(
        Host(port, clock, nonce=time.time_ns() & 0xFFFFFFFF),
        plan,
        Agrees() if agrees else None,
        clock=clock,
        record=journal,
        bed=watched_bed(plan.profile) if not virtual else None,
        waits_at_bands=waits_at_bands,
        wait_s=VIRTUAL_WAIT_S if virtual else 0.05,
    )
    with Keys() as keys, _display(plan, say) as display:
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
            display.show(session, keys.typing.so_far)
            shown = session.question
            if virtual and session.question is not None and not agrees:
                time.sleep(THINKING_S)
    return session.summary()


def _display(plan: Plan, say: Callable[[str], None]) -> Display:
    terminal = all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))
    return Screen(plan) if terminal else Lines(plan, say)


def _typed(entry: str, session: Session, question: Question | None, display: Display) -> None:
    meaning = parse(entry, question)
    if isinstance(meaning, str):
        display.say(meaning)
    elif isinstance(meaning, Answer | int):
        if question is not None:
            session.answer(question.serial, meaning)
    else:
        session.wish(meaning)
