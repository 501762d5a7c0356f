"""Shaping as asked for, and the hand steps that it comes to.

Each declaration says before which passes of its band something is due; what exactly is done follows from
where the needles then stand and at which side the carriage is. Passes of a band are numbered from 1
here; one more than the last is after the band.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.errors import InputError
from latchline.plan.hand import Bytes, HandStep, Position
from latchline.shaping.rates import spread
from latchline.shaping.steps import half_the_difference

SIDES = ("left", "right")


@dataclass(frozen=True, eq=False)
class Here:
    """How things stand when something is due.

    before: the pass of the plan. positions: of the span's needles. carriage: the side where it stands.
    """

    before: int
    positions: Bytes
    carriage: str

    def edges(self, least: Position = Position.WORK) -> tuple[int, int]:
        """First and last needle that stand in working position (or in any but non-working)."""
        there = np.flatnonzero(self.positions == Position.WORK if least else self.positions)
        if not len(there):
            raise InputError("no needle is in work", hint="leave some stitches")
        return int(there[0]), int(there[-1])

    def step(self, kind: str, first: int, last: int, by: int = 0, **more: Position | str) -> HandStep:
        return HandStep(self.before, kind, first, last, by, **more)  # type: ignore[arg-type]


Steps = Iterator[HandStep]


@dataclass(frozen=True)
class Due:
    """Something to be done before a pass of the band."""

    before: int
    make: Callable[[Here], Steps]


@dataclass(frozen=True)
class ToWidth:
    """Narrow or widen to so many stitches over the band, at the two rates that come out even.

    side: `both`, `left` or `right`. fashioned: how many edge stitches are moved by one; 0 widens by an
    empty needle. even: only on even rows.
    """

    stitches: int
    side: str = "both"
    fashioned: int = 1
    even: bool = False

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        first, last = here.edges()
        width = last - first + 1
        change = abs(width - self.stitches)
        if self.side == "both":
            change = abs(half_the_difference(width, self.stitches, "shaping"))
        sides = SIDES if self.side == "both" else (self.side,)
        for before in spread(change, passes, even=self.even):
            for side in sides:
                yield Due(before, _edge(side, narrower=self.stitches < width, fashioned=self.fashioned))


@dataclass(frozen=True)
class AtRate:
    """One stitch fewer (by = −1) or more (by = 1) every so many rows, so many times, from a row on."""

    side: str
    by: int
    every: int
    times: int
    fashioned: int = 1
    after: int = 0

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        sides = SIDES if self.side == "both" else (self.side,)
        for number in range(1, self.times + 1):
            for side in sides:
                before = self.after + number * self.every
                yield Due(before, _edge(side, narrower=self.by < 0, fashioned=self.fashioned))


def _edge(side: str, *, narrower: bool, fashioned: int) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        inward = 1 if side == "left" else -1
        outer = first if side == "left" else last
        if narrower:
            if last - first + 1 <= max(fashioned, 1):
                raise InputError("too few stitches are left to narrow", hint="narrow less, or move fewer stitches")
            inner = outer + inward * (max(fashioned, 1) - 1)
            low, high = sorted((outer, inner))
            yield here.step("move", low, high, inward, leaves=Position.OUT)
            return
        fresh = outer - inward
        if not 0 <= fresh < len(here.positions):
            raise InputError("widening leaves the needles of the piece", hint="name more needles under `needles`")
        if not fashioned:
            yield here.step("into-work", fresh, fresh)
            return
        inner = outer + inward * (min(fashioned, last - first + 1) - 1)
        low, high = sorted((outer, inner))
        yield here.step("move", low, high, -inward)
        yield here.step("pick-up", inner, inner)

    return make


@dataclass(frozen=True)
class Groups:
    """Groups of stitches bound off (or cast on) at the carriage's side, one after another.

    side: `both` takes the next two passes for each group, one at each side. after: rows before the first.
    """

    stitches: tuple[int, ...]
    side: str = "both"
    on: bool = False
    after: int = 0

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        sides = (here.carriage, _other(here.carriage))
        at = self.after + 1
        for count in self.stitches:
            for _ in range(2 if self.side == "both" else 1):
                if self.side != "both" and sides[(at - 1) % 2] != self.side:
                    at += 1
                yield Due(at, _group(sides[(at - 1) % 2], count, on=self.on))
                at += 1


def _group(side: str, count: int, *, on: bool) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        if on:
            low, high = (first - count, first - 1) if side == "left" else (last + 1, last + count)
            yield here.step("wrap", low, high)
            return
        if last - first + 1 <= count:
            raise InputError(f"there are no {count} stitches to bind off and some to go on with", hint="bind off fewer")
        low, high = (first, first + count - 1) if side == "left" else (last - count + 1, last)
        yield here.step("bind-off", low, high)

    return make


@dataclass(frozen=True)
class ShortRows:
    """Needles held away from the carriage in steps, the outermost first; each step takes two passes.

    side: `both` (a step at the left and one at the right take two passes together), `left` or `right`.
    release: `at once` after the band, `in steps` the other way round, `later` (some band after it does).
    wraps: whether the needle beside the turn is wrapped.
    """

    steps: tuple[int, ...]
    side: str = "both"
    release: str = "at once"
    wraps: bool = True

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        far = (_other(here.carriage), here.carriage)  # of the odd and of the even passes
        sides = SIDES if self.side == "both" else (self.side,)
        at = 1
        marks = []
        for count in self.steps:
            for _ in sides:
                if far[(at - 1) % 2] not in sides:
                    at += 1
                marks.append((at, far[(at - 1) % 2], count))
                at += 1
        for before, side, count in marks:
            yield Due(before, _held(side, count))
            if self.wraps:
                yield Due(before + 1, _wrapped(side))
        if self.release == "in steps":
            for _, side, count in reversed(marks):
                while far[(at - 1) % 2] != side:
                    at += 1
                yield Due(at, _released(side, count))
                at += 1
        if self.release != "later":
            yield Due(passes + 1, _released_all)


def _held(side: str, count: int) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        if last - first + 1 <= count:
            raise InputError(f"holding {count} more stitches leaves none to knit", hint="make the steps smaller")
        low, high = (first, first + count - 1) if side == "left" else (last - count + 1, last)
        yield here.step("hold", low, high)

    return make


def _wrapped(side: str) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        place = first - 1 if side == "left" else last + 1
        yield here.step("wrap-held", place, place)

    return make


def _released(side: str, count: int) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        low, high = (first - count, first - 1) if side == "left" else (last + 1, last + count)
        yield here.step("release", low, high)

    return make


def _released_all(here: Here) -> Steps:
    held = here.positions == Position.HELD
    for low, high in _stretches(held):
        yield here.step("release", low, high)


@dataclass(frozen=True)
class Neck:
    """A neck divided: the centre taken off, the side away from the carriage held while the other is knitted.

    centre: stitches bound off (or put on a cord). sides: groups bound off at the neck on every other
    row. shoulders: groups at the armhole, from there inwards; the last one is left on the needles. The band's
    passes are shared out to the two sides alike.
    """

    centre: int
    sides: tuple[int, ...] = ()
    shoulders: tuple[int, ...] = ()
    on_cord: bool = False

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        first, last = here.edges()
        left_over = last - first + 1 - self.centre
        half, odd = divmod(left_over, 2)
        each, uneven = divmod(passes, 2)
        if odd or half <= sum(self.sides):
            raise InputError(
                f"a neck of {self.centre} stitches does not lie in the middle of {last - first + 1}"
                if odd
                else f"the neck takes off {sum(self.sides)} stitches a side, and only {half} are there",
                hint="change the centre by one" if odd else "make the neck narrower",
            )
        needed = 2 * max(len(self.sides), len(self.shoulders) - 1) + 2
        if uneven or each % 2 or each < needed:
            raise InputError(
                f"{passes} passes do not knit both sides of the neck",
                hint=f"give a multiple of four, at least {2 * needed + (2 * needed) % 4}",
            )
        beside = half - sum(self.sides)
        if self.shoulders and sum(self.shoulders) != beside:
            raise InputError(
                f"the shoulders take {sum(self.shoulders)} stitches, and {beside} are left beside the neck",
                hint="let the two agree",
            )
        centre = (first + half, last - half)
        near, far = here.carriage, _other(here.carriage)
        yield Due(1, lambda now: self._divide(now, centre, far))
        yield from self._one_side(
            near, neck=[2 * n + 2 for n in range(len(self.sides))], outer_odd=True, each=each, at=0
        )
        yield Due(each + 1, lambda now: _change_sides(now, near, centre))
        yield from self._one_side(
            far, neck=[2 * n + 3 for n in range(len(self.sides))], outer_odd=False, each=each, at=each
        )
        yield Due(passes + 1, _released_all)

    def _divide(self, here: Here, centre: tuple[int, int], far: str) -> Steps:
        yield here.step("onto-cord" if self.on_cord else "bind-off", *centre, words="with a length of yarn of its own")
        first, last = here.edges()
        yield here.step("hold", *((first, centre[0] - 1) if far == "left" else (centre[1] + 1, last)))

    def _one_side(self, side: str, *, neck: list[int], outer_odd: bool, each: int, at: int) -> Iterator[Due]:
        inner = _other(side)
        for before, count in zip(neck, self.sides, strict=True):
            yield Due(at + before, _group(inner, count, on=False))
        groups = self.shoulders[:-1]
        last = each - 1 if outer_odd else each  # the last pass that starts at the armhole
        for number, count in enumerate(groups):
            yield Due(at + last - 2 * (len(groups) - 1 - number), _group(side, count, on=False))


def _change_sides(here: Here, near: str, centre: tuple[int, int]) -> Steps:
    """The side that is knitted is held, the other one released."""
    working, held = here.positions == Position.WORK, here.positions == Position.HELD
    for low, high in _stretches(working):
        yield here.step("hold", low, high, words="break the yarn and join it again at the neck of the other side")
    for low, high in _stretches(held):
        if (low > centre[1]) if near == "left" else (high < centre[0]):
            yield here.step("release", low, high)


@dataclass(frozen=True)
class ByHand:
    """One hand step, of any kind, before a pass of the band; needles are places in the span."""

    before: int
    kind: str
    first: int
    last: int
    by: int = 0
    leaves: Position = Position.WORK
    words: str = ""

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        def make(now: Here) -> Steps:
            yield now.step(self.kind, self.first, self.last, self.by, leaves=self.leaves, words=self.words)

        if not 1 <= self.before <= passes + 1:
            raise InputError(f"row {self.before} is not in the band", hint=f"it has rows 1 to {passes}")
        yield Due(self.before, make)


@dataclass(frozen=True)
class CastOn:
    """The beginning. how: `wrapped`, `every-other` (comb), or `open` (every other needle, no edge to keep).

    first, last: places in the span.
    """

    how: str
    first: int
    last: int

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        if self.how == "wrapped":
            yield Due(1, lambda now: iter([now.step("wrap", self.first, self.last)]))
            return
        yield Due(1, lambda now: iter([now.step("every-other", self.first, self.last)]))
        yield Due(
            2,
            lambda now: iter([now.step("comb", self.first, self.last), now.step("into-work", self.first, self.last)]),
        )


@dataclass(frozen=True)
class AllNeedles:
    """One hand step on every stretch of needles that has loops, before a pass of the band.

    kind: bind-off, take-off, onto-cord, hang-hem.
    """

    before: int
    kind: str

    def due(self, passes: int, here: Here) -> Iterator[Due]:
        def make(now: Here) -> Steps:
            for low, high in _stretches(now.positions != Position.OUT):
                yield now.step(self.kind, low, high)

        yield Due(self.before, make)


Work = ToWidth | AtRate | Groups | ShortRows | Neck | ByHand | CastOn | AllNeedles


def _other(side: str) -> str:
    return "left" if side == "right" else "right"


def _stretches(marks: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    step = np.diff(np.concatenate([[0], marks.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(step == 1).tolist(), (np.flatnonzero(step == -1) - 1).tolist(), strict=True))


def in_order(works: Sequence[Work], passes: int, here: Here) -> list[Due]:
    """What is due in a band of so many passes, in the order in which it is done."""
    due = [item for work in works for item in work.due(passes, here)]
    for item in due:
        if not 1 <= item.before <= passes + 1:
            raise InputError(
                f"the shaping goes on to row {item.before} of the band, which has {passes}",
                hint="knit more rows, or shape less",
            )
    return sorted(due, key=lambda item: item.before)
