"""Beginnings, hems and ends: bands that are more than passes of one kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

from latchline.machine.needles import Span
from latchline.machine.profile import Profile
from latchline.piece.measure import Measure
from latchline.plan.compile import BandRequest
from latchline.plan.model import FOLD_ROW, Yarn
from latchline.plan.options import Options
from latchline.plan.shape import AllNeedles, CastOn
from latchline.tables import Table
from latchline.technique.table import STOCKING

BEGINNINGS = ("wrapped", "every-other", "waste")
ENDS = ("bound-off", "waste", "cord")
ROWS_OF_BEGINNING = {"wrapped": 2, "every-other": 4, "waste": 8}  # waste: 6 to 10; common practice, no source
ROWS_OF_END = {"bound-off": 0, "waste": 8, "cord": 0}
LOOSER = 2.0  # how much larger the stitch size of a fold row is: common practice, no source
ROWS_MOST = 10_000
WASTE = Yarn("waste yarn", "#b9b4a7")
RAVEL = Yarn("ravel cord", "#8f5b8a")

NAMES = {"begin": "beginning", "hem": "hem", "end": "end"}
KINDS = tuple(NAMES)


@dataclass(frozen=True)
class _Told:
    """What every such band says beside its own key."""

    name: str
    yarns: tuple[Yarn, ...]
    stitch_size: float | None
    tension: str


class HemPlace(Enum):
    """Where a hem lies: it hangs from the beginning, or closes the end, or makes a ridge between the two."""

    BEGINNING = auto()
    END = auto()
    BETWEEN = auto()


def hem_places(kinds: Sequence[str | None]) -> list[HemPlace]:
    """Where a hem at the place of each band would lie, from what all bands of the piece are."""
    begun = next((place for place, kind in enumerate(kinds) if kind is None), len(kinds))
    ended = len(kinds) - (kinds[-1:] == ["end"]) - 1
    return [
        HemPlace.BEGINNING if place < begun else HemPlace.END if place == ended else HemPlace.BETWEEN
        for place in range(len(kinds))
    ]


def kind_of_band(table: Table) -> str | None:
    """`begin`, `hem` or `end` where the band is one. Raises the table's complaint when it is several."""
    given = [key for key in KINDS if table.has(key)]
    if len(given) > 1:
        raise table.complain(given[1], f"a band is not {' and '.join(given)} at once", "make it two bands")
    return given[0] if given else None


def read_special(
    kind: str, table: Table, told: tuple[str, tuple[Yarn, ...], float | None, str], before: list[BandRequest],
    profile: Profile, span: Span, measure: Measure, place: HemPlace,
) -> tuple[BandRequest, ...]:  # fmt: skip
    """The bands that a beginning, a hem or an end comes to.

    before: the bands read so far; an end without rows of its own takes the last one's place. place: of a hem.
    """
    name, yarns, stitch_size, tension = told
    if kind != "begin" and not yarns and before:
        yarns = before[-1].yarns[:1]
    here = _Told(name, yarns, stitch_size, tension)
    own = told[1]
    if kind == "begin":
        if before:
            raise table.complain("begin", "a piece begins with its first band", "move it to the top")
        return _beginning(table, here, profile, span, measure)
    return _hem(table, here, measure, place) if kind == "hem" else _end(table, here, own, measure, before)


def _plain(told: _Told, rows: int, name: str = "", part: str = "fabric") -> BandRequest:
    return BandRequest(
        name or told.name, STOCKING, Options(rows=rows), None, told.yarns[:1],
        part=part, stitch_size=told.stitch_size, tension=told.tension,
    )  # fmt: skip


def _beginning(table: Table, told: _Told, profile: Profile, span: Span, measure: Measure) -> tuple[BandRequest, ...]:
    how = table.choice("begin", BEGINNINGS)
    rows = _rows(table, measure, ROWS_OF_BEGINNING[how], least=1 if how == "wrapped" else 2)
    named = table.text("needles", None)
    over = span if named is None else table.keyed("needles", lambda: profile.span(named))
    if over.first < span.first or over.last > span.last:
        raise table.complain("needles", "these are not among the needles of the piece", "name more for the piece")
    begun = "wrapped" if how == "wrapped" else "every-other"
    cast_on = CastOn(begun, over.first - span.first, over.last - span.first, asked=table.place("begin"))
    if how != "waste":
        return (replace(_plain(told, rows), works=(cast_on,)),)
    waste = replace(told, yarns=told.yarns[:1] or (WASTE,))
    ravel = replace(told, yarns=told.yarns[1:2] or (RAVEL,))
    return (
        replace(_plain(waste, rows, part="waste"), works=(cast_on,)),
        _plain(ravel, 1, f"{told.name}, ravel row", "waste"),
    )


def _hem(table: Table, told: _Told, measure: Measure, place: HemPlace) -> tuple[BandRequest, ...]:
    """At the beginning inside, fold, outside; at the end the other way round. A ridge adds no height to the piece."""
    measure.rows(table, "hem")
    rows = table.whole("hem", 1, ROWS_MOST)
    size = told.stitch_size if told.stitch_size is not None else (told.yarns[0].stitch_size if told.yarns else None)
    fold_size = table.number("fold_stitch_size", 0, 30, None if size is None else size + LOOSER)
    fold = _plain(replace(told, stitch_size=fold_size), 1, told.name + FOLD_ROW, "hem inside")
    inside = _plain(told, rows, f"{told.name}, inside", "hem inside")
    outside = _plain(told, rows, f"{told.name}, outside", "hem inside" if place is HemPlace.BETWEEN else "fabric")
    if place is HemPlace.END:
        return outside, fold, replace(inside, works=(AllNeedles(None, "lift-hem", asked=table.place("hem")),))
    return inside, fold, replace(outside, works=(AllNeedles(None, "hang-hem", asked=table.place("hem")),))


def _end(
    table: Table, told: _Told, own: tuple[Yarn, ...], measure: Measure, before: list[BandRequest]
) -> tuple[BandRequest, ...]:
    """own: the yarns that the end itself names."""
    how = table.choice("end", ENDS)
    rows = _rows(table, measure, ROWS_OF_END[how], least=1 if how == "waste" else 0)
    if how == "waste":
        waste = replace(told, yarns=own[:1] or (WASTE,))
        return (
            replace(_plain(waste, rows, part="waste"), works=(AllNeedles(None, "take-off", asked=table.place("end")),)),
        )
    done = AllNeedles(None, "bind-off" if how == "bound-off" else "onto-cord", asked=table.place("end"))
    if rows:
        return (replace(_plain(told, rows), works=(done,)),)
    if not before:
        raise table.complain("end", "there is nothing to end", "put a band before it")
    last = before.pop()
    return (replace(last, works=(*last.works, done)),)


def _rows(table: Table, measure: Measure, default: int, *, least: int) -> int:
    measure.rows(table, "rows")
    rows: int = table.whole("rows", least, ROWS_MOST, default)
    return rows
