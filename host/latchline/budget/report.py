"""A budget as plain data, as text for a terminal, and as one page of HTML with plots."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from html import escape
from typing import Any

from latchline.budget.lines import Line
from latchline.budget.plots import current_plot, duty_plot
from latchline.budget.sums import Budget, SelectorBudget
from latchline.counted import counted

VERDICTS = {
    "ok": "nothing here breaks a rating",
    "look": "nothing here breaks a rating, but read the notes marked look",
    "no": "do not build this: a rating or the timing is broken",
}


def figure_text(figure: float | None, unit: str, digits: int = 3) -> str:
    """`0.483 ms`; `never` for what never happens."""
    if figure is None:
        return "never"
    if unit in ("A", "W") and 0 < abs(figure) < 1:
        figure, unit = figure * 1000, f"m{unit}"
    if unit == "needles" and figure == 1:
        unit = "needle"
    return f"{figure:.{digits}g} {unit}".strip() if abs(figure) < 100 else f"{figure:.0f} {unit}".strip()


def as_data(budget: Budget) -> dict[str, Any]:
    """The budget for machines; docs/reference/budget.md names every key."""
    demand = budget.demand
    return {
        "profile": budget.profile.name,
        "verdict": budget.verdict,
        "of_piece": budget.of_piece,
        "electrical": asdict(budget.electrical),
        "demand": {
            "pace_rows_min": demand.pace_rows_min,
            "passes": demand.passes,
            "pass_s": demand.pass_s,
            "mean_m_s": demand.mean_m_s,
            "peak_m_s": demand.peak_m_s,
            "needle_interval_ms": budget.interval_ms,
            "on_ms": demand.on_ms,
            "at_once": demand.at_once,
            "at_once_fastest": demand.at_once_fastest,
            "mean_at_once": demand.mean_at_once,
        },
        "safe_m_s": budget.safe_m_s,
        "fuse_a": budget.fuse_a,
        "selectors": [asdict(one) for one in budget.selectors],
        "lines": [asdict(line) for line in budget.lines],
    }


def heading(budget: Budget) -> str:
    demand = budget.demand
    what = f"a piece of {counted(demand.passes, 'pass')}" if budget.of_piece else "every needle selected on every pass"
    return (
        f"{budget.profile.title}: {what}, {demand.pace_rows_min:g} rows a minute "
        f"(carriage {demand.mean_m_s:.2f} m/s, {demand.peak_m_s:.2f} m/s at its fastest)"
    )


def as_text(budget: Budget) -> str:
    """The budget for a terminal: the lines, then the selectors."""
    rows = [_line_cells(line) for line in budget.lines]
    table = [("", "what", "figure", "limit", "where the limit comes from"), *rows]
    notes = [f"  {line.name}: {line.note}" for line in budget.lines if line.note and line.verdict != "ok"]
    selectors: list[tuple[str, ...]] = [("selector", "duty", "busiest", "settles at", "pull-in", "release", "lead")]
    selectors += [_selector_cells(one) for one in budget.selectors]
    parts = [
        heading(budget),
        budget.driver.title,
        "",
        *_columns(table),
        "",
        *_columns(selectors),
        "",
        *(["Notes:", *notes, ""] if notes else []),
        f"Verdict: {budget.verdict}: {VERDICTS[budget.verdict]}.",
    ]
    return "\n".join(parts)


def _line_cells(line: Line) -> tuple[str, ...]:
    figure, limit = figure_text(line.figure, line.unit), figure_text(line.limit, line.unit)
    if figure == limit and line.verdict != "ok":  # the difference lies behind the third digit
        figure = figure_text(line.figure, line.unit, 5)
    return line.verdict, line.name, figure, f"{line.sense} {limit}", line.source


def _selector_cells(one: SelectorBudget) -> tuple[str, ...]:
    return (
        str(one.selector),
        f"{one.duty:.1%}",
        f"{one.duty_pass:.1%}",
        f"{one.temperature_c:.0f} °C",
        figure_text(one.pull_in_low_ms, "ms"),
        figure_text(one.release_high_ms, "ms"),
        "never" if one.lead_needles is None else f"{one.lead_needles}",
    )


def _columns(rows: Iterable[tuple[str, ...]]) -> list[str]:
    rows = list(rows)
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


# --- the page -----------------------------------------------------------------------------------


def as_html(budget: Budget) -> str:
    """One page to print on A4: verdict, two plots, every line. Needs nothing from outside."""
    rows = "\n".join(
        f'<tr class="{line.verdict}">'
        + "".join(f"<td>{escape(cell)}</td>" for cell in _line_cells(line)[:-1])
        + f"<td>{escape(line.source)}{_note(line)}</td></tr>"
        for line in budget.lines
    )
    title = f"Coil and power budget: {budget.profile.name}"
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>
<style>{_STYLE}</style></head><body>
<h1>{escape(title)}</h1>
<p>{escape(heading(budget))}. {escape(budget.driver.title)}.</p>
<p class="verdict {budget.verdict}">{escape(f"{budget.verdict}: {VERDICTS[budget.verdict]}")}</p>
<div class="plots">{current_plot(budget)}{duty_plot(budget)}</div>
<table><thead><tr><th></th><th>what</th><th>figure</th><th>limit</th><th>where the limit comes from</th>
</tr></thead><tbody>
{rows}
</tbody></table>
</body></html>
"""


def _note(line: Line) -> str:
    return f"<br><b>{escape(line.note)}</b>" if line.note and line.verdict != "ok" else ""


_STYLE = """
@page { size: A4; margin: 9mm 10mm }
body { font: 8.2pt/1.22 sans-serif; color: #111; max-width: 190mm; margin: 0 auto }
h1 { font-size: 13pt; margin: 0 0 1mm } p { margin: 0 0 1.5mm }
table { border-collapse: collapse; width: 100%; font-size: 7.4pt }
th, td { text-align: left; padding: 0.3mm 1.1mm; border-bottom: 0.2mm solid #bbb; vertical-align: top }
td:nth-child(-n+4) { white-space: nowrap }
tr.no td:first-child, p.no { font-weight: bold; background: #111; color: #fff }
tr.look td:first-child, p.look { font-weight: bold; background: #ddd }
.verdict { padding: 1mm 2mm; font-size: 10pt; border: 0.3mm solid #111 }
.plots { display: flex; gap: 4mm; margin-bottom: 2mm } .plots svg { width: 86mm; height: auto }
"""
