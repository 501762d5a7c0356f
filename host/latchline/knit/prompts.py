"""What the knitter is to do, as data: `knit/words.py` puts it into words. Computed, not printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from latchline.errors import BoardFault
from latchline.plan.hand import at_hand, kind_of, lines_of
from latchline.plan.limits import weights_due
from latchline.plan.model import SET_BACK, Plan, Yarn
from latchline.plan.steps import Act

PLAIN_SET = "set the carriage to plain"


class What(Enum):
    """What kind of thing is to be done. The first ones are those of the plan's own steps."""

    HAND = auto()
    NOTE = auto()
    THREAD = auto()
    CHANGE = auto()
    SECOND_BED = auto()
    NEEDLES = auto()
    WEIGHTS = auto()  # move the edge weights up
    CARRIAGE = auto()  # put the carriage at `side`, past the end sensor
    SIDE = auto()  # put the carriage at `side`
    KNIT = auto()  # bring the needles forward and take the carriage `side`, leftward or rightward
    UNDO_ABOVE = auto()  # pass `count` is the last one that counts
    UNDO_BEGUN = auto()  # pass `count` did not count: undo what is knitted of it
    UNKNIT = auto()  # un-knit `count` passes
    LOOK = auto()  # pass `count` was not knitted as planned
    TROUBLE = auto()  # what is wrong, in `text`
    MEND = auto()  # what to do about it, in `text`
    PLAIN = auto()  # knit plain rows
    CAUTION = auto()  # in `text`
    BEGUN = auto()  # the piece was begun before: `count` passes are in the journal named in `text`
    OTHER = auto()  # the board is in the middle of another piece, of which it has counted `count` passes
    SINCE = auto()  # another piece was begun on this board since this one was knitted last


_OF_ACT = {act: What[act.name] for act in Act}


@dataclass(frozen=True)
class Prompt:
    """One thing to do.

    pass_number: the pass before which it is to be done. text: a whole sentence, for kinds that have
    no better data. yarn: the one to put in, from_yarn: the one to take out. side: `left` or `right`.
    count: of passes, or the number of one.
    """

    what: What
    pass_number: int
    text: str = ""
    yarn: Yarn | None = None
    from_yarn: Yarn | None = None
    side: str = ""
    count: int = 0


def before(plan: Plan, number: int) -> tuple[Prompt, ...]:
    """What is to be done before a pass, or after the last one; empty when it needs nothing."""
    prompts = [Prompt(_OF_ACT[step.act], number, step.text, step.yarn, step.before) for step in plan.steps(number)]
    if number <= plan.passes and weights_due(plan, number):
        prompts.append(Prompt(What.WEIGHTS, number))
    return tuple(prompts)


def following(plan: Plan, number: int, within: int = 200) -> int | None:
    """The first pass from `number` on that has something to be done before it, looking `within` passes ahead."""
    return next((n for n in range(number, min(plan.passes + 1, number + within) + 1) if before(plan, n)), None)


def next_held(plan: Plan, number: int, *, bands: bool, changes: bool | None) -> int | None:
    """The next pass after `number` that waits for a hand: the first of a band, hand steps, or another yarn.

    changes: None for those yarns only that are changed by hand.
    """
    band = next((band.first for band in plan.bands if band.first > number), None) if bands else None
    hand = next((step.before for step in plan.hand if step.before > number and kind_of(step).waits), None)
    hand = hand if bands and hand is not None and hand <= plan.passes else None
    change = None if changes is False else _next_change(plan, number, by_changer_too=changes is True)
    return min((first for first in (band, hand, change) if first is not None), default=None)


def _next_change(plan: Plan, number: int, *, by_changer_too: bool) -> int | None:
    """The first pass after `number` that needs another yarn than the one before it in its band."""
    for band in plan.bands:
        if band.last <= number or band.separation is None or (plan.by_changer(band) and not by_changer_too):
            continue
        first = max(band.first, number) + 1
        colours = plan.colour[first - 2 : band.last]
        changed = np.flatnonzero(colours[1:] != colours[:-1])
        if len(changed):
            return first + int(changed[0])
    return None


def carriage(plan: Plan, done: int) -> tuple[Prompt, ...]:
    """Where fabric and carriage must be before pass done + 1, which is within the plan."""
    side = "left" if plan.rightward[done] else "right"
    last = (Prompt(What.UNDO_ABOVE, done + 1, count=done),) if done else ()
    return (*last, Prompt(What.CARRIAGE, done + 1, side=side))


def set_up(plan: Plan, done: int, *, since: bool = False) -> tuple[Prompt, ...]:
    """What to do before going on with pass done + 1, with the carriage anywhere and a pass perhaps half knitted."""
    coming = done + 1
    first = plan.band_of(coming).first
    texts = plan.notes.get(first, ()) if coming != first else ()
    if plan.holds(coming) and not plan.held_setting(coming):
        texts = (*texts, plan.hold_words)
    if not done and (things := at_hand(plan.hand)):
        texts = (*texts, "have at hand: " + ", ".join(things))
    notes = tuple(Prompt(What.NOTE, coming, text) for text in texts)
    *undo, side = carriage(plan, done)
    other = (Prompt(What.SINCE, coming),) if since else ()
    return (*other, *undo, *notes, *before(plan, coming), side)


UNDONE_MOST = 20  # hand steps named when passes are taken back


def stepping_back(plan: Plan, done: int, was: int, due: Sequence[Prompt]) -> tuple[Prompt, ...]:
    """What to do to go back from pass `was` to pass `done`, then what is `due` before the next one.

    Hand steps since are undone, the last one first; those before the next pass stay done, but for needles that
    must be set anew.
    """
    coming = done + 1
    undo = [
        f"undo what was done by hand before pass {number}{', if it is done' if number == was + 1 else ''}: {words}"
        for number in range(was + 1, coming, -1)
        for words in reversed(plan.hand_words(number))
    ]
    if len(undo) > UNDONE_MOST:
        undo[UNDONE_MOST:] = [f"and {len(undo) - UNDONE_MOST} more, down to pass {coming}: see the working chart"]
    if plan.holds(was) and not plan.holds(coming):
        undo.append(SET_BACK)
    anew = {words for kind, words in lines_of(plan.hand_before(coming), plan.places_name) if kind.selects}
    stays = [f"done already, and stays: {words}" for words in plan.hand_words(coming) if words not in anew]
    rest = [prompt for prompt in due if prompt.what is not What.HAND or prompt.text in anew]
    told = [Prompt(What.NOTE, coming, text) for text in (*undo, *stays)]
    return (Prompt(What.UNKNIT, coming, count=was - done), *told, *rest)


def whole_lines(plan: Plan, done: int) -> Prompt:
    """For a board that does not heed the lines of a pass."""
    span = plan.profile.span_name(plan.span)
    text = (
        f"this board counts a row only where the carriage goes past all needles of {span}: take it past both ends "
        "in every row, over needles that are held or out of work, too; newer firmware lets it turn sooner"
    )
    return Prompt(What.NOTE, done + 1, text)


def mend(error: BoardFault, done: int) -> tuple[Prompt, ...]:
    """What to do about a fault that the board named in pass done + 1."""
    coming = done + 1
    return (
        Prompt(What.TROUBLE, coming, error.what),
        Prompt(What.MEND, coming, error.hint),
        Prompt(What.UNDO_BEGUN, coming, count=coming),
    )


def plain_rows(plan: Plan, done: int) -> tuple[Prompt, ...]:
    """What to do for rows outside the plan before pass done + 1.

    Needles that are held stay so, be they held since the pass before or for the coming one: whether what is
    due between the two has been done nobody knows here.
    """
    coming = done + 1
    held = plan.holds(coming) or (done > 0 and plan.holds(done))
    setting = f"set the carriage to plain for the needles in work, and {plan.hold_words}" if held else PLAIN_SET
    back = "set the carriage back, but leave it on hold" if held else "set the carriage back"
    return (
        *carriage(plan, done),
        Prompt(What.PLAIN, coming, setting),
        Prompt(What.PLAIN, coming, f"knit an even number of rows, then {back}"),
    )
