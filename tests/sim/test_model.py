"""The model board against docs/protocol.md, and its bulk way against its edge-by-edge way."""

from __future__ import annotations

import dataclasses
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.link import frames, messages
from latchline.link.messages import (
    PROTOCOL,
    Ask,
    Bed,
    BedTaken,
    BoardInfo,
    Clear,
    Done,
    Fault,
    Greet,
    Message,
    Pass,
    Pause,
    PlanStart,
    Probe,
    Probed,
    Refused,
    Seen,
    Status,
    Stop,
)
from latchline.sim.board.board import ModelBoard
from latchline.sim.face import POWER_ON, WATCHDOG, Signals
from strategies import board_beds, board_moves

GRAY = np.array([0b00, 0b01, 0b11, 0b10], np.uint8)
BED = Bed(
    needles=20, edges_per_needle=4, left_sensor=-40, right_sensor=116, tolerance=2, backing=32, layout_kind=1,
    count=4, lead_leftward=8, lead_rightward=8, advance=1375, advance_max=10, hold=1, limit_ms=250, active_low=0,
    patience_ms=0, supply_min=0, current_max=0,
)  # fmt: skip
FINGERPRINT = 0x1234_5678
LINES = (-20, 96)


class Bench:
    """A board with a carriage that the test moves."""

    def __init__(self, bed: Bed = BED, **options: object) -> None:
        self.bed = bed
        self.board = ModelBoard(**options)  # type: ignore[arg-type]
        self.now = 0
        self.place = 0
        self.flip = 0
        self.heard: list[Message] = []
        self.parts: list[Signals] = []
        self.board.power(0, POWER_ON)

    def gather(self) -> None:
        found = (messages.from_wire(data[:-1]) for _, data in self.board.sent())
        self.heard += [message for message in found if message]
        self.parts.append(self.board.signals())

    def wait(self, ms: int) -> None:
        self.now += ms * 1000
        self.board.run(self.now)
        self.gather()

    def send(self, *out: Message) -> list[Message]:
        """Send messages and wait for the answers."""
        before = len(self.heard)
        for message in out:
            data = messages.to_wire(message)
            self.board.receive(self.now, data)
            self.now += len(data) * 40
            self.wait(5)
        return self.heard[before:]

    def pins(self, places: np.ndarray) -> np.ndarray:
        levels: np.ndarray = GRAY[places % 4] ^ self.flip
        levels |= np.where(places <= self.bed.left_sensor, 0, 4).astype(np.uint8)
        levels |= np.where(places >= self.bed.right_sensor, 0, 8).astype(np.uint8)
        middle = (self.bed.middle_left <= places) & (places <= self.bed.middle_right)
        levels |= np.where(middle, 0, 16).astype(np.uint8)
        return levels

    def stroke(self, to: int, edge_us: int = 2000, jitter: int = 0) -> None:
        step = 1 if to > self.place else -1
        places = np.arange(self.place + step, to + step, step)
        if to == self.place:
            return
        shake = np.random.default_rng(jitter).integers(-edge_us // 3, edge_us // 3, len(places)) if jitter else 0
        at_us = (self.now + np.cumsum(np.full(len(places), edge_us) + shake)).astype(np.int64)
        self.board.edges(at_us, self.pins(places))
        self.now, self.place = int(at_us[-1]), to
        self.gather()

    def glitch(self) -> None:
        """Both channels change at once."""
        self.flip ^= 3
        self.now += 1000
        self.board.edges(np.array([self.now]), self.pins(np.array([self.place])))
        self.gather()

    def begin(self, passes: int = 4, last: int = 9) -> None:
        """Greet, set the bed and the plan, load passes with every needle selected, reference at the left."""
        plan = PlanStart(FINGERPRINT, 1, last, *LINES, 0, self.bed.needles - 1)
        self.send(Greet(PROTOCOL, 7), self.bed, plan, *(a_pass(number) for number in range(1, passes + 1)))
        self.stroke(self.bed.left_sensor - 4)

    def status(self) -> Status:
        return next(answer for answer in reversed(self.send(Ask(0))) if isinstance(answer, Status))

    def last(self, kind: type) -> Message | None:
        return next((message for message in reversed(self.heard) if isinstance(message, kind)), None)


def mask_of(needles: set[int]) -> bytes:
    return sum(1 << needle for needle in needles).to_bytes(32, "little")


def a_pass(number: int, needles: set[int] | None = None) -> Pass:
    return Pass(FINGERPRINT, number, number % 2, mask_of(set(range(20)) if needles is None else needles))


# ---- both ways are one ------------------------------------------------------------------------


def readings(register: int, enabled: bool) -> tuple[int, int]:
    """A supply that two coils pull below 700 counts, and a current that four bring above 150."""
    on = register.bit_count() if enabled else 0
    return 740 - 25 * on, 40 * on


def play(bed: Bed, lines: tuple[int, int], moves: list[tuple[str, int, int]], in_bulk: bool) -> tuple[object, ...]:
    """Everything that can be seen of a board that has been through these moves."""
    bench = Bench(bed, in_bulk=in_bulk, slots=4, analog=readings)
    rng = np.random.default_rng(1)
    span = sum(1 << needle for needle in range(bed.needles))
    last = 40

    def a_mask() -> bytes:
        return (int.from_bytes(rng.bytes(32), "little") & span).to_bytes(32, "little")

    loaded = 3
    bench.send(Greet(PROTOCOL, 7), bed, PlanStart(FINGERPRINT, 1, last, *lines, 0, bed.needles - 1))
    bench.send(*(Pass(FINGERPRINT, number, number % 2, a_mask()) for number in (1, 2, 3)))
    bench.stroke(bed.left_sensor - 3, 3000)
    for kind, first, second in moves:
        if kind == "stroke":
            bench.stroke(first, second, jitter=second)
        elif kind == "pass":
            far = bench.place < (bed.left_sensor + bed.right_sensor) // 2
            middle = (bed.left_sensor + bed.right_sensor) // 2
            if second:
                bench.stroke(middle, first, jitter=first)
                bench.stroke(middle - (second if far else -second), first)
            bench.stroke(bed.right_sensor + 2 if far else bed.left_sensor - 2, first, jitter=first)
            standing = bench.status().fault
            if standing:
                bench.send(Clear(standing))
        elif kind == "wait":
            bench.wait(first)
        elif kind == "glitch":
            bench.glitch()
        else:
            fault = bench.last(Fault)
            done = bench.last(Done)
            loaded += 1
            out: list[Message] = [Pass(FINGERPRINT, loaded, loaded % 2, a_mask())]
            if first < 4 and isinstance(done, Done):
                out = [*out, Seen(FINGERPRINT, done.pass_number)]
            elif first < 6 and isinstance(fault, Fault):
                out = [*out, Clear(fault.fault)]
            elif first == 7:
                out = [*out, Pause(second % 2), Ask(1)]
            elif first == 8 and second == 0:
                out = [*out, Stop()]
            bench.send(*out)
    bench.wait(300)
    parts = [np.concatenate([getattr(part, name) for part in bench.parts]).tolist() for name in Signals.__annotations__]
    return bench.heard, parts, bench.board.memory


@given(st.data())
def test_edges_in_bulk_and_one_by_one_come_to_the_same(data: st.DataObject) -> None:
    bed = data.draw(board_beds())
    left = data.draw(st.integers(bed.left_sensor + 1, 0))
    right = data.draw(st.integers((bed.needles - 1) * bed.edges_per_needle, bed.right_sensor - 1))
    moves = data.draw(board_moves(bed))
    bulk, single = (play(bed, (left, max(right, left + 1)), moves, in_bulk) for in_bulk in (True, False))
    assert bulk[0] == single[0]
    assert bulk[1] == single[1]
    assert bulk[2] == single[2]


# ---- what the page says, number by number -----------------------------------------------------


def digest(number: int, mask: bytes) -> int:
    return frames.crc16(struct.pack("<II", FINGERPRINT, number) + mask)


def test_a_board_names_itself_at_its_start_and_when_greeted() -> None:
    bench = Bench()
    bench.wait(5)
    answers = bench.send(Greet(PROTOCOL, 99))
    start, answer = bench.heard[0], answers[0]
    assert isinstance(start, BoardInfo)
    assert isinstance(answer, BoardInfo)
    assert (start.nonce, answer.nonce, answer.boots, answer.reset_cause, answer.bed_check) == (0, 99, 1, POWER_ON, 0)


def test_another_protocol_version_is_answered_but_nothing_else_is_taken() -> None:
    bench = Bench()
    assert any(isinstance(answer, BoardInfo) for answer in bench.send(Greet(PROTOCOL + 1, 1)))
    assert Refused(Bed.number, 4) in bench.send(BED)
    assert BedTaken(BED.check()) in bench.send(Greet(PROTOCOL, 1), BED)


@pytest.mark.parametrize(
    ("field", "value"),
    [("needles", 1), ("edges_per_needle", 17), ("left_sensor", 0), ("right_sensor", 76), ("count", 17), ("hold", 7),
     ("lead_leftward", 481), ("advance", 0), ("limit_ms", 4), ("active_low", 2), ("layout_kind", 2)],
)  # fmt: skip
def test_a_bed_out_of_its_limits_is_refused(field: str, value: int) -> None:
    bed = dataclasses.replace(BED, **{field: value})
    assert Refused(Bed.number, 1) in Bench().send(Greet(PROTOCOL, 1), bed)


@pytest.mark.parametrize(
    "plan",
    [(0, 1, 9, -20, 96, 0, 19), (5, 0, 9, -20, 96, 0, 19), (5, 11, 9, -20, 96, 0, 19), (5, 1, 9, -40, 96, 0, 19),
     (5, 1, 9, -20, 116, 0, 19), (5, 1, 9, 96, -20, 0, 19), (5, 1, 9, -20, 96, 0, 20), (5, 1, 9, -20, 96, 3, 2)],
)  # fmt: skip
def test_a_plan_out_of_its_limits_is_refused(plan: tuple[int, int, int, int, int, int, int]) -> None:
    assert Refused(PlanStart.number, 2) in Bench().send(Greet(PROTOCOL, 1), BED, PlanStart(*plan))


@pytest.mark.parametrize("layout", [0, 1])
def test_every_selected_needle_is_driven_and_the_digest_says_so(layout: int) -> None:
    bed = dataclasses.replace(BED, layout_kind=layout, count=2, advance_max=3 if not layout else 7, advance=1000)
    needles = {0, 1, 2, 7, 8, 19}
    bench = Bench(bed)
    plan = PlanStart(FINGERPRINT, 1, 2, *LINES, 0, 19)
    bench.send(Greet(PROTOCOL, 7), bed, plan, a_pass(1, needles), a_pass(2, needles))
    for to in (-44, 120, -44):
        bench.stroke(to, 3000)
    reports = {message.pass_number: message for message in bench.heard if isinstance(message, Done)}
    assert [reports[number].digest for number in (1, 2)] == [digest(number, mask_of(needles)) for number in (1, 2)]


def test_received_armed_and_done_are_three_numbers() -> None:
    bench = Bench()
    bench.begin(passes=3)
    status = bench.status()
    assert (status.received, status.armed, status.done) == (3, 1, 0)
    bench.stroke(40)
    assert bench.status().done == 0
    assert bench.status().flags & Status.UNDER_WAY
    bench.stroke(100)
    status = bench.status()
    assert (status.received, status.armed, status.done) == (3, 2, 1)


@pytest.mark.parametrize(
    ("wrong", "why"),
    [(Pass(FINGERPRINT, 3, 1, mask_of({1})), "a number is missing"),
     (Pass(FINGERPRINT, 1, 1, mask_of({1})), "repeated"),
     (Pass(FINGERPRINT + 1, 2, 0, mask_of({1})), "of another plan"),
     (Pass(FINGERPRINT, 2, 2, mask_of({1})), "no direction"),
     (Pass(FINGERPRINT, 2, 0, mask_of({20})), "a needle outside the span")],
)  # fmt: skip
def test_a_pass_that_does_not_follow_is_dropped(wrong: Pass, why: str) -> None:
    bench = Bench()
    bench.begin(passes=1)
    bench.send(wrong)
    assert bench.status().received == 1, why


def test_a_board_that_is_to_stop_where_its_lamp_goes_dark_leaves_the_edges_after_it() -> None:
    bench = Bench(stops_dark=True)
    bench.begin(passes=1)
    places = np.arange(bench.place + 1, 121)
    at_us = bench.now + 2000 * np.arange(1, len(places) + 1)
    taken = bench.board.edges(at_us, bench.pins(places))
    assert places[taken - 1] == LINES[1]
    assert not bench.board.follower.lamp
    assert bench.board.edges(at_us[taken:], bench.pins(places[taken:])) == len(places) - taken
    assert bench.board.follower.position == 120


def test_credit_holds_the_host_back_until_it_has_seen_a_report() -> None:
    bench = Bench(slots=2)
    bench.begin(passes=3)
    assert (bench.status().received, bench.status().credit) == (2, 2)
    bench.stroke(120)
    bench.send(Seen(FINGERPRINT, 1), a_pass(3))
    assert (bench.status().received, bench.status().credit) == (3, 3)


def test_an_unseen_report_comes_again() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(120)
    bench.wait(450)
    assert sum(isinstance(message, Done) for message in bench.heard) == 3
    bench.send(Seen(FINGERPRINT, 1))
    bench.wait(450)
    assert sum(isinstance(message, Done) for message in bench.heard) == 3


def fault_of(bench: Bench) -> tuple[int, int]:
    fault = bench.last(Fault)
    assert isinstance(fault, Fault)
    return fault.fault, fault.detail


def test_an_impossible_step_makes_the_position_uncertain_until_an_end_is_passed() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(30)
    bench.glitch()
    bench.wait(5)
    assert fault_of(bench)[0] == 1
    bench.send(Clear(1))
    assert not bench.status().flags & (Status.CERTAIN | Status.LAMP | Status.ENABLED)
    bench.stroke(-44)
    assert bench.status().flags & Status.CERTAIN
    assert (bench.status().armed, bench.status().done) == (1, 0)


def test_an_end_sensor_within_tolerance_corrects_the_count_and_beyond_it_is_a_fault() -> None:
    for slip, fault in ((1, 0), (3, 2)):
        bench = Bench()
        bench.begin()
        bench.stroke(100)
        bench.place += 4 * slip if slip == 3 else 0
        if slip == 1:
            bench.board.follower.position += 1
        bench.stroke(120)
        bench.wait(30)
        assert bench.status().fault == fault
        if not fault:
            bench.stroke(-44)
            bench.wait(5)
            report = bench.last(Done)
            assert isinstance(report, Done)
            assert report.correction == 1


def test_both_end_sensors_on_at_two_edges_running_is_a_fault_and_at_one_is_noise() -> None:
    bench = Bench()
    bench.begin()
    for edge, fault in ((1, 0), (2, 3)):
        bench.now += 1000
        pins = bench.pins(np.array([bench.place + edge]))
        bench.board.edges(np.array([bench.now]), pins & np.uint8(0b10011))
        bench.wait(5)
        assert bench.status().fault == fault


def test_a_carriage_that_comes_with_nothing_loaded_is_stopped() -> None:
    bench = Bench()
    bench.begin(passes=0)
    bench.stroke(0)
    bench.wait(5)
    assert fault_of(bench) == (5, 0)


def test_a_pass_of_the_other_direction_is_not_begun() -> None:
    bench = Bench()
    bench.begin(passes=0)
    bench.send(Pass(FINGERPRINT, 1, 0, mask_of({1})))
    bench.stroke(0)
    bench.wait(5)
    assert fault_of(bench) == (5, 1)


def test_turning_early_is_a_fault_but_backing_up_a_little_is_none() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(50)
    bench.stroke(50 - BED.backing)
    bench.stroke(60)
    assert bench.status().fault == 0
    bench.stroke(60 - BED.backing - 1)
    bench.wait(5)
    assert fault_of(bench) == (6, BED.backing + 1)


def test_a_needle_passed_again_after_backing_up_finds_its_selector_as_before() -> None:
    bench = Bench()
    bench.begin(passes=0)
    bench.send(a_pass(1, {3, 9, 10}))
    for to in (50, 25, 60, 40, 120):
        bench.stroke(to, 2500)
    bench.wait(5)
    report = bench.last(Done)
    assert isinstance(report, Done)
    assert (report.digest, report.backings, report.backed) == (digest(1, mask_of({3, 9, 10})), 2, 25)


def test_a_carriage_faster_than_the_coils_is_a_fault() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(120, 4 * BED.advance // (BED.advance_max + 1))
    bench.wait(5)
    assert fault_of(bench)[0] == 4


def test_a_coil_that_rested_and_had_no_time_to_pull_in_again_is_a_fault() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(-9, 2000)  # needle 0's point is −8: its coil is on
    bench.wait(400)
    assert bench.status().flags & Status.AT_REST
    assert bench.board.follower.register == 0
    bench.stroke(-8, 2000)
    bench.wait(5)
    assert fault_of(bench) == (7, 0)


def test_no_coil_is_on_longer_than_its_limit() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(20, 2000)
    bench.wait(2000)
    on_since: dict[int, int] = {}
    for part in bench.parts:
        for at_us, word in zip(part.at_us.tolist(), part.register.tolist(), strict=True):
            for coil in range(16):
                if word >> coil & 1:
                    on_since.setdefault(coil, at_us)
                elif coil in on_since:
                    assert at_us - on_since.pop(coil) <= BED.limit_ms * 1000
    assert not on_since


def test_a_silent_host_ends_in_coils_off() -> None:
    bench = Bench(dataclasses.replace(BED, patience_ms=1000))
    bench.begin()
    bench.status()
    bench.wait(990)
    assert bench.last(Fault) is None
    bench.wait(20)
    assert fault_of(bench)[0] == 9
    assert not bench.board.follower.enabled


def test_a_reset_ends_in_coils_off_and_is_owned_up_to() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(20)
    bench.board.power(bench.now, WATCHDOG)
    bench.wait(5)
    info = bench.last(BoardInfo)
    assert isinstance(info, BoardInfo)
    assert (info.reset_cause, info.boots, info.bed_check) == (WATCHDOG, 2, 0)
    assert not bench.parts[-1].register.any()
    assert not bench.status().flags & Status.ENABLED


def test_a_checkpoint_outlives_power_and_a_torn_one_does_not_count() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(120)
    bench.wait(60)
    bench.stroke(-22)
    bench.wait(20)  # the second one takes 41 ms
    bench.board.power(bench.now, POWER_ON)
    answers = bench.send(Ask(2))
    assert messages.Checkpoint(1, FINGERPRINT, 1, 1) in answers


def test_a_pause_waits_for_the_pass_and_drives_nothing() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(20)
    bench.send(Pause(1))
    assert not bench.status().flags & Status.PAUSED
    bench.stroke(120)
    assert bench.status().flags & Status.PAUSED
    bench.stroke(-44)
    assert (bench.status().done, bench.status().fault) == (1, 0)
    bench.stroke(120)
    bench.send(Pause(0))
    bench.stroke(-44)
    assert bench.status().done == 2


def test_stop_ends_the_plan() -> None:
    bench = Bench()
    bench.begin()
    bench.send(Stop())
    status = bench.status()
    assert (status.fingerprint, status.received, status.armed, status.done, status.credit) == (0, 0, 0, 0, 0)


def test_a_probe_reads_the_coil_and_leaves_it_off() -> None:
    bench = Bench(analog=lambda register, enabled: (800 - 40 * (register != 0), 100 * register))
    bench.send(Greet(PROTOCOL, 1), BED)
    bench.send(Probe(2, 20))
    bench.wait(30)
    assert bench.last(Probed) == Probed(2, 800, 760, 0, 400)
    assert not bench.board.follower.enabled
    assert Refused(Probe.number, 3) in bench.send(Probe(4, 20))


def test_a_sagging_supply_stops_the_pass() -> None:
    bench = Bench(
        dataclasses.replace(BED, supply_min=700), analog=lambda register, enabled: (750 - 100 * (register != 0), 0)
    )
    bench.begin()
    bench.stroke(100, 2000)
    bench.wait(5)
    assert fault_of(bench) == (10, 650)


def test_tenths_of_a_pass_add_up_to_its_time() -> None:
    bench = Bench()
    bench.begin()
    bench.stroke(120, 2000)
    bench.wait(5)
    report = bench.last(Done)
    assert isinstance(report, Done)
    edges = LINES[1] - LINES[0] - 1  # it begins at the first edge beyond the start line
    assert sum(report.tenth_units) == pytest.approx(edges * 2000 / 256, abs=10)
    assert (report.stops, report.advance, report.shortest) == (0, 1 + BED.advance // 500, 500)


@pytest.mark.parametrize("damage", [0, 5, -2])
def test_a_damaged_frame_is_counted_and_nothing_else(damage: int) -> None:
    bench = Bench()
    data = bytearray(messages.to_wire(BED))
    data[damage] ^= 0x10
    bench.board.receive(bench.now, bytes(data))
    bench.wait(10)
    assert bench.status().flags == 0
    assert bench.status().bad_frames == 1


def test_two_zeros_running_are_nothing() -> None:
    bench = Bench()
    bench.board.receive(0, bytes(4))
    bench.wait(5)
    assert bench.status().bad_frames == 0


@pytest.mark.parametrize("in_bulk", [True, False])
@pytest.mark.parametrize(("edge_us", "found"), [(8000, None), (2800, None), (2000, (15, 0)), (1000, (15, 0))])
def test_a_selector_that_had_no_time_to_act_is_a_fault_at_its_needle(
    in_bulk: bool, edge_us: int, found: tuple[int, int] | None
) -> None:
    """The carriage crawls until the coil is switched, two edges ahead, and leaps then; three quarters of the advance are 4.13 ms."""
    bench = Bench(dataclasses.replace(BED, advance_max=2), in_bulk=in_bulk)
    bench.begin()
    bench.stroke(-10, 8000)  # needle 0's point is −8: its coil is on
    bench.stroke(40, edge_us)
    bench.wait(5)
    assert (fault_of(bench) if bench.status().fault else None) == found
