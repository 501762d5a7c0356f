"""Gauge and size: how many stitches and rows make a centimetre, from a swatch or from an estimate.

The estimate is that of plain fabric relaxed: courses and wales per centimetre are Kc / l and Kw / l
with l the loop length in cm (Munden, J. Text. Inst. 50 (1959) T448; Knapton et al., Text. Res. J. 38
(1968)). It knows nothing of tuck, slip or colour work: only a swatch in the same technique does.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from latchline.chart.model import Chart
from latchline.errors import InputError


@dataclass(frozen=True)
class Relaxed:
    """Constants of plain fabric in one state: courses × l, wales × l and loops × l², l in cm."""

    courses: float
    wales: float
    loops: float


DRY_RELAXED = Relaxed(5.0, 3.8, 19.0)
WET_RELAXED = Relaxed(5.3, 4.1, 21.6)
FULLY_RELAXED = Relaxed(5.5, 4.2, 23.1)

# Tightness factor √tex / l, l in mm. Machine-made plain fabric has 1.3 to 1.5; what home beds knit is
# slacker, so an estimate from the yarn alone takes less: an assumption, no source.
TIGHTNESS_MACHINE_MADE = (1.3, 1.5)
TIGHTNESS_ASSUMED = 1.2

# Stitch width over needle pitch when neither yarn nor swatch is known: common practice, no source.
WIDTH_PER_PITCH = 0.75


@dataclass(frozen=True)
class Gauge:
    """Stitches and rows in 10 cm of fabric. estimated: nobody has knitted and measured it."""

    stitches: float
    rows: float
    estimated: bool = False

    def __post_init__(self) -> None:
        for word, value in (("stitches", self.stitches), ("rows", self.rows)):
            if not 1 <= value <= 300:
                raise InputError(
                    f"a gauge of {value:.3g} {word} to 10 cm cannot be right",
                    hint="count and measure the swatch again; accepted: 1 to 300",
                )

    @property
    def stitch_mm(self) -> float:
        """Width of a stitch."""
        return 100 / self.stitches

    @property
    def row_mm(self) -> float:
        """Height of a row."""
        return 100 / self.rows

    @property
    def row_per_stitch(self) -> float:
        """Rows over stitches: how much flatter than wide a stitch is. 1.3 means 13 rows are as tall as 10 are wide."""
        return self.rows / self.stitches

    def finished_cm(self, stitches: float, rows: float) -> tuple[float, float]:
        """Width and height in cm of so many stitches and rows."""
        return stitches * self.stitch_mm / 10, rows * self.row_mm / 10

    def needles_for(self, width_cm: float) -> int:
        """Needles for a width, rounded to the nearest, at least 1."""
        return max(1, round(width_cm * 10 / self.stitch_mm))

    def rows_for(self, height_cm: float) -> int:
        """Rows for a height, rounded to the nearest, at least 1."""
        return max(1, round(height_cm * 10 / self.row_mm))


def gauge_from_swatch(stitches: float, rows: float, width_mm: float, height_mm: float) -> Gauge:
    """The gauge of a swatch on which `stitches` and `rows` were counted over a measured width and height.

    Raises InputError when anything is not above zero.
    """
    for word, value in (("stitches", stitches), ("rows", rows), ("width", width_mm), ("height", height_mm)):
        if not value > 0 or not math.isfinite(value):
            raise InputError(f"the swatch's {word} must be above 0, not {value:g}", hint="count and measure it again")
    return Gauge(stitches * 100 / width_mm, rows * 100 / height_mm)


def estimate_gauge(loop_length_mm: float, state: Relaxed = FULLY_RELAXED) -> Gauge:
    """The gauge of plain fabric from the yarn in one stitch; marked as an estimate."""
    if not 0.5 <= loop_length_mm <= 200:
        raise InputError(f"a loop length of {loop_length_mm:g} mm cannot be right", hint="accepted: 0.5 to 200 mm")
    return Gauge(state.wales * 100 / loop_length_mm, state.courses * 100 / loop_length_mm, estimated=True)


def gauge_from_pitch(pitch_mm: float) -> Gauge:
    """The gauge that a bed of that needle pitch commonly gives, when nothing is known of the yarn."""
    stitches = 100 / (WIDTH_PER_PITCH * pitch_mm)
    return Gauge(stitches, stitches * FULLY_RELAXED.courses / FULLY_RELAXED.wales, estimated=True)


def loop_length_from_gauge(gauge: Gauge, state: Relaxed = FULLY_RELAXED) -> float:
    """Yarn in one plain stitch, mm, from loops per cm² = Ks / l²."""
    return 10 * math.sqrt(state.loops / (gauge.stitches * gauge.rows / 100))


def loop_length_from_count(tex: float, tightness: float = TIGHTNESS_ASSUMED) -> float:
    """Yarn in one plain stitch, mm, from the tightness factor √tex / l."""
    return math.sqrt(tex) / tightness


def tightness(tex: float, loop_length_mm: float) -> float:
    """Tightness (cover) factor √tex / l with l in mm."""
    return math.sqrt(tex) / loop_length_mm


def areal_weight_g_m2(wales_per_cm: float, courses_per_cm: float, loop_length_mm: float, tex: float) -> float:
    """Weight of a square metre of plain fabric: courses/cm · wales/cm · l (cm) · tex / 10."""
    return courses_per_cm * wales_per_cm * loop_length_mm / 10 * tex / 10


def keep_proportions(chart: Chart, gauge: Gauge, stitches: int | None = None) -> tuple[int, int]:
    """Stitches and rows on which a drawing of square cells keeps its proportions at this gauge.

    stitches: how wide to make it; None keeps its own width.
    """
    wide = stitches or chart.stitches
    return wide, max(1, round(chart.rows / chart.stitches * wide * gauge.row_per_stitch))


def parse_gauge(text: str) -> Gauge:
    """`30x39`: stitches and rows counted on 10 cm. Raises InputError."""
    stitches, rows = parse_pair(text, "gauge", "stitches x rows on 10 cm, as 30x39")
    return Gauge(stitches, rows)


def parse_size(text: str) -> tuple[float, float]:
    """`40x60`: width and height in cm. Raises InputError."""
    width, height = parse_pair(text, "size", "width x height in cm, as 40x60")
    for value in (width, height):
        if not 0.5 <= value <= 1000:
            raise InputError(f"a size of {value:g} cm cannot be knitted", hint="accepted: 0.5 to 1000 cm")
    return width, height


def parse_pair(text: str, what: str, form: str) -> tuple[float, float]:
    """Two numbers with an x between. Raises InputError that asks for `form`."""
    match = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,3})?)\s*[x×]\s*(\d{1,4}(?:\.\d{1,3})?)\s*", text.lower())
    if match is None:
        raise InputError(f'"{text}" is no {what}', hint=f"write {form}")
    return float(match[1]), float(match[2])
