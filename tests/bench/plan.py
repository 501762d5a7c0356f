"""Compiling against numpy's own packing, and starting up against importing click alone."""

from __future__ import annotations

import gc
import subprocess
import sys
import tracemalloc
from collections.abc import Callable

import numpy as np
from bench._measuring import best_s

from latchline.chart.model import Chart, Colour
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import ToWidth, Work
from latchline.technique.table import technique_named

PASSES = 100_000


def chart_of(rows: int) -> Chart:
    cells = np.random.default_rng(7).integers(0, 2, (rows, 200)).astype(np.uint8)
    return Chart(cells, (Colour(255, 255, 255), Colour(0, 0, 0)))


def compiled(chart: Chart, *works: Work) -> Plan:
    bed = load_profile("standard-200")
    band = BandRequest("band", technique_named("fair-isle"), Options(rows=PASSES), chart, works=works)
    return compile_plan("bench", bed, bed.centred(200), [band])


def peak_bytes(run: Callable[[], object]) -> int:
    gc.collect()
    tracemalloc.start()
    run()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def started_s(arguments: list[str]) -> float:
    return best_s(lambda: subprocess.run([sys.executable, *arguments], check=True, capture_output=True), 15)


def rows() -> list[tuple[str, str, str]]:
    masks = compiled(chart_of(24)).acting_masks()
    pack = best_s(lambda: np.packbits(masks, axis=1))
    found = []
    for chart_rows in (24, 20_000):
        chart = chart_of(chart_rows)
        what = f"compile 200 needles × 100,000 passes, chart of {chart_rows} rows"
        ratio = best_s(lambda chart=chart: compiled(chart)) / pack
        memory = peak_bytes(lambda chart=chart: compiled(chart)) / masks.nbytes
        found.append((what + ", against packbits", f"{ratio:.2f} ×", "4 × or less"))
        found.append((what + ", memory against the array", f"{memory:.2f} ×", "3 × or less"))
    chart = chart_of(24)
    ratio = best_s(lambda: compiled(chart, ToWidth(40))) / pack
    what = "compile 200 needles × 100,000 passes narrowed to 40, against packbits"
    found.append((what, f"{ratio:.2f} ×", "6 × or less"))
    ratio = started_s(["-m", "latchline", "--help"]) / started_s(["-c", "import click"])
    found.append(("latchline --help against `import click`", f"{ratio:.2f} ×", "1.5 × or less"))
    return found
