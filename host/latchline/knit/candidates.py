"""The rows that a knitter is asked about, drawn needle by needle as they lie on the bed."""

from __future__ import annotations

from collections.abc import Sequence

from latchline.plan.model import Plan
from latchline.technique.model import Does

SELECTED, UNSELECTED = "■", "·"

_LOOKS = {
    Does.KNIT: "a new loop",
    Does.KNIT_CONTRAST: "a new loop",
    Does.TUCK: "yarn laid over the old loop",
    Does.MISS: "the old loop, the yarn passing by",
    Does.HELD: "the old loop, the needle held out",
    Does.LAID_OVER: "a new loop, the laid-in yarn over it",
    Does.LAID_UNDER: "a new loop, the laid-in yarn under it",
}


def candidates(plan: Plan, numbers: Sequence[int], width: int = 78) -> list[str]:
    """One paragraph a candidate: what the needles look like when it is the last whole pass."""
    lines: list[str] = []
    for number in numbers:
        lines += ["", *(_candidate(plan, number, width) if number else [_start(plan)])]
    masks = [plan.acting_masks(n, n)[0].tolist() if n else None for n in numbers]
    if len(numbers) == 2 and masks[0] == masks[1]:
        lines += ["", "These two look alike: go by the side at which the carriage is, if it has not been moved."]
    return lines


def _start(plan: Plan) -> str:
    return f"  0  nothing of this piece is knitted; the carriage is at the {plan.start}"


def _candidate(plan: Plan, number: int, width: int) -> list[str]:
    side = "right" if plan.rightward[number - 1] else "left"
    lines = [f"{number:3}  the last whole pass went {plan.direction(number)}, so the carriage is at the {side}"]
    lines += [f"     {text}" for text in meaning(plan, number)]
    return lines + [f"     {text}" for text in drawing(plan, number, width - 5)]


def meaning(plan: Plan, number: int) -> list[str]:
    """What each mark of the drawing stands for."""
    band = plan.band_of(number)
    cams = band.technique.cams_for(plan.direction(number), band.way)
    yarns = [yarn.name for yarn in plan.yarns_of(number)] or ["the yarn"]

    def looks(does: Does) -> str:
        if does in (Does.KNIT, Does.KNIT_CONTRAST):
            return f"{_LOOKS[does]} of {yarns[-1] if does is Does.KNIT_CONTRAST else yarns[0]}"
        return _LOOKS[does]

    if cams.selected is cams.unselected:
        return [f"every needle: {looks(cams.selected)}"]
    return [f"{SELECTED} {looks(cams.selected)}   {UNSELECTED} {looks(cams.unselected)}"]


def drawing(plan: Plan, number: int, width: int) -> list[str]:
    """The needles from the operator's left, in lines of at most `width`, each with its ends named."""
    mask = plan.acting_masks(number, number)[0]
    marks = "".join(SELECTED if selected else UNSELECTED for selected in mask)
    room = max(10, (width - 12) // 10 * 10)
    lines = []
    for at in range(0, len(marks), room):
        part = marks[at : at + room]
        first, last = (plan.profile.needle_name(plan.span.first + n) for n in (at, at + len(part) - 1))
        lines.append(f"{first:>4} {part} {last}")
    return lines
