"""Long quiet runs of edges at one go, for the model board.

Edges are quiet when every one steps the same way, no sensor changes, and nothing happens but that the carriage moves
on and selectors follow their needles. The edge at which anything else happens is left to the follower, which takes
edges one by one as docs/protocol.md says.
`tests/sim/test_model.py` holds both ways to the same result on random motions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from latchline.sim.board.follower import BEYOND_NEEDLES, TRAIL, Follower
from latchline.sim.board.steps import IMPOSSIBLE, SENSORS, sensor_changes
from latchline.sim.board.stretch import Stretch, Whole, first_from
from latchline.sim.board.turns import ReadsWell, Turns
from latchline.sim.face import PIN_LEFT, PIN_RIGHT, Pins, Times

SHORTEST_RUN, SHORTEST_IDLE = 8, 3  # below these, one by one is quicker
FAR = 1 << 30


@dataclass(frozen=True)
class Taken:
    """How many edges were taken, and when the register changed in them, to what."""

    count: int
    at_us: Times
    registers: Whole


NONE = Taken(0, np.zeros(0, np.int64), np.zeros(0, np.int64))


class Bulk:
    """The next edges for the follower, as long as they step the same way.

    What has been worked out of them holds on while the follower takes some by itself and other things come between.
    """

    def __init__(self, follower: Follower, at_us: Times, pins: Pins, step: int) -> None:
        self.follower, self.at_us, self.pins, self.step = follower, at_us, pins, step
        self._sensor_changes = sensor_changes(pins)
        self._stretch: Stretch | None = None
        self._begin = 0  # of the stretch
        self._turns: Turns | None = None

    def before(self, at_us: int) -> int:
        """How many of the edges come before then."""
        return int(self.at_us.searchsorted(at_us))

    def take(self, at: int, until_us: int, reads_well: ReadsWell) -> Taken:
        """Take as many edges from `at` on as are quiet and come before `until_us`."""
        follower, stretch = self.follower, self._stretch
        if follower.fresh:
            stretch = self._stretch = None
        end = self.before(until_us)
        if stretch is not None and self._turns is not None and self._turns.hold(follower, at - self._begin):
            return self._knit(stretch, self._turns, end - self._begin)
        self._turns = None
        limit = first_from(self._sensor_changes, at + 1, len(self.at_us))
        if min(end, limit) - at < SHORTEST_IDLE or not self._is_quiet(int(self.pins[at])):
            return NONE
        limit = min(limit, at + _room(follower, self.step))
        if limit - at < (SHORTEST_RUN if follower.under_way else SHORTEST_IDLE):
            return NONE
        if stretch is None:
            self._begin = at
            stretch = self._stretch = Stretch(follower, self.at_us[at:], self.pins[at:], self.step)
        begin, end, limit = at - self._begin, end - self._begin, limit - self._begin
        if not follower.under_way:
            return self._idle(stretch, begin, min(end, limit))
        turns = Turns.of(follower, stretch, begin, limit, reads_well)
        if turns is None:
            return NONE
        self._turns = turns
        return self._knit(stretch, turns, end)

    def _is_quiet(self, pins: int) -> bool:
        """Do edges with the sensors as in these pins change nothing but places, as far as their times do not tell?"""
        follower, step = self.follower, self.step
        if (
            step in (0, IMPOSSIBLE)
            or (pins ^ follower.seen_pins) & SENSORS
            or not pins & (PIN_LEFT | PIN_RIGHT)
            or follower.edge_min_us
            or follower.at_rest
        ):
            return False
        if follower.bed and (step != follower.step or follower.fresh or follower.trail_steps[-2:-1] == [-step]):
            return False
        on = [switch for switch in follower.switches if not pins & switch.pin]  # have they said all that they will say?
        if follower.certain:
            return all(switch.told and not switch.due for switch in on)
        return all(switch.told or switch.first is None for switch in on)

    def _idle(self, stretch: Stretch, begin: int, end: int) -> Taken:
        """With no pass under way."""
        if self.follower.bed:
            end = min(end, first_from(stretch.gone, begin, end))
        if end - begin < SHORTEST_IDLE:
            return NONE
        self._move(stretch, begin, end)
        return Taken(end - begin, NONE.at_us, NONE.registers)

    def _knit(self, stretch: Stretch, turns: Turns, end: int) -> Taken:
        """Forward with a pass under way."""
        follower, way, begin, end = self.follower, turns.way, turns.at, min(end, turns.quiet)
        start = way.sign * follower.position
        place = start + end - begin
        words = turns.switch(follower, end)
        met = way.first_after(place)
        if met > way.met:
            driven = slice(way.first_after(start), met)
            way.driven[driven] = way.selected[driven]
            way.met = met
        way.furthest = max(way.furthest, place)
        way.forward = True
        way.stops += stretch.stops_in(begin, end)
        way.shortest = min(way.shortest, max(stretch.shortest_period(begin, end) // 4, 1))
        while len(way.tenth_ticks) < 9 and place >= way.tenth_line(len(way.tenth_ticks) + 1):
            edge = max(way.tenth_line(len(way.tenth_ticks) + 1) - start - 1, 0)
            way.tenth_ticks.append(int(stretch.ticks[begin + edge]))
        self._move(stretch, begin, end)
        if end < turns.quiet:  # no coil that goes on in these edges comes to its limit before the last of them
            follower.rest_beat = min(follower.rest_beat, follower.clock.ms(int(stretch.at_us[turns.quiet - 1])))
        else:
            follower.rest_beat = follower.heat.soonest(follower.clock.ms())
        return Taken(end - begin, stretch.at_us[turns.word_edges[words]], turns.words[words])

    def _move(self, stretch: Stretch, begin: int, end: int) -> None:
        """What every stretch does, under way or not."""
        follower, step, last, count = self.follower, self.step, end - 1, end - begin
        pins = int(stretch.pins[last])
        follower.reversals += follower.step == -step and not follower.fresh
        follower.step, follower.fresh = step, False
        follower.pins = follower.seen_pins = pins
        follower.differing_beats = 0
        follower.clock.now_us, follower.last_tick = int(stretch.at_us[last]), int(stretch.ticks[last])
        follower.edge_count += count
        follower.shortest = min(follower.shortest, int(stretch.shortest[last]))
        follower.turns_running = 0
        if follower.bed:
            newest = stretch.intervals[max(begin, end - TRAIL) : end].tolist()
            follower.trail_times = [*follower.trail_times, *newest][-TRAIL:]
            follower.trail_steps = [*follower.trail_steps, *[step] * len(newest)][-TRAIL:]
            follower.position += step * count
            follower.lowest = min(follower.lowest, follower.position)
            follower.highest = max(follower.highest, follower.position)
            for switch in follower.switches:
                if not pins & switch.pin:
                    switch.last_on = follower.position, step == switch.way
                elif not follower.certain:
                    switch.left(follower.position)


def _room(follower: Follower, step: int) -> int:
    """How many edges the carriage may go on this way before anything can happen, a needle apart."""
    bed, plan, place = follower.bed, follower.plan, follower.position
    if bed is None:
        return FAR
    limits = [-0x8000, 0x7FFF]
    if follower.certain:
        beyond = BEYOND_NEEDLES * bed.edges_per_needle
        left, right = bed.left_sensor - beyond, bed.right_sensor + beyond
        limits += (left, left - 1, right, right + 1)
        for switch in follower.switches:
            limits += switch.places_of_interest()
    if plan and not follower.under_way:  # the edges that come to a line or leave it
        for left, right in (*follower.gates(), (plan.left_line, plan.right_line)):
            limits += (left + 1, right) if step > 0 else (left, right - 1)
    if step > 0:
        return min([limit for limit in limits if limit > place], default=place + 1) - place - 1
    return place - max([limit for limit in limits if limit < place], default=place - 1) - 1
