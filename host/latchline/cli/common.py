"""What the commands that take a chart or a piece have in common: options, and the plan they make."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from latchline.errors import ChartError, InputError

if TYPE_CHECKING:
    from latchline.chart.drawing import Drawing
    from latchline.chart.model import Chart
    from latchline.machine.needles import Span
    from latchline.machine.profile import Profile
    from latchline.piece.file import Piece
    from latchline.plan.model import Plan

Command = TypeVar("Command", bound=Callable[..., Any])

_BAND_OPTIONS: dict[str, dict[str, Any]] = {
    "machine": {"metavar": "NAME|FILE", "help": "Machine profile; see `latchline profiles`.  [standard-200]"},
    "needles": {"metavar": "SPAN", "help": "Needles to use, as L20-R20.  [the chart's width, centred]"},
    "technique": {
        "metavar": "NAME",
        "help": "stocking, tuck, tuck-one-way, slip, slip-one-way, fair-isle, slip-colours, jacquard, inlay or hold.  "
        "[fair-isle]",
    },
    "rows": {"type": int, "help": "Rows to knit.  [the chart's height × row repeat]"},
    "row_repeat": {"type": int, "help": "Knit each chart row this many times.  [1]"},
    "reversal": {"metavar": "off|on|every:N", "help": "Exchange selected and unselected.  [off]"},
    "alternate_needles": {
        "type": click.Choice(["off", "only", "background", "within"]),
        "help": "Every other needle, shifted each row: instead of a chart, behind it, or inside it.  [off]",
    },
    "shown_side": {
        "type": click.Choice(["knit", "purl"]),
        "help": "Which side of the fabric the chart shows.  [knit for colour work, else purl]",
    },
    "edge_needles": {
        "type": click.Choice(["knit", "as-chart"]),
        "help": "Make the end needles knit, or as charted.  [as-chart for colour work, else knit]",
    },
    "start": {
        "type": click.Choice(["left", "right"]),
        "help": "Where the carriage stands.  [where the separation begins, else right]",
    },
    "separation": {
        "metavar": "NAME",
        "help": "How colours are spread over passes: doubled, blank-return, paired or alternating.  [as suits]",
    },
    "changer": {
        "type": click.Choice(["left", "right", "hand"]),
        "help": "Where colours are changed.  [where the machine has its changer, else by hand]",
    },
    "backing": {"type": click.Choice(["full", "alternate"]), "help": "Back bed of a jacquard.  [full]"},
    "one_way": {
        "type": click.Choice(["leftward", "rightward"]),
        "help": "Direction of a one-way pattern.  [rightward]",
    },
    "colours": {"type": click.IntRange(2, 16), "help": "Reduce the chart to this many colours."},
    "background": {"metavar": "COLOUR", "help": "The colour of unselected stitches.  [the lightest]"},
    "crop_rows": {"metavar": "FIRST-LAST", "help": "Keep these chart rows; row 1 is the bottom one."},
    "crop_stitches": {"metavar": "FIRST-LAST", "help": "Keep these stitches, from the left of the drawing."},
    "turn": {"type": click.IntRange(0, 3), "help": "Turn by quarters, clockwise."},
    "flip": {"is_flag": True, "default": None, "help": "Turn the drawing upside down."},
    "mirror": {"is_flag": True, "default": None, "help": "Mirror the drawing left to right."},
    "enlarge": {"metavar": "STITCHESxROWS", "help": "Needles and rows for each cell, as 2x1."},
    "once_at": {"metavar": "NEEDLE", "help": "Knit the chart once, its left end on this needle."},
    "shift": {"type": int, "help": "Move a repeating chart this many needles to the right."},
    "mirror_rows": {"is_flag": True, "default": None, "help": "Knit every second row as its mirror image."},
    "break_floats": {"type": int, "metavar": "N", "help": "Knit every other needle behind floats of more than N."},
}


def takes_chart(command: Command) -> Command:
    """Give a command the argument and the options from which `piece_from` makes a piece."""
    for name, settings in reversed(_BAND_OPTIONS.items()):
        command = click.option("--" + name.replace("_", "-"), **settings)(command)
    return click.argument("source", metavar="[PIECE.toml|CHART]", required=False, type=click.Path())(command)


def piece_from(source: str | None, given: dict[str, Any]) -> Piece:
    """The piece of a command line: a piece file as it is, or a chart with its options as one band.

    `given` holds the command's keyword arguments; those that are not band options are left alone.
    Raises InputError and its children.
    """
    from latchline.piece.file import load_piece

    asked = {name: given[name] for name in _BAND_OPTIONS if given.get(name) is not None}
    if source is not None and source.lower().endswith(".toml"):
        if asked:
            first = next(iter(asked)).replace("_", "-")
            raise InputError(
                f"--{first} goes with a chart, not with a piece file", where=source, hint="set it in the file"
            )
        return load_piece(source)
    return _chart_piece(source, asked)


def plan_from(source: str | None, given: dict[str, Any]) -> Plan:
    """The compiled plan of a command line."""
    return piece_from(source, given).plan()


def _chart_piece(source: str | None, asked: dict[str, Any]) -> Piece:
    from latchline.machine.profile import load_profile
    from latchline.piece.file import DEFAULT_MACHINE, Piece
    from latchline.plan.compile import BandRequest
    from latchline.plan.options import Options, parse_reversal
    from latchline.technique.table import technique_named

    technique = technique_named(asked.get("technique", "fair-isle"))
    profile = load_profile(asked.get("machine", DEFAULT_MACHINE))
    alone = asked.get("alternate_needles") == "only" or not technique.needs_chart
    if alone and source is not None:
        why = "--alternate-needles only" if technique.needs_chart else technique.name
        raise InputError(f"{why} knits without a chart", where=source, hint="leave the chart or the option out")
    if source is None and not alone:
        raise InputError(
            "name a chart or a piece file", hint="to see some, `latchline examples` copies the packaged ones"
        )
    chart = None
    if source is not None:
        chart = drawing_from(source, asked).chart()
    if "needles" in asked:
        span = profile.span(asked["needles"])
    elif chart is not None:
        span = _wide_enough(profile, chart, source)
    else:
        raise InputError("without a chart the needles must be named", hint="add --needles L20-R20")
    once_at = asked.get("once_at")
    options = Options(
        rows=asked.get("rows"),
        row_repeat=asked.get("row_repeat", 1),
        reversal=parse_reversal(asked.get("reversal", "off")),
        alternate_needles=asked.get("alternate_needles", "off"),
        shown_side=asked.get("shown_side"),
        edge_needles=asked.get("edge_needles"),
        separation=asked.get("separation"),
        changer=asked.get("changer"),
        backing=asked.get("backing", "full"),
        one_way=asked.get("one_way", "rightward"),
        once_at=None if once_at is None else profile.needle_index(once_at),
        shift=asked.get("shift", 0),
        mirror_rows=asked.get("mirror_rows", False),
        break_floats=asked.get("break_floats", 0),
    )
    name = Path(source).stem if source is not None else technique.name
    band = BandRequest(name, technique, options, chart)
    return Piece(name, profile, span, asked.get("start"), (), (band,), file=source or "")


def _wide_enough(profile: Profile, chart: Chart, source: str | None) -> Span:
    try:
        return profile.centred(chart.stitches)
    except InputError as error:
        raise ChartError(error.what, where=source or "", hint=error.hint) from None


def drawing_from(source: str, given: dict[str, Any]) -> Drawing:
    """The drawing of a chart file with the options that cut, turn and enlarge it."""
    from latchline.chart.drawing import Drawing

    asked = {name: value for name, value in given.items() if value is not None}
    across, along = _sizes(asked.get("enlarge", "1x1"))
    return Drawing(
        path=Path(source),
        colours=asked.get("colours"),
        background=asked.get("background"),
        crop_rows=_range("--crop-rows", asked.get("crop_rows")),
        crop_stitches=_range("--crop-stitches", asked.get("crop_stitches")),
        turn=asked.get("turn", 0),
        flip=asked.get("flip", False),
        mirror=asked.get("mirror", False),
        enlarge_stitches=across,
        enlarge_rows=along,
    )


def _sizes(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"([0-9]{1,6})[xX×]([0-9]{1,6})", text)
    if match is None:
        raise InputError(f'"{text}" is no enlargement', hint="write needles x rows for each cell, as 2x1")
    return int(match[1]), int(match[2])


def _range(option: str, text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    from latchline.plan.options import parse_range

    asked = parse_range(text)
    if asked is None:
        raise InputError(f'"{text}" is no range', where=option, hint="write first-last, as 1-24")
    return asked
