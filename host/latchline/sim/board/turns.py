"""What the selectors do in a stretch of edges with a pass under way, worked out at one go."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from latchline.link.messages import Bed
from latchline.sim.board.follower import Follower
from latchline.sim.board.heat import BEAT_TICKS, COILS, SIXTEENTHS, room
from latchline.sim.board.stretch import Stretch, Whole, first_from
from latchline.sim.board.way import Way, acting_ticks

ReadsWell = Callable[[int], bool]


class Turns:
    """For each needle that needs current, in the order in which the pass meets them, its coil, and at which edges the
    coil goes on and off. Edges are counted in the stretch; one outside of it, or before `at`, is not its own.

    at: the edge that comes next. quiet: edges before one at which anything else happens than that the carriage moves
    on and the coils are switched so. words: what the register becomes at `word_edges`.
    """

    def __init__(self, follower: Follower, bed: Bed, way: Way, stretch: Stretch, at: int) -> None:
        self.way, self.at, self.ticks = way, at, stretch.ticks
        place = way.sign * follower.position - at + 1  # at edge 0
        first = int(way.points.searchsorted(place + at - 1 - bed.hold, "right"))
        last = int(way.points.searchsorted(place + len(stretch) - 1 + bed.advance_max, "right"))
        edges = way.points[first:last] - place
        self.coils = way.point_coils[first:last]
        self.on, self.off = edges - bed.advance_max, edges + bed.hold
        self.quiet = min(self._in_time(follower, bed, edges), self._apart(bed), self._cool(follower))
        self._switch_in_order(follower.register)

    @classmethod
    def of(cls, follower: Follower, stretch: Stretch, at: int, limit: int, reads_well: ReadsWell) -> Turns | None:
        """Those of the pass under way from edge `at` on; None: the next edge is not quiet.

        limit: an edge before which the sensors say nothing. reads_well: whether the converter does with these coils on.
        """
        bed, way = follower.bed, follower.way
        if (
            bed is None
            or way is None
            or stretch.step != way.sign
            or follower.revived
            or not reads_well(follower.register)
        ):
            return None
        turns = cls(follower, bed, way, stretch, at)
        finish = at + way.finish_line - way.sign * follower.position - 1
        words = turns.words.tolist()
        unwell = {word for word in set(words) if not reads_well(word)}
        turns.quiet = min(
            turns.quiet,
            limit,
            finish,
            first_from(stretch.gone_under_way, at, limit),
            first_from(stretch.fast, at, limit),
            *[edge for edge, word in zip(turns.word_edges.tolist(), words, strict=True) if word in unwell][:1],
        )
        return turns if turns.quiet > at else None

    def hold(self, follower: Follower, at: int) -> bool:
        """Are they still those of the edges from `at` on?"""
        return (
            at == self.at < self.quiet
            and follower.way is self.way
            and follower.under_way
            and not (follower.fresh or follower.at_rest or follower.revived)
        )

    def _in_time(self, follower: Follower, bed: Bed, edges: Whole) -> int:
        """How many edges come before one at which a needle is met whose selector has had no time."""
        inside = slice(*edges.searchsorted((self.at, len(self.ticks))).tolist())
        met, went_on = edges[inside], self.on[inside]
        since = self.ticks[np.maximum(went_on, self.at)]
        for at in range(int(went_on.searchsorted(self.at))):
            since[at] = follower.changed_tick[int(self.coils[inside.start + at])]
        late = self.ticks[met] - since < acting_ticks(bed)
        return int(met[late.argmax()]) if late.any() else len(self.ticks)

    def _apart(self, bed: Bed) -> int:
        """How many edges come before one at which one needle's turn ends as the same coil's next begins."""
        if bed.advance_max + bed.hold == room(bed):
            follows = np.isin(self.on * COILS + self.coils, self.off * COILS + self.coils) & (self.on >= self.at)
            if follows.any():
                return int(self.on[follows.argmax()])
        return len(self.ticks)

    def _cool(self, follower: Follower) -> int:
        """How many edges may be taken before a coil could come to its limit; no more than a beat or two too few."""
        heat, end, first_tick = follower.heat, len(self.ticks), int(self.ticks[self.at])
        began = min([first_tick, *(BEAT_TICKS * heat.upto[coil] for coil in range(COILS) if heat.on >> coil & 1)])
        most_ticks = int(self.ticks[-1]) - began + BEAT_TICKS
        if (
            most_ticks < BEAT_TICKS * heat.limit_ms
            and BEAT_TICKS * max(heat.budget) + most_ticks * heat.up < BEAT_TICKS * heat.full
        ):
            return end
        upto = np.array(heat.upto) * BEAT_TICKS
        went_on = self.on >= self.at
        begin = np.where(went_on, self.ticks.take(self.on, mode="clip"), upto[self.coils])
        stop = self.ticks.take(self.off, mode="clip")
        long = went_on & (stop // BEAT_TICKS - begin // BEAT_TICKS >= heat.limit_ms)
        quiet = int(self.on[long.argmax()]) + 1 if long.any() else end
        up, down, full = heat.up // BEAT_TICKS, heat.down // BEAT_TICKS, heat.full - BEAT_TICKS * SIXTEENTHS
        most = np.array(heat.budget) + up * np.bincount(self.coils, stop - begin, COILS)
        if int(most.max()) < full:
            return quiet
        budget, off_at = list(heat.budget), upto.tolist()
        for coil, on, on_tick, off_tick in zip(
            self.coils.tolist(), self.on.tolist(), begin.tolist(), stop.tolist(), strict=True
        ):
            if on >= self.at:
                budget[coil] = max(0, budget[coil] - down * (on_tick - off_at[coil]))
            budget[coil] += up * (off_tick - on_tick)
            off_at[coil] = off_tick
            if budget[coil] >= full:
                return min(quiet, max(int(on), self.at))
        return quiet

    def _switch_in_order(self, register: int) -> None:
        """Every change of a coil, in order; a needle's two are side by side, so that a coil's own keep their order."""
        at = np.empty(2 * len(self.on), np.int64)
        at[::2], at[1::2] = self.on, self.off
        order = at.argsort(kind="stable")
        edges = at[order]
        order = order[slice(*edges.searchsorted((self.at, self.quiet)).tolist())]
        edges, coils = at[order], self.coils[order // 2]
        self._edges = edges
        self._coils, self._goes_on, self._ticks = coils, order % 2 == 0, self.ticks[edges]
        words = np.bitwise_xor.accumulate(1 << coils) ^ register
        last = np.ones(len(edges), bool)
        np.not_equal(edges[1:], edges[:-1], out=last[:-1])
        self.word_edges, self.words = edges[last], words[last]

    def switch(self, follower: Follower, end: int) -> slice:
        """Take the edges up to this one: tell the coils' budgets, and since when each is on. Tells which words come."""
        changes = slice(*self._edges.searchsorted((self.at, end)).tolist())
        coils, ticks = self._coils[changes], self._ticks[changes]
        follower.heat.switch_all(coils, self._goes_on[changes], ticks)
        for coil, tick in dict(zip(coils.tolist(), ticks.tolist(), strict=True)).items():
            follower.changed_tick[coil] = tick
        words = slice(*self.word_edges.searchsorted((self.at, end)).tolist())
        if words.stop > words.start:
            follower.register = int(self.words[words.stop - 1])
        self.at = end
        return words
