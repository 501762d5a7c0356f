"""A session: greet the board, settle where the piece stands, follow pass by pass, finish.

`Session.step` does a little and returns what happened; there is no thread and no clock but the one
passed in, and no step waits longer than `wait_s`: all that takes time is written as generators, which
yield while they wait. `knit` and `resume` give it a journal and faces, `dry-run` neither. The order that
keeps the promises: a pass is reported done by the board, compared with the plan, written down for
good, and only then acknowledged, which frees its slot on the board.
"""

from __future__ import annotations

import contextlib
import time
from collections import deque
from collections.abc import Callable, Generator, Sequence

from latchline.errors import BoardFault, LinkError, PortError, Silent
from latchline.knit import events as told
from latchline.knit import prompts
from latchline.knit import view as seen
from latchline.knit.conversation import Conversation, Restarted, StopAsked, Work
from latchline.knit.events import Answer, Event, Kind, Question, Summary, Wish
from latchline.knit.prompts import Prompt, What
from latchline.knit.record import WHOLE_LINES, Record, Unwritten
from latchline.knit.row_counter import RowCounter
from latchline.knit.settle import Adopt, AskRow, Begin, Found, of_this_plan, settle
from latchline.knit.talk import Operator, Talk, held_back
from latchline.knit.view import View
from latchline.link import host as line
from latchline.link.faults import board_fault
from latchline.link.host import Host, Transport
from latchline.link.messages import Ask, Bed, Clear, Fault, Status
from latchline.link.messages import Pause as PauseMessage
from latchline.link.setup import bed_message
from latchline.machine.needles import Span
from latchline.plan.model import Plan

BUZZ_S = 0.2
ARRIVALS_KEPT = 100
REOPEN_S = 0.5  # how often a port that is gone is looked for


class Session(Conversation):
    """One run of knitting on one board.

    operator: answers without a face, None when faces do (`answer`). record: where passes are written
    down; None keeps them in memory. waits_at_bands: whether the first pass of a band, and one before
    which something is done by hand, is held back until somebody has said go on; waits_at_changes: the
    same where another yarn is needed; None: only where it is changed by hand. wait_s: how long a step
    waits for bytes. first: what is to be agreed to before the board is spoken to. reopen: opens the port
    again after the cable was out; None: that ends the session. sleep: waits while there is no port.
    """

    def __init__(
        self,
        host: Host,
        plan: Plan,
        operator: Operator | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        record: Record | None = None,
        bed: Bed | None = None,
        waits_at_bands: bool = True,
        waits_at_changes: bool | None = None,
        wait_s: float = 0.05,
        first: Sequence[Question] = (),
        reopen: Callable[[], Transport] | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        record = record if record is not None else Unwritten()
        talk = Talk(plan.passes, operator, clock, lambda text: record.event("note", text))
        super().__init__(host, plan, talk, record, clock, wait_s, sleep)
        self._bed = bed or bed_message(plan.profile)
        self._waits_at_bands = waits_at_bands
        self._waits_at_changes = waits_at_changes
        self._first = deque(first)
        self._reopen = reopen
        self._foreign = self._finished = False
        self._unsettled = ""
        self._fault: BoardFault | None = None
        self._began = clock()
        self._knitted: list[int] = []
        self._wrong: list[int] = []
        self._faults: list[tuple[int, int]] = []
        self._restarts = 0
        self._set_up_for = 0  # the pass before which everything is done, as the knitter has confirmed
        self._times: deque[float] = deque(maxlen=ARRIVALS_KEPT)
        self._work = self._run()

    # The face

    def step(self) -> list[Event]:
        """Go on a little. Raises LinkError and its children, JournalError, and whatever the operator raises."""
        self._talk.receive(self.done)
        try:
            if not self._greeted and self._stop_wished():
                self._work.throw(StopAsked)
            else:
                next(self._work)
        except StopIteration:
            self.over = True
        self._notice_state()
        return self._talk.take()

    def close(self) -> None:
        """Leave it, at whatever point: the board pauses after the pass under way. Does no harm when it is over."""
        if not self.over and self._greeted and not self._foreign and self._lost is None:
            with contextlib.suppress(LinkError):
                self.host.send(PauseMessage(1))
        self._work.close()
        self.over = True

    def summary(self) -> Summary:
        return Summary(
            name=self.plan.name,
            passes=self.plan.passes,
            done=self.done,
            knitted=len(self._knitted),
            finished=self._finished,
            wrong=tuple(self._wrong),
            faults=tuple(self._faults),
            restarts=self._restarts,
            resent=self.host.resent,
            bad_frames=self.host.bad_frames,
            seconds=self._clock() - self._began,
            unsettled=self._unsettled,
        )

    def view(self) -> View:
        """To be called by the thread that steps."""
        plan, status, number = self.plan, self.host.status, min(self.done + 1, self.plan.passes)
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
            coming=seen.coming(plan, self.done + 1, beyond=self._set_up_for == self.done + 1 and self.question is None),
            rows_per_min=rows_per_min,
            left=left,
            loaded=max(0, status.received - self.done) if status is not None else 0,
            place=seen.place(plan, status),
            lamp=status is not None and bool(status.flags & Status.LAMP) and not self._quiet,
            question=self.question,
            fault=self._fault,
            plain_rows=self._plain.rows,
            event=self._talk.last,
        )

    # From greeting to end

    def _run(self) -> Work:
        while True:
            try:
                while self._first:
                    yield from self._ask(self._first.popleft())
                if self._lost is not None:
                    yield from self._regain()
                yield from self._open()
                yield from self._follow()
                self._record.finish()
                self._finished = True
            except Restarted:
                self._restarts += 1
                self._record.event("restart", "the board was restarted")
                self._tell(told.BoardRestarted())
                continue
            except (PortError, Silent) as error:
                if self._reopen is None or not self._greeted:
                    raise
                self._record.event("link", error.sentence())
                self._lost = error
                self._tell(told.LinkLost(error))
                continue
            except StopAsked:
                yield from self._leave()
            else:
                yield from self._let_go()
            self._end()
            return

    def _end(self) -> None:
        self._talk.refuse_all("the piece is finished" if self._finished else "the session is over")
        self._ended = True
        self._notice_state()
        self._tell(told.Ended(self._finished))

    def _regain(self) -> Work:
        """Look for the port until it can be opened and a board answers there."""
        assert self._reopen is not None
        look_at = self._clock()
        while True:
            if self._stop_wished():
                raise StopAsked
            if self._clock() >= look_at:
                look_at = self._clock() + REOPEN_S
                try:
                    self.host.reconnect(self._reopen())
                    yield from self.host.greeting()
                except LinkError as error:
                    self._lost = error
                else:
                    break
            self._sleep(min(self._wait_s, REOPEN_S))
            yield
        self._lost, self._quiet = None, False
        self._tell(told.LinkBack())

    def _open(self) -> Work:
        self._troubles.clear()
        info = yield from self.host.greeting()
        yield from self.host.setting_bed(self._bed)
        status = yield from self.host.asking_status()
        checkpoint = yield from self.host.asking_checkpoint()
        if status.boots != info.boots:
            raise Restarted
        self._greeted = True
        found = Found(info.board, info.boots, info.slots, status, checkpoint, status.run, checkpoint.run)
        decision = settle(self.plan.fingerprint, self.plan.passes, self._record.known, found)
        if not isinstance(decision, Adopt):
            if status.fingerprint and not of_this_plan(self.plan.fingerprint, self._record.known, found):
                yield from self._end_other(status.done)
            yield from self._stop_board()
        if isinstance(decision, AskRow):
            self._unsettled = decision.why
            row = yield from self._ask_row(decision)
            self._unsettled = ""
            sequence = yield from self._sequence()
            self._record.settled(row, sequence, decision.why)
        elif decision.done != self.done:
            sequence = yield from self._sequence()
            self._record.settled(decision.done, sequence, "the board's checkpoint is further")
        if isinstance(decision, Adopt):
            self._record.begin(info, self._record.known.sequence)
            self.host.adopt(self.plan, decision.done)
            self._tell(told.Greeted(info, self.done, True))
            self._hold_back(max(status.received, self.done))
            return
        self._tell(told.Greeted(info, self.done, False))
        if self.done < self.plan.passes:
            since = isinstance(decision, Begin) and decision.since
            ready = prompts.set_up(self.plan, self.done, since=since)
            if self.plan.narrow and not self.host.heeds_lines:
                self._record.event(WHOLE_LINES, "the board counts each row at the turn marks of the whole piece")
                ready = (prompts.whole_lines(self.plan, self.done), *ready)
            reply = yield from self._ask(Question(Kind.READY, self.done + 1, ready))
            if not isinstance(reply, told.StepBack):  # which begins by itself
                yield from self._begin()

    def _end_other(self, done: int) -> Work:
        """Ask before another piece is ended on the board; whoever stops here leaves it as it is."""
        self._foreign = True
        other = Prompt(What.OTHER, self.done + 1, count=done)
        yield from self._ask(Question(Kind.OTHER, self.done + 1, (other,)))
        self._foreign = False

    def _ask_row(self, decision: AskRow) -> Generator[None, None, int]:
        """The number of the last whole pass; one that is no candidate is asked about once more."""
        question = Question(Kind.ROW, decision.candidates[0], (), decision.candidates, decision.why)
        reply = yield from self._ask(question)
        while not isinstance(reply, int) or reply not in decision.candidates:
            if isinstance(reply, int):
                sure = Question(Kind.SURE, reply, (), (reply,), "this is none of the rows that it should be")
                again = yield from self._ask(sure)
                if again is Answer.GO_ON:
                    return reply
                reply = again
            else:
                reply = yield from self._ask(question)
        return reply

    def _begin(self) -> Work:
        """Put the plan in force from the coming pass on; the board must have none."""
        self._set_up_for = self.done + 1
        sequence = yield from self._sequence()
        info = self.host.info
        if info is None:
            raise Restarted
        self._record.begin(info, sequence)
        try:
            yield from self.host.starting(self.plan, self.done + 1, self._record.known.run)
        except LinkError:
            self._pump()  # a board that has just been restarted has no bed, and refuses every plan
            raise
        self._hold_back(self.done + 1)

    def _follow(self) -> Work:
        while self.done < self.plan.passes or any(isinstance(item, int) for item in self._troubles):
            self._pump()
            if self._troubles:
                yield from self._mend(self._troubles.popleft())
            elif self._talk.wishes:
                yield from self._grant(*self._talk.wishes.popleft())
            elif self.host.hold_after == self.done:
                coming = self.done + 1
                yield from self._ask(held_back(self.plan, coming))
                self._set_up_for = coming
                self._hold_back(coming)
            elif self._rests():
                yield from self._pause()
            yield
        if after := prompts.before(self.plan, self.plan.passes + 1):
            yield from self._ask(Question(Kind.AFTER, self.plan.passes + 1, after))

    def _leave(self) -> Work:
        """Stop on the way, so that a resume has nothing to ask."""
        if not self._greeted or self._lost is not None or self._foreign or self.host.info is None:
            return  # before the two have settled where the piece stands, the board goes on as it is
        try:
            yield from self._rest()
            yield from self._stop_board()
        except Restarted:
            self._restarts += 1

    def _let_go(self) -> Work:
        """After the last pass: the board may forget the plan. It does no harm if it does not hear it."""
        until = self._clock() + 1.0
        self.host.stop()
        while self._clock() < until and (self.host.status is None or self.host.status.fingerprint):
            self.host.step(self._wait_s)
            yield

    def _passed(self, event: line.PassDone) -> None:
        number = event.number
        if number != self.done + 1:
            return
        self._record.passed(event.report, event.as_planned)
        self.host.acknowledge(number)
        self._knitted.append(number)
        self._times.append(self._clock())
        self._tell(told.Knitted(number, event.as_planned, event.report))
        if not event.as_planned:
            self._wrong.append(number)
            self._troubles.append(number)
        if number < self.plan.passes and number != self.host.hold_after:
            due = prompts.before(self.plan, number + 1)
            if due:
                self._tell(told.Due(number + 1, due))
                self.host.buzz(BUZZ_S)

    def _hold_back(self, loaded: int) -> None:
        """Beyond pass `loaded`, load no further than the next one that waits for a hand."""
        held = prompts.next_held(self.plan, loaded, bands=self._waits_at_bands, changes=self._waits_at_changes)
        self.host.hold_after = None if held is None else held - 1

    # Troubles and wishes

    def _mend(self, trouble: Fault | int) -> Work:
        if isinstance(trouble, int):
            yield from self._rest()
            look = Prompt(What.LOOK, self.done + 1, count=trouble)
            reply = yield from self._ask(Question(Kind.WRONG, trouble, (look,)))
            if not isinstance(reply, told.StepBack):
                yield from self._move()
            return
        status = yield from self.host.asking_status()
        if status.fault != trouble.fault:
            return  # cleared meanwhile
        # Reports of passes before the fault may still be on their way; the knitter is told the right number.
        yield from self._until(lambda now: now.done == self.done, Ask(Ask.STATUS))
        error = self._fault = board_fault(trouble, self.plan.profile, self._turns_of(trouble.pass_number))
        self._faults.append((trouble.fault, trouble.pass_number))
        self._record.event("fault", error.sentence())
        self._record.rest()
        self._tell(told.Stopped(error))
        reply = yield from self._ask(Question(Kind.FAULT, self.done + 1, prompts.mend(error, self.done)))
        if isinstance(reply, told.StepBack):
            yield from self._stop_board()  # or the coming pass would be armed as soon as the fault is cleared
        else:
            yield from self._end_rest()
        fault = trouble.fault
        yield from self._until(lambda now: now.fault != fault, Clear(fault))
        self._troubles = deque(item for item in self._troubles if not isinstance(item, Fault) or item.fault != fault)

    def _turns_of(self, number: int) -> Span | None:
        return self.host.turn_span(self.plan, number) if 1 <= number <= self.plan.passes else None

    def _grant(self, serial: int, wish: Wish) -> Work:
        if isinstance(wish, told.Stop):
            self._talk.granted(serial, wish)
            raise StopAsked
        if isinstance(wish, told.StepBack):
            self._talk.granted(serial, wish)
            yield from self._step_back(wish.passes)
            return
        yield from self._rest()
        if self.done == self.plan.passes:
            self._talk.refused(serial, wish, "every pass is knitted")
            return
        self._talk.granted(serial, wish)
        yield from self._pause() if isinstance(wish, told.Pause) else self._knit_plain()

    def _rests(self) -> bool:
        """Whether the board is paused: at this point only as a program that is gone has asked for it."""
        status = self.host.status
        return status is not None and status.fingerprint == self.plan.fingerprint and bool(status.flags & Status.PAUSED)

    def _pause(self) -> Work:
        """Keep the board paused until somebody has said go on."""
        yield from self._rest()
        if self.done == self.plan.passes:
            return
        # The carriage may have set off just then: what it knits while paused is not selected and does not count.
        paused = Question(Kind.PAUSED, self.done + 1, prompts.carriage(self.plan, self.done))
        reply = yield from self._ask(paused)
        if not isinstance(reply, told.StepBack):
            yield from self._move()

    def _knit_plain(self) -> Work:
        """Rows outside the plan: nothing is driven, and the carriage's way is counted for the knitter."""
        self._plain = RowCounter(self.plan, self.done + 1)
        self._count_plain_rows()
        yield from self._ask(Question(Kind.PLAIN, self.done + 1, prompts.plain_rows(self.plan, self.done)))
        yield from self.host.asking_status()
        self._count_plain_rows()
        self._record.event("plain rows", str(self._plain.rows))
        yield from self._move()

    def _step_back(self, passes: int) -> Work:
        yield from self._rest()
        yield from self._stop_board()
        taken = min(passes, self.done)
        done, was = self.done - taken, self.done
        self._record.stepping(done)
        back = prompts.stepping_back(self.plan, done, was, prompts.set_up(self.plan, done))
        yield from self._ask(Question(Kind.UNKNIT, done + 1, back))
        sequence = yield from self._sequence()
        self._record.settled(done, sequence, f"stepped back by {taken}")
        self._knitted = [number for number in self._knitted if number <= done]
        self._tell(told.SteppedBack(done))
        yield from self._begin()
