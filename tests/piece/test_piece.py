"""Piece files: what is read, and what is said of a mistake."""

from __future__ import annotations

from pathlib import Path

import pytest

from latchline.chart.model import Chart
from latchline.chart.read import read_chart
from latchline.errors import LatchlineError, PieceError
from latchline.piece.file import load_piece

CHART = "X..X\n.XX.\n"
GOOD = """\
name = "bench cover"
machine = "standard-200"
needles = "L8-R8"

[yarns.sand]
colour = "#e8dfcc"
loop_length_mm = 11

[yarns.sea]
colour = "#2F5D7C"

[[bands]]
name = "hem"
technique = "stocking"
rows = 3
yarns = ["sand"]

[[bands]]
name = "waves"
technique = "fair-isle"
chart = "waves.txt"
yarns = ["sand", "sea"]
row_repeat = 2
"""


def write(folder: Path, text: str = GOOD) -> Path:
    (folder / "waves.txt").write_text(CHART)
    path = folder / "cover.toml"
    path.write_text(text)
    return path


def test_bands_are_knitted_in_order(tmp_path: Path) -> None:
    plan = load_piece(write(tmp_path)).plan()
    assert [(band.name, band.first, band.last) for band in plan.bands] == [("hem", 1, 3), ("waves", 4, 7)]
    assert [yarn.name for yarn in plan.yarns_of(1)] == ["sand"]
    assert [yarn.name for yarn in plan.yarns_of(4)] == ["sand", "sea"]
    assert plan.yarns_of(4)[1].colour == "#2f5d7c"
    assert plan.chart_row.tolist() == [0, 0, 0, 1, 1, 2, 2]


def test_without_needles_the_widest_chart_decides(tmp_path: Path) -> None:
    path = write(tmp_path, GOOD.replace('needles = "L8-R8"\n', ""))
    piece = load_piece(path)
    assert piece.profile.span_name(piece.span) == "L2-R2"


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ('technique = "fair-isle"', 'technique = "lace"', 'line 20, key "bands.2.technique": no technique is called "lace"; accepted: stocking, tuck'),
        ("row_repeat = 2", "row_repeat = 0", 'line 23, key "bands.2.row_repeat": 0 is out of range; accepted: 1 to 1000.'),
        ("row_repeat = 2", "row_repeats = 2", 'line 23, key "bands.2.row_repeats": this key is not known here; did you mean "row_repeat"?'),
        ("row_repeat = 2", 'reversal = "often"', 'key "bands.2.reversal": "often" is no reversal; accepted: off, on, every:N'),
        ("row_repeat = 2", 'once_at = "M3"', 'key "bands.2.once_at": "M3" names no needle'),
        ("row_repeat = 2", "enlarge = 2", 'key "bands.2.enlarge": expected two whole numbers from 1; as in enlarge = [2, 1].'),
        ('["sand", "sea"]', '["sand", "see"]', 'line 22, key "bands.2.yarns": no yarn is called "see"; named under [yarns]: sand, sea.'),
        ("L8-R8", "R8-L8", 'line 3, key "needles": the span "R8-L8" stands the wrong way round; write L8-R8.'),
        ("waves.txt", "wave.txt", 'line 21, key "bands.2.chart": '),
        ('"fair-isle"', '"stocking"', 'key "bands.2.chart": stocking knits without a chart; leave one of the two out.'),
        ("row_repeat = 2", 'alternate_needles = "only"', 'key "bands.2.chart": the ground of every other needle knits without a chart'),
        ('name = "', 'name = ', "not valid TOML ("),
        ("[yarns.sea]", "[yarns]\nsea = 3\n[spare]", 'key "yarns.sea": expected a table, found the number 3; write it as [yarns.sea].'),
        ('machine = "standard-200"', 'machine = "big"', 'line 2, key "machine": no machine profile is called "big"'),
        ("#2F5D7C", "blueish", 'key "yarns.sea.colour": "blueish" is no colour; write it as "#2f5d7c", or by its CSS name as "navy".'),
        ("[[bands]]", "[bands]", "not valid TOML"),
        ("#2F5D7C", "#2F5D7G", 'key "yarns.sea.colour": "#2F5D7G" is no colour'),
        ("[[bands]]", "[gauge]\nstitches = 1\nrows = 1\nwidth_mm = 1\nheight_mm = 1\nodd = 1\n[[bands]]", 'key "gauge.odd": this key is not known here'),
        ("row_repeat = 2", "enlarge = [0, 2]", 'key "bands.2.enlarge": expected two whole numbers from 1'),
        ("rows = 3", "rows = 3.5", 'key "bands.1.rows": expected a whole number, found the number 3.5.'),
        ("rows = 3", "rows = 0x" + "f" * 5000, 'key "bands.1.rows": this number has more than 64 bits; TOML has none so large.'),
        ("rows = 3", "rows = " + "9" * 5000, "this number has more than 64 bits"),
        ("row_repeat = 2", "crop_rows = [1, 0x" + "f" * 5000 + "]", 'key "bands.2.crop_rows": this number has more than 64 bits'),
        ("row_repeat = 2", "x = " + "[" * 20000, "not valid TOML"),
        ('machine = "standard-200"', 'machine = "a\\u0000b.toml"', "this is no name of a file"),
        ("waves.txt", "a\\u0000b.txt", "this is no name of a file"),
        ("row_repeat = 2", "shift = 1001", 'key "bands.2.shift": 1001 is out of range; accepted: -1000 to 1000.'),
        ("rows = 3", "rows = true", 'key "bands.1.rows": expected a whole number, found true.'),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_file_line_and_key(tmp_path: Path, old: str, new: str, complaint: str) -> None:
    assert old in GOOD
    path = write(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(LatchlineError) as caught:
        load_piece(path)
    assert complaint in caught.value.sentence()
    assert "\n" not in caught.value.sentence()


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"", 'key "bands": this key is missing; write each as [[bands]].'),
        (b'name = "a\n', "a text is not closed where its line ends); each line is a [table] or a key = value"),
        (b"\xff\xfe", "the file is not UTF-8 text (byte 1)"),
        (b"bands = []", "a piece needs at least one band"),
        (b"x" * (1 << 20) + b"x", "the file is larger than 1 MiB"),
    ],
)
def test_a_file_that_is_no_piece_is_refused(tmp_path: Path, content: bytes, complaint: str) -> None:
    path = tmp_path / "odd.toml"
    path.write_bytes(content)
    with pytest.raises(PieceError) as caught:
        load_piece(path)
    assert complaint in caught.value.sentence()


def test_a_band_that_cannot_be_compiled_is_named_with_its_file(tmp_path: Path) -> None:
    text = GOOD.replace("row_repeat = 2", 'start = "right"')
    path = write(tmp_path, text)
    with pytest.raises(LatchlineError) as caught:
        load_piece(path).plan()
    assert caught.value.sentence().startswith(
        f'{path}, line 18, key "bands.2", band "waves": the carriage will stand at the left'
    )


def test_a_missing_piece_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    for path, complaint in ((tmp_path / "none.toml", "there is no such file"), (tmp_path, "this is a folder")):
        with pytest.raises(PieceError, match=complaint):
            load_piece(path)


def test_enlarging_names_needles_first_and_rows_second(tmp_path: Path) -> None:
    piece = load_piece(write(tmp_path, GOOD.replace("row_repeat = 2", "enlarge = [2, 3]")))
    drawing = piece.bands[1].drawing
    assert drawing is not None
    assert (drawing.stitches, drawing.rows) == (8, 6)


def test_without_needles_and_without_a_chart_the_needles_are_asked_for(tmp_path: Path) -> None:
    path = write(tmp_path, '[[bands]]\ntechnique = "stocking"\nrows = 3\n')
    with pytest.raises(PieceError, match="without a chart the needles must be named"):
        load_piece(path)


def test_a_chart_that_many_bands_name_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "waves.txt").write_text("#.#.\n.#.#\n")
    band = '[[bands]]\ntechnique = "fair-isle"\nchart = "waves.txt"\n'
    (tmp_path / "piece.toml").write_text(band * 30 + band + "mirror = true\n")
    read: list[Path] = []

    def counted(path: Path, **_: object) -> Chart:
        read.append(path)
        return read_chart(path)

    monkeypatch.setattr("latchline.piece.file.read_chart", counted)
    bands = load_piece(tmp_path / "piece.toml").bands
    assert len(read) == 2, "once as it is, once mirrored"
    assert len({id(request.drawing) for request in bands}) == 2


def test_bands_that_are_alike_are_compiled_once_and_keep_their_own_names(tmp_path: Path) -> None:
    (tmp_path / "waves.txt").write_text("#.#.\n.#.#\n")
    band = '[[bands]]\nname = "{}"\ntechnique = "fair-isle"\nchart = "waves.txt"\nrows = 3\n'
    (tmp_path / "piece.toml").write_text("".join(band.format(name) for name in "abc"))
    plan = load_piece(tmp_path / "piece.toml").plan()
    assert [(band.name, band.first, band.last) for band in plan.bands] == [("a", 1, 3), ("b", 4, 6), ("c", 7, 9)]
    assert (plan.acting_masks(1, 3) == plan.acting_masks(7, 9)).all()


@pytest.mark.parametrize(("text", "hex_number"), [("navy", "#000080"), ("#ABC", "#aabbcc"), ("#2F5D7C", "#2f5d7c")])
def test_a_yarn_may_have_a_colour_name_as_a_chart_may(tmp_path: Path, text: str, hex_number: str) -> None:
    (tmp_path / "piece.toml").write_text(
        f'needles = "L4-R4"\n[yarns.sea]\ncolour = "{text}"\n[[bands]]\ntechnique = "stocking"\nyarns = ["sea"]\nrows = 2\n'
    )
    assert load_piece(tmp_path / "piece.toml").yarns[0].colour == hex_number
