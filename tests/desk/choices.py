"""Every option of the table that the commands have, as the desk sets it and as words of a command."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Begun:
    """What an option is set upon: a chart on its own with some options. words: the same for a command."""

    chart: str
    words: tuple[str, ...]
    piece: dict[str, Any] = field(default_factory=dict)
    band: dict[str, Any] = field(default_factory=dict)


GULLS = Begun("gulls-and-waves.png", ("--needles", "L12-R30"), {"needles": "L12-R30"})
ONE_WAY = Begun("gulls-and-waves.png", ("--technique", "tuck-one-way"), band={"technique": "tuck-one-way"})
BUNTING = Begun(
    "bench-bunting.png",
    ("--machine", "double-180", "--needles", "L30-R30", "--technique", "jacquard"),
    {"machine": "double-180", "needles": "L30-R30"},
    {"technique": "jacquard"},
)


@dataclass(frozen=True)
class Choice:
    """of: the part of the form, piece, band or drawing. typed: as it is typed into a field that takes a pair."""

    on: Begun
    of: str
    key: str
    value: Any
    words: tuple[str, ...]

    @property
    def typed(self) -> str:
        if isinstance(self.value, list):
            return ", ".join(map(str, self.value))
        return "true" if self.value is True else str(self.value)


CHOICES = [
    Choice(GULLS, "piece", "machine", "chunky-112", ("--machine", "chunky-112")),
    Choice(GULLS, "piece", "needles", "L20-R20", ("--needles", "L20-R20")),
    Choice(GULLS, "piece", "start", "left", ("--start", "left")),
    Choice(GULLS, "band", "technique", "tuck", ("--technique", "tuck")),
    Choice(GULLS, "band", "rows", 7, ("--rows", "7")),
    Choice(GULLS, "band", "row_repeat", 2, ("--row-repeat", "2")),
    Choice(GULLS, "band", "reversal", "every:3", ("--reversal", "every:3")),
    Choice(GULLS, "band", "alternate_needles", "background", ("--alternate-needles", "background")),
    Choice(GULLS, "band", "shown_side", "purl", ("--shown-side", "purl")),
    Choice(GULLS, "band", "edge_needles", "knit", ("--edge-needles", "knit")),
    Choice(GULLS, "band", "once_at", "L10", ("--once-at", "L10")),
    Choice(GULLS, "band", "shift", 3, ("--shift", "3")),
    Choice(GULLS, "band", "centred", True, ("--centred",)),
    Choice(GULLS, "band", "mirror_rows", True, ("--mirror-rows",)),
    Choice(GULLS, "band", "break_floats", 2, ("--break-floats", "2")),
    Choice(GULLS, "band", "catch_floats", 2, ("--catch-floats", "2")),
    Choice(BUNTING, "band", "separation", "paired", ("--separation", "paired")),
    Choice(BUNTING, "band", "changer", "right", ("--changer", "right")),
    Choice(BUNTING, "band", "backing", "alternate", ("--backing", "alternate")),
    Choice(ONE_WAY, "band", "one_way", "leftward", ("--one-way", "leftward")),
    Choice(BUNTING, "drawing", "colours", 2, ("--colours", "2")),
    Choice(GULLS, "drawing", "background", "#1f3a5f", ("--background", "#1f3a5f")),
    Choice(GULLS, "drawing", "crop_rows", [2, 9], ("--crop-rows", "2-9")),
    Choice(GULLS, "drawing", "crop_stitches", [2, 9], ("--crop-stitches", "2-9")),
    Choice(GULLS, "drawing", "turn", 1, ("--turn", "1")),
    Choice(GULLS, "drawing", "flip", True, ("--flip",)),
    Choice(GULLS, "drawing", "mirror", True, ("--mirror",)),
    Choice(GULLS, "drawing", "enlarge", [2, 1], ("--enlarge", "2x1")),
]
SAME_PLAN = {"catch_floats"}  # what is listed for the hand alone leaves every needle as it was
