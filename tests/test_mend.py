"""Ways out are data, and each face says them in its own words."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from cli.running import run

import latchline
from latchline.cli.words import TYPED, Typed
from latchline.errors import InputError
from latchline.mend import PIECE_FILE, Mend

PACKAGE = Path(latchline.__file__).parent
ROOMS = [path for path in PACKAGE.rglob("*.py") if path.relative_to(PACKAGE).parts[0] not in ("cli", "desk")]


@pytest.mark.parametrize(
    ("mend", "typed", "of_file"),
    [
        (Mend("reduce them", "colours", 2), "reduce them with --colours 2", "reduce them with colours = 2"),
        (Mend("name them", "needles", "L20-R20"), "name them with --needles L20-R20", 'name them with needles = "L20-R20"'),
        (Mend("mirror rows", "mirror_rows", True), "mirror rows with --mirror-rows", "mirror rows with mirror_rows = true"),
        (Mend("cut it", "crop_rows", (1, 24)), "cut it with --crop-rows 1-24", "cut it with crop_rows = [1, 24]"),
        (Mend("enlarge it", "enlarge", [2, 1]), "enlarge it with --enlarge 2x1", "enlarge it with enlarge = [2, 1]"),
        (Mend("draw a part", "passes"), "draw a part with --passes", "draw a part with passes"),
        (Mend("see which there are", task="ports"), "see which there are with `latchline ports`", "see which there are"),
        (Mend("report it", "bundle", task="doctor"), "report it with `latchline doctor --bundle`", "report it"),
        (Mend("take more needles"), "take more needles", "take more needles"),
    ],
)  # fmt: skip
def test_a_way_out_is_said_as_it_is_typed_or_as_it_is_written(mend: Mend, typed: str, of_file: str) -> None:
    assert TYPED.mend(mend) == typed
    assert PIECE_FILE.mend(mend) == of_file


def test_of_a_piece_file_the_command_line_says_keys_but_its_own_options_as_they_are_typed() -> None:
    tongue = Typed(in_file=True)
    assert tongue.mend(Mend("reduce them", "colours", 2)) == "reduce them with colours = 2"
    assert tongue.mend(Mend("draw a part", "passes")) == "draw a part with --passes"


def test_ways_out_are_choices_and_a_task_is_done_besides() -> None:
    error = InputError("too wide", hint="crop it", mends=[Mend("reduce it", "colours", 2), Mend("look", task="ports")])
    assert error.sentence() == "too wide; crop it, or reduce it with colours = 2; look."
    assert error.sentence(TYPED) == "too wide; crop it, or reduce it with --colours 2; look with `latchline ports`."


def test_a_chart_is_told_of_options_and_a_piece_file_of_keys(tmp_path: Path) -> None:
    (tmp_path / "flag.txt").write_text("abc\ncab\n")
    (tmp_path / "flag.toml").write_text('[[bands]]\ntechnique = "fair-isle"\nchart = "flag.txt"\n')
    assert "or reduce them with --colours 2." in run("check", tmp_path / "flag.txt").err
    assert "or reduce them with colours = 2." in run("check", tmp_path / "flag.toml").err
    assert "name them with --needles L20-R20." in run("check", "--technique", "stocking").err


@pytest.mark.parametrize("path", ROOMS, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_room_tells_a_reader_what_to_type(path: Path) -> None:
    """In texts other than docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    texts = {node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    docs = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    typed = [
        node.value
        for node in texts - docs
        if isinstance(node.value, str) and re.search(r"(?:^|\s)--[a-z]|`latchline ", node.value)
    ]
    assert typed == []
