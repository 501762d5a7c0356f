"""How large a chart may be. Files are measured against these before anything is decoded."""

from __future__ import annotations

from latchline.counted import counted
from latchline.errors import ChartError

BYTES_MAX = 8 << 20
STITCHES_MAX = 4_096
ROWS_MAX = 20_000
CELLS_MAX = 4_000_000


def require_size(stitches: int, rows: int, where: str) -> None:
    """Complain of a chart without stitches, or with more than the bounds above.

    Raises ChartError.
    """
    if stitches < 1 or rows < 1:
        raise ChartError(
            f"a chart of {counted(stitches, 'stitch')} × {counted(rows, 'row')} has nothing to knit",
            where=where,
            hint="a chart needs at least one stitch and one row",
        )
    if stitches > STITCHES_MAX or rows > ROWS_MAX or stitches * rows > CELLS_MAX:
        raise ChartError(
            f"a chart of {counted(stitches, 'stitch')} × {counted(rows, 'row')} is too large "
            f"(at most {STITCHES_MAX} stitches, {ROWS_MAX} rows and {CELLS_MAX} cells in all)",
            where=where,
            hint="scale the drawing to one cell a stitch, or cut it into bands",
        )
