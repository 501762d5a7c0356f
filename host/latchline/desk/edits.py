"""Every edit that the page can ask for: a name, and what it makes of a state. Each is one step of undo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from latchline.chart.colours import parse_colour
from latchline.chart.model import COLOURS_MAX, Cells, Colour
from latchline.desk import strokes
from latchline.desk.document import Drawn, State, with_drawing
from latchline.desk.looks import mend_of
from latchline.errors import ChartError, InputError
from latchline.piece import write as written

Given = Mapping[str, Any]
Edit = Callable[[State, Given], State]

POINTS_MAX = 20_000
TEXT_MAX = 2000


# ---- what the page sends, held to what it may be


def _text(given: Given, key: str) -> str:
    value = given[key]
    if not isinstance(value, str) or len(value) > TEXT_MAX:
        raise TypeError(key)
    return value


def _whole(given: Given, key: str) -> int:
    value = given[key]
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > 1_000_000:
        raise TypeError(key)
    return value


def _point(value: Any) -> strokes.Point:
    row, stitch = value
    if type(row) is not int or type(stitch) is not int or max(abs(row), abs(stitch)) > 100_000:
        raise TypeError("point")
    return row, stitch


def _points(given: Given) -> list[strokes.Point]:
    points = given["points"]
    if not isinstance(points, list) or len(points) > POINTS_MAX:
        raise TypeError("points")
    return [_point(point) for point in points]


def _mirrored(given: Given) -> str:
    mirrored = given.get("mirrored", "")
    if mirrored not in strokes.AXES:
        raise ValueError("mirrored")
    return str(mirrored)


def _value(given: Given) -> Any:
    """A value that a key of a piece file may have; None takes it out."""
    value = given.get("value")
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, str) and len(value) <= TEXT_MAX:
        return value
    if isinstance(value, list) and len(value) <= 64 and all(isinstance(item, str | int) for item in value):
        return value
    raise TypeError("value")


# ---- the drawing


def _drawing(change: Callable[[Cells, Given, Drawn, int, str], Cells]) -> Edit:
    """An edit of cells. The options by which colours were chosen are settled by it, and taken out of the bands."""

    def edit(state: State, given: Given) -> State:
        name = _text(given, "chart")
        drawn = state.drawings.get(name)
        if drawn is None:
            raise ChartError("this piece has no such drawing", where=name, hint="open it again")
        colour = _whole(given, "colour") if "colour" in given else 0
        if not 0 <= colour < len(drawn.palette):
            raise ValueError("colour")
        cells = change(drawn.cells(), given, drawn, colour, name)
        after = Drawn.of(cells, drawn.palette, drawn)
        return state if after == drawn else settled(with_drawing(state, name, after), name)

    return edit


def settled(state: State, name: str) -> State:
    """The state with no option left that would choose this drawing's colours anew."""
    text = state.text
    for number, band in enumerate(written.bands_of(text)):
        if band.get("chart") == name and ("colours" in band or "background" in band):
            text = written.set_in_band(text, number, {"colours": None, "background": None})
    return replace(state, text=text, edited=state.edited | {name})


def _paint(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    return strokes.paint(cells, _points(given), colour, _mirrored(given))


def _box(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    one, other = (_point(given[key]) for key in ("from", "to"))
    return strokes.box(cells, one, other, colour, _mirrored(given), filled=bool(given.get("filled")))


def _fill(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    return strokes.flood(cells, _point(given["at"]), colour)


def _shift(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    return strokes.shift(cells, _whole(given, "rows"), _whole(given, "stitches"))


def _axis(given: Given) -> int:
    return {"rows": 0, "stitches": 1}[_text(given, "what")]


def _insert(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    return strokes.insert(cells, _axis(given), _whole(given, "at"), max(1, _whole(given, "count")), 0, name)


def _remove(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    return strokes.remove(cells, _axis(given), _whole(given, "at"), max(1, min(_whole(given, "count"), 10_000)))


def _move(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    """Lay what is between two corners somewhere else; `copy` leaves it where it was, too."""
    one, other = (_point(given[key]) for key in ("from", "to"))
    stamp = strokes.part(cells, one, other)
    turned = given.get("turned", "")
    stamp = stamp[:, ::-1] if turned == "sideways" else stamp[::-1] if turned == "upward" else stamp
    left = cells if given.get("copy") else strokes.box(cells, one, other, 0, filled=True)
    return strokes.place(left, stamp, _point(given["at"]))


def _resize(cells: Cells, given: Given, drawn: Drawn, colour: int, name: str) -> Cells:
    """Cut or fill up at the top and at the right."""
    rows, stitches = _whole(given, "rows"), _whole(given, "stitches")
    for axis, wanted in enumerate((rows, stitches)):
        has = cells.shape[axis]
        if wanted > has:
            cells = strokes.insert(cells, axis, has, wanted - has, 0, name)
        elif wanted < has:
            cells = strokes.remove(cells, axis, max(wanted, 0), has - max(wanted, 0))
    return cells


def _palette(state: State, given: Given) -> State:
    """Give colour `index` another look or name; the one after the last is added."""
    name, index = _text(given, "chart"), _whole(given, "index")
    drawn = state.drawings[name]
    colour = parse_colour(_text(given, "hex"))
    if colour is None or not 0 <= index <= len(drawn.palette):
        raise InputError(f'"{_text(given, "hex")[:40]}" is no colour', hint='write it as "#2f5d7c"')
    if index >= COLOURS_MAX:
        raise ChartError(f"a chart has {COLOURS_MAX} colours at most", where=name, hint="let two share one")
    made = Colour(colour.red, colour.green, colour.blue, _text(given, "name") if "name" in given else colour.name)
    if any(other.hex == made.hex for at, other in enumerate(drawn.palette) if at != index):
        raise ChartError(f"{made.hex} is a colour of this chart already", where=name, hint="choose another")
    palette = (*drawn.palette[:index], made, *drawn.palette[index + 1 :])
    return settled(with_drawing(state, name, replace(drawn, palette=palette)), name)


def _unpalette(state: State, given: Given) -> State:
    """Take a colour out; its stitches become background."""
    name, index = _text(given, "chart"), _whole(given, "index")
    drawn = state.drawings[name]
    if not 1 <= index < len(drawn.palette) or len(drawn.palette) <= 2:
        raise ChartError("a chart keeps its background and one more colour", where=name)
    cells = drawn.cells().copy()
    cells[cells == index] = 0
    cells[cells > index] -= np.uint8(1)
    palette = tuple(colour for at, colour in enumerate(drawn.palette) if at != index)
    return settled(with_drawing(state, name, Drawn.of(cells, palette)), name)


# ---- the piece


def _option(state: State, given: Given) -> State:
    keys = {_text(given, "key"): _value(given)}
    return replace(state, text=written.set_in_band(state.text, _whole(given, "band"), keys))


def _of_piece(state: State, given: Given) -> State:
    return replace(state, text=written.set_in_piece(state.text, _text(given, "key"), _value(given)))


def _yarn(state: State, given: Given) -> State:
    """Set a key of a yarn, which is added when there is none of that name."""
    name = _text(given, "yarn").strip()
    if not name:
        raise InputError("a yarn needs a name", hint="type what you call it")
    return replace(state, text=written.set_in_table(state.text, ("yarns", name), _text(given, "key"), _value(given)))


def _gauge(state: State, given: Given) -> State:
    """Set the whole swatch: four figures."""
    text = state.text
    for key in ("stitches", "rows", "width_mm", "height_mm"):
        value = given[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise TypeError(key)
        text = written.set_in_table(text, ("gauge",), key, value)
    return replace(state, text=text)


def _add_band(state: State, given: Given) -> State:
    values = {"name": _text(given, "name"), "technique": _text(given, "technique")}
    if given.get("chart"):
        values["chart"] = _text(given, "chart")
    more = {"rows": _whole(given, "rows")} if given.get("rows") else {}
    return replace(state, text=written.add_band(state.text, _whole(given, "at"), values | more))


def _remove_band(state: State, given: Given) -> State:
    return replace(state, text=written.remove_band(state.text, _whole(given, "band")))


def _move_band(state: State, given: Given) -> State:
    return replace(state, text=written.move_band(state.text, _whole(given, "band"), _whole(given, "to")))


def _mend(state: State, given: Given) -> State:
    return replace(state, text=written.set_in_band(state.text, _whole(given, "band"), mend_of(_text(given, "key"))))


EDITS: Mapping[str, Edit] = {
    "paint": _drawing(_paint),
    "box": _drawing(_box),
    "fill": _drawing(_fill),
    "shift": _drawing(_shift),
    "insert": _drawing(_insert),
    "remove": _drawing(_remove),
    "move": _drawing(_move),
    "resize": _drawing(_resize),
    "colour": _palette,
    "no-colour": _unpalette,
    "option": _option,
    "piece": _of_piece,
    "yarn": _yarn,
    "gauge": _gauge,
    "add-band": _add_band,
    "remove-band": _remove_band,
    "move-band": _move_band,
    "mend": _mend,
}
