"""Findings as text for people and as data for programs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import groupby
from typing import Any

from latchline.chart.colours import said
from latchline.checks.find import can_be_knitted
from latchline.checks.model import SEVERITIES, Finding
from latchline.counted import counted
from latchline.mend import PIECE_FILE, Mend, Tongue
from latchline.plan.model import Band, Plan

KINDS_NAMED = 8  # kinds of bands that are listed
ROWS_NAMED = 12  # chart rows that are listed before "and so on"


def as_data(plan: Plan, found: Sequence[Finding], tongue: Tongue = PIECE_FILE) -> dict[str, Any]:
    """All findings, worst first, with the plan that they are of."""
    return {
        "name": plan.name,
        "machine": plan.profile.name,
        "needles": plan.profile.span_name(plan.span),
        "passes": plan.passes,
        "fingerprint": f"{plan.fingerprint:08x}",
        "bands": [
            {
                "name": band.name,
                "technique": band.technique.name,
                "yarns": [{"name": yarn.name, "colour": yarn.colour} for yarn in band.yarns],
            }
            for band in plan.bands
        ],
        "can_be_knitted": can_be_knitted(found),
        "counts": {severity: sum(item.severity == severity for item in found) for severity in SEVERITIES},
        "findings": [asdict(item) | {"mends": [_mend(mend, tongue) for mend in item.mends]} for item in found],
    }


def _mend(mend: Mend, tongue: Tongue) -> dict[str, str]:
    option, key = (words.setting(mend.key, mend.value) for words in (tongue, PIECE_FILE))
    return {"what": mend.what, "option": option, "key": key, "changes": mend.changes}


def as_text(plan: Plan, found: Sequence[Finding], *, every: bool = False, tongue: Tongue = PIECE_FILE) -> Iterator[str]:
    """Line by line: what was taken for granted, then each rule with its worst place; `every` lists all at length."""
    yield from assumed(plan)
    yield ""
    for severity in SEVERITIES:
        of_severity = sorted(
            (item for item in found if item.severity == severity), key=lambda item: (item.band, item.rule)
        )
        if not of_severity:
            continue
        yield f"{severity}:"
        for _, group in groupby(of_severity, key=lambda item: (item.band, item.rule)):
            alike = sorted(group, key=lambda item: -(item.measured or 0))
            for finding in alike if every else alike[:1]:
                yield from _lines(finding, several_bands=len(plan.bands) > 1)
            if not every and len(alike) > 1:
                yield f"    The same in {_rows(alike[1:])}."
            for mend in alike[0].mends:
                yield f"    {tongue.setting(mend.key, mend.value)}: {mend.what} ({mend.changes})."
        yield ""
    yield verdict(found)


def assumed(plan: Plan) -> Iterator[str]:
    """What is knitted, on which needles, with which yarns: the first thing to see when a finding surprises."""
    yield f"{plan.profile.span_name(plan.span)} of {plan.profile.name}, {counted(plan.passes, 'pass')}"
    said_of: dict[str, list[str]] = {}
    for band in plan.bands:
        yarns = ", ".join(_yarn(band, place) for place in range(len(band.yarns)))
        said_of.setdefault(f"{band.technique.name}: {yarns}", []).append(band.name)
    for words, names in list(said_of.items())[:KINDS_NAMED]:
        whose = f" ({len(names)} bands)" if len(names) > 1 else f" ({names[0]})" if len(plan.bands) > 1 else ""
        yield f"{words}{whose}"
    if len(said_of) > KINDS_NAMED:
        yield f"and {counted(len(said_of) - KINDS_NAMED, 'more kind')} of bands"


def _yarn(band: Band, place: int) -> str:
    """`main white`, or `sand`, whose name says enough; by the chart's name where it has one."""
    yarn, name = band.yarns[place], ""
    if band.colours and band.drawing is not None and band.colours[place] < len(band.drawing.palette):
        colour = band.drawing.palette[band.colours[place]]
        name = colour.name if colour.hex == yarn.colour else ""
    shown = name or said(yarn.colour)
    return yarn.name if shown == yarn.name else f"{yarn.name} {shown}"


def verdict(found: Sequence[Finding]) -> str:
    """One sentence."""
    good = "It can be knitted" if can_be_knitted(found) else "It cannot be knitted as it stands"
    counted = [(severity, sum(item.severity == severity for item in found)) for severity in SEVERITIES]
    counts = [f"{severity}: {count}" for severity, count in counted if count]
    return f"{good}; {', '.join(counts) or 'there is nothing to complain of'}."


def _lines(finding: Finding, *, several_bands: bool) -> Iterator[str]:
    place = _place(finding, several_bands=several_bands)
    yield f"  {finding.rule}{': ' + place if place else ''}"
    limit = f" (limit {finding.limit:g})" if finding.limit and f" {finding.limit:g} " not in finding.what else ""
    yield f"    {_sentence(finding.what + limit)} {_sentence(finding.why)} {_sentence(finding.todo)}"


def _place(finding: Finding, *, several_bands: bool) -> str:
    parts = [f"band {finding.band}"] if several_bands else []
    if finding.chart_row:
        parts.append(f"chart row {finding.chart_row}")
    if finding.pass_first:
        last = finding.pass_last
        parts.append(
            f"pass {finding.pass_first}" if last == finding.pass_first else f"passes {finding.pass_first}–{last}"
        )
    if finding.needles:
        parts.append(finding.needles)
    if finding.places > 1:
        parts.append(f"the worst of {finding.places} places")
    return ", ".join(parts)


def _rows(alike: Sequence[Finding]) -> str:
    rows = sorted({item.chart_row for item in alike if item.chart_row})
    if not rows:
        return f"{counted(len(alike), 'more place')}"
    named = ", ".join(str(row) for row in rows[:ROWS_NAMED])
    more = f" and {len(rows) - ROWS_NAMED} more" if len(rows) > ROWS_NAMED else ""
    return f"{'chart row' if len(rows) == 1 else 'chart rows'} {named}{more}"


def _sentence(clause: str) -> str:
    return clause[:1].upper() + clause[1:] + "."
