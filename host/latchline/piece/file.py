"""A piece file: all bands of one knitted part. `docs/reference/piece-file.md` lists every key."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from latchline.chart.colours import parse_colour
from latchline.chart.drawing import arranged
from latchline.chart.model import Chart
from latchline.chart.read import parse_chart, read_chart
from latchline.errors import ChartError, InputError, PieceError, ProfileError
from latchline.machine.needles import Span
from latchline.machine.profile import Profile, load_profile, parse_profile, shipped_profiles
from latchline.mend import Mend
from latchline.piece.ends import NAMES, HemPlace, hem_places, kind_of_band, read_special
from latchline.piece.measure import Length, Measure, Swatch, gauge_of, swatch_for
from latchline.piece.model import Piece
from latchline.piece.shaping import partner, read_works
from latchline.piece.yarn_count import tex_of
from latchline.plan.compile import BandRequest, separation_of
from latchline.plan.limits import Limits
from latchline.plan.model import Yarn
from latchline.plan.options import (
    PIECE_OPTIONS,
    TECHNIQUE,
    DrawingOptions,
    Name,
    Option,
    Options,
    read_drawing_options,
    read_options,
)
from latchline.plan.shape import Work
from latchline.tables import Table, decode_text, read_text
from latchline.technique.model import Technique
from latchline.technique.table import STOCKING, TECHNIQUES

NAME, MACHINE, NEEDLES, START = PIECE_OPTIONS
WORK_KEYS = ("shape", "hand", "signs")
PARTNERS = {"signs_needles": "signs", "fold_stitch_size": "hem"}  # what a band's key goes with


@dataclass(frozen=True)
class Beside:
    """Where a piece finds the charts and the profile that it names.

    folder: the names are relative to it. held: contents by name, looked through first; None as the
        folder means that there is nothing else. A chart that several bands name alike is read once.
    require: raises InputError for a file that may not be read; None where any may.
    """

    folder: Path | None = None
    held: Mapping[str, bytes | Chart] | None = None
    require: Callable[[Path], None] | None = None
    _read: dict[tuple[str, DrawingOptions], Chart] = field(default_factory=dict, repr=False, compare=False)

    def chart(self, name: str, asked: DrawingOptions) -> Chart:
        """Raises ChartError."""
        if (name, asked) not in self._read:
            self._read[name, asked] = self._chart(name, asked)
        return self._read[name, asked]

    def _chart(self, name: str, asked: DrawingOptions) -> Chart:
        held = (self.held or {}).get(name)
        if isinstance(held, Chart):
            if asked.colours is not None or asked.background is not None:
                key = "colours" if asked.colours is not None else "background"
                raise ChartError("the colours of this chart are settled", where=name, key=key, hint="leave it out")
            chart = held
        elif held is not None:
            chart = parse_chart(held, name, colours=asked.colours, background=asked.background)
        elif self.folder is not None:
            chart = read_chart(self._file(self.folder, name), colours=asked.colours, background=asked.background)
        else:
            raise ChartError("there is no such chart", where=name, hint=self._hint())
        return arranged(
            chart,
            crop_rows=asked.crop_rows,
            crop_stitches=asked.crop_stitches,
            turns=asked.turn,
            flipped=asked.flip,
            mirrored=asked.mirror,
            enlarged=asked.enlarge,
        )

    def profile(self, name: str) -> Profile:
        """Raises ProfileError."""
        held = (self.held or {}).get(name)
        if isinstance(held, bytes):
            text = decode_text(held, name, ProfileError)
            return parse_profile(text, name=Path(name).stem, file=name)
        if self.folder is None and name not in shipped_profiles():
            raise ProfileError(
                f'no machine profile is called "{name}"', hint="shipped: " + ", ".join(shipped_profiles())
            )
        if self.folder is None or self.require is None or name in shipped_profiles():
            return load_profile(name, beside=self.folder)
        self._file(self.folder, name)
        profile = load_profile(name, beside=self.folder)
        driver = profile.electrical.get("driver")
        if isinstance(driver, str) and driver.endswith(".toml"):
            self._file(self.folder, driver)
        return profile

    def text(self, name: str) -> str:
        """The text of a file beside the piece. Raises InputError."""
        held = (self.held or {}).get(name)
        if isinstance(held, bytes):
            return decode_text(held, name)
        if self.folder is None:
            raise InputError("there is no such file", where=name, hint=self._hint())
        return read_text(self._file(self.folder, name))

    def _file(self, folder: Path, name: str) -> Path:
        path = folder / name
        if self.require is not None:
            self.require(path)
        return path

    def _hint(self) -> str:
        return "there are: " + (", ".join(self.held or {}) or "none")


def load_piece(path: str | Path) -> Piece:
    """Read a piece file and the charts and profile that it names (relative to its own folder).

    Raises PieceError, ProfileError or ChartError naming file, line and key.
    """
    path = Path(path)
    return parse_piece(read_text(path, PieceError), beside=path.parent, name=path.stem, file=str(path))


def parse_piece(
    text: str,
    *,
    beside: Path | Mapping[str, bytes | Chart] | None = None,
    name: str = "piece",
    file: str = "piece file",
) -> Piece:
    """A piece from the text of a piece file.

    beside: the folder of the charts and the profile that it names, or their contents by name.
    name: what the piece is called where the text does not say. file: what complaints call it.
    Raises PieceError, ProfileError or ChartError naming file, line and key.
    """
    at_hand = Beside(held=beside) if isinstance(beside, Mapping) else Beside(folder=beside)
    return piece_in(Table.parse(text, file=file, kind=PieceError), at_hand, name)


def piece_in(table: Table, beside: Beside, default_name: str) -> Piece:
    """The piece in a table, be it of a file or of values given otherwise."""
    name = _text(table, NAME) or default_name
    machine = _text(table, MACHINE)
    profile = table.keyed("machine", lambda: beside.profile(machine))
    needles = _text(table, NEEDLES)
    start = START.read(table, profile)
    shared = table.text("yarns_file", None)
    yarns: dict[str, Yarn] = {}
    swatches: tuple[Swatch, ...] = ()
    if shared is not None:
        text = table.keyed("yarns_file", lambda: beside.text(shared))
        of_many = Table.parse(text, file=shared, kind=PieceError)
        yarns, swatches = _yarns_and_swatches(of_many)
        of_many.finish()
    own_yarns, own_swatches = _yarns_and_swatches(table)
    yarns = own_yarns | {key: yarn for key, yarn in yarns.items() if key not in own_yarns}
    swatches = own_swatches + swatches  # of two that say as much, the piece's own counts
    if table.has("gauge"):
        swatches = (_swatch(table.table("gauge")), *swatches)
    band_tables = table.tables("bands", required=True)
    if not band_tables:
        raise table.complain("bands", "a piece needs at least one band", "add [[bands]]")
    of_all = _Known(profile, beside, yarns, swatches)
    span = None if needles is None else _span(table, needles, of_all)
    bands: list[BandRequest] = []
    tables: list[int] = []
    places = hem_places([kind_of_band(item) for item in band_tables])
    for number, (item, place) in enumerate(zip(band_tables, places, strict=True), 1):
        bands += _bands(item, number, of_all, span, bands, place)
        tables += [number - 1] * (len(bands) - len(tables))
    limits = Limits.read(table.table("limits"))
    table.finish()
    span = span or _widest(profile, bands, table)
    first = bands[0].yarns[0] if bands[0].yarns else None
    swatch = next((item for item in map(_of(swatches, first), bands) if item is not None), None)
    bands = [_scaled(band, swatch, swatches) for band in bands]
    return Piece(
        name,
        profile,
        span,
        start,
        tuple(yarns.values()),
        tuple(bands),
        swatch,
        limits,
        table.file,
        swatches,
        tuple(of_all.told),
        tuple(tables),
        tuple(band_tables[number].where() or table.file for number in tables),
    )


def _scaled(band: BandRequest, of_piece: Swatch | None, swatches: tuple[Swatch, ...]) -> BandRequest:
    """With what its own swatch says beside that of the whole piece."""
    own = swatch_for(swatches, band.yarns[0] if band.yarns else None, band.technique, band.stitch_size)
    if own is not None and own.technique == band.technique.name:
        band = replace(band, measured=True)
    if own is None or of_piece is None or own == of_piece:
        return band
    wide, tall = own.gauge.stitch_mm / of_piece.gauge.stitch_mm, own.gauge.row_mm / of_piece.gauge.row_mm
    return replace(band, scale=(wide, tall))


def _yarns_and_swatches(table: Table) -> tuple[dict[str, Yarn], tuple[Swatch, ...]]:
    """Those that a table tells of, a piece's own or those of a file that many pieces share."""
    yarns_table = table.table("yarns")
    yarns = {key: _yarn(yarns_table.table(key), key) for key in yarns_table.left()}
    return yarns, tuple(_swatch(item, named=True) for item in table.tables("swatches"))


def _text(table: Table, option: Option) -> Any:
    """A text that is read before the machine is known."""
    longest = option.kind.longest if isinstance(option.kind, Name) else 2000
    return table.text(option.name, option.default, longest=longest)


def _widest(profile: Profile, bands: list[BandRequest], table: Table) -> Span:
    widest = max((band.drawing for band in bands if band.drawing is not None), key=_stitches, default=None)
    if widest is None:
        raise table.complain(
            "needles", "without a chart the needles must be named", mends=[Mend("name them", "needles", "L20-R20")]
        )
    try:
        return profile.centred(widest.stitches)
    except InputError as error:
        raise ChartError(error.what, where=table.where("needles") or widest.name, hint=error.hint) from None


def _stitches(chart: Chart) -> int:
    return chart.stitches


def _yarn(table: Table, name: str) -> Yarn:
    count = table.text("count", None)
    yarn = Yarn(
        name=name,
        colour=_colour(table, "colour", "#d8d0c0"),
        tex=None if count is None else table.keyed("count", lambda: tex_of(count)),
        stitch_size=table.number("stitch_size", 0, 30, None),
        loop_length_mm=table.number("loop_length_mm", 1, 100, None),
    )
    table.finish()
    return yarn


def _colour(table: Table, key: str, default: str) -> str:
    text: str = table.text(key, default)
    colour = parse_colour(text)
    if colour is None:
        raise table.complain(key, f'"{text}" is no colour', 'write it as "#2f5d7c", or by its CSS name as "navy"')
    return colour.hex


def _swatch(table: Table, *, named: bool = False) -> Swatch:
    swatch = Swatch(
        stitches=table.number("stitches", 1, 1000),
        rows=table.number("rows", 1, 2000),
        width_mm=table.number("width_mm", 1, 3000),
        height_mm=table.number("height_mm", 1, 3000),
    )
    if named:
        technique = table.choice("technique", tuple(TECHNIQUES), None)
        size = table.number("stitch_size", 0, 30, None)
        swatch = replace(swatch, yarn=table.text("yarn", None), technique=technique, stitch_size=size)
    table.finish()
    return swatch


@dataclass(frozen=True)
class _Known:
    """What is known of a piece before its bands are read. told: what lengths have come to."""

    profile: Profile
    beside: Beside
    yarns: dict[str, Yarn]
    swatches: tuple[Swatch, ...]
    told: list[Length] = field(default_factory=list)

    def measure(self, yarn: Yarn | None, technique: Technique, stitch_size: float | None = None) -> Measure:
        swatch = swatch_for(self.swatches, yarn, technique, stitch_size)
        return Measure(gauge_of(self.profile, [yarn] if yarn is not None else [], swatch), self.told)


def _of(swatches: tuple[Swatch, ...], first: Yarn | None) -> Callable[[BandRequest], Swatch | None]:
    """The swatch of a band, or that of the piece's first yarn where the band names none."""
    return lambda band: swatch_for(swatches, band.yarns[0] if band.yarns else first, band.technique, band.stitch_size)


def _span(table: Table, text: str, known: _Known) -> Span:
    """The needles of the piece: named, or so many centimetres about the centre."""
    if not text.strip()[:1].isdigit():
        return table.keyed("needles", lambda: known.profile.span(text))
    yarn = next(iter(known.yarns.values()), None)
    width = Table({"needles": text})
    table.keyed("needles", lambda: known.measure(yarn, STOCKING).needles(width, "needles"))
    needles = width.whole("needles", 1, 1000)
    return table.keyed("needles", lambda: known.profile.centred(needles))


def _refuse_shaping(table: Table, kind: str) -> None:
    key = next((key for key in table.left() if key in WORK_KEYS), None)
    if key is not None:
        what = f"the band of a {NAMES[kind]} knits plain on all needles"
        raise table.complain(key, what, f"move {key} to a band with a technique, before or after it")


def _bands(
    table: Table, number: int, known: _Known, span: Span | None, before: list[BandRequest], place: HemPlace
) -> tuple[BandRequest, ...]:
    """The bands that one table of [[bands]] comes to: one, or several for a beginning or a hem."""
    kind = kind_of_band(table)
    name = table.text("name", NAMES.get(kind or "", f"band {number}"), longest=200)
    technique = STOCKING if kind else TECHNIQUE.read(table, known.profile)
    chosen = _yarns(table, known.yarns)
    stitch_size, tension = table.number("stitch_size", 0, 30, None), table.text("tension", "", longest=100)
    measure = known.measure(chosen[0] if chosen else None, technique, stitch_size)
    for key in table.left():
        if key in PARTNERS:
            partner(table, key, PARTNERS[key])
    if kind:
        _refuse_shaping(table, kind)
        if span is None:
            raise table.complain(kind, "the needles of the piece must be named", 'add needles = "L20-R20" at the top')
        told = (name, chosen, stitch_size, tension)
        bands = read_special(kind, table, told, before, known.profile, span, measure, place)
        table.finish()
        return bands
    path = table.text("chart", None)
    to_drawing = read_drawing_options(table, known.profile)
    shapes = table.peek("shape")
    neck = isinstance(shapes, list) and any(isinstance(item, dict) and "neck" in item for item in shapes)
    if path is not None and technique.separations:
        asked = Options(separation=table.peek("separation"), backing=table.peek("backing") or "full")
        drawn = table.keyed("chart", lambda: known.beside.chart(path, to_drawing))
        measure.courses = lambda: _courses(known, technique, drawn, asked)
    measure.rows(table, "rows", lambda: _repeat(table, known, path, to_drawing), fours=neck)
    options = read_options(table, known.profile)
    alone = "the ground of every other needle" if options.alternate_needles == "only" else technique.name
    if path is not None and (options.alternate_needles == "only" or not technique.needs_chart):
        error = table.complain("chart", f"{alone} knits without a chart", "leave one of the two out")
        raise error.at(error.where or path)
    works = _works(table, known, span, measure)
    times = table.whole("times", 1, 1000, 1)
    table.finish()
    chart = table.keyed("chart", lambda: known.beside.chart(path, to_drawing)) if path is not None else None
    band = BandRequest(name, technique, options, chart, chosen, works, "fabric", stitch_size, tension)
    return (band,) if times == 1 else tuple(replace(band, name=f"{name} {n}") for n in range(1, times + 1))


def _courses(known: _Known, technique: Technique, chart: Chart, asked: Options) -> int:
    """The courses of the fabric in one row of a band, by its separation; 1 where it has none, or one that cannot be."""
    try:
        return separation_of(BandRequest("", technique, asked), known.profile, chart.colours)[0].courses
    except InputError:  # told when the band is compiled
        return 1


def _repeat(table: Table, known: _Known, path: str | None, to_drawing: DrawingOptions) -> int | None:
    """The rows that a band's chart takes once; None without one."""
    if path is None:
        return None
    rows = table.keyed("chart", lambda: known.beside.chart(path, to_drawing)).rows
    times = table.peek("row_repeat")
    return rows * times if type(times) is int and times > 0 else rows


def _yarns(table: Table, yarns: dict[str, Yarn]) -> tuple[Yarn, ...]:
    chosen = table.texts("yarns", ())
    for yarn in chosen:
        if yarn not in yarns:
            hint = "named under [yarns]: " + (", ".join(yarns) or "none")
            raise table.complain("yarns", f'no yarn is called "{yarn}"', hint)
    return tuple(yarns[yarn] for yarn in chosen)


def _works(table: Table, known: _Known, span: Span | None, measure: Measure) -> tuple[Work, ...]:
    asked = next((key for key in WORK_KEYS if table.has(key)), None)
    if asked is None:
        return ()
    if span is None:
        raise table.complain(asked, "the needles of the piece must be named", 'add needles = "L20-R20" at the top')
    return read_works(table, known.profile, span, measure, known.beside.text)
