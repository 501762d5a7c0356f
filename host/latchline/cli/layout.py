"""How the screen is laid out: lines that fit the terminal, the most important first. Computed, not drawn.

It is read at two metres, from the carriage: the state as a bar across the whole width with a shape of its
own, then the pass in large figures, then the yarn as a block of its colour, then what comes next. A figure
is never cropped: where the large ones do not fit, the number stands in plain type.
"""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from rich.text import Text

from latchline.cli.keys import HELP
from latchline.cli.stretches import stretches
from latchline.cli.wording import (
    BLOCK,
    LAST_STRETCH,
    STATES,
    STRETCH,
    TITLES,
    WAITS_FOR_YOU,
    due_lines,
    question_lines,
    title_of,
)
from latchline.counted import counted
from latchline.knit import words
from latchline.knit.events import Kind, Question, State
from latchline.knit.talk import ROW_KINDS
from latchline.knit.view import View
from latchline.plan.model import Plan

GAP = 3
TALL = 30  # lines from which on the bar is three lines high
SWATCH = 8

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


def big(number: int) -> list[str]:
    """A number in large figures, five lines of one width."""
    rows = zip(*(_DIGITS[digit].split("|") for digit in str(number)), strict=True)
    return ["  ".join(parts) for parts in rows]


def arrow(direction: str) -> list[str]:
    return _ARROWS[direction].split("|")


def layout(
    plan: Plan, view: View, typed: str, said: Sequence[str], width: int = 80, height: int = 24, stretch: int = 0
) -> list[Text]:
    """At most `height` lines of at most `width`; the last one is where the typing shows.

    stretch: which one of a pass by hand is shown where not all needles have room, from 0.
    """
    bottom = _wrapped(f"> {typed}", width, "bold")[-1:] if typed else _wrapped(HELP, width, "dim")
    top = _bar(view, width, 3 if height >= TALL else 1)
    asked: list[Text] = []
    by_hand = view.question is not None and view.question.kind is Kind.PASS
    if by_hand:
        bottom = bottom if len(bottom) * 8 <= height else bottom[:1]
        head, pages = _by_hand(plan, view, width, height - len(top) - len(bottom))
        asked = [*head, *pages[min(stretch, len(pages) - 1)]][: height - len(top) - 1]
    elif view.question is not None:
        asked = _question(plan, view, view.question, width, height - len(top) - 1)
    room = height - len(top) - len(asked) - 1
    if len(bottom) > room + 1:
        bottom = bottom[: max(1, room + 1)]
    room -= len(bottom) - 1
    knitting = view.question is None or by_hand
    parts: dict[str, list[Text]] = {}
    for name, lines in (
        ("figures", [] if by_hand else _figures(view, width)),
        ("yarns", [] if by_hand else _yarns(view, width)),
        ("next", _next(view, width) if knitting else []),
        ("facts", _facts(view, width) if knitting else []),
        ("said", [line for text in said for line in _wrapped(text, width, "dim")]),
    ):
        if name == "said":
            lines = lines[-max(0, room - 1) :] if room > 1 else []
        if lines and len(lines) + 1 <= room:
            parts[name] = [Text(), *lines]
            room -= len(lines) + 1
    order = (*parts.get("figures", ()), *parts.get("yarns", ()), *parts.get("next", ()))
    main = (*asked, *order) if by_hand else (*order, *asked)
    body = [*top, *main, *parts.get("facts", ()), *parts.get("said", ())]
    filling = [Text()] * max(0, height - len(body) - len(bottom))
    return [*body, *filling, *bottom][-height:]


def stretches_of(plan: Plan, view: View, width: int, height: int) -> int:
    """In how many stretches a pass by hand is shown; 1 whenever none is asked for."""
    if view.question is None or view.question.kind is not Kind.PASS:
        return 1
    bottom = _wrapped(HELP, width, "dim")
    below = len(bottom) if len(bottom) * 8 <= height else 1
    return len(_by_hand(plan, view, width, height - len(_bar(view, width, 3 if height >= TALL else 1)) - below)[1])


def _bar(view: View, width: int, lines: int) -> list[Text]:
    says, colour, shape = STATES[view.state]
    if view.state is State.WAITING and view.question is not None:
        says = WAITS_FOR_YOU
    text = says.upper()
    sides = min(width // 6, (width - len(text) - 2) // 2)
    text = f"{shape * sides} {text} {shape * sides}" if sides > 0 else text
    style = f"bold reverse {colour}"
    if len(text) > width:
        return [Text(line.center(width), style=style) for line in wrap(text, width)]
    blank = [Text(" " * width, style=style)] * (lines // 2)
    return [*blank, Text(text.center(width), style=style), *blank]


def _figures(view: View, width: int) -> list[Text]:
    """Pass, way and how many are still to do, as large as they fit."""
    way = view.row.direction
    left = view.passes - view.number + (view.state is not State.OVER)
    pass_block = _column("PASS", big(view.number))
    way_block = _column(way.upper(), arrow(way))
    left_block = _column("STILL TO DO", big(left))
    for blocks in ((pass_block, way_block, left_block), (pass_block, way_block), (pass_block,)):
        used = sum(len(block[0]) for block in blocks) + GAP * (len(blocks) - 1)
        if used <= width:
            break
    else:
        return _wrapped(f"PASS {view.number} {way.upper()}, {left} STILL TO DO", width, "bold")
    gap = " " * min(12, (width - used) // len(blocks) + GAP if len(blocks) > 1 else 0)
    rows = [gap.join(parts) for parts in zip(*blocks, strict=True)]
    lines = [Text(row.center(width).rstrip(), style="bold") for row in rows]
    rest = ("" if way_block in blocks else f"{way.upper()}  ") + ("" if left_block in blocks else f"{left} STILL TO DO")
    return lines + (_wrapped(rest.strip(), width, "bold") if rest.strip() else [])


def _by_hand(plan: Plan, view: View, width: int, room: int) -> tuple[list[Text], list[list[Text]]]:
    """What stays in sight of a pass by hand, and its needles below in as many stretches as the room asks for."""
    assert view.question is not None
    way, left = view.row.direction.upper(), view.passes - view.number + 1
    plain = _wrapped(f"PASS {view.number} {way}, {left} STILL TO DO", width, "bold")
    yarns = _yarns(view, width)
    for head in ([Text(), *_figures(view, width), Text(), *yarns, Text()], [*plain, *yarns], plain):
        pages = _pages(plan, view.question, width, room - len(head))
        if len(pages) == 1:
            break
    return head, pages


def _pages(plan: Plan, question: Question, width: int, room: int) -> list[list[Text]]:
    """The stretches of a pass, each with a title that says what the space bar does next."""
    due = [line for text in due_lines(question) for line in wrap(text, width)]
    room -= len(wrap(STRETCH.format(99, 99), width))
    if 2 * len(due) > room:  # what is to be done first then has stretches of its own
        first = [due[at : at + max(1, room)] for at in range(0, len(due), max(1, room))]
        due = []
    else:
        first = []
    shown = [*first, *([*due, *lines] for lines in stretches(plan, question.pass_number, width, room - len(due)))]
    pages = []
    for number, lines in enumerate(shown, 1):
        title = STRETCH if number < len(shown) else LAST_STRETCH if number > 1 else TITLES[Kind.PASS]
        head = [Text(line.ljust(width), style="bold reverse") for line in wrap(title.format(number, len(shown)), width)]
        pages.append([*head, *(Text(line) for line in lines)])
    return pages


def _column(title: str, block: Sequence[str]) -> list[str]:
    wide = max(len(title), len(block[0]))
    return [title.center(wide), *(line.center(wide) for line in block)]


def _yarns(view: View, width: int) -> list[Text]:
    """Each yarn on a line of its own, behind a block of its colour."""
    swatch = min(SWATCH, width // 4)
    return [
        Text.assemble((BLOCK * swatch, yarn.colour), ("  " + yarn.name)[: width - swatch], style="bold")
        for yarn in view.row.yarns
    ]


def _next(view: View, width: int) -> list[Text]:
    if view.coming is None or (view.question is not None and not view.coming.ahead):
        return []  # what is to be done now stands in the question
    first, *more = view.coming.prompts
    texts = [words.ahead(first, view.number), *(words.short(prompt) for prompt in more)]
    return _wrapped("; ".join(texts).upper(), width, "bold yellow" if view.coming.ahead <= 1 else "bold")


def _facts(view: View, width: int) -> list[Text]:
    row = f", chart row {view.chart_row}" if view.chart_row else ""
    facts = [f"{view.band}{row}"]
    if view.rows_per_min is not None:
        left = "" if view.left is None else f", about {_minutes(view.left.left_s)} left ± {_minutes(view.left.error_s)}"
        facts.append(f"{view.rows_per_min:.0f} rows a minute{left}")
    if view.question is None:
        facts.append(f"{counted(view.loaded, 'pass')} loaded ahead")
    return [line for fact in facts for line in _wrapped(fact, width, "")]


def _question(plan: Plan, view: View, question: Question, width: int, room: int) -> list[Text]:
    title = [Text(line.ljust(width), style="bold reverse") for line in wrap(title_of(question, view), width)]
    pictures = None
    if question.kind in ROW_KINDS:
        without = question_lines(plan, question, width, 0)
        pictures = max(
            2 * len(question.candidates), room - len(title) - sum(len(wrap(line, width)) for line in without)
        )
    lines = [
        part
        for line in question_lines(plan, question, width, pictures)
        for part in ([line] if len(line) <= width else wrap(line, width))
    ]
    if question.kind is Kind.PLAIN:
        lines += wrap(f"{counted(view.plain_rows, 'plain row')} so far, by the carriage's way.", width)
    texts = [*title, *(Text(line) for line in lines)]
    # What is to be answered stays in sight, whatever has no room.
    return texts if len(texts) <= room else [*texts[: max(1, room - 1)], texts[-1]][:room]


def _wrapped(text: str, width: int, style: str) -> list[Text]:
    return [Text(line, style=style) for line in wrap(text, width) or [""]]


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"
