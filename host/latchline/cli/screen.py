"""What the knitter sees: one screen that reads at two metres, or plain lines where there is no terminal."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Protocol

from rich.align import Align
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from latchline.cli.keys import HELP
from latchline.cli.words import TYPED
from latchline.knit import candidates as picture
from latchline.knit import events as told
from latchline.knit import words
from latchline.knit.events import Event, Fate, Kind, Question, State
from latchline.knit.session import Session
from latchline.knit.view import View
from latchline.plan.model import Plan

REFRESH_S = 0.12
LOUD = (told.Due, told.Asked, told.Stopped, told.BoardRestarted, told.LinkQuiet, told.Ended)

STATES = {
    State.GREETING: ("looking for the board", "yellow"),
    State.WAITING: ("wait for the lamp", "yellow"),
    State.READY: ("ready: go", "green"),
    State.UNDER_WAY: ("knitting", "green"),
    State.LOST: ("take the carriage past the end sensor", "yellow"),
    State.PAUSED: ("paused: nothing is selected", "yellow"),
    State.FAULT: ("stopped by the board", "red"),
    State.QUIET: ("nothing is heard of the board", "red"),
    State.UNPLUGGED: ("the cable is out: plug it in", "red"),
    State.OVER: ("the end", "white"),
}

TITLES = {
    Kind.READY: "Before the first pass",
    Kind.BAND: "Before the next pass",
    Kind.HAND: "By hand, before the next pass",
    Kind.CHANGE: "Another yarn",
    Kind.AFTER: "After the last pass",
    Kind.FAULT: "The board stopped",
    Kind.WRONG: "A pass was not as planned",
    Kind.ROW: "Which pass is the last whole one on the needles?",
    Kind.SURE: "Is it really this pass?",
    Kind.PAUSED: "Paused",
    Kind.PLAIN: "Plain rows, outside the plan",
    Kind.UNKNIT: "Stepping back",
}

# Figures five lines high and five wide, so that a row number reads across a room.
_DIGITS = {
    "0": "█████|█   █|█   █|█   █|█████",
    "1": "  █  |███  |  █  |  █  |█████",
    "2": "█████|    █|█████|█    |█████",
    "3": "█████|    █| ████|    █|█████",
    "4": "█   █|█   █|█████|    █|    █",
    "5": "█████|█    |█████|    █|█████",
    "6": "█████|█    |█████|█   █|█████",
    "7": "█████|    █|   █ |  █  |  █  ",
    "8": "█████|█   █|█████|█   █|█████",
    "9": "█████|█   █|█████|    █|█████",
}
_ARROWS = {
    "leftward": "    █        |  ███        |█████████████|  ███        |    █        ",
    "rightward": "        █    |        ███  |█████████████|        ███  |        █    ",
}


class Display(Protocol):
    """Where a session is shown."""

    def __enter__(self) -> Display: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None: ...
    def told(self, event: Event) -> None: ...
    def say(self, text: str) -> None: ...
    def show(self, session: Session, typed: str) -> None: ...


def big(number: int) -> Text:
    """A number in large figures, five lines."""
    rows = zip(*(_DIGITS[digit].split("|") for digit in str(number)), strict=True)
    return _solid("\n".join("  ".join(parts) for parts in rows))


def arrow(direction: str) -> Text:
    return _solid(_ARROWS[direction].replace("|", "\n"))


def _solid(drawing: str) -> Text:
    """A drawing that is centred as a whole, not line by line."""
    return Text(drawing, justify="left", no_wrap=True)


def question_lines(plan: Plan, question: Question, width: int) -> list[str]:
    """A question written out: what to do, and for a row the candidates with their pictures."""
    if question.kind not in (Kind.ROW, Kind.SURE):
        ending = "Press the space bar when that is done." if question.prompts else "Press the space bar to go on."
        return [*(f"· {words.line(prompt)}" for prompt in question.prompts), ending]
    pictures = picture.candidates(plan, question.candidates, width)
    if question.kind is Kind.SURE:
        ending = "Press the space bar if the needles look like this; else type the right number and press Enter."
        return [f"Asked because {question.why}.", *pictures, "", ending]
    return [
        f"Asked because {question.why}. Look at the needles; undo a pass that is only half knitted or spoiled.",
        *pictures,
        "",
        "Type its number and press Enter; 0 if there is none.",
    ]


_WISHES: dict[type, str] = {
    told.Pause: "pause after the pass under way",
    told.PlainRows: "plain rows after the pass under way",
    told.StepBack: "step back after the pass under way",
    told.Note: "note",
    told.Stop: "stop after the pass under way",
}


def sentence(event: Event, passes: int) -> str:
    """An event as one line; empty when it needs none."""
    match event:
        case told.Greeted(info, done, adopted):
            version = ".".join(str(part) for part in info.version)
            how = "; it has the plan in force" if adopted else ""
            return f"Board {info.board:08x}, firmware {version}. {done} of {passes} passes are knitted{how}."
        case told.Knitted(number, as_planned, _):
            return f"Pass {number} of {passes} done." if as_planned else f"Pass {number} is NOT as planned."
        case told.Due(number, prompts):
            return f"Before pass {number}: {'; '.join(words.line(prompt) for prompt in prompts)}."
        case told.AnswerRefused(_, why):
            return f"That answer was not taken: {why}."
        case told.Wished(_, told.Note(text), Fate.GRANTED):
            return f"Noted: {text}"
        case told.Wished(_, wish, Fate.NOTED):
            return f"Noted: {_WISHES[type(wish)]}."
        case told.Wished(_, wish, Fate.REFUSED, why):
            return f"Not done ({_WISHES[type(wish)]}): {why}."
        case told.LinkLost(error):
            return f"The link is lost: {error.what}. Plug the cable in; the knitting goes on by itself."
        case told.Stopped(error):
            return f"The board stopped: {error.sentence(TYPED)}"
        case told.BoardRestarted():
            return "The board was restarted."
        case told.LinkQuiet(since_s):
            return f"Nothing was heard of the board for {since_s:.0f} s: check cable and power."
        case told.LinkBack():
            return "The board is heard again."
        case told.SteppedBack(done):
            return f"Going on after pass {done}."
        case told.Ended(finished):
            return "The piece is finished." if finished else "Stopped; `latchline resume` goes on from here."
    return ""


class Lines:
    """Plain lines, for pipes and logs. say: where they go."""

    def __init__(self, plan: Plan, say: Callable[[str], None]) -> None:
        self._plan = plan
        self.say = say
        self._width = shutil.get_terminal_size().columns

    def __enter__(self) -> Lines:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        pass

    def told(self, event: Event) -> None:
        if isinstance(event, told.Asked):
            self.say(f"{TITLES[event.question.kind]} (pass {event.question.pass_number})")
            for line in question_lines(self._plan, event.question, self._width):
                self.say(f"  {line}")
        elif text := sentence(event, self._plan.passes):
            self.say(text)

    def show(self, session: Session, typed: str) -> None:
        pass


class Screen:
    """The whole terminal. It draws when told to, at most every REFRESH_S; there is no thread."""

    def __init__(self, plan: Plan, console: Console | None = None) -> None:
        self._plan = plan
        self._console = console or Console(stderr=True)
        self._live = Live(console=self._console, screen=True, auto_refresh=False)
        self._said: list[str] = []
        self._drawn_at = 0.0
        self._asked = 0

    def __enter__(self) -> Screen:
        self._live.__enter__()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._live.__exit__(kind, error, at)

    def told(self, event: Event) -> None:
        if isinstance(event, LOUD):
            self._console.bell()
        if not isinstance(event, told.Knitted) or not event.as_planned:
            text = sentence(event, self._plan.passes)
            if text:
                self.say(text)

    def say(self, text: str) -> None:
        self._said = [*self._said[-3:], text]

    def show(self, session: Session, typed: str) -> None:
        now, asked = time.monotonic(), 0 if session.question is None else session.question.serial
        if now - self._drawn_at < REFRESH_S and asked == self._asked:
            return
        self._drawn_at, self._asked = now, asked
        width = self._console.size.width
        drawn = render(self._plan, session.view(), typed, self._said, width)
        self._live.update(drawn, refresh=True)


def render(plan: Plan, view: View, typed: str, said: Sequence[str], width: int = 80) -> RenderableType:
    """The screen as it is to be drawn."""
    says, colour = STATES[view.state]
    question = view.question
    parts: list[RenderableType] = [_headline(view, colour), Text()]
    parts.append(Text(says.upper(), style=f"bold {colour}", justify="center"))
    parts.append(Text())
    if question is not None:
        parts.append(Text(TITLES[question.kind], style="bold reverse"))
        parts += [Text(line) for line in question_lines(plan, question, width)]
        if question.kind is Kind.PLAIN:
            parts.append(Text(f"{view.plain_rows} plain rows so far, by the carriage's way.", style="bold"))
    else:
        parts.append(_facts(view))
    parts += [Text(), *(Text(line, style="dim") for line in said)]
    parts.append(Text(f"> {typed}" if typed else HELP, style="bold" if typed else "dim"))
    return Group(*parts)


def _headline(view: View, colour: str) -> RenderableType:
    table = Table.grid(expand=True)
    for _ in range(3):
        table.add_column(justify="center", ratio=1)
    left = view.passes - view.number + (view.state is not State.OVER)
    table.add_row(Text("PASS"), Text(view.row.direction.upper()), Text("STILL TO DO"))
    table.add_row(
        Align.center(big(view.number)), Align.center(arrow(view.row.direction), style=colour), Align.center(big(left))
    )
    return table


def _facts(view: View) -> RenderableType:
    table = Table.grid(padding=(0, 2))
    table.add_row("yarn", Text(" and ".join(yarn.name for yarn in view.row.yarns) or "–", style="bold"))
    row = f", chart row {view.chart_row}" if view.chart_row else ""
    table.add_row("band", f"{view.band}{row}")
    if view.coming is not None:
        number, ahead = view.coming.pass_number, view.coming.ahead
        when = f"before pass {number}, in {ahead}" if ahead else "now"
        what = "; ".join(words.line(prompt) for prompt in view.coming.prompts)
        table.add_row("next", Text(f"{when}: {what}", style="bold"))
    if view.rows_per_min is not None:
        left = "" if view.left is None else f", about {_minutes(view.left.left_s)} left ± {_minutes(view.left.error_s)}"
        table.add_row("pace", f"{view.rows_per_min:.0f} rows a minute{left}")
    table.add_row("link", f"{view.loaded} passes loaded ahead")
    return table


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"
