"""Latchline: from a chart to the needles of a domestic latch-needle bed.

The names below are what a program may rely on; each is fetched when it is first asked for, so that
importing this costs next to nothing. The rooms behind them are in `docs/architecture.md`.

    import latchline

    piece = latchline.piece_of("waves.png", technique="slip")
    for finding in latchline.check(piece):
        print(finding.what)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from latchline.chart.model import Chart
    from latchline.chart.read import parse_chart
    from latchline.checks.model import Finding
    from latchline.door import (
        begin,
        check,
        draw_fabric,
        draw_outline,
        draw_working_chart,
        gauge_of,
        knit_dry,
        sentence,
        write_sheet,
        yarn_need,
    )
    from latchline.errors import (
        BoardFault,
        ChartError,
        InputError,
        JournalError,
        JournalInUse,
        KnittingError,
        LatchlineError,
        LinkError,
        Mismatch,
        NotABoard,
        NotKnittable,
        PieceError,
        PortError,
        ProfileError,
        Silent,
        WrongVersion,
    )
    from latchline.knit.session import Session
    from latchline.piece.file import load_piece as open_piece
    from latchline.piece.file import parse_piece
    from latchline.piece.model import Piece
    from latchline.piece.of_chart import drawing_of as open_chart
    from latchline.piece.of_chart import piece_of
    from latchline.plan.model import Plan

__version__ = "0.2.0"

__all__ = [
    "BoardFault",
    "Chart",
    "ChartError",
    "Finding",
    "InputError",
    "JournalError",
    "JournalInUse",
    "KnittingError",
    "LatchlineError",
    "LinkError",
    "Mismatch",
    "NotABoard",
    "NotKnittable",
    "Piece",
    "PieceError",
    "Plan",
    "PortError",
    "ProfileError",
    "Session",
    "Silent",
    "WrongVersion",
    "begin",
    "check",
    "draw_fabric",
    "draw_outline",
    "draw_working_chart",
    "gauge_of",
    "knit_dry",
    "open_chart",
    "open_piece",
    "parse_chart",
    "parse_piece",
    "piece_of",
    "sentence",
    "write_sheet",
    "yarn_need",
]

# name → the module that has it, and what it is called there where that is another name
_ELSEWHERE = {
    "Chart": "chart.model",
    "Finding": "checks.model",
    "Piece": "piece.model",
    "Plan": "plan.model",
    "Session": "knit.session",
    "open_chart": "piece.of_chart:drawing_of",
    "open_piece": "piece.file:load_piece",
    "parse_chart": "chart.read",
    "parse_piece": "piece.file",
    "piece_of": "piece.of_chart",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    where = _ELSEWHERE.get(name, "door" if name[0].islower() else "errors")
    module, _, called = where.partition(":")
    value = getattr(importlib.import_module(f"latchline.{module}"), called or name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
