"""A figure of the budget against its limit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One figure against one limit. `figure` is None where the thing never happens; `limit` None where none applies."""

    name: str
    figure: float | None
    unit: str
    sense: str
    limit: float | None
    verdict: str
    source: str
    note: str = ""


def at_most(
    name: str,
    figure: float | None,
    unit: str,
    limit: float,
    source: str,
    *,
    verdict: str = "no",
    note: str = "",
) -> Line:
    """A line that holds while `figure` is at or under `limit`; else its verdict is `verdict`."""
    kept = figure is not None and figure <= limit * (1 + 1e-9)
    return Line(name, figure, unit, "at most", limit, "ok" if kept else verdict, source, note)


def at_least(
    name: str,
    figure: float | None,
    unit: str,
    limit: float,
    source: str,
    *,
    verdict: str = "no",
    note: str = "",
) -> Line:
    kept = figure is not None and figure >= limit * (1 - 1e-9)
    return Line(name, figure, unit, "at least", limit, "ok" if kept else verdict, source, note)
