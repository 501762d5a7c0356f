"""What a technique is: a declaration, from which compiler, checks, fabric and sheet all read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

ANY_CONTRAST = -1  # every stitch but the background is selected
NO_STITCH = -2  # nothing is selected

WAYS = ("both", "leftward", "rightward")
LAID_IN_ONLY = "laid in only"  # thicker than a hook takes
YARN_CLASSES = ("fine", "medium", "heavy", LAID_IN_ONLY)


class SecondBed(IntEnum):
    """Which needles of the second bed knit in one pass; even and odd count from the span's left, from 0."""

    REST = 0
    ALL = 1
    EVEN = 2
    ODD = 3


class Does(IntEnum):
    """What a needle does in one pass."""

    KNIT = 0  # with the pass's first yarn
    KNIT_CONTRAST = 1  # with the pass's second yarn
    TUCK = 2
    MISS = 3
    HELD = 4  # in holding position: keeps its loop, takes no yarn
    LAID_OVER = 5  # knits, the laid-in yarn passing over it
    LAID_UNDER = 6  # knits, the laid-in yarn passing under it
    OUT = 7  # in non-working position: takes nothing and is passed by


@dataclass(frozen=True)
class Cams:
    """What needles do in one direction, and the carriage setting that makes them.

    setting: one of `machine.profile.LEVER_SETTINGS`. action: what the operator does before every
    such pass, beyond moving the carriage; most need nothing.
    """

    setting: str
    selected: Does
    unselected: Does
    action: str = ""


PLAIN = Cams("plain", Does.KNIT, Does.KNIT)


@dataclass(frozen=True, eq=False)
class Steps:
    """What each pass of a band knits: equally long arrays, one entry a pass.

    row: int32, the knitted row from 0, before row repeat and the chart's height are applied.
    colour: int16, the colour whose stitches are selected, as a place among the band's colours, or
        ANY_CONTRAST; NO_STITCH on a way that only brings the yarn back, or the carriage to where a yarn lies.
    yarn: int16, the colour of the yarn in the carriage, counted the same way; −1 where it is not
        one of the chart's colours, or where the carriage goes across without one. second: uint8, what the second
        bed does (`SecondBed`).
    """

    row: npt.NDArray[np.int32]
    colour: npt.NDArray[np.int16]
    yarn: npt.NDArray[np.int16]
    second: npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Separation:
    """How a chart of several colours is spread over passes that knit one colour each.

    steps(present, repeat) lists the passes: present, bool (rows, colours), says which colours each
        knitted row has; `repeat` rows are knitted for each chart row.
    start: where the carriage must stand before the first pass when the changer is on the left (it
        is the other way round for one on the right; by hand either will do).
    courses: courses that a needle knits for one chart row.
    passes_a_row, held_most: from the number of colours, the passes of a row that has them all, and
        the most passes over which a needle can keep its loop.
    returns_empty: whether some passes select nothing and only bring the yarn back.
    steady: whether a second bed that ties the yarn in keeps one setting throughout.
    by_hand: what it is where colours are changed by hand, at either side; None: the same.
    """

    name: str
    title: str
    colours_min: int
    colours_max: int
    start: str
    steps: Callable[[npt.NDArray[np.bool_], int], Steps]
    courses: int
    passes_a_row: Callable[[int], int]
    held_most: Callable[[int], int]
    returns_empty: Callable[[int], bool]
    steady: Callable[[int], bool] = lambda _: True
    by_hand: Separation | None = None

    def changed_at(self, changer: str) -> Separation:
        """What it is where colours are changed there: `left` or `right`, by a changer, or by hand anywhere else."""
        return self if changer in ("left", "right") else self.by_hand or self


def one_pass_a_row(rows: int) -> Steps:
    """The steps of every technique that is not separated."""
    return Steps(
        row=np.arange(rows, dtype=np.int32),
        colour=np.full(rows, ANY_CONTRAST, dtype=np.int16),
        yarn=np.full(rows, -1, dtype=np.int16),
        second=np.zeros(rows, dtype=np.uint8),
    )


@dataclass(frozen=True)
class Technique:
    """One row of the table of techniques.

    cams: what happens in the directions in which the pattern works; `ways` says which those may
        be. With one way only, everything knits plain on the way back.
    yarns: in the carriage at once: 0 means one of the chart's colours a pass (separated).
    colours_min, colours_max: colours that the chart may have, the background counted.
    edge_selected: the state in which an end needle surely knits, or knits the main yarn; None: it
        knits either way. edge_default: what is done with it where nothing is said.
    needs_chart: False for techniques that knit without one.
    feeders: what goes where; accessories: what else the machine needs; yarn_classes: of
        YARN_CLASSES, those that it suits (common practice, no source).
    checks: names of the rules that apply (see `checks.find`).
    """

    name: str
    title: str
    cams: Cams
    back: Cams
    one_way: bool
    yarns: int
    colours_min: int
    colours_max: int
    edge_selected: bool | None
    colour_work: bool
    needs_chart: bool = True
    edge_default: str = "as-chart"
    double_bed: bool = False
    separations: tuple[Separation, ...] = ()
    feeders: tuple[str, ...] = ("main yarn",)
    accessories: tuple[str, ...] = ()
    yarn_classes: tuple[str, ...] = ("fine", "medium", "heavy")
    checks: tuple[str, ...] = ()

    def cams_for(self, direction: str, way: str) -> Cams:
        """The cams of a pass. `way` is the direction of the pattern, or `both`."""
        return self.cams if way in ("both", direction) else self.back
