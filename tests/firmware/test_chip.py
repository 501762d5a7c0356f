"""The chip's own image under an emulator: speed, size, and what it does when things go wrong. Emulated figures."""

from __future__ import annotations

import csv
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conformance.story import BEAT_TAKES_US
from firmware.motion import CYCLES_A_SECOND, Bench, edge_cycles, widest

from boards import chip
from boards.compiled import FIRMWARE
from firmware import measure
from latchline.link.messages import PROTOCOL, Ask, BoardInfo, Checkpoint, Done, Fault, Greet, Status, from_wire, to_wire
from latchline.machine.profile import load_profile

pytestmark = [pytest.mark.chip, pytest.mark.skipif(bool(chip.missing()), reason=f"there is no {chip.missing()}")]

FLASH_MOST = 24 * 1024
RAM_MOST = 1960
LATENCY_MOST = 128
LATENCY_MEDIAN = 32


def test_image_and_memory_leave_room() -> None:
    sizes = measure.sizes()
    bound, _ = measure.stack_bound()
    assert sizes.flash <= FLASH_MOST
    assert sizes.static_ram + bound <= RAM_MOST


def test_the_table_of_sizes_ends_with_this_image() -> None:
    """A change that moves them adds a row to firmware/sizes.csv, or mends the last one if that is its own."""
    with (FIRMWARE / "sizes.csv").open(newline="") as file:
        last = list(csv.DictReader(file))[-1]
    sizes, (bound, _) = measure.sizes(), measure.stack_bound()
    assert {"flash": sizes.flash, "static_ram": sizes.static_ram, "stack": bound} == {
        name: int(last[name]) for name in ("flash", "static_ram", "stack")
    }


def test_the_stack_seen_is_within_the_bound_from_the_disassembly_and_near_it() -> None:
    bound, _ = measure.stack_bound()
    painted = measure.stack_painted()
    assert painted <= bound <= painted + 64


@pytest.mark.parametrize("full_line", [False, True], ids=["line idle", "line full"])
def test_a_selector_is_latched_within_two_microseconds_of_its_edge_and_eight_at_worst(full_line: bool) -> None:
    latency = measure.latency(2.0, full_line)
    assert latency.latches == 200
    assert latency.worst <= LATENCY_MOST
    assert latency.median <= LATENCY_MEDIAN


@pytest.mark.parametrize(
    ("edges_a_second", "full_line"), [(1_333, True), (20_000, True), (60_000, True), (90_000, True), (100_000, False)]
)
def test_no_edge_and_no_byte_is_lost(edges_a_second: int, full_line: bool) -> None:
    assert measure.rate(edges_a_second, full_line=full_line).nothing_lost


@pytest.mark.parametrize(("edges_a_second", "full_line"), [(1_333, True), (7_000, True), (9_000, False)])
def test_a_pass_is_knitted_right_at_several_times_a_hand_s_speed(edges_a_second: int, full_line: bool) -> None:
    assert measure.pass_rate(edges_a_second, full_line) == measure.PassRate(0, True, True)


@pytest.mark.parametrize(("edges_a_second", "full_line"), [(7_000, True), (8_500, False)])
def test_a_sensor_amid_the_bed_slows_no_pass_down(edges_a_second: int, full_line: bool) -> None:
    told = measure.pass_rate(edges_a_second, full_line, middle_left=390, middle_right=402)
    assert told == measure.PassRate(0, True, True)


@pytest.mark.parametrize("edges_a_second", [4_000, 8_000, 15_000, 30_000, 60_000, 90_000])
def test_a_pass_too_fast_to_follow_ends_in_a_named_fault_and_coils_off(edges_a_second: int) -> None:
    """Or it is knitted right; nothing between."""
    told = measure.pass_rate(edges_a_second)
    assert told.digest_right != bool(told.fault)
    assert told.coils_off_after_fault


def paces(name: str, edges: int, slow: float, fast: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    match name:
        case "slow":
            return np.full(edges, slow)
        case "fast":
            return np.full(edges, fast)
        case "speeding up":
            return np.geomspace(slow, fast, edges)
        case "slowing down":
            return np.geomspace(fast, slow, edges)
    wave = 0.5 + 0.5 * np.cos(np.arange(edges) / edges * 4 * np.pi)
    return 1 / ((1 - wave) / fast + wave / slow)


@pytest.mark.parametrize("profile", ["standard-200", "chunky-112"])
@pytest.mark.parametrize("pace", ["slow", "fast", "speeding up", "slowing down", "fast and slow in turn"])
def test_each_coil_is_on_its_advance_before_its_needle_and_not_an_edge_more(profile: str, pace: str) -> None:
    """From 0.05 to 2 m/s, or to the profile's highest speed where one selector serves every needle. A coil is
    switched as many edges ahead of its needle as the bed says, at any speed."""
    machine = load_profile(profile)
    bed = widest(profile, limit_ms=2000)
    step = bed.count if bed.layout_kind == 1 else 3
    bench = Bench(bed, needles=lambda needle: needle % step == 1)
    edges = bench.right_line + 3 - bench.place
    fastest = 2.0 if bed.layout_kind == 1 else machine.speed_max_m_s
    slow, fast = (edge_cycles(bed, machine.pitch_mm, speed) for speed in (0.05, fastest))
    cycles = paces(pace, edges, slow, fast)
    places, applied = bench.walk(bench.right_line + 3, cycles)
    bench.wait_ms(300)
    assert [message.digest for message in bench.answers() if isinstance(message, Done)][:1] == [
        measure.digest_of(bench)
    ]
    latched, coils = bench.chip.latches()
    at = dict(zip(places.tolist(), applied.tolist(), strict=True))
    selectors = machine.selectors
    act = (selectors.pull_in_ms + selectors.mechanical_ms) * CYCLES_A_SECOND / 1000
    checked = 0
    for needle in range(bed.needles):
        point = needle * bed.edges_per_needle - bed.lead_rightward
        if needle % step != 1 or point - bed.advance_max <= bench.left_line:
            continue
        coil = needle % bed.count if bed.layout_kind == 1 else 0
        before = (latched <= at[point]) & (coils >> coil & 1 == 1)
        rising = np.flatnonzero(before & ~np.roll(before, 1))
        switched = int(latched[rising[-1]])
        edge = max(place for place, cycle in at.items() if cycle <= switched)
        assert edge == point - bed.advance_max, (needle, edge)
        assert at[point] - switched >= act, needle
        checked += 1
    assert checked >= bed.needles // step - 3


# ---- coils off ------------------------------------------------------------------------------------------


def under_way(**changes: Any) -> Bench:
    """Standing still in the middle of a pass with coils on."""
    bench = Bench(widest(**changes))
    bench.walk(300, 16_000)
    assert bench.chip.signals().register[-1] != 0
    return bench


def longest_on_us(bench: Bench) -> int:
    """The longest time for which any coil was on, outputs enabled, since the last look."""
    signals = bench.chip.signals()
    longest = 0
    for coil in range(16):
        on = (signals.register >> coil & 1 == 1) & signals.enabled
        since = None
        for at_us, state in zip(signals.at_us.tolist(), on.tolist(), strict=True):
            if state and since is None:
                since = at_us
            elif not state and since is not None:
                longest, since = max(longest, at_us - since), None
        if since is not None:
            longest = max(longest, bench.now_us - since)
    return longest


@pytest.mark.parametrize("limit_ms", [5, 50, 250])
@pytest.mark.parametrize("blocked", [False, True], ids=["main loop running", "main loop blocked"])
def test_no_coil_is_on_longer_than_its_limit(limit_ms: int, blocked: bool) -> None:
    bench = Bench(widest(limit_ms=limit_ms))
    bench.walk(300, 16_000)
    if blocked:
        bench.chip.block_main_loop()
    bench.wait_ms(1000)
    assert 0 < longest_on_us(bench) <= limit_ms * 1000 + BEAT_TAKES_US
    assert bench.chip.count("watchdog_resets") == int(blocked)


def test_a_blocked_main_loop_ends_in_a_watchdog_reset_that_is_told() -> None:
    bench = under_way(limit_ms=2000)
    bench.chip.sent()
    bench.chip.block_main_loop()
    bench.wait_ms(400)
    assert not bench.chip.signals().enabled[-1]
    assert [message.reset_cause for message in bench.answers() if isinstance(message, BoardInfo)] == [8]


def test_edges_during_a_blocked_main_loop_drive_no_needle_in_silence() -> None:
    bench = under_way(limit_ms=2000)
    bench.chip.block_main_loop()
    bench.walk(300 + 100, 16_000)
    bench.wait_ms(600)
    signals = bench.chip.signals()
    assert not signals.enabled[-1]
    assert not [message for message in bench.answers() if isinstance(message, Done)]


@pytest.mark.parametrize("cause", [1, 2, 4, 8])
def test_a_reset_switches_off_within_one_beat_whatever_its_cause(cause: int) -> None:
    bench = under_way()
    bench.chip.signals()
    at_us = bench.now_us + 1
    bench.chip.power(at_us, cause)
    bench.chip.run(at_us + 1000)
    signals = bench.chip.signals()
    on = (signals.register != 0) & signals.enabled & (signals.at_us >= at_us)
    assert not on.any()
    bench.chip.run(at_us + 30_000)
    assert [message.reset_cause for message in bench.answers() if isinstance(message, BoardInfo)][-1] == cause


def test_a_silent_host_switches_off_a_beat_after_its_patience() -> None:
    bench = Bench(widest(limit_ms=2000, patience_ms=500))
    heard_us = bench.now_us
    bench.walk(60, 8_000)
    bench.wait_ms(700)
    signals = bench.chip.signals()
    off_us = int(signals.at_us[np.flatnonzero(signals.enabled)[-1] + 1])
    assert off_us - heard_us <= 502_000
    assert [message.fault for message in bench.answers() if isinstance(message, Fault)][-1] == 9


def test_a_lost_position_switches_off_within_one_beat() -> None:
    bench = under_way()
    bench.chip.signals()
    at_us = bench.now_us + 200
    last = int(bench.pins(np.array([bench.place]))[0])
    bench.chip.edges(np.array([at_us]), np.array([last ^ 3], np.uint8))
    bench.chip.run(at_us + 1000)
    signals = bench.chip.signals()
    assert signals.at_us[-1] - at_us <= 1000
    assert signals.register[-1] == 0
    assert not signals.enabled[-1]


def test_outputs_stay_disabled_until_a_pass_is_armed() -> None:
    bench = Bench(widest(), passes=0)
    bench.wait_ms(100)
    assert not bench.chip.signals().enabled.any()
    assert [message.armed for message in bench.answers() if isinstance(message, Status)][-1] == 0


def test_sixteen_passes_of_two_hundred_needles_are_loaded_ahead() -> None:
    bench = Bench(widest(), passes=16)
    assert [message.received for message in bench.answers() if isinstance(message, Status)][-1] == 16


# ---- checkpoint -------------------------------------------------------------------------------------------


def second_pass_done() -> Bench:
    """The first checkpoint whole, the second about to be written."""
    bench = Bench(widest(needles=8, right_sensor=120, advance=1000, advance_max=12), passes=2)
    bench.walk(bench.right_line + 3, 12_000)
    bench.wait_ms(100)
    bench.walk(bench.left_line, 12_000)
    return bench


def told_after_power_cut(bench: Bench, cycle: int, torn: int) -> tuple[int, int]:
    """Power cut at this cycle, byte in the making spoilt; (valid, done) of the checkpoint that the next start finds."""
    bench.chip.tear_with(torn)
    bench.chip.run_to_cycle(cycle)
    memory = bytearray()
    bench.chip.power(bench.chip.own.chip_cycle(bench.chip.face) // 16 + 1, 1)
    memory += bench.chip.memory
    fresh = chip.ChipBoard(chosen=None)
    fresh.memory = bytes(memory)
    fresh.power(0, 1)
    fresh.receive(20_000, b"\0" + to_wire(Greet(PROTOCOL, 1)) + to_wire(Ask(2)))
    fresh.run(30_000)
    told = [from_wire(data[:-1]) for _, data in fresh.sent()]
    found = next(message for message in told if isinstance(message, Checkpoint))
    return found.valid, found.done


def steps_of_writing() -> list[int]:
    """Every cycle at which the writing of a checkpoint begins or ends a byte."""
    bench = second_pass_done()
    steps, burning = [], bench.chip.count("burned")
    busy = False
    start = bench.chip.own.chip_cycle(bench.chip.face)
    for cycle in range(start, start + 70 * 16_000, 50):
        bench.chip.run_to_cycle(cycle)
        now_busy = bool(bench.chip.data[0x3F] & 2)
        if now_busy != busy or bench.chip.count("burned") != burning:
            steps.append(cycle)
            busy, burning = now_busy, bench.chip.count("burned")
    return steps


def test_a_power_cut_at_any_step_of_writing_leaves_the_last_whole_checkpoint() -> None:
    """Just before and after each byte begins and ends, and in its middle; the byte in the making all ones or zeros."""
    steps = steps_of_writing()
    assert 2 * 4 <= len(steps) <= 2 * 16
    found = set()
    for at, (begin, end) in enumerate(zip(steps[::2], steps[1::2], strict=True)):
        last = at == len(steps) // 2 - 1
        for cycle in (begin - 100, begin + 10, (begin + end) // 2, end - 60, end + 60):
            for torn in (0xFF, 0x00):
                valid, done = told_after_power_cut(second_pass_done(), cycle, torn)
                assert valid == 1
                # the last byte is the sequence's high one, a zero: spoilt to zero it is as it should be
                whole = last and (cycle > end or (torn == 0 and cycle > begin))
                assert done == (2 if whole else 1), (at, cycle, torn)
                found.add(done)
    assert found == {1, 2}


# ---- building -----------------------------------------------------------------------------------------------


def test_the_edge_interrupt_in_c_does_what_the_one_by_hand_does() -> None:
    """The C path is the rule, the assembly an optimisation; the image with the former knits the same pass."""
    by_hand, in_c = (measure.knitted_by(image) for image in ("latchline.elf", "interrupts-in-c.elf"))
    assert in_c.digest == by_hand.digest
    assert in_c.registers == by_hand.registers
    assert in_c.edges == by_hand.edges


@pytest.mark.parametrize("chip_name", ["atmega2560", "atmega32u4"])
def test_building_for_another_chip_stops_with_one_plain_sentence(chip_name: str) -> None:
    for source in sorted((FIRMWARE / "latchline" / "src").rglob("*.c")):
        switches = ["-c", "-Os", "-w", "-std=gnu11", f"-mmcu={chip_name}", "-DF_CPU=16000000L", "-o", "/dev/null"]
        done = subprocess.run(["avr-gcc", *switches, str(source)], capture_output=True, text=True, check=False)
        errors = [line for line in done.stderr.splitlines() if "error:" in line]
        if source.parent.name == "core":
            assert errors == []
        else:
            assert len(errors) == 1
            assert "This firmware is for the ATmega328P alone" in errors[0]


def test_the_sketch_builds_by_the_usual_recipe_of_a_hobby_ide_too(tmp_path: Path) -> None:
    """Such an IDE compiles a sketch folder's sources one by one, with its own switches and a core library whose
    `main` is left out when the sketch has one."""
    switches = [
        "-c",
        "-g",
        "-Os",
        "-w",
        "-std=gnu11",
        "-ffunction-sections",
        "-fdata-sections",
        "-flto",
        "-fno-fat-lto-objects",
    ]
    chip_switches = ["-mmcu=atmega328p", "-DF_CPU=16000000L", "-DARDUINO=10819"]
    objects = []
    for source in sorted((FIRMWARE / "latchline" / "src").rglob("*.c")):
        objects.append(str(tmp_path / f"{source.stem}.o"))
        subprocess.run(["avr-gcc", *switches, *chip_switches, str(source), "-o", objects[-1]], check=True)
    image = tmp_path / "sketch.elf"
    link = ["avr-gcc", "-Os", "-g", "-flto", "-fuse-linker-plugin", "-Wl,--gc-sections", *chip_switches[:1]]
    subprocess.run([*link, *objects, "-o", str(image), "-lm"], check=True)
    size = subprocess.run(["avr-size", str(image)], capture_output=True, text=True, check=True).stdout.splitlines()[1]
    code, data, bss = (int(number) for number in size.split()[:3])
    assert 8_000 < code + data < 32_256  # what a boot loader of 512 bytes leaves
    assert data + bss <= RAM_MOST
    lines = (FIRMWARE / "latchline" / "latchline.ino").read_text().splitlines()
    assert all(line.startswith("//") for line in lines if line)
