"""The state of a session at one glance, for a screen, a page or a voice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean

from latchline.errors import BoardFault
from latchline.knit import prompts
from latchline.knit.events import Question, State
from latchline.knit.prompts import Prompt
from latchline.link.messages import Status
from latchline.plan.model import Plan, Yarn
from latchline.timing.statistics import BREAK_S, TimeLeft, time_left

PACE_PASSES = 10  # over how many passes the pace is taken


@dataclass(frozen=True)
class Place:
    """Where the carriage is: on or past which needle, as its name, or beyond which end of the bed.

    needle: counted from 0 at the left end of the bed, with its fraction; beyond the bed too.
    certain: False when the board does not know its place; then the needle is a guess.
    """

    needle: float
    name: str
    certain: bool


@dataclass(frozen=True)
class Row:
    """One pass as its needles are to stand: `0` and `1` from the operator's left, from needle `first` to `last`."""

    number: int
    direction: str
    yarns: tuple[Yarn, ...]
    selected: str
    first: str
    last: str


@dataclass(frozen=True)
class Coming:
    """The nearest pass that has something to be done before it; ahead: passes before that one, 0 means now."""

    pass_number: int
    ahead: int
    prompts: tuple[Prompt, ...]


@dataclass(frozen=True)
class View:
    """The state of a session.

    number: the coming pass, or the one under way. row, next_row: that pass and the one after it; the last
    has none. chart_row: from 1, 0 where there is none. coming: what is to be done next, None when nothing is
    near. rows_per_min: over the last passes, left: the time that the rest will take; both None at first.
    loaded: passes on the board beyond those done. place: None before the board has told it. lamp: whether
    the ready lamp is lit. fault: the last one that the board named in this session; standing while
    `state` is FAULT. plain_rows: of the plain rows now being knitted. event: the number of the newest event.
    """

    state: State
    number: int
    passes: int
    done: int
    row: Row
    next_row: Row | None
    band: str
    chart_row: int
    coming: Coming | None
    rows_per_min: float | None
    left: TimeLeft | None
    loaded: int
    place: Place | None
    lamp: bool
    question: Question | None
    fault: BoardFault | None
    plain_rows: int
    event: int


def row_of(plan: Plan, number: int) -> Row:
    """A pass as its needles act."""
    marks = plan.acting_masks(number, number)[0]
    return Row(
        number=number,
        direction=plan.direction(number),
        yarns=plan.yarns_of(number),
        selected="".join("1" if selected else "0" for selected in marks),
        first=plan.profile.needle_name(plan.span.first),
        last=plan.profile.needle_name(plan.span.last),
    )


def coming(plan: Plan, number: int, *, beyond: bool = False) -> Coming | None:
    """What is to be done next, from pass `number` on; beyond: after it, as that pass's own things are told already."""
    found = prompts.following(plan, number + beyond)
    return None if found is None else Coming(found, found - number, prompts.before(plan, found))


def place(plan: Plan, status: Status | None) -> Place | None:
    """Where the board says that the carriage is."""
    if status is None:
        return None
    profile = plan.profile
    needle = status.position / profile.edges_per_needle
    nearest = min(max(round(needle), 0), profile.needles - 1)
    return Place(round(needle, 2), profile.needle_name(nearest), bool(status.flags & Status.CERTAIN))


def pace(arrived_s: Sequence[float], still: int) -> tuple[float | None, TimeLeft | None]:
    """Rows a minute over the last passes, and the time for those still to do."""
    cycles = [after - before for before, after in pairwise(arrived_s) if after - before < BREAK_S]
    return (60 / mean(cycles[-PACE_PASSES:]) if len(cycles) > 1 else None), time_left(cycles, still)


def state_of(status: Status | None) -> State:
    """What the board is at; None: nothing is heard of it."""
    if status is None:
        return State.QUIET
    if status.fault:
        return State.FAULT
    if status.flags & Status.PAUSED:
        return State.PAUSED
    if status.flags & Status.UNDER_WAY:
        return State.UNDER_WAY
    if not status.flags & Status.CERTAIN:
        return State.LOST
    return State.READY if status.armed else State.WAITING
