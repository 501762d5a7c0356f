"""What keeps a coil from cooking: a budget for each coil (docs/protocol.md, section 8)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from latchline.link.messages import Bed

Whole = npt.NDArray[np.int64]

COILS = 16
SIXTEENTHS = 16
USUAL_DUTY = 8
BEAT_TICKS = 250
NEVER = 1 << 50
FEW = 24  # changes, below which one by one is quicker


def room(bed: Bed) -> int:
    """Edges from a needle to the next one of the same selector."""
    return (bed.count if bed.layout_kind == 1 else 1) * bed.edges_per_needle


def duty(bed: Bed) -> int:
    """Share of the time, in sixteenths, for which a coil may be on in the long run."""
    if bed.duty:
        return bed.duty
    needed = -(-SIXTEENTHS * (bed.advance_max + bed.hold) // room(bed))
    return min(max(USUAL_DUTY, needed + 1), SIXTEENTHS - 1)


class Heat:
    """The budgets, in sixteenths of a tick. Beats are those of the millisecond timer, numbered from the board's start.

    A budget is brought up to date only when it is looked at.
    """

    def __init__(self) -> None:
        self.budget = [0] * COILS
        self.upto = [0] * COILS  # the last beat that is in the budget
        self.on = 0  # bit i is coil i
        self.up = self.down = USUAL_DUTY * BEAT_TICKS  # for each beat on, and off
        self.on_beat = [0] * COILS  # the beat before which a coil went on
        self.limit_ms = self.full = NEVER

    def set_bed(self, bed: Bed, beat: int) -> None:
        """Other limits from now on, with all coils off; the budgets stay as they are."""
        for coil in range(COILS):
            self.settle(coil, beat)
        self.down = BEAT_TICKS * duty(bed)
        self.up = BEAT_TICKS * SIXTEENTHS - self.down
        self.limit_ms, self.full = bed.limit_ms, 2 * bed.limit_ms * self.up

    def settle(self, coil: int, beat: int) -> int:
        """The budget after this beat."""
        passed = beat - self.upto[coil]
        if passed > 0:
            budget = self.budget[coil]
            if self.on >> coil & 1:
                budget = max(0, budget + self.up) + (passed - 1) * self.up
            else:
                budget = max(0, budget - passed * self.down)
            self.budget[coil], self.upto[coil] = budget, beat
        return self.budget[coil]

    def switch(self, coil: int, on: bool, tick: int) -> int:
        """Turn a coil on or off at this tick; tells a beat before which it needs no rest."""
        beat = tick // BEAT_TICKS
        beyond = SIXTEENTHS * (tick - beat * BEAT_TICKS)
        self.settle(coil, beat)
        self.budget[coil] += -beyond if on else beyond
        self._note(coil, on, beat)
        return self._soonest(coil, beat)

    def _note(self, coil: int, on: bool, beat: int) -> None:
        if on:
            self.on |= 1 << coil
            self.on_beat[coil] = beat
        else:
            self.on &= ~(1 << coil)

    def switch_all(self, coils: Whole, on: npt.NDArray[np.bool_], ticks: Whole) -> None:
        """`switch` for many changes; those of one coil are in order, each the other way than the one before.

        A change makes of a budget the larger of `least` and the budget with `more` added, and so do several in a row.
        """
        if len(coils) < FEW:
            for coil, goes_on, tick in zip(coils.tolist(), on.tolist(), ticks.tolist(), strict=True):
                self.switch(coil, goes_on, tick)
            return
        order = coils.argsort(kind="stable")
        coils, on, beats = coils[order], on[order], ticks[order] // BEAT_TICKS
        beyond = SIXTEENTHS * (ticks[order] - beats * BEAT_TICKS)
        first = np.ones(len(coils), bool)
        np.not_equal(coils[1:], coils[:-1], out=first[1:])
        firsts = first.nonzero()[0]
        lasts = [*(firsts[1:] - 1).tolist(), len(coils) - 1]
        switched = coils[firsts].tolist()
        settled = np.empty(len(coils), np.int64)
        settled[1:] = beats[:-1]
        settled[firsts] = [self.upto[coil] for coil in switched]
        passed = beats - settled
        at_switch = np.where(on, -beyond, beyond)
        more = np.where(on, -self.down, self.up) * passed + at_switch  # a coil that goes on was off
        least = np.where(passed > 0, np.where(on, 0, (passed - 1) * self.up) + at_switch, -NEVER)
        so_far = more.cumsum()
        before = (so_far[firsts] - more[firsts]).tolist()
        highest = np.maximum.reduceat(least - so_far, firsts).tolist()
        after, ends, is_on = so_far[lasts].tolist(), beats[lasts].tolist(), on[lasts].tolist()
        for at, coil in enumerate(switched):
            self.budget[coil] = after[at] + max(self.budget[coil] - before[at], highest[at])
            self.upto[coil] = ends[at]
            self._note(coil, is_on[at], ends[at])

    def _soonest(self, coil: int, beat: int) -> int:
        """A beat before which this coil needs no rest."""
        budget = self.budget[coil]
        if self.on >> coil & 1:
            full = beat + max(1, -((budget - self.full) // self.up))
            return min(full, self.on_beat[coil] + self.limit_ms)
        return beat + 1 if budget - self.down >= self.full else NEVER

    def tired(self, coil: int, beat: int) -> bool:
        """Does it need a rest at this beat?"""
        full = self.settle(coil, beat) >= self.full
        return full or (bool(self.on >> coil & 1) and beat - self.on_beat[coil] >= self.limit_ms)

    def rest(self, coil: int) -> None:
        """Off at the very beat that is in the budget already."""
        self.on &= ~(1 << coil)

    def soonest(self, beat: int) -> int:
        """A beat before which no coil needs a rest."""
        soonest = beat + 1 if max(self.budget) >= self.full else NEVER
        on, coil = self.on, 0
        while on:
            if on & 1:
                self.settle(coil, beat)
                soonest = min(soonest, self._soonest(coil, beat))
            on >>= 1
            coil += 1
        return soonest

    def cooled(self, coil: int, beat: int) -> bool:
        """Is its rest over?"""
        return 4 * self.settle(coil, beat) <= 3 * self.full
