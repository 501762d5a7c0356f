"""A dry run against a hand's pace: 200 needles × 600 passes, the whole road."""

from __future__ import annotations

import time

from latchline.chart.model import Chart, Colour
from latchline.dry_run import address_of, dry_run
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named

PASSES = 600
HAND_S = 2.0  # a pass at 30 rows a minute


def rows() -> list[tuple[str, str, str]]:
    import numpy as np

    bed = load_profile("standard-200")
    cells = np.random.default_rng(3).integers(0, 2, (40, 200)).astype(np.uint8)
    chart = Chart(cells, (Colour(255, 255, 255), Colour(0, 0, 0)))
    band = BandRequest("band", technique_named("fair-isle"), Options(rows=PASSES), chart)
    plan = compile_plan("bench", bed, bed.centred(200), [band])
    taken = []
    for _ in range(2):
        start = time.process_time()
        result = dry_run(plan, address_of(plan, seed=1, pace=None, faults=(), trace=""))
        taken.append((time.process_time() - start) / PASSES)
        assert result.as_planned
    best = min(taken)
    return [
        ("dry run, 200 needles × 600 passes, a pass", f"{best * 1000:.2f} ms", "2 ms or less"),
        ("the same against a hand at 30 rows a minute", f"{HAND_S / best:.0f} ×", "1,000 × or more"),
    ]
