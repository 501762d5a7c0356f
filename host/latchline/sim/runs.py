"""Long quiet stretches of edges at one go, for the model board.

A stretch is quiet when every edge steps the same way, no end sensor changes, and nothing happens
in it but that the carriage moves on and selectors follow their needles. The edge at which anything
else happens is left to the board, which takes edges one by one as docs/protocol.md says.
`tests/sim/test_model.py` holds both ways to the same result on random motions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from latchline.sim.face import PIN_LEFT, PIN_RIGHT, Pins, Times
from latchline.sim.way import INTERVAL_MAX, STOP_TICKS, Way, acting_ticks

if TYPE_CHECKING:
    from latchline.link.messages import Bed
    from latchline.sim.model import ModelBoard

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
    return [*(np.flatnonzero(unlike) + 1).tolist(), len(steps)]


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
    intervals = _intervals(board, at_us, way.sign)
    given = 1 + bed.advance // np.maximum(intervals, 1)
    count = min(len(at_us), way.finish_line - start - 1)
    too_fast = np.flatnonzero(given > bed.advance_max)
    if len(too_fast):
        count = min(count, int(too_fast[0]))
    if count < SHORTEST_RUN:
        return 0
    ahead = np.empty(count, np.int64)
    ahead[0] = min(board.advance, bed.advance_max)
    ahead[1:] = given[: count - 1]
    reach = np.maximum.accumulate(np.maximum(np.arange(start + 1, start + count + 1) + ahead, way.reach))

    # Needles whose selector switches on or off in this stretch, and at which edge.
    begin, end = way.first_after(start - bed.hold), way.first_after(int(reach[-1]))
    chosen = begin + np.flatnonzero(way.selected[begin:end])
    points = way.first_point + way.pitch * chosen
    on_edge = np.searchsorted(reach, points)
    on_edge[points <= way.reach] = -1  # was on before
    off_edge = points + bed.hold - start - 1
    coils = way.coils[chosen]
    count = min(count, _first_late(board, bed, at_us[:count], on_edge, points - start - 1, coils))
    if count < SHORTEST_RUN:
        return 0
    share = bed.count if bed.layout_kind == 1 else 1
    tight = bed.advance_max + bed.hold == share * bed.edges_per_needle
    if tight or at_us[count - 1] - at_us[0] >= (bed.limit_ms - 1) * _MS_US:
        count = min(count, _quiet(board, bed, at_us[:count], on_edge, off_edge, coils))
        if count < SHORTEST_RUN:
            return 0

    on = (on_edge >= 0) & (on_edge < count)
    off = off_edge < count
    changes = np.zeros(count, np.int64)
    np.add.at(changes, on_edge[on], 1 << coils[on])
    np.subtract.at(changes, off_edge[off], 1 << coils[off])
    register = board.register + np.cumsum(changes)
    changed = np.flatnonzero(changes)
    words = register[changed].tolist()
    if not (board.reads_well(board.register) and all(map(board.reads_well, words))):
        return 0
    board.out.registers(at_us[changed].tolist(), words)
    still = on & ~off
    for coil, edge in zip(coils[still].tolist(), on_edge[still].tolist(), strict=True):
        board.on_since_ms[coil] = (int(at_us[edge]) - board.started_us) // _MS_US
        board.changed_tick[coil] = board.tick(int(at_us[edge]))
    board.register = int(register[-1])

    driven = slice(way.first_after(start), way.first_after(start + count))
    way.driven[driven] = way.selected[driven]
    way.reach = int(reach[count - 1])
    way.furthest = max(way.furthest, start + count)
    way.forward = True
    intervals = intervals[:count]
    way.stops += int(np.count_nonzero(intervals > STOP_TICKS))
    way.advance = max(way.advance, int(given[:count].max()))
    way.shortest = min(way.shortest, int(intervals.min()))
    while len(way.tenth_ticks) < 9 and start + count >= way.tenth_line(len(way.tenth_ticks) + 1):
        edge = max(way.tenth_line(len(way.tenth_ticks) + 1) - start - 1, 0)
        way.tenth_ticks.append(board.tick(int(at_us[edge])))
    _move(board, at_us[:count], int(pins[count - 1]), way.sign, intervals)
    return count


def _first_late(board: ModelBoard, bed: Bed, at_us: Times, on_edge: Whole, met_edge: Whole, coils: Whole) -> int:
    """The edge at which a needle is met whose selector has had no time to act; the last one is the length."""
    count = len(at_us)
    met = (met_edge >= 0) & (met_edge < count)
    ticks = (at_us - board.started_us) // _TICK_US
    before = np.array(board.changed_tick)[coils[met]]
    on_ticks = np.where(on_edge[met] >= 0, ticks[np.minimum(on_edge[met], count - 1)], before)
    late = ticks[met_edge[met]] - on_ticks < acting_ticks(bed)
    return int(met_edge[met][late].min()) if late.any() else count


def _quiet(board: ModelBoard, bed: Bed, at_us: Times, on_edge: Whole, off_edge: Whole, coils: Whole) -> int:
    """How many edges pass before a coil comes to its limit, or one needle's turn ends as the coil's next begins."""
    count = len(at_us)
    on, off = np.zeros(count, np.int64), np.zeros(count, np.int64)
    now_on = (on_edge >= 0) & (on_edge < count)
    now_off = off_edge < count
    np.bitwise_or.at(on, on_edge[now_on], 1 << coils[now_on])
    np.bitwise_or.at(off, off_edge[now_off], 1 << coils[now_off])
    both = np.flatnonzero(on & off)
    limit = int(both[0]) if len(both) else count
    ms = (at_us - board.started_us) // _MS_US
    begun = on_edge[now_on]
    ended = np.minimum(off_edge[now_on], count - 1)
    cooked = begun[ms[ended] - ms[begun] >= bed.limit_ms]
    return min(limit, int(cooked.min()) + 1) if len(cooked) else limit
