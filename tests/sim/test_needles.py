"""Needles follow coils and carriage, and nothing that a board believes."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest

from latchline.machine.profile import Profile, load_profile
from latchline.sim.carriage import Motion
from latchline.sim.face import Signals
from latchline.sim.faults import Faults
from latchline.sim.needles import Knitted, Needles

PROFILE = load_profile("standard-200")
LINES = (-25, 820)
EDGE_US = 2000
ACT_US = round((PROFILE.selectors.pull_in_ms + PROFILE.selectors.mechanical_ms) * 1000)
RELEASE_US = round(PROFILE.selectors.release_ms * 1000)
LEAD = PROFILE.lead_edges("rightward")


def over(from_place: int, to_place: int, begin_us: int = 0) -> Motion:
    step = 1 if to_place > from_place else -1
    places = np.arange(from_place + step, to_place + step, step)
    return Motion(begin_us + EDGE_US * np.arange(1, len(places) + 1), places)


def outputs(changes: list[tuple[int, int]], lamp: bool = True, enabled: bool = True) -> Signals:
    """The register from each time on."""
    changes = [(0, 0), *changes]
    count = len(changes)
    return Signals(
        np.array([at for at, _ in changes], np.int64),
        np.array([word for _, word in changes], np.uint16),
        np.full(count, enabled),
        np.full(count, lamp),
        np.zeros(count, bool),
    )


def met_us(motion: Motion, needle: int) -> int:
    """When the selector passes a needle, rightward."""
    return int(motion.at_us[np.flatnonzero(motion.places == needle * 4 - LEAD)[-1]])


def run(signals: Signals, *motions: Motion, profile: Profile = PROFILE, faults: str = "") -> list[Knitted]:
    needles = Needles(profile, Faults.parse([faults] if faults else []))
    needles.signals(signals)
    for motion in motions:
        needles.motion(motion, LINES)
    return needles.knitted


@pytest.mark.parametrize(
    ("on_before_us", "off_before_us", "selected"),
    [(ACT_US, 0, True), (ACT_US - 1, 0, False), (50_000, RELEASE_US - 1, True), (50_000, RELEASE_US, False)],
)
def test_a_coil_selects_once_it_has_acted_and_until_it_lets_go(
    on_before_us: int, off_before_us: int, selected: bool
) -> None:
    motion = over(-40, 830)
    met = met_us(motion, 70)
    off_us = met - off_before_us if off_before_us else met + 100
    found = run(outputs([(met - on_before_us, 1 << 70 % 16), (off_us, 0)]), motion)
    assert np.flatnonzero(found[0].selected).tolist() == ([70] if selected else [])


def test_nothing_is_selected_while_the_outputs_are_off() -> None:
    motion = over(-40, 830)
    assert not run(outputs([(1, 0xFFFF)], enabled=False), motion)[0].selected.any()


def test_a_coil_left_on_selects_every_needle_that_uses_it() -> None:
    motion = over(-40, 830)
    found = run(outputs([(1, 1 << 5)]), motion)[0]
    assert np.flatnonzero(found.selected).tolist() == list(range(5, 200, 16))


def test_the_other_way_the_lead_lies_on_the_other_side() -> None:
    motion = over(830, -40)
    point = 100 * 4 + PROFILE.lead_edges("leftward")
    met = int(motion.at_us[motion.places == point][0])
    found = run(outputs([(met - ACT_US, 1 << 100 % 16), (met + 1, 0)]), motion)[0]
    assert not found.rightward
    assert np.flatnonzero(found.selected).tolist() == [100]


def test_a_needle_takes_the_position_of_the_last_time_forward() -> None:
    out, back = over(-40, 300), over(300, 250, 700_000)
    on = over(250, 830, 900_000)
    needle = (280 + LEAD) // 4
    first = met_us(out, needle)
    found = run(outputs([(first - 20_000, 1 << needle % 16), (first + 1000, 0)]), out, back, on)[0]
    assert not found.selected[needle]
    again = met_us(on, needle)
    found = run(outputs([(again - 20_000, 1 << needle % 16), (again + 1000, 0)]), out, back, on)[0]
    assert np.flatnonzero(found.selected).tolist() == [needle]


def test_a_way_that_turns_back_to_where_it_began_is_no_pass() -> None:
    assert run(outputs([]), over(-40, 400), over(400, -40, 2_000_000)) == []
    assert len(run(outputs([]), over(-40, 400), over(400, -40, 2_000_000), over(-40, 830, 4_000_000))) == 1


def test_a_pass_is_the_same_in_whatever_pieces_it_comes() -> None:
    motion = over(-40, 830)
    signals = outputs([(400_000, 0x0F0F), (900_000, 0xF0F0)])
    whole = run(signals, motion)[0]
    cuts = [0, 1, 14, 15, 16, 400, 844, 845, 846, len(motion)]
    pieces = [Motion(motion.at_us[begin:end], motion.places[begin:end]) for begin, end in pairwise(cuts)]
    parts = run(signals, *pieces)[0]
    assert whole.selected.tolist() == parts.selected.tolist()
    assert dataclasses.replace(whole, selected=parts.selected) == parts


def test_times_are_those_of_the_edges_at_the_lines_and_tenths() -> None:
    motion = over(-40, 830)
    found = run(outputs([]), motion)[0]
    at = {int(place): int(time) for place, time in zip(motion.places, motion.at_us, strict=True)}
    assert (found.begin_us, found.end_us) == (at[LINES[0] + 1], at[LINES[1]])
    assert found.tenth_us == tuple(at[LINES[0] + tenth * (LINES[1] - LINES[0]) // 10] for tenth in range(1, 11))


def test_a_dark_lamp_on_the_way_is_remembered() -> None:
    assert run(outputs([]), over(-40, 830))[0].lamp
    assert not run(outputs([], lamp=False), over(-40, 830))[0].lamp


def test_selectors_on_the_carriage_belong_to_a_direction() -> None:
    profile = load_profile("mid-150")
    needles = Needles(profile, Faults())
    needles.signals(outputs([(1, 0b01)]))
    needles.motion(over(-40, 650), (-30, 630))
    needles.motion(over(650, -40, 3_000_000), (-30, 630))
    rightward, leftward = needles.knitted
    assert rightward.selected.all()
    assert not leftward.selected.any()
