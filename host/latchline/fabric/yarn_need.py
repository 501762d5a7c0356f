"""How much of each yarn a plan takes: metres and grams by band and in all, with a margin.

A plain stitch takes the yarn's loop length. A needle that a yarn passes between two of its stitches
takes one needle pitch, because that is how far the yarn is laid across the bed; so a float past n
needles spans (n + 1) pitches from stitch to stitch, in one pass or from one pass to a later one.
Weight is length × tex / 1000 (ISO 1144).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from latchline.fabric.layout import second_needles
from latchline.fabric.loops import NO_YARN, Bools, Codes, PassYarns, does, pass_yarns, takes_first, takes_second
from latchline.machine.profile import Profile
from latchline.piece.measure import Swatch
from latchline.plan.hand import HAND_KINDS, Position, kind_of
from latchline.plan.model import Band, Plan, Yarn
from latchline.shaping.gauge import (
    FULLY_RELAXED,
    gauge_from_pitch,
    gauge_from_swatch,
    loop_length_from_count,
    loop_length_from_gauge,
)
from latchline.technique.model import Does

# A tuck loop is not drawn down over the sinkers as a knitted one is. An assumption, no source.
TUCK_PER_KNIT = 0.8
# Yarn for a loop that is wrapped on or bound off, in plain stitches. Common practice, no source.
ROWS_BY_HAND = {"wrap": 3.0, "bind-off": 3.0, "buttonhole": 6.0}  # of the piece's own yarn
CHUNK_PASSES = 2048


@dataclass(frozen=True)
class LoopLength:
    """Yarn in one plain stitch, mm, and where the figure comes from."""

    mm: float
    source: str
    estimated: bool


@dataclass(frozen=True)
class Margin:
    """What is wound off beside the piece itself. All of it common practice, no source.

    cast_rows: casting on and off together, as rows of stitches: half for each, where the plan has no step of its
    own for it. swatch_*: of each yarn.
    waste_percent: ends, joins and mishaps.
    """

    cast_rows: float = 6
    swatch_stitches: int = 40
    swatch_rows: int = 60
    waste_percent: float = 5


@dataclass(frozen=True)
class YarnUse:
    """What one yarn gives to one band (by its name and first pass).

    passed_needles: needles that it floats past or is laid along.
    """

    band: str
    band_first: int
    yarn: Yarn
    knit_loops: int
    tuck_loops: int
    passed_needles: int
    metres: float

    @property
    def grams(self) -> float | None:
        """None when the yarn's count is not known."""
        return None if self.yarn.tex is None else self.metres * self.yarn.tex / 1000


@dataclass(frozen=True)
class HandUse:
    """What a kind of hand step takes of a yarn, all such steps of the piece together. title: of the kind."""

    title: str
    yarn: Yarn
    loops: int
    metres: float


@dataclass(frozen=True)
class YarnTotal:
    """One yarn over the whole piece: what is knitted, and what to have at hand with the margin.

    waste: whether it only begins or ends the piece and is taken off again.
    """

    yarn: Yarn
    loop_length: LoopLength
    metres: float
    metres_with_margin: float
    waste: bool = False

    @property
    def grams(self) -> float | None:
        return None if self.yarn.tex is None else self.metres * self.yarn.tex / 1000

    @property
    def grams_with_margin(self) -> float | None:
        return None if self.yarn.tex is None else self.metres_with_margin * self.yarn.tex / 1000


@dataclass(frozen=True)
class YarnNeed:
    """All that `yarn_need` finds. by_hand: casting on, binding off and the like, which the totals count, too."""

    by_band: tuple[YarnUse, ...]
    totals: tuple[YarnTotal, ...]
    by_hand: tuple[HandUse, ...] = ()


def loop_length_of(profile: Profile, yarn: Yarn, swatch: Swatch | None) -> LoopLength:
    """The loop length given for a yarn, or the best estimate of it."""
    if yarn.loop_length_mm is not None:
        return LoopLength(yarn.loop_length_mm, "as given", estimated=False)
    if swatch is not None:
        gauge = gauge_from_swatch(swatch.stitches, swatch.rows, swatch.width_mm, swatch.height_mm)
        return LoopLength(loop_length_from_gauge(gauge, FULLY_RELAXED), "from the swatch", estimated=True)
    if yarn.tex is not None:
        return LoopLength(loop_length_from_count(yarn.tex), "from the count", estimated=True)
    mm = loop_length_from_gauge(gauge_from_pitch(profile.pitch_mm), FULLY_RELAXED)
    return LoopLength(mm, "from the needle pitch", estimated=True)


def yarn_need(plan: Plan, swatch: Swatch | None = None, margin: Margin | None = None) -> YarnNeed:
    """Metres and grams of each yarn, by band and in all."""
    margin = margin or Margin()
    carried = pass_yarns(plan)
    lengths = [loop_length_of(plan.profile, yarn, swatch) for yarn in carried.yarns]
    uses = tuple(use for band in plan.bands for use in _band_use(plan, band, carried, lengths))
    by_hand = _by_hand(plan, carried, lengths)
    cast_rows = margin.cast_rows * (0.5 * bool(plan.cast_on_loops().any()) + 0.5 * (not _ends_itself(plan)))
    totals = []
    kept = {yarn for band in plan.bands if band.part != "waste" for yarn in band.yarns}
    first = next((yarn for yarn in carried.yarns if yarn in kept), None)
    for yarn, length in zip(carried.yarns, lengths, strict=True):
        metres = sum(use.metres for use in uses if use.yarn == yarn)
        metres += sum(use.metres for use in by_hand if use.yarn == yarn)
        rows = cast_rows if yarn == first else 0  # the first yarn casts on and off
        swatch_loops = margin.swatch_stitches * margin.swatch_rows if yarn in kept else 0
        loops = rows * plan.span.width + swatch_loops
        more = (metres + loops * length.mm / 1000) * (1 + margin.waste_percent / 100)
        totals.append(YarnTotal(yarn, length, metres, more if metres else 0.0, yarn not in kept))
    return YarnNeed(uses, tuple(totals), by_hand)


def _ends_itself(plan: Plan) -> bool:
    """Whether the last thing done is to take the loops off the needles."""
    return any(kind_of(step).sets == Position.OUT for step in plan.hand_before(plan.passes + 1))


def _by_hand(plan: Plan, carried: PassYarns, lengths: Sequence[LoopLength]) -> tuple[HandUse, ...]:
    """What hand steps take, each of the yarn that the pass after it carries, at the end of the pass before it."""
    loops: dict[tuple[str, int], int] = {}
    for step in plan.hand:
        if step.kind in ROWS_BY_HAND:
            yarn = int(carried.first[min(step.before, plan.passes) - 1])
            key = step.kind, max(yarn, 0)
            loops[key] = loops.get(key, 0) + step.needles
    return tuple(
        HandUse(
            HAND_KINDS[kind].title,
            carried.yarns[yarn],
            count,
            count * ROWS_BY_HAND[kind] * lengths[yarn].mm / 1000,
        )
        for (kind, yarn), count in loops.items()
    )


def _band_use(plan: Plan, band: Band, carried: PassYarns, lengths: Sequence[LoopLength]) -> list[YarnUse]:
    counts = np.zeros((len(lengths), 3), dtype=np.int64)  # knit loops, tuck loops, needles passed
    places: set[int] = set()
    # yarn, and whether as second → the needle that took it last, and how often the yarns had been broken until then
    left_at: dict[tuple[int, bool], tuple[int, int]] = {}
    for start in range(band.first, band.last + 1, CHUNK_PASSES):
        last = min(start + CHUNK_PASSES - 1, band.last)
        acts = does(plan, start, last)
        nothing = np.zeros_like(acts, dtype=np.bool_)
        behind = second_needles(plan.second_bed[start - 1 : last], plan.span.width)
        if plan.shaped:
            behind &= plan.positions_of(start, last) == Position.WORK
        knit, tuck, laid = takes_first(acts), acts == Does.TUCK, _laid_in(acts)
        rightward = plan.rightward[start - 1 : last]
        for is_second, (yarn_of, knits, tucks, lies) in enumerate(
            (
                (carried.first[start - 1 : last], knit & ~tuck, tuck, nothing),
                (carried.second[start - 1 : last], takes_second(acts), nothing, laid),
            )
        ):
            for place in np.unique(yarn_of[yarn_of != NO_YARN]).tolist():
                places.add(place)
                mine = yarn_of == place
                counts[place] += _count(knits[mine], tucks[mine], lies[mine], behind[mine])
                formed, key = (knits | tucks | behind)[mine], (place, bool(is_second))
                breaks = np.searchsorted(plan.yarn_breaks, np.arange(start, last + 1)[mine], side="right")
                over, left = _passed_over_turns(formed, rightward[mine], breaks, left_at.get(key))
                counts[place, 2] += over
                if left is not None:
                    left_at[key] = left
    return [_use(plan, band, carried.yarns[place], counts[place], lengths[place]) for place in sorted(places)]


def _use(plan: Plan, band: Band, yarn: Yarn, counts: npt.NDArray[np.int64], length: LoopLength) -> YarnUse:
    knit, tuck, passed = (int(count) for count in counts)
    mm = (knit + TUCK_PER_KNIT * tuck) * length.mm + passed * plan.profile.pitch_mm
    return YarnUse(band.name, band.first, yarn, knit, tuck, passed, mm / 1000)


def _passed_over_turns(
    formed: Bools, rightward: Bools, breaks: npt.NDArray[np.intp], left: tuple[int, int] | None
) -> tuple[int, tuple[int, int] | None]:
    """Needles that a yarn passes from the last one that takes it in a pass to the first one in its next such pass.

    breaks: how often the yarn was broken before each pass, to begin anew. left: the needle that took it last before
    these passes, and that count. Returns both after them, too.
    """
    there = formed.any(axis=1)
    if not there.any():
        return 0, left
    low = formed[there].argmax(axis=1)
    high = formed.shape[1] - 1 - formed[there][:, ::-1].argmax(axis=1)
    begins, ends = np.where(rightward[there], low, high), np.where(rightward[there], high, low)
    broken = breaks[there]
    at, since = (begins[0], broken[0]) if left is None else left
    before, earlier = np.append(at, ends[:-1]), np.append(since, broken[:-1])
    between = np.where(broken == earlier, np.abs(begins - before) - 1, 0)
    return int(np.maximum(between, 0).sum()), (int(ends[-1]), int(broken[-1]))


def _laid_in(acts: Codes) -> Bools:
    laid: Bools = (acts == Does.LAID_OVER) | (acts == Does.LAID_UNDER)
    return laid


def _count(knit: Bools, tuck: Bools, laid: Bools, behind: Bools) -> tuple[int, int, int]:
    """Loops knitted on both beds, loops tucked, and needles passed.

    Passed are needles along which the yarn is laid, and those between the first and the last loop
    of a pass that take none, on either bed.
    """
    formed = knit | tuck | behind
    after = np.logical_or.accumulate(formed, axis=1)
    before = np.logical_or.accumulate(formed[:, ::-1], axis=1)[:, ::-1]
    passed = (after & before & ~formed) | laid
    loops = np.count_nonzero(knit) + np.count_nonzero(behind)
    return int(loops), int(np.count_nonzero(tuck)), int(np.count_nonzero(passed))
