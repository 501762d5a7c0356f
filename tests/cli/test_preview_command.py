"""`latchline preview` and `latchline sheet` as a shell sees them."""

from __future__ import annotations

import io
from importlib import resources
from pathlib import Path

import numpy as np
import pypdf
import pytest
from cli.running import run
from PIL import Image

from latchline.chart.read import read_chart

EXAMPLES = Path(str(resources.files("latchline") / "examples"))
BLANKET = EXAMPLES / "harbour-blanket.toml"


@pytest.mark.parametrize(
    ("show", "ending", "start"),
    [
        ("knit-side", "png", b"\x89PNG"),
        ("purl-side", "png", b"\x89PNG"),
        ("knit-side", "svg", b"<?xml"),
        ("purl-side", "svg", b"<?xml"),
        ("working-chart", "pdf", b"%PDF"),
        ("working-chart", "png", b"\x89PNG"),
        ("working-chart", "svg", b"<?xml"),
    ],
)
def test_each_picture_is_written_in_each_format_and_its_name_printed(
    tmp_path: Path, show: str, ending: str, start: bytes
) -> None:
    out = tmp_path / f"picture.{ending}"
    ran = run("preview", EXAMPLES / "net-cushion.toml", "--show", show, "--out", out)
    assert (ran.status, ran.out) == (0, f"{out}\n")
    assert out.read_bytes().startswith(start)
    assert "cm at" in ran.err


def test_without_a_name_the_picture_is_called_after_the_piece(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("preview", BLANKET).out == "harbour-blanket-knit-side.png\n"
    assert (tmp_path / "harbour-blanket-knit-side.png").exists()


def test_passes_cut_the_picture_and_stitch_px_widens_it(tmp_path: Path) -> None:
    sizes = []
    for number, more in enumerate(([], ["--passes", "9-20"], ["--stitch-px", "24"])):
        out = tmp_path / f"{number}.png"
        assert run("preview", BLANKET, "--out", out, *more).status == 0
        with Image.open(out) as picture:
            sizes.append(picture.size)
    whole, cut, wide = sizes
    assert cut[0] == whole[0]
    assert cut[1] < whole[1] / 3
    assert wide == (24 * 122, wide[1])


def test_a_size_is_told_in_needles_and_rows(tmp_path: Path) -> None:
    ran = run("preview", BLANKET, "--out", tmp_path / "x.png", "--gauge", "30x40", "--size", "40x60")
    assert "40 × 60 cm need 120 needles and 240 rows" in ran.err


def test_a_chart_is_knitted_at_the_size_that_is_asked_for(tmp_path: Path) -> None:
    chart = EXAMPLES / "gulls-and-waves.png"
    ran = run("preview", chart, "--out", tmp_path / "x.png", "--gauge", "30x40", "--size", "20x10", "--stitch-px", "4")
    assert "About 20.0 × 10.0 cm" in ran.err
    assert "60 needles and 40 rows" in ran.err


def test_the_outline_says_how_the_piece_lies(tmp_path: Path) -> None:
    ran = run("preview", EXAMPLES / "ferry-sweater-front.toml", "--show", "outline", "--out", tmp_path / "x.svg")
    assert "the hem folded" in ran.err
    assert "cm tall" in (tmp_path / "x.svg").read_text()


def test_a_sized_chart_can_be_read_again_as_a_chart(tmp_path: Path) -> None:
    out = tmp_path / "sized.png"
    flags = EXAMPLES / "signal-flags.png"
    ran = run("preview", flags, "--show", "sized-chart", "--size", "20x10", "--gauge", "30x40", "--out", out)
    assert ran.status == 0
    chart, before = read_chart(out), read_chart(flags)
    assert (chart.stitches, chart.rows) == (60, 40)
    assert {colour.hex for colour in chart.palette} <= {colour.hex for colour in before.palette}


def test_a_sized_chart_of_its_own_size_is_the_same_drawing(tmp_path: Path) -> None:
    out = tmp_path / "same.png"
    before = read_chart(EXAMPLES / "gulls-and-waves.png")
    assert run("preview", EXAMPLES / "gulls-and-waves.png", "--show", "sized-chart", "--gauge", "30x30", "--out", out)
    assert np.array_equal(read_chart(out).cells, before.cells)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--out", "x.gif"], 'the ending ".gif"'),
        (["--show", "working-chart", "--out", "x.txt"], "accepted: .pdf, .png, .svg"),
        (["--gauge", "thirty"], "is no gauge"),
        (["--size", "40", "--out", "x.png"], "is no size"),
        (["--passes", "90-200"], "are not in the plan"),
        (["--show", "sized-chart"], "made from one drawing"),
    ],
)
def test_wrong_use_gets_one_sentence_and_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = run("preview", BLANKET, *arguments)
    assert ran.status == 2
    assert words in ran.err
    assert ran.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_leaves_nothing_half_written(tmp_path: Path) -> None:
    ran = run("sheet", BLANKET, "--out", tmp_path / "missing" / "x.pdf")
    assert ran.status == 2
    assert list(tmp_path.iterdir()) == []


def test_the_sheet_goes_to_standard_output_or_to_a_file(tmp_path: Path) -> None:
    ran = run("sheet", BLANKET)
    assert ran.out.startswith("# set-up sheet: harbour blanket\n")
    for ending in ("md", "html", "pdf"):
        out = tmp_path / f"sheet.{ending}"
        assert run("sheet", BLANKET, "--out", out).out == f"{out}\n"
    assert (tmp_path / "sheet.md").read_text(encoding="utf-8") == ran.out
    assert len(pypdf.PdfReader(io.BytesIO((tmp_path / "sheet.pdf").read_bytes())).pages) > 1
