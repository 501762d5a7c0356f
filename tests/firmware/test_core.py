"""The firmware's core on this computer, where things can be tried one and all."""

from __future__ import annotations

import binascii
import dataclasses
import os
import subprocess
import sys
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest
from conformance import scripts
from conformance.story import PHASES, Story, plan_of

from boards import native
from boards.compiled import FIRMWARE, lacking
from latchline.link.messages import (
    PROTOCOL,
    Ask,
    Bed,
    Checkpoint,
    Counts,
    Done,
    Greet,
    Message,
    Seen,
    Status,
    from_wire,
    to_wire,
)
from latchline.sim.face import BYTE_US

pytestmark = [pytest.mark.native, pytest.mark.skipif(bool(native.missing()), reason=f"there is no {native.missing()}")]

BOTH_OFF = 12
FUZZ_BYTES = 300_000  # a few seconds under sanitizers; the long run takes ten million


def heard(board: native.NativeBoard) -> list[Message]:
    return [message for _, data in board.sent() if (message := from_wire(data[:-1])) is not None]


def greeted(bed: Bed = scripts.BANK, *more: Message) -> native.NativeBoard:
    board = native.NativeBoard()
    board.power(0, 1)
    board.receive(20_000, b"\0" + b"".join(map(to_wire, (Greet(PROTOCOL, 7), bed, *more))))
    board.run(60_000)
    board.sent()
    return board


# ---- encoder ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("before", range(4))
@pytest.mark.parametrize("after", range(4))
@pytest.mark.parametrize("last_step", [1, -1], ids=["came rightward", "came leftward"])
def test_every_encoder_step_from_every_state_counts_once_or_is_named(before: int, after: int, last_step: int) -> None:
    board = greeted()
    index = PHASES.index(before)
    steps = np.arange(1, index * last_step % 4 + 5)
    board.edges(60_000 + 500 * steps, np.array(PHASES, np.uint8)[last_step * steps % 4] | np.uint8(BOTH_OFF))
    board.receive(64_000, to_wire(Ask(0)))
    board.run(70_000)
    start = next(message for message in reversed(heard(board)) if isinstance(message, Status))
    board.edges(np.array([71_000]), np.array([after | BOTH_OFF], np.uint8))
    board.receive(72_000, to_wire(Ask(0)))
    board.run(80_000)
    status = next(message for message in reversed(heard(board)) if isinstance(message, Status))
    step = (PHASES.index(after) - index) % 4
    assert status.fault == (1 if step == 2 else 0)
    assert status.position - start.position == {0: 0, 1: 1, 2: 0, 3: -1}[step]


def test_every_place_of_the_bed_is_counted_both_ways() -> None:
    """There and back between the ends of what a position may be, one edge at a time."""
    bed = Bed(255, 16, -4096, 8191, 0, 0, 1, 16, 0, 0, 1, 1, 1, 250, 0, 0, 0, 0)
    board = greeted(bed)
    story = Story(bed, now_us=60_000)
    story.walk(-4097, 50).walk(8192, 50).walk(-4097, 50).walk(8192, 50)
    for _, event in story.events:
        board.edges(event.at_us, event.pins)  # type: ignore[union-attr]
    board.receive(story.now_us, to_wire(Ask(1)) + to_wire(Ask(0)))
    board.run(story.now_us + 10_000)
    told = heard(board)
    assert [message.position for message in told if isinstance(message, Status)][-1] == 8192
    assert [message.fault for message in told if isinstance(message, Status)][-1] == 0
    counts = next(message for message in told if isinstance(message, Counts))
    assert (counts.edges, counts.left_on, counts.right_on) == (4097 + 3 * 12_289, 2, 2)


def test_an_uncertain_count_stops_at_the_ends_of_sixteen_bits() -> None:
    board = greeted()
    phases = np.array(PHASES, np.uint8)
    count = 40_000
    board.edges(60_000 + 50 * np.arange(1, count + 1), phases[np.arange(1, count + 1) % 4] | np.uint8(BOTH_OFF))
    now = 60_000 + 50 * count
    board.receive(now, to_wire(Ask(0)))
    board.run(now + 5000)
    assert [message.position for message in heard(board) if isinstance(message, Status)][-1] == 32_767


@pytest.mark.parametrize("wrap", [3 << 16, 1 << 24, 1 << 32], ids=["16 bits", "24 bits", "32 bits"])
def test_a_pass_is_timed_right_while_the_clock_wraps(wrap: int) -> None:
    """Ticks are 32 bits of 4 µs; everything about them is a difference."""
    bed = dataclasses.replace(scripts.BANK, patience_ms=0)
    plan = plan_of(bed, passes=2)
    board = greeted(bed, plan, scripts.masked(plan, 1, 1))
    story = Story(bed, now_us=wrap * 4 - 300_000, place=0)
    story.walk(bed.left_sensor - 2, 1000)
    story.walk(plan.right_line + 2, 1000)
    for _, event in story.events:
        board.edges(event.at_us, event.pins)  # type: ignore[union-attr]
    board.run(story.now_us + 1000)
    done = next(message for message in heard(board) if isinstance(message, Done))
    assert sum(done.tenth_units) * 256 == pytest.approx((plan.right_line - plan.left_line - 1) * 1000, abs=2560)
    assert done.start in range(((wrap * 4 - 300_000) // 4) % (1 << 32), 1 << 32)
    assert (done.shortest, done.stops) == (250, 0)


# ---- frames -------------------------------------------------------------------------------------------


def one_and_two_bit_errors(frame: bytes) -> Iterator[bytes]:
    number = int.from_bytes(frame, "little")
    bits = len(frame) * 8
    for count in (1, 2):
        for flipped in combinations(range(bits), count):
            damaged = number
            for bit in flipped:
                damaged ^= 1 << bit
            yield damaged.to_bytes(len(frame), "little")


def lost_and_doubled_bytes(frame: bytes) -> Iterator[bytes]:
    for at in range(len(frame)):
        yield frame[:at] + frame[at + 1 :]
        yield frame[:at] + frame[at : at + 1] * 2 + frame[at + 1 :]


def accepted(frames: Iterator[bytes], plan: Message) -> tuple[int, int]:
    """How many of these the board took for a message of any kind, and how many it was sent."""
    board = greeted(scripts.BANK, plan)
    at_us, sent = 60_000, 0
    batch = bytearray()

    def hear() -> None:
        nonlocal at_us
        board.receive(at_us, bytes(batch))
        at_us += len(batch) * BYTE_US
        board.run(at_us)
        board.sent()
        batch.clear()

    for frame in frames:
        batch += b"\0" + frame + b"\0"
        sent += 1
        if len(batch) > 100_000:
            hear()
    hear()
    board.receive(at_us, b"\0" + to_wire(Ask(1)) + to_wire(Ask(0)))
    board.run(at_us + 10_000)
    told = heard(board)
    counts = next(message for message in told if isinstance(message, Counts))
    status = [message for message in told if isinstance(message, Status)][-1]
    return counts.stale + status.received, sent


@pytest.mark.parametrize("fill", ["none", "all", "mixed"])
def test_no_damaged_pass_is_taken_for_another_message(fill: str) -> None:
    """Every error of one and of two bits in the frame, its closing zero included, and every byte lost or doubled.

    A whole PASS of this plan would be received or counted as stale; a damaged one must be neither.
    """
    plan = plan_of(scripts.BANK)
    needles = {"none": lambda n: False, "all": lambda n: True, "mixed": lambda n: n % 3 == 0}[fill]
    frame = to_wire(scripts.masked(plan, 1, 1, needles))
    taken, sent = accepted(one_and_two_bit_errors(frame), plan)
    assert sent == len(frame) * 8 * (len(frame) * 8 + 1) // 2
    # an error in the closing zero alone leaves the frame without an end: the zero that follows ends it,
    # with one byte too many
    assert taken == 0
    # a doubled or lost closing zero changes nothing about the frame, as more zeros follow and precede it
    taken, sent = accepted(lost_and_doubled_bytes(frame), plan)
    assert (taken, sent) == (2, 2 * len(frame))


def test_the_check_is_that_of_the_standard_library() -> None:
    board = greeted()
    board.receive(70_000, to_wire(Ask(0)))
    board.run(80_000)
    frame = board.sent()[-1][1]
    check = frame[-4:-1]
    value = (check[0] & 3) << 14 | (check[1] & 0x7F) << 7 | check[2] & 0x7F
    assert value == binascii.crc_hqx(frame[:-4], 0xFFFF)


# ---- fuzzing under sanitizers ----------------------------------------------------------------------------

FUZZ = """
import random, sys
import numpy as np
sys.path.insert(0, sys.argv[1])
from boards.compiled import BUILD, CompiledBoard
from latchline.link.messages import PROTOCOL, BoardInfo, Greet, from_wire, to_wire
from conformance import scripts
from conformance.story import plan_of

class Sanitized(CompiledBoard):
    pass

seed, size = int(sys.argv[2]), int(sys.argv[3])
chance = random.Random(seed)
board = Sanitized(BUILD / "native-sanitized.so")
plan = plan_of(scripts.BANK)
whole = [to_wire(message) for message in (Greet(PROTOCOL, 3), scripts.BANK, plan, *(scripts.masked(plan, n, n % 2) for n in (1, 2, 3)))]
whole += [bytes((kind,)) for kind in range(12)]
board.power(0, 1)
now, said = 1000, 0
phase = 0
while said < size:
    match chance.randrange(4):
        case 0:
            data = chance.randbytes(chance.randint(1, 120))
        case 1:
            data = chance.choice(whole)
        case 2:
            data = bytearray(chance.choice(whole))
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        case 3:
            from latchline.link import frames
            data = frames.encode(bytes((chance.randint(0, 12),)) + chance.randbytes(chance.choice((0, 1, 2, 5, 8, 18, 29, 41))))
    board.receive(now, bytes(data))
    said += len(data)
    steps = chance.randint(1, 30)
    pins = [chance.randrange(16) for _ in range(steps)]
    if chance.random() < 0.8:
        way = chance.choice((1, -1))
        pins = [(0, 1, 3, 2)[(phase + way * k) % 4] | chance.choice((12, 12, 12, 8, 4)) for k in range(1, steps + 1)]
        phase += way * steps
    board.edges(now + 10 * np.arange(1, steps + 1), np.array(pins, np.uint8))
    now += len(data) * 40 + chance.choice((10, 1000, 300000))
    if chance.random() < 0.002:
        board.power(now, chance.choice((1, 2, 4, 8)))
    if chance.random() < 0.05:
        board.sent(); board.signals()
board.receive(now, b"\\0" + to_wire(Greet(PROTOCOL, 0xABCDEF)))
board.run(now + 100000)
answers = [from_wire(data[:-1]) for _, data in board.sent()]
assert any(isinstance(a, BoardInfo) and a.nonce == 0xABCDEF for a in answers), answers
print("answered after", said)
"""


def fuzz(seed: int, size: int) -> str:
    native.build()
    find = ["gcc", "-print-file-name=libasan.so"], ["gcc", "-print-file-name=libubsan.so"]
    preload = " ".join(subprocess.run(one, capture_output=True, text=True, check=True).stdout.strip() for one in find)
    environment = os.environ | {"LD_PRELOAD": preload, "ASAN_OPTIONS": "detect_leaks=0"}
    done = subprocess.run(
        [sys.executable, "-c", FUZZ, str(FIRMWARE.parent / "tests"), str(seed), str(size)],
        capture_output=True, text=True, env=environment, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


@pytest.mark.parametrize("seed", [1, 2])
def test_noise_and_nonsense_do_no_harm_and_a_greeting_is_answered_afterwards(seed: int) -> None:
    assert "answered" in fuzz(seed, FUZZ_BYTES)


@pytest.mark.long
def test_ten_million_bytes_of_noise_and_nonsense() -> None:
    assert "answered" in fuzz(int(os.environ.get("LATCHLINE_SEED", "9")), 10_000_000)


# ---- checkpoint -------------------------------------------------------------------------------------------


def knitted(passes: int) -> tuple[native.NativeBoard, Story, int]:
    """At the very edge at which the last of so many passes is done; the story goes on for as long as writing takes."""
    bed = scripts.BANK
    plan = plan_of(bed, passes=passes + 2)
    story = Story(bed, place=20).power().say(b"\0", Greet(PROTOCOL, 7), bed, plan).walk(bed.left_sensor - 3)
    for number in range(1, passes + 1):
        story.say(scripts.masked(plan, number, number % 2))
        story.walk(plan.right_line + 1 if number % 2 else plan.left_line - 1, 700).wait(80_000)
        story.say(Seen(plan.fingerprint, number), pause_us=0)
    board = native.NativeBoard()
    for at_us, event in story.events[:-1]:
        match event:
            case _ if hasattr(event, "cause"):
                board.power(at_us, event.cause)
            case _ if hasattr(event, "data"):
                board.receive(at_us, event.data)
            case _:
                board.edges(event.at_us, event.pins)
    return board, story, plan.fingerprint


def checkpoint_after_start(memory: bytes, at_us: int = 0) -> Checkpoint:
    board = native.NativeBoard()
    board.memory = memory
    board.power(at_us, 1)
    board.receive(at_us + 10_000, b"\0" + to_wire(Greet(PROTOCOL, 1)) + to_wire(Ask(2)))
    board.run(at_us + 30_000)
    return next(message for message in heard(board) if isinstance(message, Checkpoint))


SLOTS, SLOT_BYTES = 60, 16  # docs/protocol.md, section 12


@pytest.mark.parametrize("laps", [3, 62], ids=["on new memory", "over an older lap"])
def test_a_slot_torn_at_any_byte_leaves_the_checkpoint_before_it(laps: int) -> None:
    """Each byte of the slot in the order in which they are written, and for the one that the cut catches, any value."""
    board, story, fingerprint = knitted(laps)
    known = [board.memory]
    order: list[int] = []
    for now_us in range(story.now_us - 82_000, story.now_us + 20_000, 1000):
        board.run(now_us)
        known.append(board.memory)
        order += [place for place, (was, now) in enumerate(zip(*known[-2:], strict=True)) if was != now]
    before, new = known[0], known[-1]
    slot = (laps - 1) % SLOTS * SLOT_BYTES
    assert {place // SLOT_BYTES * SLOT_BYTES for place in order} == {slot}
    assert order[-1] in (slot, slot + 1)  # the sequence
    previous = Checkpoint(1, fingerprint, laps - 1, laps - 1)
    for step, place in enumerate(order):
        old, meant = before[place], new[place]
        for torn in {0, 0xFF, 0x55, old, old & meant, meant ^ 1, meant ^ 0x80} - {meant}:
            memory = bytearray(before)
            for earlier in order[:step]:
                memory[earlier] = new[earlier]
            memory[place] = torn
            assert checkpoint_after_start(bytes(memory)) == previous, (step, torn)
    assert checkpoint_after_start(new) == Checkpoint(1, fingerprint, laps, laps)


def test_a_checkpoint_survives_the_wrap_of_its_sequence() -> None:
    memory = bytearray(b"\xff" * 1024)
    for slot, sequence in enumerate((0xFFFE, 0xFFFF, 0, 1)):
        record = b"".join(
            number.to_bytes(width, "little") for number, width in ((sequence, 2), (9, 4), (7, 4), (slot + 1, 4))
        )
        memory[slot * 16 : slot * 16 + 16] = record + binascii.crc_hqx(record, 0xFFFF).to_bytes(2, "little")
    assert checkpoint_after_start(bytes(memory)) == Checkpoint(1, 9, 4, 1, 7)


def test_new_memory_has_no_checkpoint_and_a_first_start() -> None:
    assert checkpoint_after_start(b"\xff" * 1024) == Checkpoint(0, 0, 0, 0)


# ---- static analysis ----------------------------------------------------------------------------------------


@pytest.mark.skipif(bool(lacking("cppcheck")), reason="there is no cppcheck")
def test_static_analysis_finds_nothing() -> None:
    done = subprocess.run(["make", "-C", str(FIRMWARE), "cppcheck"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
