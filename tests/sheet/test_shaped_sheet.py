"""The sheet of a piece that is cast on, shaped and bound off."""

from __future__ import annotations

from importlib.resources import as_file, files
from itertools import combinations

import numpy as np
import pytest

from latchline.drawing.scene import Words
from latchline.fabric.outline import outline, silhouette
from latchline.fabric.yarn_need import yarn_need
from latchline.piece.file import load_piece, parse_piece
from latchline.piece.model import Piece
from latchline.preview.outline import outline_scene, outline_words
from latchline.shaping.gauge import Gauge
from latchline.sheet.make import Facts, Figure, Listed, Page, make_sheet

GAUGE = Gauge(28, 40)
TEXT = """
name = "panel"
needles = "L30-R30"
[yarns.sand]
count = "200 tex"
[gauge]
stitches = 28
rows = 40
width_mm = 100
height_mm = 100
[[bands]]
begin = "waste"
[[bands]]
hem = 10
yarns = ["sand"]
[[bands]]
name = "body"
technique = "stocking"
yarns = ["sand"]
rows = "10 cm"
stitch_size = 8
tension = "a little looser"
shape = [{ to = 40 }]
[[bands]]
end = "bound-off"
"""


@pytest.fixture(scope="module")
def piece() -> Piece:
    return parse_piece(TEXT)


def listed(page: Page, title: str) -> tuple[str, ...]:
    return next((block.items for block in page.blocks if isinstance(block, Listed) and block.title == title), ())


def facts(page: Page) -> dict[str, str]:
    return {label: text for block in page.blocks if isinstance(block, Facts) for label, text in block.rows}


def test_a_hem_counts_once_and_waste_not_at_all(piece: Piece) -> None:
    sheet = make_sheet(piece, piece.plan())
    assert "21.4 × 12.5 cm, 50 rows tall" in facts(sheet.pages[0])["finished size"]
    assert listed(sheet.pages[0], "asked for in centimetres") == ("rows = 10 cm: 40 rows, 10.0 cm",)


def test_the_sheet_says_what_to_have_at_hand_and_what_to_do_in_order(piece: Piece) -> None:
    sheet, plan = make_sheet(piece, piece.plan()), piece.plan()
    assert listed(sheet.pages[0], "have at hand") == ("a cast-on comb and weights", "a transfer tool")
    lines = [line for page in sheet.pages[1:] for line in listed(page, "by hand, in this order")]
    assert [line.split(": ", 1)[1] for line in lines] == [
        line for number in range(1, plan.passes + 2) for line in plan.hand_words(number)
    ]
    assert lines[-1].startswith("after the last pass: bind off the loops of L20-R20")


def test_a_band_tells_its_own_stitch_size_and_tension(piece: Piece) -> None:
    body = next(page for page in make_sheet(piece, piece.plan()).pages if page.title.endswith("body"))
    assert facts(body)["stitch size"] == "8 for this band"
    assert facts(body)["tension"] == "a little looser"
    assert facts(body)["needles"].endswith("at its end L20-R20 in work, 40 of 200")


def test_waste_yarn_is_told_apart(piece: Piece) -> None:
    need = yarn_need(piece.plan(), piece.swatch)
    assert {total.yarn.name: total.waste for total in need.totals} == {
        "waste yarn": True,
        "ravel cord": True,
        "sand": False,
    }


def test_the_outline_has_the_widths_and_rows_of_the_piece(piece: Piece) -> None:
    shape = outline(piece.plan(), GAUGE)
    (edge,) = shape.edges
    assert (shape.width, shape.rows) == (60.0, 50.0)
    assert [corner[:2] for corner in edge[:2]] == [(0.0, 0.0), (60.0, 0.0)]
    assert max(corner.rows for corner in edge) == 50.0
    assert [corner[:2] for corner in edge if corner.rows > 45] == [(51.0, 49.0), (10.0, 50.0)]  # smoothed by one step
    words = outline_words(piece.plan(), GAUGE)
    assert "the hem folded" in words
    assert "row 50, L20" in words
    titles = [block.title for block in make_sheet(piece, piece.plan()).pages[0].blocks if isinstance(block, Figure)]
    assert titles[0] == "the piece, in cm"


def test_a_rectangle_has_four_corners() -> None:
    plan = parse_piece('needles = "L10-R10"\n[[bands]]\ntechnique = "stocking"\nrows = 30\n').plan()
    (edge,) = outline(plan, GAUGE).edges
    assert [corner[:2] for corner in edge] == [(0.0, 0.0), (20.0, 0.0), (20.0, 30.0), (0.0, 30.0)]
    assert outline_scene(plan, GAUGE).items


TWO_GAUGES = """
needles = "L20-R20"
[yarns.thin]
[yarns.thick]
[[swatches]]
yarn = "thin"
stitches = 40
rows = 40
width_mm = 100
height_mm = 100
[[swatches]]
yarn = "thick"
stitches = 20
rows = 20
width_mm = 100
height_mm = 100
[[bands]]
technique = "stocking"
yarns = ["thin"]
rows = "10 cm"
[[bands]]
technique = "stocking"
yarns = ["thick"]
rows = "10 cm"
shape = [{ to = 20 }]
"""


def test_each_band_of_the_outline_goes_by_its_own_gauge_and_its_corners_by_the_row_counter() -> None:
    """Forty stitches are 10 cm wide in the thin yarn and 20 cm in the thick one, forty rows and twenty 10 cm tall."""
    piece = parse_piece(TWO_GAUGES)
    assert piece.swatch is not None
    shape = outline(piece.plan(), piece.swatch.gauge)
    (edge,) = shape.edges
    found = {(at.needles, at.rows): (round(at.across_mm), round(at.up_mm)) for at in edge}
    assert found[0.0, 0.0] == (-50, 0)
    assert found[40.0, 0.0] == (50, 0)
    assert {(-100, 100), (-50, 100)} <= {(round(at.across_mm), round(at.up_mm)) for at in edge if at.rows == 40}
    assert max(at.rows for at in edge) == 60
    assert max(at.up_mm for at in edge) == pytest.approx(200)
    assert piece.swatch.gauge.finished_cm(shape.width, shape.rows) == pytest.approx((20, 20))
    said = outline_words(piece.plan(), piece.swatch.gauge)
    assert said.count("row 40, L20") == 1


def test_a_band_whose_own_technique_was_measured_is_as_tall_as_its_rows_by_that_swatch() -> None:
    text = TWO_GAUGES.replace('yarn = "thick"', 'technique = "tuck"').replace("rows = 20", "rows = 56", 1)
    text = text.replace('yarn = "thin"', 'technique = "stocking"')
    tuck = 'technique = "tuck"\nchart = "net.txt"\nyarns = ["thin"]\nrows = "20 cm"\n'
    text = text[: text.rindex("[[bands]]")] + "[[bands]]\n" + tuck
    piece = parse_piece(text, beside={"net.txt": b"##.#\n.###\n"})
    assert piece.swatch is not None
    assert piece.plan().bands[1].passes == 112
    shape = outline(piece.plan(), piece.swatch.gauge)
    assert piece.swatch.gauge.finished_cm(1, shape.rows)[1] == pytest.approx(30)


def test_a_piece_that_begins_on_every_other_needle_has_a_straight_lower_edge() -> None:
    band = '[[bands]]\nbegin = "every-other"\n[[bands]]\ntechnique = "stocking"\nrows = 10\n'
    (edge,) = outline(parse_piece('needles = "L10-R10"\n' + band).plan(), GAUGE).edges
    assert [corner[:2] for corner in edge] == [(0.0, 0.0), (20.0, 0.0), (20.0, 14.0), (0.0, 14.0)]


def test_corners_have_the_rows_of_the_counter_where_the_height_is_an_estimate() -> None:
    """Tuck is estimated to come out shorter than plain fabric; its rows are counted all the same."""
    text = 'needles = "L10-R10"\n[[bands]]\ntechnique = "tuck"\nchart = "net.txt"\nrows = 30\n'
    plan = parse_piece(
        text + "shape = [{ off = [8], side = 'left', from_row = 11 }]\n", beside={"net.txt": b"#.\n"}
    ).plan()
    shape = outline(plan, GAUGE)
    assert {corner.rows for corner in shape.edges[0]} == {0, 10 + (plan.start == "right"), 30}
    assert shape.knitted == (20, 30)
    assert shape.rows < 25


@pytest.mark.parametrize("name", ["ferry-sweater-front.toml", "harbour-hat.toml", "bench-cushion.toml"])
@pytest.mark.parametrize("room_mm", [(132.0, 150.0), (60.0, 60.0)])
def test_no_words_of_an_outline_touch_others(name: str, room_mm: tuple[float, float]) -> None:
    with as_file(files("latchline").joinpath("examples")) as folder:
        drawn = load_piece(folder / name)
    assert drawn.swatch is not None or name == "harbour-hat.toml"
    gauge = GAUGE if drawn.swatch is None else drawn.swatch.gauge
    words = [item for item in outline_scene(drawn.plan(), gauge, room_mm).items if isinstance(item, Words)]
    for one, other in combinations(words, 2):
        wide = [0.5 * item.size_mm * len(item.text) for item in (one, other)]
        shares = {"start": 0.0, "middle": 0.5, "end": 1.0}
        left = [item.x - shares[item.anchor] * width for item, width in zip((one, other), wide, strict=True)]
        apart = left[0] + wide[0] <= left[1] or left[1] + wide[1] <= left[0]
        assert apart or abs(one.y - other.y) > 2.7


def test_the_silhouette_has_a_cell_for_every_stitch_of_a_neck() -> None:
    band = '[[bands]]\ntechnique = "stocking"\nrows = 40\nshape = [{ neck = 12 }]\n'
    plan = parse_piece('needles = "L20-R20"\n' + band).plan()
    fabric, row = silhouette(plan)
    assert row == 1.0
    working = np.count_nonzero(plan.positions_of() == 1)
    assert np.count_nonzero(fabric) == working
    assert fabric[0].sum() == 40 - 6  # all but the centre of the neck


def test_the_turn_marks_follow_the_needles_that_knit(piece: Piece) -> None:
    # it turns past the needles of both passes that meet: at the left those of the last pass but one
    turns = [facts(page)["turn"] for page in make_sheet(piece, piece.plan()).pages[1:] if "turn" in facts(page)]
    body = "L45 and R45 in its first pass, L36 and R35 in its last, elsewhere on the way: always 15 needles past"
    assert [turn for turn in turns if turn.startswith(body)]


def test_a_band_with_the_levers_of_an_earlier_one_still_says_how_needles_are_held() -> None:
    text = """
needles = "L10-R10"
[[bands]]
name = "plain"
technique = "stocking"
rows = 2
[[bands]]
name = "short rows"
technique = "stocking"
rows = 8
shape = [{ hold = 4, steps = 2, side = "left" }]
"""
    piece = parse_piece(text)
    rows = next(page for page in make_sheet(piece, piece.plan()).pages if page.title.endswith("short rows"))
    assert facts(rows)["levers, yarns"].startswith("as for band 1")
    assert "stay out" in facts(rows)["held needles"]
    assert facts(rows)["needles"] == "L8-R10 in work, 18 of 200, 2 held; at its end L10-R10 in work, 20 of 200"
    when = [line.split(":")[0] for line in listed(rows, "by hand, in this order") if "set the carriage" in line]
    assert when == ["before pass 3", "before pass 7"]


def test_the_needles_in_work_are_counted_not_the_span() -> None:
    piece = parse_piece('needles = "L4-R4"\n[[bands]]\nbegin = "every-other"\nrows = 4\n')
    page = make_sheet(piece, piece.plan()).pages[1]
    assert facts(page)["needles"].startswith("4 of 200 in work, among L4-R3;")
