"""What a session says to the board and asks the knitter, a step at a time: the ground on which `Session` stands.

All that takes time is a generator that yields while it waits, and no wait is longer than the session's `wait_s`.
"""

from __future__ import annotations

from abc import abstractmethod
from collections import deque
from collections.abc import Callable, Generator

from latchline.errors import LinkError, PortError, Silent
from latchline.knit import events as told
from latchline.knit import view as seen
from latchline.knit.events import Answer, Event, Kind, Question, Reply, State, Wish
from latchline.knit.face import Face
from latchline.knit.record import Record
from latchline.knit.row_counter import RowCounter
from latchline.knit.talk import Talk
from latchline.link import host as line
from latchline.link.host import Host
from latchline.link.messages import Ask, Fault, Message, Status, Stop
from latchline.link.messages import Pause as PauseMessage
from latchline.plan.model import Plan

AGAIN_S = 0.2  # a message whose effect does not show is sent again after this
PATIENCE_S = 15.0  # how long a board that must answer may be quiet
LOOK_S = 0.05  # how often the carriage's place is asked for while plain rows are counted
NOISE_S = 20.0  # over how long the line is judged
FRAMES_LEAST = 40  # below so many there is no judging it
WHOLE_LEAST = 0.3  # share of whole frames; with less, about one bit in 300 is flipped and a hand waits at each turn
ASKED_S = 0.02  # a step while the board is not spoken to

Work = Generator[None, None, None]


class Restarted(Exception):  # noqa: N818 - unwinds to the greeting
    pass


class StopAsked(Exception):  # noqa: N818 - unwinds to the end
    pass


class Conversation(Face):
    """One board, one plan, whoever answers, and what is written down of it."""

    def __init__(
        self,
        host: Host,
        plan: Plan,
        talk: Talk,
        record: Record,
        clock: Callable[[], float],
        wait_s: float,
        sleep: Callable[[float], None],
    ) -> None:
        self.host = host
        self.plan = plan
        self._talk = talk
        self._record = record
        self._clock = clock
        self._wait_s = wait_s
        self._sleep = sleep
        host.wait_s = min(line.WAIT_S, wait_s)
        self._troubles: deque[Fault | int] = deque()  # a fault, or the number of a pass driven wrongly
        self._state = State.GREETING
        self._greeted = self._ended = self._quiet = False
        self._lost: LinkError | None = None
        self._counted = (clock(), 0, 0)  # when the line was looked at, with how many damaged and whole frames
        self._plain = RowCounter(plan, 1)
        self._look_at = 0.0

    def _heed_noise(self) -> None:
        """Raises LinkError when most of what comes in is damaged: the knitting would crawl."""
        now, bad, whole = self._clock(), self.host.bad_frames, self.host.whole_frames
        since, bad_before, whole_before = self._counted
        if now - since < NOISE_S:
            return
        self._counted = (now, bad, whole)
        bad, whole = bad - bad_before, whole - whole_before
        if bad + whole >= FRAMES_LEAST and whole < WHOLE_LEAST * (bad + whole):
            raise LinkError(
                f"the line cannot be used: {bad} of {bad + whole} messages from the board came in damaged",
                hint="take a shorter or a shielded cable, and keep it away from motors and dimmers",
                name="line-noisy",
            )

    @abstractmethod
    def _passed(self, event: line.PassDone) -> None:
        """The board has reported a pass."""

    @abstractmethod
    def _grant(self, serial: int, wish: Wish) -> Work:
        """Do what was wished."""

    def _pump(self) -> None:
        self._heed_noise()
        for event in self.host.step(self._wait_s):
            match event:
                case line.PassDone():
                    self._passed(event)
                case line.Faulted(fault):
                    self._troubles.append(fault)
                case line.Restarted():
                    raise Restarted
                case line.Quiet(since_s):
                    self._quiet = True
                    self._tell(told.LinkQuiet(since_s))
                case line.BackAgain():
                    self._quiet = False
                    self._tell(told.LinkBack())
        if self.question is not None and self.question.kind is Kind.PLAIN:
            self._count_plain_rows()
        self._notice_state()

    def _ask(self, question: Question) -> Generator[None, None, Reply]:
        """Keep the conversation going until somebody has answered. The value is the reply."""
        talk = self._talk
        talk.ask(question)
        try:
            while (reply := talk.reply()) is None:
                if self.host.info is None and not self._greeted:
                    self._sleep(min(self._wait_s, ASKED_S))  # the board is not spoken to yet
                else:
                    self._pump()
                if self._stop_wished():
                    raise StopAsked
                if talk.wishes and isinstance(talk.wishes[0][1], told.PlainRows) and talk.plain_rows_first:
                    talk.question = None
                    yield from self._grant(*talk.wishes.popleft())
                    talk.ask(question)
                yield
            asked = talk.question
        finally:
            talk.question = None
        if reply is Answer.STOP:
            raise StopAsked
        assert asked is not None
        self._tell(told.Answered(asked, reply))
        return reply

    def _stop_wished(self) -> bool:
        """Whether to stop; the wish is granted by that."""
        for serial, wish in self._talk.wishes:
            if isinstance(wish, told.Stop):
                self._talk.wishes.remove((serial, wish))
                self._talk.granted(serial, wish)
                return True
        return False

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
        self._talk.tell(event)

    def _notice_state(self) -> None:
        """Tell of the state when it has changed."""
        if self._ended:
            now = State.OVER
        elif self._lost is not None:
            now = State.UNPLUGGED if isinstance(self._lost, PortError) else State.QUIET
        elif not self._greeted:
            now = State.GREETING
        else:
            now = seen.state_of(None if self._quiet else self.host.status)
        if now is not self._state:
            self._state = now
            self._tell(told.StateChanged(now))

    # Rest and movement

    def _rest(self) -> Work:
        """Pause after the pass under way; from then on the record is exact."""
        if self.host.status is None or self.host.status.fingerprint != self.plan.fingerprint:
            return
        paused = Status.PAUSED | Status.UNDER_WAY
        yield from self._until(lambda s: s.flags & paused == Status.PAUSED and s.done == self.done, PauseMessage(1))
        self._record.rest()

    def _move(self) -> Work:
        yield from self._end_rest()
        yield from self._until(lambda now: not now.flags & Status.PAUSED, PauseMessage(0))

    def _end_rest(self) -> Work:
        """From now on the board may count; if it has been restarted meanwhile, the record is still exact."""
        yield from self.host.asking_status()
        self._pump()
        if self.done < self.plan.passes:
            self._record.move()

    def _stop_board(self) -> Work:
        """End whatever plan is in force, and let the board finish writing its checkpoint."""
        self.host.stop()
        yield from self._until(lambda now: not now.fingerprint and not now.flags & Status.WRITING, Stop())

    def _sequence(self) -> Generator[None, None, int | None]:
        """The number of the board's newest checkpoint."""
        checkpoint = yield from self.host.asking_checkpoint()
        return checkpoint.sequence if checkpoint.valid else None

    def _count_plain_rows(self) -> None:
        if self._clock() >= self._look_at:
            self._look_at = self._clock() + LOOK_S
            self.host.send(Ask(Ask.STATUS))
        self._plain.see(self.host.status)
