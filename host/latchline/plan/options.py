"""The options of a band, the same for a piece file's keys and for the command line."""

from __future__ import annotations

import re
from dataclasses import dataclass

from latchline.errors import InputError

ALTERNATE_NEEDLES = ("off", "only", "background", "within")
SHOWN_SIDES = ("knit", "purl")
EDGE_NEEDLES = ("knit", "as-chart")
SIDES = ("left", "right")
CHANGERS = ("left", "right", "hand")
BACKINGS = ("full", "alternate")
ONE_WAYS = ("leftward", "rightward")
BREAK_FLOATS_MAX = 255
SHIFT_MAX = 1000  # needles, to either side
PASSES_MAX = 1_000_000  # some weeks of knitting; guards against a slip of the finger


@dataclass(frozen=True)
class Options:
    """How a chart becomes selections. `None` means the default that the technique or chart gives.

    rows: knitted rows; row_repeat: knitted rows per chart row.
    reversal: 0 off, −1 on, N > 0: off for N rows, on for N rows, by turns.
    once_at: index of the leftmost needle under a chart that is placed once; None: it repeats.
    shift: needles by which a repeating chart is moved to the right.
    mirror_rows: every second row (with its row repeat) is knitted as its mirror image.
    break_floats: in a run of more than this many needles that a yarn passes by, every other one
        takes it, shifted each row; 0 leaves them.
    """

    rows: int | None = None
    row_repeat: int = 1
    reversal: int = 0
    alternate_needles: str = "off"
    shown_side: str | None = None
    edge_needles: str | None = None
    start: str | None = None
    separation: str | None = None
    changer: str | None = None
    backing: str = "full"
    one_way: str = "rightward"
    once_at: int | None = None
    shift: int = 0
    mirror_rows: bool = False
    break_floats: int = 0

    def __post_init__(self) -> None:
        if not 1 <= self.row_repeat <= 1000:
            raise InputError(f"a row repeat of {self.row_repeat} makes no sense", hint="accepted: 1 to 1000")
        if self.rows is not None and not 1 <= self.rows <= PASSES_MAX:
            raise InputError(f"{self.rows} rows cannot be knitted", hint=f"accepted: 1 to {PASSES_MAX}")
        if not -SHIFT_MAX <= self.shift <= SHIFT_MAX:
            raise InputError(
                f"a chart cannot be moved by {self.shift} needles", hint=f"accepted: {-SHIFT_MAX} to {SHIFT_MAX}"
            )
        if not 0 <= self.break_floats <= BREAK_FLOATS_MAX:
            raise InputError(
                f"floats of {self.break_floats} needles cannot be broken", hint=f"accepted: 0 to {BREAK_FLOATS_MAX}"
            )


def parse_range(text: str) -> tuple[int, int] | None:
    """First and last of `3-10`, or of `7` alone; None for anything else. Neither is held against a limit."""
    match = re.fullmatch(r"\s*([0-9]{1,9})\s*(?:-\s*([0-9]{1,9})\s*)?", text)
    return None if match is None else (int(match[1]), int(match[2] or match[1]))


def parse_reversal(text: str) -> int:
    """`off`, `on` or `every:N` as Options.reversal has it."""
    if text in ("off", "on"):
        return 0 if text == "off" else -1
    match = re.fullmatch(r"every:([1-9][0-9]{0,5})", text)
    if match is None:
        raise InputError(f'"{text}" is no reversal', hint="accepted: off, on, every:N with N rows from 1")
    return int(match[1])
