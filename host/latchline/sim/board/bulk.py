"""Long quiet stretches of edges at one go, for the model board.

A stretch is quiet when every edge steps the same way, no end sensor changes, and nothing happens
in it but that the carriage moves on and selectors follow their needles. The edge at which anything
else happens is left to the board, which takes edges one by one as docs/protocol.md says.
`tests/sim/test_model.py` holds both ways to the same result on random motions.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from latchline.sim.board.way import INTERVAL_MAX, STOP_TICKS, Way, acting_ticks
from latchline.sim.face import PIN_LEFT, PIN_RIGHT, Pins, Times

if TYPE_CHECKING:
    from latchline.link.messages import Bed
    from latchline.sim.board.board import ModelBoard

Steps = npt.NDArray[np.int8]
Whole = npt.NDArray[np.int64]

IMPOSSIBLE = 2
SHORTEST_RUN, SHORTEST_IDLE = 8, 3  # below these, one by one is quicker
_SENSORS = PIN_LEFT | PIN_RIGHT
_TICK_US, _MS_US = 4, 1000

# Step from one (A, B) to the next: rightward 00 → 10 → 11 → 01 → 00, A being bit 0.
_RIGHTWARD = (0b00, 0b01, 0b11, 0b10)
_STEP = np.full((4, 4), IMPOSSIBLE, np.int8)
for _at in range(4):
    _STEP[_RIGHTWARD[_at], _RIGHTWARD[_at]] = 0
    _STEP[_RIGHTWARD[_at - 1], _RIGHTWARD[_at]] = 1
    _STEP[_RIGHTWARD[_at], _RIGHTWARD[_at - 1]] = -1


def steps(before: int, pins: Pins) -> Steps:
    """The step at each change of the pins: 1 rightward, −1 leftward, 0 neither A nor B, or IMPOSSIBLE."""
    phase = np.empty(len(pins) + 1, np.uint8)
    phase[0] = before & 3
    np.bitwise_and(pins, 3, out=phase[1:])
    found: Steps = _STEP[phase[:-1], phase[1:]]
    return found


def breaks(steps: Steps, pins: Pins) -> list[int]:
    """Where a stretch of like steps and unchanged end sensors ends; the last one is the length."""
    if not len(steps):
        return []
    sensors = pins & _SENSORS
    unlike = (steps[1:] != steps[:-1]) | (sensors[1:] != sensors[:-1])
    return [*(unlike.nonzero()[0] + 1).tolist(), len(steps)]


def take(board: ModelBoard, at_us: Times, pins: Pins, step: int) -> int:
    """Take as many of these edges, all of one stretch, as are quiet; tells how many (0: take one by itself)."""
    count = int(np.searchsorted(at_us, board.wake_us)) if at_us[-1] >= board.wake_us else len(at_us)
    if (
        count < SHORTEST_IDLE
        or step in (0, IMPOSSIBLE)
        or (int(pins[0]) ^ board.seen_pins) & _SENSORS
        or not int(pins[0]) & _SENSORS
        or board.edge_min_us
    ):
        return 0
    if not board.under_way:
        count = min(count, _room(board, step))
        if count < SHORTEST_IDLE:
            return 0
        _move(board, at_us[:count], pins[count - 1], step, _intervals(board, at_us[:count], step))
        return count
    way, bed = board.way, board.bed
    assert way is not None
    assert bed is not None
    if count < SHORTEST_RUN or step != way.sign or bed.active_low or board.at_rest or board.revived:
        return 0
    return _knit(board, bed, way, at_us[:count], pins)


def _intervals(board: ModelBoard, at_us: Times, step: int) -> Whole:
    ticks = (at_us - board.started_us) // _TICK_US
    intervals = ticks.copy()
    intervals[1:] -= ticks[:-1]
    intervals[0] -= board.last_tick
    np.minimum(intervals, INTERVAL_MAX, out=intervals)
    if board.fresh or step != board.step:
        intervals[0] = INTERVAL_MAX
    return intervals


def _room(board: ModelBoard, step: int) -> int:
    """How many edges the carriage may go on this way, no pass being under way, before anything can happen."""
    bed, plan, place = board.bed, board.plan, board.position
    if bed is None:
        return 1 << 30
    limits = [-0x8000, 0x7FFF]
    if board.certain:
        beyond = 64 * bed.edges_per_needle
        left, right = bed.left_sensor - beyond, bed.right_sensor + beyond
        limits += [left, left - 1, right, right + 1]
    if plan:  # the edges that come to a line or leave it
        left, right = plan.left_line, plan.right_line
        limits += [left + 1, right] if step > 0 else [left, right - 1]
    ahead = [(limit - place) * step for limit in limits]
    return min((room - 1 for room in ahead if room > 0), default=0)


def _move(board: ModelBoard, at_us: Times, pins: int, step: int, intervals: Whole) -> None:
    """What every stretch does, under way or not."""
    count = len(at_us)
    board.reversals += board.step == -step and not board.fresh
    board.step, board.fresh = step, False
    board.pins = board.seen_pins = int(pins)
    board.now = int(at_us[-1])
    board.last_tick = board.tick()
    board.edge_count += count
    board.shortest = min(board.shortest, int(intervals.min()))
    if board.bed:
        board.advance = 1 + board.bed.advance // max(int(intervals[-1]), 1)
        board.position += step * count
        board.lowest = min(board.lowest, board.position)
        board.highest = max(board.highest, board.position)


def _knit(board: ModelBoard, bed: Bed, way: Way, at_us: Times, pins: Pins) -> int:
    """A stretch forward with a pass under way."""
    start = way.sign * board.position
    count = min(len(at_us), way.finish_line - start - 1)
    if count < SHORTEST_RUN:
        return 0
    at_us = at_us[:count]
    intervals = _intervals(board, at_us, way.sign)
    given = 1 + bed.advance // np.maximum(intervals, 1)
    reach = np.arange(start + 1, start + count + 1)
    reach[0] = max(start + 1 + min(board.advance, bed.advance_max), way.reach)
    reach[1:] += given[:-1]
    np.maximum.accumulate(reach, out=reach)
    if int(given.max()) > bed.advance_max:
        count = int((given > bed.advance_max).nonzero()[0][0])
    turns = _turns(board, bed, way, start, at_us, reach)
    count = min(count, turns.quiet)
    if count < SHORTEST_RUN:
        return 0
    edges = sorted(edge for edge in turns.changes if edge < count)
    words, word = [], board.register
    for edge in edges:
        word ^= turns.changes[edge]
        words.append(word)
    if not (board.reads_well(board.register) and all(map(board.reads_well, words))):
        return 0
    board.out.registers([turns.at_us[edge] for edge in edges], words)
    board.register = word
    for edge, coil in turns.on:
        if edge < count and word >> coil & 1:
            board.on_since_ms[coil] = (turns.at_us[edge] - board.started_us) // _MS_US
            board.changed_tick[coil] = board.tick(turns.at_us[edge])

    driven = slice(way.first_after(start), way.first_after(start + count))
    way.driven[driven] = way.selected[driven]
    way.reach = int(reach[count - 1])
    way.furthest = max(way.furthest, start + count)
    way.forward = True
    intervals = intervals[:count]
    if int(intervals.max()) > STOP_TICKS:
        way.stops += int(np.count_nonzero(intervals > STOP_TICKS))
    shortest = int(intervals.min())
    way.shortest = min(way.shortest, shortest)
    way.advance = max(way.advance, 1 + bed.advance // max(shortest, 1))
    while len(way.tenth_ticks) < 9 and start + count >= way.tenth_line(len(way.tenth_ticks) + 1):
        edge = max(way.tenth_line(len(way.tenth_ticks) + 1) - start - 1, 0)
        way.tenth_ticks.append(board.tick(turns.at_us[edge]))
    _move(board, at_us[:count], int(pins[count - 1]), way.sign, intervals)
    return count


@dataclass
class _Turns:
    """What the selectors do in a stretch. changes: by edge, the bits of the register that change.

    on: edges at which a coil goes on, and the coil. quiet: edges before anything but this happens.
    """

    at_us: list[int]
    quiet: int
    changes: dict[int, int] = field(default_factory=dict)
    on: list[tuple[int, int]] = field(default_factory=list)


def _turns(board: ModelBoard, bed: Bed, way: Way, start: int, at_us: Times, reach: Whole) -> _Turns:
    """Each selected needle's turn, in the order in which the pass meets them.

    The stretch is quiet up to the edge where a needle is met whose selector has had no time, where one
    needle's turn ends as the same coil's next begins, and while no coil that goes on in it comes to its limit.
    """
    found = _Turns(at_us.tolist(), len(at_us))
    reached, last = reach.tolist(), len(at_us) - 1
    acting_us, limit_ms = acting_ticks(bed) * _TICK_US, bed.limit_ms
    times, changes, begin_us = found.at_us, found.changes, board.started_us
    on = 0
    for index in range(bisect_right(way.points, start - bed.hold), bisect_right(way.points, reached[-1])):
        point, coil = way.points[index], way.point_coils[index]
        bit, met = 1 << coil, point - start - 1
        off = met + bed.hold
        if point > way.reach:
            on = bisect_left(reached, point, on)
            on_us = times[on] - (times[on] - begin_us) % _TICK_US
            if changes.get(on, 0) & bit:
                found.quiet = min(found.quiet, on)
            if (times[min(off, last)] - begin_us) // _MS_US - (on_us - begin_us) // _MS_US >= limit_ms:
                found.quiet = min(found.quiet, on + 1)
            changes[on] = changes.get(on, 0) ^ bit
            found.on.append((on, coil))
        else:
            on_us = begin_us + board.changed_tick[coil] * _TICK_US
        if off <= last:
            changes[off] = changes.get(off, 0) ^ bit
        if 0 <= met <= last and times[met] - (times[met] - begin_us) % _TICK_US - on_us < acting_us:
            found.quiet = min(found.quiet, met)
    return found
