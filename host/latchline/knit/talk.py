"""What goes between a session and its faces: numbered events out, answers and wishes in.

One thread steps the session; any thread may call `wish` and `answer`, which only put something into
a queue. What came in is looked at when the session is stepped.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from latchline.counted import counted
from latchline.knit import events as told
from latchline.knit import prompts
from latchline.knit.events import Answer, Event, Fate, Kind, Numbered, Question, Reply, Wish
from latchline.knit.prompts import What
from latchline.plan.model import Plan

EVENTS_KEPT = 2000  # for those who reconnect: some forty minutes of quick knitting

# What a wish may do while a question stands: a step back answers it, plain rows are knitted first.
HELD_BACK = frozenset((Kind.BAND, Kind.HAND, Kind.CHANGE))
STEP_BACK_ANSWERS = HELD_BACK | {Kind.PASS, Kind.READY, Kind.FAULT, Kind.WRONG, Kind.PAUSED}
PLAIN_ROWS_FIRST = HELD_BACK | {Kind.PAUSED}
ROW_KINDS = frozenset((Kind.ROW, Kind.SURE))


class Operator(Protocol):
    """Who answers without a face; None means not yet, and is asked again at the next step."""

    def answer(self, question: Question) -> Reply | None: ...


class GoesOn:
    """An operator without eyes or hands: always says go on, and takes the first candidate for the row."""

    def answer(self, question: Question) -> Reply:
        return question.candidates[0] if question.kind is Kind.ROW else Answer.GO_ON


class Talk:
    """The events told so far, the question that stands, and the wishes not yet granted.

    passes: of the plan, which bound a row that is named. write_note: keeps a note for good.
    """

    def __init__(
        self,
        passes: int,
        operator: Operator | None,
        clock: Callable[[], float],
        write_note: Callable[[str], None],
    ) -> None:
        self.question: Question | None = None
        self.wishes: deque[tuple[int, Wish]] = deque()
        self._passes = passes
        self._operator = operator
        self._clock = clock
        self._write_note = write_note
        self._serials = itertools.count(1)
        self._kept: deque[Numbered] = deque(maxlen=EVENTS_KEPT)
        self._fresh: list[Event] = []
        self._numbers = itertools.count(1)
        self._inbox: deque[tuple[int, Wish] | tuple[int, Reply, None]] = deque()
        self._reply: Reply | None = None
        self._not_before = 0.0

    # For faces

    def wish(self, wish: Wish) -> int:
        """Any thread. The serial under which the wish's fate will be told."""
        serial = next(self._serials)
        self._inbox.append((serial, wish))
        return serial

    def answer(self, serial: int, reply: Reply) -> None:
        """Any thread. Answer the question of that serial."""
        self._inbox.append((serial, reply, None))

    def since(self, number: int) -> list[Numbered]:
        """The events after that number, as far as they are still kept."""
        return [item for item in list(self._kept) if item.number > number]

    @property
    def last(self) -> int:
        """The number of the newest event; 0 before the first."""
        return self._kept[-1].number if self._kept else 0

    # For the session

    @property
    def plain_rows_first(self) -> bool:
        """Whether plain rows may be knitted before the question that stands is answered."""
        return self.question is not None and self.question.kind in PLAIN_ROWS_FIRST

    def tell(self, event: Event) -> None:
        self._kept.append(Numbered(next(self._numbers), self._clock(), event))
        self._fresh.append(event)

    def take(self) -> list[Event]:
        """The events told since the last call."""
        events, self._fresh = self._fresh, []
        return events

    def ask(self, question: Question, bounce_s: float = 0.0) -> None:
        """Put a question, or take it up again. Until it is answered, wishes that it makes idle are refused.

        bounce_s: an answer that comes sooner belongs to the press that answered the question before.
        """
        self._not_before = self._clock() + bounce_s
        self.question = replace(question, serial=next(self._serials))
        self._reply = None
        self._refuse(told.Pause, "the session waits already")
        self.tell(told.Asked(self.question))

    def reply(self) -> Reply | None:
        """The answer to the question that stands; None: not yet."""
        assert self.question is not None
        reply, self._reply = self._reply, None
        if reply is None and self._operator is not None:
            reply = self._operator.answer(self.question)
        return reply

    def receive(self, done: int) -> None:
        """Look at what has come in; `done` passes are knitted."""
        while self._inbox:
            item = self._inbox.popleft()
            if len(item) == 3:
                self._consider(item[0], item[1])
            else:
                self._note(*item, done)

    def granted(self, serial: int, wish: Wish) -> None:
        self.tell(told.Wished(serial, wish, Fate.GRANTED))

    def refused(self, serial: int, wish: Wish, why: str) -> None:
        self.tell(told.Wished(serial, wish, Fate.REFUSED, why))

    def refuse_all(self, why: str) -> None:
        self._refuse(object, why)

    def _refuse(self, kind: type, why: str) -> None:
        for serial, wish in [item for item in self.wishes if isinstance(item[1], kind)]:
            self.wishes.remove((serial, wish))
            self.refused(serial, wish, why)

    def _consider(self, serial: int, reply: Reply) -> None:
        why = self._why_not(serial, reply)
        if why:
            self.tell(told.AnswerRefused(serial, why))
        else:
            self._reply = reply

    def _why_not(self, serial: int, reply: Reply) -> str:
        """Why an answer cannot be taken; empty when it can."""
        question = self.question
        if question is None or question.serial != serial or self._reply is not None:
            return "that question is answered already"
        if self._clock() < self._not_before and reply is Answer.GO_ON:
            return "it came together with the one before"
        if isinstance(reply, int):
            if question.kind not in ROW_KINDS:
                return "no number is asked for"
            if not 0 <= reply <= self._passes:
                return f"this piece has {counted(self._passes, 'pass')}, so there is no pass {reply}"
        elif question.kind is Kind.ROW and reply is not Answer.STOP:
            return "the number of the last whole pass is asked for"
        elif reply is Answer.NO and question.kind is not Kind.SURE:
            return "this question is to be answered with go on, or with stop"
        return ""

    def _note(self, serial: int, wish: Wish, done: int) -> None:
        kind = None if self.question is None else self.question.kind
        why = ""
        match wish:
            case told.Note(text):
                self._write_note(text)
                self.granted(serial, wish)
                return
            case told.StepBack(passes) if passes < 1 or not done:
                why = "there is no pass to take back"
            case told.StepBack() if kind in STEP_BACK_ANSWERS and self._reply is None:
                self._reply = wish
            case told.Pause() | told.PlainRows() if kind is Kind.PASS and self._reply is None:
                self._reply = wish
            case told.Pause() if kind is not None:
                why = "the session waits already"
            case told.PlainRows() if kind in PLAIN_ROWS_FIRST:
                pass
            case told.StepBack() | told.PlainRows() if kind is not None:
                why = "answer the question first"
        if not why and any(other == wish for _, other in self.wishes):
            why = "it is noted already"
        if why:
            self.refused(serial, wish, why)
            return
        self.wishes.append((serial, wish))
        self.tell(told.Wished(serial, wish, Fate.NOTED))


def held_back(plan: Plan, number: int) -> Question:
    """The question before a pass that waits for a hand."""
    due = prompts.before(plan, number)
    if plan.band_of(number).first == number:
        return Question(Kind.BAND, number, due)
    by_hand = any(prompt.what is What.HAND for prompt in due)
    return Question(Kind.HAND if by_hand else Kind.CHANGE, number, due)
