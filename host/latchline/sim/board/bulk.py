"""Long quiet stretches of edges at one go, for the model board.

A stretch is quiet when every edge steps the same way, no sensor changes, and nothing happens
in it but that the carriage moves on and selectors follow their needles. The edge at which anything
else happens is left to the follower, which takes edges one by one as docs/protocol.md says.
`tests/sim/test_model.py` holds both ways to the same result on random motions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.link.messages import TICK_US, Bed
from latchline.sim.board.follower import BEYOND_NEEDLES, BOUNCE_TICKS, GAP, HALT, PERIOD, TRAIL, Follower
from latchline.sim.board.heat import BEAT_TICKS, COILS, SIXTEENTHS, room
from latchline.sim.board.steps import IMPOSSIBLE, SENSORS
from latchline.sim.board.way import INTERVAL_MAX, STOP_TICKS, Way, acting_ticks
from latchline.sim.face import PIN_LEFT, PIN_RIGHT, Pins, Times

Whole = npt.NDArray[np.int64]

SHORTEST_RUN, SHORTEST_IDLE = 8, 3  # below these, one by one is quicker


@dataclass(frozen=True)
class Taken:
    """How many edges were taken, and when the register changed in them, to what."""

    count: int = 0
    at_us: tuple[int, ...] = ()
    registers: tuple[int, ...] = ()


NONE = Taken()


def take(
    follower: Follower, at_us: Times, pins: Pins, step: int, until_us: int, reads_well: Callable[[int], bool]
) -> Taken:
    """Take as many of these edges, all of one stretch, as are quiet and come before `until_us`."""
    count = int(at_us.searchsorted(until_us))
    first = int(pins[0])
    if (
        count < SHORTEST_IDLE
        or step in (0, IMPOSSIBLE)
        or (first ^ follower.seen_pins) & SENSORS
        or not first & (PIN_LEFT | PIN_RIGHT)
        or follower.edge_min_us
        or follower.at_rest
        or (follower.bed and (step != follower.step or follower.fresh or follower.trail_steps[-2:-1] == [-step]))
    ):
        return NONE
    if not _sensors_are_quiet(follower, first):
        return NONE
    count = min(count, _room(follower, step))
    if not follower.under_way:
        return _idle(follower, at_us[:count], pins, step)
    way, bed = follower.way, follower.bed
    assert way is not None
    assert bed is not None
    if count < SHORTEST_RUN or step != way.sign or follower.revived:
        return NONE
    return _knit(follower, bed, way, at_us[:count], pins, reads_well)


def _idle(follower: Follower, at_us: Times, pins: Pins, step: int) -> Taken:
    """A stretch with no pass under way."""
    count = len(at_us)
    if count < SHORTEST_IDLE:
        return NONE
    ticks = _ticks(follower, at_us)
    intervals = _intervals(follower, ticks, step)
    if follower.bed:
        count = _missing(follower.bed, _straight(follower, intervals), count, under_way=False)
        if count < SHORTEST_IDLE:
            return NONE
    _move(follower, int(at_us[count - 1]), ticks[:count], int(pins[count - 1]), step, intervals[:count])
    return Taken(count)


def _sensors_are_quiet(follower: Follower, pins: int) -> bool:
    """Those that are on have said all that they will say."""
    on = [switch for switch in follower.switches if not pins & switch.pin]
    if follower.certain:
        return all(switch.told and not switch.due for switch in on)
    return all(switch.told or switch.first is None for switch in on)


def _ticks(follower: Follower, at_us: Times) -> Whole:
    return (at_us - follower.clock.started_us) // TICK_US


def _intervals(follower: Follower, ticks: Whole, step: int) -> Whole:
    intervals = ticks.copy()
    intervals[1:] -= ticks[:-1]
    intervals[0] -= follower.last_tick
    np.minimum(intervals, INTERVAL_MAX, out=intervals)
    if follower.fresh or step != follower.step:
        intervals[0] = INTERVAL_MAX
    return intervals


def _room(follower: Follower, step: int) -> int:
    """How many edges the carriage may go on this way before anything can happen, a needle apart."""
    bed, plan, place = follower.bed, follower.plan, follower.position
    if bed is None:
        return 1 << 30
    limits = [-0x8000, 0x7FFF]
    if follower.certain:
        beyond = BEYOND_NEEDLES * bed.edges_per_needle
        left, right = bed.left_sensor - beyond, bed.right_sensor + beyond
        limits += [left, left - 1, right, right + 1]
        for switch in follower.switches:
            limits += switch.places_of_interest()
    if plan and not follower.under_way:  # the edges that come to a line or leave it
        for left, right in (*follower.gates(), (plan.left_line, plan.right_line)):
            limits += [left + 1, right] if step > 0 else [left, right - 1]
    return min([room for limit in limits if (room := (limit - place) * step) > 0], default=1) - 1


def _move(follower: Follower, now_us: int, ticks: Whole, pins: int, step: int, intervals: Whole) -> None:
    """What every stretch does, under way or not."""
    count = len(ticks)
    follower.reversals += follower.step == -step and not follower.fresh
    follower.step, follower.fresh = step, False
    follower.pins = follower.seen_pins = pins
    follower.differing_beats = 0
    follower.clock.now_us, follower.last_tick = now_us, int(ticks[-1])
    follower.edge_count += count
    follower.shortest = min(follower.shortest, int(intervals.min()))
    follower.turns_running = 0
    if follower.bed:
        follower.trail_times = [*follower.trail_times, *intervals[-TRAIL:].tolist()][-TRAIL:]
        follower.trail_steps = [*follower.trail_steps, *[step] * min(count, TRAIL)][-TRAIL:]
        follower.position += step * count
        follower.lowest = min(follower.lowest, follower.position)
        follower.highest = max(follower.highest, follower.position)
        for switch in follower.switches:
            if not pins & switch.pin:
                switch.last_on = follower.position, step == switch.way
            elif not follower.certain:
                switch.left(follower.position)


def _knit(follower: Follower, bed: Bed, way: Way, at_us: Times, pins: Pins, reads_well: Callable[[int], bool]) -> Taken:
    """A stretch forward with a pass under way."""
    start = way.sign * follower.position
    count = min(len(at_us), way.finish_line - start - 1)
    if count < SHORTEST_RUN:
        return NONE
    at_us = at_us[:count]
    ticks = _ticks(follower, at_us)
    intervals = _intervals(follower, ticks, way.sign)
    periods, strange = _periods(follower, bed, intervals)
    count = min(count, strange)
    turns = _Turns.of(follower, bed, way, start, ticks)
    count = min(count, turns.quiet)
    if count < SHORTEST_RUN:
        return NONE
    edges, registers = turns.registers(follower.register, count)
    if not (reads_well(follower.register) and all(map(reads_well, set(registers)))):
        return NONE
    turns.switch(follower, count)
    follower.register = registers[-1] if registers else follower.register

    driven = slice(way.first_after(start), way.first_after(start + count))
    way.driven[driven] = way.selected[driven]
    if driven.stop > driven.start:
        way.met = max(way.met, driven.stop)
    way.furthest = max(way.furthest, start + count)
    way.forward = True
    intervals = intervals[:count]
    if int(intervals.max()) > STOP_TICKS:
        way.stops += int(np.count_nonzero(intervals > STOP_TICKS))
    known = len(periods) - (len(at_us) - count)
    if known > 0:
        way.shortest = min(way.shortest, max(int(periods[:known].min()) // 4, 1))
    while len(way.tenth_ticks) < 9 and start + count >= way.tenth_line(len(way.tenth_ticks) + 1):
        edge = max(way.tenth_line(len(way.tenth_ticks) + 1) - start - 1, 0)
        way.tenth_ticks.append(int(ticks[edge]))
    _move(follower, int(at_us[count - 1]), ticks[:count], int(pins[count - 1]), way.sign, intervals)
    follower.rest_beat = follower.heat.soonest(follower.clock.ms())
    return Taken(count, tuple(at_us[edges].tolist()), tuple(registers))


def _straight(follower: Follower, intervals: Whole) -> Whole:
    """The times between the edges that have gone this way without a turn, up to the last of these."""
    straight = 0
    for step in reversed(follower.trail_steps):
        if step != follower.step:
            break
        straight += 1
    known = follower.trail_times[len(follower.trail_times) - straight + 1 :] if straight else []
    return np.concatenate([known, intervals]).astype(np.int64)


def _missing(bed: Bed, times: Whole, count: int, *, under_way: bool) -> int:
    """How many of the last `count` edges come before one at which edges are missing."""
    longer = np.maximum(times[:-2], times[2:])
    missing = (times[1:-1] > GAP * longer) & (longer <= bed.brisk)
    if not under_way:
        missing &= (times[1:-1] // HALT < longer) | (times[2:] < BOUNCE_TICKS)
    if not missing.any():
        return count
    edges = missing.nonzero()[0] + count - len(missing)
    edges = edges[edges >= 0]
    return int(edges[0]) if len(edges) else count


def _periods(follower: Follower, bed: Bed, intervals: Whole) -> tuple[Whole, int]:
    """The period at each of these edges that has one, the last one being that of the last edge; and how many edges come
    before one at which the carriage is too fast or edges are missing."""
    times = _straight(follower, intervals)
    strange = _missing(bed, times, len(intervals), under_way=True)
    ends = np.concatenate([[0], np.cumsum(times)])
    periods = (ends[PERIOD:] - ends[:-PERIOD])[-len(intervals) :]  # those before are seen to
    if len(periods) and bed.advance_max * int(periods.min()) <= 4 * bed.advance:
        fast = bed.advance_max * periods <= 4 * bed.advance
        strange = min(strange, int(fast.argmax()) + len(intervals) - len(periods))
    return periods, max(strange, 0)


@dataclass
class _Turns:
    """What the selectors do in a stretch: for each needle that needs current, in the order in which the pass meets
    them, its coil, and at which edges of the stretch the coil goes on and off. An edge below 0 is before it, one
    from its length on after it.

    quiet: edges before one at which a needle is met whose selector has had no time, at which one needle's turn
    ends as the same coil's next begins, or before a coil could come to its limit.
    """

    coils: Whole
    on: Whole
    off: Whole
    ticks: Whole  # when each edge is
    quiet: int

    @classmethod
    def of(cls, follower: Follower, bed: Bed, way: Way, start: int, ticks: Whole) -> _Turns:
        count = len(ticks)
        begin = int(way.points.searchsorted(start - bed.hold, "right"))
        end = int(way.points.searchsorted(start + count + bed.advance_max, "right"))
        edges = way.points[begin:end] - start - 1
        coils = way.point_coils[begin:end]
        on, off = edges - bed.advance_max, edges + bed.hold
        turns = cls(coils, on, off, ticks, count)
        inside = slice(*edges.searchsorted((0, count)).tolist())
        met, went_on = edges[inside], on[inside]
        since = ticks[np.maximum(went_on, 0)]
        for at in range(int(went_on.searchsorted(0))):
            since[at] = follower.changed_tick[int(coils[inside.start + at])]
        late = ticks[met] - since < acting_ticks(bed)
        if late.any():
            turns.quiet = int(met[late.argmax()])
        if bed.advance_max + bed.hold == room(bed):
            follows = np.isin(on * COILS + coils, off * COILS + coils) & (on >= 0)
            if follows.any():
                turns.quiet = min(turns.quiet, int(on[follows.argmax()]))
        turns.quiet = min(turns.quiet, turns._cool(follower))
        return turns

    def _cool(self, follower: Follower) -> int:
        """How many edges may be taken before a coil could come to its limit; no more than a beat or two too few."""
        heat, last = follower.heat, len(self.ticks) - 1
        began = min(
            [int(self.ticks[0]), *(BEAT_TICKS * heat.upto[coil] for coil in range(COILS) if heat.on >> coil & 1)]
        )
        most_ticks = int(self.ticks[-1]) - began + BEAT_TICKS
        if (
            most_ticks < BEAT_TICKS * heat.limit_ms
            and BEAT_TICKS * max(heat.budget) + most_ticks * heat.up < BEAT_TICKS * heat.full
        ):
            return last + 1
        upto = np.array(heat.upto) * BEAT_TICKS
        begin = np.where(self.on >= 0, self.ticks[np.clip(self.on, 0, last)], upto[self.coils])
        end = self.ticks[np.clip(self.off, 0, last)]
        long = (self.on >= 0) & (end // BEAT_TICKS - begin // BEAT_TICKS >= heat.limit_ms)
        quiet: int = int(self.on[long.argmax()]) + 1 if long.any() else last + 1
        up, down, full = heat.up // BEAT_TICKS, heat.down // BEAT_TICKS, heat.full - BEAT_TICKS * SIXTEENTHS
        most = np.array(heat.budget) + up * np.bincount(self.coils, end - begin, COILS)
        if (most < full).all():
            return quiet
        budget, off_at = list(heat.budget), upto.tolist()
        for coil, on, went_on, went_off in zip(
            self.coils.tolist(), self.on.tolist(), begin.tolist(), end.tolist(), strict=True
        ):
            if on >= 0:
                budget[coil] = max(0, budget[coil] - down * (went_on - off_at[coil]))
            budget[coil] += up * (went_off - went_on)
            off_at[coil] = went_off
            if budget[coil] >= full:
                return min(quiet, max(int(on), 0))
        return quiet

    def registers(self, register: int, count: int) -> tuple[Whole, list[int]]:
        """Edges at which the register changes, and to what."""
        edges = np.concatenate([self.on, self.off])
        bits = np.concatenate([1 << self.coils, 1 << self.coils])
        inside = (edges >= 0) & (edges < count)
        edges, bits = edges[inside], bits[inside]
        order = np.argsort(edges, kind="stable")
        edges, words = edges[order], np.bitwise_xor.accumulate(bits[order]) ^ register
        last = np.append(edges[1:] != edges[:-1], True)[: len(edges)]
        return edges[last], words[last].tolist()

    def switch(self, follower: Follower, count: int) -> None:
        """Tell the coils' budgets, and since when each is on."""
        at = np.stack([self.on, self.off], axis=1).ravel()  # a needle's two edges side by side
        inside = ((at >= 0) & (at < count)).nonzero()[0]
        coils = self.coils[inside // 2].tolist()
        ticks = self.ticks[at[inside]].tolist()
        follower.heat.switch_all(zip(coils, (inside % 2 == 0).tolist(), ticks, strict=True))
        for coil, tick in zip(coils, ticks, strict=True):
            follower.changed_tick[coil] = tick
