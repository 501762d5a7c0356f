"""A session in the words of the command line: states, questions, and each event as a sentence."""

from __future__ import annotations

from typing import TextIO

from latchline.cli.stretches import whole
from latchline.cli.words import TYPED
from latchline.counted import counted
from latchline.knit import candidates as picture
from latchline.knit import events as told
from latchline.knit import words
from latchline.knit.events import Event, Fate, Kind, Question, State
from latchline.knit.prompts import What
from latchline.knit.talk import ROW_KINDS
from latchline.knit.view import View
from latchline.link.faults import fault_text
from latchline.plan.model import Plan

BLOCK = "█"

# words, colour, and a shape by which each is known without its colour
STATES = {
    State.GREETING: ("looking for the board", "yellow", "…"),
    State.WAITING: ("wait for the lamp", "yellow", "○"),
    State.READY: ("ready: go", "green", "●"),
    State.UNDER_WAY: ("knitting", "green", "═"),
    State.LOST: ("take the carriage past the end sensor", "yellow", "◇"),
    State.PAUSED: ("paused: nothing is selected", "yellow", "║"),
    State.FAULT: ("stopped by the board", "red", "■"),
    State.QUIET: ("nothing is heard of the board", "red", "×"),
    State.UNPLUGGED: ("the cable is out: plug it in", "red", "×"),
    State.OVER: ("the end", "white", "─"),
}

WAITS_FOR_YOU = "waiting for you"  # in place of the lamp while something is asked

TITLES = {
    Kind.CAUTION: "Before this port is used for the first time",
    Kind.BEGUN: "This piece was begun before",
    Kind.OTHER: "Another piece is on the board",
    Kind.READY: "Before the first pass",
    Kind.BAND: "Before the next pass",
    Kind.HAND: "By hand, before the next pass",
    Kind.CHANGE: "Another yarn",
    Kind.AFTER: "After the last pass",
    Kind.FAULT: "The board stopped",
    Kind.WRONG: "A pass was not as planned",
    Kind.ROW: "Which pass is the last whole one on the needles?",
    Kind.SURE: "Is it really this pass?",
    Kind.PASS: "Bring these needles forward, knit, then press the space bar",
    Kind.PAUSED: "Paused",
    Kind.PLAIN: "Plain rows, outside the plan",
    Kind.UNKNIT: "Stepping back",
}

# Where not all needles have room at once; the two take the same number of lines.
STRETCH = "Bring these needles forward ({} of {}), then press the space bar for the next ones"
LAST_STRETCH = "Bring these needles forward ({} of {}), knit, then press the space bar"

ENDINGS = {
    Kind.CAUTION: "Press the space bar when you have read this.",
    Kind.BEGUN: "Press the space bar to begin anew; press s and use `latchline resume` to go on with it.",
    Kind.OTHER: "Press the space bar to end that one on the board, s to leave it as it is.",
    Kind.ROW: "Type its number and press Enter; 0 if there is none.",
    Kind.SURE: "Press the space bar if the needles look like this; else type no, or the right number, and press Enter.",
}

_WISHES: dict[type, str] = {
    told.Pause: "pause after the pass under way",
    told.PlainRows: "plain rows after the pass under way",
    told.StepBack: "step back after the pass under way",
    told.Note: "note",
    told.Stop: "stop after the pass under way",
}

# How often the bell rings, for those who do not look: the more, the sooner somebody must come.
BELLS: dict[type, int] = {
    told.Due: 1,
    told.Asked: 2,
    told.Ended: 2,
    told.BoardRestarted: 3,
    told.LinkQuiet: 3,
    told.LinkLost: 3,
    told.Stopped: 4,
}


def question_lines(plan: Plan, question: Question, width: int, height: int | None = None) -> list[str]:
    """A question written out: what to do, and for a row the candidates with their pictures.

    height: lines that there are for the pictures; None: as many as they take.
    """
    ending = ENDINGS.get(question.kind) or (
        "Press the space bar when that is done." if question.prompts else "Press the space bar to go on."
    )
    if question.kind is Kind.PASS:
        return [*due_lines(question), *whole(plan, question.pass_number, width)]
    if question.kind not in ROW_KINDS:
        return [*(f"· {words.line(prompt)}" for prompt in question.prompts), ending]
    why = f"Asked because {question.why}."
    if question.kind is Kind.ROW:
        why += " Look at the needles; undo a pass that is only half knitted or spoiled."
    return [
        why,
        *picture.candidates(plan, question.candidates, width, height),
        *([""] if height is None else []),
        ending,
    ]


def due_lines(question: Question) -> list[str]:
    """What is to be done before a pass by hand."""
    return [f"· {words.line(prompt)}" for prompt in question.prompts if prompt.what is not What.KNIT]


def plain_title(plan: Plan, question: Question) -> str:
    """A question's title where no figures stand above it."""
    number = question.pass_number
    where = f"pass {number}"
    if question.kind is Kind.PASS:
        where += f", {plan.direction(number)}, {plan.passes - number + 1} still to do"
    return f"{TITLES[question.kind]} ({where})"


def title_of(question: Question, view: View) -> str:
    """What a question is about; of a fault its name and the first thing to do."""
    if question.kind is Kind.FAULT and view.fault is not None:
        return f"{fault_text(view.fault.number).name.upper()}: undo this pass"
    return TITLES[question.kind]


def sentence(event: Event, passes: int) -> str:
    """An event as one line; empty when it needs none."""
    match event:
        case told.Greeted(info, done, adopted):
            version = ".".join(str(part) for part in info.version)
            how = "; it has the plan in force" if adopted else ""
            return f"Board {info.board:08x}, firmware {version}. Knitted: {done} of {counted(passes, 'pass')}{how}."
        case told.Knitted(number, as_planned, _):
            return f"Pass {number} of {passes} done." if as_planned else f"Pass {number} is NOT as planned."
        case told.Due(number, prompts):
            return f"Before pass {number}: {'; '.join(words.line(prompt) for prompt in prompts)}."
        case told.AnswerRefused(_, why):
            return f"That answer was not taken: {why}."
        case told.Wished():
            return _fate(event)
        case told.Stopped(error):
            return f"The board stopped: {error.sentence(TYPED)}"
        case told.BoardRestarted():
            return "The board was restarted."
        case told.LinkQuiet(since_s):
            return f"Nothing was heard of the board for {since_s:.0f} s: check cable and power."
        case told.LinkBack():
            return "The board is heard again."
        case told.LinkLost(error):
            return f"The link is lost: {error.what}. Plug the cable in; the knitting goes on by itself."
        case told.SteppedBack(done):
            return f"Going on after pass {done}."
        case told.Ended(finished):
            return "The piece is finished." if finished else "Stopped."
    return ""


def _fate(event: told.Wished) -> str:
    match event:
        case told.Wished(_, told.Note(text), Fate.GRANTED):
            return f"Noted: {text}"
        case told.Wished(_, wish, Fate.NOTED):
            return f"Noted: {_WISHES[type(wish)]}."
        case told.Wished(_, wish, Fate.REFUSED, why):
            return f"Not done ({_WISHES[type(wish)]}): {why}."
    return ""


_LETTERS = str.maketrans({"■": "#", "█": "#", "·": ".", "–": "-", "×": "x", "±": "+-", "…": "...", "´": "'"})


def can_print(stream: TextIO | None, text: str) -> bool:
    """Whether a stream takes these letters."""
    try:
        text.encode(getattr(stream, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def in_letters(stream: TextIO | None, text: str) -> str:
    """The text with `#` for blocks and the like, where a stream takes no better."""
    return text if can_print(stream, text) else text.translate(_LETTERS)
