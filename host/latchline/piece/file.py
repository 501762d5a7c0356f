"""A piece file: all bands of one knitted part. `docs/reference/piece-file.md` lists every key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from latchline.chart.drawing import Drawing
from latchline.errors import InputError, PieceError
from latchline.machine.needles import Span
from latchline.machine.profile import Profile, load_profile
from latchline.piece.yarn_count import tex_of
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.limits import Limits
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import (
    ALTERNATE_NEEDLES,
    BACKINGS,
    BREAK_FLOATS_MAX,
    CHANGERS,
    EDGE_NEEDLES,
    ONE_WAYS,
    PASSES_MAX,
    SHIFT_MAX,
    SHOWN_SIDES,
    SIDES,
    Options,
    parse_reversal,
)
from latchline.tables import Table
from latchline.technique.table import technique_named

Value = TypeVar("Value")

DEFAULT_MACHINE = "standard-200"


@dataclass(frozen=True)
class Swatch:
    """A counted and measured piece of the same fabric."""

    stitches: float
    rows: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Piece:
    """A piece as read: everything that `plan` needs, and what the sheet and the checks want to know.

    file: the piece file or chart that it was read from, as complaints call it; empty where there is none.
    """

    name: str
    profile: Profile
    span: Span
    start: str | None
    yarns: tuple[Yarn, ...]
    bands: tuple[BandRequest, ...]
    swatch: Swatch | None = None
    limits: Limits = field(default_factory=Limits)
    file: str = ""

    def plan(self) -> Plan:
        """Raises InputError, naming the file, and the band where there are several."""
        try:
            return compile_plan(self.name, self.profile, self.span, self.bands, start=self.start)
        except InputError as error:
            raise type(error)(error.what, where=self._place(error.where), hint=error.hint) from None

    def _place(self, where: str) -> str:
        """A band's name as a reader would look for it; of a single band the file says enough."""
        if not self.file or where not in {band.name for band in self.bands}:
            return where
        return self.file if len(self.bands) == 1 else f'{self.file}, band "{where}"'


def load_piece(path: str | Path) -> Piece:
    """Read a piece file and the charts and profile that it names (relative to its own folder).

    Raises PieceError, ProfileError or ChartError naming file, line and key.
    """
    path = Path(path)
    return _piece(Table.read(path, PieceError), path.parent, default_name=path.stem)


def _piece(table: Table, folder: Path, *, default_name: str) -> Piece:
    name = table.text("name", default_name, longest=200)
    machine = table.text("machine", DEFAULT_MACHINE)
    profile = _keyed(table, "machine", lambda: load_profile(machine, beside=folder))
    needles = table.text("needles", None)
    start = table.choice("start", SIDES, None)
    yarns_table = table.table("yarns")
    yarns = {key: _yarn(yarns_table.table(key), key) for key in yarns_table.left()}
    swatch = _swatch(table.table("gauge")) if table.has("gauge") else None
    band_tables = table.tables("bands", required=True)
    if not band_tables:
        raise table.complain("bands", "a piece needs at least one band", "add [[bands]]")
    named = None if needles is None else _keyed(table, "needles", lambda: profile.span(needles))
    bands = [_band(item, number, folder, profile, yarns) for number, item in enumerate(band_tables, 1)]
    limits = Limits.read(table.table("limits"))
    table.finish()
    span = named or _widest(profile, bands, table)
    return Piece(name, profile, span, start, tuple(yarns.values()), tuple(bands), swatch, limits, table.file)


def _widest(profile: Profile, bands: list[BandRequest], table: Table) -> Span:
    widths = [band.drawing.stitches for band in bands if band.drawing is not None]
    if not widths:
        raise table.complain("needles", "without a chart the needles must be named", 'add needles = "L20-R20"')
    return _keyed(table, "needles", lambda: profile.centred(max(widths)))


def _keyed(table: Table, key: str, read: Callable[[], Value]) -> Value:
    """Run `read`; an InputError from deeper down gets this table's file, line and key."""
    try:
        return read()
    except InputError as error:
        if error.where.startswith(table.file):
            raise
        where = f"{table.where(key)}: {error.where}" if error.where else table.where(key)
        raise type(error)(error.what, where=where, hint=error.hint) from None


def _yarn(table: Table, name: str) -> Yarn:
    count = table.text("count", None)
    yarn = Yarn(
        name=name,
        colour=_colour(table, "colour", "#d8d0c0"),
        tex=None if count is None else _keyed(table, "count", lambda: tex_of(count)),
        stitch_size=table.number("stitch_size", 0, 30, None),
        loop_length_mm=table.number("loop_length_mm", 1, 100, None),
    )
    table.finish()
    return yarn


def _colour(table: Table, key: str, default: str) -> str:
    text: str = table.text(key, default)
    digits = text.removeprefix("#")
    if len(digits) != 6 or any(digit not in "0123456789abcdefABCDEF" for digit in digits):
        raise table.complain(key, f'"{text}" is no colour', 'write it as "#2f5d7c"')
    return "#" + digits.lower()


def _swatch(table: Table) -> Swatch:
    swatch = Swatch(
        stitches=table.number("stitches", 1, 1000),
        rows=table.number("rows", 1, 2000),
        width_mm=table.number("width_mm", 1, 3000),
        height_mm=table.number("height_mm", 1, 3000),
    )
    table.finish()
    return swatch


def _band(table: Table, number: int, folder: Path, profile: Profile, yarns: dict[str, Yarn]) -> BandRequest:
    name = table.text("name", f"band {number}", longest=200)
    technique = _keyed(table, "technique", lambda: technique_named(table.text("technique")))
    chosen = table.texts("yarns", ())
    for yarn in chosen:
        if yarn not in yarns:
            hint = "named under [yarns]: " + (", ".join(yarns) or "none")
            raise table.complain("yarns", f'no yarn is called "{yarn}"', hint)
    path = table.text("chart", None)
    drawing = _drawing(table, folder / path) if path is not None else None
    options = _options(table, profile)
    only = options.alternate_needles == "only"
    if path is not None and (only or not technique.needs_chart):
        alone = 'alternate_needles = "only"' if only else technique.name
        raise table.complain("chart", f"{alone} knits without a chart", "leave one of the two out")
    table.finish()
    chart = _keyed(table, "chart", drawing.chart) if drawing is not None else None
    return BandRequest(name, technique, options, chart, tuple(yarns[yarn] for yarn in chosen))


def _drawing(table: Table, path: Path) -> Drawing:
    enlarge = _pair(table, "enlarge", (1, 1))
    return Drawing(
        path=path,
        colours=table.whole("colours", 2, 16, None),
        background=table.text("background", None),
        crop_rows=_pair(table, "crop_rows", None),
        crop_stitches=_pair(table, "crop_stitches", None),
        turn=table.whole("turn", 0, 3, 0),
        flip=table.flag("flip", False),
        mirror=table.flag("mirror", False),
        enlarge_stitches=enlarge[0],
        enlarge_rows=enlarge[1],
    )


def _pair(table: Table, key: str, default: Any) -> Any:
    value = table.raw(key, default)
    if value is default:
        return value
    if not isinstance(value, list) or len(value) != 2 or not all(type(item) is int and item >= 1 for item in value):
        raise table.complain(key, "expected two whole numbers from 1", f"as in {key} = [1, 24]")
    return (value[0], value[1])


def _options(table: Table, profile: Profile) -> Options:
    once_at = table.text("once_at", None)
    reversal = table.text("reversal", "off")
    return Options(
        rows=table.whole("rows", 1, PASSES_MAX, None),
        row_repeat=table.whole("row_repeat", 1, 1000, 1),
        reversal=_keyed(table, "reversal", lambda: parse_reversal(reversal)),
        alternate_needles=table.choice("alternate_needles", ALTERNATE_NEEDLES, "off"),
        shown_side=table.choice("shown_side", SHOWN_SIDES, None),
        edge_needles=table.choice("edge_needles", EDGE_NEEDLES, None),
        start=table.choice("start", SIDES, None),
        separation=table.text("separation", None),
        changer=table.choice("changer", CHANGERS, None),
        backing=table.choice("backing", BACKINGS, "full"),
        one_way=table.choice("one_way", ONE_WAYS, "rightward"),
        once_at=None if once_at is None else _keyed(table, "once_at", lambda: profile.needle_index(once_at)),
        shift=table.whole("shift", -SHIFT_MAX, SHIFT_MAX, 0),
        mirror_rows=table.flag("mirror_rows", False),
        break_floats=table.whole("break_floats", 0, BREAK_FLOATS_MAX, 0),
    )
