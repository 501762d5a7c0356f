"""A stretch of edges that step the same way, and what their times say of them."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
import numpy.typing as npt

from latchline.link.messages import TICK_US, Bed
from latchline.sim.board.follower import BOUNCE_TICKS, GAP, HALT, PERIOD, Follower
from latchline.sim.board.way import INTERVAL_MAX, STOP_TICKS
from latchline.sim.face import Pins, Times

Whole = npt.NDArray[np.int64]


class Stretch:
    """The edges that the follower takes next; it may have taken some by itself, the times say the same of the others.

    at_us, pins: as the board is told. ticks: when, by the board's clock. intervals: ticks since the edge before.
    shortest: the least interval up to each edge. periods: the ticks of the last four edges at each, none known
    before the first of the list. gone, gone_under_way: edges at which edges are missing, with a pass under way or
    not. fast: those at which the carriage is too fast. stops: those before which it stood.
    """

    def __init__(self, follower: Follower, at_us: Times, pins: Pins, step: int) -> None:
        self.at_us, self.pins, self.step = at_us, pins, step
        self.ticks: Whole = (at_us - follower.clock.started_us) // TICK_US
        self.intervals = self.ticks.copy()
        self.intervals[1:] -= self.ticks[:-1]
        self.intervals[0] -= follower.last_tick
        np.minimum(self.intervals, INTERVAL_MAX, out=self.intervals)
        if follower.fresh or step != follower.step:
            self.intervals[0] = INTERVAL_MAX
        self.shortest = np.minimum.accumulate(self.intervals)
        self.stops = (self.intervals > STOP_TICKS).nonzero()[0].tolist()
        if follower.bed:
            self._look_at_times(follower.bed, _straight(follower))

    def __len__(self) -> int:
        return len(self.at_us)

    def _look_at_times(self, bed: Bed, known: list[int]) -> None:
        """known: between the edges before that have gone this way without a turn."""
        times = np.concatenate([np.array(known, np.int64), self.intervals])
        longer = np.maximum(times[:-2], times[2:])
        leaps = times[2:] < BOUNCE_TICKS
        gone = (times[1:-1] > GAP * longer) & ((longer <= bed.brisk) | leaps)
        self.gone, self.gone_under_way = [], []
        if gone.any():
            self.gone_under_way = self._edges(gone)
            self.gone = self._edges(gone & ((times[1:-1] // HALT < longer) | leaps))
        ends = np.zeros(len(times) + 1, np.int64)
        times.cumsum(out=ends[1:])
        self.periods = (ends[PERIOD:] - ends[:-PERIOD])[-len(self) :]
        self.fast = self._edges(bed.advance_max * self.periods <= 4 * bed.advance)

    def _edges(self, told: npt.NDArray[np.bool_]) -> list[int]:
        """The edges told of in a list whose last entry is the last edge's; those before are seen to."""
        edges: list[int] = (told.nonzero()[0] + len(self) - len(told)).tolist()
        return edges[bisect_left(edges, 0) :]

    def shortest_period(self, begin: int, end: int) -> int:
        """The shortest of the periods at these edges; without any, longer than every one."""
        unknown = len(self) - len(self.periods)
        return int(self.periods[max(begin - unknown, 0) : max(end - unknown, 0)].min(initial=PERIOD * INTERVAL_MAX))

    def stops_in(self, begin: int, end: int) -> int:
        """How many of these edges the carriage came to after standing still."""
        return bisect_left(self.stops, end) - bisect_left(self.stops, begin) if self.stops else 0


def _straight(follower: Follower) -> list[int]:
    """The times between the edges that have gone this way without a turn, up to the last of these."""
    straight = 0
    for step in reversed(follower.trail_steps):
        if step != follower.step:
            break
        straight += 1
    return follower.trail_times[len(follower.trail_times) - straight + 1 :] if straight else []


def first_from(edges: list[int], at: int, otherwise: int) -> int:
    """The first of these edges, which are in order, that is not before `at`."""
    if not edges:
        return otherwise
    index = bisect_left(edges, at)
    return edges[index] if index < len(edges) else otherwise
