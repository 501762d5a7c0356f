"""One chart with its options as a piece, and pieces read without any file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from latchline.chart.model import Chart
from latchline.chart.read import parse_chart
from latchline.errors import ChartError, InputError, LatchlineError, ProfileError
from latchline.machine.profile import profile_text
from latchline.piece.file import load_piece, parse_piece
from latchline.piece.of_chart import drawing_of, piece_of

WAVES = b"X..X\n.XX.\n"
TEXT = """\
name = "bench cover"
[[bands]]
technique = "tuck"
chart = "waves.txt"
row_repeat = 2
"""


def test_a_chart_in_memory_makes_the_plan_that_its_file_makes(tmp_path: Path) -> None:
    (tmp_path / "waves.txt").write_bytes(WAVES)
    chart = parse_chart(WAVES, "waves.txt")
    options = {"technique": "slip", "needles": "L10-R10", "row_repeat": 3, "reversal": "every:2", "once_at": "L2"}
    kept, held = piece_of(tmp_path / "waves.txt", **options), piece_of(chart, **options)
    assert kept.plan().fingerprint == held.plan().fingerprint
    assert (held.name, held.file) == ("waves", "waves.txt")


def test_a_piece_in_memory_makes_the_plan_that_its_file_makes(tmp_path: Path) -> None:
    (tmp_path / "waves.txt").write_bytes(WAVES)
    (tmp_path / "cover.toml").write_text(TEXT)
    held = parse_piece(TEXT, beside={"waves.txt": WAVES}).plan()
    assert load_piece(tmp_path / "cover.toml").plan().fingerprint == held.fingerprint
    assert parse_piece(TEXT, beside=tmp_path).plan().fingerprint == held.fingerprint
    assert (
        parse_piece(TEXT, beside={"waves.txt": parse_chart(WAVES, "waves.txt")}).plan().fingerprint == held.fingerprint
    )


def test_a_chart_with_options_is_a_piece_file_of_one_band() -> None:
    of_file = parse_piece(TEXT, beside={"waves.txt": WAVES})
    of_chart = piece_of(parse_chart(WAVES, "waves.txt"), technique="tuck", row_repeat=2)
    assert of_file.plan().fingerprint == of_chart.plan().fingerprint


def test_a_profile_of_ones_own_is_read_from_memory_too() -> None:
    text = 'machine = "mine.toml"\n' + TEXT
    mine = profile_text("mid-150").encode()
    assert parse_piece(text, beside={"waves.txt": WAVES, "mine.toml": mine}).profile.name == "mine"
    with pytest.raises(ProfileError, match=r'key "machine": no machine profile is called "mine.toml"'):
        parse_piece(text, beside={"waves.txt": WAVES})


def test_what_is_not_beside_a_piece_in_memory_is_not_looked_for_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "waves.txt").write_bytes(WAVES)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(
        ChartError, match=r'key "bands.1.chart": waves.txt: there is no such chart; there are: gull.txt'
    ):
        parse_piece(TEXT, beside={"gull.txt": WAVES})
    with pytest.raises(ChartError, match="there is no such chart"):
        parse_piece(TEXT)


@pytest.mark.parametrize(
    ("options", "key", "complaint"),
    [
        ({"row_repeat": 0}, "row_repeat", "row_repeat: 0 is out of range; accepted: 1 to 1000."),
        ({"row_repeats": 2}, "row_repeats", 'row_repeats: this key is not known here; did you mean "row_repeat"?'),
        ({"backing": "half"}, "backing", 'backing: "half" is not known here; accepted: full, alternate.'),
        ({"once_at": "Q7"}, "once_at", 'once_at: "Q7" names no needle'),
        ({"machine": "huge"}, "machine", 'machine: no machine profile is called "huge"'),
        ({"technique": "lace"}, "technique", 'technique: no technique is called "lace"'),
        ({"enlarge": 2}, "enlarge", "enlarge: expected two whole numbers from 1"),
        ({"colours": 2}, "colours", "waves.txt: the colours of this chart are settled"),
        ({"technique": "stocking"}, "chart", "waves.txt: stocking knits without a chart"),
    ],
)  # fmt: skip
def test_a_wrong_option_is_named_by_its_key(options: dict[str, object], key: str, complaint: str) -> None:
    with pytest.raises(LatchlineError) as caught:
        piece_of(parse_chart(WAVES, "waves.txt"), **options)
    assert caught.value.key == key
    assert caught.value.sentence().startswith(complaint)


def test_without_a_chart_the_needles_are_asked_for() -> None:
    with pytest.raises(InputError, match="needles: without a chart the needles must be named"):
        piece_of(technique="stocking", rows=3)
    assert piece_of(technique="stocking", rows=3, needles="L5-R5").plan().passes == 3


def test_a_chart_wider_than_the_bed_is_named_by_its_file() -> None:
    wide = Chart(np.zeros((1, 300), np.uint8), parse_chart(WAVES, "waves.txt").palette, "wide.txt")
    with pytest.raises(ChartError, match=r"^wide.txt: 300 stitches do not fit on 200 needles"):
        piece_of(wide)


def test_a_drawing_alone_is_cut_and_turned() -> None:
    chart = parse_chart(WAVES, "waves.txt")
    assert drawing_of(chart, crop_rows=[1, 1], turn=1, enlarge=(1, 2)).cells.shape == (8, 1)
    with pytest.raises(InputError, match="technique: this key is not known here"):
        drawing_of(chart, technique="tuck")
