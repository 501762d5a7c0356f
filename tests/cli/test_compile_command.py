"""`latchline compile`: its stable forms, and one clear sentence for whatever cannot be compiled."""

from __future__ import annotations

import csv
import io
import json
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from cli.running import run
from PIL import Image

CHART = "#..#\n.##.\n"


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "waves.txt"
    path.write_text(CHART)
    return path


def test_csv_has_the_documented_columns(chart: Path) -> None:
    ran = run("compile", chart, "--technique", "fair-isle", "--format", "csv")
    assert ran.status == 0
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert list(rows[0]) == ["pass", "row", "direction", "yarns", "needles", "selected"]
    assert [row["pass"] for row in rows] == ["1", "2"]
    assert [row["direction"] for row in rows] == ["leftward", "rightward"]
    assert rows[0] == {
        "pass": "1",
        "row": "1",
        "direction": "leftward",
        "yarns": "main+contrast",
        "needles": "L2-R2",
        "selected": "0110",
    }
    assert rows[1]["selected"] == "1001"


def test_json_carries_the_same_and_the_fingerprint(chart: Path) -> None:
    table = list(csv.DictReader(io.StringIO(run("compile", chart, "--format", "csv").out)))
    value = json.loads(run("compile", chart, "--format", "json").out)
    assert len(value["fingerprint"]) == 8
    for row, entry in zip(table, value["passes"], strict=True):
        assert {key: str(entry[key]) for key in row} == row


def test_json_may_be_asked_for_as_everywhere_else(chart: Path) -> None:
    assert run("compile", chart, "--json").out == run("compile", chart, "--format", "json").out


def test_a_spreadsheet_gets_a_column_for_each_needle(chart: Path) -> None:
    """Two hundred digits in one cell become a number there, and lose all but fifteen."""
    rows = list(csv.DictReader(io.StringIO(run("compile", chart, "--format", "columns").out)))
    assert list(rows[0]) == ["pass", "row", "direction", "yarns", "L2", "L1", "R1", "R2"]
    assert [[row[needle] for needle in ("L2", "L1", "R1", "R2")] for row in rows] == [list("0110"), list("1001")]


def test_the_plain_way_back_of_a_one_way_technique_says_what_knits(chart: Path) -> None:
    lines = run("compile", chart, "--technique", "slip-one-way", "--rows", 4).out.splitlines()
    passes = [line for line in lines if " row " in line]
    assert ["all needles knit" in line for line in passes] == ["←" in line for line in passes]
    data = json.loads(run("compile", chart, "--technique", "slip-one-way", "--rows", 4, "--json").out)
    assert [entry["knits"] is None for entry in data["passes"]] == [True, False, True, False]


def test_on_a_machine_that_pushes_needles_ahead_a_line_shows_its_own_pass(chart: Path) -> None:
    options = ("--machine", "chunky-112", "--shown-side", "purl")
    text, data = run("compile", chart, *options).out, json.loads(run("compile", chart, *options, "--json").out)
    assert [line[-4:] for line in text.splitlines() if " row 1 " in line or " row 2 " in line] == ["·■■·", "■··■"]
    assert [entry["acts_in"] for entry in data["passes"]] == [2, 3, None]
    assert [entry["knits"] for entry in data["passes"]] == [None, "0110", "1001"]
    assert [entry["selected"] for entry in data["passes"]] == ["0110", "1001", "0000"]


def test_the_chart_row_is_empty_where_there_is_none() -> None:
    ran = run("compile", "--alternate-needles", "only", "--needles", "L4-R4", "--rows", 2, "--format", "csv")
    assert ran.out.splitlines()[1] == "1,,leftward,main+contrast,L4-R4,01010101"


def test_only_the_asked_passes_are_shown(chart: Path) -> None:
    ran = run("compile", chart, "--rows", 50, "--passes", "7-9", "--format", "csv")
    assert [line.split(",")[0] for line in ran.out.splitlines()[1:]] == ["7", "8", "9"]


def test_chatter_stays_off_standard_output(chart: Path) -> None:
    ran = run("compile", chart)
    assert "fingerprint" in ran.err
    assert "fingerprint" not in ran.out


def png(width: int, height: int, data: bytes) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(data, 9)) + chunk(b"IEND", b"")


def bomb() -> bytes:
    return png(30_000, 30_000, bytes(1_000_000))


def colours(count: int) -> bytes:
    out = io.BytesIO()
    row = np.arange(count, dtype=np.uint8) * (255 // count)
    Image.fromarray(np.stack([row, row[::-1], np.roll(row, 3)], axis=-1)[None]).save(out, "PNG")
    return out.getvalue()


BAD_CHARTS = {
    "a picture cut short": ("cut.png", colours(2)[:-20]),
    "a header that lies": ("lie.png", png(40, 40, bytes(41 * 3))),
    "a bomb": ("bomb.png", bomb()),
    "no size at all": ("none.png", png(0, 5, b"")),
    "seventeen colours": ("many.png", colours(17)),
    "three colours for two yarns": ("three.png", colours(3)),
    "not a picture": ("odd.png", b"hello, this is no picture\0\1\2"),
    "nothing in it": ("empty.txt", b""),
    "wider than the bed": ("wide.txt", b"#." * 150 + b"\n"),
    "an XBM cut short": ("cut.xbm", b"#define a_width 16\n#define a_height 16\nstatic char a_bits[] = { 0x01, 0x02"),
    "a PBM cut short": ("cut.pbm", b"P4\n64 64\n\x01\x02"),
}


@pytest.mark.parametrize("case", BAD_CHARTS)
def test_a_chart_that_cannot_be_used_gets_one_sentence(case: str, tmp_path: Path) -> None:
    name, content = BAD_CHARTS[case]
    (tmp_path / name).write_bytes(content)
    ran = run("compile", tmp_path / name)
    assert ran.status == 2
    assert ran.out == ""
    assert ran.err.startswith("latchline: ")
    assert ran.err.count("\n") == 1
    assert ran.err.endswith(".\n")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--needles", "R5-L5"], "stands the wrong way round; write L5-R5."),
        (["--needles", "L300-R1"], "leaves the bed; this bed has the needles L100-R100."),
        (["--machine", "huge"], 'no machine profile is called "huge"'),
        (["--technique", "lace"], 'no technique is called "lace"'),
        (["--reversal", "sometimes"], "accepted: off, on, every:N"),
        (["--rows", "0"], "--rows: 0 is out of range; accepted: 1 to 1000000."),
        (["--enlarge", "two"], "is no enlargement; write NEEDLESxROWS, as 2x1."),
        (["--crop-rows", "9-12"], "row"),
        (["--once-at", "Q7"], '"Q7" names no needle'),
        (["--separation", "doubled"], "fair-isle is not separated by colour; leave separation out."),
        (["--changer", "left"], "fair-isle is not separated by colour; leave changer out."),
        (["--backing", "alternate"], "fair-isle has no second bed to back it; leave backing out."),
        (["--one-way", "leftward"], "fair-isle works in both directions; leave one-way out."),
        (["--shift", "9" * 30], " is out of range; accepted: -1000 to 1000."),
        (["--enlarge", "²x1"], "is no enlargement; write NEEDLESxROWS, as 2x1."),
        (["--crop-rows", "²-3"], "is no range; write FIRST-LAST, as 1-24."),
        (["--passes", "¹-2"], "is no range of passes"),
        (["--needles", "L2\n-\x1b[1mM2"], "names no needle"),
        (
            ["--technique", "slip-colours", "--rows", "999999"],
            "waves.txt: 3999996 passes are too many for a piece; at most 1000000",
        ),
        (["--passes", "9-3"], "are not in the plan"),
        (
            ["--alternate-needles", "only"],
            "waves.txt: the ground of every other needle knits without a chart; leave one of the two out.",
        ),
    ],
)
def test_an_option_that_makes_no_sense_gets_one_sentence(arguments: list[str], said: str, chart: Path) -> None:
    ran = run("compile", chart, *arguments)
    assert ran.status == 2
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert ran.out == ""


def test_options_of_a_chart_do_not_go_with_a_piece_file(tmp_path: Path) -> None:
    run("examples", tmp_path)
    ran = run("compile", tmp_path / "harbour-blanket.toml", "--technique", "tuck")
    assert ran.status == 2
    assert "--technique goes with a chart, not with a piece file; set it in the file." in ran.err


def test_nothing_to_knit_is_said_plainly() -> None:
    ran = run("compile")
    assert (ran.status, ran.err) == (
        2,
        "latchline: name a chart or a piece file; to see some, `latchline examples` copies the packaged ones.\n",
    )


def test_what_is_done_after_the_last_pass_stands_at_the_end(tmp_path: Path) -> None:
    piece = tmp_path / "panel.toml"
    piece.write_text(
        'needles = "L4-R4"\n[[bands]]\ntechnique = "stocking"\nrows = 4\n[[bands]]\nend = "bound-off"\nrows = 2\n'
    )
    assert run("compile", piece).out.splitlines()[-1].strip().startswith("bind off the loops of L4-R4")
    assert json.loads(run("compile", piece, "--json").out)["after"][0].startswith("bind off the loops of L4-R4")
    assert json.loads(run("compile", piece, "--json", "--passes", "1-3").out)["after"] == []
