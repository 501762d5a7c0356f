"""What goes wrong between the drawing and the needles: cut charts, seams, colours that nothing carries."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from latchline.checks.look import Look, Numbers, Places, found
from latchline.checks.model import GOOD_TO_KNOW, LOOK_AT, Finding
from latchline.counted import counted
from latchline.fabric.loops import Bools, knits
from latchline.plan.compile import shown_rows
from latchline.plan.model import Band
from latchline.plan.select import ground_row
from latchline.runs import runs
from latchline.technique.model import Does


def chart_cut(look: Look) -> Iterator[Finding]:
    width = look.plan.span.width
    for band in look.plan.bands:
        drawing, once = band.drawing, band.options.once_at is not None
        if drawing is None:
            continue
        over = drawing.stitches - width
        if over > 0:
            yield Finding(
                rule="chart-cut",
                severity=LOOK_AT,
                band=band.name,
                what=f"the chart is {counted(drawing.stitches, 'stitch')} wide and "
                f"{counted(width, 'needle is', 'needles are')} in work: {over} {'is' if over == 1 else 'are'} cut",
                why="the stitches past the last needle are not knitted",
                todo="take more needles, or crop the chart where you want it cut",
                measured=over,
                limit=0,
            )
        elif not once and not _ends_alike(width, drawing.stitches, band.options.shift):
            yield Finding(
                rule="chart-cut",
                severity=GOOD_TO_KNOW,
                band=band.name,
                what=f"the last repeat is cut: {counted(width, 'needle is', 'needles are')} no multiple of "
                f"{counted(drawing.stitches, 'stitch')}",
                why="the pattern ends differently on the left and on the right",
                todo="take a multiple of the repeat, or shift the pattern so that both ends match",
                measured=width % drawing.stitches,
                limit=0,
            )
        rows = int(look.plan.knitted_row[band.last - 1])
        height = drawing.rows * band.options.row_repeat
        if rows % height:
            left = height - rows % height
            yield Finding(
                rule="chart-cut",
                severity=LOOK_AT if rows < height else GOOD_TO_KNOW,
                band=band.name,
                what=f"{counted(left, 'row is', 'rows are')} not knitted at the top of the chart's {height}"
                if rows < height
                else f"the last repeat is cut: {counted(rows, 'row is', 'rows are')} no multiple of {height}",
                why="the pattern breaks off before its top row",
                todo="knit a multiple of the chart's height",
                measured=left,
                limit=0,
            )


def _ends_alike(width: int, stitches: int, shift: int) -> bool:
    """Whether the span cuts the repeat alike at both ends, or not at all; of an odd rest one end has a stitch more."""
    left, right = shift % stitches, (width - shift) % stitches
    return width % stitches == 0 or abs(left - right) <= 1


def motif_edge(look: Look) -> Iterator[Finding]:
    """A motif in another colour, or of missed stitches, on plain ground: a gap opens beside it."""
    for band in look.plan.bands:
        if band.options.once_at is None or band.drawing is None or band.technique.yarns != 2:
            continue
        if band.drawing.stitches >= look.plan.span.width or not band.technique.colour_work:
            continue
        first = band.options.once_at - look.plan.span.first
        yield Finding(
            rule="motif-edge",
            severity=GOOD_TO_KNOW,
            band=band.name,
            what=f"the motif stands alone, and {band.yarns[1].name} turns at its edges",
            why="two yarns that do not cross leave a gap between the motif and the ground beside it",
            todo="at each turn hang the loop below the needle beside the motif onto its end needle, or let the "
            "edge stitches of the motif step in and out from row to row",
            pass_first=band.first,
            pass_last=band.last,
            needles=look.needles(first, first + band.drawing.stitches - 1),
        )


def seam(look: Look) -> Iterator[Finding]:
    """Where the repeat meets itself: runs too long only because two parts of them join there."""
    beside, kept = look.long_floats, look.kept
    beside = beside.where(beside.pass_first == beside.pass_last)
    for band in look.plan.bands:
        if band.drawing is None:
            continue
        checks = band.technique.checks
        sideways = []
        if "float-across" in checks:
            sideways.append((beside.of_band(band), look.own.float_needles or 0))
        if "tucks-beside" in checks:
            sideways.append((look.doing(band, Does.TUCK, look.own.tucks_beside), look.own.tucks_beside))
        if "laid-in-float" in checks:
            limit = look.own.laid_in_needles or 0
            sideways += [(look.doing(band, code, limit), limit) for code in (Does.LAID_OVER, Does.LAID_UNDER)]
        for places, limit in sideways:
            yield from _seam(look, band, places.where(_joins_sideways(look, band, places, limit)), limit, "sideways")
        for rule, size, limit in (
            ("tucks-stacked", kept.tucked, look.own.tucks_stacked),
            ("loop-kept", kept.missed, look.own.held_passes),
        ):
            if rule in checks and band.separation is None:
                places = kept.places(size, limit).of_band(band)
                yield from _seam(look, band, places.where(_joins_upward(look, band, places, limit)), limit, "upward")


def _seam(look: Look, band: Band, places: Places, limit: int, way: str) -> Iterator[Finding]:
    def describe(size: int, _: int) -> Finding:
        return Finding(
            rule="seam",
            severity=LOOK_AT,
            band=band.name,
            what=f"where the chart meets itself {way}, two runs join to one of {size}",
            why="the drawing looks right by itself, and the fabric does not once it repeats",
            todo="change the stitches along that border of the drawing",
            limit=limit,
        )

    yield from found(look, places, np.zeros(len(places), dtype=np.int64), describe)


def _joins_sideways(look: Look, band: Band, places: Places, limit: int) -> Bools:
    """Places whose run crosses a border between repeats, with no more than `limit` on either side."""
    assert band.drawing is not None
    width = band.drawing.stitches
    if width >= look.plan.span.width or band.options.once_at is not None:
        return np.zeros(len(places), dtype=np.bool_)
    # The first border at or after the run's second needle; a longer run crosses a second one.
    border = places.needle_first + 1 + (band.options.shift - places.needle_first - 1) % width
    return _joined(places.needle_first, places.needle_last, border, limit)


def _joins_upward(look: Look, band: Band, places: Places, limit: int) -> Bools:
    assert band.drawing is not None
    height = band.drawing.rows * band.options.row_repeat
    first, last = places.pass_first - band.first, places.pass_last - band.first
    if band.passes <= height:
        return np.zeros(len(places), dtype=np.bool_)
    border = first + 1 + (-first - 1) % height
    return _joined(first, last, border, limit)


def _joined(first: Numbers, last: Numbers, border: Numbers, limit: int) -> Bools:
    joined: Bools = (border <= last) & (border - first <= limit) & (last - border + 1 <= limit)
    return joined


def colour_not_carried(look: Look) -> Iterator[Finding]:
    """Where each row carries one colour only: stitches whose colour is neither carried nor on the needle."""
    for band in look.bands_checked("colour-not-carried"):
        if band.separation is None or band.separation.name != "alternating" or band.chart is None:
            continue
        wanted = _wanted(look, band)
        passes = np.arange(band.first, band.last + 1, 2)
        marks = knits(look.codes_of(band)[::2])
        since = np.maximum.accumulate(np.where(marks, np.arange(len(passes))[:, None], -1), axis=0)
        carried = look.plan.colour[passes - 1]
        shown = np.where(since >= 0, carried[np.maximum(since, 0)], -1)
        line, first, last = (part.astype(np.int64) for part in runs(shown != wanted))
        number = passes[line]
        places = Places(last - first + 1, number, number + 1, first, last, np.zeros(len(line), dtype=np.int64))

        def describe(size: int, _: int, band: Band = band) -> Finding:
            return Finding(
                rule="colour-not-carried",
                severity=LOOK_AT,
                band=band.name,
                what=(f"{size} stitches side by side show" if size > 1 else "a stitch shows")
                + " a colour that this row doesn't carry",
                why="a needle that doesn't knit keeps showing the loop of the rows below",
                todo="draw only the row's own colour or the colour right below, or choose another separation",
                limit=0,
            )

        yield from found(look, places, look.chart_row(places.pass_first), describe)


def _wanted(look: Look, band: Band) -> Numbers:
    """The colour, as a place among the band's yarns, that each stitch of each knitted row is meant to show."""
    assert band.chart is not None
    shown = shown_rows(band, look.plan.span, band.passes // 2)
    return shown.table[shown.of_row].astype(np.int64)


def yarn_idle(look: Look) -> Iterator[Finding]:
    """A yarn that the band carries and never knits."""
    for band in look.bands_checked("yarn-idle"):
        masks = look.plan.table[np.unique(look.plan.acting[band.first - 1 : band.last])]
        colours = look.plan.colour[band.first - 1 : band.last]
        if band.technique.yarns == 0:
            any_selected: Bools = np.any(look.plan.table, axis=1)[look.plan.acting[band.first - 1 : band.last]]
            idle = [int(c) for c in np.unique(colours) if c >= 0 and not any_selected[colours == c].any()]
        else:
            idle = [] if masks.any() else [1]
        for colour in idle:
            yield Finding(
                rule="yarn-idle",
                severity=LOOK_AT,
                band=band.name,
                what=f"{band.yarns[colour].name} is carried and no needle ever knits it",
                why="its passes are knitted in vain, or the chart's colour was lost on the way",
                todo="take the colour out, or look whether crop, rows or background hide it",
                pass_first=band.first,
                pass_last=band.last,
                measured=0,
            )


def rows_not_shown(look: Look) -> Iterator[Finding]:
    """Rows of the chart, or of the ground, that fall on the plain way back of a one-way technique."""
    for band in look.plan.bands:
        only = band.options.alternate_needles == "only"
        if not band.technique.one_way or (band.chart is None and not only):
            continue
        here = slice(band.first - 1, band.last)
        patterned = look.plan.rightward[here] == (band.way == "rightward")
        rows = look.plan.chart_row[here]
        if band.chart is None:
            rows = ground_row(look.plan.knitted_row[here] - 1, band.options.row_repeat, one_way=True) % 2 + 1
        hidden = np.setdiff1d(rows, rows[patterned])
        if len(hidden):
            whose = "rows of the ground" if band.chart is None else "chart rows"
            yield Finding(
                rule="rows-not-shown",
                severity=LOOK_AT,
                band=band.name,
                what=f"{len(hidden)} of {len(np.unique(rows))} {whose} fall on the plain way back only",
                why="a one-way technique works its pattern in one direction and knits everything on the other",
                todo="knit more rows" if band.chart is None else "knit each chart row twice",
                chart_row=0 if band.chart is None else int(hidden[0]),
                pass_first=band.first + int(np.flatnonzero(rows == hidden[0])[0]),
                pass_last=band.last,
                places=len(hidden),
                measured=len(hidden),
                limit=0,
            )


def rows_alike(look: Look) -> Iterator[Finding]:
    """Rows that never change: plain stretches band or curl, constant selections fold lengthwise."""
    limit = look.own.alike_rows
    _, same = np.unique(look.plan.table, axis=0, return_inverse=True)  # the table may hold a selection twice
    for band in look.bands_checked("rows-alike"):
        selection = same.ravel()[look.plan.acting[band.first - 1 : band.last]]
        line, first, last = runs((selection[1:] == selection[:-1])[None, :], limit - 1)
        if not len(line):
            continue
        worst = int(np.argmax(last - first))
        start, rows = int(first[worst]), int(last[worst] - first[worst]) + 2
        selected = look.plan.acting_masks(band.first + start, band.first + start)[0]
        plain = bool(selected.all() or not selected.any())
        yield Finding(
            rule="rows-alike",
            severity=GOOD_TO_KNOW,
            band=band.name,
            what=f"{rows} rows running are all {'plain' if plain else 'selected alike'}",
            why="plain rows curl, and band against the thicker pattern"
            if plain
            else "needles that always do the same draw the fabric into lengthwise folds",
            todo="block it, border it, or bring a change into these rows",
            chart_row=int(look.plan.chart_row[band.first - 1 + start]),
            pass_first=band.first + start,
            pass_last=band.first + start + rows - 1,
            places=len(line),
            measured=rows,
            limit=limit,
        )
