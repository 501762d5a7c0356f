"""Small pieces for the checks."""

from __future__ import annotations

from typing import Any

import numpy as np

import strategies
from latchline.chart.model import Chart
from latchline.checks.find import findings
from latchline.checks.model import Finding
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.limits import Limits
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.technique.table import technique_named


def band(technique: str, *lines: str, yarns: tuple[Yarn, ...] = (), name: str = "", **options: Any) -> BandRequest:
    """A band from a drawing of digits, top line first, shown as the needles have it; no drawing for none."""
    cells = np.array([[int(cell) for cell in line] for line in reversed(lines)], np.uint8) if lines else None
    chart = None if cells is None else Chart(cells, strategies.coloured_palette(max(2, int(cells.max()) + 1)))
    wanted = Options(**{"shown_side": "purl", **options})
    return BandRequest(name or technique, technique_named(technique), wanted, chart, yarns)


def piece(*bands: BandRequest, width: int | None = None, machine: str = "standard-200") -> Plan:
    """A piece as wide as the widest drawing."""
    bed = load_profile(machine)
    widths = [item.drawing.stitches for item in bands if item.drawing is not None]
    return compile_plan("piece", bed, bed.centred(width or max(widths, default=8)), bands)


def found(rule: str, plan: Plan, **limits: Any) -> list[Finding]:
    """The findings of one rule."""
    return [finding for finding in findings(plan, Limits(**limits)) if finding.rule == rule]
