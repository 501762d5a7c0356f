"""What the commands that take a chart or a piece have in common: options, and the piece they make."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

import latchline
from latchline.cli import IN_FILE
from latchline.cli.words import TYPED
from latchline.errors import InputError
from latchline.plan.options import DRAWING_OPTIONS, Choice, Flag, Option, Whole, spoken_options

if TYPE_CHECKING:
    from latchline.chart.model import Chart
    from latchline.piece.model import Piece
    from latchline.plan.model import Plan

Command = TypeVar("Command", bound=Callable[..., Any])

OPTIONS = {option.name: option for option in spoken_options()}


def takes_chart(command: Command) -> Command:
    """Give a command the argument and the options from which `piece_from` makes a piece."""
    for option in reversed(OPTIONS.values()):
        command = click.option(TYPED.option(option.name), **_settings(option))(command)
    return click.argument("source", metavar="[PIECE.toml|CHART]", required=False, type=click.Path())(command)


def _settings(option: Option) -> dict[str, Any]:
    """An option as click wants it. What is not given stays None, so that defaults are said in one place."""
    text = option.says[0].upper() + option.says[1:]
    if not isinstance(option.kind, Choice | Flag | Whole) and option.kind.accepted:
        text += ": " + option.kind.accepted
    text += "."
    if isinstance(option.kind, Flag):
        return {"is_flag": True, "default": None, "help": text}
    if option.left_out:
        text += f"  [{option.left_out}]"
    if isinstance(option.kind, Choice):
        return {"type": click.Choice(option.kind.values), "help": text}
    return {"metavar": option.kind.metavar, "help": text, "type": int if isinstance(option.kind, Whole) else str}


def asked_for(given: Mapping[str, Any]) -> dict[str, Any]:
    """The options among a command's keyword arguments, with values as a piece file has them. Raises InputError."""
    asked = {}
    for name, option in OPTIONS.items():
        value = given.get(name)
        if value is None:
            continue
        try:
            asked[name] = option.kind.spoken(value) if isinstance(value, str) else value
        except InputError as error:
            raise error.at(key=name) from None
    return asked


def piece_from(source: str | None, given: Mapping[str, Any]) -> Piece:
    """The piece of a command line: a piece file as it is, or a chart with its options as one band.

    `given` holds the command's keyword arguments; those that are no options of a chart are left alone.
    Raises InputError and its children.
    """
    from latchline.technique.table import technique_named

    asked = asked_for(given)
    if source is not None and source.lower().endswith(".toml"):
        if asked:
            first = TYPED.option(next(iter(asked)))
            raise InputError(
                f"{first} goes with a chart, not with a piece file", where=source, hint="set it in the file"
            )
        if (context := click.get_current_context(silent=True)) is not None:
            context.meta[IN_FILE] = True
        return latchline.open_piece(source)
    alone = asked.get("alternate_needles") == "only" or not (
        "technique" not in asked or technique_named(asked["technique"]).needs_chart
    )
    if source is None and not alone:
        raise InputError(
            "name a chart or a piece file", hint="to see some, `latchline examples` copies the packaged ones"
        )
    return latchline.piece_of(source, **asked)


def plan_from(source: str | None, given: Mapping[str, Any]) -> Plan:
    """The compiled plan of a command line."""
    return piece_from(source, given).plan()


def drawing_from(source: str, given: Mapping[str, Any]) -> Chart:
    """The drawing of a chart file with the options that cut, turn and enlarge it."""
    to_drawing = {option.name for option in DRAWING_OPTIONS}
    return latchline.open_chart(source, **{key: value for key, value in asked_for(given).items() if key in to_drawing})
