"""`latchline size`: from a swatch to numbers."""

from __future__ import annotations

import pytest
from cli.running import run


def test_a_swatch_becomes_a_gauge_needles_and_rows() -> None:
    ran = run("size", "--swatch", "40x60", "--measures", "133.3x153.8", "--width", "40", "--length", "60")
    assert ran.status == 0
    assert ran.out == "[gauge]\nstitches = 40\nrows = 60\nwidth_mm = 133.3\nheight_mm = 153.8\n"
    assert "30.0 stitches and 39.0 rows to 10 cm." in ran.err
    assert "40 cm wide: 120 needles, L60-R60, 40.0 cm." in ran.err
    assert "60 cm long: 234 rows, 60.0 cm." in ran.err


def test_narrowing_is_told_at_its_rates() -> None:
    ran = run(
        "size", "--swatch", "28x40", "--measures", "100x100", "--width", "43", "--to-width", "32", "--length", "15"
    )
    assert "120 to 90 stitches over 60 rows: narrow by one at each side every 4 rows 15 times" in ran.err
    assert "shape = [{ to = 90 }]" in ran.err


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--swatch", "40", "--measures", "100x100"], "is no swatch"),
        (["--swatch", "40x60", "--measures", "0x100"], "the swatch's width must be above 0"),
        (["--swatch", "40x60", "--measures", "100x100", "--to-width", "20"], "narrowing needs a width and a length"),
        (["--swatch", "40x60", "--measures", "100x100", "--width", "90"], "360 stitches do not fit on 200 needles"),
    ],
)
def test_what_cannot_be_worked_out_is_said_in_a_sentence(words: list[str], complaint: str) -> None:
    ran = run("size", *words)
    assert ran.status == 2
    assert complaint in ran.err
