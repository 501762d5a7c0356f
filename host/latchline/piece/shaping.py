"""Shaping and hand steps as a band's table asks for them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import accumulate
from typing import Any

from latchline.errors import InputError
from latchline.machine.needles import Span
from latchline.machine.profile import Profile
from latchline.piece.measure import LENGTH_HINT, Measure
from latchline.plan.hand import HAND_KINDS, Position
from latchline.plan.shape import Armhole, AtRate, ByHand, Groups, Neck, ShortRows, ToWidth, Work
from latchline.plan.signs import Signs, read_signs
from latchline.shaping.steps import gaps, level_steps
from latchline.tables import Table

SIDES = ("both", "left", "right")
RELEASES = ("at once", "in steps", "later")
NEEDLES_MOST = 1000
ROWS_MOST = 1_000_000


def read_works(
    table: Table, profile: Profile, span: Span, measure: Measure, signs_of: Callable[[str], str]
) -> tuple[Work, ...]:
    """What the keys `shape`, `hand` and `signs` of a band ask for. Raises the table's complaint.

    signs_of: the text of a file of signs.
    """
    works: list[Work] = []
    turn = dict.fromkeys(SIDES, 0)  # rates on one side follow one another
    for item in table.tables("shape"):
        works.append(_shape(item, measure, turn))
        item.finish()
    for item in table.tables("hand"):
        works.extend(_by_hand(item, profile, span, measure))
        item.finish()
    signs = table.text("signs", None)
    where = table.text("signs_needles", None)
    if signs is not None:
        over = span if where is None else table.keyed("signs_needles", lambda: _within(profile.span(where), span))
        rows = table.keyed("signs", lambda: read_signs(signs_of(signs), signs))
        first, last = over.first - span.first, over.last - span.first
        works.append(Signs(rows, first, last, asked=table.place("signs")))
    return tuple(works)


def partner(table: Table, key: str, needs: str) -> None:
    """Raises the table's complaint where a key stands without the one that it belongs to."""
    if table.has(key) and not table.has(needs):
        raise table.complain(key, f'this key goes with "{needs}", which is missing', f'add "{needs} = …"')


def _within(asked: Span, span: Span) -> Span:
    if asked.first < span.first or asked.last > span.last:
        raise InputError("these needles are not all among those of the piece", hint="name more needles under `needles`")
    return asked


def _shape(table: Table, measure: Measure, turn: dict[str, int]) -> Work:
    partner(table, "shoulders", "neck")
    given = [key for key in _SHAPES if table.has(key)]
    if len(given) != 1:
        raise table.complain(
            given[1] if given else "", "a shape says one thing", f"say one of {', '.join(_SHAPES)} in it"
        )
    return replace(_SHAPES[given[0]](table, measure, turn), asked=table.place(given[0]))


def _to(table: Table, measure: Measure, _: dict[str, int]) -> Work:
    nearest = measure.needles(table, "to")
    stitches = table.whole("to", 1, NEEDLES_MOST)
    side = table.choice("side", SIDES, "both")
    return ToWidth(
        stitches,
        side,
        table.whole("fashioned", 0, 20, 1),
        table.flag("even_rows", False),
        nearest,
    )


def _by(table: Table, measure: Measure, turn: dict[str, int]) -> Work:
    measure.rows(table, "every")
    measure.row(table, "from_row")
    side = table.choice("side", SIDES, "both")
    rate = AtRate(
        side,
        table.whole("by", -1, 1),
        table.whole("every", 1, ROWS_MOST),
        table.whole("times", 1, ROWS_MOST),
        table.whole("fashioned", 0, 20, 1),
        table.whole("from_row", 1, ROWS_MOST, turn[side] + 1) - 1,
    )
    if rate.by == 0:
        raise table.complain("by", "0 changes nothing", "accepted: -1 to narrow, 1 to widen")
    turn[side] = rate.after + rate.every * rate.times
    return rate


def _groups(table: Table, measure: Measure, _: dict[str, int]) -> Work:
    measure.row(table, "from_row")
    key = "on" if table.has("on") else "off"
    stitches = _wholes(table, key)
    return Groups(
        stitches, table.choice("side", SIDES, "both"), key == "on", table.whole("from_row", 1, ROWS_MOST, 1) - 1
    )


def _armhole(table: Table, measure: Measure, _: dict[str, int]) -> Work:
    nearest = measure.needles(table, "armhole")
    stitches = table.whole("armhole", 1, NEEDLES_MOST)
    return Armhole(stitches, nearest)


def _hold(table: Table, measure: Measure, _: dict[str, int]) -> Work:
    measure.needles(table, "hold")
    steps = _wholes(table, "hold", steps=table.whole("steps", 1, NEEDLES_MOST, None))
    side, release = table.choice("side", SIDES, "both"), table.choice("release", RELEASES, "at once")
    return ShortRows(steps, side, release, table.flag("wraps", True))


def _neck(table: Table, measure: Measure, _: dict[str, int]) -> Work:
    nearest = measure.needles(table, "neck")
    width = table.whole("neck", 1, NEEDLES_MOST)
    shoulders = table.raw("shoulders", 1)
    steps = shoulders if type(shoulders) is int else 0
    centre = table.whole("centre", 1, NEEDLES_MOST, None)
    return Neck(
        width=width,
        centre=centre or 0,
        sides=() if centre is None else _wholes(table, "sides"),
        shoulder_steps=max(steps, 1),
        shoulders=() if steps else _numbers(table, "shoulders", shoulders),
        back=table.flag("back", False),
        on_cord=table.flag("on_cord", False),
        nearest=nearest,
    )


_SHAPES: dict[str, Callable[[Table, Measure, dict[str, int]], Work]] = {
    "to": _to,
    "by": _by,
    "off": _groups,
    "on": _groups,
    "armhole": _armhole,
    "hold": _hold,
    "neck": _neck,
}


def _wholes(table: Table, key: str, *, steps: int | None = None) -> tuple[int, ...]:
    """A list of whole numbers from 1, or one number in so many steps."""
    value: Any = table.raw(key)
    if type(value) is int and value >= 1:
        return table.keyed(key, lambda: level_steps(value, steps or 1))
    return _numbers(table, key, value)


def _numbers(table: Table, key: str, value: Any) -> tuple[int, ...]:
    if (
        not isinstance(value, list)
        or not value
        or not all(type(item) is int and 1 <= item <= NEEDLES_MOST for item in value)
    ):
        raise table.complain(key, "expected whole numbers from 1", f"as in {key} = [5, 5, 6]; {LENGTH_HINT}")
    return tuple(value)


def _by_hand(table: Table, profile: Profile, span: Span, measure: Measure) -> Iterator[Work]:
    measure.rows(table, "every")
    for key in ("row", "to_row"):
        measure.row(table, key)
    kind = table.choice("do", tuple(kind.name for kind in HAND_KINDS.values() if not kind.of_plan))
    row = table.whole("row", 1, ROWS_MOST)
    named = table.text("needles")
    both = named if len(named.split("-")) > 1 else f"{named}-{named}"
    where = table.keyed("needles", lambda: _within(profile.span(both), span))
    towards = table.choice("towards", ("left", "right"), "left")
    by = table.whole("by", 1, NEEDLES_MOST, 1)
    left = table.whole("left_group", 1, NEEDLES_MOST, max(1, where.width // 2))
    leaves = Position.OUT if table.flag("out_of_work", False) else Position.WORK
    words = table.text("words", "", longest=200)
    rows = _rows_by_hand(table, row)
    moved = {"move": by if towards == "right" else -by, "cross": left if towards == "left" else -left}.get(kind, 0)
    for before in rows:
        first = where.first - span.first
        last = first + where.width - 1
        yield ByHand(before, kind, first, last, moved, leaves, words, asked=table.place())


def _rows_by_hand(table: Table, row: int) -> Iterable[int]:
    """The rows before which a step is done: `every` so many, or spread evenly up to `to_row`, `times` in all."""
    times, last = table.whole("times", 1, ROWS_MOST, 1), table.whole("to_row", 1, ROWS_MOST, None)
    if last is None:
        every = table.whole("every", 1, ROWS_MOST, 1)
        return range(row, row + times * every, every)
    if times == 1:
        raise table.complain("to_row", "this spreads several steps over the rows", 'add "times = …", from 2')
    apart = table.keyed("to_row", lambda: gaps(times, last - row, hole_rows=0))
    return accumulate(apart, initial=row)
