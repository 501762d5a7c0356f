"""The page's forms, made from the table of options: what each takes, in which control, and what it means."""

from __future__ import annotations

from typing import Any

from latchline.plan.options import (
    BAND_OPTIONS,
    DRAWING_OPTIONS,
    PIECE_OPTIONS,
    TECHNIQUE,
    Choice,
    Flag,
    Option,
    Pair,
    SeparationName,
    TechniqueName,
    Whole,
)


def form() -> dict[str, list[dict[str, Any]]]:
    """The fields of the piece, of a band and of its drawing, in the table's order."""
    return {
        "piece": [_field(option) for option in PIECE_OPTIONS],
        "band": [_field(option) for option in (TECHNIQUE, *BAND_OPTIONS)],
        "drawing": [_field(option) for option in DRAWING_OPTIONS],
    }


def _field(option: Option) -> dict[str, Any]:
    kind = option.kind
    field: dict[str, Any] = {
        "name": option.name,
        "says": option.says,
        "left_out": option.left_out,
        "accepted": kind.accepted,
        "control": "text",
    }
    if option.name == "machine":
        from latchline.machine.profile import shipped_profiles

        return field | {"control": "text", "suggested": list(shipped_profiles())}
    if isinstance(kind, Choice):
        return field | {"control": "choice", "values": list(kind.values)}
    if isinstance(kind, TechniqueName | SeparationName):
        return field | {"control": "choice", "values": kind.accepted.split(", ")}
    if isinstance(kind, Whole):
        return field | {"control": "whole", "low": kind.low, "high": kind.high}
    if isinstance(kind, Flag):
        return field | {"control": "flag"}
    if isinstance(kind, Pair):
        return field | {"control": "pair"}
    return field
