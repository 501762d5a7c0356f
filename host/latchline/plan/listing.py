"""A plan written out: the stable CSV and JSON forms, and one for people."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from latchline.errors import InputError
from latchline.plan.model import Bools, Plan
from latchline.plan.options import parse_range

COLUMNS = ("pass", "row", "direction", "yarns", "needles", "selected")


def range_of(plan: Plan, text: str | None) -> tuple[int, int]:
    """First and last pass of `3-10`; the whole plan for None. Raises InputError."""
    if text is None:
        return 1, plan.passes
    asked = parse_range(text)
    if asked is None:
        raise InputError(f'"{text}" is no range of passes', hint="write first-last, as 1-24")
    low, high = asked
    if not 1 <= low <= high <= plan.passes:
        raise InputError(f"passes {text} are not in the plan", hint=f"it has passes 1 to {plan.passes}")
    return low, high


def rows(plan: Plan, first: int, last: int) -> Iterator[tuple[int, int | None, str, str, str, str]]:
    """The columns of each pass; `selected` is what the selectors are driven with."""
    needles = plan.profile.span_name(plan.span)
    for low in range(first, last + 1, 4096):
        masks = plan.driven_masks(low, min(low + 4095, last))
        for number, mask in enumerate(masks, low):
            yarns = "+".join(yarn.name for yarn in plan.yarns_of(number))
            row = int(plan.chart_row[number - 1]) or None
            yield number, row, plan.direction(number), yarns, needles, _digits(mask)


def as_csv(plan: Plan, first: int, last: int) -> Iterator[str]:
    """RFC 4180 lines, without their line ends."""
    yield ",".join(COLUMNS)
    yield from _csv_lines(rows(plan, first, last))


def as_columns(plan: Plan, first: int, last: int) -> Iterator[str]:
    """The same with a column for each needle: a spreadsheet would take 200 digits in one cell for a number."""
    named = [plan.places_name(place, place) for place in range(plan.span.width)]
    yield ",".join([*COLUMNS[:4], *named])
    yield from _csv_lines((*row[:4], *row[5]) for row in rows(plan, first, last))


def _csv_lines(values: Iterable[Sequence[object]]) -> Iterator[str]:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="")
    for row in values:
        writer.writerow("" if value is None else value for value in row)
        yield out.getvalue()
        out.seek(0)
        out.truncate()


def as_json(plan: Plan, first: int, last: int) -> dict[str, Any]:
    """The same as CSV with the plan's fingerprint and the operator's notes.

    `after` is what is done after the last pass.
    `selected` is what the selectors are driven with; it acts in pass `acts_in`, null where it acts in none.
    `knits` is what acts in this pass, null where every needle knits whatever is selected.
    """
    return {
        "name": plan.name,
        "machine": plan.profile.name,
        "needles": plan.profile.span_name(plan.span),
        "start": plan.start,
        "fingerprint": f"{plan.fingerprint:08x}",
        "bands": [
            {"name": band.name, "technique": band.technique.name, "first": band.first, "last": band.last}
            for band in plan.bands
        ],
        "passes": [dict(zip(COLUMNS, row, strict=True)) | _about(plan, row[0]) for row in rows(plan, first, last)],
        "after": list(_after(plan, last)),
    }


def _after(plan: Plan, last: int) -> tuple[str, ...]:
    """What is done after the last pass of the plan, if that is the last one asked for."""
    return plan.actions(plan.passes + 1) if last == plan.passes else ()


def _about(plan: Plan, number: int) -> dict[str, Any]:
    ahead = plan.profile.drive == "next-pass"
    acts_in = number + 1 if ahead else number
    return {
        "acts_in": acts_in if acts_in <= plan.passes else None,
        "knits": None if plain(plan, number) else _digits(plan.acting_masks(number, number)[0]),
        "notes": list(plan.actions(number)),
        "empty": plan.why_empty(number),
    }


def plain(plan: Plan, number: int) -> bool:
    """Whether selection makes no difference in a pass: plain knitting, or the way back of a one-way technique."""
    band = plan.band_of(number)
    cams = band.technique.cams_for(plan.direction(number), band.way)
    return cams.selected == cams.unselected


def _digits(mask: Bools) -> str:
    return (mask.view("u1") + 48).tobytes().decode("ascii")


def as_text(plan: Plan, first: int, last: int) -> Iterator[str]:
    """One line a pass: number, direction, chart row, yarns and the needles of the pass itself, selected ones as ■."""
    digits = len(str(last))
    for number, row, direction, yarns, _, _ in rows(plan, first, last):
        arrow = "→" if direction == "rightward" else "←"
        for note in plan.actions(number):
            yield f"{'':{digits}}   {note}"
        if plain(plan, number):
            needles = "in work knit" if plan.shaped else "knit"
            marks = f"all needles {needles}"
        else:
            marks = _digits(plan.acting_masks(number, number)[0]).replace("1", "■").replace("0", "·")
        why = plan.why_empty(number)
        yield f"{number:{digits}} {arrow} row {row or '–':<4} {yarns:<20} {marks}{f'  {why}' if why else ''}"
    for note in _after(plan, last):
        yield f"{'':{digits}}   {note}"
