"""One of something is never said in the plural, wherever a piece is told of."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import as_file, files

import pytest

from latchline.checks.find import findings
from latchline.checks.report import as_text
from latchline.counted import counted, every, plural, times
from latchline.drawing.scene import Scene, Words
from latchline.errors import InputError
from latchline.piece.file import load_piece, parse_piece
from latchline.piece.measure import gauge_of
from latchline.piece.model import Piece
from latchline.plan import listing
from latchline.preview.outline import outline_scene, outline_words
from latchline.sheet.handout import make_handout
from latchline.sheet.make import Figure, Sheet, make_sheet
from latchline.sheet.write import sheet_markdown
from latchline.working_chart.page import chart_scene

PIECES = sorted(item.name for item in files("latchline").joinpath("examples").iterdir() if item.name.endswith(".toml"))
COUNTED = "passes|rows|needles|stitches|colours|loops|places|bands|changes|times|settings|signs|kinds|steps|holes|edges"
WRONG = re.compile(rf"(?<![\d.,:/-])1 (more |plain |even |colour |damaged )?({COUNTED})\b")

SMALL = """
needles = "L2-R2"
machine = "double-180"
[yarns.sand]
[[bands]]
begin = "every-other"
rows = 2
[[bands]]
hem = 1
yarns = ["sand"]
[[bands]]
name = "one row"
technique = "slip"
chart = "c.txt"
rows = 1
yarns = ["sand"]
hand = [
  { do = "move", row = 1, needles = "L1" },
  { do = "hold", row = 1, needles = "L2" },
  { do = "release", row = 2, needles = "L2" },
]
[[bands]]
name = "two"
technique = "tuck"
chart = "c.txt"
shape = [{ by = -1, every = 1, times = 1, side = "left" }]
[[bands]]
name = "motif"
technique = "fair-isle"
chart = "c.txt"
[[bands]]
end = "bound-off"
rows = 1
[limits]
weights_rows = 1
float_needles = 1
tucks_beside = 1
tucks_stacked = 1
held_passes = 1
alike_rows = 1
"""
PLAIN = """
needles = "L1-L1"
[[bands]]
technique = "stocking"
rows = 1
"""
TWO_BEDS = """
needles = "L1-R1"
machine = "double-180"
[[bands]]
technique = "jacquard"
chart = "c.txt"
rows = 1
"""
CHART = {"c.txt": b"#...\n....\n"}


SMALL_ONES = {"small": SMALL, "plain": PLAIN, "two beds": TWO_BEDS}


def piece_of(name: str) -> Piece:
    if name in SMALL_ONES:
        return parse_piece(SMALL_ONES[name], beside=CHART)
    with as_file(files("latchline").joinpath("examples")) as folder:
        return load_piece(folder / name)


def told(piece: Piece) -> Iterator[str]:
    """All that is said of a piece before it is knitted."""
    plan = piece.plan()
    gauge = gauge_of(plan.profile, piece.yarns, piece.swatch)
    yield from as_text(plan, findings(plan, piece.limits), every=True)
    yield from listing.as_text(plan, 1, plan.passes)
    for sheet in (make_sheet(piece, plan), make_handout(piece, plan)):
        yield sheet_markdown(sheet)
        yield from _drawn(sheet)
    yield from (item.text for scene in (chart_scene(plan, gauge, 1, min(plan.passes, 200)), outline_scene(plan, gauge))
                for item in _words(scene))  # fmt: skip
    yield outline_words(plan, gauge)


def _drawn(sheet: Sheet) -> Iterator[str]:
    figures = [block for page in sheet.pages for block in page.blocks if isinstance(block, Figure)]
    yield from (item.text for figure in figures for item in _words(figure.scene))


def _words(scene: Scene) -> list[Words]:
    return [item for item in scene.items if isinstance(item, Words)]


@pytest.mark.parametrize("name", [*PIECES, *SMALL_ONES])
def test_what_is_told_of_a_piece_has_one_pass_and_two_passes(name: str) -> None:
    wrong = [line for line in told(piece_of(name)) if WRONG.search(line)]
    assert not wrong


@pytest.mark.parametrize(
    "shape",
    [
        "{ to = 1, side = 'left' }, { off = [1] }",
        "{ off = [1, 1, 1, 1], side = 'left' }",
        "{ off = [1], from_row = 4 }",
        "{ hold = 4, side = 'left' }",
        "{ hold = 1, steps = 4 }",
        "{ neck = 1 }",
        "{ neck = 2, shoulders = [3] }",
        "{ neck = 3, centre = 2, sides = [1], shoulders = [1] }",
        "{ armhole = 1 }",
        "{ to = 1 }",
    ],
)
def test_a_refusal_counts_as_well(shape: str) -> None:
    head = 'needles = "L2-R2"\n[[bands]]\ntechnique = "stocking"\nrows = 2\n'
    try:
        said = parse_piece(f"{head}shape = [{shape}]\n").plan().name
    except InputError as error:
        said = error.sentence()
    assert not WRONG.search(said)


def test_a_word_is_counted() -> None:
    assert [counted(count, "pass") for count in (0, 1, 2)] == ["0 passes", "1 pass", "2 passes"]
    assert (counted(1.0, "needle"), counted(2.5, "needle")) == ("1 needle", "2.5 needles")
    assert (counted(1, "loop hangs", "loops hang"), counted(1_000_000, "row")) == ("1 loop hangs", "1000000 rows")
    assert [plural(one) for one in ("stitch", "colour", "hole", "pass")] == ["stitches", "colours", "holes", "passes"]
    assert [every(count, "row") for count in (1, 4)] == ["every row", "every 4 rows"]
    assert [times(count) for count in (1, 2, 3)] == ["once", "twice", "3 times"]
