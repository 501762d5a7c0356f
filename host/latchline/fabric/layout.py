"""Where every loop of a plan lies in the fabric: heights in courses, counted from the cast-on edge.

A pass lies at one height. How far it lifts the next one is an approximation for pictures only:
the share of needles that knit, so that tuck and slip come out shorter than plain fabric, as they
do; passes that share a row by colour lie side by side, so a later pass may lie lower than the one before.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from latchline.counted import counted
from latchline.errors import InputError
from latchline.fabric.loops import NO_YARN, Bools, Codes, does, knits, pass_yarns
from latchline.fabric.structure import Structure, begun, steps_within, structure_of
from latchline.mend import Mend
from latchline.plan.hand import HandStep, Position
from latchline.plan.model import Band, Plan, Yarn
from latchline.technique.model import Does, SecondBed

LIFT_TUCK = 0.2  # how far a tuck loop lifts the next pass, in courses: an assumption
LIFT_LEAST = 0.25  # even a pass that hardly knits lies above the one before
DRAWN_PASSES_MAX = 4000
CHUNK_PASSES = 4096

Heights = npt.NDArray[np.float64]
Ids = npt.NDArray[np.int16]
Places = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Layout:
    """Loops of passes 1 to n over the cast-on row, needle 0 at the operator's left.

    acts: uint8 codes (n, width). yarn: int16 (n, width), the yarn that is knitted or tucked there,
    NO_YARN where none. first, second: int16 (n), the yarns of the pass.
    base: float (n + 1), the height of each pass in courses; the last entry is the top edge.
    feet: float (n + 1, width), the same for each needle, where some lie lower than others; else None.
    top: float (n, width), where the loop taken here is drawn through (the top edge if it is not).
    lean: int16 (n, width), needles to the right by which that lies; None where no loop is moved.
    first_top, first_lean: the same for the loops of the cast-on row; begun: the needles that have one.
    hand: what is done by hand, passes counted from the first one drawn. by_hand: float (n, 4), loops made by
    hand: the pass before which, the needle, where they are drawn through, and their lean.
    tucked: bool (n, width), loops that take tuck loops on before they are drawn through.
    on_second: bool (n), passes drawn as the second bed knits them: its knit side is the fabric's other side.
    """

    yarns: tuple[Yarn, ...]
    acts: Codes
    yarn: Ids
    first: Ids
    second: Ids
    base: Heights
    top: Heights
    first_top: Heights
    tucked: Bools
    on_second: Bools
    begun: Bools
    feet: Heights | None = None
    lean: Ids | None = None
    first_lean: Ids | None = None
    hand: tuple[HandStep, ...] = ()
    by_hand: Heights = field(default_factory=lambda: np.zeros((0, 4)))

    @property
    def width(self) -> int:
        return int(self.acts.shape[1])

    @property
    def courses(self) -> float:
        return float(self.base[-1] if self.feet is None else self.feet.max())

    def foot(self, number: int, places: Places) -> Heights:
        """Where pass `number` (from 0; n: the top edge) lies on needles."""
        return np.full(len(places), self.base[number]) if self.feet is None else self.feet[number, places]

    def leaning(self, number: int, places: Places) -> Places:
        """By how many needles to the right the loops of a pass are drawn through."""
        return np.zeros(len(places), dtype=np.int64) if self.lean is None else self.lean[number, places].astype(int)


def layout(plan: Plan, *, back: bool = False, first: int = 1, last: int | None = None) -> Layout:
    """The loops of passes first to last.

    back: of the second bed, for bands knitted on two. Raises InputError for more than 4000 passes.
    """
    last = plan.passes if last is None else last
    if last - first + 1 > DRAWN_PASSES_MAX:
        raise InputError(
            f"a picture of {counted(last - first + 1, 'pass')} is too tall",
            mends=[Mend(f"draw at most {DRAWN_PASSES_MAX}", "passes")],
        )
    acts = does(plan, first, last)
    positions = plan.positions_of(first, last)
    carried = pass_yarns(plan)
    first_yarn, second = carried.first[first - 1 : last].copy(), carried.second[first - 1 : last].copy()
    base, on_second = np.zeros(len(acts) + 1), np.zeros(len(acts), dtype=np.bool_)
    for band in plan.bands:
        begin, end = max(band.first, first) - first, min(band.last, last) - first + 1
        if begin >= end:
            continue
        working = positions[begin:end] == Position.WORK if plan.shaped else None
        heights = _heights(band, acts[begin:end], _row_before(plan, band, first), working)
        base[begin : end + 1] = base[begin] + heights
        if back and band.technique.double_bed:
            on_second[begin:end] = True
            behind = second_needles(plan.second_bed[first - 1 + begin : first - 1 + end], acts.shape[1])
            behind &= positions[begin:end] == Position.WORK
            acts[begin:end] = np.where(behind, np.uint8(Does.KNIT), np.uint8(Does.MISS))
            base[begin : end + 1] = np.linspace(base[begin], base[end], end - begin + 1)
    idle = (acts == Does.MISS) | (acts == Does.HELD) | (acts == Does.OUT)
    yarn = np.where(idle, NO_YARN, first_yarn[:, None]).astype(np.int16)
    yarn = np.where(acts == Does.KNIT_CONTRAST, second[:, None], yarn).astype(np.int16)
    whole = np.ones(acts.shape[1], dtype=np.bool_)
    if not plan.shaped:
        top, first_top, tucked = _tops(structure_of(acts), base)
        return Layout(carried.yarns, acts, yarn, first_yarn, second, base, top, first_top, tucked, on_second, whole)
    feet = _feet(np.diff(base), positions)
    hand = tuple(steps_within(plan, first, last))
    loops = structure_of(acts, begun(plan, first), hand)
    top, first_top, tucked = _tops(loops, feet)
    at = (
        np.zeros(loops.drawn_by.shape, dtype=np.int16)
        if loops.drawn_at is None
        else loops.drawn_at - np.arange(len(whole))
    )
    by_hand = [
        (before, needle, _top(feet, drawn_by, drawn_at, needle), drawn_at - needle)
        for before, needle, drawn_by, drawn_at in loops.by_hand.tolist()
    ]
    return Layout(
        carried.yarns, acts, yarn, first_yarn, second, base, top, first_top, tucked, on_second, begun(plan, first),
        feet, at[1:].astype(np.int16), at[0].astype(np.int16), hand, np.array(by_hand, dtype=np.float64).reshape(-1, 4),
    )  # fmt: skip


def _feet(lift: Heights, positions: Codes) -> Heights:
    """Where each pass lies on each needle, (passes + 1, width): needles that don't knit stay behind.

    A needle that comes into work begins as high as the nearest one that was there before it.
    """
    feet = np.zeros((len(lift) + 1, positions.shape[1]))
    now = np.zeros(positions.shape[1])
    changes = np.flatnonzero((positions[1:] != positions[:-1]).any(axis=1)) + 1
    for start, end in pairwise([0, *changes.tolist(), len(lift)]):
        working = positions[start] == Position.WORK
        if start:
            now = _caught_up(now, working | (positions[start] == Position.HELD), positions[start - 1] != Position.OUT)
        rising = np.cumsum(lift[start:end])
        feet[start] = now
        feet[start + 1 : end + 1] = now + np.where(working, rising[:, None], 0.0)
        now = feet[end].copy()
    return feet


def _caught_up(now: Heights, there: Bools, before: Bools) -> Heights:
    fresh, old = np.flatnonzero(there & ~before), np.flatnonzero(there & before)
    if len(fresh) and len(old):
        now = now.copy()
        now[fresh] = now[old[np.abs(old[None, :] - fresh[:, None]).argmin(axis=1)]]
    return now


def _row_before(plan: Plan, band: Band, first: int) -> Codes | None:
    """The passes before `first` that knit the same row, where colours share rows; None if there are none."""
    if first <= band.first or not band.technique.separations:
        return None
    rows = plan.knitted_row[band.first - 1 : first]
    start = band.first + int(np.flatnonzero(rows == rows[-1])[0])
    return does(plan, start, first - 1) if start < first else None


def _heights(band: Band, acts: Codes, row_before: Codes | None = None, working: Bools | None = None) -> Heights:
    """Where each pass of a band lies, from the band's foot, and the band's top: (passes + 1).

    row_before: earlier passes of the first row, which lie beside those drawn. working: the needles in
    working position; None: all.
    """
    if row_before is not None and working is None:
        return _heights(band, np.concatenate([row_before, acts]))[len(row_before) :]
    made = knits(acts)
    if band.technique.separations and working is None:
        before: npt.NDArray[np.int64] = np.cumsum(made, axis=0) - made
        low = np.where(made, before, np.iinfo(np.int64).max).min(axis=1)
        high = np.where(made, before, -1).max(axis=1)
        idle = high < 0
        if (idle | (low == high)).all():  # every needle knits once a course: courses are true heights
            foot = high[np.maximum.accumulate(np.where(idle, 0, np.arange(len(acts))))]  # idle: as the one before
            return np.append(np.maximum(foot, 0), np.cumsum(made, axis=0)[-1].max()).astype(np.float64)
    needles = acts.shape[1] if working is None else np.maximum(working.sum(axis=1), 1)
    lift = (made.sum(axis=1) + LIFT_TUCK * (acts == Does.TUCK).sum(axis=1)) / needles
    if not band.technique.separations:  # there a row's passes add up by themselves
        lift = np.where(lift > 0, np.maximum(lift, LIFT_LEAST), 0.0)
    return np.concatenate([[0.0], np.cumsum(lift)])


def second_needles(second_bed: Codes, width: int) -> Bools:
    """Which needles of the second bed knit in each pass: bool (passes, width)."""
    even = np.arange(width) % 2 == 0
    of_kind = {SecondBed.ALL: np.ones(width, dtype=np.bool_), SecondBed.EVEN: even, SecondBed.ODD: ~even}
    table = np.zeros((max(SecondBed) + 1, width), dtype=np.bool_)
    for kind, needles in of_kind.items():
        table[kind] = needles
    knitting: Bools = table[second_bed]
    return knitting


def _tops(loops: Structure, feet: Heights) -> tuple[Heights, Heights, Bools]:
    """Where each loop is drawn through, where each cast-on loop is, and which loops take tuck loops on.

    feet: of the passes, (passes + 1), or of each needle in them.
    """
    acts, passes, drawn_by = loops.codes, loops.passes, loops.drawn_by
    on = np.arange(acts.shape[1]) if loops.drawn_at is None else loops.drawn_at
    number = np.maximum(drawn_by, 1) - 1
    number = np.where(number > passes, number - passes - 1, number)  # taken off by hand
    top = feet[number] if feet.ndim == 1 else feet[number, on]
    with_tucks = np.zeros((2 * passes + 3, acts.shape[1]), dtype=np.bool_)
    tuck, needle = np.nonzero(acts == Does.TUCK)
    with_tucks[drawn_by[tuck + 1, needle], needle] = True
    tucked: Bools = with_tucks[drawn_by[1:], np.arange(acts.shape[1])]
    return top[1:], top[0], tucked


def _top(feet: Heights, drawn_by: int, drawn_at: int, needle: int) -> float:
    passes = len(feet) - 1
    gone = drawn_by > passes + 1
    return float(feet[drawn_by - passes - 2, needle] if gone else feet[drawn_by - 1, drawn_at])


def courses_of(plan: Plan, *, scaled: bool = True) -> float:
    """How tall the finished fabric is, in rows of plain knitting: an estimate for all but plain and colour work.

    scaled: in rows of the piece's gauge; else in rows as knitted, as a row counter has them where a pass is a row.
    Waste yarn and the inside of a hem don't count; of needles that are held for a while the tallest one does.
    """
    return float(column_heights(plan, scaled=scaled).max())


def column_heights(plan: Plan, *, scaled: bool = True) -> Heights:
    """The same for each needle of the span, float (width): equal where nothing is shaped."""
    tall = np.zeros(plan.span.width)
    for _, working, foot, lift in stretches(plan, scaled=scaled):
        tall = np.where(working, foot + lift, foot)
    return tall


def stretches(plan: Plan, *, scaled: bool = True) -> Iterator[tuple[Band, Bools, Heights, float]]:
    """Stretches of passes in which the same needles are in work, from the first on.

    Each with its band, those needles, bool (width), the height of every needle's fabric before it, and how far
    it lifts those in work; 0 where it does not count.
    """
    tall, before = np.zeros(plan.span.width), None
    for band in plan.bands:
        for low in range(band.first, band.last + 1, CHUNK_PASSES):
            high = min(low + CHUNK_PASSES - 1, band.last)
            acts, positions = does(plan, low, high), plan.positions_of(low, high)
            working = positions == Position.WORK if plan.shaped else None
            counted = (band.measured or not scaled) and not band.technique.separations  # each pass is a row
            lift = np.ones(len(acts)) if counted else np.diff(_heights(band, acts, working=working))
            lift *= band.counts * (band.scale[1] if scaled else 1.0)
            changes = np.flatnonzero(np.diff(plan.position[low - 1 : high])) + 1
            for start, end in pairwise([0, *changes.tolist(), len(lift)]):
                here = positions[start]
                if before is not None:
                    tall = _caught_up(tall, here != Position.OUT, before != Position.OUT)
                in_work, risen = here == Position.WORK, float(lift[start:end].sum())
                yield band, in_work, tall, risen
                tall, before = tall + np.where(in_work, risen, 0.0), here
