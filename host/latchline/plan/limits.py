"""How far a fabric may be driven before the checks complain. `docs/reference/findings.md` names each source."""

from __future__ import annotations

from dataclasses import dataclass, replace

from latchline.plan.model import Plan, Yarn
from latchline.tables import Table
from latchline.technique.model import LAID_IN_ONLY, YARN_CLASSES

FLOAT_CM = 2.7  # five missed needles at 4.5 mm; common practice, no source
PITCH_OF_CLASSES_MM = 4.5
WEIGHTS_ROWS = 10  # rows of two-colour work between moves of the edge weights; common practice, no source


@dataclass(frozen=True)
class Limits:
    """The limits; None: worked out from the bed's pitch.

    float_cm: how long a float may be across the bed. float_needles: the same in needles that it may pass by,
    in place of float_cm. held_passes: passes over which a loop may be kept without knitting;
    held_passes_most: never more than that. tucks_stacked: on one
    needle, one after another; tucks_stacked_fine: the same in fine yarn. tucks_beside: side by
    side in a pass; tucks_beside_most: never more. laid_in_needles: that a laid-in yarn may pass
    on one side. weights_rows: rows between moves of the edge weights. alike_rows: rows that may
    be alike before the fabric bands or curls. loops_on_needle: that a stitch is drawn through.
    cable_needles: that a cable crosses in all. tightness_most: √tex / loop length in mm.
    fine_tex, medium_tex, heavy_tex: the thickest yarn of each class. fine_size, medium_size,
    heavy_size: the largest stitch size of each class on the dial.
    """

    float_cm: float = FLOAT_CM
    float_needles: int | None = None
    held_passes: int = 4
    held_passes_most: int = 12
    tucks_stacked: int = 4
    tucks_stacked_fine: int = 6
    tucks_beside: int = 2
    tucks_beside_most: int = 6
    laid_in_needles: int | None = None
    weights_rows: int = WEIGHTS_ROWS
    alike_rows: int = 20
    loops_on_needle: int = 3
    cable_needles: int = 6
    tightness_most: float = 1.5
    fine_tex: float | None = None
    medium_tex: float | None = None
    heavy_tex: float | None = None
    fine_size: float = 4.0
    medium_size: float = 8.0
    heavy_size: float = 12.0

    @classmethod
    def read(cls, table: Table) -> Limits:
        """From the [limits] table of a piece file. Raises the table's own error, naming line and key."""
        default = cls()
        limits = cls(
            float_cm=table.number("float_cm", 0.5, 100, default.float_cm),
            float_needles=table.whole("float_needles", 1, 255, None),
            held_passes=table.whole("held_passes", 1, 1000, default.held_passes),
            held_passes_most=table.whole("held_passes_most", 1, 1000, default.held_passes_most),
            tucks_stacked=table.whole("tucks_stacked", 1, 100, default.tucks_stacked),
            tucks_stacked_fine=table.whole("tucks_stacked_fine", 1, 100, default.tucks_stacked_fine),
            tucks_beside=table.whole("tucks_beside", 1, 255, default.tucks_beside),
            tucks_beside_most=table.whole("tucks_beside_most", 1, 255, default.tucks_beside_most),
            laid_in_needles=table.whole("laid_in_needles", 1, 255, None),
            weights_rows=table.whole("weights_rows", 1, 1000, default.weights_rows),
            alike_rows=table.whole("alike_rows", 1, 10_000, default.alike_rows),
            loops_on_needle=table.whole("loops_on_needle", 1, 20, default.loops_on_needle),
            cable_needles=table.whole("cable_needles", 2, 100, default.cable_needles),
            tightness_most=table.number("tightness_most", 0.1, 10.0, default.tightness_most),
            fine_tex=table.number("fine_tex", 1, 10_000, None),
            medium_tex=table.number("medium_tex", 1, 10_000, None),
            heavy_tex=table.number("heavy_tex", 1, 10_000, None),
            fine_size=table.number("fine_size", 0, 30, default.fine_size),
            medium_size=table.number("medium_size", 0, 30, default.medium_size),
            heavy_size=table.number("heavy_size", 0, 30, default.heavy_size),
        )
        table.finish()
        return limits

    def at(self, pitch_mm: float) -> Limits:
        """The same with nothing left open: floats go by their span on the bed, yarns by the room of a needle.

        A float past n needles spans (n + 1) × pitch. The yarn that a hook takes grows with the
        pitch, and its tex with the square of that; the classes are those of a 4.5 mm bed.
        """
        needles = max(1, int(self.float_cm * 10 / pitch_mm + 1e-9) - 1)
        floats = self.float_needles if self.float_needles is not None else needles
        room = (pitch_mm / PITCH_OF_CLASSES_MM) ** 2
        return replace(
            self,
            float_needles=floats,
            laid_in_needles=self.laid_in_needles if self.laid_in_needles is not None else floats,
            fine_tex=self.fine_tex if self.fine_tex is not None else round(160 * room),
            medium_tex=self.medium_tex if self.medium_tex is not None else round(300 * room),
            heavy_tex=self.heavy_tex if self.heavy_tex is not None else round(500 * room),
        )

    def yarn_class(self, yarn: Yarn, pitch_mm: float) -> str | None:
        """One of YARN_CLASSES; None where the yarn's count is not given."""
        if yarn.tex is None:
            return None
        own = self.at(pitch_mm)
        for name, most in zip(YARN_CLASSES, (own.fine_tex, own.medium_tex, own.heavy_tex), strict=False):
            if most is not None and yarn.tex <= most:
                return name
        return LAID_IN_ONLY

    def stitch_sizes(self, name: str) -> tuple[float, float] | None:
        """The lowest and highest stitch size that a yarn class takes on the dial; None for what is only laid in."""
        sizes = (0.0, self.fine_size, self.medium_size, self.heavy_size)
        place = YARN_CLASSES.index(name)
        return None if name == LAID_IN_ONLY else (sizes[place], sizes[place + 1])


def weights_due(plan: Plan, number: int, every: int = WEIGHTS_ROWS) -> bool:
    """Whether the edge weights go up before this pass: each time that the band has grown by `every` courses.

    A separation may knit more than one course for a row of the chart; then they are due sooner.
    """
    band = plan.band_of(number)
    row = int(plan.knitted_row[number - 1]) - 1
    if "weights" not in band.technique.checks or row < 1 or int(plan.knitted_row[number - 2]) - 1 >= row:
        return False
    courses = band.separation.courses if band.separation is not None else 1
    return row * courses // every > (row - 1) * courses // every
