"""A chart: what the drawing shows, one cell a stitch, row 0 at the bottom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

COLOURS_MAX = 16

Cells = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Colour:
    """A colour of the chart, 0 to 255 a channel; `name` is what a legend calls it, if any."""

    red: int
    green: int
    blue: int
    name: str = ""

    @property
    def hex(self) -> str:
        return f"#{self.red:02x}{self.green:02x}{self.blue:02x}"


@dataclass(frozen=True, eq=False)
class Chart:
    """The drawing as palette indices.

    cells: uint8, shape (rows, stitches); row 0 is the bottom row, column 0 the left of the drawing.
    palette: 1 to 16 colours; index 0 is the background, which leaves its needles unselected
        (for colour work: is knitted with the main yarn).
    name: the file it came from, for complaints.
    """

    cells: Cells
    palette: tuple[Colour, ...]
    name: str = ""

    @property
    def rows(self) -> int:
        return int(self.cells.shape[0])

    @property
    def stitches(self) -> int:
        return int(self.cells.shape[1])

    @property
    def colours(self) -> int:
        """How many colours the cells really use."""
        return int(np.count_nonzero(np.bincount(self.cells.ravel(), minlength=1)))
