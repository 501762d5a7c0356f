"""Timing against what the simulated carriage really did, edge by edge."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from latchline.knit.events import Knitted
from latchline.knit.session import Session
from latchline.knit.talk import GoesOn
from latchline.link.host import Host
from latchline.link.messages import Done
from latchline.machine.profile import Profile, load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.sim.carriage import Motion
from latchline.sim.port import SimPort
from latchline.technique.table import technique_named
from latchline.timing.passes import PassRecord, PassTiming, time_passes

Ints = npt.NDArray[np.int64]
STANDARD = load_profile("standard-200")
LINGER_US = 100_000


@dataclass(frozen=True)
class Way:
    """The carriage once from line to line: instants and places of its edges, and of all since the way before."""

    rightward: bool
    at_us: Ints
    places: Ints
    before: Ints


def knitted(plan: Plan, machine: Profile, options: str) -> tuple[list[PassTiming], list[Way]]:
    """A piece on the simulator: our timings, and the ways that the carriage went."""
    port = SimPort()
    port.port, port.machine = f"sim://standard-200?{options}", machine
    port.open()
    motions: list[Motion] = []
    sense = port.world.sensors.sense

    def watched(motion: Motion) -> Any:
        motions.append(motion)
        return sense(motion)

    port.world.sensors.sense = watched  # type: ignore[method-assign]
    session = Session(Host(port, port.clock), plan, GoesOn(), clock=port.clock, waits_at_bands=False)
    reports: list[tuple[Done, float]] = []
    while not session.over:
        reports += [
            (event.report, port.clock()) for event in session.step() if isinstance(event, Knitted) and event.report
        ]
    port.close()
    timings = time_passes([PassRecord(*one) for one in reports], plan.profile, plan.span)
    at_us = np.concatenate([motion.at_us for motion in motions])
    places = np.concatenate([motion.places for motion in motions])
    return timings, list(ways(at_us, places, *plan.profile.turn_lines(plan.span)))


def ways(at_us: Ints, places: Ints, left: int, right: int) -> Iterator[Way]:
    side, begin, last = 0, -1, 0
    for index, place in enumerate(places.tolist()):
        if place <= left or place >= right:
            arrived = -1 if place <= left else 1
            if side == -arrived and begin >= 0:
                yield Way(arrived > 0, at_us[begin : index + 1], places[begin : index + 1], places[last:begin])
                last = index
            side, begin = arrived, -1
        elif side and begin < 0:
            begin = index


def small_plan(profile: Profile, passes: int) -> Plan:
    request = BandRequest("ground", technique_named("fair-isle"), Options(rows=passes, alternate_needles="only"))
    return compile_plan("truth", profile, profile.span("L30-R40"), [request])


def matched(timings: list[PassTiming], found: list[Way]) -> list[Way]:
    """The way of each pass: the one of its direction that began nearest. Both clocks count from the board's start."""
    starts = np.array([way.at_us[0] / 1e6 for way in found])
    ours = np.array([timing.start_s for timing in timings])
    return [found[int(np.abs(starts - start).argmin())] for start in ours]


@pytest.fixture(scope="module", params=["seed=1", "seed=2&pace=60", "seed=3&pace=15&pauses=0.5&backing-up=0.4"])
def piece(request: pytest.FixtureRequest) -> tuple[list[PassTiming], list[Way]]:
    plan = small_plan(STANDARD, 30)
    timings, found = knitted(plan, STANDARD, request.param)
    assert len(timings) == 30
    return timings, matched(timings, found)


Piece = tuple[list[PassTiming], list[Way]]


def edge_s(way: Way) -> float:
    """Mean time of one edge in this way."""
    return float(np.diff(way.at_us).mean()) / 1e6


def near(ours: float, truth: float, edge: float) -> bool:
    """Within one encoder edge or 1 %, whichever is larger."""
    return abs(ours - truth) <= max(edge, 0.01 * abs(truth))


def test_start_duration_and_pause_are_those_of_the_carriage(piece: Piece) -> None:
    before: Way | None = None
    offsets = [timing.start_s - way.at_us[0] / 1e6 for timing, way in zip(*piece, strict=True)]
    for timing, way, offset in zip(*piece, offsets, strict=True):
        assert timing.rightward == way.rightward
        # The host's clock lies behind the board's by the way of a report; that lag is the same for all.
        assert near(offset, offsets[0], edge_s(way))
        assert abs(offset) < 0.3
        assert near(timing.duration_s, (way.at_us[-1] - way.at_us[0]) / 1e6, edge_s(way))
        if before is not None:
            assert timing.pause_s is not None
            assert near(timing.pause_s, (way.at_us[0] - before.at_us[-1]) / 1e6, edge_s(way))
        before = way


def test_every_tenth_is_that_of_the_carriage(piece: Piece) -> None:
    left, right = STANDARD.turn_lines(STANDARD.span("L30-R40"))
    for timing, way in zip(*piece, strict=True):
        along = way.places - left if way.rightward else right - way.places
        ends = [way.at_us[0]] + [way.at_us[np.argmax(along >= (right - left) * n // 10)] for n in range(1, 11)]
        for ours, truth in zip(timing.tenth_s, np.diff(ends) / 1e6, strict=True):
            assert near(ours, float(truth), edge_s(way))


def test_speed_and_unevenness_are_those_of_the_carriage(piece: Piece) -> None:
    for timing, way in zip(*piece, strict=True):
        way_m = abs(int(way.places[-1]) - int(way.places[0])) * STANDARD.edge_mm / 1000
        assert near(timing.speed_m_s, way_m / ((way.at_us[-1] - way.at_us[0]) / 1e6), 0.0)
        straight = np.abs(way.places[4:] - way.places[:-4]) == 4  # a period of the encoder
        fastest = 4 * STANDARD.edge_mm / 1000 / ((way.at_us[4:] - way.at_us[:-4])[straight].min() / 1e6)
        assert near(timing.fastest_m_s, fastest, 0.0)


def test_stops_and_backing_up_are_counted_as_they_happened(piece: Piece) -> None:
    for timing, way in zip(*piece, strict=True):
        steps, gaps = np.diff(way.places), np.diff(way.at_us)
        turned = steps[1:] != steps[:-1]
        assert timing.hesitations == int(((gaps[1:] > LINGER_US) & ~turned).sum()) + int(gaps[0] > LINGER_US)
        sign = 1 if way.rightward else -1
        assert timing.backings == int(((steps[1:] == -sign) & turned).sum())
        q = sign * way.places
        assert abs(timing.backed_needles - float((np.maximum.accumulate(q) - q).max()) / 4) <= 0.25


def test_the_overrun_is_where_the_carriage_turned(piece: Piece) -> None:
    span = STANDARD.span("L30-R40")
    for timing, way in list(zip(*piece, strict=True))[1:]:
        furthest = int(way.before.min() if way.rightward else way.before.max())
        truth = span.first - furthest / 4 if way.rightward else furthest / 4 - span.last
        assert abs(timing.overrun_needles - truth) <= 0.25


@pytest.mark.parametrize("moved_edges", [-2, -1, 1, 2])
def test_a_sensor_that_stands_an_edge_further_shows_as_edges_too_many_after_it_was_passed(moved_edges: int) -> None:
    machine = replace(STANDARD, right_sensor_needles=STANDARD.right_sensor_needles + moved_edges / 4)
    span = machine.span("L100-R100")
    request = BandRequest("ground", technique_named("fair-isle"), Options(rows=6, alternate_needles="only"))
    plan = compile_plan("whole bed", STANDARD, span, [request])
    timings, _ = knitted(plan, machine, "seed=4")
    assert [t.missed_edges for t in timings[2:]] == [-moved_edges if t.rightward else 0 for t in timings[2:]]
