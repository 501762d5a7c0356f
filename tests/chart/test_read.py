"""Reading charts that are as they should be: every format, the order of colours, text and its legend."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from chart.pictures import grey_png, png, saved
from PIL import Image, ImageDraw

from latchline.chart.model import Chart, Colour
from latchline.chart.read import read_chart

WHITE, CREAM, RED, NAVY = (255, 255, 255), (244, 234, 216), (200, 0, 0), (0, 0, 128)

# top row first, as it is drawn; the bottom row, 2 0 0 0, is the first one knitted
DRAWN = np.array([[0, 1, 1, 0], [1, 0, 0, 1], [2, 0, 0, 0]], np.uint8)
CELLS = [[2, 0, 0, 0], [1, 0, 0, 1], [0, 1, 1, 0]]


Read = Callable[..., Chart]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def read_bytes(data: bytes | str, name: str = "chart", **how: object) -> Chart:
        path = tmp_path / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return read_chart(path, **how)  # type: ignore[arg-type]

    return read_bytes


def picture(*colours: tuple[int, ...], drawn: np.ndarray = DRAWN) -> Image.Image:
    return Image.fromarray(np.array(colours, np.uint8)[drawn])


def palette_picture() -> Image.Image:
    paletted = Image.fromarray(DRAWN).convert("P")
    paletted.putpalette([value for colour in (CREAM, NAVY, RED) for value in colour])
    return paletted


def hexes(chart: Chart) -> list[str]:
    return [colour.hex for colour in chart.palette]


@pytest.mark.parametrize("kind", ["PNG", "BMP", "GIF", "PPM"])
@pytest.mark.parametrize("form", ["RGB", "P"])
def test_a_picture_is_read_alike_from_every_format_with_its_bottom_row_first(read: Read, kind: str, form: str) -> None:
    drawn = picture(CREAM, NAVY, RED) if form == "RGB" else palette_picture()
    chart = read(saved(drawn.convert("RGB") if kind == "PPM" else drawn, kind))
    assert chart.cells.tolist() == CELLS
    assert hexes(chart) == ["#f4ead8", "#000080", "#c80000"]


def test_grey_pictures_are_read_in_eight_and_sixteen_bits_and_in_one(read: Read) -> None:
    greys = np.array([255, 0, 128], np.uint8)[DRAWN]
    assert read(grey_png(greys)).cells.tolist() == CELLS
    wide = read(saved(Image.fromarray(greys.astype(np.uint16) * 257), "PNG"))
    assert wide.cells.tolist() == CELLS
    assert hexes(wide) == ["#ffffff", "#000000", "#808080"]
    assert read(png(4, 1, b"\0\x60", depth=1)).cells.tolist() == [[1, 0, 0, 1]]


def test_an_interlaced_picture_is_read_like_any_other(read: Read) -> None:
    # what the seven passes hold of a 4 × 3 picture (PNG specification, section 8.2); passes 2 and 3 hold nothing
    passes = ([0], [2], [20, 22], [1, 3], [21, 23], [10, 11, 12, 13])
    chart = read(png(4, 3, b"".join(b"\0" + bytes(part) for part in passes), interlace=1))
    shades = [[chart.palette[cell].red for cell in row] for row in chart.cells[::-1]]
    assert shades == [[0, 1, 2, 3], [10, 11, 12, 13], [20, 21, 22, 23]]


def test_of_a_moving_picture_the_first_frame_is_knitted(read: Read) -> None:
    first, second = picture(CREAM, NAVY, RED), picture(NAVY, CREAM, RED)
    chart = read(saved(first, "GIF", save_all=True, append_images=[second]))
    assert chart.cells.tolist() == CELLS


@pytest.mark.parametrize("form", ["RGBA", "LA", "P"])
def test_what_is_transparent_is_background(read: Read, form: str) -> None:
    if form == "P":
        data = saved(palette_picture(), "PNG", transparency=0)
    elif form == "RGBA":
        data = saved(picture((*NAVY, 0), (*NAVY, 255), (*RED, 255)), "PNG")
    else:
        data = saved(picture((0, 0), (0, 255), (99, 200)), "PNG")
    assert read(data).cells.tolist() == CELLS
    assert hexes(read(data))[0] == "#ffffff"
    assert hexes(read(data, background="#f4ead8"))[0] == "#f4ead8"
    assert read(data, background="#f4ead8").cells.tolist() == CELLS


def test_half_transparent_cells_count_as_drawn_from_the_middle_up(read: Read) -> None:
    chart = read(saved(picture((*NAVY, 127), (*NAVY, 128), drawn=np.array([[0, 1]], np.uint8)), "PNG"))
    assert chart.cells.tolist() == [[0, 1]]


@pytest.mark.parametrize(
    "data",
    [
        "P1\n# drawn by hand\n4 3\n0110\n1 0 0 1\n1000\n",
        b"P4\n4 3\n" + bytes([0b01100000, 0b10010000, 0b10000000]),
        "#define c_width 4\n#define c_height 3\nstatic unsigned char c_bits[] = {\n 0x06, 0x09, 0x01 };\n",
        "/* X10 */ #define c_width 4\n#define c_height 3\nstatic short c_bits[] = { 0x0006, 011, 1 };\n",
    ],
    ids=["P1", "P4", "XBM", "X10 bitmap"],
)
def test_in_a_bitmap_ink_is_selected(read: Read, data: bytes | str) -> None:
    chart = read(data)
    assert chart.cells.tolist() == [[1, 0, 0, 0], [1, 0, 0, 1], [0, 1, 1, 0]]
    assert hexes(chart) == ["#ffffff", "#000000"]


def test_a_bitmap_of_ink_alone_is_not_taken_for_background(read: Read) -> None:
    assert read("P1 2 1 1 1").cells.tolist() == [[1, 1]]
    assert read("P1 2 1 1 0", background="black").cells.tolist() == [[0, 1]]


@pytest.mark.parametrize("data", ["P2 2 1 15 15 3", b"P5 2 1 255\n\xff\x33", "P2 2 1 1000 1000 200"])
def test_greymaps_are_read_in_text_and_in_bytes(read: Read, data: bytes | str) -> None:
    assert hexes(read(data)) == ["#ffffff", "#333333"]


def test_what_a_file_holds_counts_for_more_than_its_name(read: Read) -> None:
    assert read(saved(picture(CREAM, NAVY, RED), "PNG"), "chart.gif").cells.tolist() == CELLS
    assert read("P1 2 1 1 0", "chart.txt").cells.tolist() == [[1, 0]]
    assert read("0,1\n1,0\n", "chart.drawing").cells.tolist() == [[1, 0], [0, 1]]
    assert read("x,x\n,x,\n", "chart.txt").stitches == 3


def test_the_lightest_colour_is_background_and_the_others_go_from_dark_to_light(read: Read) -> None:
    drawn = np.array([[0, 0, 0, 0, 1, 1, 2, 3]], np.uint8)
    chart = read(saved(picture(RED, CREAM, WHITE, NAVY, drawn=drawn), "PNG"))
    assert hexes(chart) == ["#ffffff", "#000080", "#c80000", "#f4ead8"]
    assert chart.cells.tolist() == [[2, 2, 2, 2, 3, 3, 0, 1]]


def test_mending_a_few_stitches_does_not_make_the_colours_change_places(read: Read) -> None:
    drawn = np.array([[0, 1, 1, 1, 1, 2]], np.uint8)
    mended = np.array([[0, 1, 2, 2, 2, 2]], np.uint8)
    colours = (CREAM, NAVY, RED)
    palettes = [hexes(read(saved(picture(*colours, drawn=cells), "PNG"))) for cells in (drawn, mended)]
    assert palettes[0] == palettes[1]


@pytest.mark.parametrize("wanted", ["#000080", "navy", " Navy ", "#000080".upper()])
def test_the_background_can_be_named(read: Read, wanted: str) -> None:
    chart = read(saved(picture(CREAM, NAVY, RED), "PNG"), background=wanted)
    assert hexes(chart) == ["#000080", "#c80000", "#f4ead8"]
    assert chart.cells.tolist() == [[1, 2, 2, 2], [0, 2, 2, 0], [2, 0, 0, 2]]


def test_sixteen_colours_are_read_as_they_are(read: Read) -> None:
    assert read(grey_png(np.arange(16, dtype=np.uint8)[None])).colours == 16


def test_a_blurred_drawing_reduced_to_its_colours_is_the_sharp_drawing(read: Read) -> None:
    sharp = Image.new("RGB", (240, 240), CREAM)
    ImageDraw.Draw(sharp).rectangle((60, 60, 179, 179), fill=NAVY)
    blurred = sharp.resize((43, 43), Image.Resampling.BILINEAR)
    chart = read(saved(blurred, "PNG"), colours=2)
    assert hexes(chart) == ["#f4ead8", "#000080"]
    filled = chart.cells.any(axis=0).sum(), chart.cells.any(axis=1).sum()
    assert filled[0] == filled[1]
    assert 20 <= filled[0] <= 23
    assert read(saved(blurred, "PNG"), colours=2, background="midnightblue").palette[0].hex == "#000080"


def test_reduction_gives_the_same_chart_every_time_and_never_more_colours_than_asked(read: Read) -> None:
    noise = np.random.default_rng(5).integers(0, 256, (40, 40, 3)).astype(np.uint8)
    data = saved(Image.fromarray(noise), "PNG")
    for colours in range(2, 17):
        one, other = read(data, colours=colours), read(data, colours=colours)
        assert one.palette == other.palette
        assert np.array_equal(one.cells, other.cells)
        assert 2 <= one.colours <= colours
        assert len(one.palette) == one.colours


TEXT = ".xx.\nx..x\no...\n"


def test_a_text_chart_is_read_from_its_last_line_up(read: Read) -> None:
    chart = read(TEXT, "waves.txt")
    assert chart.cells.tolist() == CELLS
    assert len(chart.palette) == 3
    assert len({colour.hex for colour in chart.palette}) == 3


@pytest.mark.parametrize(
    "text", ["\n\n" + TEXT + "\n\n", TEXT.replace("\n", "\r\n"), "\ufeff" + TEXT, TEXT.rstrip("\n")]
)
def test_empty_lines_line_ends_and_byte_order_marks_do_not_matter(read: Read, text: str) -> None:
    assert read(text, "waves.txt").cells.tolist() == CELLS


def test_space_point_dash_underline_and_nought_are_background(read: Read) -> None:
    assert read("x .-_0\n .-_0x\n").cells.tolist() == [[0, 0, 0, 0, 0, 1], [1, 0, 0, 0, 0, 0]]


def test_a_row_of_spaces_is_a_row_of_background(read: Read) -> None:
    assert read("   \nx x\n   \n").cells.tolist() == [[0, 0, 0], [1, 0, 1], [0, 0, 0]]


def test_other_characters_are_colours_in_the_order_in_which_they_are_read(read: Read) -> None:
    assert read("bxa\nxb.\n").cells.tolist() == [[2, 1, 0], [1, 2, 3]]


def test_digits_alone_are_the_numbers_of_the_colours(read: Read) -> None:
    chart = read("310\n0.3\n")
    assert chart.cells.tolist() == [[0, 0, 3], [3, 1, 0]]
    assert len(chart.palette) == 4


LEGEND = """
= =#
#. =

Legend:
. = sail cloth #f4ead8
  = sail cloth #f4ead8
= = navy
# = buoy #c80000
"""


def test_a_legend_names_the_colours_and_its_first_line_is_background(read: Read) -> None:
    chart = read(LEGEND, "signal.txt")
    assert chart.palette == (Colour(*CREAM, "sail cloth"), Colour(*NAVY, "navy"), Colour(*RED, "buoy"))
    assert chart.cells.tolist() == [[2, 0, 0, 1], [1, 0, 1, 2]]


@pytest.mark.parametrize("wanted", ["buoy", "Buoy", "#c80000"])
def test_a_name_of_the_legend_can_be_made_the_background(read: Read, wanted: str) -> None:
    chart = read(LEGEND, "signal.txt", background=wanted)
    assert [colour.name for colour in chart.palette] == ["buoy", "sail cloth", "navy"]
    assert chart.cells.tolist() == [[0, 1, 1, 2], [2, 1, 2, 0]]


def test_a_legend_name_that_is_no_css_colour_is_still_a_name(read: Read) -> None:
    chart = read("ab\nlegend:\na = main\nb = contrast\n")
    assert [colour.name for colour in chart.palette] == ["main", "contrast"]
    assert chart.palette[0].hex != chart.palette[1].hex


def test_a_text_chart_with_more_colours_than_wanted_is_reduced_and_keeps_its_names(read: Read) -> None:
    text = "aaab\nccca\nlegend:\na = cream #f4ead8\nb = ink #000040\nc = navy #000080\n"
    chart = read(text, colours=2)
    assert [chart.palette[number].name for number in np.unique(chart.cells)] == ["cream", "navy"]
    assert chart.cells.tolist() == [[2, 2, 2, 0], [0, 0, 0, 2]], "numbers are those of the legend"


def test_a_drawing_of_letters_without_a_background_sign_has_just_those_colours(read: Read) -> None:
    chart = read("xoo\noxx\n")
    assert chart.cells.tolist() == [[1, 0, 0], [0, 1, 1]]
    assert len(chart.palette) == 2
    assert read("xo.\n").cells.tolist() == [[1, 2, 0]]
    assert read("12\n").cells.tolist() == [[1, 2]], "a digit is its colour's number"
    assert read("xxx\n").cells.tolist() == [[1, 1, 1]], "one sign alone marks what is selected"


@pytest.mark.parametrize(
    "text", ["0,1,1,0\n1,0,0,1\n2,0,0,0\n", ";1;1;\n1;;;1\n2;;;\n", '"0"\t1\t1\t0\n1\t0\t0\t1\n2\t0\t0\t0']
)
def test_a_table_of_numbers_is_a_chart(read: Read, text: str) -> None:
    assert read(text, "waves.csv").cells.tolist() == CELLS


def test_a_table_of_names_and_hex_numbers_is_a_chart(read: Read) -> None:
    chart = read("white,Navy,navy,\n#000080,,,navy\n#c80000,,,\n", "waves.csv")
    assert chart.cells.tolist() == CELLS
    assert chart.palette == (Colour(*WHITE, "white"), Colour(*NAVY, "navy"), Colour(*RED))


def test_empty_cells_of_a_table_take_the_background_that_was_asked_for(read: Read) -> None:
    chart = read("white,,navy\n", "waves.csv", background="#f4ead8")
    assert hexes(chart) == ["#f4ead8", "#000080", "#ffffff"]
    assert chart.cells.tolist() == [[2, 0, 1]]


def test_the_chart_remembers_its_file(read: Read) -> None:
    assert read(TEXT, "waves.txt").name.endswith("waves.txt")
