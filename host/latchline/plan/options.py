"""Every option once: its name, what it accepts, its default, what it does, and where it belongs.

The reader of piece files, the options of the commands and the tables of
`docs/reference/piece-file.md` are made from `OPTIONS`. To add an option, add a field to `Options`
(what a technique makes of a chart) or to `DrawingOptions` (what is done to the drawing before), the
code that obeys it, its line in the reference, which a test words for you, and a test.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

from latchline.errors import InputError
from latchline.tables import Table

if TYPE_CHECKING:
    from latchline.machine.profile import Profile

PASSES_MAX = 1_000_000  # some weeks of knitting; guards against a slip of the finger
DEFAULT_MACHINE = "standard-200"
DEFAULT_TECHNIQUE = "fair-isle"  # of a chart on its own; in a piece file the key must be there
SIDES = ("left", "right")


# ---- kinds of values: how one is written, checked and said ------------------------------------------


class Kind:
    """What an option's value may be; a text, unless a child says otherwise.

    metavar: what stands for the value in a command's help.
    accepted: the accepted values in words, for the reference and for complaints; empty where `says` tells.
    """

    metavar: str
    accepted: str

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        """The value of `key` as the options hold it. Raises the table's complaint."""
        return table.text(key, default)

    def spoken(self, text: str) -> Any:
        """The value of words on a command line, as a piece file would hold it. Raises InputError."""
        return text

    def fits(self, value: Any) -> bool:
        """Whether a value that did not come by `read` may be used."""
        return True


@dataclass(frozen=True)
class Choice(Kind):
    """One of a few words."""

    values: tuple[str, ...]

    @property
    def metavar(self) -> str:  # type: ignore[override]
        return "|".join(self.values)

    @property
    def accepted(self) -> str:  # type: ignore[override]
        return ", ".join(self.values)

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        return table.choice(key, self.values, default)

    def fits(self, value: Any) -> bool:
        return value in self.values


@dataclass(frozen=True)
class Whole(Kind):
    """A whole number between two limits, both included."""

    low: int
    high: int
    metavar: str = "N"

    @property
    def accepted(self) -> str:  # type: ignore[override]
        return f"{self.low} to {self.high}"

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        return table.whole(key, self.low, self.high, default)

    def spoken(self, text: str) -> Any:
        try:
            return int(text)
        except ValueError:
            raise InputError(f'"{text}" is no whole number', hint=f"accepted: {self.accepted}") from None

    def fits(self, value: Any) -> bool:
        return isinstance(value, int) and self.low <= value <= self.high


class Flag(Kind):
    """Yes or no; on a command line the option alone says yes."""

    metavar = ""
    accepted = "true, false"

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        return table.flag(key, default)


@dataclass(frozen=True)
class Pair(Kind):
    """Two whole numbers from 1: a list in a piece file, `1-24` or `2x1` on a command line."""

    what: str
    metavar: str
    between: str  # the characters that may stand between the two on a command line, the usual one first
    example: tuple[int, int]
    alone: bool = False  # whether one number may stand for both

    @property
    def accepted(self) -> str:  # type: ignore[override]
        return f"as [{self.example[0]}, {self.example[1]}]"

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        value = table.raw(key, default)
        if value is default:
            return value
        if (
            not isinstance(value, list | tuple)
            or len(value) != 2
            or not all(type(item) is int and item >= 1 for item in value)
        ):
            raise table.complain(key, "expected two whole numbers from 1", f"as in {key} = {list(self.example)}")
        return (value[0], value[1])

    def spoken(self, text: str) -> Any:
        match = re.fullmatch(rf"\s*([0-9]{{1,9}})\s*(?:[{self.between}]\s*([0-9]{{1,9}})\s*)?", text)
        if match is None or not (match[2] or self.alone):
            example = f"{self.example[0]}{self.between[0]}{self.example[1]}"
            raise InputError(f'"{text}" is no {self.what}', hint=f"write {self.metavar}, as {example}")
        return [int(match[1]), int(match[2] or match[1])]


class Reversal(Kind):
    """`off`, `on` or `every:N`, held as a number: 0, −1 or N."""

    metavar = "off|on|every:N"
    accepted = "off, on, every:N (off for N rows, on for N rows)"

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        text = table.text(key, "off")
        if text in ("off", "on"):
            return 0 if text == "off" else -1
        match = re.fullmatch(r"every:([1-9][0-9]{0,5})", text)
        if match is None:
            raise table.complain(key, f'"{text}" is no reversal', "accepted: off, on, every:N with N rows from 1")
        return int(match[1])


class Needle(Kind):
    """A needle by its name, held as its index from the operator's left."""

    metavar = "NEEDLE"
    accepted = "as L12"

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        name = table.text(key, default)
        return name if name is default else table.keyed(key, lambda: profile.needle_index(name))


@dataclass(frozen=True)
class Name(Kind):
    """A text that names something which is looked up elsewhere."""

    metavar: str = "NAME"
    accepted: str = ""
    longest: int = 2000

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        return table.text(key, default, longest=self.longest)


class TechniqueName(Kind):
    """The name of a technique, held as the technique."""

    metavar = "NAME"

    @property
    def accepted(self) -> str:  # type: ignore[override]
        from latchline.technique.table import TECHNIQUES  # numpy comes with it, which most readers need not wait for

        return ", ".join(TECHNIQUES)

    def read(self, table: Table, key: str, default: Any, profile: Profile) -> Any:
        from latchline.technique.table import technique_named

        name = table.text(key, default)
        return table.keyed(key, lambda: technique_named(name))


class SeparationName(Kind):
    """The name of a colour separation."""

    metavar = "NAME"

    @property
    def accepted(self) -> str:  # type: ignore[override]
        from latchline.technique.separation import SINGLE_BED

        return ", ".join(item.name for item in SINGLE_BED)


# ---- the options ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Option:
    """One option.

    name: the key of a piece file; with hyphens for underscores, the option of a command.
    of: the table that the key stands in, `piece` or `bands`; `drawing` for those of `bands` that are
        done to the drawing.
    says: what it does, one phrase without a full stop.
    default: the value where nothing is said. left_out: what that means, in words.
    spoken: whether the commands have it, too; what needs a piece file is not spoken.
    """

    name: str
    of: str
    kind: Kind
    says: str
    default: Any = None
    left_out: str = ""
    spoken: bool = True

    def read(self, table: Table, profile: Profile) -> Any:
        """The value in `table`, as the options hold it. Raises the table's complaint."""
        return self.kind.read(table, self.name, self.default, profile)


def _option(default: Any, kind: Kind, says: str, left_out: str = "", *, spoken: bool = True) -> Any:
    """A field that is an option; `Option` tells what is what."""
    told = {"kind": kind, "says": says, "left_out": left_out, "spoken": spoken, "default": default}
    return field(default=default, metadata=told)


@dataclass(frozen=True)
class Options:
    """How a technique makes selections of a chart. `None` means the default that technique or chart gives.

    reversal: 0 off, −1 on, N > 0: off for N rows, on for N rows, by turns.
    once_at: index of the leftmost needle under a chart that is placed once; None: it repeats.
    break_floats, catch_floats: needles that a float may pass by; 0 leaves them.
    """

    rows: int | None = _option(None, Whole(1, PASSES_MAX), "rows to knit", "the chart's height × row repeat")
    row_repeat: int = _option(1, Whole(1, 1000), "knit each chart row this many times", "1")
    reversal: int = _option(0, Reversal(), "exchange selected and unselected", "off")
    alternate_needles: str = _option(
        "off",
        Choice(("off", "only", "background", "within")),
        "every other needle, shifted each row: instead of a chart, behind it, or inside it",
        "off",
    )
    shown_side: str | None = _option(
        None,
        Choice(("knit", "purl")),
        "which side of the fabric the chart shows; the knit side is mirrored onto the needles, as you look at the "
        "purl side while knitting",
        "knit for colour work, else purl",
    )
    edge_needles: str | None = _option(
        None,
        Choice(("knit", "contrast", "as-chart")),
        "make the end needles knit (in colour work the main yarn), or knit the contrast yarn, or leave them as charted",
        "knit for tuck and slip, else as-chart",
    )
    start: str | None = _option(
        None,
        Choice(SIDES),
        "say it to have it checked: the side where the carriage must stand before this band",
        "as it comes",
        spoken=False,
    )
    separation: str | None = _option(
        None,
        SeparationName(),
        "how colours are spread over passes",
        "the technique's first that fits",
    )
    changer: str | None = _option(
        None, Choice(("left", "right", "hand")), "where colours are changed", "the machine's changer, else by hand"
    )
    backing: str = _option("full", Choice(("full", "alternate")), "second bed of a jacquard", "full")
    one_way: str = _option(
        "rightward",
        Choice(("leftward", "rightward")),
        "direction in which a one-way technique works its pattern",
        "rightward",
    )
    once_at: int | None = _option(
        None,
        Needle(),
        "knit the chart once, its left end on this needle, background around it",
        "the chart repeats",
    )
    shift: int = _option(0, Whole(-1000, 1000), "move a repeating chart this many needles to the right", "0")
    centred: bool = _option(
        False, Flag(), "centre a repeating chart on the needles, so that both ends cut it alike; then shift", "false"
    )
    mirror_rows: bool = _option(
        False, Flag(), "knit every second row (with its row repeat) as its mirror image", "false"
    )
    break_floats: int = _option(
        0,
        Whole(0, 255),
        "catch floats past more than this many needles by changing the fewest stitches, staggered; 0 leaves them",
        "0",
    )
    catch_floats: int = _option(
        0,
        Whole(0, 255),
        "list where floats past more than this many needles are to be caught by hand, and leave the chart alone; "
        "0 lists none",
        "0",
    )

    def __post_init__(self) -> None:
        _require_fitting(self, BAND_OPTIONS)


@dataclass(frozen=True)
class DrawingOptions:
    """What is done to a drawing before it is knitted, in this order."""

    colours: int | None = _option(None, Whole(2, 16), "reduce to this many colours", "all of them")
    background: str | None = _option(None, Name("COLOUR"), "the colour of unselected stitches", "the lightest")
    crop_rows: tuple[int, int] | None = _option(
        None, Pair("range", "FIRST-LAST", "-", (1, 24), alone=True), "keep these rows; row 1 is the bottom one", "all"
    )
    crop_stitches: tuple[int, int] | None = _option(
        None,
        Pair("range", "FIRST-LAST", "-", (1, 24), alone=True),
        "keep these stitches; stitch 1 is the left one",
        "all",
    )
    turn: int = _option(0, Whole(0, 3), "quarter turns clockwise", "0")
    flip: bool = _option(False, Flag(), "turn the drawing upside down", "false")
    mirror: bool = _option(False, Flag(), "mirror the drawing left to right", "false")
    enlarge: tuple[int, int] = _option(
        (1, 1), Pair("enlargement", "NEEDLESxROWS", "xX×", (2, 1)), "needles and rows for each cell", "1, 1"
    )

    def __post_init__(self) -> None:
        _require_fitting(self, DRAWING_OPTIONS)


def _made_of(kind: type, of: str) -> tuple[Option, ...]:
    return tuple(Option(item.name, of, **item.metadata) for item in fields(kind))


def _require_fitting(held: Any, options: Sequence[Option]) -> None:
    for option in options:
        value = getattr(held, option.name)
        if value != option.default and not option.kind.fits(value):
            raise InputError(f"{value} is out of range", key=option.name, hint=f"accepted: {option.kind.accepted}")


PIECE_OPTIONS = (
    Option("name", "piece", Name(longest=200), "what the piece is called", None, "the file's name", spoken=False),
    Option(
        "machine",
        "piece",
        Name("NAME|FILE"),
        "the machine: a shipped profile's name, or the path of a profile",
        DEFAULT_MACHINE,
        DEFAULT_MACHINE,
    ),
    Option("needles", "piece", Name("SPAN", "as L20-R20"), "needles in work", None, "the chart's width, centred"),
    Option(
        "start",
        "piece",
        Choice(SIDES),
        "side on which the carriage stands before the first pass",
        None,
        "where the first colour separation begins, else right",
    ),
)
TECHNIQUE = Option(
    "technique",
    "bands",
    TechniqueName(),
    "what selected and unselected needles do",
    ...,
    "fair-isle for a chart on its own",
)
BAND_OPTIONS = _made_of(Options, "bands")
DRAWING_OPTIONS = _made_of(DrawingOptions, "drawing")
OPTIONS = (*PIECE_OPTIONS, TECHNIQUE, *BAND_OPTIONS, *DRAWING_OPTIONS)


def spoken_options() -> Iterator[Option]:
    """Those that a command has for a chart on its own; of two with one name, that of the whole piece."""
    return (option for option in OPTIONS if option.spoken)


def read_options(table: Table, profile: Profile) -> Options:
    """The options of a band from its table. Raises the table's complaint, naming the key."""
    return Options(**{option.name: option.read(table, profile) for option in BAND_OPTIONS})


def read_drawing_options(table: Table, profile: Profile) -> DrawingOptions:
    """What is to be done to a band's drawing. Raises the table's complaint, naming the key."""
    return DrawingOptions(**{option.name: option.read(table, profile) for option in DRAWING_OPTIONS})


def parse_range(text: str) -> tuple[int, int] | None:
    """First and last of `3-10`, or of `7` alone; None for anything else. Neither is held against a limit."""
    match = re.fullmatch(r"\s*([0-9]{1,9})\s*(?:-\s*([0-9]{1,9})\s*)?", text)
    return None if match is None else (int(match[1]), int(match[2] or match[1]))
