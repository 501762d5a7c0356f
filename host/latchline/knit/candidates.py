"""The rows that a knitter is asked about, drawn needle by needle as they lie on the bed."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

import numpy as np

from latchline.knit.folding import names_of
from latchline.plan.hand import Position
from latchline.plan.model import Plan
from latchline.technique.model import Does

SELECTED, UNSELECTED, HELD, RESTS = "■", "·", "○", "–"
_OF_POSITION = {
    Position.HELD: f"{HELD} the old loop, the needle held out",
    Position.OUT: f"{RESTS} out of work",
}

_LOOKS = {
    Does.KNIT: "a new loop",
    Does.KNIT_CONTRAST: "a new loop",
    Does.TUCK: "yarn laid over the old loop",
    Does.MISS: "the old loop, the yarn passing by",
    Does.HELD: "the old loop, the needle held out",
    Does.LAID_OVER: "a new loop, the laid-in yarn over it",
    Does.LAID_UNDER: "a new loop, the laid-in yarn under it",
}


def candidates(plan: Plan, numbers: Sequence[int], width: int = 78, height: int | None = None) -> list[str]:
    """One paragraph a candidate: what the needles look like when it is the last whole pass.

    No line is longer than `width`, and there are no more than `height`: where that is little, every
    candidate is still there, drawn where the rows differ.
    """
    lines: list[str] = []
    for number in numbers:
        lines += ["", *(_candidate(plan, number, width) if number else _start(plan, width))]
    if _alike(plan, numbers):
        text = "These two look alike: go by the side at which the carriage is, if it has not been moved."
        lines += ["", *wrap(text, width)]
    return lines if height is None or len(lines) <= height else _in_short(plan, numbers, width, height)


def _alike(plan: Plan, numbers: Sequence[int]) -> bool:
    rows = [marks(plan, n) if n else None for n in numbers]
    return len(numbers) == 2 and rows[0] == rows[1]


def _start(plan: Plan, width: int) -> list[str]:
    return _numbered(0, f"nothing of this piece is knitted; the carriage stands at the {plan.start}", width)


def _candidate(plan: Plan, number: int, width: int) -> list[str]:
    side = "right" if plan.rightward[number - 1] else "left"
    text = f"the last whole pass went {plan.direction(number)}, so the carriage stands at the {side}"
    looks = [f"     {line}" for text in meaning(plan, number) for line in wrap(text, width - 5)]
    return [*_numbered(number, text, width), *looks, *(f"     {text}" for text in drawing(plan, number, width - 5))]


def _in_short(plan: Plan, numbers: Sequence[int], width: int, height: int) -> list[str]:
    """The same where there is little room: side and a stretch of the needles from where the rows differ."""
    drawn = [marks(plan, n) for n in numbers if n] or [""]
    at = next((place for place, (one, other) in enumerate(zip(drawn[0], drawn[-1], strict=True)) if one != other), 0)
    looks = list(dict.fromkeys(text for n in numbers if n for text in meaning(plan, n)))
    legend = [line for text in looks for line in wrap(text, width)] if len(looks) == 1 else []
    if len(legend) + 2 * len(numbers) > height:
        legend = []
    each = max(1, (height - len(legend)) // max(1, len(numbers)) - 1)
    lines = list(legend)
    for number in numbers:
        side = ("right" if plan.rightward[number - 1] else "left") if number else plan.start
        lines.append(f"{number:3}  carriage at the {side}" + ("" if number else ", nothing knitted"))
        if number:
            lines += [f"     {text}" for text in drawing(plan, number, width - 5, at)[:each]]
    return [line[:width] for line in lines[:height]]


def _numbered(number: int, text: str, width: int) -> list[str]:
    first, *more = wrap(text, width - 5)
    return [f"{number:3}  {first}", *(f"     {line}" for line in more)]


def meaning(plan: Plan, number: int) -> list[str]:
    """What each mark of the drawing stands for."""
    band = plan.band_of(number)
    cams = band.technique.cams_for(plan.direction(number), band.way)
    yarns = [yarn.name for yarn in plan.yarns_of(number)] or ["the yarn"]

    def looks(does: Does) -> str:
        if does in (Does.KNIT, Does.KNIT_CONTRAST):
            return f"{_LOOKS[does]} of {yarns[-1] if does is Does.KNIT_CONTRAST else yarns[0]}"
        return _LOOKS[does]

    positions = plan.positions_of(number, number)[0]
    at_rest = [words for position, words in _OF_POSITION.items() if (positions == position).any()]
    if cams.selected is cams.unselected:
        return [f"{'all other needles' if at_rest else 'every needle'}: {looks(cams.selected)}", *at_rest]
    return [f"{SELECTED} {looks(cams.selected)}   {UNSELECTED} {looks(cams.unselected)}", *at_rest]


def marks(plan: Plan, number: int) -> str:
    """How each needle of the span stands after a pass: SELECTED, UNSELECTED, HELD, or RESTS out of work."""
    selected = plan.acting_masks(number, number)[0]
    positions = plan.positions_of(number, number)[0]
    stands = [positions == Position.HELD, positions == Position.OUT, selected]
    return "".join(np.select(stands, [HELD, RESTS, SELECTED], UNSELECTED).tolist())


def drawing(plan: Plan, number: int, width: int, start: int = 0) -> list[str]:
    """The needles from the operator's left, in lines of at most `width`, each with its ends named.

    start: the place in the span from which on they are drawn, rounded down to a whole line.
    """
    return in_lines(marks(plan, number), names_of(plan), width, start)


def in_lines(row: str, names: Sequence[str], width: int, start: int = 0) -> list[str]:
    """Marks, one a needle, in lines of at most `width` (but of a needle at the least), each with its ends named."""
    room = (width - 12) // 10 * 10 if width >= 22 else max(1, width - 10)
    lines = []
    for at in range(start // room * room, len(row), room):
        part = row[at : at + room]
        lines.append(f"{names[at]:>4} {part} {names[at + len(part) - 1]}")
    return lines
