"""One chart with its options as a piece of one band, and its drawing alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from latchline.chart.model import Chart
from latchline.machine.profile import load_profile
from latchline.piece.file import Beside, piece_in
from latchline.piece.model import Piece
from latchline.plan.options import DEFAULT_MACHINE, DEFAULT_TECHNIQUE, PIECE_OPTIONS, read_drawing_options
from latchline.tables import Table

_OF_PIECE = {option.name for option in PIECE_OPTIONS}
Values = Mapping[str, Any]


def piece_of(chart: str | Path | Chart | None = None, **options: Any) -> Piece:
    """A piece of one band: a chart (a file or a drawing in memory) with options.

    options: by their names in a piece file, with values as they stand there; without `technique` it is
        fair-isle, without a chart one that needs none or `alternate_needles = "only"`.
    Raises InputError and its children; `key` tells the option.
    """
    name, beside = _at_hand(chart)
    whole = {key: value for key, value in options.items() if key in _OF_PIECE}
    band = {key: value for key, value in options.items() if key not in _OF_PIECE}
    band = {"technique": DEFAULT_TECHNIQUE} | band
    title = Path(name).stem if name is not None else str(band["technique"])
    band = {"name": title} | band | ({} if name is None else {"chart": name})
    piece = piece_in(Table(whole | {"bands": [band]}), beside, title)
    return replace(piece, file=name or "")


def drawing_of(chart: str | Path | Chart, **options: Any) -> Chart:
    """The drawing alone, as the options for the drawing cut, turn and enlarge it. Raises InputError."""
    name, beside = _at_hand(chart)
    assert name is not None
    table = Table(options)
    asked = read_drawing_options(table, load_profile(DEFAULT_MACHINE))
    table.finish()
    return beside.chart(name, asked)


def _at_hand(chart: str | Path | Chart | None) -> tuple[str | None, Beside]:
    """What complaints call the chart, and where it is found; profiles are named from the working folder."""
    if isinstance(chart, Chart):
        name = chart.name or "chart"
        return name, Beside(Path(), {name: chart})
    return None if chart is None else str(chart), Beside(Path())
