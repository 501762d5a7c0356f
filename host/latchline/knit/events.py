"""What a session tells, what it asks, and what may be asked of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

from latchline.errors import BoardFault, LinkError
from latchline.knit.prompts import Prompt
from latchline.link.messages import BoardInfo, Done


class Kind(Enum):
    """What a question is about."""

    CAUTION = auto()  # what to heed before this port is used for the first time
    BEGUN = auto()  # this piece was begun before: really begin anew?
    OTHER = auto()  # the board is in the middle of another piece: end that one there?
    READY = auto()  # set the machine up, then go on
    BAND = auto()  # the coming pass begins a band: levers, yarn, needles
    HAND = auto()  # something is to be done by hand before the coming pass
    CHANGE = auto()  # the coming pass needs another yarn, changed by hand
    FAULT = auto()  # the board stopped; undo what the hint says, then go on
    WRONG = auto()  # a pass was not driven as planned
    ROW = auto()  # which row is the last whole one on the needles?
    SURE = auto()  # the row that was named is none of the candidates: is it this one?
    PASS = auto()  # by hand: bring the needles forward and knit this pass
    PAUSED = auto()  # go on when ready
    PLAIN = auto()  # plain rows are being knitted, outside the plan
    AFTER = auto()  # what is to be done after the last pass
    UNKNIT = auto()  # un-knit some rows, then go on


class Answer(Enum):
    GO_ON = auto()
    STOP = auto()
    NO = auto()  # to SURE: not that one, ask again


@dataclass(frozen=True)
class Question:
    """One thing to be done or told before the session goes on.

    pass_number: the coming pass (for ROW: the first candidate; for SURE: the one named).
    prompts: what to do. candidates: for ROW, the numbers that the last whole pass may have; any other
    that the plan has may be answered, and is asked about once more. why: a clause; empty where none is
    needed. serial: an answer names it, so that it cannot meet another question.
    """

    kind: Kind
    pass_number: int
    prompts: tuple[Prompt, ...] = ()
    candidates: tuple[int, ...] = ()
    why: str = ""
    serial: int = 0


class State(Enum):
    """What the knitting is at; the words of a face are its own."""

    GREETING = auto()  # the board has not answered yet
    WAITING = auto()  # the coming pass is not loaded, or the carriage is not where it starts
    READY = auto()  # the lamp is lit
    UNDER_WAY = auto()
    LOST = auto()  # the carriage's place is not known
    PAUSED = auto()
    FAULT = auto()
    QUIET = auto()  # nothing is heard of the board
    UNPLUGGED = auto()  # the port is gone
    OVER = auto()


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

# GO_ON, STOP or NO; for ROW and SURE the number of the last whole pass on the needles; a wish that was
# wished while a question stood answers it where it can be granted at once.
Reply = Answer | int | StepBack | Pause | PlainRows


class Fate(Enum):
    """What became of a wish."""

    NOTED = auto()  # it will be granted as soon as the knitting allows
    GRANTED = auto()
    REFUSED = auto()


@dataclass(frozen=True)
class Greeted:
    """The board answered; done: passes knitted so far, as now settled."""

    info: BoardInfo
    done: int
    adopted: bool


@dataclass(frozen=True)
class Knitted:
    """A pass is done and in the journal. report: the board's; None for one that was knitted by hand."""

    number: int
    as_planned: bool
    report: Done | None


@dataclass(frozen=True)
class Due:
    """Something is to be done before a pass; it does not hold the session up."""

    pass_number: int
    prompts: tuple[Prompt, ...]


@dataclass(frozen=True)
class Asked:
    question: Question


@dataclass(frozen=True)
class Answered:
    question: Question
    reply: Reply


@dataclass(frozen=True)
class AnswerRefused:
    """An answer met no question, or not in this way. serial: of the question that it was meant for."""

    serial: int
    why: str


@dataclass(frozen=True)
class Wished:
    """What became of a wish; why: a clause when it was refused."""

    serial: int
    wish: Wish
    fate: Fate
    why: str = ""


@dataclass(frozen=True)
class StateChanged:
    state: State


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
class LinkLost:
    """The port is gone, or the board does not answer any more; the session tries again until it is back."""

    error: LinkError


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
    | Due
    | Asked
    | Answered
    | AnswerRefused
    | Wished
    | StateChanged
    | Stopped
    | BoardRestarted
    | LinkQuiet
    | LinkBack
    | LinkLost
    | SteppedBack
    | Ended
)


@dataclass(frozen=True)
class Numbered:
    """An event with its number in this session, from 1, and when it was told (seconds of the session's clock)."""

    number: int
    at_s: float
    event: Event


@dataclass(frozen=True)
class Summary:
    """How a session went.

    passes: of the plan; done: knitted so far, in all sessions; knitted: passes of this session that
    were not taken back; wrong: passes that were not driven as planned; faults: fault number and pass
    of each, in order; restarts: of the board; resent: passes sent more than once; bad_frames: damaged
    ones that came in; unsettled: why the row on the needles is asked for, as long as nobody has said.
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
    unsettled: str = ""
