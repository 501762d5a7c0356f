"""What goes wrong along a row: floats, tucks side by side, a laid-in yarn that lies loose."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from latchline.checks.look import Look, Places, found
from latchline.checks.model import LOOK_AT, MUST_MEND, Finding
from latchline.counted import counted
from latchline.fabric.loops import pass_yarns
from latchline.plan.model import Band
from latchline.technique.model import Does


def _length(needles: int, pitch_mm: float) -> str:
    """A float as a knitter measures it: needles passed by, and its length across the bed."""
    return f"{counted(needles, 'needle')}, {(needles + 1) * pitch_mm / 10:.1f} cm"


def float_across(look: Look) -> Iterator[Finding]:
    limit = look.own.float_needles or 0
    yarns = pass_yarns(look.plan).yarns
    pitch = look.plan.profile.pitch_mm
    for band in look.bands_checked("float-across"):
        if 0 < band.options.catch_floats <= limit:
            continue  # the plan says where each is caught by hand
        places = look.long_floats.of_band(band)
        places = places.where(places.pass_first == places.pass_last)

        def describe(size: int, index: int, band: Band = band, places: Places = places) -> Finding:
            yarn = yarns[int(places.kind[index])].name
            return Finding(
                rule="float-across",
                severity=LOOK_AT,
                band=band.name,
                what=f"{yarn} floats past {_length(size, pitch)}, where {_length(limit, pitch)} are the limit",
                why="a long float catches fingers and buttons, and pulls the fabric narrow",
                todo="catch it with a stitch of its yarn, or by hand before the next row, or latch it up afterwards",
                limit=limit,
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)


def float_over_turn(look: Look) -> Iterator[Finding]:
    """A yarn that is left in one pass and taken again in another, far along the bed."""
    limit = look.own.float_needles or 0
    yarns = pass_yarns(look.plan).yarns
    for band in look.bands_checked("float-over-turn"):
        places = look.long_floats.of_band(band)
        places = places.where(places.pass_first != places.pass_last)

        def describe(size: int, index: int, band: Band = band, places: Places = places) -> Finding:
            yarn = yarns[int(places.kind[index])].name
            passes = int(places.pass_last[index] - places.pass_first[index])
            later = "in the next pass" if passes == 1 else f"{passes} passes later"
            return Finding(
                rule="float-over-turn",
                severity=LOOK_AT,
                band=band.name,
                what=f"{yarn} is left and taken again {counted(size + 1, 'needle')} farther, {later}",
                why="the yarn hangs loose at the turn and lies as a long float over the row",
                todo="let it knit near the end where it turns, or choose a separation that uses the way back",
                limit=limit,
            )

        yield from found(look, places, np.zeros(len(places), dtype=np.int64), describe)


def laid_in_float(look: Look) -> Iterator[Finding]:
    limit = look.own.laid_in_needles or 0
    for band in look.bands_checked("laid-in-float"):
        for code, words in ((Does.LAID_OVER, "over"), (Does.LAID_UNDER, "under")):
            places = look.doing(band, code, limit)

            def describe(size: int, _: int, band: Band = band, words: str = words) -> Finding:
                return Finding(
                    rule="laid-in-float",
                    severity=LOOK_AT,
                    band=band.name,
                    what=f"the inlay yarn lies {words} {counted(size, 'needle')} without a change",
                    why="a laid-in yarn is bound only where it changes between over and under",
                    todo="draw a change into the run",
                    limit=limit,
                )

            yield from found(look, places, look.chart_row(places.pass_first), describe)


def tucks_beside(look: Look) -> Iterator[Finding]:
    limit, most = look.own.tucks_beside, look.own.tucks_beside_most
    for band in look.bands_checked("tucks-beside"):
        places = look.doing(band, Does.TUCK, limit)

        def describe(size: int, _: int, band: Band = band) -> Finding:
            return Finding(
                rule="tucks-beside",
                severity=MUST_MEND if size > most else LOOK_AT,
                band=band.name,
                what=f"{counted(size, 'needle')} side by side tuck{'s' if size == 1 else ''}",
                why="tucked yarn that no knitted neighbour holds down lies loose or drops off the needles",
                todo="let a needle between them knit",
                limit=limit,
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)
