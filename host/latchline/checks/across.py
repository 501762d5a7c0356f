"""What goes wrong along a row: floats, tucks side by side, a laid-in yarn that lies loose."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from latchline.checks.look import Look, Places, found
from latchline.checks.model import LOOK_AT, MUST_MEND, Finding, Mend
from latchline.fabric.loops import pass_yarns
from latchline.plan.model import Band
from latchline.technique.model import Does

GROUND = Mend(
    "let every other needle knit where the chart leaves the background",
    "--alternate-needles background",
    'alternate_needles = "background"',
)


def break_floats(needles: int) -> Mend:
    return Mend(
        f"where more than {needles} needles side by side don't take the yarn, let every other one take it",
        f"--break-floats {needles}",
        f"break_floats = {needles}",
    )


def float_across(look: Look) -> Iterator[Finding]:
    limit, most = look.own.float_needles or 0, look.own.float_needles_most
    yarns = pass_yarns(look.plan).yarns
    pitch = look.plan.profile.pitch_mm
    for band in look.bands_checked("float-across"):
        if 0 < band.options.catch_floats <= limit:
            continue  # the plan says where each is caught by hand
        places = look.long_floats.of_band(band)
        places = places.where(places.pass_first == places.pass_last)
        mends = _float_mends(band, limit)

        def describe(
            size: int, index: int, band: Band = band, places: Places = places, mends: tuple[Mend, ...] = mends
        ) -> Finding:
            yarn = yarns[int(places.kind[index])].name
            return Finding(
                rule="float-across",
                severity=MUST_MEND if size > most else LOOK_AT,
                band=band.name,
                what=f"{yarn} floats past {size} needles, {(size + 1) * pitch:.0f} mm",
                why="a long float catches fingers and buttons, and pulls the fabric narrow",
                todo="break it with stitches of its yarn, or catch it by hand on a needle halfway in the next row",
                limit=limit,
                mends=mends,
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)


def _float_mends(band: Band, limit: int) -> tuple[Mend, ...]:
    if band.chart is None or len(band.chart.palette) > 2 or band.technique.cams.selected == Does.HELD:
        return ()
    return (break_floats(limit), GROUND) if band.technique.yarns == 1 else (break_floats(limit),)


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
                what=f"{yarn} is left and taken again {size + 1} needles farther, {later}",
                why="the yarn hangs loose at the turn and lies as a long float over the row",
                todo="let it knit near the end where it turns, or choose a separation that uses the way back",
                limit=limit,
            )

        yield from found(look, places, np.zeros(len(places), dtype=np.int64), describe)


def laid_in_float(look: Look) -> Iterator[Finding]:
    limit, most = look.own.laid_in_needles or 0, look.own.float_needles_most
    for band in look.bands_checked("laid-in-float"):
        for code, words in ((Does.LAID_OVER, "over"), (Does.LAID_UNDER, "under")):
            places = look.doing(band, code, limit)

            def describe(size: int, _: int, band: Band = band, words: str = words) -> Finding:
                return Finding(
                    rule="laid-in-float",
                    severity=MUST_MEND if size > most else LOOK_AT,
                    band=band.name,
                    what=f"the inlay yarn lies {words} {size} needles without a change",
                    why="a laid-in yarn is bound only where it changes between over and under",
                    todo="draw a change into the run",
                    limit=limit,
                    mends=(break_floats(limit),),
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
                what=f"{size} needles side by side tuck",
                why="tucked yarn that no knitted neighbour holds down lies loose or drops off the needles",
                todo="let a needle between them knit",
                limit=limit,
                mends=(break_floats(limit), GROUND) if band.chart is not None else (),
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)
