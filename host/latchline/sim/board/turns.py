"""What the selectors do in a stretch of edges with a pass under way, worked out at one go."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable

import numpy as np

from latchline.link.messages import Bed
from latchline.sim.board.follower import Follower
from latchline.sim.board.heat import BEAT_TICKS, COILS, SIXTEENTHS, room
from latchline.sim.board.stretch import Stretch, Whole
from latchline.sim.board.way import Way, acting_ticks

ReadsWell = Callable[[int], bool]


class Turns:
    """For each needle that needs current, in the order in which the pass meets them, its coil, and at which edges the
    coil goes on and off. Edges are counted in the stretch; one outside of it, or before `begin`, is not its own.

    quiet: edges before one at which a needle is met whose selector has had no time, at which one needle's turn
    ends as the same coil's next begins, at which the converter reads a value out of its limits, or before a coil could
    come to its limit.
    words: what the register becomes at `word_edges`.
    """

    def __init__(
        self, follower: Follower, bed: Bed, way: Way, stretch: Stretch, begin: int, reads_well: ReadsWell
    ) -> None:
        """With the carriage before edge `begin`. reads_well: whether the converter does with these coils on."""
        self.way, self.begin, self.ticks = way, begin, stretch.ticks
        place = way.sign * follower.position - begin + 1  # at edge 0
        first = int(way.points.searchsorted(place + begin - 1 - bed.hold, "right"))
        last = int(way.points.searchsorted(place + len(stretch) - 1 + bed.advance_max, "right"))
        edges = way.points[first:last] - place
        self.coils = way.point_coils[first:last]
        self.on, self.off = edges - bed.advance_max, edges + bed.hold
        self.quiet = min(self._in_time(follower, bed, edges), self._apart(bed), self._cool(follower))
        self._switch_in_order(follower.register)
        words = self.words.tolist()
        unwell = {word for word in {follower.register, *words} if not reads_well(word)}
        if follower.register in unwell:
            self.quiet = begin
        elif unwell:
            self.quiet = next(int(edge) for edge, word in zip(self.word_edges, words, strict=True) if word in unwell)

    def _in_time(self, follower: Follower, bed: Bed, edges: Whole) -> int:
        """How many edges come before one at which a needle is met whose selector has had no time."""
        inside = slice(*edges.searchsorted((self.begin, len(self.ticks))).tolist())
        met, went_on = edges[inside], self.on[inside]
        since = self.ticks[np.maximum(went_on, self.begin)]
        for at in range(int(went_on.searchsorted(self.begin))):
            since[at] = follower.changed_tick[int(self.coils[inside.start + at])]
        late = self.ticks[met] - since < acting_ticks(bed)
        return int(met[late.argmax()]) if late.any() else len(self.ticks)

    def _apart(self, bed: Bed) -> int:
        """How many edges come before one at which one needle's turn ends as the same coil's next begins."""
        if bed.advance_max + bed.hold == room(bed):
            follows = np.isin(self.on * COILS + self.coils, self.off * COILS + self.coils) & (self.on >= self.begin)
            if follows.any():
                return int(self.on[follows.argmax()])
        return len(self.ticks)

    def _cool(self, follower: Follower) -> int:
        """How many edges may be taken before a coil could come to its limit; no more than a beat or two too few."""
        heat, end, first_tick = follower.heat, len(self.ticks), int(self.ticks[self.begin])
        began = min([first_tick, *(BEAT_TICKS * heat.upto[coil] for coil in range(COILS) if heat.on >> coil & 1)])
        most_ticks = int(self.ticks[-1]) - began + BEAT_TICKS
        if (
            most_ticks < BEAT_TICKS * heat.limit_ms
            and BEAT_TICKS * max(heat.budget) + most_ticks * heat.up < BEAT_TICKS * heat.full
        ):
            return end
        upto = np.array(heat.upto) * BEAT_TICKS
        went_on = self.on >= self.begin
        begin = np.where(went_on, self.ticks[np.clip(self.on, 0, end - 1)], upto[self.coils])
        stop = self.ticks[np.clip(self.off, 0, end - 1)]
        long = went_on & (stop // BEAT_TICKS - begin // BEAT_TICKS >= heat.limit_ms)
        quiet = int(self.on[long.argmax()]) + 1 if long.any() else end
        up, down, full = heat.up // BEAT_TICKS, heat.down // BEAT_TICKS, heat.full - BEAT_TICKS * SIXTEENTHS
        most = np.array(heat.budget) + up * np.bincount(self.coils, stop - begin, COILS)
        if (most < full).all():
            return quiet
        budget, off_at = list(heat.budget), upto.tolist()
        for coil, on, on_tick, off_tick in zip(
            self.coils.tolist(), self.on.tolist(), begin.tolist(), stop.tolist(), strict=True
        ):
            if on >= self.begin:
                budget[coil] = max(0, budget[coil] - down * (on_tick - off_at[coil]))
            budget[coil] += up * (off_tick - on_tick)
            off_at[coil] = off_tick
            if budget[coil] >= full:
                return min(quiet, max(int(on), self.begin))
        return quiet

    def _switch_in_order(self, register: int) -> None:
        """Every change of a coil, in order; a needle's two are side by side, so that a coil's own keep their order."""
        at = np.empty(2 * len(self.on), np.int64)
        at[::2], at[1::2] = self.on, self.off
        order = at.argsort(kind="stable")
        edges = at[order]
        order = order[slice(*edges.searchsorted((self.begin, self.quiet)).tolist())]
        edges, coils = at[order], self.coils[order // 2]
        self._edges: list[int] = edges.tolist()
        self._changes = list(zip(coils.tolist(), (order % 2 == 0).tolist(), self.ticks[edges].tolist(), strict=True))
        words = np.bitwise_xor.accumulate(1 << coils) ^ register
        last = np.ones(len(edges), bool)
        np.not_equal(edges[1:], edges[:-1], out=last[:-1])
        self.word_edges, self.words = edges[last], words[last]

    def switch(self, follower: Follower, begin: int, end: int) -> slice:
        """Take these edges: tell the coils' budgets, and since when each is on. Which of the words come in them."""
        changes = self._changes[bisect_left(self._edges, begin) : bisect_left(self._edges, end)]
        follower.heat.switch_all(changes)
        for coil, _, tick in changes:
            follower.changed_tick[coil] = tick
        told = slice(*self.word_edges.searchsorted((begin, end)).tolist())
        if told.stop > told.start:
            follower.register = int(self.words[told.stop - 1])
        return told
