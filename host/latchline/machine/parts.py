"""Parts and their ratings, read from the data files in `latchline/machine/parts`.

Each rating carries its unit and its source; where the source says (memory) nobody has re-read it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from pathlib import Path

from latchline.errors import ProfileError
from latchline.tables import Table, read_text

_FOLDER = resources.files("latchline") / "machine" / "parts"


@dataclass(frozen=True)
class Rating:
    value: float
    unit: str
    source: str


@dataclass(frozen=True)
class Part:
    """One part: `ratings` by name; `drops` the highest saturation voltage as (current_a, drop_v), rising.

    usual_drops: the same, typical.
    """

    name: str
    title: str
    kind: str
    ratings: dict[str, Rating]
    drops: tuple[tuple[float, float], ...] = ()
    usual_drops: tuple[tuple[float, float], ...] = ()
    fuses_a: tuple[float, ...] = ()

    def value(self, rating: str) -> float:
        return self.ratings[rating].value

    def source(self, rating: str) -> str:
        return self.ratings[rating].source

    def drop_v(self, current_a: float) -> float:
        """Highest saturation voltage at a current, straight lines between and beyond the data sheet's points."""
        return _along(self.drops, current_a)

    def usual_drop_v(self, current_a: float) -> float:
        """The typical one."""
        return _along(self.usual_drops, current_a)

    @property
    def usual_on_ohm(self) -> float:
        """Typical on-resistance; 0 of a part that has a drop instead."""
        return self.value("on_ohm") if "on_ohm" in self.ratings else 0.0

    @property
    def most_on_ohm(self) -> float:
        """Highest on-resistance; 0 of a part that has a drop instead."""
        return self.value("on_max_ohm") if "on_max_ohm" in self.ratings else 0.0


def _along(drops: tuple[tuple[float, float], ...], current_a: float) -> float:
    if not drops:
        return 0.0
    if current_a <= drops[0][0]:
        return drops[0][1]
    for (low_a, low_v), (high_a, high_v) in pairwise(drops):
        if current_a <= high_a or high_a == drops[-1][0]:
            return low_v + (high_v - low_v) * (current_a - low_a) / (high_a - low_a)
    return drops[-1][1]


def part_names(kind: str = "") -> list[str]:
    """Names of the parts on file, of one kind or of all."""
    names = sorted(entry.name[:-5] for entry in _FOLDER.iterdir() if entry.name.endswith(".toml"))
    return [name for name in names if not kind or load_part(name).kind == kind]


# What the budget asks of every driver.
DRIVER_RATINGS = (
    "outputs",
    "output_a",
    "blocking_v",
    "junction_c",
    "thermal_k_per_w",
    "supply_low_v",
    "below_ground_v",
)


@cache
def load_part(name: str, kind: str = "") -> Part:
    """A part by its name on file, or by the path of a file of the user's, which ends in `.toml`.

    Raises ProfileError when there is none, when it is not of this kind, or lacks what the budget asks of it.
    """
    if name.endswith(".toml"):
        part = _part(read_text(Path(name), ProfileError), name)
    else:
        entry = _FOLDER / f"{name}.toml"
        if not name or not entry.is_file():
            raise ProfileError(f'no part is called "{name}"', hint="known drivers: " + ", ".join(part_names("driver")))
        part = _part(entry.read_text(encoding="utf-8"), name)
    if kind and part.kind != kind:
        raise ProfileError(f"this part is a {part.kind}, not a {kind}", where=name)
    missing = [rating for rating in DRIVER_RATINGS if part.kind == "driver" and rating not in part.ratings]
    if missing:
        hint = f'`{missing[0]} = {{ value = …, unit = "…", source = "…" }}` under [ratings]'
        raise ProfileError(f'this driver says nothing of "{missing[0]}"', where=name, hint=hint)
    return part


def _part(text: str, name: str) -> Part:
    table = Table.parse(text, file=name if name.endswith(".toml") else f"{name}.toml", kind=ProfileError)
    ratings = {}
    ratings_table = table.table("ratings", required=True)
    for key in list(ratings_table.left()):
        one = ratings_table.table(key)
        ratings[key] = Rating(one.number("value", 0.0, 1e6), one.text("unit"), one.text("source"))
        one.finish()
    drops = tuple(
        (
            one.number("current_a", 0, 100),
            one.number("drop_v", 0, 10),
            one.number("typical_v", 0, 10, None),
            one.text("source"),
        )
        for one in table.tables("drop")
    )
    fuses = tuple(value for one in table.tables("fuse") for value in one.raw("ratings_a"))
    part = Part(
        name=name,
        title=table.text("title"),
        kind=table.text("kind"),
        ratings=ratings,
        drops=tuple((current_a, most_v) for current_a, most_v, _, _ in drops),
        usual_drops=tuple(
            (current_a, most_v if usual_v is None else usual_v) for current_a, most_v, usual_v, _ in drops
        ),
        fuses_a=fuses,
    )
    table.finish()
    return part
