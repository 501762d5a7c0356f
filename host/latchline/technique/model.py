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


class Does(IntEnum):
    """What a needle does in one pass."""

    KNIT = 0  # with the pass's first yarn
    KNIT_CONTRAST = 1  # with the pass's second yarn
    TUCK = 2
    MISS = 3
    HELD = 4  # in holding position: keeps its loop, takes no yarn
    LAID_OVER = 5  # knits, the laid-in yarn passing over it
    LAID_UNDER = 6  # knits, the laid-in yarn passing under it


@dataclass(frozen=True)
class Cams:
    """What needles do in one direction, and the carriage setting that makes them.

    setting: one of `machine.profile.LEVER_SETTINGS`.
    """

    setting: str
    selected: Does
    unselected: Does


PLAIN = Cams("plain", Does.KNIT, Does.KNIT)


@dataclass(frozen=True, eq=False)
class Steps:
    """What each pass of a band knits: equally long arrays, one entry a pass.

    row: int64, the knitted row from 0, before row repeat and the chart's height are applied.
    colour: int16, the palette index whose stitches are selected, or ANY_CONTRAST or NO_STITCH.
    """

    row: npt.NDArray[np.int64]
    colour: npt.NDArray[np.int16]


@dataclass(frozen=True)
class Separation:
    """How a chart of several colours is spread over passes that knit one colour each.

    steps(rows, colours) lists the passes; start is where the carriage must stand before the first
    of them when the changer is on the left (it is the other way round for one on the right).
    """

    name: str
    title: str
    colours_min: int
    colours_max: int
    start: str
    steps: Callable[[int, int], Steps]


def one_pass_a_row(rows: int, _colours: int) -> Steps:
    """The steps of every technique that is not separated."""
    return Steps(np.arange(rows, dtype=np.int64), np.full(rows, ANY_CONTRAST, dtype=np.int16))


@dataclass(frozen=True)
class Technique:
    """One row of the table of techniques.

    cams: what happens in the directions in which the pattern works; `ways` says which those may
        be. With one way only, everything knits plain on the way back.
    yarns: in the carriage at once: 0 means one of the chart's colours a pass (separated).
    colours_min, colours_max: colours that the chart may have, the background counted.
    edge_selected: the state in which an end needle surely knits; None: it knits in both.
    needs_chart: False for techniques that knit without one.
    feeders: what goes where; accessories: what else the machine needs; yarn_classes: of fine,
        medium, heavy, those that it suits (common practice, no source).
    checks: names of the findings that apply (see `checks`).
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
    double_bed: bool = False
    separations: tuple[Separation, ...] = ()
    feeders: tuple[str, ...] = ("main yarn",)
    accessories: tuple[str, ...] = ()
    yarn_classes: tuple[str, ...] = ("fine", "medium", "heavy")
    checks: tuple[str, ...] = ()

    def cams_for(self, direction: str, way: str) -> Cams:
        """The cams of a pass. `way` is the direction of the pattern, or `both`."""
        return self.cams if way in ("both", direction) else self.back
