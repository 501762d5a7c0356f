"""What every needle does in every pass, and with which yarn. Nothing here reads or writes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from latchline.plan.hand import Position
from latchline.plan.model import Plan, Yarn
from latchline.technique.model import Does

Codes = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]

NO_YARN = -1


@dataclass(frozen=True, eq=False)
class PassYarns:
    """Which yarns each pass carries.

    yarns: the different yarns of the piece, in the order in which they are first carried.
    first, second: int16 (passes), indices into yarns, NO_YARN where there is none. The first is
        what KNIT and TUCK take; the second is what KNIT_CONTRAST takes, or what is laid in.
    """

    yarns: tuple[Yarn, ...]
    first: npt.NDArray[np.int16]
    second: npt.NDArray[np.int16]


def does(plan: Plan, first: int = 1, last: int | None = None) -> Codes:
    """What the needles do in passes first to last (from 1, both included).

    Returns uint8 codes of `technique.model.Does`, shape (passes, width of the span).
    """
    selected, unselected = _cams(plan, first, last)
    codes = plan.acting_masks(first, last).view(np.uint8)
    # Adding the difference modulo 256, in place, is many times quicker than choosing with numpy.where.
    codes *= (selected - unselected)[:, None]
    codes += unselected[:, None]
    if plan.shaped:
        positions = plan.positions_of(first, last)
        codes[positions == Position.OUT] = Does.OUT
        codes[positions == Position.HELD] = Does.HELD
    return codes


def _cams(plan: Plan, first: int, last: int | None) -> tuple[Codes, Codes]:
    """What selected and what unselected needles do, one code a pass."""
    bands, ways = plan.band[first - 1 : last], plan.rightward[first - 1 : last].view(np.uint8)
    here = plan.bands[int(bands[0]) : int(bands[-1]) + 1]
    kinds = np.empty((2, 2, len(here)), dtype=np.uint8)
    for index, band in enumerate(here):
        for way, direction in enumerate(("leftward", "rightward")):
            cams = band.technique.cams_for(direction, band.way)
            kinds[:, way, index] = cams.selected, cams.unselected
    bands = bands - bands[0]
    return kinds[0, ways, bands], kinds[1, ways, bands]


def knits(codes: Codes) -> Bools:
    """Where a new loop is drawn through what hangs on the needle."""
    made: Bools = (codes == Does.KNIT) | (codes == Does.KNIT_CONTRAST) | _laid(codes)
    return made


def takes_first(codes: Codes) -> Bools:
    """Where the needle takes the pass's first yarn: knitted, tucked, or as ground under a laid-in one."""
    taken: Bools = (codes == Does.KNIT) | (codes == Does.TUCK) | _laid(codes)
    return taken


def _laid(codes: Codes) -> Bools:
    laid: Bools = (codes == Does.LAID_OVER) | (codes == Does.LAID_UNDER)
    return laid


def takes_second(codes: Codes) -> Bools:
    """Where the needle knits the pass's second yarn."""
    taken: Bools = codes == Does.KNIT_CONTRAST
    return taken


@lru_cache(maxsize=2)
def pass_yarns(plan: Plan) -> PassYarns:
    """The yarns of every pass as indices; the lookup costs one step a band, not one a pass."""
    yarns: dict[Yarn, int] = {}
    first = np.full(plan.passes, NO_YARN, dtype=np.int16)
    second = np.full(plan.passes, NO_YARN, dtype=np.int16)
    for band in plan.bands:
        here = slice(band.first - 1, band.last)
        carried = band.technique.yarns
        count = len(band.yarns) if carried == 0 else min(carried, len(band.yarns))
        places = np.array([yarns.setdefault(yarn, len(yarns)) for yarn in band.yarns[:count]], dtype=np.int16)
        if carried == 0:
            first[here] = np.where(plan.colour[here] < 0, np.int16(NO_YARN), places[plan.colour[here]])
            continue
        first[here] = places[0]
        if count > 1:
            second[here] = places[1]
    return PassYarns(tuple(yarns), first, second)
