"""What the tests and `make bench` measure on the emulated chip. Emulated figures, not measured on hardware."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from typing import Any

import numpy as np
from firmware.motion import FINGERPRINT, Bench, edge_cycles, widest

from boards import chip
from boards.compiled import BUILD
from latchline.link.messages import Ask, Counts, Done, Fault, Pass, Status, to_wire

FULL_LINE = to_wire(Pass(9, 1, 1, bytes(range(1, 33))))  # of another plan: taken in whole, then dropped as stale


@dataclass(frozen=True)
class Latency:
    median: int
    worst: int
    latches: int


def latency(speed_m_s: float = 2.0, full_line: bool = True) -> Latency:
    """Cycles from each edge that switches to the latched register, over a pass of 200 needles."""
    bench = Bench(widest())
    if full_line:
        bench.saturate(FULL_LINE, 1.5)
    _, applied = bench.walk(bench.right_line + 3, edge_cycles(bench.bed, 4.5, speed_m_s))
    bench.wait_ms(20)
    latched, _ = bench.chip.latches()
    edges = applied[np.searchsorted(applied, latched, side="right") - 1]
    late = (latched - edges).astype(int)
    assert bench.chip.count("collisions") == 0
    return Latency(int(np.median(late)), int(late.max()), len(late))


@dataclass(frozen=True)
class Rate:
    """What became of a second of edges at one rate with the line full."""

    edges_lost: int
    bytes_lost: int
    frames_lost: int
    fault: int
    watchdog_resets: int

    @property
    def nothing_lost(self) -> bool:
        return self == Rate(0, 0, 0, 0, 0)


def rate(edges_a_second: int, seconds: float = 0.5, full_line: bool = True) -> Rate:
    """Position kept on a long bed, the carriage turning with a short rest, frames coming without a gap."""
    bed = widest(needles=255, edges_per_needle=16, left_sensor=-960, right_sensor=5100, advance_max=60)
    bench = Bench(bed, passes=0)
    bench.say(b"\0", Ask(1))
    before = [message for message in bench.answers() if isinstance(message, Counts)][-1]
    said = bench.saturate(FULL_LINE, seconds + 0.05) if full_line else 0
    walked = 0
    ends = (bench.left_line - 20, bed.left_sensor + 40)
    while walked < edges_a_second * seconds:
        to = ends[0] if bench.place < sum(ends) // 2 else ends[1]
        walked += abs(to - bench.place)
        bench.walk(to, 16e6 / edges_a_second)
        bench.wait_ms(1)
    bench.wait_ms(400)
    bench.answers()
    bench.say(b"\0", Ask(1), Ask(0))
    answers = bench.answers()
    counts = [message for message in answers if isinstance(message, Counts)]
    status = [message for message in answers if isinstance(message, Status)]
    resets = bench.chip.count("watchdog_resets")
    if not counts or not status:
        return Rate(walked, 0, said, 0, resets)
    lost = abs(status[-1].position - bench.place) + abs(counts[-1].edges - before.edges - walked)
    return Rate(lost, counts[-1].overruns, said - counts[-1].stale, status[-1].fault, resets)


@dataclass(frozen=True)
class PassRate:
    fault: int
    digest_right: bool
    coils_off_after_fault: bool


def pass_rate(edges_a_second: int, full_line: bool = True, **changes: Any) -> PassRate:
    """A pass at this rate, advance short enough not to be called too fast."""
    bench = Bench(widest(advance=1, **changes))
    if full_line:
        bench.saturate(FULL_LINE, 1.0)
    bench.walk(bench.right_line + 3, 16e6 / edges_a_second)
    bench.wait_ms(60)
    answers = bench.answers()
    faults = [message.fault for message in answers if isinstance(message, Fault)]
    done = [message for message in answers if isinstance(message, Done)]
    right = bool(done) and done[0].digest == digest_of(bench)
    signals = bench.chip.signals()
    return PassRate(faults[0] if faults else 0, right, not faults or not bool(signals.enabled[-1]))


def digest_of(bench: Bench) -> int:
    from latchline.link.frames import crc16

    mask = sum(1 << needle for needle in range(bench.bed.needles) if bench.needles(needle))
    return crc16(FINGERPRINT.to_bytes(4, "little") + (1).to_bytes(4, "little") + mask.to_bytes(32, "little"))


@dataclass(frozen=True)
class Knitted:
    digest: int
    registers: tuple[int, ...]
    edges: int


def knitted_by(image: str) -> Knitted:
    """What one pass with this image latches, at 1 m/s and with the carriage backing up once."""
    chip.build()
    bench = Bench(widest(), image=image)
    cycles = edge_cycles(bench.bed, 4.5, 1.0)
    bench.walk(bench.right_line // 2, cycles)
    bench.walk(bench.place - 5, cycles)
    bench.walk(bench.right_line + 3, cycles)
    bench.say(Ask(1))
    answers = bench.answers()
    done = next(message for message in answers if isinstance(message, Done))
    counts = next(message for message in answers if isinstance(message, Counts))
    return Knitted(done.digest, tuple(bench.chip.latches()[1].tolist()), counts.edges)


# ---- memory -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sizes:
    flash: int
    static_ram: int


def sizes() -> Sizes:
    chip.build()
    text = subprocess.run(["avr-size", str(BUILD / "latchline.elf")], capture_output=True, text=True, check=True).stdout
    code, data, bss = (int(number) for number in text.splitlines()[1].split()[:3])
    return Sizes(code + data, data + bss)


def stack_bound() -> tuple[int, dict[str, int]]:
    """Most bytes of stack that any path through the disassembly can use, interrupts nested as they may be.

    Each function: what it pushes, its frame, two bytes for a return address and the most that it calls.
    The beat's interrupt lets others in; no other does. So the worst case is the main program, the beat's
    interrupt and the hungriest of the others. No call is indirect.
    """
    text = (BUILD / "latchline.lst").read_text()
    functions: dict[str, tuple[int, set[str]]] = {}
    for block in re.split(r"\n(?=[0-9a-f]{8} <)", text):
        head = re.match(r"[0-9a-f]{8} <([^>]+)>:", block)
        if not head:
            continue
        name = head[1]
        pushes = len(re.findall(r"\tpush\t", block))
        frame = 0
        grown = re.search(
            r"in\tr28, 0x3d.*\n.*in\tr29, 0x3e.*\n.*(?:sbiw\tr28, (0x[0-9a-f]+)|subi\tr28, (0x[0-9A-F]+).*\n.*sbci\tr29, (0x[0-9A-F]+))",
            block,
        )
        if grown:
            frame = int(grown[1], 16) if grown[1] else 256 * int(grown[3], 16) + int(grown[2], 16)
        calls = set(re.findall(r"\t(?:r?call|r?jmp)\t.*<([A-Za-z_.0-9]+)(?:\+0x[0-9a-f]+)?>", block)) - {name}
        assert not re.search(r"\te?icall", block), name
        functions[name] = (pushes + frame, calls)

    def depth(name: str, path: tuple[str, ...] = ()) -> int:
        if name in path or name not in functions:
            return 0
        own, calls = functions[name]
        return own + max((depth(call, (*path, name)) + 2 for call in calls), default=0)

    vectors = {name: depth(name) + 2 for name in functions if name.startswith("__vector_") and name[9:].isdigit()}
    beat = vectors.pop("__vector_14")
    return depth("main") + 2 + beat + max(vectors.values()), {"main": depth("main"), "beat": beat, **vectors}


def stack_painted() -> int:
    """Most bytes of stack that a busy chip was seen to use: RAM is painted, a pass knitted with the line full, a
    power cut and a fault lived through, and the paint looked at."""
    bench = Bench(widest(), passes=4)
    data = bench.chip.data
    end = 0x100 + sizes().static_ram
    pointer = data[0x5D] | data[0x5E] << 8
    for at in range(end, pointer - 64):
        data[at] = 0xC5
    for kind in (Ask(0), Ask(1), Ask(2), Ask(3)):
        bench.saturate(FULL_LINE + to_wire(kind), 0.4)
        bench.walk(bench.right_line + 3 if bench.place < 400 else bench.left_line - 3, 9000)
        bench.wait_ms(80)
    bench.saturate(FULL_LINE, 0.3)
    bench.walk(bench.right_line // 2, 3000)
    bench.walk(bench.left_line - 3, 500)
    bench.wait_ms(300)
    deepest = next(at for at in range(end, 0x900) if data[at] != 0xC5)
    return 0x900 - deepest
