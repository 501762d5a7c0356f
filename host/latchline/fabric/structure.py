"""How the loops hang together: what each stitch draws through, and where yarns float.

A stitch is a new loop drawn through everything that hangs on its needle: the loop knitted last and
the tuck loops taken since (D. J. Spencer, Knitting Technology, 3rd ed. 2001, ch. 9). A loop that is
kept on a needle stretches up to the next knitted loop of its wale (same place).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from latchline.fabric.loops import Bools, Codes, does, knits, pass_yarns, takes_first, takes_second
from latchline.plan.hand import GONE, HandStep, Position, goes, kind_of
from latchline.plan.model import Plan
from latchline.technique.model import Does, SecondBed

Ints = npt.NDArray[np.int32]
Places = npt.NDArray[np.int64]

CAST_ON = 0  # the pass in which the loops that the needles start with were made
CHUNK_PASSES = 2048  # so many passes are looked at together, to keep the work small enough for the cache


@dataclass(frozen=True, eq=False)
class Structure:
    """The loops of passes 1 to P on the needles of the span (0 at the operator's left).

    codes: uint8 (P, W), what each needle does (`technique.model.Does`).
    drawn_by: int32 (P + 1, W). Entry [p, x] is for the loop that needle x took in pass p (row 0:
        the loops cast on): the pass whose stitch is drawn through it, P + 1 where it still hangs on
        the needle at the end, 0 where the needle took no loop; P + 1 + k where it left the needles by
        hand before pass k.
    drawn_at: int16 (P + 1, W), the needle on which that happens; None: the one that took the loop.
    by_hand: loops made by hand, int32 (n, 4): the pass before which, the needle, and the two entries.
    """

    codes: Codes
    drawn_by: Ints
    drawn_at: npt.NDArray[np.int16] | None = None
    by_hand: Ints = field(default_factory=lambda: np.zeros((0, 4), dtype=np.int32))

    @property
    def passes(self) -> int:
        return len(self.codes)

    def held(self) -> Ints:
        """For each knitted or cast-on loop, the passes over which it is kept before it is drawn through.

        int32 (P + 1, W): 0 where the next pass knits, and where there is no such loop. A loop
        kept for h passes stretches over h + 1 courses' height of the passes around it.
        """
        made = np.concatenate([np.ones((1, self.codes.shape[1]), dtype=np.bool_), knits(self.codes)])
        kept = self.drawn_by - np.arange(1, self.passes + 2, dtype=np.int32)[:, None]
        return np.where(made, kept, 0).astype(np.int32)

    def drawn_through(self, number: int, needle: int) -> tuple[int, ...]:
        """The passes (from 0, the cast-on) whose loops the stitch of that pass and needle is drawn through."""
        return tuple(np.flatnonzero(self.drawn_by[:, needle] == number).tolist())

    def on_needle(self, needle: int) -> tuple[int, ...]:
        """The passes whose loops hang on the needle at the end."""
        return self.drawn_through(self.passes + 1, needle)


def structure(plan: Plan, first: int = 1, last: int | None = None) -> Structure:
    """The loops of passes first to last of a plan, each needle in work starting with one loop."""
    last = plan.passes if last is None else last
    codes = does(plan, first, last)
    if not plan.shaped:
        return structure_of(codes)
    return structure_of(codes, begun(plan, first), steps_within(plan, first, last))


def begun(plan: Plan, first: int) -> Bools:
    """The needles that hold a loop before pass `first`, to those who look at the plan from there on."""
    return plan.cast_on_loops() if first == 1 else plan.positions_of(first, first)[0] != Position.OUT


def steps_within(plan: Plan, first: int, last: int) -> list[HandStep]:
    """What is done by hand in passes first to last and right after, counted from the first of them."""
    low, high = (first, last + 1) if first == 1 else (first + 1, last + 1)  # before `first` it is done already
    return [replace(step, before=step.before - first + 1) for step in plan.hand if low <= step.before <= high]


def structure_of(codes: Codes, begun: Bools | None = None, steps: Sequence[HandStep] = ()) -> Structure:
    """The loops of given passes: uint8 codes, shape (passes, needles).

    begun: the needles that start with a loop; None: all. steps: what is done by hand, in order.
    """
    passes, width = codes.shape
    knitted = knits(codes)
    drawn_by = np.empty((passes + 1, width), dtype=np.int32)
    drawn_by[-1] = passes + 1
    here_at = np.arange(width, dtype=np.int16)
    drawn_at = np.broadcast_to(here_at, drawn_by.shape).copy() if steps else None
    later, later_at = drawn_by[-1].copy(), here_at.copy()  # of the loops on each needle: drawn through when and where
    by_hand: list[tuple[int, int, int, int]] = []
    left = list(steps)
    ends = sorted({0, passes, *range(0, passes, CHUNK_PASSES), *(step.before - 1 for step in steps)}, reverse=True)
    for end, start in zip(ends, [*ends[1:], None], strict=True):
        later, later_at = _undone(left, end + 1, passes, later, later_at, by_hand)
        drawn_by[end] = later
        if drawn_at is not None:
            drawn_at[end] = later_at
        if start is None:
            break
        here = slice(start, end)
        numbers = np.arange(start + 1, end + 1, dtype=np.int32)[:, None]
        stitch = np.where(knitted[here], numbers, later)
        drawn_by[here] = np.minimum.accumulate(stitch[::-1], axis=0)[::-1]
        if drawn_at is not None:
            drawn_at[here] = np.where(drawn_by[here] <= end, here_at, later_at)
            later_at = drawn_at[start].copy()
        later = drawn_by[start].copy()
    drawn_by[1:] *= knitted | (codes == Does.TUCK)
    if begun is not None:
        drawn_by[0] *= begun
    return Structure(codes, drawn_by, drawn_at, np.array(by_hand[::-1], dtype=np.int32).reshape(-1, 4))


def _undone(
    left: list[HandStep],
    before: int,
    passes: int,
    later: Ints,
    later_at: npt.NDArray[np.int16],
    by_hand: list[tuple[int, int, int, int]],
) -> tuple[Ints, npt.NDArray[np.int16]]:
    """From the fate of the loops after the steps due before a pass to that of those before them; uses the steps up."""
    while left and left[-1].before == before:
        step = left.pop()
        if kind_of(step).makes:
            needles = range(step.last, step.first - 1, -1)
            by_hand.extend((before, needle, int(later[needle]), int(later_at[needle])) for needle in needles)
        onto = goes(step, len(later))
        later = np.where(onto == GONE, passes + 1 + before, later[onto]).astype(np.int32)
        later_at = np.where(onto == GONE, np.arange(len(later)), later_at[onto]).astype(np.int16)
    return later, later_at


@dataclass(frozen=True, eq=False)
class Floats:
    """Floats: a yarn goes from one needle that takes it to the next one, passing others by.

    Equally long arrays. yarn: int16, index into `PassYarns.yarns`. pass_from, pass_to: int32, the
    pass in which the yarn leaves and the one in which it is taken again; they differ where the
    float runs over a turn. needle_from, needle_to: int16, in the order of the carriage's travel.
    Every float lies on the purl side, behind the loop that the needle keeps (Spencer, ch. 9).
    """

    yarn: npt.NDArray[np.int16]
    pass_from: Ints
    pass_to: Ints
    needle_from: npt.NDArray[np.int16]
    needle_to: npt.NDArray[np.int16]

    side = "purl"

    def __len__(self) -> int:
        return len(self.yarn)

    def needles(self) -> Ints:
        """Needles passed by, int32."""
        between: Ints = np.abs(self.needle_to.astype(np.int32) - self.needle_from) - 1
        return between

    def span_mm(self, pitch_mm: float) -> npt.NDArray[np.float64]:
        """Length on the bed: (needles + 1) × pitch."""
        return (self.needles() + 1).astype(np.float64) * pitch_mm


def floats(plan: Plan, longer_than: int = 0) -> Floats:
    """Every float past more than `longer_than` needles, by yarn and then in the order of knitting.

    Where a second bed knits, it ties the yarn in at every needle or every other one, and nothing
    floats. A yarn laid in is not counted here; see `laid_in`.
    """
    found: list[list[npt.NDArray[np.int64]]] = [[] for _ in range(5)]
    last: dict[int, tuple[int, int]] = {}  # yarn → pass and needle that took it last
    for yarn, passes, taken in _taken_by_yarn(plan):
        rightward = plan.rightward[passes]
        in_travel = np.where(rightward[:, None], taken, taken[:, ::-1])
        row, place = np.nonzero(in_travel)
        if not len(row):
            continue
        needle = np.where(rightward[row], place, taken.shape[1] - 1 - place)
        number = passes[row] + 1
        if yarn in last:
            before = last[yarn]
            number, needle = np.append(before[0], number), np.append(before[1], needle)
        last[yarn] = int(number[-1]), int(needle[-1])
        here = np.flatnonzero(np.abs(np.diff(needle)) - 1 > longer_than)
        if plan.shaped:
            here = here[_hangs(plan, number[here], number[here + 1], needle[here], needle[here + 1])]
        columns = (np.full(len(here), yarn), number[here], number[here + 1], needle[here], needle[here + 1])
        for column, values in zip(found, columns, strict=True):
            column.append(values)
    whole = [np.concatenate(column) if column else np.zeros(0, dtype=np.int64) for column in found]
    order = np.argsort(whole[0], kind="stable")
    yarn_of, pass_from, pass_to, needle_from, needle_to = (column[order] for column in whole)
    return Floats(
        yarn=yarn_of.astype(np.int16),
        pass_from=pass_from.astype(np.int32),
        pass_to=pass_to.astype(np.int32),
        needle_from=needle_from.astype(np.int16),
        needle_to=needle_to.astype(np.int16),
    )


def _hangs(plan: Plan, pass_from: Places, pass_to: Places, needle_from: Places, needle_to: Places) -> Bools:
    """Which of these floats there are: not where the yarn was broken, nor where it bound off the stitches between."""
    there = np.zeros((len(plan.positions), plan.span.width + 1), dtype=np.int64)
    np.cumsum(plan.positions != Position.OUT, axis=1, out=there[:, 1:])
    row = plan.position[pass_to - 1]
    low, high = np.minimum(needle_from, needle_to), np.maximum(needle_from, needle_to)
    bound_off = (there[row, high] == there[row, low + 1]) & (pass_from != pass_to)
    breaks = np.searchsorted(plan.yarn_breaks, np.stack([pass_from, pass_to]), side="right")
    hangs: Bools = ~bound_off & (breaks[0] == breaks[1])
    return hangs


def _taken_by_yarn(plan: Plan) -> Iterator[tuple[int, npt.NDArray[np.intp], Bools]]:
    """For each stretch of passes and each yarn in it: the passes (from 0) that carry it, and which needles take it."""
    yarns = pass_yarns(plan)
    for first in range(0, plan.passes, CHUNK_PASSES):
        here = slice(first, min(first + CHUNK_PASSES, plan.passes))
        codes = does(plan, first + 1, here.stop)
        as_first, as_second = takes_first(codes), takes_second(codes)
        as_first |= (plan.second_bed[here] != SecondBed.REST)[:, None]
        for yarn in np.unique(np.concatenate([yarns.first[here], yarns.second[here]])).tolist():
            if yarn < 0:
                continue
            is_first, is_second = yarns.first[here] == yarn, yarns.second[here] == yarn
            passes = np.flatnonzero(is_first | is_second)
            taken = (as_first[passes] & is_first[passes, None]) | (as_second[passes] & is_second[passes, None])
            yield yarn, passes + first, taken


def laid_in(plan: Plan, first: int = 1, last: int | None = None) -> tuple[Bools, Bools]:
    """Where a yarn is laid over and where under the needles: two bool arrays (passes, width).

    It is bound where it changes from one to the other; between, it floats on the purl side.
    """
    codes = does(plan, first, last)
    return codes == Does.LAID_OVER, codes == Does.LAID_UNDER
