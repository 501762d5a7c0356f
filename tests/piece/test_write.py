"""A piece file written back: what was not changed stays as it was, to the byte."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from importlib import resources

import pytest

from latchline.errors import InputError
from latchline.piece import write

EXAMPLES = {
    entry.name: entry.read_text(encoding="utf-8")
    for entry in (resources.files("latchline") / "examples").iterdir()
    if entry.name.endswith(".toml")
}
PIECE = """\
# for the bench
name = "cover"  # as on the label
needles = "L8-R8"

[yarns.sand]
colour = "#e8dfcc"  # from the chest

# the hem first
[[bands]]
technique = "stocking"
rows = 3

# then the waves
[[bands]]
name    = "waves"
technique = "slip"
chart = 'waves.txt'   # drawn in spring
row_repeat = 2
"""


def changed_lines(old: str, new: str) -> tuple[list[str], list[str]]:
    """The lines that went and those that came, when all between the first and the last change is left out."""
    before, after = old.splitlines(), new.splitlines()
    while before and after and before[0] == after[0]:
        before, after = before[1:], after[1:]
    while before and after and before[-1] == after[-1]:
        before, after = before[:-1], after[:-1]
    return before, after


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_that_is_opened_and_saved_is_the_same_to_the_byte(name: str) -> None:
    text = EXAMPLES[name]
    values = tomllib.loads(text)
    assert write.set_in_piece(text, "no-such-key", None) == text
    assert write.set_in_piece(text, "name", values["name"]) == text
    for number, band in enumerate(values["bands"]):
        assert write.set_in_band(text, number, band) == text


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_changed_key_changes_its_line_only(name: str) -> None:
    text = EXAMPLES[name]
    new = write.set_in_piece(text, "machine", "chunky-112")
    gone, come = changed_lines(text, new)
    assert len(gone) <= 1
    assert come in ([], ['machine = "chunky-112"'])
    assert write.set_in_piece(new, "machine", tomllib.loads(text).get("machine")) == text


@pytest.mark.parametrize(
    ("change", "gone", "come"),
    [
        (lambda text: write.set_in_piece(text, "name", "quilt"), ['name = "cover"  # as on the label'], ['name = "quilt"  # as on the label']),
        (lambda text: write.set_in_piece(text, "start", "left"), [], ['start = "left"']),
        (lambda text: write.set_in_band(text, 1, {"row_repeat": 3}), ["row_repeat = 2"], ["row_repeat = 3"]),
        (lambda text: write.set_in_band(text, 1, {"row_repeat": None}), ["row_repeat = 2"], []),
        (lambda text: write.set_in_band(text, 1, {"chart": "w.png"}), ["chart = 'waves.txt'   # drawn in spring"], ['chart = "w.png"   # drawn in spring']),
        (lambda text: write.set_in_band(text, 1, {"name": "foam"}), ['name    = "waves"'], ['name    = "foam"']),
        (lambda text: write.set_in_band(text, 1, {"enlarge": [2, 1], "mirror_rows": True}), [], ["enlarge = [2, 1]", "mirror_rows = true"]),
        (lambda text: write.set_in_band(text, 0, {"rows": 4}), ["rows = 3"], ["rows = 4"]),
        (lambda text: write.set_in_table(text, ("yarns", "sand"), "count", "Nm 30/2"), [], ['count = "Nm 30/2"']),
        (lambda text: write.set_in_table(text, ("yarns", "sand"), "colour", "#ffffff"), ['colour = "#e8dfcc"  # from the chest'], ['colour = "#ffffff"  # from the chest']),
    ],
)  # fmt: skip
def test_comments_order_and_spacing_stay(change: Callable[[str], str], gone: list[str], come: list[str]) -> None:
    assert changed_lines(PIECE, change(PIECE)) == (gone, come)


def test_lines_that_end_as_another_system_ends_them_stay_so() -> None:
    text = PIECE.replace("\n", "\r\n")
    assert write.set_in_piece(text, "name", "cover") == text
    new = write.set_in_band(text, 1, {"row_repeat": 3})
    assert new == text.replace("row_repeat = 2", "row_repeat = 3")


def test_a_yarn_that_is_not_there_is_added() -> None:
    new = write.set_in_table(PIECE, ("yarns", "sea"), "colour", "#2f5d7c")
    assert tomllib.loads(new)["yarns"] == {"sand": {"colour": "#e8dfcc"}, "sea": {"colour": "#2f5d7c"}}
    assert [line for line in PIECE.splitlines() if line not in new.splitlines()] == []
    bare = write.set_in_table('[[bands]]\ntechnique = "slip"\n', ("yarns", "sea"), "colour", "#2f5d7c")
    assert tomllib.loads(bare)["yarns"]["sea"]["colour"] == "#2f5d7c"


def test_bands_are_added_moved_and_taken_out() -> None:
    def names(text: str) -> list[str]:
        return [band.get("name", "") for band in tomllib.loads(text)["bands"]]

    assert names(write.add_band(PIECE, 1, {"name": "rib", "technique": "stocking"})) == ["", "rib", "waves"]
    assert names(write.add_band(PIECE, 2, {"name": "rib", "technique": "stocking"})) == ["", "waves", "rib"]
    assert names(write.move_band(PIECE, 1, 0)) == ["waves", ""]
    assert names(write.remove_band(PIECE, 0)) == ["waves"]
    with pytest.raises(InputError, match="a piece keeps one band at least"):
        write.remove_band(write.remove_band(PIECE, 0), 0)
    with pytest.raises(InputError, match="there is no band 3"):
        write.set_in_band(PIECE, 2, {"rows": 1})


@pytest.mark.parametrize("text", ["name = \n", "bands = 3\n", "[bands]\nx = 1\n", "[[bands]\n"])
def test_what_cannot_be_changed_is_said(text: str) -> None:
    with pytest.raises(InputError):
        write.set_in_band(text, 0, {"rows": 1})
