"""Where every loop of a plan lies in the fabric: heights in courses, counted from the cast-on edge.

A pass lies at one height. How far it lifts the next one is an approximation for pictures only:
the share of needles that knit, so that tuck and slip come out shorter than plain fabric, as they
do; passes that share a row by colour lie side by side, so a later pass may lie lower than the one before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.errors import InputError
from latchline.fabric.loops import NO_YARN, Bools, Codes, does, knits, pass_yarns
from latchline.fabric.structure import structure_of
from latchline.plan.model import Band, Plan, Yarn
from latchline.technique.model import Does, SecondBed

LIFT_TUCK = 0.2  # how far a tuck loop lifts the next pass, in courses: an assumption
LIFT_LEAST = 0.25  # even a pass that hardly knits lies above the one before
DRAWN_PASSES_MAX = 4000
CHUNK_PASSES = 4096

Heights = npt.NDArray[np.float64]
Ids = npt.NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class Layout:
    """Loops of passes 1 to n over the cast-on row, needle 0 at the operator's left.

    acts: uint8 codes (n, width). yarn: int16 (n, width), the yarn that is knitted or tucked there,
    NO_YARN where none. first, second: int16 (n), the yarns of the pass.
    base: float (n + 1), the height of each pass in courses; the last entry is the top edge.
    top: float (n, width), where the loop taken here is drawn through (the top edge if it is not).
    first_top: float (width), the same for the loops of the cast-on row.
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

    @property
    def width(self) -> int:
        return int(self.acts.shape[1])

    @property
    def courses(self) -> float:
        return float(self.base[-1])


def layout(plan: Plan, *, back: bool = False, first: int = 1, last: int | None = None) -> Layout:
    """The loops of passes first to last.

    back: of the second bed, for bands knitted on two. Raises InputError for more than 4000 passes.
    """
    last = plan.passes if last is None else last
    if last - first + 1 > DRAWN_PASSES_MAX:
        raise InputError(
            f"a picture of {last - first + 1} passes is too tall",
            hint=f"draw at most {DRAWN_PASSES_MAX} with --passes FIRST-LAST",
        )
    acts = does(plan, first, last)
    carried = pass_yarns(plan)
    first_yarn, second = carried.first[first - 1 : last].copy(), carried.second[first - 1 : last].copy()
    base, on_second = np.zeros(len(acts) + 1), np.zeros(len(acts), dtype=np.bool_)
    for band in plan.bands:
        begin, end = max(band.first, first) - first, min(band.last, last) - first + 1
        if begin >= end:
            continue
        base[begin : end + 1] = base[begin] + _heights(band, acts[begin:end], _row_before(plan, band, first))
        if back and band.technique.double_bed:
            on_second[begin:end] = True
            behind = second_needles(plan.second_bed[first - 1 + begin : first - 1 + end], acts.shape[1])
            acts[begin:end] = np.where(behind, np.uint8(Does.KNIT), np.uint8(Does.MISS))
            base[begin : end + 1] = np.linspace(base[begin], base[end], end - begin + 1)
    yarn = np.where((acts == Does.MISS) | (acts == Does.HELD), NO_YARN, first_yarn[:, None]).astype(np.int16)
    yarn = np.where(acts == Does.KNIT_CONTRAST, second[:, None], yarn).astype(np.int16)
    top, first_top, tucked = _tops(acts, base)
    return Layout(carried.yarns, acts, yarn, first_yarn, second, base, top, first_top, tucked, on_second)


def _row_before(plan: Plan, band: Band, first: int) -> Codes | None:
    """The passes before `first` that knit the same row, where colours share rows; None if there are none."""
    if first <= band.first or not band.technique.separations:
        return None
    rows = plan.knitted_row[band.first - 1 : first]
    start = band.first + int(np.flatnonzero(rows == rows[-1])[0])
    return does(plan, start, first - 1) if start < first else None


def _heights(band: Band, acts: Codes, row_before: Codes | None = None) -> Heights:
    """Where each pass of a band lies, from the band's foot, and the band's top: (passes + 1).

    row_before: earlier passes of the first row, which lie beside those drawn.
    """
    if row_before is not None:
        return _heights(band, np.concatenate([row_before, acts]))[len(row_before) :]
    made = knits(acts)
    if band.technique.separations:
        before: npt.NDArray[np.int64] = np.cumsum(made, axis=0) - made
        low = np.where(made, before, np.iinfo(np.int64).max).min(axis=1)
        high = np.where(made, before, -1).max(axis=1)
        idle = high < 0
        if (idle | (low == high)).all():  # every needle knits once a course: courses are true heights
            foot = high[np.maximum.accumulate(np.where(idle, 0, np.arange(len(acts))))]  # idle: as the one before
            return np.append(np.maximum(foot, 0), np.cumsum(made, axis=0)[-1].max()).astype(np.float64)
    lift = made.mean(axis=1) + LIFT_TUCK * (acts == Does.TUCK).mean(axis=1)
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


def _tops(acts: Codes, base: Heights) -> tuple[Heights, Heights, Bools]:
    """Where each loop is drawn through, where each cast-on loop is, and which loops take tuck loops on."""
    drawn_by = structure_of(acts).drawn_by
    top = base[np.maximum(drawn_by, 1) - 1]
    with_tucks = np.zeros((len(acts) + 2, acts.shape[1]), dtype=np.bool_)
    number, needle = np.nonzero(acts == Does.TUCK)
    with_tucks[drawn_by[number + 1, needle], needle] = True
    tucked: Bools = with_tucks[drawn_by[1:], np.arange(acts.shape[1])]
    return top[1:], top[0], tucked


def courses_of(plan: Plan) -> float:
    """How tall the whole fabric is, in rows of plain knitting: an estimate for all but plain and colour work."""
    tall = 0.0
    for band in plan.bands:
        foot = 0.0
        for low in range(band.first, band.last + 1, CHUNK_PASSES):
            acts = does(plan, low, min(low + CHUNK_PASSES - 1, band.last))
            foot += float(_heights(band, acts)[-1])
        tall += foot
    return tall
