"""What the knitter sees: one screen that reads at two metres, or plain lines where there is no terminal."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import Protocol

from rich.console import Console
from rich.live import Live
from rich.text import Text

from latchline.cli.layout import layout, stretches_of
from latchline.cli.wording import BELLS, in_letters, plain_title, question_lines, sentence
from latchline.knit import events as told
from latchline.knit.by_hand import BOUNCE_S, HandSession
from latchline.knit.events import Event
from latchline.knit.session import Session
from latchline.plan.model import Plan

REFRESH_S = 0.12
BELL_S = 0.25  # from one bell to the next
SAID_S = 60.0  # how long a sentence stays
SAID_LINES = 4


class Display(Protocol):
    """Where a session is shown."""

    def __enter__(self) -> Display: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None: ...
    def told(self, event: Event) -> None: ...
    def say(self, text: str) -> None: ...
    def show(self, session: Session | HandSession, typed: str) -> None: ...
    def turn(self) -> bool:
        """Show the next stretch of what is asked; whether a press was for that, and so is no answer yet."""
        ...


class Lines:
    """Plain lines, for pipes and logs. say: where they go."""

    def __init__(self, plan: Plan, say: Callable[[str], None]) -> None:
        self._plan = plan
        self._say = say
        self._width = shutil.get_terminal_size().columns

    def __enter__(self) -> Lines:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        pass

    def say(self, text: str) -> None:
        self._say(in_letters(sys.stderr, text))

    def told(self, event: Event) -> None:
        if isinstance(event, told.Asked):
            self.say(plain_title(self._plan, event.question))
            for line in question_lines(self._plan, event.question, self._width):
                self.say(f"  {line}")
        elif text := sentence(event, self._plan.passes):
            self.say(text)

    def show(self, session: Session | HandSession, typed: str) -> None:
        pass

    def turn(self) -> bool:
        return False


class Screen:
    """The whole terminal. It draws when told to, at most every REFRESH_S; there is no thread."""

    def __init__(self, plan: Plan, console: Console | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._plan = plan
        self._console = console or Console(stderr=True, highlight=False)
        self._clock = clock
        self._live: Live | None = None
        self._said: list[tuple[float, str]] = []
        self._drawn_at = 0.0
        self._asked = 0
        self._stretch, self._stretches, self._turned_at = 0, 1, 0.0
        self._bells = 0
        self._rung_at = 0.0

    def __enter__(self) -> Screen:
        self._live = Live(console=self._console, screen=True, auto_refresh=False)
        self._live.__enter__()
        self._drawn_at = 0.0
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._live is not None:
            self._live.__exit__(kind, error, at)
            self._live = None

    def told(self, event: Event) -> None:
        self._bells = max(self._bells, BELLS.get(type(event), 0))
        self._ring()
        if not isinstance(event, told.Knitted) or not event.as_planned:
            text = sentence(event, self._plan.passes)
            if text:
                self.say(text)

    def say(self, text: str) -> None:
        self._said = [*self._said[-SAID_LINES + 1 :], (self._clock(), text)]

    def show(self, session: Session | HandSession, typed: str) -> None:
        now, asked = self._clock(), 0 if session.question is None else session.question.serial
        self._ring()
        if now - self._drawn_at < REFRESH_S and asked == self._asked:
            return
        if asked != self._asked:
            self._stretch, self._turned_at = 0, now
        self._drawn_at, self._asked = now, asked
        self._said = [(at, text) for at, text in self._said if now - at < SAID_S]
        width, height = self._console.size
        said = [text for _, text in self._said]
        size = max(10, width), max(6, height)
        view = session.view()
        self._stretches = stretches_of(self._plan, view, *size)
        self._stretch = min(self._stretch, self._stretches - 1)
        lines = layout(self._plan, view, typed, said, *size, self._stretch)
        if self._live is not None:
            self._live.update(Text("\n", no_wrap=True, overflow="crop").join(lines), refresh=True)

    def turn(self) -> bool:
        now = self._clock()
        if self._stretches == 1:
            return False
        if now - self._turned_at < BOUNCE_S:
            return True  # the press that turned before, or that counted the pass before, come twice
        if self._stretch + 1 == self._stretches:
            return False
        self._stretch, self._turned_at, self._drawn_at = self._stretch + 1, now, 0.0
        return True

    def _ring(self) -> None:
        """One bell of those that are due, no two so near each other that they sound as one."""
        now = self._clock()
        if self._bells and now - self._rung_at >= BELL_S:
            self._bells -= 1
            self._rung_at = now
            self._console.bell()
