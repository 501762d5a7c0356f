"""The page that a teacher gives to a class."""

from __future__ import annotations

import io
from importlib import resources

import pypdf
import pytest
from hypothesis import given, settings
from PIL import Image

import latchline
from latchline.drawing.scene import Picture, Words
from latchline.machine.needles import Span
from latchline.piece.file import load_piece, parse_piece
from latchline.piece.measure import gauge_of
from latchline.piece.model import Piece
from latchline.plan.hand import HAND_KINDS, HandStep, at_hand
from latchline.plan.model import Plan
from latchline.sheet.handout import glossary, make_handout
from latchline.sheet.handout_figures import fabric_and_chart, hand_drawing, signs_used
from latchline.sheet.make import Figure, Listed
from strategies import shaped_plans


def example(name: str) -> Piece:
    with resources.as_file(resources.files("latchline") / "examples") as folder:
        return load_piece(folder / name)


@pytest.mark.parametrize("name", ["net-scarf.toml", "net-cushion.toml", "bench-cushion.toml", "harbour-hat.toml"])
def test_a_simple_piece_goes_on_two_sides(name: str) -> None:
    piece = example(name)
    pdf = pypdf.PdfReader(io.BytesIO(latchline.write_sheet(piece, "pdf", handout=True)))
    assert len(pdf.pages) <= 2
    assert "font-size: 19px" in latchline.write_sheet(piece, "html", handout=True).decode()


def test_it_is_in_large_print_on_paper_too() -> None:
    pdf = pypdf.PdfReader(io.BytesIO(latchline.write_sheet(example("bench-cushion.toml"), "pdf", handout=True)))
    sizes: list[float] = []
    pdf.pages[0].extract_text(visitor_text=lambda text, ctm, tm, font, size: sizes.append(size * tm[0] * ctm[0]))
    assert sorted(sizes)[len(sizes) // 2] >= 12


@pytest.mark.parametrize(
    ("name", "beside"),
    [
        ("bench-cushion.toml", "the chart: read it upwards"),
        ("net-scarf.toml", "signs: read them upwards, as you see the bed"),
        ("ferry-sweater-front.toml", "36.1 cm wide, 34.5 cm tall: 101 stitches, 138 rows"),
    ],
)
def test_it_shows_the_fabric_beside_what_it_is_knitted_from(name: str, beside: str) -> None:
    piece = example(name)
    plan = piece.plan()
    scene = fabric_and_chart(piece, plan, gauge_of(plan.profile, piece.yarns, piece.swatch))
    assert scene is not None
    (picture,) = (item for item in scene.items if isinstance(item, Picture))
    wide, tall = Image.open(io.BytesIO(picture.png)).size
    assert picture.width_mm / picture.height_mm == pytest.approx(wide / tall, rel=0.01)
    assert beside in [item.text for item in scene.items if isinstance(item, Words)]


def test_its_signs_are_told() -> None:
    piece = example("net-scarf.toml")
    assert signs_used(piece) == ["<", ">"]
    told = [block.items for page in make_handout(piece, piece.plan()).pages for block in page.blocks
            if isinstance(block, Listed)]  # fmt: skip
    assert any(line.startswith(">  move the loop one needle to the right") for lines in told for line in lines)
    assert any("work the signs of each row" in line for lines in told for line in lines)


def test_bands_that_are_alike_are_told_once() -> None:
    piece = example("harbour-hat.toml")
    steps = steps_of(piece)
    assert "wedge 1 to wedge 10, 10 times: 22 passes of plain knitting, slate, stitch size 7" in steps
    assert sum("holding position, before row 2 L28-L26; row 4" in line for line in steps) == 1


def steps_of(piece: Piece) -> tuple[str, ...]:
    page = make_handout(piece, piece.plan()).pages[1]
    (steps,) = (block.items for block in page.blocks if isinstance(block, Listed))
    return steps


def test_its_steps_are_the_bands_and_hands_in_order() -> None:
    piece = example("ferry-sweater-front.toml")
    steps = steps_of(piece)
    named = [band.name for band in piece.plan().bands]
    assert [line.split(":")[0] for line in steps if line.split(":")[0] in named] == named
    assert steps[-1].startswith("at the end: thread a cord")


def test_bands_told_as_one_count_the_rows_of_two_colours_and_not_their_passes() -> None:
    text = 'needles = "L4-R4"\nstart = "left"\n[[bands]]\ntechnique = "slip-colours"\nchart = "c.txt"\nrows = 6\ntimes = 2\n'
    text += 'hand = [{ do = "marker", row = 5, needles = "L1" }]\n'
    piece = parse_piece(text, beside={"c.txt": b"##..\n..##\n"})
    said = [line for page in make_handout(piece, piece.plan()).pages for block in page.blocks
            if isinstance(block, Listed) for line in block.items]  # fmt: skip
    assert "before row 5: put in a marker at L1" in said


def test_who_needs_two_transfer_tools_is_not_told_to_have_one() -> None:
    steps = [HandStep(1, "move", 0, 0, 1), HandStep(1, "cross", 2, 5, 2)]
    assert at_hand(steps) == ("two transfer tools",)
    assert at_hand(steps[:1]) == ("a transfer tool",)


def test_what_is_done_on_the_second_bed_is_told_and_not_drawn_as_if_on_the_pattern_bed() -> None:
    text = (
        'machine = "double-180"\nneedles = "L10-R10"\n[[bands]]\ntechnique = "jacquard"\nchart = "one.txt"\nrows = 8\n'
    )
    text += '[[bands]]\nend = "bound-off"\n'
    told = glossary(parse_piece(text, beside={"one.txt": b"..#..#..\n"}).plan())
    assert [block.title for block in told if isinstance(block, Figure)][1:] == ["bind off, on the working chart b"]
    assert isinstance(told[-1], Listed)
    assert told[-1].items == ("d  the second bed's loops onto the pattern bed",)


def test_every_word_that_occurs_has_a_drawing() -> None:
    plan = example("net-scarf.toml").plan()
    titles = [block.title for block in glossary(plan) if isinstance(block, Figure)]
    for kind in {step.kind for step in plan.hand}:
        assert any(title.startswith(HAND_KINDS[kind].title) for title in titles)


@pytest.mark.parametrize("name", sorted(HAND_KINDS))
def test_every_kind_of_hand_step_can_be_drawn(name: str) -> None:
    assert hand_drawing(HAND_KINDS[name]).items


@given(shaped_plans())
@settings(max_examples=10)
def test_any_shaped_piece_has_a_handout(plan: Plan) -> None:
    piece = Piece(plan.name, plan.profile, Span(plan.span.first, plan.span.last), None, (), ())
    assert make_handout(piece, plan).pages
