"""The reference of piece files: every example on it is a piece, or a band of one, that compiles."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

import pytest

from latchline.piece.file import parse_piece

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "piece-file.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
YARNS = "\n[yarns.sand]\n[yarns.oddment]\n[yarns.string]\n"
GAUGE = "[gauge]\nstitches = 28\nrows = 40\nwidth_mm = 100\nheight_mm = 100\n"
BAND = '[[bands]]\ntechnique = "stocking"\nrows = 40\n'
BESIDE = {
    "lace-of-nets.signs": (resources.files("latchline") / "examples" / "lace-of-nets.signs").read_bytes(),
    "yarns-of-the-boathouse.toml": b'[yarns.sand]\ncount = "200 tex"\n',
}


@pytest.mark.parametrize("block", BLOCKS, ids=[block.splitlines()[0][:40] for block in BLOCKS])
def test_each_example_of_the_reference_compiles(block: str) -> None:
    whole = "[[bands]]" in block
    text = block + ("" if "yarns_file" in block else YARNS) if whole else 'needles = "L40-R40"\n' + GAUGE + BAND + block
    assert parse_piece(text, beside=BESIDE).plan().passes


@pytest.mark.parametrize(
    "key",
    ["to", "side", "fashioned", "even_rows", "by", "every", "times", "from_row", "to_row", "off", "on", "armhole", "hold",
     "steps", "release", "wraps", "neck", "centre", "sides", "shoulders", "back", "on_cord", "do", "row", "towards",
     "out_of_work", "left_group", "words", "signs", "signs_needles", "begin", "hem", "end", "fold_stitch_size",
     "stitch_size", "tension", "yarns_file"],
)  # fmt: skip
def test_each_key_of_shaping_and_hands_has_an_example(key: str) -> None:
    assert any(re.search(rf"\b{key} = ", block) for block in BLOCKS)
