"""Timings as a table for people, as CSV (RFC 4180) and as JSON. Nothing here prints."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from math import isfinite
from typing import Any

from latchline.counted import counted
from latchline.timing.passes import PassTiming
from latchline.timing.statistics import Difference, TimingSummary

Cell = Callable[[PassTiming], object]


def _moment(seconds: float) -> str:
    """ISO 8601, UTC, to the millisecond."""
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _tenth(number: int) -> Cell:
    return lambda timing: round(timing.tenth_s[number - 1], 6)


# The columns of the CSV and the keys of the JSON, in order; docs/reference/timing.md explains each.
COLUMNS: dict[str, Cell] = {
    "pass": lambda t: t.number,
    "direction": lambda t: t.direction,
    "start": lambda t: _moment(t.start_s),
    "end": lambda t: _moment(t.end_s),
    "duration_s": lambda t: round(t.duration_s, 4),
    "at_least": lambda t: int(t.at_least),
    "pause_s": lambda t: None if t.pause_s is None else round(t.pause_s, 4),
    "speed_m_s": lambda t: round(t.speed_m_s, 4),
    "fastest_m_s": lambda t: round(t.fastest_m_s, 4),
    "limit_percent": lambda t: round(100 * t.limit, 1),
    "unevenness_percent": lambda t: round(100 * t.unevenness, 2),
    "hesitations": lambda t: t.hesitations,
    "backings": lambda t: t.backings,
    "backed_needles": lambda t: t.backed_needles,
    "overrun_needles": lambda t: t.overrun_needles,
    "missed_edges": lambda t: t.missed_edges,
    "again": lambda t: int(t.again),
    **{f"tenth_{tenth}_s": _tenth(tenth) for tenth in range(1, 11)},
}


def as_csv(timings: Sequence[PassTiming]) -> str:
    """A header line and one record a pass, each ended by CR LF; a figure that is not known is empty."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([cell(timing) for cell in COLUMNS.values()] for timing in timings)
    return out.getvalue()


def as_json(timings: Sequence[PassTiming], summary: TimingSummary) -> dict[str, Any]:
    """The same columns for each pass, and the summary."""
    return {
        "summary": asdict(summary),
        "passes": [{name: cell(timing) for name, cell in COLUMNS.items()} for timing in timings],
    }


def as_table(timings: Sequence[PassTiming]) -> Iterator[str]:
    """One line a pass, with what was out of the ordinary in words at its end."""
    yield " pass  way       begun    time s  pause s   m/s  uneven  limit  past end"
    begun_s = timings[0].start_s if timings else 0.0
    for t in timings:
        pause = "" if t.pause_s is None else f"{t.pause_s:.2f}"
        least = "≥" if t.at_least else " "
        yield (
            f"{t.number:5}  {t.direction:9} {clock(t.start_s - begun_s):>8} {least}{t.duration_s:6.2f}"
            f"  {pause:>7}  {t.speed_m_s:4.2f}  {t.unevenness:5.0%}  {t.limit:5.0%}  {t.overrun_needles:8.1f}"
            f"  {', '.join(remarks(t))}"
        ).rstrip()


def remarks(timing: PassTiming) -> list[str]:
    """What a knitter would want to know of this pass; empty for an ordinary one."""
    said = []
    if timing.again:
        said.append("knitted again")
    if timing.near_limit:
        said.append("near the speed limit")
    if timing.hesitations:
        said.append(counted(timing.hesitations, "stop"))
    if timing.backings:
        said.append("backed up " + counted(timing.backed_needles, "needle"))
    if timing.missed_edges > 0:
        said.append(counted(timing.missed_edges, "edge") + " missed")
    if timing.missed_edges < 0:
        said.append(counted(-timing.missed_edges, "edge") + " too many")
    return said


def as_summary(summary: TimingSummary) -> Iterator[str]:
    """The session in sentences."""
    again = f", {summary.again} of them once more after undoing" if summary.again else ""
    yield f"{counted(summary.passes, 'pass', 'passes')}{again}, in {clock(summary.elapsed_s)}."
    rest = f"; {counted(summary.breaks, 'break')} {clock(summary.breaks_s)}" if summary.breaks else ""
    yield f"Carriage on the bed {clock(summary.knitting_s)}, turning {clock(summary.turning_s)}{rest}."
    if summary.pace_rows_min is not None:
        yield f"Pace {summary.pace_rows_min:.1f} rows a minute, breaks left out."
    speed = summary.speed_m_s
    yield (
        f"Speed {speed.median:.2f} m/s in the middle pass, half of all passes from {speed.lower_quartile:.2f} "
        f"to {speed.upper_quartile:.2f}; fastest edge {summary.fastest_m_s:.2f} m/s."
    )
    near = counted(summary.near_limit, "pass", "passes")
    yield f"Unevenness {summary.unevenness.median:.0%} in the middle pass; {near} near the speed limit."
    yield (
        f"{counted(summary.hesitations, 'stop')} on the way, backed up {counted(summary.backings, 'time')}, "
        f"{counted(summary.missed_edges, 'edge')} missed, {summary.doubled_edges} too many."
    )


def as_figures(one: Difference) -> dict[str, Any]:
    """For JSON; the error is null where a session of one pass leaves it unknown."""
    return asdict(one) | {"error": one.error if isfinite(one.error) else None, "clear": one.clear}


_WORDS = {
    "speed_m_s": ("speed", "m/s", 1.0, 3),
    "unevenness": ("unevenness", "%", 100.0, 1),
    "pause_s": ("pause at the turn", "s", 1.0, 2),
    "overrun_needles": ("past the end needle", "needles", 1.0, 1),
    "hesitations": ("stops a pass", "", 1.0, 2),
    "limit": ("share of the speed limit", "%", 100.0, 1),
}


@dataclass(frozen=True)
class Compared:
    """One figure of two sessions in the words and units of a reader. error: of the difference, at 95 %."""

    label: str
    first: str
    second: str
    difference: str
    error: str
    clear: bool


def compared(differences: Sequence[Difference]) -> Iterator[Compared]:
    """Two sessions side by side: means, difference, and whether it is more than scatter."""
    for one in differences:
        name, unit, factor, digits = _WORDS[one.name]
        label = f"{name} ({unit})" if unit else name
        first, second, change, error = (
            f"{value * factor:.{digits}f}" for value in (one.first, one.second, one.difference, one.error)
        )
        sign = "+" if one.difference > 0 else ""
        yield Compared(label, first, second, sign + change, error, one.clear)


def as_comparison(differences: Sequence[Difference]) -> Iterator[str]:
    """The same as lines."""
    yield f"{'':26} {'first':>9} {'second':>9} {'difference':>12} {'± (95 %)':>9}"
    for one in compared(differences):
        verdict = "" if one.clear else "  within the scatter"
        yield f"{one.label:26} {one.first:>9} {one.second:>9} {one.difference:>12} {one.error:>9}{verdict}"


def clock(seconds: float) -> str:
    """As 1:02:03 or 2:03."""
    whole = max(0, round(seconds))
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02}:{whole % 60:02}" if hours else f"{minutes}:{whole % 60:02}"
