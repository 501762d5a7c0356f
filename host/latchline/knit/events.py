"""What a session tells, what it asks, and what may be asked of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

from latchline.errors import BoardFault
from latchline.link.messages import BoardInfo, Done


class Kind(Enum):
    """What a question is about."""

    READY = auto()  # set the machine up, then go on
    BAND = auto()  # the coming pass needs a hand first: levers, yarn, needles
    FAULT = auto()  # the board stopped; undo what the hint says, then go on
    WRONG = auto()  # a pass was not driven as planned
    ROW = auto()  # which row is the last whole one on the needles?
    PAUSED = auto()  # go on when ready
    PLAIN = auto()  # plain rows are being knitted, outside the plan
    UNKNIT = auto()  # un-knit some rows, then go on


class Answer(Enum):
    GO_ON = auto()
    STOP = auto()


@dataclass(frozen=True)
class Question:
    """One thing to be done or told before the session goes on.

    pass_number: the coming pass (for ROW: the first candidate). lines: what to do, one thing a line.
    candidates: for ROW, the numbers that the last whole pass may have; any other may be answered.
    """

    kind: Kind
    pass_number: int
    lines: tuple[str, ...] = ()
    candidates: tuple[int, ...] = ()


# GO_ON or STOP; for a ROW question the number of the last whole pass on the needles.
Reply = Answer | int


@dataclass(frozen=True)
class Greeted:
    """The board answered; done: passes knitted so far, as now settled."""

    info: BoardInfo
    done: int
    adopted: bool


@dataclass(frozen=True)
class Knitted:
    """A pass is done and in the journal."""

    number: int
    as_planned: bool
    report: Done


@dataclass(frozen=True)
class Prompt:
    """Something to do before a pass that does not hold the session up."""

    pass_number: int
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Asked:
    question: Question


@dataclass(frozen=True)
class Answered:
    question: Question
    reply: Reply


@dataclass(frozen=True)
class Stopped:
    """The board named a fault."""

    error: BoardFault


@dataclass(frozen=True)
class BoardRestarted:
    pass


@dataclass(frozen=True)
class LinkQuiet:
    since_s: float


@dataclass(frozen=True)
class LinkBack:
    pass


@dataclass(frozen=True)
class SteppedBack:
    """The piece now stands at `done` passes, fewer than before."""

    done: int


@dataclass(frozen=True)
class Ended:
    """The session is over: finished (every pass done) or stopped on the way."""

    finished: bool


Event = (
    Greeted
    | Knitted
    | Prompt
    | Asked
    | Answered
    | Stopped
    | BoardRestarted
    | LinkQuiet
    | LinkBack
    | SteppedBack
    | Ended
)


@dataclass(frozen=True)
class Pause:
    pass


@dataclass(frozen=True)
class PlainRows:
    pass


@dataclass(frozen=True)
class StepBack:
    passes: int


@dataclass(frozen=True)
class Note:
    text: str


@dataclass(frozen=True)
class Stop:
    pass


Wish = Pause | PlainRows | StepBack | Note | Stop


@dataclass(frozen=True)
class Summary:
    """How a session went.

    passes: of the plan; done: knitted so far, in all sessions; knitted: passes of this session;
    wrong: passes that were not driven as planned; faults: fault number and pass of each, in order;
    restarts: of the board; resent: passes sent more than once; bad_frames: damaged ones that came in.
    """

    name: str
    passes: int
    done: int
    knitted: int
    finished: bool
    wrong: Sequence[int]
    faults: Sequence[tuple[int, int]]
    restarts: int
    resent: int
    bad_frames: int
    seconds: float
