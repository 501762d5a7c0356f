"""Runs of marks along the lines of an array, without a loop over them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Bools = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]


def runs(marks: Bools, longer_than: int = 0) -> tuple[Places, Places, Places]:
    """The runs of marks along each line that are longer than asked.

    marks: bool, shape (lines, length). Returns three equally long arrays: the line of each run, its
    first and its last place, by line and then by place.
    """
    lines, length = marks.shape
    inside = np.zeros((lines, length + 2), dtype=np.int8)
    inside[:, 1:-1] = marks
    step = np.diff(inside, axis=1).ravel()  # length + 1 a line: 1 where a run begins, −1 just past its end
    begins, ends = np.flatnonzero(step == 1), np.flatnonzero(step == -1)
    long = ends - begins > longer_than
    line, first = np.divmod(begins[long], length + 1)
    return line, first, first + (ends - begins)[long] - 1
