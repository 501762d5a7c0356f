"""What goes wrong between yarn, stitch size and fabric, and what a long band asks of the knitter."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from latchline.checks.look import Look
from latchline.checks.model import GOOD_TO_KNOW, LOOK_AT, MUST_MEND, Finding
from latchline.counted import counted, every, times
from latchline.plan.limits import weights_due
from latchline.plan.model import Band, Yarn
from latchline.technique.model import LAID_IN_ONLY, Does

PLAIN_ROWS_OF_COURSE = 8  # a few plain rows before a cast-off curl, and nobody needs to be told


def _knitted(band: Band) -> tuple[Yarn, ...]:
    """The yarns that needles knit: all but one that is laid in."""
    return band.yarns[:1] if band.technique.cams.selected == Does.LAID_OVER else band.yarns


def yarn_class(look: Look) -> Iterator[Finding]:
    """A yarn too thick for the bed, or for the technique."""
    for band in look.plan.bands:
        for yarn in _knitted(band):
            kind = look.own.yarn_class(yarn, look.plan.profile.pitch_mm)
            if kind is None or (kind in band.technique.yarn_classes and kind != LAID_IN_ONLY):
                continue
            too_thick = kind == LAID_IN_ONLY
            yield Finding(
                rule="yarn-class",
                severity=MUST_MEND if too_thick else LOOK_AT,
                band=band.name,
                what=f"{yarn.name} with {yarn.tex:.0f} tex is {'too thick to knit on this bed' if too_thick else kind}"
                + (
                    ""
                    if too_thick
                    else f", and {band.technique.name} suits {' and '.join(band.technique.yarn_classes)}"
                ),
                why="a yarn that fills the hook strains needles and carriage and splits"
                if too_thick
                else "several strands meet in one stitch here, so thick yarn makes it stiff and hard to push",
                todo="lay it in, or take a thinner one or a bed with a wider pitch"
                if too_thick
                else "take a thinner yarn, or knit a swatch with a larger stitch size first",
                measured=yarn.tex,
                limit=look.own.heavy_tex if too_thick else None,
            )


def stitch_size(look: Look) -> Iterator[Finding]:
    """A number on the dial that does not go with the yarn."""
    seen = set()
    for band in look.plan.bands:
        for yarn in _knitted(band):
            kind = look.own.yarn_class(yarn, look.plan.profile.pitch_mm)
            sizes = look.own.stitch_sizes(kind) if kind is not None else None
            if yarn.stitch_size is None or sizes is None or yarn in seen:
                continue
            seen.add(yarn)
            low, high = sizes
            if low <= yarn.stitch_size <= high:
                continue
            tight = yarn.stitch_size < low
            yield Finding(
                rule="stitch-size",
                severity=LOOK_AT,
                band=band.name,
                what=f"stitch size {yarn.stitch_size:g} for {yarn.name}, a {kind} yarn, which usually "
                f"takes {low:g} to {high:g}",
                why="too small a loop strains the needles and the yarn"
                if tight
                else "too large a loop makes a limp fabric that drops stitches",
                todo="knit a swatch before the piece, or turn the dial",
                measured=yarn.stitch_size,
                limit=low if tight else high,
            )


def tightness(look: Look) -> Iterator[Finding]:
    """The tightness factor √tex / loop length in mm, where the piece file gives both."""
    most, seen = look.own.tightness_most, set()
    for band in look.plan.bands:
        for yarn in _knitted(band):
            if yarn.tex is None or yarn.loop_length_mm is None or yarn in seen:
                continue
            seen.add(yarn)
            factor = sqrt(yarn.tex) / yarn.loop_length_mm
            if factor > most:
                yield Finding(
                    rule="tightness",
                    severity=LOOK_AT,
                    band=band.name,
                    what=f"{yarn.name} is knitted with a tightness factor of {factor:.2f}",
                    why="plain fabric by machine has 1.3 to 1.5 and by hand is slacker, so this is board-like",
                    todo="use a longer loop (a larger stitch size) or a thinner yarn, and knit a swatch",
                    measured=round(factor, 3),
                    limit=most,
                )


def weights(look: Look) -> Iterator[Finding]:
    """When edge weights are due to be moved up."""
    rows_every = look.own.weights_rows
    for band in look.bands_checked("weights"):
        rows = int(look.plan.knitted_row[band.last - 1])
        moves = sum(weights_due(look.plan, number, rows_every) for number in range(band.first, band.last + 1))
        if moves:
            yield Finding(
                rule="weights",
                severity=GOOD_TO_KNOW,
                band=band.name,
                what=f"move the edge weights up {every(rows_every, 'row')}, {times(moves)} in this band",
                why="loops that are kept or floated over need a steady pull, most of all at the ends",
                todo="hang them under the end needles before the band begins",
                pass_first=band.first,
                pass_last=band.last,
                measured=rows,
                limit=rows_every,
            )


def curls(look: Look) -> Iterator[Finding]:
    for band in look.plan.bands:
        if band.technique.name == "stocking" and band.passes > PLAIN_ROWS_OF_COURSE and band.counts:
            yield Finding(
                rule="curls",
                severity=GOOD_TO_KNOW,
                band=band.name,
                what=f"{counted(band.passes, 'plain row')} curl: the sides to the purl side, the ends to the knit side",
                why="the loops of plain fabric pull to one side, and nothing in it pulls back",
                todo="plan a border or a hem, and block it",
                pass_first=band.first,
                pass_last=band.last,
                measured=band.passes,
                limit=PLAIN_ROWS_OF_COURSE,
            )
