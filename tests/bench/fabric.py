"""Loops, floats, separation and checks: seconds for a large piece, and how the cost grows with the passes."""

from __future__ import annotations

import numpy as np
from bench._measuring import best_s

from latchline.chart.model import Chart, Colour
from latchline.checks.find import findings
from latchline.fabric.structure import floats, structure
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named

SMALL, LARGE = 25_000, 100_000
GROWTH = f"{LARGE // SMALL * 1.5:.0f} × or less (linear: {LARGE // SMALL} ×)"


def planned(technique: str, passes: int, colours: int = 2, separation: str | None = None) -> Plan:
    bed = load_profile("standard-200")
    cells = np.random.default_rng(7).integers(0, colours, (600, 200)).astype(np.uint8)
    chart = Chart(cells, tuple(Colour(80 * index, 0, 0) for index in range(colours)))
    rows = passes if separation is None else passes // (2 * colours)
    band = BandRequest("band", technique_named(technique), Options(rows=rows, separation=separation), chart)
    return compile_plan("bench", bed, bed.centred(200), [band])


def rows() -> list[tuple[str, str, str]]:
    """(what, measured, aim)."""
    found = []
    for technique in ("tuck", "fair-isle"):
        plan = planned(technique, 2000)
        for what, work in (("loops and their structure", structure), ("floats", floats), ("checks", findings)):
            seconds = best_s(lambda work=work, plan=plan: work(plan))
            found.append((f"{what}, 200 needles × 2,000 passes, {technique}", f"{seconds:.3f} s", "2 s or less"))
    for technique in ("tuck", "fair-isle"):
        plans = planned(technique, LARGE), planned(technique, SMALL)
        for what, work in (
            ("structure", structure),
            ("floats", floats),
            ("checks", findings),
        ):
            large_s, small_s = (best_s(lambda work=work, plan=plan: work(plan), 3) for plan in plans)
            found.append((f"{what}, 100,000 passes against 25,000, {technique}", f"{large_s / small_s:.1f} ×", GROWTH))
    for scheme in ("doubled", "blank-return"):
        one = best_s(lambda: planned("fair-isle", LARGE))
        separated = best_s(lambda scheme=scheme: planned("slip-colours", LARGE, 4, scheme))
        found.append(
            (f"separation {scheme}, 4 colours, 100,000 passes, against none", f"{separated / one:.1f} ×", "4 × or less")
        )
    return found
