"""What goes wrong on one needle, pass after pass: stacked tucks, loops kept too long, needles that never knit."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from latchline.checks.look import Look, Places, found
from latchline.checks.model import GOOD_TO_KNOW, LOOK_AT, MUST_MEND, Finding
from latchline.counted import counted, times
from latchline.fabric.loops import knits
from latchline.plan.model import Band
from latchline.runs import runs


def never_knits(look: Look) -> Iterator[Finding]:
    for band in look.bands_checked("never-knits"):
        idle = look.never_knitting.get(band.first)
        if idle is None:
            continue
        marks = np.zeros((1, look.plan.span.width), dtype=np.bool_)
        marks[0, idle] = True
        _, first, last = runs(marks)
        worst = int(np.argmax(last - first))
        yield Finding(
            rule="never-knits",
            severity=MUST_MEND,
            band=band.name,
            what=f"{len(idle)} of {counted(look.plan.span.width, 'needle')} "
            f"{'knits' if len(idle) == 1 else 'knit'} in no pass of the band",
            why="their loops are never cast off the needles, and the yarn piles up or the fabric jams",
            todo="let each needle knit at least every few rows, or take it out of work",
            pass_first=band.first,
            pass_last=band.last,
            needles=look.needles(int(first[worst]), int(last[worst])),
            places=len(idle),
            measured=len(idle),
            limit=0,
        )


def tucks_stacked(look: Look) -> Iterator[Finding]:
    kept = look.kept
    for band in look.bands_checked("tucks-stacked"):
        limit = look.tucks_limit(band)
        places = _that_knit(look, band, kept.places(kept.tucked, limit).of_band(band))

        def describe(size: int, _: int, band: Band = band, limit: int = limit) -> Finding:
            return Finding(
                rule="tucks-stacked",
                severity=MUST_MEND,
                band=band.name,
                what=f"a needle tucks {times(size)} in a row",
                why="more loops than this don't fit in the hook, so stitches drop or the needle is bent",
                todo="let the needle knit in between",
                limit=limit,
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)


def loop_kept(look: Look) -> Iterator[Finding]:
    kept, limit = look.kept, look.own.held_passes
    for band in look.bands_checked("loop-kept"):
        places = _that_knit(look, band, kept.places(kept.missed, limit).of_band(band))
        expected = band.separation.held_most(len(band.yarns)) if band.separation is not None else 0
        usual = places.where(places.size <= expected)
        if len(usual):
            yield _kept_by_separation(look, band, usual)
        places = places.where(places.size > expected)

        def describe(size: int, _: int, band: Band = band) -> Finding:
            return Finding(
                rule="loop-kept",
                severity=MUST_MEND if size > look.own.held_passes_most else LOOK_AT,
                band=band.name,
                what=f"a needle keeps its loop over {counted(size, 'pass')}",
                why="the kept loop stretches over all of those courses: the fabric puckers, and in the end it breaks",
                todo="let the needle knit in between",
                limit=limit,
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)


def _kept_by_separation(look: Look, band: Band, places: Places) -> Finding:
    """Loops that are kept no longer than the separation always may: said once for a band."""
    assert band.separation is not None
    worst = int(np.argmax(places.size))
    size = int(places.size[worst])
    return Finding(
        rule="loop-kept",
        severity=GOOD_TO_KNOW if band.technique.double_bed else LOOK_AT,
        band=band.name,
        what=f"loops are kept over as many as {counted(size, 'pass')}, as {band.separation.name} with "
        f"{len(band.yarns)} colours does",
        why="a kept loop stretches over the courses that its neighbours knit meanwhile",
        todo="knit a swatch with a larger stitch size, or choose fewer colours or another separation",
        chart_row=int(look.chart_row(places.pass_first)[worst]),
        pass_first=int(places.pass_first[worst]),
        pass_last=int(places.pass_last[worst]),
        needles=look.needles(int(places.needle_first[worst]), int(places.needle_last[worst])),
        places=len(places),
        measured=size,
        limit=look.own.held_passes,
    )


def _that_knit(look: Look, band: Band, places: Places) -> Places:
    """Without the needles that never knit in the band: they have a finding of their own."""
    idle = look.never_knitting.get(band.first)
    return places if idle is None else places.where(~np.isin(places.needle_first, idle))


def edge_needle(look: Look) -> Iterator[Finding]:
    for band in look.bands_checked("edge-needle"):
        codes = look.codes_of(band)
        ends = np.tile([0, look.plan.span.width - 1], (band.passes, 1))
        if look.plan.shaped:
            working = look.working[band.first - 1 : band.last]
            ends = np.stack([working.argmax(axis=1), working.shape[1] - 1 - working[:, ::-1].argmax(axis=1)], axis=1)
        idle = ~knits(np.take_along_axis(codes, ends, axis=1))
        for end in (0, 1):
            passes = np.flatnonzero(idle[:, end])
            if not len(passes):
                continue
            first, place = band.first + int(passes[0]), int(ends[passes[0], end])
            yield Finding(
                rule="edge-needle",
                severity=LOOK_AT,
                band=band.name,
                what=f"the end needle doesn't knit in {len(passes)} of {counted(band.passes, 'pass')}",
                why="the yarn turns without being caught, so the edge frays into loops",
                todo="make the end needles knit",
                chart_row=int(look.plan.chart_row[first - 1]),
                pass_first=first,
                pass_last=first,
                needles=look.needles(place, place),
                places=len(passes),
                measured=len(passes),
                limit=0,
            )
