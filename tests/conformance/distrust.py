"""Stories of sensors, encoders and hosts that lie, each with the faults that the board must name.

Whatever is told here ends in right needles or in a named fault with the coils off; `test_distrust.py` holds the
model board to that, and the three boards to one another.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

from conformance.scripts import BANK, CARRIAGE, begun, masked, to_and_fro
from conformance.story import Story, plan_of

from latchline.link.messages import PROTOCOL, Ask, Bed, Clear, Greet, Pause, Probe, Stop
from latchline.sim.face import PIN_A, PIN_B, PIN_LEFT, PIN_RIGHT

BRISK = dataclasses.replace(BANK, brisk=1200)
ONE_COIL = dataclasses.replace(CARRIAGE, brisk=1200)
LOOSE = dataclasses.replace(BANK, tolerance=6)
Told = tuple[Callable[[], Story], tuple[int, ...], int]  # story, faults in order, passes counted

EDGE_US = 1100


def off_at(pin: int, places: set[int]) -> Callable[[int, int], int]:
    return lambda place, pins: pins | pin if place in places else pins


def on_at(pin: int, places: set[int]) -> Callable[[int, int], int]:
    return lambda place, pins: pins & ~pin if place in places else pins


def back_at_the_left(story: Story, shown: Callable[[int, int], int], beyond: int = 20) -> Story:
    """One pass rightward, one leftward far past the left end sensor, and a third, rightward."""
    bed = story.bed
    story.walk(bed.right_sensor + 4, EDGE_US).wait(70_000).walk(0, EDGE_US)
    story.see(shown).walk(bed.left_sensor - beyond, EDGE_US).wait(70_000)
    return story.walk(bed.right_sensor + 4, EDGE_US)


# ---- end sensors --------------------------------------------------------------------------------


def a_sensor_that_bounces_after_it_has_told() -> Story:
    story, _ = begun(LOOSE)
    return back_at_the_left(story, off_at(PIN_LEFT, {-50, -51, -52, -53}))


def a_sensor_that_bounces_at_first_touch() -> Story:
    story, _ = begun(LOOSE)
    return back_at_the_left(story, off_at(PIN_LEFT, {-49, -50, -51, -52, -53}))


def a_sensor_that_chatters_at_every_other_edge() -> Story:
    story, _ = begun(LOOSE)
    return back_at_the_left(story, off_at(PIN_LEFT, set(range(-69, -48, 2))))


def a_sensor_that_bounces_when_the_place_is_not_known_yet() -> Story:
    plan = plan_of(BANK)
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan, masked(plan, 1, 1))
    story.see(off_at(PIN_LEFT, {-49, -50, -51, -52, -53})).walk(-60).wait(2000).say(Clear(17))
    return story.walk(0).see(lambda _, pins: pins).walk(-60).walk(BANK.right_sensor + 4, EDGE_US)


def a_place_lost_in_mid_bed_is_found_at_the_first_sensor() -> Story:
    """The carriage had turned at the very edge at which the sensor came on, and the count is two off since."""
    story, plan = begun()
    story.walk(plan.right_line + 3, EDGE_US).wait(70_000).walk(BANK.left_sensor, EDGE_US).wait(70_000).walk(60, EDGE_US)
    story.place += 2
    story.show_pins(story.pins(story.place)).wait(20_000).say(Clear(1), Ask(3))
    return story.walk(BANK.left_sensor - 3, EDGE_US).wait(70_000).walk(plan.right_line + 3, EDGE_US)


def a_sensor_that_bounces_after_it_made_the_place_known() -> Story:
    plan = plan_of(LOOSE)
    story = Story(LOOSE, place=20).power().say(b"\0", Greet(PROTOCOL, 7), LOOSE, plan, masked(plan, 1, 1))
    story.see(off_at(PIN_LEFT, {-50, -51, -52, -53})).walk(-60)
    return story.walk(LOOSE.right_sensor + 4, EDGE_US)


def one_noisy_sample_amid_the_bed() -> Story:
    story, plan = begun()
    story.see(lambda place, pins: pins & ~PIN_LEFT if place in (60, 90) else pins & ~PIN_RIGHT if place == 70 else pins)
    return to_and_fro(story, plan, 2)


def a_sensor_on_at_two_edges_amid_the_bed() -> Story:
    story, plan = begun()
    return to_and_fro(story.see(on_at(PIN_RIGHT, {70, 71})), plan, 1)


def a_sensor_that_stays_on() -> Story:
    story, _ = begun()
    return story.see(lambda _, pins: pins & ~PIN_LEFT).walk(100, EDGE_US)


def a_dead_end_sensor() -> Story:
    story, _ = begun()
    return story.see(lambda _, pins: pins | PIN_RIGHT).walk(BANK.right_sensor + 6, EDGE_US)


def a_whole_period_lost_within_the_tolerance() -> Story:
    story, plan = begun(LOOSE)
    return story.walk(plan.right_line + 2).slip(1).walk(LOOSE.right_sensor + 6)


def both_sensors_on_at_one_edge_only() -> Story:
    story, plan = begun()
    return to_and_fro(story.see(on_at(PIN_LEFT | PIN_RIGHT, {80})), plan, 1)


def sensors_that_are_on_only_in_passing() -> Story:
    bed = dataclasses.replace(BANK, passing=1)
    story, _ = begun(bed)
    story.see(lambda place, pins: pins | (PIN_LEFT if place < -56 else 0) | (PIN_RIGHT if place > 212 else 0))
    for turn in (230, -70, 230):
        story.walk(turn, EDGE_US).wait(100_000)
    return story


def a_middle_sensor_finds_a_lost_period() -> Story:
    bed = dataclasses.replace(BANK, middle_left=70, middle_right=84)
    story, _ = begun(bed)
    story.walk(bed.right_sensor + 4, EDGE_US).wait(70_000).walk(120, EDGE_US).slip(-1)
    return story.walk(20, EDGE_US)


def a_middle_sensor_that_agrees() -> Story:
    bed = dataclasses.replace(BANK, middle_left=70, middle_right=84)
    story, plan = begun(bed)
    return to_and_fro(story, plan, 3)


def a_middle_sensor_that_is_dead() -> Story:
    bed = dataclasses.replace(BANK, middle_left=70, middle_right=84)
    story, plan = begun(bed)
    return to_and_fro(story.see(lambda _, pins: pins | 16), plan, 1)


# ---- the encoder --------------------------------------------------------------------------------


def the_encoder_is_silent_from_the_start_of_a_pass() -> Story:
    story, _ = begun()
    level = story.pins(story.place)
    story.wait(200_000).show_pins(level | PIN_LEFT).wait(900_000).show_pins((level | PIN_LEFT) & ~PIN_RIGHT)
    return story.wait(200_000).say(Ask(3), Ask(0))


def the_encoder_falls_silent_amid_a_pass() -> Story:
    story, _ = begun()
    level = story.walk(60).pins(60)
    return story.wait(700_000).show_pins(level & ~PIN_RIGHT).wait(50_000).say(Ask(0))


def both_ends_without_an_edge() -> Story:
    story, _ = begun()
    level = story.walk(BANK.left_sensor - 8).pins(story.place)
    return story.wait(100_000).show_pins(level & ~PIN_RIGHT).wait(50_000).say(Ask(0))


def a_sensor_that_switches_where_the_carriage_stands() -> Story:
    story, plan = begun()
    story.walk(BANK.left_sensor - 6).walk(BANK.left_sensor)
    story.wait(50_000).show_pins(story.pins(story.place) | PIN_LEFT).wait(50_000)
    return to_and_fro(story, plan, 2)


def a_spike_on_a_sensor_at_rest() -> Story:
    story, plan = begun()
    level = story.pins(story.place)
    story.wait(50_000).show_pins(level & ~PIN_RIGHT).wait(6000).show_pins(level).wait(50_000)
    return to_and_fro(story, plan, 1)


def channel_b_dies_amid_a_pass() -> Story:
    story, _ = begun()
    frozen = story.walk(60).pins(60) & PIN_B
    return story.see(lambda _, pins: pins & ~PIN_B | frozen).walk(BANK.right_sensor + 4, EDGE_US)


def channel_a_dies_at_the_turn() -> Story:
    story, _ = begun()
    frozen = story.pins(story.place) & PIN_A
    return story.see(lambda _, pins: pins & ~PIN_A | frozen).walk(100, EDGE_US)


def edges_missing(count: int) -> Story:
    """So many edges are lost at speed: the carriage takes its time for them, the board sees none."""
    story, _ = begun(BRISK)
    story.walk(60, EDGE_US)
    story.place += count
    return story.wait(count * EDGE_US - 137).walk(BANK.right_sensor + 4, EDGE_US)


def a_period_is_lost_at_speed() -> Story:
    return edges_missing(4)


def five_periods_are_lost_at_speed() -> Story:
    return edges_missing(20)


def two_edges_are_lost_at_speed() -> Story:
    return edges_missing(2)


def both_channels_are_gone_for_seven_and_a_half_periods() -> Story:
    """They come back one just after the other, as two edges backwards."""
    story, _ = begun(BRISK)
    story.walk(60, EDGE_US)
    one_back = story.pins(59)
    story.place += 30
    story.wait(30 * EDGE_US - 137).show_pins(one_back, story.pins(story.place), edge_us=24)
    return story.walk(BRISK.right_sensor + 6, EDGE_US)


def the_encoder_is_gone_with_one_edge_back() -> Story:
    """As the cable comes out one channel changes back, and at once or later the carriage is seen to go on at speed."""
    story, _ = begun(BRISK)
    story.walk(60, EDGE_US).show_pins(story.pins(59), edge_us=400)
    story.place += 31
    return story.wait(31 * EDGE_US).walk(BRISK.right_sensor + 6, EDGE_US)


def both_channels_are_gone_before_the_start_line() -> Story:
    """For so long that the carriage may have stood meanwhile; but they come back at almost one time."""
    story, plan = begun(BRISK)
    story.walk(BRISK.left_sensor + 4, EDGE_US)
    onward = story.pins(story.place + 1)
    story.place += 18
    story.wait(18 * EDGE_US - 137).show_pins(onward, story.pins(story.place), edge_us=24)
    assert story.place < plan.left_line
    return story.walk(BRISK.right_sensor + 4, EDGE_US)


def both_channels_are_gone_from_a_slow_carriage() -> Story:
    """A gap that may be a hesitation; but no hand goes on from it with two edges at almost one time."""
    story, _ = begun(BRISK)
    story.walk(60, 8 * EDGE_US)
    onward = story.pins(61)
    story.place += 22
    story.wait(22 * 8 * EDGE_US - 137).show_pins(onward, story.pins(story.place), edge_us=48)
    return story.walk(BRISK.right_sensor + 6, 8 * EDGE_US)


def a_channel_drops_out(pin: int, edges: int, *, at: int = 61, bed: Bed = BRISK, edge_us: int = EDGE_US) -> Story:
    """At a place amid the pass it stays as it is for so many edges of the carriage."""
    story, _ = begun(bed)
    frozen = story.pins(at) & pin
    story.see(lambda place, pins: pins & ~pin | frozen if at <= place < at + edges else pins)
    return story.walk(bed.right_sensor + 6, edge_us)


def channel_a_drops_out_for_a_period() -> Story:
    return a_channel_drops_out(PIN_A, 4)


def channel_b_drops_out_for_two_periods() -> Story:
    return a_channel_drops_out(PIN_B, 8, bed=ONE_COIL)


def channel_a_drops_out_for_three_periods() -> Story:
    return a_channel_drops_out(PIN_A, 12, at=62, edge_us=3000)


def a_pulse_on_one_channel_across_an_edge_of_the_other() -> Story:
    """Both channels change back and forth, and the count is four edges behind."""
    story, _ = begun(BRISK)
    story.walk(60, EDGE_US)
    at, after = story.pins(60), story.pins(61)
    other = (PIN_A | PIN_B) ^ (at ^ after)
    story.place = 61
    story.show_pins(at ^ other, after ^ other, after, edge_us=300)
    return story.walk(BRISK.right_sensor + 6, EDGE_US)


def a_period_is_lost_before_the_start_line() -> Story:
    story, plan = begun(BRISK)
    story.walk(plan.left_line - 8, EDGE_US)
    story.place += 4
    return story.wait(4 * EDGE_US - 137).walk(BRISK.right_sensor + 4, EDGE_US)


def a_period_is_lost_at_the_turn(outward: bool = True) -> Story:
    """Between two passes, with the next one armed."""
    story, plan = begun(BRISK)
    story.walk(plan.right_line + 6, EDGE_US)
    story.place += 4
    story.wait(4 * EDGE_US - 137).walk(BRISK.right_sensor + 12, EDGE_US).wait(70_000)
    return story.walk(plan.left_line - 4, EDGE_US)


def a_period_is_lost_as_a_sensor_tells_where_the_carriage_is() -> Story:
    plan = plan_of(BRISK)
    story = Story(BRISK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BRISK, plan, masked(plan, 1, 1))
    story.walk(BRISK.left_sensor + 2, EDGE_US)
    story.place -= 4
    story.wait(4 * EDGE_US - 137).walk(BRISK.left_sensor - 12, EDGE_US).wait(70_000)
    return story.walk(plan.right_line + 3, EDGE_US)


def edges_are_lost_beyond_a_sensor() -> Story:
    """Slowly, in the turn, on the way back: the sensor goes off too early."""
    story, plan = begun()
    story.walk(BANK.left_sensor - 20, 9000).wait(70_000).walk(BANK.left_sensor - 16, 9000)
    return story.slip(1).wait(30_000).walk(plan.right_line + 3, 5000)


def the_encoder_is_dead_past_a_sensor_that_is_on_in_passing() -> Story:
    bed = dataclasses.replace(BANK, passing=1)
    story, _ = begun(bed)
    story.see(lambda place, pins: pins | (PIN_LEFT if place < -66 else 0) | (PIN_RIGHT if place > 222 else 0))
    level = story.walk(-80, EDGE_US).pins(-80) | PIN_LEFT
    story.wait(90_000).show_pins(level & ~PIN_LEFT).wait(40_000).show_pins(level).wait(500_000)
    story.place = 40
    return story.walk(bed.right_sensor + 4, EDGE_US)


def the_encoder_comes_back_after_a_sensor_that_is_on_in_passing() -> Story:
    """So quickly that the sensor is never seen to be on."""
    bed = dataclasses.replace(BANK, passing=1)
    story, plan = begun(bed)
    story.see(lambda place, pins: pins | (PIN_LEFT if place < -66 else 0) | (PIN_RIGHT if place > 222 else 0))
    story.walk(-80, EDGE_US).wait(90_000)
    story.place = -40
    return story.walk(plan.right_line + 3, EDGE_US)


def an_edge_that_comes_late_before_the_start_line() -> Story:
    """The short interval after it is not of the pass."""
    story, _ = begun(ONE_COIL)
    return crossing(story, ONE_COIL.right_sensor + 9, [("b dies", -13, 1)], 3096)


def a_hand_that_trembles() -> Story:
    """Ten times a second over one edge, in mid pass, three times to and fro; then it goes on."""
    story, plan = begun(BRISK)
    slower = [EDGE_US + 300 * edge for edge in range(30)]
    story.walk(60, EDGE_US).walk(90, slower)
    for _ in range(3):
        story.walk(89, 45_000).walk(90, 45_000)
    return story.walk(120, slower[::-1]).walk(plan.right_line + 3, EDGE_US)


def a_contact_that_bounces_at_speed() -> Story:
    return bouncing(BRISK)


def an_encoder_of_uneven_channels_at_speed() -> Story:
    return uneven(BRISK)


def five_and_a_half_periods_are_lost_at_speed() -> Story:
    return edges_missing(22)


def a_carriage_stopped_short_between_two_rows() -> Story:
    """With a jerk, as it comes back to the side of the lamp; between rows that is nobody's loss."""
    story, plan = begun(BRISK)
    story.say(Pause(1)).walk(plan.right_line + 3, EDGE_US).wait(70_000).walk(90, EDGE_US).wait(40_000)
    story.walk(20, EDGE_US).wait(40_000).walk(BRISK.left_sensor - 9, EDGE_US).wait(70_000)
    return story.walk(plan.right_line + 3, EDGE_US).say(Pause(0)).walk(plan.left_line - 3, EDGE_US)


def a_stop_of_a_hand_at_speed() -> Story:
    """It slows down, stands and gathers speed: nothing is missing."""
    story, plan = begun(BRISK)
    slower = [EDGE_US + 40 * edge * edge for edge in range(30)]
    story.walk(60, EDGE_US).walk(90, slower).wait(400_000).walk(120, slower[::-1])
    return story.walk(plan.right_line + 3, EDGE_US)


def an_encoder_of_uneven_channels_at_the_highest_speed() -> Story:
    return uneven(BANK)


def uneven(bed: Bed) -> Story:
    """Channels that are high for 65 % of a period, in a carriage as quick as the bed allows."""
    story, plan = begun(bed)
    period_us = 4 * 4 * (BANK.advance // BANK.advance_max + 5)  # a clock a few ticks off reads it alike
    shares = (0.25, 0.4, 0.25, 0.1)
    for turn in (plan.right_line + 3, plan.left_line - 3):
        count = abs(turn - story.place)
        story.walk(turn, [round(period_us * shares[edge % 4]) for edge in range(count)]).wait(70_000)
    return story


def a_contact_that_bounces_at_every_edge() -> Story:
    return bouncing(BANK)


def bouncing(bed: Bed) -> Story:
    """Each edge of the encoder comes three times."""
    story, plan = begun(bed)
    for place in range(story.place + 1, plan.right_line + 3):
        story.walk(place, 1000)
        before, now = story.pins(place - 1), story.pins(place)
        story.show_pins(before, now, edge_us=150)
    return story.wait(5000)


# ---- hand and host ------------------------------------------------------------------------------


def a_carriage_that_rocks_on_a_coil() -> Story:
    story, _ = begun()
    story.walk(60, 1300)
    for _rock in range(40):
        story.walk(64, 93_700).walk(60, 93_700)
    return story


def backed_out_of_a_pass_just_begun() -> Story:
    story, plan = begun()
    story.walk(0, 1300).walk(plan.left_line - 2, 1300).wait(3000).say(Ask(3), Clear(21))
    return to_and_fro(story, plan, 1)


def backed_out_before_the_first_needle() -> Story:
    story, plan = begun()
    story.walk(plan.left_line + 2, 1300).walk(plan.left_line - 2, 1300)
    return to_and_fro(story, plan, 1)


def a_pause_as_the_carriage_sets_off() -> Story:
    story, plan = begun()
    story.say(Pause(1)).wait(300_000).walk(plan.right_line + 3, EDGE_US).wait(50_000).say(Ask(0))
    return story.walk(plan.left_line - 3, EDGE_US)


def a_pause_long_before_the_carriage_sets_off() -> Story:
    story, plan = begun()
    story.say(Pause(1)).wait(1_200_000).walk(plan.right_line + 3, EDGE_US).wait(50_000)
    return story.walk(plan.left_line - 3, EDGE_US).say(Pause(0)).walk(plan.right_line + 3, EDGE_US)


def a_pause_that_is_taken_back() -> Story:
    story, plan = begun()
    story.say(Pause(1)).wait(500_000).say(Pause(0)).wait(1_500_000)
    return to_and_fro(story, plan, 2)


def coils_that_select_when_off_knitted_slowly() -> Story:
    story, plan = begun(dataclasses.replace(BANK, active_low=1))
    return to_and_fro(story, plan, 2, 9000)


def one_coil_that_selects_when_off() -> Story:
    story, plan = begun(dataclasses.replace(CARRIAGE, active_low=1))
    return to_and_fro(story, plan, 2, 2500)


def stopped_by_a_host_of_another_version() -> Story:
    story, _ = begun()
    return story.walk(60).say(Greet(PROTOCOL + 1, 1), Ask(0), Stop()).walk(90).wait(50_000)


def a_host_that_says_only_what_is_refused() -> Story:
    story, plan = begun(dataclasses.replace(BANK, patience_ms=300))
    broken = dataclasses.replace(BANK, hold=0)
    for _ in range(4):
        story.wait(90_000).say(broken, Clear(9), masked(plan, 1, 1), Ask(9), Probe(0, 5))
    return story


def a_reset_with_no_pass_under_way() -> Story:
    story, plan = begun()
    plan_of_run = dataclasses.replace(plan, run=0xDEADBEEF)
    story.say(plan_of_run, masked(plan, 1, 1)).walk(plan.right_line + 3, EDGE_US).wait(70_000)
    story.power(2).say(b"\0", Greet(PROTOCOL, 8), Ask(2), BANK, Ask(2)).power(8).say(b"\0", Greet(PROTOCOL, 9), Ask(2))
    return story.say(BANK, plan, Ask(2)).wait(60_000)


def a_reset_with_a_pass_under_way() -> Story:
    story, plan = begun()
    story.walk(plan.right_line + 3, EDGE_US).wait(70_000).walk(60, EDGE_US).power(10)
    return story.say(b"\0", Greet(PROTOCOL, 8), Ask(2), Stop(), Ask(2)).wait(60_000)


def a_loss_of_power_after_a_reset() -> Story:
    story, plan = begun()
    story.walk(plan.right_line + 3, EDGE_US).wait(70_000).walk(60, EDGE_US).power(2).power(1)
    return story.say(b"\0", Greet(PROTOCOL, 8), Ask(2)).wait(60_000)


def rows_that_turn_amid_the_bed() -> Story:
    plan = plan_of(BANK)
    near = set(range(10))
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan)
    for number in (1, 2):
        short = masked(plan, number, number % 2, {n + number for n in near}.__contains__)
        story.say(dataclasses.replace(short, right_line=60))
    story.say(masked(plan, 3, 1)).walk(BANK.left_sensor - 3)
    for turn in (66, plan.left_line - 3, plan.right_line + 3):
        story.walk(turn, EDGE_US).wait(70_000)
    return story


def nothing_loaded_at_a_turn_amid_the_bed() -> Story:
    plan = plan_of(BANK)
    short = dataclasses.replace(masked(plan, 1, 1, lambda n: n < 9), right_line=60)
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan, short).walk(BANK.left_sensor - 3)
    return story.walk(66, EDGE_US).wait(70_000).walk(30, EDGE_US)


def lines_off_the_bed_are_dropped() -> Story:
    plan = plan_of(BANK)
    story = Story(BANK, place=20).power().say(b"\0", Greet(PROTOCOL, 7), BANK, plan)
    off_the_bed: list[dict[str, Any]] = [
        {"left_line": -48},
        {"right_line": 204},
        {"left_line": 90, "right_line": 90},
        {"right_line": -20},
    ]
    for lines in off_the_bed:
        story.say(dataclasses.replace(masked(plan, 1, 1), **lines))
    return story.say(Ask(1), Ask(0)).walk(BANK.left_sensor - 3)


def probes_without_end() -> Story:
    story = Story(BANK).power().say(b"\0", Greet(PROTOCOL, 7), BANK)
    for _ in range(5):
        story.say(Probe(0, 240)).wait(245_000)
    return story


TOLD: tuple[Told, ...] = (
    (a_sensor_that_bounces_after_it_has_told, (), 3),
    (a_sensor_that_bounces_at_first_touch, (), 3),
    (a_sensor_that_chatters_at_every_other_edge, (17,), 2),
    (a_sensor_that_bounces_when_the_place_is_not_known_yet, (17,), 1),
    (a_sensor_that_bounces_after_it_made_the_place_known, (), 1),
    (a_place_lost_in_mid_bed_is_found_at_the_first_sensor, (1,), 3),
    (one_noisy_sample_amid_the_bed, (), 2),
    (a_sensor_on_at_two_edges_amid_the_bed, (2,), 0),
    (a_sensor_that_stays_on, (2,), 0),
    (a_dead_end_sensor, (16,), 1),
    (a_whole_period_lost_within_the_tolerance, (2,), 1),
    (both_sensors_on_at_one_edge_only, (), 1),
    (sensors_that_are_on_only_in_passing, (), 3),
    (a_middle_sensor_finds_a_lost_period, (2,), 1),
    (a_middle_sensor_that_agrees, (), 3),
    (a_middle_sensor_that_is_dead, (16,), 0),
    (the_encoder_is_silent_from_the_start_of_a_pass, (18,), 0),
    (the_encoder_falls_silent_amid_a_pass, (18,), 0),
    (both_ends_without_an_edge, (3,), 0),
    (a_sensor_that_switches_where_the_carriage_stands, (), 2),
    (a_spike_on_a_sensor_at_rest, (), 1),
    (channel_b_dies_amid_a_pass, (19,), 0),
    (channel_a_dies_at_the_turn, (19,), 0),
    (a_period_is_lost_at_speed, (20,), 0),
    (five_periods_are_lost_at_speed, (20,), 0),
    (two_edges_are_lost_at_speed, (19,), 0),
    (five_and_a_half_periods_are_lost_at_speed, (19,), 0),
    (both_channels_are_gone_for_seven_and_a_half_periods, (19,), 0),
    (the_encoder_is_gone_with_one_edge_back, (19,), 0),
    (both_channels_are_gone_before_the_start_line, (20,), 0),
    (both_channels_are_gone_from_a_slow_carriage, (20,), 0),
    (channel_a_drops_out_for_a_period, (19,), 0),
    (channel_b_drops_out_for_two_periods, (19,), 0),
    (channel_a_drops_out_for_three_periods, (19,), 0),
    (a_pulse_on_one_channel_across_an_edge_of_the_other, (19,), 0),
    (a_period_is_lost_before_the_start_line, (20,), 0),
    (a_period_is_lost_at_the_turn, (20,), 1),
    (a_period_is_lost_as_a_sensor_tells_where_the_carriage_is, (), 0),
    (edges_are_lost_beyond_a_sensor, (2,), 0),
    (the_encoder_is_dead_past_a_sensor_that_is_on_in_passing, (18,), 0),
    (the_encoder_comes_back_after_a_sensor_that_is_on_in_passing, (2,), 0),
    (an_edge_that_comes_late_before_the_start_line, (), 1),
    (a_hand_that_trembles, (), 1),
    (a_carriage_stopped_short_between_two_rows, (), 2),
    (a_contact_that_bounces_at_speed, (), 1),
    (an_encoder_of_uneven_channels_at_speed, (), 2),
    (a_stop_of_a_hand_at_speed, (), 1),
    (an_encoder_of_uneven_channels_at_the_highest_speed, (), 2),
    (a_contact_that_bounces_at_every_edge, (), 1),
    (a_carriage_that_rocks_on_a_coil, (), 0),
    (backed_out_of_a_pass_just_begun, (21,), 1),
    (backed_out_before_the_first_needle, (), 1),
    (a_pause_as_the_carriage_sets_off, (), 1),
    (a_pause_long_before_the_carriage_sets_off, (), 1),
    (a_pause_that_is_taken_back, (), 2),
    (coils_that_select_when_off_knitted_slowly, (), 2),
    (one_coil_that_selects_when_off, (), 2),
    (stopped_by_a_host_of_another_version, (), 0),
    (a_host_that_says_only_what_is_refused, (9,), 0),
    (a_reset_with_no_pass_under_way, (), 1),
    (a_reset_with_a_pass_under_way, (), 1),
    (a_loss_of_power_after_a_reset, (), 1),
    (rows_that_turn_amid_the_bed, (), 3),
    (nothing_loaded_at_a_turn_amid_the_bed, (5,), 1),
    (lines_off_the_bed_are_dropped, (), 0),
    (probes_without_end, (), 0),
)


# ---- any lies at all ----------------------------------------------------------------------------

Lies = list[tuple[str, int, int]]


def crossing(story: Story, to: int, lies: Lies, edge_us: int) -> Story:
    """To a place at an even pace, with lies: ranges of places in which a level is not what it should be, edges lost."""
    sensors = {
        "left on": (PIN_LEFT, 0),
        "left off": (PIN_LEFT, 1),
        "right on": (PIN_RIGHT, 0),
        "right off": (PIN_RIGHT, 1),
    }
    channels = {"a": PIN_A, "b": PIN_B}
    step = 1 if to > story.place else -1
    amid = range(min(story.place, to) + 5, max(story.place, to) - 4)  # nothing tells of edges lost in the very turn
    dark = [(*sensors[kind], range(place, place + count)) for kind, place, count in lies if kind in sensors]
    forced = []
    for kind, place, count in lies:
        channel, _, how = kind.partition(" ")
        if channel in channels and place in amid and place + step * count in amid:
            pin = channels[channel]
            level = {"low": 0, "high": pin, "dies": story.pins(place) & pin}[how]
            forced.append((pin, level, place, count))

    def shown(place: int, pins: int) -> int:
        for pin, level, places in dark:
            if place in places:
                pins = pins | pin if level else pins & ~pin
        return pins

    gaps = [range(place, place + count) for kind, place, count in lies if kind == "lost"]
    lost = {edge for gap in gaps if gap[0] in amid and gap[-1] in amid for edge in gap}
    return story.see(shown).along(to, edge_us, lost, forced)
