"""A session: greet the board, settle where the piece stands, follow pass by pass, finish.

`Session.step` does a little and returns what happened; there is no thread and no clock but the one
passed in. `knit` and `resume` give it a journal and a knitter, `dry-run` neither. The order that
keeps the promises: a pass is reported done by the board, compared with the plan, written down for
good, and only then acknowledged, which frees its slot on the board.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean
from typing import Protocol

from latchline.errors import LinkError, Silent
from latchline.knit import events as told
from latchline.knit import prompts
from latchline.knit.events import Answer, Event, Kind, Question, Reply, Summary, Wish
from latchline.knit.record import Record, Unwritten
from latchline.knit.settle import Adopt, AskRow, Found, settle
from latchline.link import host as line
from latchline.link.faults import board_fault
from latchline.link.host import Host
from latchline.link.messages import Ask, Bed, Clear, Fault, Message, Status, Stop
from latchline.link.messages import Pause as PauseMessage
from latchline.link.setup import bed_message
from latchline.plan.model import Plan
from latchline.timing.statistics import BREAK_S, TimeLeft, time_left

AGAIN_S = 0.2  # a message whose effect does not show is sent again after this
BUZZ_S = 0.2
PATIENCE_S = 15.0  # how long a board that must answer may be quiet
PACE_PASSES = 10  # over how many passes the pace is taken
ARRIVALS_KEPT = 100
LOOK_S = 0.05  # how often the carriage's place is asked for while plain rows are counted

Work = Iterator[None]


class Operator(Protocol):
    """Who answers questions; None means not yet, and is asked again at the next step."""

    def answer(self, question: Question) -> Reply | None: ...


class GoesOn:
    """An operator without eyes or hands: always says go on, and takes the first candidate for the row."""

    def answer(self, question: Question) -> Reply:
        return question.candidates[0] if question.kind is Kind.ROW else Answer.GO_ON


class _Restarted(Exception):  # noqa: N818 - unwinds to the greeting
    pass


class _StopAsked(Exception):  # noqa: N818 - unwinds to the end
    pass


@dataclass(frozen=True)
class View:
    """The state of a session at one glance, for a screen.

    number: the coming pass, or the one under way. rows_per_min: over the last passes, left: the time
    that the rest will take; both None at first.
    prompt: the next pass that needs something done before it, and what; None when nothing is near.
    state: one of `waiting`, `ready`, `knitting`, `lost` (position unknown), `paused`, `fault`, `quiet`, `over`.
    """

    number: int
    passes: int
    direction: str
    yarns: tuple[str, ...]
    band: str
    chart_row: int
    prompt: tuple[int, tuple[str, ...]] | None
    rows_per_min: float | None
    left: TimeLeft | None
    state: str
    loaded: int


class Session:
    """One run of knitting on one board.

    record: where passes are written down; None keeps them in memory. waits_at_bands: whether the
    first pass of a band is held back until the operator has said go on. wait_s: how long a step
    waits for bytes.
    """

    def __init__(
        self,
        host: Host,
        plan: Plan,
        operator: Operator,
        *,
        clock: Callable[[], float] = time.monotonic,
        record: Record | None = None,
        bed: Bed | None = None,
        waits_at_bands: bool = True,
        wait_s: float = 0.05,
    ) -> None:
        self.host = host
        self.plan = plan
        self.over = False
        self.question: Question | None = None
        self.plain_rows = 0
        self._operator = operator
        self._clock = clock
        self._record: Record = record if record is not None else Unwritten()
        self._bed = bed or bed_message(plan.profile)
        self._waits_at_bands = waits_at_bands
        self._wait_s = wait_s
        self._told: list[Event] = []
        self._wishes: deque[Wish] = deque()
        self._troubles: deque[Fault | int] = deque()  # a fault, or the number of a pass driven wrongly
        self._finished = False
        self._quiet = False
        self._began = clock()
        self._knitted = 0
        self._wrong: list[int] = []
        self._faults: list[tuple[int, int]] = []
        self._restarts = 0
        self._times: deque[float] = deque(maxlen=ARRIVALS_KEPT)
        self._side = 0
        self._look_at = 0.0
        self._work = self._run()

    # The face

    def step(self) -> list[Event]:
        """Go on a little. Raises LinkError and its children, JournalError, and whatever the operator raises."""
        if next(self._work, self) is self:
            self.over = True
        events, self._told = self._told, []
        return events

    def run(self) -> Iterator[Event]:
        """Step to the end."""
        while not self.over:
            yield from self.step()

    def wish(self, wish: Wish) -> None:
        """Ask for something; it is granted as soon as the knitting allows."""
        self._wishes.append(wish)

    @property
    def done(self) -> int:
        return self._record.known.done

    def summary(self) -> Summary:
        return Summary(
            name=self.plan.name,
            passes=self.plan.passes,
            done=self.done,
            knitted=self._knitted,
            finished=self._finished,
            wrong=tuple(self._wrong),
            faults=tuple(self._faults),
            restarts=self._restarts,
            resent=self.host.resent,
            bad_frames=self.host.bad_frames,
            seconds=self._clock() - self._began,
        )

    def view(self) -> View:
        plan, number = self.plan, min(self.done + 1, self.plan.passes)
        coming = prompts.following(plan, self.done + 1)
        times = list(self._times)
        cycles = [after - before for before, after in pairwise(times) if after - before < BREAK_S]
        return View(
            number=number,
            passes=plan.passes,
            direction=plan.direction(number),
            yarns=tuple(yarn.name for yarn in plan.yarns_of(number)),
            band=plan.band_of(number).name,
            chart_row=int(plan.chart_row[number - 1]),
            prompt=None if coming is None else (coming, prompts.before(plan, coming)),
            rows_per_min=60 / mean(cycles[-PACE_PASSES:]) if len(cycles) > 1 else None,
            left=time_left(cycles, plan.passes - self.done),
            state=self._state(),
            loaded=max(0, self.host.status.received - self.done) if self.host.status is not None else 0,
        )

    def _state(self) -> str:
        status = self.host.status
        if self.over:
            return "over"
        if self._quiet or status is None:
            return "quiet"
        if status.fault:
            return "fault"
        if status.flags & Status.PAUSED:
            return "paused"
        if status.flags & Status.UNDER_WAY:
            return "knitting"
        if not status.flags & Status.CERTAIN:
            return "lost"
        return "ready" if status.armed else "waiting"

    # From greeting to end

    def _run(self) -> Work:
        while True:
            try:
                yield from self._open()
                yield from self._follow()
                self._record.finish()
                self._finished = True
            except _Restarted:
                self._restarts += 1
                self._record.event("restart", "the board was restarted")
                self._tell(told.BoardRestarted())
                continue
            except _StopAsked:
                yield from self._leave()
            else:
                yield from self._let_go()
            self._tell(told.Ended(self._finished))
            return

    def _open(self) -> Work:
        self._troubles.clear()
        info = self.host.greet()
        self.host.set_bed(self._bed)
        status, checkpoint = self.host.fresh_status(), self.host.checkpoint()
        if status.boots != info.boots:
            raise _Restarted
        found = Found(info.board, info.boots, info.slots, status, checkpoint)
        decision = settle(self.plan.fingerprint, self.plan.passes, self._record.known, found)
        if not isinstance(decision, Adopt):
            yield from self._stop_board()
        if isinstance(decision, AskRow):
            question = Question(Kind.ROW, decision.candidates[0], (decision.why,), decision.candidates)
            reply = yield from self._ask(question)
            assert isinstance(reply, int)
            self._record.settled(min(max(reply, 0), self.plan.passes), self._sequence(), decision.why)
        elif decision.done != self.done:
            self._record.settled(decision.done, self._sequence(), "the board's checkpoint is further")
        if isinstance(decision, Adopt):
            self._record.begin(info, self._record.known.sequence)
            self.host.adopt(self.plan, decision.done)
            self._tell(told.Greeted(info, self.done, True))
            self._hold_back(max(status.received, self.done))
            if status.flags & Status.PAUSED:
                yield from self._pause()
            return
        self._tell(told.Greeted(info, self.done, False))
        if self.done < self.plan.passes:
            yield from self._ask(Question(Kind.READY, self.done + 1, prompts.set_up(self.plan, self.done)))
            self._begin()

    def _begin(self) -> None:
        """Put the plan in force from the coming pass on; the board must have none."""
        info, sequence = self.host.info, self._sequence()
        if info is None:
            raise _Restarted
        self._record.begin(info, sequence)
        try:
            self.host.start(self.plan, self.done + 1)
        except LinkError:
            self._pump()  # a board that has just been restarted has no bed, and refuses every plan
            raise
        self._hold_back(self.done + 1)

    def _follow(self) -> Work:
        while self.done < self.plan.passes or any(isinstance(item, int) for item in self._troubles):
            self._pump()
            if self._troubles:
                yield from self._mend(self._troubles.popleft())
            elif self._wishes:
                yield from self._grant(self._wishes.popleft())
            elif self.host.hold_after == self.done:
                yield from self._ask(Question(Kind.BAND, self.done + 1, prompts.before(self.plan, self.done + 1)))
                self._hold_back(self.done + 1)
            yield

    def _leave(self) -> Work:
        """Stop on the way, so that a resume has nothing to ask."""
        try:
            yield from self._rest()
            yield from self._stop_board()
        except _Restarted:
            self._restarts += 1

    def _let_go(self) -> Work:
        """After the last pass: the board may forget the plan. It does no harm if it does not hear it."""
        until = self._clock() + 1.0
        self.host.stop()
        while self._clock() < until and (self.host.status is None or self.host.status.fingerprint):
            self.host.step(self._wait_s)
            yield

    # One step of the conversation

    def _pump(self) -> None:
        for event in self.host.step(self._wait_s):
            match event:
                case line.PassDone():
                    self._passed(event)
                case line.Faulted(fault):
                    self._troubles.append(fault)
                case line.Restarted():
                    raise _Restarted
                case line.Quiet(since_s):
                    self._quiet = True
                    self._tell(told.LinkQuiet(since_s))
                case line.BackAgain():
                    self._quiet = False
                    self._tell(told.LinkBack())
        if self.question is not None and self.question.kind is Kind.PLAIN:
            self._count_plain_rows()

    def _passed(self, event: line.PassDone) -> None:
        number = event.number
        if number != self.done + 1:
            return
        self._record.passed(event.report, event.as_planned)
        self.host.acknowledge(number)
        self._knitted += 1
        self._times.append(self._clock())
        self._tell(told.Knitted(number, event.as_planned, event.report))
        if not event.as_planned:
            self._wrong.append(number)
            self._troubles.append(number)
        if number < self.plan.passes and number != self.host.hold_after:
            lines = prompts.before(self.plan, number + 1)
            if lines:
                self._tell(told.Prompt(number + 1, lines))
                self.host.buzz(BUZZ_S)

    def _hold_back(self, loaded: int) -> None:
        """Beyond pass `loaded`, load no further than the next band, whose first pass waits for the operator."""
        band = prompts.next_band(self.plan, loaded) if self._waits_at_bands else None
        self.host.hold_after = None if band is None else band - 1

    def _ask(self, question: Question) -> Generator[None, None, Reply]:
        """Keep the conversation going until the operator has answered. The value is the reply."""
        self.question = question
        self._tell(told.Asked(question))
        try:
            while (reply := self._operator.answer(question)) is None:
                self._pump()
                if self._wishes and isinstance(self._wishes[0], told.Stop | told.Note):
                    yield from self._grant(self._wishes.popleft())
                yield
        finally:
            self.question = None
        if reply is Answer.STOP:
            raise _StopAsked
        self._tell(told.Answered(question, reply))
        return reply

    def _until(self, test: Callable[[Status], bool], message: Message) -> Work:
        """Send a message, again and again, until a status shows its effect."""
        again_at = began = self._clock()
        while self.host.status is None or not test(self.host.status):
            now = self._clock()
            if self._quiet and now - began > PATIENCE_S:
                raise Silent("the board does not answer any more", hint="check the cable and the board's power")
            if now >= again_at:
                self.host.send(message)
                again_at = now + AGAIN_S
            self._pump()
            yield

    def _tell(self, event: Event) -> None:
        self._told.append(event)

    # Rest and movement

    def _rest(self) -> Work:
        """Pause after the pass under way; from then on the record is exact."""
        if self.host.status is None or self.host.status.fingerprint != self.plan.fingerprint:
            return
        paused = Status.PAUSED | Status.UNDER_WAY
        yield from self._until(lambda s: s.flags & paused == Status.PAUSED and s.done == self.done, PauseMessage(1))
        self._record.rest()

    def _move(self) -> Work:
        self._end_rest()
        yield from self._until(lambda now: not now.flags & Status.PAUSED, PauseMessage(0))

    def _end_rest(self) -> None:
        """From now on the board may count; if it has been restarted meanwhile, the record is still exact."""
        self.host.fresh_status()
        self._pump()
        if self.done < self.plan.passes:
            self._record.move()

    def _stop_board(self) -> Work:
        """End whatever plan is in force, and let the board finish writing its checkpoint."""
        self.host.stop()
        yield from self._until(lambda now: not now.fingerprint and not now.flags & Status.WRITING, Stop())

    def _sequence(self) -> int | None:
        """The number of the board's newest checkpoint."""
        checkpoint = self.host.checkpoint()
        return checkpoint.sequence if checkpoint.valid else None

    # Troubles and wishes

    def _mend(self, trouble: Fault | int) -> Work:
        if isinstance(trouble, int):
            yield from self._rest()
            lines = (f"pass {trouble} was not knitted as planned: look at it, step back if it is wrong",)
            yield from self._ask(Question(Kind.WRONG, trouble, lines))
            yield from self._move()
            return
        status = self.host.fresh_status()
        if status.fault != trouble.fault:
            return  # cleared meanwhile
        # Reports of passes before the fault may still be on their way; the knitter is told the right number.
        yield from self._until(lambda now: now.done == self.done, Ask(Ask.STATUS))
        error = board_fault(trouble, self.plan.profile)
        self._faults.append((trouble.fault, trouble.pass_number))
        self._record.event("fault", error.sentence())
        self._record.rest()
        self._tell(told.Stopped(error))
        counts = f"pass {self.done + 1} did not count: undo what is knitted of it"
        yield from self._ask(Question(Kind.FAULT, self.done + 1, (error.what, error.hint, counts)))
        self._end_rest()
        fault = trouble.fault
        yield from self._until(lambda now: now.fault != fault, Clear(fault))
        self._troubles = deque(item for item in self._troubles if not isinstance(item, Fault) or item.fault != fault)

    def _grant(self, wish: Wish) -> Work:
        match wish:
            case told.Stop():
                raise _StopAsked
            case told.Note(text):
                self._record.event("note", text)
            case told.Pause():
                yield from self._pause()
            case told.PlainRows():
                yield from self._knit_plain()
            case told.StepBack(passes):
                yield from self._step_back(passes)

    def _pause(self) -> Work:
        yield from self._rest()
        if self.done == self.plan.passes:
            return
        # The carriage may have set off just then: what it knits while paused is not selected and does not count.
        yield from self._ask(Question(Kind.PAUSED, self.done + 1, prompts.carriage(self.plan, self.done)))
        yield from self._move()

    def _knit_plain(self) -> Work:
        """Rows outside the plan: nothing is driven, and the carriage's way is counted for the knitter."""
        yield from self._rest()
        if self.done == self.plan.passes:
            return
        self.plain_rows, self._side = 0, 0
        self._count_plain_rows()
        lines = ("set the carriage to plain", "knit an even number of rows, then set the carriage back")
        yield from self._ask(Question(Kind.PLAIN, self.done + 1, (*prompts.carriage(self.plan, self.done), *lines)))
        self.host.fresh_status()
        self._count_plain_rows()
        self._record.event("plain rows", str(self.plain_rows))
        yield from self._move()

    def _count_plain_rows(self) -> None:
        """By the sides at which the carriage is seen in turn."""
        if self._clock() >= self._look_at:
            self._look_at = self._clock() + LOOK_S
            self.host.send(Ask(Ask.STATUS))
        if self.host.status is None:
            return
        left_line, right_line = self.plan.profile.turn_lines(self.plan.span)
        position = self.host.status.position
        side = -1 if position <= left_line else 1 if position >= right_line else 0
        if side and side != self._side:
            self.plain_rows += self._side != 0
            self._side = side

    def _step_back(self, passes: int) -> Work:
        yield from self._rest()
        yield from self._stop_board()
        taken = min(passes, self.done)
        done = self.done - taken
        self._record.stepping(done)
        lines = (f"un-knit {taken} pass{'es' if taken != 1 else ''}", *prompts.set_up(self.plan, done))
        yield from self._ask(Question(Kind.UNKNIT, done + 1, lines))
        self._record.settled(done, self._sequence(), f"stepped back by {taken}")
        self._tell(told.SteppedBack(done))
        self._begin()
