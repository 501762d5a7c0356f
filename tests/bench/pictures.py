"""Pictures of a large piece, from the plan to the file: seconds, and how the cost grows with the rows."""

from __future__ import annotations

import io
import time

import numpy as np
from bench._measuring import best_s

from latchline.chart.model import Chart, Colour
from latchline.checks.find import findings
from latchline.drawing.pdf import scenes_pdf
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import ToWidth, Work
from latchline.preview.picture import draw_fabric
from latchline.shaping.gauge import Gauge
from latchline.technique.table import technique_named
from latchline.working_chart.page import chart_pages

WIDTH, ROWS = 200, 600
GAUGE = Gauge(30, 39)


def speckled(technique: str, share: float, rows: int = ROWS, works: tuple[Work, ...] = ()) -> Plan:
    """A chart without any repeat, which is the most work: a random cell in each stitch."""
    bed = load_profile("standard-200")
    cells = (np.random.default_rng(11).random((rows, WIDTH)) < share).astype(np.uint8)
    drawing = Chart(cells, (Colour(240, 230, 210), Colour(30, 60, 95)), "speckled")
    band = BandRequest("band", technique_named(technique), Options(), drawing, works=works)
    return compile_plan("bench", bed, bed.centred(WIDTH), [band])


def picture_s(plan: Plan, side: str) -> float:
    """Seconds from the plan to the bytes of a PNG, the best of three."""
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        draw_fabric(plan, side, GAUGE).save(io.BytesIO(), "PNG", compress_level=4)
        taken.append(time.perf_counter() - start)
    return min(taken)


def rows() -> list[tuple[str, str, str]]:
    """(what, measured, aim)."""
    found = []
    for technique, share in (("fair-isle", 0.5), ("tuck", 0.75), ("slip", 0.75)):
        plan = speckled(technique, share)
        for side in ("knit", "purl"):
            seconds = picture_s(plan, side)
            found.append(
                (f"{side} side, PNG, {WIDTH} needles × {ROWS} rows, {technique}", f"{seconds:.2f} s", "2 s or less")
            )
    shaped = speckled("fair-isle", 0.5, works=(ToWidth(100, fashioned=3),))
    for side in ("knit", "purl"):
        what = f"{side} side, PNG, {WIDTH} needles × {ROWS} rows, narrowed to 100"
        found.append((what, f"{picture_s(shaped, side):.2f} s", "2 s or less"))
    taken = best_s(lambda: findings(shaped))
    found.append((f"findings of {WIDTH} needles × {ROWS} rows, narrowed to 100", f"{taken:.2f} s", "1 s or less"))
    double = speckled("fair-isle", 0.5, 2 * ROWS)
    ratio = picture_s(double, "knit") / picture_s(speckled("fair-isle", 0.5), "knit")
    found.append((f"knit side, {2 * ROWS} rows against {ROWS}", f"{ratio:.1f} ×", "3 × or less (linear: 2 ×)"))
    plan = speckled("fair-isle", 0.5)
    start = time.perf_counter()
    scenes_pdf(chart_pages(plan, GAUGE), "bench")
    taken = time.perf_counter() - start
    found.append((f"working chart, PDF, {WIDTH} needles × {ROWS} rows", f"{taken:.1f} s", "measured, no aim"))
    return found
