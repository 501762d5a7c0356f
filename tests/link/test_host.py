"""The host's end of the conversation, against a board played by the test, message by message."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from serial import SerialException

from latchline.errors import LinkError, NotABoard, PortError, Silent, WrongVersion
from latchline.link.frames import Gatherer
from latchline.link.host import BackAgain, Faulted, Host, PassDone, Quiet, Restarted, digest
from latchline.link.messages import (
    PROTOCOL,
    Ask,
    BedTaken,
    BoardInfo,
    Done,
    Fault,
    Greet,
    Message,
    Pass,
    PlanStart,
    Refused,
    Seen,
    Status,
    from_wire,
    to_wire,
)
from latchline.link.setup import bed_message
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named

BED = load_profile("standard-200")
PLAN = compile_plan(
    "checks",
    BED,
    BED.span("L10-R10"),
    [BandRequest("checks", technique_named("fair-isle"), Options(rows=40, alternate_needles="only"))],
)
INFO = BoardInfo(PROTOCOL, 0, bytes((0, 1, 0)), 77, 5, 1, 16, 255, 0)
STATUS = Status(5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)


class PlayedBoard:
    """A port in virtual time whose board answers as the test says."""

    def __init__(self, answer: Callable[[Message], list[Message]]) -> None:
        self.answer = answer
        self.timeout: float | None = 0.0
        self.now = 0.0
        self.heard: list[Message] = []
        self.ahead = bytearray()
        self.gone = False
        self._gatherer = Gatherer()

    def clock(self) -> float:
        return self.now

    def say(self, *messages: Message) -> None:
        for message in messages:
            self.ahead += to_wire(message)

    @property
    def in_waiting(self) -> int:
        return len(self.ahead)

    def write(self, data: bytes) -> int:
        if self.gone:
            raise SerialException("write failed: [Errno 5] Input/output error")
        for frame in self._gatherer.feed(data):
            message = from_wire(frame)
            assert message is not None
            self.heard.append(message)
            self.say(*self.answer(message))
        return len(data)

    def read(self, size: int = 1) -> bytes:
        if self.gone:
            raise SerialException("device reports readiness to read but returned no data")
        if not self.ahead:
            self.now += self.timeout or 0.001
        taken, self.ahead = bytes(self.ahead[:size]), self.ahead[size:]
        return taken


def polite(message: Message) -> list[Message]:
    """Answers as a board would that has no carriage."""
    match message:
        case Greet():
            return [BoardInfo(PROTOCOL, message.nonce, *(getattr(INFO, n) for n in NAMES))]
        case PlanStart():
            return [status(received=message.first - 1, done=message.first - 1)]
    return []


NAMES = ("version", "board", "boots", "reset_cause", "slots", "needles_max", "bed_check")


def status(received: int = 0, done: int = 0, credit: int | None = None, **more: int) -> Status:
    values = vars(STATUS) | {"fingerprint": PLAN.fingerprint, "received": received, "done": done}
    return Status(**(values | {"credit": done + 16 if credit is None else credit} | more))


def done(number: int, **changed: int) -> Done:
    mask = PLAN.bed_mask(number)
    fields = {"direction": int(PLAN.rightward[number - 1]), "digest": digest(PLAN.fingerprint, number, mask)} | changed
    return Done(PLAN.fingerprint, number, fields["direction"], fields["digest"], 0, bytes(20), 0, 0, 0, 1, 300, 0, 0)


def begun(answer: Callable[[Message], list[Message]] = polite, first: int = 1) -> tuple[PlayedBoard, Host]:
    board = PlayedBoard(answer)
    host = Host(board, board.clock)
    host.greet()
    host.start(PLAN, first)
    return board, host


def passes(board: PlayedBoard) -> list[int]:
    return [message.pass_number for message in board.heard if isinstance(message, Pass)]


def test_a_silent_port_is_told_from_one_that_speaks_something_else() -> None:
    silent = PlayedBoard(lambda _: [])
    with pytest.raises(Silent, match="nothing answers on this port"):
        Host(silent, silent.clock).greet()
    printer = PlayedBoard(lambda _: [])
    printer.ahead += b"ok T:21.3\r\n" * 5
    with pytest.raises(NotABoard, match="not a Latchline board"):
        Host(printer, printer.clock).greet()


def test_a_board_with_another_protocol_is_named_with_both_versions() -> None:
    old = PlayedBoard(
        lambda m: [BoardInfo(9, m.nonce, *(getattr(INFO, n) for n in NAMES))] if isinstance(m, Greet) else []
    )
    with pytest.raises(WrongVersion, match="the board speaks protocol 9, this program 2"):
        Host(old, old.clock).greet()


def test_an_answer_to_an_older_greeting_does_not_count() -> None:
    late = PlayedBoard(lambda m: [INFO] if isinstance(m, Greet) else [])
    with pytest.raises(Silent):
        Host(late, late.clock).greet()


def test_a_bed_that_the_board_has_already_is_not_sent_again() -> None:
    bed = bed_message(BED)
    board = PlayedBoard(
        lambda m: (
            [BoardInfo(PROTOCOL, m.nonce, INFO.version, 77, 5, 1, 16, 255, bed.check())] if isinstance(m, Greet) else []
        )
    )
    host = Host(board, board.clock)
    host.greet()
    host.set_bed(bed)
    assert {type(message) for message in board.heard} == {Greet}


@pytest.mark.parametrize("answer", [Refused(2, 1), BedTaken(0)])
def test_a_bed_that_the_board_does_not_take_stops_the_work(answer: Message) -> None:
    board = PlayedBoard(lambda m: polite(m) if isinstance(m, Greet) else [answer])
    host = Host(board, board.clock)
    host.greet()
    with pytest.raises(LinkError, match="does not take this machine profile"):
        host.set_bed(bed_message(BED))


def test_passes_are_loaded_ahead_as_far_as_there_is_credit() -> None:
    board, host = begun()
    host.step()
    assert passes(board) == list(range(1, 17))


def test_a_plan_goes_on_from_any_pass() -> None:
    board, host = begun(first=11)
    host.step()
    assert passes(board) == list(range(11, 27))


def test_passes_that_were_lost_are_sent_again_after_a_while_and_not_before() -> None:
    board, host = begun()
    host.step()
    board.say(status(received=3))
    host.step(0.01)
    assert len(passes(board)) == 16
    for _ in range(20):
        host.step(0.01)
    assert passes(board)[16:] == list(range(4, 17))
    assert host.resent == 13


def test_the_same_masks_go_to_the_same_passes_whatever_is_sent_again() -> None:
    board, host = begun()
    for received in (0, 3, 3, 9, 16):
        board.say(status(received=received))
        for _ in range(20):
            host.step(0.01)
    for message in board.heard:
        if isinstance(message, Pass):
            assert message.mask == PLAN.bed_mask(message.pass_number)
            assert message.fingerprint == PLAN.fingerprint


def test_only_a_journalled_pass_is_acknowledged() -> None:
    board, host = begun()
    board.say(done(1))
    events = host.step()
    assert [event.number for event in events if isinstance(event, PassDone)] == [1]
    assert not any(isinstance(message, Seen) for message in board.heard)
    host.acknowledge(1)
    assert board.heard[-1] == Seen(PLAN.fingerprint, 1)


def test_a_report_that_comes_twice_counts_once() -> None:
    board, host = begun()
    board.say(done(1), done(1))
    assert sum(isinstance(event, PassDone) for event in host.step()) == 1
    host.acknowledge(1)
    board.say(done(1))
    assert not any(isinstance(event, PassDone) for event in host.step())
    assert board.heard[-1] == Seen(PLAN.fingerprint, 1)


def test_a_report_after_a_lost_one_waits_its_turn() -> None:
    board, host = begun()
    board.say(done(2))
    assert not any(isinstance(event, PassDone) for event in host.step())
    board.say(done(1))
    host.step()
    host.acknowledge(1)
    board.say(done(2))
    assert [event.number for event in host.step() if isinstance(event, PassDone)] == [2]


def test_a_report_that_came_before_its_turn_is_kept_for_it() -> None:
    board, host = begun()
    board.say(done(2), done(3))
    host.step()
    board.say(done(1))
    host.step()
    numbers: list[int] = []
    for _ in range(3):
        host.acknowledge(len(numbers) + 1)
        numbers += [event.number for event in host.step() if isinstance(event, PassDone)]
    assert numbers == [2, 3]


def test_a_board_that_has_gone_silent_is_not_taken_for_a_stranger() -> None:
    board, host = begun()
    board.answer = lambda message: []
    with pytest.raises(Silent):
        host.greet()


def test_on_a_noisy_line_a_question_is_repeated_quickly_and_at_length() -> None:
    board, host = begun()
    board.heard.clear()

    def mumble(message: Message) -> list[Message]:
        if isinstance(message, Ask) and len(board.heard) == 100:
            return [status()]
        board.ahead += b"\x05damaged\0" * 2
        return []

    board.answer = mumble
    began = board.clock()
    host.fresh_status()
    assert len(board.heard) == 100
    assert board.clock() - began < 10


@pytest.mark.parametrize("wrong", [{"digest": 0x1111}, {"direction": 1}])
def test_a_pass_driven_otherwise_than_planned_is_noticed(wrong: dict[str, int]) -> None:
    board, host = begun()
    board.say(done(1, **wrong))
    (event,) = [event for event in host.step() if isinstance(event, PassDone)]
    assert not event.as_planned


def test_reports_of_another_plan_are_not_taken() -> None:
    board, host = begun()
    board.say(Done(**(vars(done(1)) | {"fingerprint": 99})))
    assert not any(isinstance(event, PassDone) for event in host.step())


def test_a_fault_is_told_once_and_again_after_it_was_cleared() -> None:
    board, host = begun()
    fault = Fault(6, PLAN.fingerprint, 1, 95, 400, 33)
    board.say(fault, fault)
    assert sum(isinstance(event, Faulted) for event in host.step()) == 1
    host.clear(6)
    board.say(fault)
    assert sum(isinstance(event, Faulted) for event in host.step()) == 1


def test_a_fault_seen_only_in_a_status_is_asked_after() -> None:
    board, host = begun()
    board.say(status(fault=4))
    host.step()
    assert Ask(Ask.FAULT) in board.heard


def test_a_board_that_started_again_is_noticed_by_its_count_of_starts() -> None:
    board, host = begun()
    board.say(status(boots=6))
    assert any(isinstance(event, Restarted) for event in host.step())
    before = len(passes(board))
    board.say(status(boots=6))
    host.step()
    assert len(passes(board)) == before


def test_a_quiet_board_is_told_and_so_is_its_return() -> None:
    board, host = begun()
    events = [event for _ in range(60) for event in host.step(0.05)]
    assert sum(isinstance(event, Quiet) for event in events) == 1
    board.say(status())
    assert any(isinstance(event, BackAgain) for event in host.step())


def test_the_board_is_told_regularly_that_the_host_is_there() -> None:
    board, host = begun()
    board.say(status(received=16))
    for _ in range(60):
        host.step(0.05)
    assert sum(message == Ask(Ask.STATUS) for message in board.heard) >= 2


def test_a_port_that_goes_away_is_one_sentence() -> None:
    board, host = begun()
    board.gone = True
    with pytest.raises(PortError, match="the port does not work any more"):
        host.step()
    with pytest.raises(PortError, match="check the cable"):
        host.acknowledge(1)


def test_noise_on_the_line_is_counted_and_does_no_harm() -> None:
    board, host = begun()
    board.ahead += bytes(range(1, 200)) + b"\0" + b"\x07\x83\x01\0"
    board.say(done(1))
    assert [event.number for event in host.step() if isinstance(event, PassDone)] == [1]
    assert host.bad_frames == 2
