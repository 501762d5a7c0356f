"""Small charts and plans that the fabric's tests share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from latchline.chart.model import Chart, Colour
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.shaping.gauge import Gauge
from latchline.technique.table import TECHNIQUES

GAUGE = Gauge(30, 39)
PAPER, INK = Colour(255, 255, 255), Colour(0, 0, 0)

LETTER_F = (
    "..............",
    "..............",
    "...xxxxxxx....",
    "...xx.........",
    "...xx.........",
    "...xxxxxx.....",
    "...xx.........",
    "...xx.........",
    "...xx.........",
    "...xx.........",
    "..............",
    "..............",
)


def chart(rows: Sequence[str], palette: Sequence[Colour] = (PAPER, INK)) -> Chart:
    """A chart as it is drawn, the last line the first row; `.` the background, `x` or a figure a colour."""
    cells = [[0 if mark == "." else 1 if mark == "x" else int(mark) for mark in row] for row in reversed(rows)]
    return Chart(np.array(cells, dtype=np.uint8), tuple(palette), "by hand")


def plan_of(
    technique: str,
    drawing: Chart | None = None,
    *,
    width: int | None = None,
    machine: str | None = None,
    yarns: Sequence[Yarn] = (),
    **options: Any,
) -> Plan:
    """One band on the middle of a bed, as wide as the drawing."""
    found = TECHNIQUES[technique]
    profile = load_profile(machine or ("double-180" if found.double_bed else "standard-200"))
    wide = width or (drawing.stitches if drawing is not None else 10)
    request = BandRequest(technique, found, Options(**options), drawing, tuple(yarns))
    return compile_plan(technique, profile, profile.centred(wide), [request])
