"""A session without a board: the knitter brings the needles forward, knits, and confirms each pass.

It has the face of `knit/session.py` (that of `knit/face.py`, view, summary, close), the same prompts, steps
back, journal and resume, so that a screen or a page need not know which of the two it shows.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Generator, Sequence

from latchline.knit import events as told
from latchline.knit import prompts
from latchline.knit import view as seen
from latchline.knit.events import Answer, Event, Kind, Question, Reply, State, Summary, Wish
from latchline.knit.face import Face
from latchline.knit.prompts import Prompt, What
from latchline.knit.record import Record, Unwritten
from latchline.knit.talk import Operator, Talk, held_back
from latchline.knit.view import View
from latchline.plan.model import Plan

BY_HAND = "by-hand"  # what a journal has in place of a port
BOUNCE_S = 0.35  # a pedal that closes twice within this was pressed once
ARRIVALS_KEPT = 100

_STATES = {Kind.PASS: State.READY, Kind.PAUSED: State.PAUSED}  # while these are asked; WAITING is for the knitter

Work = Generator[None, None, None]


class _StopAsked(Exception):  # noqa: N818 - unwinds to the end
    pass


class HandSession(Face):
    """One run of knitting without a board.

    The arguments are those of `Session`; sleep waits when nothing has come in.
    """

    def __init__(
        self,
        plan: Plan,
        operator: Operator | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        record: Record | None = None,
        wait_s: float = 0.05,
        first: Sequence[Question] = (),
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.plan = plan
        self._clock = clock
        self._record: Record = record if record is not None else Unwritten()
        self._talk = Talk(plan.passes, operator, clock, lambda text: self._record.event("note", text))
        self._wait_s = wait_s
        self._first = deque(first)
        self._sleep = sleep
        self._state = State.WAITING
        self._finished = False
        self._began = clock()
        self._knitted: list[int] = []
        self._times: deque[float] = deque(maxlen=ARRIVALS_KEPT)
        self._work = self._run()

    # The face

    def step(self) -> list[Event]:
        """Go on a little; waits at most `wait_s`, and only when nothing has come in. Raises JournalError."""
        self._talk.receive(self.done)
        if next(self._work, self) is self:
            self.over = True
        events = self._talk.take()
        if not events and not self.over:
            self._sleep(self._wait_s)
        return events

    def close(self) -> None:
        """Leave it, at whatever point: every pass that was confirmed is written down."""
        self._work.close()
        self.over = True

    def summary(self) -> Summary:
        return Summary(
            name=self.plan.name,
            passes=self.plan.passes,
            done=self.done,
            knitted=len(self._knitted),
            finished=self._finished,
            wrong=(),
            faults=(),
            restarts=0,
            resent=0,
            bad_frames=0,
            seconds=self._clock() - self._began,
        )

    def view(self) -> View:
        plan, number = self.plan, min(self.done + 1, self.plan.passes)
        rows_per_min, left = seen.pace(self._times, plan.passes - self.done)
        return View(
            state=self._state,
            number=number,
            passes=plan.passes,
            done=self.done,
            row=seen.row_of(plan, number),
            next_row=seen.row_of(plan, number + 1) if number < plan.passes else None,
            band=plan.band_of(number).name,
            chart_row=int(plan.chart_row[number - 1]),
            coming=seen.coming(
                plan, self.done + 1, beyond=self.question is not None and self.question.kind is Kind.PASS
            ),
            rows_per_min=rows_per_min,
            left=left,
            loaded=0,
            place=None,
            lamp=False,
            question=self.question,
            fault=None,
            plain_rows=0,
            event=self._talk.last,
        )

    # From beginning to end

    def _run(self) -> Work:
        try:
            while self._first:
                yield from self._ask(self._first.popleft())
            if self.done < self.plan.passes:
                yield from self._ask(Question(Kind.READY, self.done + 1, self._set_up(self.done)))
            yield from self._follow()
            if after := prompts.before(self.plan, self.plan.passes + 1):
                yield from self._ask(Question(Kind.AFTER, self.plan.passes + 1, after))
            self._record.finish()
            self._finished = True
        except _StopAsked:
            pass
        self._talk.refuse_all("the piece is finished" if self._finished else "the session is over")
        self._be(State.OVER)
        self._talk.tell(told.Ended(self._finished))

    def _set_up(self, done: int) -> tuple[Prompt, ...]:
        """What to do before pass done + 1: all but the end sensor, which nobody needs here."""
        return tuple(
            Prompt(What.SIDE, item.pass_number, side=item.side) if item.what is What.CARRIAGE else item
            for item in prompts.set_up(self.plan, done)
        )

    def _follow(self) -> Work:
        set_up = self.done + 1  # the first question has told already what this pass needs
        while self.done < self.plan.passes:
            coming = self.done + 1
            due = prompts.before(self.plan, coming) if coming != set_up else ()
            reply: Reply = Answer.GO_ON
            if due and prompts.next_held(self.plan, coming - 1, bands=True, changes=True) == coming:
                reply = yield from self._ask(held_back(self.plan, coming))
                due = ()
            elif due:
                self._talk.tell(told.Due(coming, due))
            if reply is Answer.GO_ON:
                way = Prompt(What.KNIT, coming, side=self.plan.direction(coming))
                reply = yield from self._ask(Question(Kind.PASS, coming, (*due, way)))
            if reply is Answer.GO_ON:
                self._confirmed(coming)
                set_up = 0
            while self._talk.wishes:
                yield from self._grant(*self._talk.wishes.popleft())
                set_up = self.done + 1
            yield

    def _confirmed(self, number: int) -> None:
        self._record.confirmed(number)
        self._knitted.append(number)
        self._times.append(self._clock())
        self._talk.tell(told.Knitted(number, True, None))

    def _ask(self, question: Question) -> Generator[None, None, Reply]:
        """Wait until somebody has answered. The value is the reply."""
        talk = self._talk
        self._be(_STATES.get(question.kind, State.WAITING))
        talk.ask(question, BOUNCE_S if question.kind is Kind.PASS else 0.0)
        try:
            while (reply := talk.reply()) is None:
                for serial, wish in [item for item in talk.wishes if isinstance(item[1], told.Stop)]:
                    talk.wishes.remove((serial, wish))
                    talk.granted(serial, wish)
                    raise _StopAsked
                if talk.wishes and isinstance(talk.wishes[0][1], told.PlainRows) and talk.plain_rows_first:
                    talk.question = None
                    yield from self._grant(*talk.wishes.popleft())
                    self._be(_STATES.get(question.kind, State.WAITING))
                    talk.ask(question)
                yield
            asked = talk.question
        finally:
            talk.question = None
        if reply is Answer.STOP:
            raise _StopAsked
        assert asked is not None
        self._be(State.READY)
        talk.tell(told.Answered(asked, reply))
        return reply

    def _grant(self, serial: int, wish: Wish) -> Work:
        if not isinstance(wish, told.Stop) and self.done == self.plan.passes:
            self._talk.refused(serial, wish, "every pass is knitted")
            return
        self._talk.granted(serial, wish)
        match wish:
            case told.Stop():
                raise _StopAsked
            case told.StepBack(passes):
                yield from self._step_back(passes)
            case told.Pause():
                yield from self._ask(Question(Kind.PAUSED, self.done + 1, self._set_up(self.done)))
            case told.PlainRows():
                plain = [item for item in prompts.plain_rows(self.plan, self.done) if item.what is What.PLAIN]
                yield from self._ask(Question(Kind.PLAIN, self.done + 1, tuple(plain)))
                self._record.event("plain rows", "not counted")

    def _step_back(self, passes: int) -> Work:
        taken = min(passes, self.done)
        done, was = self.done - taken, self.done
        self._record.stepping(done)
        back = prompts.stepping_back(self.plan, done, was, self._set_up(done))
        yield from self._ask(Question(Kind.UNKNIT, done + 1, back))
        self._record.settled(done, None, f"stepped back by {taken}")
        self._knitted = [number for number in self._knitted if number <= done]
        self._talk.tell(told.SteppedBack(done))

    def _be(self, state: State) -> None:
        if state is not self._state:
            self._state = state
            self._talk.tell(told.StateChanged(state))
