"""Knitting with a knitter at the keys: port, journal, screen and session brought together."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

from latchline.cli.keys import Keys, parse
from latchline.cli.screen import Display, Lines, Screen
from latchline.errors import file_trouble
from latchline.knit.events import Answer, Kind, Question, Reply, Summary
from latchline.knit.journal import Journal, journal_folder
from latchline.knit.session import Session
from latchline.link.host import Host
from latchline.link.messages import Bed
from latchline.link.port import Port, clock_of
from latchline.link.setup import bed_message
from latchline.machine.cautions import SHORT_CAUTIONS
from latchline.machine.sense import watch_limits
from latchline.plan.model import Plan

VIRTUAL_WAIT_S = 0.25  # a simulated port's time flies while nobody waits for it
THINKING_S = 0.02  # but not while a knitter thinks


class Hands:
    """Answers questions with what was typed. `agrees`: whatever is to be done counts as done."""

    def __init__(self, agrees: bool) -> None:
        self.agrees = agrees
        self.nobody = False
        self.reply: Reply | None = None

    def answer(self, question: Question) -> Reply | None:
        reply, self.reply = self.reply, None
        if reply is None and self.agrees and question.kind is not Kind.ROW:
            return Answer.GO_ON
        return Answer.STOP if reply is None and self.nobody else reply


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
    hands = Hands(agrees)
    session = Session(
        Host(port, clock, nonce=time.time_ns() & 0xFFFFFFFF),
        plan,
        hands,
        clock=clock,
        record=journal,
        bed=watched_bed(plan) if not virtual else None,
        waits_at_bands=waits_at_bands,
        wait_s=VIRTUAL_WAIT_S if virtual else 0.05,
    )
    with Keys() as keys, _display(plan, say) as display:
        while not session.over:
            for event in session.step():
                display.told(event)
            for entry in keys.entries():
                _typed(entry, session, hands, display)
            hands.nobody = keys.ended
            display.show(session, keys.typing.so_far)
            if virtual and session.question is not None and not agrees:
                time.sleep(THINKING_S)
    return session.summary()


def watched_bed(plan: Plan) -> Bed:
    """The bed with the limits between which a real board watches its coil supply."""
    supply_min, current_max = watch_limits(plan.profile)
    return bed_message(plan.profile, supply_min=supply_min, current_max=current_max)


def _display(plan: Plan, say: Callable[[str], None]) -> Display:
    terminal = all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))
    return Screen(plan) if terminal else Lines(plan, say)


def _typed(entry: str, session: Session, hands: Hands, display: Display) -> None:
    meaning = parse(entry, session.question)
    if isinstance(meaning, str):
        display.say(meaning)
    elif isinstance(meaning, Answer | int):
        hands.reply = meaning
    else:
        session.wish(meaning)


def cautions_for(port: str) -> tuple[str, ...]:
    """The cautions, the first time that a real port is used; remembered beside the journals."""
    if port.startswith("sim://"):
        return ()
    path = journal_folder() / "ports-used"
    try:
        used = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        if port in used:
            return ()
        _remember(path, [*used, port])
    except OSError as error:
        raise file_trouble(path, error) from None
    return SHORT_CAUTIONS


def _remember(path: Path, ports: list[str]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_text("".join(f"{port}\n" for port in ports), encoding="utf-8")
    part.replace(path)
