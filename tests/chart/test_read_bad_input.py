"""Drawings that cannot be read: each gets one sentence with the file, the place and the way out."""

from __future__ import annotations

import errno
import os
import struct
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from chart.pictures import grey_png, png, png_part, saved
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from latchline.chart.bounds import BYTES_MAX, STITCHES_MAX
from latchline.chart.read import read_chart
from latchline.errors import ChartError
from strategies import damaged

DRAWN = np.array([[0, 255, 255, 0], [255, 0, 0, 255], [0, 0, 0, 255]], np.uint8)
PNG = grey_png(DRAWN)
GIF = saved(Image.fromarray(DRAWN), "GIF")
# a GIF that says it is whole after 2 of its 16 cells: codes clear, 1, 1, end in 3 bits each, low bits first
EARLY_GIF = (
    b"GIF89a"
    + struct.pack("<HHBBB", 4, 4, 0x80, 0, 0)
    + b"\xff\xff\xff\0\0\0"
    + b","
    + struct.pack("<HHHHB", 0, 0, 4, 4, 0)
    + b"\x02\x02"
    + (4 | 1 << 3 | 1 << 6 | 5 << 9).to_bytes(2, "little")
    + b"\0;"
)
BMP = saved(Image.fromarray(DRAWN), "BMP")
XBM = b"#define c_width 9\n#define c_height 2\nstatic char c_bits[] = { 1, 1, 0x10, 0 };\n"
AGAIN = "; save or fetch the drawing again."
TOO_LARGE = (
    " is too large (at most 4096 stitches, 20000 rows and 4000000 cells in all); "
    "scale the drawing to one cell a stitch, or cut it into bands."
)
NOTHING = " has nothing to knit; a chart needs at least one stitch and one row."
LEGEND_HINT = '; write it as "x = navy #1f3a5f", "x = navy" or "x = #1f3a5f".'


def complaint(folder: Path, name: str, data: bytes, **how: object) -> str:
    """What is said of a file, after its folder."""
    path = folder / name
    path.write_bytes(data)
    with pytest.raises(ChartError) as caught:
        read_chart(path, **how)  # type: ignore[arg-type]
    assert caught.value.exit_status == 2
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert sentence.startswith(str(path))
    return sentence.removeprefix(f"{folder}{os.sep}")


PICTURES = {
    "empty.png": (b"", "empty.png: the file is empty" + AGAIN),
    "cut-in-header.png": (PNG[:20], "cut-in-header.png: the picture has no whole header" + AGAIN),
    "cut-in-data.png": (PNG[:50], "cut-in-data.png: the picture is cut short" + AGAIN),
    "cut-before-end.png": (PNG[:-12], "cut-before-end.png: the picture is cut short" + AGAIN),
    "changed.png": (
        PNG.replace(b"IHDR\0\0\0\4", b"IHDR\0\0\0\3"),
        "changed.png: the checksum of the IHDR part is wrong" + AGAIN,
    ),
    "too-few-rows.png": (
        png(4, 10, b"\0abcd" * 5),
        "too-few-rows.png: the header says 4 × 10, but the picture holds fewer stitches than that" + AGAIN,
    ),
    "too-many-rows.png": (
        png(4, 2, b"\0abcd" * 5),
        "too-many-rows.png: the header says 4 × 2, but the picture holds more stitches than that" + AGAIN,
    ),
    "headless.png": (
        PNG[:8] + png_part(b"IDAT", b"\0" * 20) + png_part(b"IEND", b""),
        "headless.png: the picture has no whole header" + AGAIN,
    ),
    "not-packed.png": (
        PNG[:33] + png_part(b"IDAT", b"no zlib") + png_part(b"IEND", b""),
        "not-packed.png: the compressed part of the picture is damaged" + AGAIN,
    ),
    "no-width.png": (png(0, 5, b""), "no-width.png: a chart of 0 stitches × 5 rows" + NOTHING),
    "no-height.png": (png(5, 0, b""), "no-height.png: a chart of 5 stitches × 0 rows" + NOTHING),
    "no-width.pbm": (b"P1\n0 5\n", "no-width.pbm: a chart of 0 stitches × 5 rows" + NOTHING),
    "no-height.gif": (
        GIF[:8] + b"\0\0" + GIF[10:],
        "no-height.gif: a chart of 4 stitches × 0 rows" + NOTHING,
    ),
    "no-height.xbm": (
        XBM.replace(b"height 2", b"height 0"),
        "no-height.xbm: a chart of 9 stitches × 0 rows" + NOTHING,
    ),
    "vast.png": (png(60000, 60000, b""), "vast.png: a chart of 60000 stitches × 60000 rows" + TOO_LARGE),
    "vast.pbm": (b"P4 60000 60000 ", "vast.pbm: a chart of 60000 stitches × 60000 rows" + TOO_LARGE),
    "vast.gif": (
        GIF[:6] + b"\xff\xff\xff\xff" + GIF[10:],
        "vast.gif: a chart of 65535 stitches × 65535 rows" + TOO_LARGE,
    ),
    "vast.bmp": (
        BMP[:18] + struct.pack("<ii", 50000, -50000) + BMP[26:],
        "vast.bmp: a chart of 50000 stitches × 50000 rows" + TOO_LARGE,
    ),
    "vast.xbm": (
        XBM.replace(b"width 9", b"width 999999999"),
        "vast.xbm: a chart of 999999999 stitches × 2 rows" + TOO_LARGE,
    ),
    "cut.gif": (GIF[:-4], None),
    "early-end.gif": (EARLY_GIF, None),
    "cut-in-header.gif": (GIF[:8], "cut-in-header.gif: the picture has no whole header" + AGAIN),
    "cut.bmp": (BMP[:-4], None),
    "cut.pgm": (b"P5 10 10 255 abc", None),
    "cut-in-header.pbm": (b"P4 12", "cut-in-header.pbm: the picture has no whole header" + AGAIN),
    "cut-in-text.pbm": (
        b"P1 4 4 1 0 1",
        "cut-in-text.pbm: the picture is damaged (not enough image data)" + AGAIN,
    ),
    "no-bit.pbm": (
        b"P1 2 2 1 0 7 1",
        "no-bit.pbm: the picture is damaged (Invalid token for this mode: 7)" + AGAIN,
    ),
    "cut.xbm": (XBM[:60], "cut.xbm: the bitmap is cut short" + AGAIN),
    "cut-in-numbers.xbm": (XBM[:-10], "cut-in-numbers.xbm: the bitmap is cut short" + AGAIN),
    "one-size.xbm": (
        XBM.replace(b"#define c_height 2\n", b""),
        "one-size.xbm: the bitmap does not say its height" + AGAIN,
    ),
    "too-few.xbm": (
        XBM.replace(b", 0 }", b" }"),
        "too-few.xbm: the header says 9 × 2, which takes 4 numbers, but the bitmap holds 3" + AGAIN,
    ),
    "no-number.xbm": (
        XBM.replace(b"0x10", b"zero"),
        'no-number.xbm: number 3 of the bitmap, "zero", is not one of 0 to 255' + AGAIN,
    ),
    "high-number.xbm": (
        XBM.replace(b"0x10", b"0x100"),
        'high-number.xbm: number 3 of the bitmap, "0x100", is not one of 0 to 255' + AGAIN,
    ),
    "page.png": (
        b"<!doctype html>\n<p>not found\n",
        "page.png: the file is named .png but holds no PNG picture; save or fetch it again, or name a text chart .txt.",
    ),
    "photo.jpg": (
        b"\xff\xd8\xff\xe0..JFIF",
        "photo.jpg: this is a JPEG picture, whose colours are blurred; save the drawing as PNG.",
    ),
    "drawing.svg": (b"<svg xmlns=", "drawing.svg: this is an SVG drawing; save the drawing as PNG."),
}


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_that_cannot_be_knitted_gets_one_sentence(tmp_path: Path, name: str) -> None:
    data, sentence = PICTURES[name]
    said = complaint(tmp_path, name, data)
    if sentence is None:  # the middle is Pillow's own wording, which may change with its version
        assert said.startswith(f"{name}: the picture is damaged (")
        assert said.endswith(")" + AGAIN)
    else:
        assert said == sentence


TEXTS: dict[str, tuple[str | bytes, str]] = {
    "short.txt": (
        "x.x\n.x\n...\n",
        "short.txt, line 2, column 3: this line has 2 stitches where the widest has 3; "
        'fill it up; "." for background does not get lost at the end of a line as a space does.',
    ),
    "gap.txt": (
        "\nx.x\n\n...\n",
        "gap.txt, line 3, column 1: this line has 0 stitches where the widest has 3; "
        'fill it up; "." for background does not get lost at the end of a line as a space does.',
    ),
    "tab.txt": (
        "x..\nx\t.\n",
        "tab.txt, line 2, column 2: a tab is no stitch; write one visible character or a space for each stitch.",
    ),
    "bell.txt": (
        "x\a.\n",
        "bell.txt, line 1, column 2: character U+0007 is no stitch; "
        "write one visible character or a space for each stitch.",
    ),
    "blank.txt": ("\n\n", "blank.txt: there is no drawing in this file; write one character a stitch."),
    "legend-alone.txt": (
        "legend:\nx = navy\n",
        "legend-alone.txt: there is no drawing in this file; write one character a stitch.",
    ),
    "latin.txt": (
        b"x.x\n.\xe9.\n",
        "latin.txt, line 2: this is neither a picture that can be read nor text in UTF-8; "
        "save a picture as PNG, or text as UTF-8.",
    ),
    "many.txt": (
        "abcdefgh\nijklmnop\n",
        "many.txt, line 2, column 8: the drawing has 16 different characters besides background and a chart "
        'takes 15 at most; "p" is one too many; use fewer characters, or give several the same colour in a legend.',
    ),
    "stranger.txt": (
        "x.x\n.y.\nlegend:\n. = white\nx = navy\n",
        'stranger.txt, line 2, column 2: "y" does not stand in the legend; '
        'the legend has . x; add "y = …" or mend the drawing.',
    ),
    "no-legend.txt": (
        "x.\nlegend:\n\n",
        'no-legend.txt: the legend is empty; write lines such as "x = navy #1f3a5f" under it, or leave it out.',
    ),
    "no-mark.txt": ("x.\nlegend:\nnavy\n", "no-mark.txt, line 3: this is no line of a legend" + LEGEND_HINT),
    "no-colour.txt": (
        "x.\nlegend:\nx =\n",
        "no-colour.txt, line 3: this is no line of a legend" + LEGEND_HINT,
    ),
    "no-hex.txt": ("x.\nlegend:\nx = navy #12\n", 'no-hex.txt, line 3: "#12" is no colour' + LEGEND_HINT),
    "long-line.txt": (
        "x.\nlegend:\nx = " + " " * 100_000 + "x\n",
        "long-line.txt, line 3: a line of a legend has 120 characters at most" + LEGEND_HINT,
    ),
    "twice.txt": (
        "x.\nlegend:\n. = white\nx = navy\nx = red\n",
        'twice.txt, line 5: "x" stands in the legend twice; take one of the two out.',
    ),
    "clash.txt": (
        "x.\nlegend:\n. = sea #ffffff\nx = sea #000080\n",
        'clash.txt, line 4: "sea" is #ffffff further up and #000080 here; give one name one colour.',
    ),
    "long-legend.txt": (
        "x.\nlegend:\n" + "".join(f"{chr(97 + n)} = #0000{n:02x}\n" for n in range(17)),
        "long-legend.txt, line 19: the legend has more than 16 colours; let some share a colour.",
    ),
    "short.csv": (
        "0,1,1\n\n0,1\n",
        "short.csv, line 3: this line has 2 cells where the widest has 3; "
        "fill it up; an empty cell between separators is background.",
    ),
    "high.csv": (
        "0,1\n1,16\n",
        'high.csv, line 2, cell 2: "16" is too high for the number of a colour; '
        "number them from 0, the background, to 15.",
    ),
    "long-number.csv": (
        "0,1\n" + "9" * 6000 + ",1\n",
        'long-number.csv, line 2, cell 1: "999999999999" is too high for the number of a colour; '
        "number them from 0, the background, to 15.",
    ),
    "name.csv": (
        "navy,white\nwhite,nawy\n",
        'name.csv, line 2, cell 2: "nawy" is no colour; '
        "write #rrggbb or a CSS colour name, or numbers from 0 to 15 throughout.",
    ),
    "mixed.csv": (
        "navy,1\n",
        'mixed.csv, line 1, cell 2: "1" is no colour; '
        "write #rrggbb or a CSS colour name, or numbers from 0 to 15 throughout.",
    ),
    "blank.csv": ("\n \n", "blank.csv: there is no drawing in this file; write one cell a stitch."),
    "quote.csv": (
        '0,1\n"0,1\n',
        "quote.csv, line 2: this line is not CSV (unexpected end of data); save it again as CSV.",
    ),
    "wide.csv": ("," * STITCHES_MAX + "\n", "wide.csv: a chart of 4097 stitches × 1 row" + TOO_LARGE),
    "wide.txt": ("." * 4097 + "\n", "wide.txt: a chart of 4097 stitches × 1 row" + TOO_LARGE),
    "tall.txt": (".\n" * 20001, "tall.txt: a chart of 1 stitch × 20001 rows" + TOO_LARGE),
}


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_or_table_that_cannot_be_knitted_gets_one_sentence_with_its_line(tmp_path: Path, name: str) -> None:
    text, sentence = TEXTS[name]
    assert complaint(tmp_path, name, text if isinstance(text, bytes) else text.encode()) == sentence


SEVENTEEN = grey_png(np.array([[*range(0, 160, 10), 155]], np.uint8))


def test_seventeen_colours_are_counted_and_the_nearest_two_and_the_way_out_named(tmp_path: Path) -> None:
    assert complaint(tmp_path, "rainbow.png", SEVENTEEN) == (
        "rainbow.png: the drawing has 17 colours and a chart takes 16 at most; "
        "the nearest two are #969696 and #9b9b9b; draw with fewer, or reduce them with colours = 16."
    )
    assert read_chart(tmp_path / "rainbow.png", colours=16).colours <= 16


@pytest.mark.parametrize("colours", [-1, 0, 1, 17])
@pytest.mark.parametrize(("name", "data"), [("c.png", PNG), ("c.txt", b"x."), ("c.csv", b"0,1")])
def test_a_number_of_colours_that_no_chart_can_have_is_refused(
    tmp_path: Path, colours: int, name: str, data: bytes
) -> None:
    said = complaint(tmp_path, name, data, colours=colours)
    reduced = f"{colours} colour" if colours == 1 else f"{colours} colours"
    assert said == f"{name}: a chart cannot be reduced to {reduced}; ask for 2 to 16."


@pytest.mark.parametrize(
    ("name", "data", "background", "sentence"),
    [
        (
            "c.png",
            PNG,
            "#123456",
            'no stitch has the background colour "#123456"; there are #000000, #ffffff.',
        ),
        ("c.txt", b"xo\nlegend:\nx = navy\no = buoy #c80000", "red", None),
        ("c.csv", b"white,navy", "crem", None),
        (
            "c.png",
            PNG,
            "crem",
            '"crem" is no colour that can be looked for in this drawing; '
            "write #rrggbb or a CSS colour name, as #f4ead8 or navy.",
        ),
    ],
)
def test_a_background_that_is_not_in_the_drawing_is_named_with_what_there_is(
    tmp_path: Path, name: str, data: bytes, background: str, sentence: str | None
) -> None:
    said = complaint(tmp_path, name, data, background=background)
    assert f'"{background}"' in said
    if sentence is not None:
        assert said == f"{name}: {sentence}"


def test_a_file_over_the_bound_is_refused_without_being_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "huge.txt"
    with path.open("wb") as file:
        file.truncate(40 * BYTES_MAX)
    tracemalloc.start()
    try:
        with pytest.raises(ChartError, match="larger than 8 MiB"):
            read_chart(path)
        assert tracemalloc.get_traced_memory()[1] < 4 * BYTES_MAX
    finally:
        tracemalloc.stop()


def test_a_small_file_that_unpacks_to_fifty_megabytes_is_refused_without_unpacking_them(
    tmp_path: Path,
) -> None:
    bomb = png(4, 2, b"\0" * 50_000_000)
    assert len(bomb) < 100_000
    tracemalloc.start()
    try:
        said = complaint(tmp_path, "bomb.png", bomb)
        assert tracemalloc.get_traced_memory()[1] < 2 * BYTES_MAX
    finally:
        tracemalloc.stop()
    assert said == "bomb.png: the header says 4 × 2, but the picture holds more stitches than that" + AGAIN


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    missing = tmp_path / "missing.png"
    with pytest.raises(ChartError) as caught:
        read_chart(missing)
    assert str(caught.value) == f"{missing}: there is no such file; check the name and the folder."
    with pytest.raises(ChartError, match="this is a folder, not a file"):
        read_chart(tmp_path)
    with pytest.raises(ChartError, match="this is no name of a file"):
        read_chart("a\0b.png")


@pytest.mark.skipif(sys.platform == "win32", reason="errors of files are spelled otherwise there")
def test_a_file_that_may_not_be_opened_or_cannot_be_read_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "chart.png"
    path.write_bytes(PNG)
    for number, words in ((errno.EACCES, "may not be opened"), (errno.EIO, "cannot be used")):

        def refuse(*_: object, number: int = number) -> None:
            raise OSError(number, os.strerror(number))

        monkeypatch.setattr("builtins.open", refuse)
        with pytest.raises(ChartError, match=words):
            read_chart(path)
        monkeypatch.undo()


def test_no_flipped_bit_of_a_png_goes_unnoticed(tmp_path: Path) -> None:
    path = tmp_path / "chart.png"
    for place in range(8, len(PNG)):
        for bit in range(8):
            altered = bytearray(PNG)
            altered[place] ^= 1 << bit
            path.write_bytes(altered)
            with pytest.raises(ChartError):
                read_chart(path)


@settings(max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_happened_to_a_file_there_is_a_chart_or_one_sentence(tmp_path: Path, data: st.DataObject) -> None:
    whole = data.draw(
        st.sampled_from([PNG, GIF, BMP, XBM, SEVENTEEN, b"P1 2 2 1 0 0 1", b"P5 2 2 255 abcd", b"0,1\n1,0\n"])
    )
    path = tmp_path / data.draw(st.sampled_from(["chart", "chart.png", "chart.csv", "chart.txt"]))
    path.write_bytes(data.draw(damaged(whole)))
    colours = data.draw(st.sampled_from([None, 2]))
    try:
        chart = read_chart(path, colours=colours)
    except ChartError as error:
        sentence = str(error)
    else:
        sentence = f"{path}: a chart."
        assert chart.cells.dtype == np.uint8
        assert int(chart.cells.max()) < len(chart.palette) <= 16
    assert sentence.startswith(str(path))
    assert sentence.count("\n") == 0
