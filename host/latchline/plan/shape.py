"""Shaping as asked for, and the hand steps that it comes to.

Each declaration says before which rows of its band something is due; what exactly is done follows from
where the needles then stand and at which side the carriage is. Rows of a band are numbered from 1 here; one more
than the last is after the band. A row is one pass, but for colours that are spread over several; there the carriage may
stand on the same side before each row, and what would be done where the yarn is takes a length of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from latchline.counted import counted
from latchline.errors import InputError
from latchline.plan.hand import NEW_YARN, WORK, Bytes, HandStep, Position
from latchline.plan.signs import Asked, Signs
from latchline.shaping.rates import spread
from latchline.shaping.steps import armhole, half_the_difference, level_steps, round_neck

SIDES = ("left", "right")


@dataclass(frozen=True, eq=False)
class Here:
    """How things stand when something is due.

    before: the pass of the plan. positions: of the span's needles. carriage: the side where it stands.
    alternates: whether it stands at the other side before each next row of the band.
    """

    before: int
    positions: Bytes
    carriage: str
    alternates: bool = True

    def edges(self) -> tuple[int, int]:
        """First and last needle that stand in working position."""
        there = self.positions == WORK
        first = int(there.argmax())
        if not there[first]:
            raise InputError("no needle is in work", hint="leave some stitches")
        return first, len(there) - 1 - int(there[::-1].argmax())

    def step(self, kind: str, first: int, last: int, by: int = 0, **more: Position | str) -> HandStep:
        return HandStep(self.before, kind, first, last, by, **more)  # type: ignore[arg-type]


Steps = Iterator[HandStep]
OWN_LENGTH = "with a length of yarn of its own"
NO_ROOM = "no-room"  # the name of the complaint that a piece takes more needles than it has been given


def _no_room() -> InputError:
    return InputError("widening leaves the bed", hint="begin on fewer needles, or nearer to the middle", name=NO_ROOM)


@dataclass(frozen=True)
class Due:
    """Something to be done before a row of the band.

    within: whether one of its rows must follow. asked: where it was asked for.
    """

    before: int
    make: Callable[[Here], Steps]
    within: bool = False
    asked: str = ""


@dataclass(frozen=True)
class ToWidth(Asked):
    """Narrow or widen to so many stitches over the band, at the two rates that come out even.

    side: `both`, `left` or `right`. fashioned: how many edge stitches are moved by one; 0 widens by an
    empty needle. even: only on even rows. nearest: an odd stitch may be left out.
    """

    stitches: int
    side: str = "both"
    fashioned: int = 1
    even: bool = False
    nearest: bool = False

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        first, last = here.edges()
        width, wanted = last - first + 1, self.settled(here)
        change = abs(width - wanted)
        if self.side == "both":
            change = abs(half_the_difference(width, wanted, "shaping"))
        sides = SIDES if self.side == "both" else (self.side,)
        for before in spread(change, rows, even=self.even):
            for side in sides:
                yield Due(before, _edge(side, narrower=self.stitches < width, fashioned=self.fashioned))

    def settled(self, here: Here) -> int:
        """The stitches that it becomes: with `nearest` one nearer to those there are where one would be left over."""
        first, last = here.edges()
        width = last - first + 1
        odd = self.nearest and self.side == "both" and (width - self.stitches) % 2
        return self.stitches + (odd if self.stitches < width else -odd)


@dataclass(frozen=True)
class AtRate(Asked):
    """One stitch fewer (by = −1) or more (by = 1) every so many rows, so many times, from a row on."""

    side: str
    by: int
    every: int
    times: int
    fashioned: int = 1
    after: int = 0

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        sides = SIDES if self.side == "both" else (self.side,)
        for number in range(1, self.times + 1):
            for side in sides:
                before = self.after + number * self.every
                yield Due(before, _edge(side, narrower=self.by < 0, fashioned=self.fashioned), within=True)


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
            raise _no_room()
        if not fashioned:
            yield here.step("into-work", fresh, fresh)
            return
        inner = outer + inward * (min(fashioned, last - first + 1) - 1)
        low, high = sorted((outer, inner))
        yield here.step("move", low, high, -inward)
        yield here.step("pick-up", inner, inner)

    return make


@dataclass(frozen=True)
class Groups(Asked):
    """Groups of stitches bound off (or cast on) at the carriage's side, one after another.

    side: `both` takes the next two rows for each group, one at each side. after: rows before the first.
    """

    stitches: tuple[int, ...]
    side: str = "both"
    on: bool = False
    after: int = 0

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        sides = (here.carriage, _other(here.carriage))
        at = self.after + 1
        for count in self.stitches:
            for _ in range(2 if self.side == "both" else 1):
                if self.side != "both" and here.alternates and sides[(at - 1) % 2] != self.side:
                    at += 1
                side = sides[(at - 1) % 2] if self.side == "both" or here.alternates else self.side
                yield Due(at, _group(side, count, on=self.on), within=True)
                at += 1 if self.side == "both" or here.alternates else 2


@dataclass(frozen=True)
class Armhole(Asked):
    """Both armholes, until so many stitches are left between them: half of them at once, the rest one by one.

    nearest: an odd stitch may be left.
    """

    stitches: int
    nearest: bool = False

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        first, last = here.edges()
        return Groups(armhole(last - first + 1, self.settled(here))).due(rows, here)

    def settled(self, here: Here) -> int:
        """The stitches that are left: with `nearest` one more where one would be left over."""
        first, last = here.edges()
        return self.stitches + (self.nearest and (last - first + 1 - self.stitches) % 2)


def _group(side: str, count: int, *, on: bool) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        own_length = "" if here.carriage == side else OWN_LENGTH
        if on:
            low, high = (first - count, first - 1) if side == "left" else (last + 1, last + count)
            if low < 0 or high >= len(here.positions):
                raise _no_room()
            yield here.step("wrap", low, high, words=own_length)
            return
        if last - first + 1 <= count:
            raise InputError(f"binding off {counted(count, 'stitch')} leaves none to go on with", hint="bind off fewer")
        low, high = (first, first + count - 1) if side == "left" else (last - count + 1, last)
        yield here.step("bind-off", low, high, words=own_length)

    return make


@dataclass(frozen=True)
class ShortRows(Asked):
    """Needles held away from the carriage in steps, the outermost first; each step takes two passes.

    side: `both` (a step at the left and one at the right take two passes together), `left` or `right`.
    release: `at once` after the last step, `in steps` the other way round, `later` (by a hand step).
    wraps: whether the needle beside the turn is wrapped.
    """

    steps: tuple[int, ...]
    side: str = "both"
    release: str = "at once"
    wraps: bool = True

    def due(self, rows: int, here: Here) -> Iterator[Due]:
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
            yield Due(before, _held(side, count), within=True)
            if self.wraps:
                yield Due(before + 1, _wrapped(side))
        if self.release == "in steps":
            for _, side, count in reversed(marks):
                while far[(at - 1) % 2] != side:
                    at += 1
                yield Due(at, _released(side, count))
                at += 1
        elif self.release == "at once":
            yield Due(marks[-1][0] + (1 if self.side == "both" else 2), _released_all)


def _held(side: str, count: int) -> Callable[[Here], Steps]:
    def make(here: Here) -> Steps:
        first, last = here.edges()
        if last - first + 1 <= count:
            raise InputError(
                f"holding {counted(count, 'more stitch')} leaves none to knit", hint="make the steps smaller"
            )
        if here.carriage == side:
            raise InputError(
                "needles are held away from the carriage, which stands on this side before the row",
                hint="hold those of the other side, or in a band whose rows are one pass each",
            )
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
class Neck(Asked):
    """A neck divided: the centre taken off, the side away from the carriage held while the other is knitted.

    width: stitches that the whole neck takes off. centre: of these bound off (or put on a cord) at once, and
    sides: groups bound off at each side on every other row; a centre of 0: a round neck. shoulders: groups
    at the armhole, from there inwards, the last of which is left on the needles; without them as many
    as shoulder_steps, as level as they go. nearest: the neck may be one stitch narrower. The band's passes are
    shared out to the two sides alike.
    """

    width: int
    centre: int = 0
    sides: tuple[int, ...] = ()
    shoulders: tuple[int, ...] = ()
    shoulder_steps: int = 1
    back: bool = False
    on_cord: bool = False
    nearest: bool = False

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        first, last = here.edges()
        stitches, width = last - first + 1, self.settled(here)
        beside = half_the_difference(stitches, width, "a neck")
        if beside < 1:
            raise InputError(
                f"a neck of {counted(width, 'stitch')} leaves no shoulders of {stitches}", hint="make it narrower"
            )
        centre, sides = (self.centre, self.sides) if self.centre else round_neck(width, back=self.back)
        if centre + 2 * sum(sides) != width:
            raise InputError(
                f"centre and groups at both sides take {counted(centre + 2 * sum(sides), 'stitch')} "
                f"of the neck's {width}",
                hint="let the two agree",
            )
        shoulders = self.shoulders or level_steps(beside, self.shoulder_steps)
        if sum(shoulders) != beside:
            raise InputError(
                f"the shoulders take {counted(sum(shoulders), 'stitch')}, "
                f"and {beside} {'is' if beside == 1 else 'are'} left beside the neck",
                hint="let the two agree",
            )
        each = rows // 2
        needed = 2 * max(len(sides), len(shoulders) - 1) + 2
        if rows % 4 or each < needed:
            raise InputError(
                f"{counted(rows, 'row does', 'rows do')} not knit both sides of the neck",
                hint=f"give a multiple of four, at least {-(-2 * needed // 4) * 4}",
            )
        middle = (first + beside + sum(sides), last - beside - sum(sides))
        near, far = here.carriage, _other(here.carriage)
        yield Due(1, lambda now: self._divide(now, middle, far))
        yield from _one_side(near, sides, shoulders[:-1], neck_from=2, armhole_to=each - 1, at=0)
        yield Due(each + 1, lambda now: _change_sides(now, near, middle))
        yield from _one_side(far, sides, shoulders[:-1], neck_from=3, armhole_to=each, at=each)
        yield Due(rows + 1, _released_all)

    def settled(self, here: Here) -> int:
        """The neck's stitches: with `nearest` one fewer where one would be left over."""
        first, last = here.edges()
        return self.width - (self.nearest and (last - first + 1 - self.width) % 2)

    def _divide(self, here: Here, centre: tuple[int, int], far: str) -> Steps:
        yield here.step("onto-cord" if self.on_cord else "bind-off", *centre, words=OWN_LENGTH)
        first, last = here.edges()
        yield here.step("hold", *((first, centre[0] - 1) if far == "left" else (centre[1] + 1, last)))


def _one_side(
    side: str, neck: tuple[int, ...], shoulder: tuple[int, ...], *, neck_from: int, armhole_to: int, at: int
) -> Iterator[Due]:
    """Groups at the neck from a pass on and at the armhole up to one, on every other pass; `at` passes before them."""
    for number, count in enumerate(neck):
        yield Due(at + neck_from + 2 * number, _group(_other(side), count, on=False))
    for number, count in enumerate(shoulder):
        yield Due(at + armhole_to - 2 * (len(shoulder) - 1 - number), _group(side, count, on=False))


def _change_sides(here: Here, near: str, centre: tuple[int, int]) -> Steps:
    """The side that is knitted is held, the other one released."""
    working, held = here.positions == Position.WORK, here.positions == Position.HELD
    for low, high in _stretches(working):
        yield here.step("hold", low, high, words=NEW_YARN)
    for low, high in _stretches(held):
        if (low > centre[1]) if near == "left" else (high < centre[0]):
            yield here.step("release", low, high)


_STANDS = {"wrap-held": Position.HELD, "release": Position.HELD, "into-work": Position.OUT}  # some of its needles


@dataclass(frozen=True)
class ByHand(Asked):
    """One hand step, of any kind, before a pass of the band; needles are places in the span."""

    before: int
    kind: str
    first: int
    last: int
    by: int = 0
    leaves: Position = Position.WORK
    words: str = ""

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        def make(now: Here) -> Steps:
            yield now.step(self.kind, self.first, self.last, self.by, leaves=self.leaves, words=self.words)
            here = now.positions[self.first : self.last + 1]  # looked at after the step has been named
            wanted = _STANDS.get(self.kind)
            if wanted is not None and not (here == wanted).any():
                names = {Position.HELD: "is held", Position.OUT: "is out of work"}
                raise InputError(f"none of these needles {names[wanted]}", hint="look at the row, or leave this out")

        if not 1 <= self.before <= rows + 1:
            raise InputError(
                f"row {self.before} is not in the band", hint=f"it has rows 1 to {rows}; {rows + 1} is after it"
            )
        yield Due(self.before, make)


@dataclass(frozen=True)
class CastOn(Asked):
    """The beginning. how: `wrapped`, `every-other` (comb), or `open` (every other needle, no edge to keep).

    first, last: places in the span.
    """

    how: str
    first: int
    last: int

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        if self.how == "wrapped":
            yield Due(1, lambda now: iter([now.step("wrap", self.first, self.last)]))
            return
        yield Due(1, lambda now: iter([now.step("every-other", self.first, self.last)]))
        yield Due(
            2,
            lambda now: iter([now.step("comb", self.first, self.last), now.step("into-work", self.first, self.last)]),
        )


@dataclass(frozen=True)
class AllNeedles(Asked):
    """One hand step on every stretch of needles that has loops, before a pass of the band; None: after it.

    kind: bind-off, take-off, onto-cord, hang-hem, lift-hem.
    """

    before: int | None
    kind: str

    def due(self, rows: int, here: Here) -> Iterator[Due]:
        def make(now: Here) -> Steps:
            for low, high in _stretches(now.positions != Position.OUT):
                yield now.step(self.kind, low, high)

        yield Due(rows + 1 if self.before is None else self.before, make)


def _signed(signs: Signs, rows: int) -> Iterator[Due]:
    for row in signs.worked_rows(rows):
        yield Due(row + 1, lambda now, row=row: signs.steps(now.before, row))  # type: ignore[misc]


Work = Signs | ToWidth | AtRate | Groups | Armhole | ShortRows | Neck | ByHand | CastOn | AllNeedles


def _other(side: str) -> str:
    return "left" if side == "right" else "right"


def _stretches(marks: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    step = np.diff(np.concatenate([[0], marks.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(step == 1).tolist(), (np.flatnonzero(step == -1) - 1).tolist(), strict=True))


def in_order(works: Sequence[Work], rows: int, here: Here) -> list[Due]:
    """What is due in a band of so many rows, in the order in which it is done.

    Raises InputError that names where it was asked for.
    """
    due: list[Due] = []
    for work in works:
        try:
            items = _signed(work, rows) if isinstance(work, Signs) else work.due(rows, here)
            due += [replace(item, asked=work.asked) for item in items]
        except InputError as error:
            raise error.at(work.asked) from None
    return sorted(due, key=lambda item: item.before)
