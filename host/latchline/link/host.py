"""The host's end of the conversation, as `docs/protocol.md` has it.

A `Host` does nothing by itself: `step` reads what has come, sends what is due and returns what
happened. It starts no thread and asks nobody but the clock and the transport that it was given, so
a test can put every byte and every second where it wants them.
"""

from __future__ import annotations

import struct
from collections import deque
from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Protocol, TypeVar

from serial import SerialException

from latchline.errors import LinkError, NotABoard, PortError, Silent, WrongVersion
from latchline.link.frames import Gatherer, crc16
from latchline.link.messages import (
    PLANS_LINE,
    PROTOCOL,
    Ask,
    Bed,
    BedTaken,
    BoardInfo,
    Buzz,
    Checkpoint,
    Clear,
    Counts,
    Done,
    Fault,
    Greet,
    Message,
    Pass,
    PlanStart,
    Probe,
    Probed,
    Refused,
    Seen,
    Status,
    Stop,
    from_wire,
    to_wire,
)
from latchline.machine.needles import Span
from latchline.plan.model import Plan

ANSWER_S = 0.5  # a question is asked again after this
NOISY_S = 60.0  # how long a question is repeated on a line on which damaged frames come in
NOISY_SHARE = 0.25  # damaged frames to whole ones, above which a line is noisy
NOISY_AGAIN_S = 0.05
GREET_AGAIN_S = 0.05
GREETING_S = 4.0  # a board that resets when its port is opened needs up to two seconds to start
RESEND_S = 0.1  # passes not received by then are sent again
KEEP_S = 1.0  # something is said at least this often: a board that hears nothing for 2 s stops its regular status
WAIT_S = 0.05  # the longest wait of one step of a question
READ_MOST = 4096  # bytes taken in one step
SHORTEST_WAIT_S = 0.001  # a shorter one may be no time at all to a port
QUIET_S = 1.5  # silence of the board after which the link counts as quiet


Told = TypeVar("Told")
Steps = Generator[None, None, Told]


def finish(steps: Steps[Told]) -> Told:
    """Go through to the end with what is done in steps, and give its value."""
    while True:
        try:
            next(steps)
        except StopIteration as ended:
            value: Told = ended.value
            return value


class Transport(Protocol):
    """What is needed of a serial port; pySerial's ports have it."""

    timeout: float | None

    def read(self, size: int = 1) -> bytes: ...
    def write(self, data: bytes) -> int | None: ...
    @property
    def in_waiting(self) -> int: ...


@dataclass(frozen=True)
class PassDone:
    """A pass was knitted. `as_planned` tells whether what was driven is what the plan has."""

    number: int
    as_planned: bool
    report: Done


@dataclass(frozen=True)
class Faulted:
    fault: Fault


@dataclass(frozen=True)
class Restarted:
    """The board has started anew and knows no plan; `info` is its greeting when it gave one."""

    info: BoardInfo | None


@dataclass(frozen=True)
class Quiet:
    """Nothing has been heard of the board for a while."""

    since_s: float


@dataclass(frozen=True)
class BackAgain:
    """The board is heard again after a quiet time."""


@dataclass(frozen=True)
class Changed:
    """A status that differs from the one before in more than the position."""

    status: Status


Event = PassDone | Faulted | Restarted | Quiet | BackAgain | Changed


def digest(fingerprint: int, number: int, mask: bytes) -> int:
    """What the board reports of a pass that was driven as planned (section 7)."""
    return crc16(struct.pack("<II", fingerprint, number) + mask)


class Host:
    """One conversation with one board.

    What waits for an answer comes in two forms: `greet` and its kind wait to the end; `greeting` and
    its kind are generators that wait `wait_s` at most before each yield, for a caller that must not block.
    """

    def __init__(self, transport: Transport, clock: Callable[[], float], *, nonce: int = 1) -> None:
        self._transport = transport
        self._clock = clock
        self._nonce = nonce
        self._gatherer = Gatherer()
        self._events: deque[Event] = deque()
        self._answers: deque[Message] = deque()
        self._plan: Plan | None = None
        self._early: dict[int, Done] = {}  # reports that came before their turn
        self._sent = 0
        self._resend_at = 0.0
        self._said_at = clock()
        self._heard_at = clock()
        self._any_at = clock()
        self._bytes = 0
        self._quiet = False
        self._understood = 0
        self._fault = 0
        self.info: BoardInfo | None = None
        self.status: Status | None = None
        self.acknowledged = 0
        self.hold_after: int | None = None  # passes beyond this one are not loaded yet
        self.bad_frames = 0
        self.resent = 0
        self.wait_s = WAIT_S

    @property
    def whole_frames(self) -> int:
        """Frames that came in undamaged."""
        return self._understood

    def reconnect(self, transport: Transport) -> None:
        """Go on over another port, as when the cable was out; the board is to be greeted again."""
        self._transport = transport
        self._gatherer = Gatherer()
        self._restarted(None)
        self._events.clear()
        self._quiet = False
        self._heard_at = self._any_at = self._clock()

    # Asking and answering

    def greet(self, patience_s: float = GREETING_S) -> BoardInfo:
        return finish(self.greeting(patience_s))

    def greeting(self, patience_s: float = GREETING_S) -> Steps[BoardInfo]:
        """Open the conversation.

        Raises Silent when nothing comes, NotABoard when something else does, WrongVersion for a
        board with another protocol.
        """
        self._write(b"\0")
        until = self._clock() + patience_s
        bytes_before, understood = self._bytes, self._understood
        nonces: set[int] = set()
        while self._clock() < until:
            self._nonce = max(1, (self._nonce + 1) & 0xFFFFFFFF)
            nonces.add(self._nonce)
            self.send(Greet(PROTOCOL, self._nonce))
            info = yield from self._awaiting(lambda m: isinstance(m, BoardInfo) and m.nonce in nonces, GREET_AGAIN_S)
            if isinstance(info, BoardInfo):
                self.info = info
                if info.protocol != PROTOCOL:
                    raise WrongVersion(
                        f"the board speaks protocol {info.protocol}, this program {PROTOCOL}",
                        hint="flash the firmware that came with this version of Latchline",
                    )
                self.status = None
                self._fault = 0
                self._events.clear()
                return info
        if self._bytes > bytes_before and self._understood == understood:
            raise NotABoard(
                "something answers on this port, but not a Latchline board",
                hint="choose another port, or flash the firmware",
                name="wrong-device",
            )
        raise Silent("nothing answers on this port", hint="check the cable, the port and that the board has power")

    def set_bed(self, bed: Bed) -> None:
        finish(self.setting_bed(bed))

    def setting_bed(self, bed: Bed) -> Steps[None]:
        """Tell the board its bed, unless it has this very one. Raises LinkError when it refuses."""
        if self.info is not None and self.info.bed_check == bed.check():
            return
        answer = yield from self.asking(bed, lambda m: isinstance(m, BedTaken | Refused))
        if isinstance(answer, Refused) or (isinstance(answer, BedTaken) and answer.bed_check != bed.check()):
            raise LinkError(
                "the board does not take this machine profile",
                hint="check the profile's [selectors]",
                name="profile-refused",
            )

    def ask(self, message: Message, wanted: Callable[[Message], bool], tries: int = 6) -> Message:
        return finish(self.asking(message, wanted, tries))

    def asking(self, message: Message, wanted: Callable[[Message], bool], tries: int = 6) -> Steps[Message]:
        """Send until an answer that `wanted` accepts comes. Raises Silent.

        On a noisy line a question that may be repeated is so quickly and without counting, as long as
        anything comes in.
        """
        self._answers.clear()
        once, until = tries == 1, self._clock() + NOISY_S
        while tries > 0 and self._clock() < until:
            noisy = not once and self._noisy()
            self.send(message)
            answer = yield from self._awaiting(wanted, NOISY_AGAIN_S if noisy else ANSWER_S)
            if answer is not None:
                return answer
            tries -= not noisy
        raise Silent("the board does not answer any more", hint="check the cable and the board's power")

    def counts(self) -> Counts:
        answer = self.ask(Ask(Ask.COUNTS), lambda m: isinstance(m, Counts))
        assert isinstance(answer, Counts)
        return answer

    def checkpoint(self) -> Checkpoint:
        return finish(self.asking_checkpoint())

    def asking_checkpoint(self) -> Steps[Checkpoint]:
        answer = yield from self.asking(Ask(Ask.CHECKPOINT), lambda m: isinstance(m, Checkpoint))
        assert isinstance(answer, Checkpoint)
        return answer

    def fresh_status(self) -> Status:
        return finish(self.asking_status())

    def asking_status(self) -> Steps[Status]:
        answer = yield from self.asking(Ask(Ask.STATUS), lambda m: isinstance(m, Status))
        assert isinstance(answer, Status)
        return answer

    def probe(self, selector: int, time_ms: int) -> Probed | Refused:
        answer = self.ask(Probe(selector, time_ms), lambda m: isinstance(m, Probed | Refused))
        assert isinstance(answer, Probed | Refused)
        return answer

    # Knitting

    @property
    def heeds_lines(self) -> bool:
        """Whether the board counts each pass at lines of its own; else at those of the plan."""
        return self.info is not None and bool(self.info.features & BoardInfo.PASS_LINES)

    def turn_span(self, plan: Plan, number: int) -> Span:
        """The needles between the lines at which this board counts a pass."""
        return plan.turn_span(number) if self.heeds_lines else plan.span

    def start(self, plan: Plan, first: int, run: int = 0) -> None:
        finish(self.starting(plan, first, run))

    def starting(self, plan: Plan, first: int, run: int = 0) -> Steps[None]:
        """Put a plan in force from pass `first` on. The bed must be set. Raises LinkError when refused.

        run: the identity of this knitting of it.
        """
        left_line, right_line = plan.profile.turn_lines(plan.span)
        message = PlanStart(
            plan.fingerprint, first, plan.passes, left_line, right_line, plan.span.first, plan.span.last, run
        )
        # A status on its way may still tell of the plan before, even when it is the same one.
        answer = yield from self.asking(
            message,
            lambda m: (
                isinstance(m, Refused)
                or (isinstance(m, Status) and (m.fingerprint, m.run, m.done) == (plan.fingerprint, run, first - 1))
            ),
        )
        if isinstance(answer, Refused):
            raise LinkError("the board does not take this plan", hint="check that board and profile belong together")
        self._follow(plan, first - 1)

    def adopt(self, plan: Plan, acknowledged: int) -> None:
        """Go on with a plan that is in force on the board already."""
        self._follow(plan, acknowledged)

    def _follow(self, plan: Plan, acknowledged: int) -> None:
        self._plan = plan
        self._early.clear()
        self.acknowledged = acknowledged
        self._sent = self.status.received if self.status is not None else acknowledged
        self._resend_at = self._clock()

    def acknowledge(self, number: int) -> None:
        """Tell the board that pass `number` is safely in the journal; its slot becomes free."""
        self.acknowledged = max(self.acknowledged, number)
        if self._plan is not None:
            self.send(Seen(self._plan.fingerprint, self.acknowledged))
        early = self._early.pop(self.acknowledged + 1, None)
        if early is not None:
            self._take_done(early)

    def clear(self, fault: int) -> None:
        self._fault = 0
        self.send(Clear(fault))

    def stop(self) -> None:
        self._plan = None
        self._write(b"\0")  # ends whatever was half sent
        self.send(Stop())

    def buzz(self, time_s: float) -> None:
        self.send(Buzz(min(255, max(1, round(time_s * 100)))))

    def step(self, wait_s: float = 0.05) -> list[Event]:
        """Read for up to `wait_s` (less when something comes), send what is due, return what happened.

        Raises PortError when the port goes away.
        """
        if self._clock() - self._said_at >= KEEP_S:
            self.send(Ask(Ask.STATUS))
        for message in self._read(wait_s):
            self._take(message)
        self._answers.clear()
        self._load_ahead()
        now = self._clock()
        if now - self._heard_at >= QUIET_S and not self._quiet:
            self._quiet = True
            self._events.append(Quiet(now - self._heard_at))
        events = list(self._events)
        self._events.clear()
        return events

    def send(self, message: Message) -> None:
        self._write(to_wire(message))
        self._said_at = self._clock()

    # Inside

    def _write(self, data: bytes) -> None:
        try:
            self._transport.write(data)
        except (SerialException, OSError):
            raise _port_gone() from None

    def _read(self, wait_s: float) -> list[Message]:
        try:
            self._transport.timeout = wait_s
            data = self._transport.read(1)
            while data and len(data) < READ_MOST and (waiting := self._transport.in_waiting):
                data += self._transport.read(waiting)  # a socket tells of one byte only, however many wait
        except (SerialException, OSError):
            raise _port_gone() from None
        if data:
            self._any_at = self._clock()
            self._bytes += len(data)
        messages = []
        for frame in self._gatherer.feed(data):
            message = from_wire(frame)
            if message is None or message.number < 0x80:
                self.bad_frames += 1
                continue
            messages.append(message)
        self._understood += len(messages)
        if messages:
            self._heard_at = self._clock()
            if self._quiet:
                self._quiet = False
                self._events.append(BackAgain())
        return messages

    def _noisy(self) -> bool:
        """Whether much of what comes in is damaged, and something still does."""
        return self.bad_frames > NOISY_SHARE * self._understood and self._clock() - self._any_at < GREETING_S

    def _awaiting(self, wanted: Callable[[Message], bool], patience_s: float) -> Steps[Message | None]:
        """The first message that `wanted` accepts; what else comes is taken as in `step`."""
        until = self._clock() + patience_s
        while True:
            while self._answers:
                message = self._answers.popleft()
                if wanted(message):
                    return message
            left = until - self._clock()
            if left < SHORTEST_WAIT_S:
                return None
            for message in self._read(min(left, self.wait_s)):
                self._take(message)
                self._answers.append(message)
            yield

    def _take(self, message: Message) -> None:
        match message:
            case Status():
                self._take_status(message)
            case Done():
                self._take_done(message)
            case Fault() if message.fault and message.fault != self._fault:
                self._fault = message.fault
                self._events.append(Faulted(message))
            case BoardInfo() if self.info is not None and message.boots != self.info.boots:
                self._restarted(message)
            case _:
                pass

    def _take_status(self, status: Status) -> None:
        if self.info is not None and status.boots != self.info.boots:
            self._restarted(None)
            return
        before, self.status = self.status, status
        if self._plan is not None and status.fingerprint == self._plan.fingerprint:
            if before is None or status.received > before.received:
                self._resend_at = self._clock() + RESEND_S
            self._sent = max(self._sent, status.received)
        if not status.fault:
            self._fault = 0
        elif status.fault != self._fault:
            self.send(Ask(Ask.FAULT))  # its details come in a FAULT
        if before is None or _told(before) != _told(status):
            self._events.append(Changed(status))

    def _take_done(self, done: Done) -> None:
        plan = self._plan
        if plan is None or done.fingerprint != plan.fingerprint or not 1 <= done.pass_number <= plan.passes:
            return
        if done.pass_number <= self.acknowledged:
            self.send(Seen(plan.fingerprint, self.acknowledged))
            return
        number = done.pass_number
        if any(isinstance(event, PassDone) and event.number == number for event in self._events):
            return
        if number != self.acknowledged + 1:
            self._early[number] = done  # an earlier report was lost; the board sends that one again
            return
        expected = digest(plan.fingerprint, number, plan.bed_mask(number))
        rightward = bool(plan.rightward[number - 1])
        self._events.append(PassDone(number, done.digest == expected and bool(done.direction) == rightward, done))

    def _restarted(self, info: BoardInfo | None) -> None:
        self.status = None
        self._plan = None
        self.info = info if info is not None and info.nonce else None
        self._events.append(Restarted(info))

    def _load_ahead(self) -> None:
        """Send the passes that the board has room for; again, if it did not get them."""
        plan, status = self._plan, self.status
        if plan is None or status is None or status.fingerprint != plan.fingerprint:
            return
        now = self._clock()
        if self._sent > status.received and now >= self._resend_at:
            self.resent += self._sent - status.received
            self._sent = status.received
        last = min(status.credit, plan.passes if self.hold_after is None else self.hold_after)
        if self._sent >= last:
            return
        for number in range(self._sent + 1, last + 1):
            direction = int(plan.rightward[number - 1])
            self.send(Pass(plan.fingerprint, number, direction, plan.bed_mask(number), *self._lines_of(plan, number)))
        self._sent = last
        self._resend_at = now + RESEND_S

    def _lines_of(self, plan: Plan, number: int) -> tuple[int, int]:
        span = self.turn_span(plan, number)
        left, right = plan.profile.turn_lines(span)
        return (
            PLANS_LINE if span.first == plan.span.first else left,
            PLANS_LINE if span.last == plan.span.last else right,
        )


def _told(status: Status) -> tuple[int, ...]:
    """What of a status is worth an event."""
    return (status.fingerprint, status.received, status.armed, status.done, status.flags, status.fault, status.rests)


def _port_gone() -> PortError:
    return PortError(
        "the port does not work any more",
        hint="check the cable, then start again to go on",
        name="port-fails",
    )
