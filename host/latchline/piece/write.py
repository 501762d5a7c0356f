"""Changes to the text of a piece file, key by key, so that comments, order and spacing stay."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from itertools import chain
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from latchline.errors import InputError

EMPTY = """# Drawn at the desk.

name = {name}
machine = {machine}
needles = {needles}

[[bands]]
name = {band}
technique = "fair-isle"
chart = {chart}
"""


def empty_piece(name: str, machine: str, needles: str, chart: str) -> str:
    """The text of a piece of one band with a chart."""
    words = {"name": name, "machine": machine, "needles": needles, "band": name, "chart": chart}
    return EMPTY.format(**{key: _quoted(word) for key, word in words.items()})


def chart_piece(name: str, chart: str) -> str:
    """The text of a piece that knits one chart as it is, as the commands would."""
    called = _quoted(name)
    return f'name = {called}\n\n[[bands]]\nname = {called}\ntechnique = "fair-isle"\nchart = {_quoted(chart)}\n'


def _quoted(word: str) -> str:
    return tomlkit.string(word).as_string()


def values_of(text: str) -> dict[str, Any]:
    """The file as plain values; empty where it is no TOML."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return {}


def bands_of(text: str) -> list[dict[str, Any]]:
    """The [[bands]] of the file as plain values; none where it has no such tables."""
    bands = values_of(text).get("bands")
    return [band for band in bands if isinstance(band, dict)] if isinstance(bands, list) else []


def is_plain(text: str) -> bool:
    """Whether the file is TOML whose tables are tables, and whose values JSON can hold: no date, no nan."""
    try:
        values = tomllib.loads(text)
        json.dumps(values, allow_nan=False)
    except (TypeError, ValueError, RecursionError):
        return False
    lists = [values.get(key, []) for key in ("bands", "swatches")]
    tables = [values.get(key, {}) for key in ("yarns", "gauge", "limits")]
    if not all(isinstance(one, list) for one in lists) or not all(isinstance(one, dict) for one in tables):
        return False
    return all(isinstance(one, dict) for one in (*chain(*lists), *tables[0].values()))


def _changed(text: str, change: Callable[[tomlkit.TOMLDocument], None]) -> str:
    try:
        document = tomlkit.parse(text)
        change(document)
    except TOMLKitError as error:
        raise InputError(f"the piece file cannot be changed ({error})", hint="mend it in a text editor first") from None
    return tomlkit.dumps(document)


def _put(table: Any, key: str, value: Any) -> None:
    if value is None:
        table.pop(key, None)
    elif key not in table or table[key].unwrap() != value:  # what says the same stays as it is written
        table[key] = value


def _bands(document: tomlkit.TOMLDocument) -> AoT:
    bands = document.get("bands")
    if not isinstance(bands, AoT):
        raise InputError("this piece has no [[bands]]", hint="write it with a [[bands]] line for each band")
    return bands


def _band(document: tomlkit.TOMLDocument, number: int) -> Table:
    bands = _bands(document)
    if not 0 <= number < len(bands):
        raise InputError(f"there is no band {number + 1}", hint=f"this piece has {len(bands)}")
    band = bands[number]
    assert isinstance(band, Table)
    return band


def set_in_piece(text: str, key: str, value: Any) -> str:
    """value: None takes the key out."""
    return _changed(text, lambda document: _put(document, key, value))


def set_in_band(text: str, number: int, keys: dict[str, Any]) -> str:
    """Set keys of band `number`, from 0; None takes a key out."""

    def change(document: tomlkit.TOMLDocument) -> None:
        band = _band(document, number)
        for key, value in keys.items():
            _put(band, key, value)

    return _changed(text, change)


def set_in_table(text: str, path: tuple[str, ...], key: str, value: Any) -> str:
    """Set a key of a table such as `yarns.main`, which is made where it is missing."""

    def change(document: tomlkit.TOMLDocument) -> None:
        table: Any = document
        for part in path:
            if part not in table:
                new = tomlkit.table(is_super_table=part != path[-1])
                table[part] = new
                if part == path[-1]:
                    new[key] = value
                    new.add(tomlkit.nl())
                    return
            table = table[part]
        _put(table, key, value)

    return _changed(text, change)


def add_band(text: str, at: int, values: dict[str, Any]) -> str:
    """Put a new band in before band `at`."""

    def change(document: tomlkit.TOMLDocument) -> None:
        table = tomlkit.table()
        for key, value in values.items():
            table[key] = value
        table.add(tomlkit.nl())
        bands = _bands(document)
        bands.insert(min(max(at, 0), len(bands)), table)

    return _changed(text, change)


def remove_band(text: str, number: int) -> str:
    """Raises InputError for the last one that is left."""

    def change(document: tomlkit.TOMLDocument) -> None:
        _band(document, number)
        if len(_bands(document)) == 1:
            raise InputError("a piece keeps one band at least", hint="change it instead")
        del _bands(document)[number]

    return _changed(text, change)


def move_band(text: str, number: int, to: int) -> str:
    """Knit a band earlier or later; its comments go with it."""

    def change(document: tomlkit.TOMLDocument) -> None:
        band = _band(document, number)
        bands = _bands(document)
        del bands[number]
        bands.insert(min(max(to, 0), len(bands)), band)

    return _changed(text, change)
