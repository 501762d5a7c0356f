"""Stories written by hand, one for each rule of docs/protocol.md that a board could get wrong."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable

from conformance.story import Story, plan_of, unmistakable

from latchline.link.messages import (
    PROTOCOL,
    Ask,
    Bed,
    Buzz,
    Clear,
    Greet,
    Pass,
    Pause,
    PlanStart,
    Probe,
    Seen,
    Stop,
    to_wire,
)  # fmt: skip

BANK = Bed(
    needles=40, edges_per_needle=4, left_sensor=-48, right_sensor=204, tolerance=2, backing=32, layout_kind=1,
    count=16, lead_leftward=8, lead_rightward=8, advance=1300, advance_max=12, hold=1, limit_ms=250, active_low=0,
    patience_ms=45_000, supply_min=0, current_max=0,
)  # fmt: skip
CARRIAGE = dataclasses.replace(BANK, layout_kind=0, count=1, edges_per_needle=8, left_sensor=-64, right_sensor=380,
                               lead_leftward=0, lead_rightward=0, advance=700, advance_max=6)  # fmt: skip


def masked(plan: PlanStart, number: int, direction: int, needles: Callable[[int], bool] = lambda n: n % 3 != 1) -> Pass:
    bits = sum(1 << n for n in range(plan.first_needle, plan.last_needle + 1) if needles(n + number))
    return Pass(plan.fingerprint, number, direction, bits.to_bytes(32, "little"))


def begun(bed: Bed = BANK, passes: int = 4, **options: int) -> tuple[Story, PlanStart]:
    """Greeted, bed and plan given, all passes loaded, rightward first, and the carriage at the left end."""
    plan = plan_of(bed, passes=passes)
    story = Story(bed, place=20).power().say(b"\0", Greet(PROTOCOL, 7), bed, plan)
    for number in range(1, passes + 1):
        story.say(masked(plan, number, number % 2))
    return story.walk(bed.left_sensor - 3), plan


def to_and_fro(story: Story, plan: PlanStart, passes: int, edge_us: int = 1100) -> Story:
    for number in range(passes):
        story.walk(plan.right_line + 3 if number % 2 == 0 else plan.left_line - 3, edge_us).wait(70_000)
    return story


def plain() -> Story:
    story, plan = begun()
    return to_and_fro(story, plan, 4).say(Ask(1), Ask(2), Ask(3), Ask(0))


def one_selector_on_the_carriage() -> Story:
    story, plan = begun(CARRIAGE)
    return to_and_fro(story, plan, 4)


def two_selectors_on_the_carriage() -> Story:
    bed = dataclasses.replace(CARRIAGE, count=2, lead_leftward=-5, lead_rightward=9)
    story, plan = begun(bed)
    return to_and_fro(story, plan, 4, 1300)


def coils_that_select_when_off() -> Story:
    story, plan = begun(dataclasses.replace(BANK, active_low=1))
    return to_and_fro(story, plan, 2)


def three_selectors_and_a_long_hold() -> Story:
    bed = dataclasses.replace(BANK, count=3, edges_per_needle=5, right_sensor=260, advance=500, advance_max=4, hold=9)
    story, plan = begun(bed)
    return to_and_fro(story, plan, 3)


def backing_up_within_bounds() -> Story:
    story, plan = begun()
    story.walk(40, 900).walk(22, 1500).walk(60, 1200).walk(59).walk(61)
    return to_and_fro(story, plan, 2)


def turned_early() -> Story:
    story, plan = begun()
    story.walk(90).walk(90 - 40).wait(10_000).say(Clear(3), Clear(6)).walk(plan.left_line - 4)
    return to_and_fro(story, plan, 2)


def back_behind_the_start_line() -> Story:
    story, plan = begun()
    story.walk(plan.left_line + 9).walk(plan.left_line - 5).wait(5000)
    return to_and_fro(story, plan, 2)


def speeds_up_and_slows_down() -> Story:
    story, plan = begun()
    width = plan.right_line + 3 - story.place
    story.walk(
        plan.right_line + 3, [unmistakable(5000 - 40 * min(edge, 100), BANK.advance) for edge in range(width)]
    ).wait(40_000)
    width = story.place - plan.left_line + 3
    return story.walk(plan.left_line - 3, [unmistakable(900 + 31 * edge, BANK.advance) for edge in range(width)])


def too_fast() -> Story:
    story, plan = begun()
    story.walk(60, 1000).walk(120, 300).wait(20_000).say(Clear(4))
    return story.walk(plan.left_line - 4, 700).wait(1000)


def stands_still_on_a_coil() -> Story:
    story, plan = begun()
    story.walk(61).wait(700_000).walk(66, 40_000).walk(plan.right_line + 3, 1300)
    return story


def stands_still_and_goes_on_at_once() -> Story:
    story, _plan = begun()
    for stop in range(50, 66):
        story.walk(stop, 900).wait(300_163).walk(stop + 1, 700)
    return story.wait(20_000).say(Clear(7))


def not_loaded() -> Story:
    plan = plan_of(BANK)
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan).walk(BANK.left_sensor - 3)
    story.wait(1_200_000).walk(80).wait(2_300_000).say(Clear(5), masked(plan, 1, 1)).walk(plan.left_line - 5)
    return to_and_fro(story, plan, 1)


def loaded_for_the_other_direction() -> Story:
    plan = plan_of(BANK)
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan, masked(plan, 1, 0))
    return story.walk(BANK.left_sensor - 3).walk(80).wait(5000).say(Ask(3), Clear(5)).walk(210).walk(-40)


def impossible_step() -> Story:
    story, _plan = begun()
    phase = story.walk(50).pins(story.place)
    story.show_pins(phase ^ 3).wait(20_000).say(Ask(3), Ask(1), Clear(1))
    return story.walk(120).walk(BANK.left_sensor - 3)


def edges_lost_on_the_way() -> Story:
    story, plan = begun()
    story.walk(plan.right_line + 2).slip(1).walk(BANK.right_sensor + 3).wait(10_000).say(Ask(0), Clear(2))
    return story.walk(plan.left_line - 3).walk(BANK.left_sensor - 2)


def a_small_correction() -> Story:
    bed = dataclasses.replace(BANK, tolerance=6)
    story, plan = begun(bed)
    story.walk(plan.right_line + 2).slip(1).walk(bed.right_sensor + 3).wait(10_000)
    return story.walk(plan.left_line - 8).say(Ask(0))


def both_sensors() -> Story:
    story, _plan = begun()
    phase = story.walk(50).pins(story.place) & 3
    return story.show_pins(phase ^ 1).say(Ask(3)).wait(50_000)


def off_the_bed() -> Story:
    story, _plan = begun()
    return story.walk(BANK.left_sensor - 64 * 4 - 9, 700).wait(5000).say(Ask(0), Clear(14)).walk(-10, 700)


def frames_lost_repeated_late_and_damaged() -> Story:
    plan = plan_of(BANK, passes=6)
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan)
    passes = [masked(plan, number, number % 2) for number in range(1, 7)]
    damaged = bytearray(to_wire(passes[2]))
    damaged[9] ^= 0x10
    stranger = dataclasses.replace(passes[2], fingerprint=1)
    outside = dataclasses.replace(passes[2], mask=b"\xff" * 32)
    sideways = dataclasses.replace(passes[2], direction=2)
    story.say(passes[1], passes[0], passes[0], passes[1], bytes(damaged), stranger, outside, sideways, passes[3])
    story.say(b"\0\0\0", b"\x01\x02\x03\0", b"A" * 200 + b"\0", to_wire(Ask(0))[:-1], to_wire(Ask(0)), passes[2])
    return story.say(Ask(1), Ask(9), Ask(0)).walk(BANK.left_sensor - 3)


def more_passes_than_slots() -> Story:
    plan = plan_of(BANK, passes=40, span=(10, 14))
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan)
    for number in range(1, 40):
        story.say(masked(plan, number, number % 2), pause_us=200)
    story.walk(BANK.left_sensor - 3)
    to_and_fro(story, plan, 3).say(Seen(plan.fingerprint, 2), Seen(plan.fingerprint, 1), Seen(plan.fingerprint, 9))
    for number in range(15, 30):
        story.say(masked(plan, number, number % 2), pause_us=200)
    return to_and_fro(story, plan, 4)


def paused() -> Story:
    story, plan = begun()
    story.walk(60).say(Pause(1)).walk(plan.right_line + 3).wait(9000).walk(60).walk(plan.right_line + 3)
    return story.say(Pause(0)).walk(plan.left_line - 3).say(Pause(1), Pause(0), Pause(1)).wait(70_000).walk(60)


def stopped() -> Story:
    story, plan = begun()
    return story.walk(60).say(Stop()).walk(90).say(Ask(0), plan, masked(plan, 1, 1)).walk(plan.left_line - 3).walk(30)


def another_bed() -> Story:
    story, plan = begun()
    other = dataclasses.replace(BANK, hold=2)
    broken = (
        dataclasses.replace(BANK, hold=0),
        dataclasses.replace(BANK, limit_ms=4),
        dataclasses.replace(BANK, count=17),
    )
    story.say(BANK, Ask(0), *broken, Ask(0), other, Ask(0))
    return story.say(dataclasses.replace(plan, left_line=-90), dataclasses.replace(plan, fingerprint=0), Ask(0))


def another_version() -> Story:
    story = Story(BANK).power().say(b"\0", Greet(9, 1), BANK, Ask(0), Ask(1), Greet(PROTOCOL, 2), BANK, Ask(0))
    return story.wait(700_000).say(Ask(1)).wait(2_600_000).say(Ask(1)).wait(600_000)


def a_host_that_falls_silent() -> Story:
    story, _plan = begun(dataclasses.replace(BANK, patience_ms=300))
    return story.walk(60).wait(400_000).say(Ask(0), Ask(3), Clear(9)).wait(1_500_000)


def a_probe() -> Story:
    story = Story(BANK).power().say(b"\0", Greet(PROTOCOL, 7), Probe(1, 5), BANK)
    story.say(Probe(3, 40)).wait(60_000).say(Probe(16, 5), Probe(2, 0), Probe(0, 249)).wait(10_000)
    return story.say(Probe(1, 4), plan_of(BANK), Ask(0), Probe(1, 4), Stop(), Buzz(30)).wait(100_000).say(Buzz(0))


def power_comes_and_goes() -> Story:
    story, plan = begun()
    to_and_fro(story, plan, 1).wait(150_000)
    story.power(4).say(b"\0", Greet(PROTOCOL, 8), Ask(2), BANK, dataclasses.replace(plan, first=2), masked(plan, 2, 0))
    story.walk(BANK.right_sensor + 2).walk(plan.left_line - 3).wait(200_000).power(8)
    return story.say(b"\0", Greet(PROTOCOL, 9), Ask(2), Ask(1))


def many_checkpoints() -> Story:
    bed = dataclasses.replace(BANK, needles=8, right_sensor=80)
    plan = plan_of(bed, passes=100)
    story = Story(bed, place=20).power().say(b"\0", Greet(PROTOCOL, 7), bed, plan).walk(bed.left_sensor - 3)
    for number in range(1, 91):
        story.say(masked(plan, number, number % 2), pause_us=200)
        story.walk(plan.right_line + 1 if number % 2 else plan.left_line - 1, 700)
        story.say(Seen(plan.fingerprint, number), pause_us=200)
    return story.wait(100_000).power(1).say(b"\0", Greet(PROTOCOL, 9), Ask(2))


def turns_before_a_checkpoint_is_whole() -> Story:
    """Each pass begins a little later after the one before: sometimes as the last byte of its checkpoint burns in."""
    bed = dataclasses.replace(BANK, needles=8, right_sensor=80)
    plan = plan_of(bed, passes=100)
    story = Story(bed, place=20).power().say(b"\0", Greet(PROTOCOL, 7), bed, plan).walk(bed.left_sensor - 3)
    for number in range(1, 41):
        story.say(masked(plan, number, number % 2), pause_us=200).wait(900 * number)
        start, finish = (plan.left_line, plan.right_line) if number % 2 else (plan.right_line, plan.left_line)
        story.walk((start + finish) // 2, 700).say(Ask(2), pause_us=6000)
        story.walk(finish + (1 if number % 2 else -1), 700).say(Ask(2), Seen(plan.fingerprint, number), pause_us=200)
    return story.wait(100_000).power(1).say(b"\0", Greet(PROTOCOL, 9), Ask(2))


def the_widest_bed_that_is_accepted() -> Story:
    """Positions, leads and lines at the ends of what 16 bits and the protocol allow."""
    bed = dataclasses.replace(
        BANK, needles=255, edges_per_needle=16, left_sensor=-4096, right_sensor=8191, tolerance=255, backing=65_535,
        lead_leftward=-480, lead_rightward=480, advance=65_000, advance_max=200, hold=56, limit_ms=2000,
    )  # fmt: skip
    plan = PlanStart(0xFFFF_FFFF, 0xFFFF_FFFE, 0xFFFF_FFFF, -4090, 8180, 0, 254)
    story = Story(bed, place=-4000).power().say(b"\0", Greet(PROTOCOL, 7), bed, plan)
    for number in (0xFFFF_FFFE, 0xFFFF_FFFF):
        story.say(masked(plan, number, number & 1 ^ 1))
    pace = unmistakable(1432, bed.advance)
    story.walk(-4100, pace).walk(8195, pace).wait(70_000).walk(-4097, pace)
    return story.wait(70_000).say(Ask(1), Ask(2), Ask(3), Ask(0)).walk(-4096 - 1030, 700).say(Ask(0))


def noise(seed: int = 5) -> Story:
    chance = random.Random(seed)
    story, _plan = begun()
    story.say(*(chance.randbytes(chance.randint(1, 90)) for _ in range(60)), pause_us=100)
    return story.say(b"\0", Greet(PROTOCOL, 4), Ask(0))


STORIES = (
    plain, one_selector_on_the_carriage, two_selectors_on_the_carriage, coils_that_select_when_off,
    three_selectors_and_a_long_hold, backing_up_within_bounds, turned_early, back_behind_the_start_line,
    speeds_up_and_slows_down, too_fast, stands_still_on_a_coil, stands_still_and_goes_on_at_once, not_loaded,
    loaded_for_the_other_direction, impossible_step, edges_lost_on_the_way, a_small_correction, both_sensors,
    off_the_bed, frames_lost_repeated_late_and_damaged, more_passes_than_slots, paused, stopped, another_bed,
    another_version, a_host_that_falls_silent, a_probe, power_comes_and_goes, many_checkpoints,
    the_widest_bed_that_is_accepted, noise,
)  # fmt: skip
