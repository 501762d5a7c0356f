"""A piece on the desk: drawn on, changed, taken back, saved, and read again as it was."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cli.running import run
from desk.choices import CHOICES, SAME_PLAN, Choice
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from latchline.chart.model import Chart, Colour
from latchline.chart.read import parse_chart
from latchline.chart.write import chart_png, chart_text
from latchline.checks.find import findings
from latchline.desk import keep, strokes
from latchline.desk.document import Document, Drawn, Looked
from latchline.desk.edits import EDITS
from latchline.desk.folder import Folder
from latchline.desk.form import form
from latchline.desk.looks import fabric, size, verdict
from latchline.desk.photograph import chart_of
from latchline.desk.questions import QUESTIONS
from latchline.desk.slow_motion import DOES, PASSES_MAX, slow_motion
from latchline.errors import ChartError, InputError, LatchlineError, PieceError
from latchline.fabric.loops import does
from latchline.machine.profile import profile_text
from latchline.piece import write as written
from latchline.piece.file import load_piece
from latchline.plan.options import BAND_OPTIONS, DRAWING_OPTIONS, OPTIONS, TECHNIQUE, spoken_options
from latchline.shaping.gauge import Gauge
from latchline.technique.model import Does

EXAMPLES = Path(keep.__file__).parents[1] / "examples"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    shutil.copytree(EXAMPLES, tmp_path / "pieces")
    return Folder.of(tmp_path / "pieces")[0]


def edited(document: Document, name: str, **how: Any) -> None:
    document.change(lambda state: EDITS[name](state, how))


def grid(text: str) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Cells from lines, the top one the last row."""
    return np.array([[int(cell) for cell in line] for line in text.split()][::-1], dtype=np.uint8)


# The hand on the chart

STROKES = [
    ("a point", lambda c: strokes.paint(c, [(0, 0)], 1), "000 000 100"),
    ("a slanting line has no gap", lambda c: strokes.paint(c, [(0, 0), (2, 2)], 1), "001 010 100"),
    ("a line out of the chart", lambda c: strokes.paint(c, [(1, -5), (1, 5)], 1), "000 111 000"),
    ("mirrored sideways", lambda c: strokes.paint(c, [(0, 0)], 1, "sideways"), "000 000 101"),
    ("mirrored upward", lambda c: strokes.paint(c, [(0, 0)], 1, "upward"), "100 000 100"),
    ("mirrored both ways", lambda c: strokes.paint(c, [(0, 0)], 1, "both"), "101 000 101"),
    ("a box", lambda c: strokes.box(c, (2, 2), (0, 0), 1), "111 101 111"),
    ("a full box", lambda c: strokes.box(c, (0, 0), (1, 1), 1, filled=True), "000 110 110"),
    ("a box over the edge", lambda c: strokes.box(c, (1, 1), (9, 9), 1), "010 011 000"),
    ("filled", lambda c: strokes.flood(strokes.box(c, (0, 1), (2, 1), 1), (0, 0), 2), "210 210 210"),
    ("shifted round", lambda c: strokes.shift(strokes.paint(c, [(2, 2)], 1), 1, 1), "000 000 100"),
    ("a row put in", lambda c: strokes.insert(c + np.uint8(1), 0, 1, 1, 0, ""), "111 111 000 111"),
    ("a stitch taken out", lambda c: strokes.remove(strokes.paint(c, [(0, 0)], 1), 1, 0, 1), "00 00 00"),
    ("a part laid over the edge", lambda c: strokes.place(c, c[:2, :2] + np.uint8(1), (2, 2)), "001 000 000"),
]


@pytest.mark.parametrize(("what", "stroke", "expected"), STROKES, ids=[row[0] for row in STROKES])
def test_a_stroke(what: str, stroke: Any, expected: str) -> None:
    assert stroke(np.zeros((3, 3), np.uint8)).tolist() == grid(expected).tolist()


def test_the_last_row_stays() -> None:
    with pytest.raises(ChartError):
        strokes.remove(np.zeros((2, 2), np.uint8), 0, 0, 2)


# Undo without end


@given(st.lists(st.tuples(st.integers(0, 23), st.integers(0, 23), st.integers(0, 1)), max_size=30))
def test_every_stroke_can_be_undone_and_done_again(points: list[tuple[int, int, int]]) -> None:
    document = Document(*_empty())
    states = [document.state]
    for row, stitch, colour in points:
        edited(document, "paint", chart="a.txt", points=[[row, stitch]], colour=colour)
        if document.state is not states[-1]:
            states.append(document.state)
    for state in reversed(states[:-1]):
        document.undo()
        assert document.state is state
    assert not document.can_undo
    for state in states[1:]:
        document.redo()
        assert document.state is state
    assert not document.can_redo


def _empty() -> tuple[Any, Any]:
    document = keep.open_empty(Folder(Path()), "a", 24, 24, "standard-200")
    return document.sources, document.state


def test_a_stroke_keeps_only_the_row_that_it_changed() -> None:
    document = Document(*_empty())
    before = document.state.drawings["a.txt"]
    edited(document, "paint", chart="a.txt", points=[[3, 3]], colour=1)
    after = document.state.drawings["a.txt"]
    assert [n for n, (old, new) in enumerate(zip(before.rows, after.rows, strict=True)) if old is not new] == [3]


def test_an_edit_that_is_refused_changes_nothing(folder: Folder) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    refused: list[tuple[str, dict[str, Any]]] = [
        ("paint", {"chart": "none.png", "points": [[0, 0]], "colour": 1}),
        ("paint", {"chart": "gulls-and-waves.png", "points": [[0, 0]], "colour": 7}),
        ("remove-band", {"band": 99}),
        ("mend", {"band": 1, "key": "rows = 1; import os"}),
        ("option", {"band": 1, "key": 5, "value": 1}),
    ]
    for name, how in refused:
        with pytest.raises((LatchlineError, KeyError, TypeError, ValueError)):
            edited(document, name, **how)
    assert (document.serial, document.can_undo) == (1, False)


# Saving


@pytest.mark.parametrize("name", keep.example_names())
def test_an_example_needs_no_file_of_the_folder_and_leaves_there_what_it_needs(tmp_path: Path, name: str) -> None:
    empty = Folder.of(tmp_path)[0]
    document = keep.open_example(empty, name)
    fingerprint = document.looked.plan.fingerprint
    keep.save(empty, document, name)
    assert document.looked.plan.fingerprint == load_piece(tmp_path / name).plan().fingerprint == fingerprint


@pytest.mark.parametrize("name", keep.example_names())
def test_an_example_opened_and_saved_is_the_same_byte_for_byte(folder: Folder, name: str) -> None:
    before = {path.name: path.read_bytes() for path in folder.path.iterdir()}
    document = keep.open_file(folder, name)
    keep.save(folder, document, name)
    assert {path.name: path.read_bytes() for path in folder.path.iterdir()} == before


def test_a_changed_option_changes_its_line_only(folder: Folder) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    before = document.state.text.splitlines()
    edited(document, "option", band=5, key="reversal", value="every:2")
    keep.save(folder, document, "harbour-blanket.toml")
    after = (folder.path / "harbour-blanket.toml").read_text().splitlines()
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [
        ('reversal = "on"', 'reversal = "every:2"')
    ]


def test_bands_change_places_with_their_comments(folder: Folder) -> None:
    text = 'name = "x"\n\n# first\n[[bands]]\nname = "a" # plain\nrows = 2\n\n[[bands]]\nname = "b" # wavy\nrows = 3\n'
    moved = written.move_band(text, 1, 0)
    assert [band["name"] for band in written.values_of(moved)["bands"]] == ["b", "a"]
    assert '"b" # wavy' in moved
    assert '"a" # plain' in moved


cells_of = st.integers(1, 9).flatmap(
    lambda wide: st.lists(st.lists(st.integers(0, 15), min_size=wide, max_size=wide), min_size=1, max_size=9)
)


@given(cells_of, st.permutations(range(16)))
def test_a_chart_written_as_text_is_read_as_it_was(cells: list[list[int]], order: list[int]) -> None:
    palette = tuple(Colour(17 * n, 255 - 9 * n, n, f"yarn {n}" if n % 3 else "") for n in order)
    chart = Chart(np.array(cells, np.uint8), palette)
    read = parse_chart(chart_text(chart).encode(), "x.txt")
    assert read.cells.tolist() == chart.cells.tolist()
    assert [colour.hex for colour in read.palette] == [colour.hex for colour in palette]


def test_a_chart_written_as_a_picture_shows_its_cells() -> None:
    chart = Chart(grid("01 10 00"), (Colour(255, 255, 255), Colour(0, 0, 0)))
    assert read_chart_bytes(chart_png(chart)).cells.tolist() == chart.cells.tolist()


def read_chart_bytes(data: bytes) -> Chart:
    return parse_chart(data, "x.png")


def test_a_picture_whose_colours_would_change_places_is_saved_as_text(folder: Folder) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    edited(document, "colour", chart="gulls-and-waves.png", index=0, hex="#000000")
    edited(document, "colour", chart="gulls-and-waves.png", index=1, hex="#ffffff")
    before = document.looked.plan.fingerprint
    assert "gulls-and-waves.txt" in keep.save(folder, document, "night")
    assert load_piece(folder.path / "night.toml").plan().fingerprint == before
    assert document.looked.plan.fingerprint == before


def test_drawn_saved_and_reopened_it_is_the_same_piece(folder: Folder) -> None:
    document = keep.open_file(folder, "signal-flags.toml")
    (chart,) = document.state.drawings
    edited(document, "paint", chart=chart, points=[[0, 0], [9, 9]], colour=1)
    edited(document, "insert", chart=chart, what="rows", at=2, count=2)
    before = document.looked.plan.fingerprint
    keep.save(folder, document, "signal-flags.toml")
    assert document.kept
    assert keep.open_file(folder, "signal-flags.toml").looked.plan.fingerprint == before


def test_saving_never_takes_the_place_of_a_stranger(folder: Folder) -> None:
    document = keep.open_example(folder, "tide-mat.toml")
    with pytest.raises(InputError):
        keep.save(folder, document, "tide-mat.toml")
    keep.save(folder, document, "tide-mat.toml", replace=True)


@pytest.mark.parametrize("opened", [keep.open_file, keep.open_example])
def test_saved_under_a_new_name_a_piece_leaves_the_drawings_of_others_alone(folder: Folder, opened: Any) -> None:
    document = opened(folder, "harbour-blanket.toml")
    edited(document, "shift", chart="gulls-and-waves.png", rows=1, stitches=0)
    fingerprint = document.looked.plan.fingerprint
    (folder.path / "harbour-lettering.png").write_bytes((folder.path / "signal-flags.png").read_bytes())
    before = {path.name: path.read_bytes() for path in folder.path.iterdir()}
    assert before.keys().isdisjoint(keep.save(folder, document, "ex"))
    assert {name: (folder.path / name).read_bytes() for name in before} == before
    if opened is keep.open_example:
        assert load_piece(folder.path / "ex.toml").plan().fingerprint == fingerprint
    assert keep.save(folder, document, "ex.toml") == ["ex.toml"]


def test_a_drawing_of_another_piece_that_a_band_was_given_is_not_written_over(folder: Folder) -> None:
    before = (folder.path / "signal-flags.png").read_bytes()
    document = keep.open_file(folder, "harbour-blanket.toml")
    edited(document, "option", band=1, key="chart", value="signal-flags.png")
    edited(document, "paint", chart="signal-flags.png", points=[[0, 0], [9, 9]], colour=1)
    assert "signal-flags.png" not in keep.save(folder, document, "harbour-blanket.toml")
    assert (folder.path / "signal-flags.png").read_bytes() == before


def test_saved_in_place_a_piece_keeps_the_names_of_its_drawings(folder: Folder) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    for _ in range(2):
        edited(document, "shift", chart="gulls-and-waves.png", rows=1, stitches=0)
        assert keep.save(folder, document, "harbour-blanket.toml") == ["harbour-blanket.toml", "gulls-and-waves.png"]


def test_drawing_settles_the_colours_that_were_asked_for(folder: Folder) -> None:
    (folder.path / "three.txt").write_text("ab.\n.ab\n")
    (folder.path / "three.toml").write_text('[[bands]]\ntechnique = "fair-isle"\nchart = "three.txt"\ncolours = 2\n')
    document = keep.open_file(folder, "three.toml")
    assert document.state.drawings["three.txt"].chart("").colours == 2
    edited(document, "paint", chart="three.txt", points=[[0, 0]], colour=1)
    assert "colours" not in document.state.text
    assert document.looked.trouble is None
    document.undo()
    assert "colours = 2" in document.state.text


# The folder's own files only


OUTSIDE = {
    "a chart": [("option", {"band": 1, "key": "chart", "value": "../secret.txt"})],
    "a chart by its whole path": [("option", {"band": 1, "key": "chart", "value": "{outside}/secret.txt"})],
    "a link": [("option", {"band": 1, "key": "chart", "value": "link.txt"})],
    "a machine": [("piece", {"key": "machine", "value": "../secret.toml"})],
    "a machine by its whole path": [("piece", {"key": "machine", "value": "{outside}/secret.toml"})],
    "a machine's driver": [("piece", {"key": "machine", "value": "own.toml"})],
    "yarns": [("piece", {"key": "yarns_file", "value": "../secret.toml"})],
    "signs": [
        ("option", {"band": 1, "key": "chart", "value": None}),
        ("option", {"band": 1, "key": "technique", "value": "stocking"}),
        ("option", {"band": 1, "key": "signs", "value": "../secret.txt"}),
    ],
    "no name at all": [("option", {"band": 1, "key": "chart", "value": "a\0b"})],
}


@pytest.fixture
def secret(folder: Folder) -> Path:
    """The folder outside, with what nobody on the page may read."""
    outside = folder.path.parent
    (outside / "secret.txt").write_text("#.\n.#\n")
    profile = profile_text("standard-200")
    (outside / "secret.toml").write_text(profile)
    (folder.path / "own.toml").write_text(re.sub(r"(?m)^driver = .*$", 'driver = "../secret.toml"', profile))
    (folder.path / "link.txt").symlink_to(outside / "secret.txt")
    return outside


@pytest.mark.parametrize("edits", OUTSIDE.values(), ids=OUTSIDE.keys())
def test_nothing_that_a_page_names_is_read_outside_the_folder(folder: Folder, secret: Path, edits: Any) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    for name, how in edits:
        value = how["value"] and how["value"].format(outside=secret)
        edited(document, name, **how | {"value": value})
    trouble = document.looked.trouble
    assert trouble is not None
    assert trouble.what == "the desk uses files of its own folder only"
    assert f'"{edits[-1][1]["key"]}"' in trouble.where.replace("bands.2.", "")
    assert not any("secret" in name or "link" in name for name in document.state.drawings)


def test_a_dropped_piece_and_a_new_one_read_nothing_outside_the_folder(folder: Folder, secret: Path) -> None:
    text = '[[bands]]\ntechnique = "fair-isle"\nchart = "../secret.txt"\n'
    trouble = keep.open_given(folder, "x.toml", text.encode()).looked.trouble
    assert trouble is not None
    assert trouble.what == "the desk uses files of its own folder only"
    with pytest.raises(InputError, match="its own folder only"):
        keep.open_empty(folder, "a", 24, 24, "../secret.toml")


def test_the_piece_that_the_command_named_reads_what_it_names_itself(folder: Folder, secret: Path) -> None:
    path = folder.path / "mine.toml"
    path.write_text('machine = "../secret.toml"\n[[bands]]\ntechnique = "fair-isle"\nchart = "../secret.txt"\n')
    opened, first = Folder.of(path)
    document = keep.open_file(opened, first)
    assert document.looked.trouble is None
    edited(document, "paint", chart="../secret.txt", points=[[0, 0]], colour=1)
    assert keep.save(opened, document, first) == ["mine.toml", "secret.txt"]
    assert (secret / "secret.txt").read_text() == "#.\n.#\n"
    assert document.looked.trouble is None
    assert keep.open_file(folder, "mine.toml").looked.trouble is not None  # to a desk that was not told of it


# What is no piece


NO_PIECES = [
    ('name = "x"\n[[bands]]\ntechnique = "stocking"\nrows = nan\n', 4, "bands.1.rows"),
    ("[gauge]\nstitches = inf\nrows = 3\nwidth_mm = 3\nheight_mm = 3\n[[bands]]\n", 2, "gauge.stitches"),
    ("name = 2026-01-01\n", 1, "name"),
    ('bands = ["a"]\n', 1, "bands"),
    ("bands = 3\n", 1, "bands"),
    ("yarns = 3\n", 1, "yarns"),
    ("yarns.main = 3\n", 1, "yarns.main"),
    ("[[bands\n", 1, ""),
    ('[[bands]]\ntechnique = "stocking"\n' + ".".join(["a"] * 2000) + " = 1\n", 1, "bands.1.a"),
]


@pytest.mark.parametrize(("text", "line", "key"), NO_PIECES, ids=[row[0][:20].strip() for row in NO_PIECES])
def test_what_is_no_piece_is_one_sentence_for_page_and_command(folder: Folder, text: str, line: int, key: str) -> None:
    (folder.path / "x.toml").write_text(text)
    with pytest.raises(PieceError) as told:
        keep.open_file(folder, "x.toml")
    assert f"line {line}" in told.value.where
    assert key in told.value.where
    with pytest.raises(PieceError):
        keep.open_given(folder, "x.toml", text.encode())
    for command in ("check", "desk"):
        ran = run(command, folder.path / "x.toml")
        assert ran.status == 2
        assert ran.err.startswith("latchline: ")
        assert ran.err.rstrip().endswith(told.value.sentence().removeprefix("x.toml"))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1 << 70])
def test_a_number_that_no_file_can_hold_changes_nothing(folder: Folder, value: float) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    with contextlib.suppress(PieceError):
        edited(document, "option", band=1, key="rows", value=value)
    assert document.serial == 1 or document.looked.trouble is not None
    with contextlib.suppress(PieceError):
        edited(document, "piece", key="bands", value=3)
    assert "gulls-and-waves.png" in document.state.drawings


def test_a_chart_that_is_no_name_is_told_of(folder: Folder) -> None:
    text = '[[bands]]\ntechnique = "fair-isle"\nchart = ["a"]\ncolours = 2\n'
    trouble = keep.open_given(folder, "x.toml", text.encode()).looked.trouble
    assert trouble is not None
    assert trouble.what == "expected text, found a list"


# Options: the page, the piece file and the command line are one


@pytest.mark.parametrize("choice", CHOICES, ids=[choice.key for choice in CHOICES])
def test_an_option_set_at_the_desk_makes_the_plan_that_the_command_makes(folder: Folder, choice: Choice) -> None:
    document = keep.open_file(folder, choice.on.chart)
    for key, value in choice.on.piece.items():
        edited(document, "piece", key=key, value=value)
    for key, value in choice.on.band.items():
        edited(document, "option", band=0, key=key, value=value)
    before = document.looked.plan.fingerprint
    if choice.of == "piece":
        edited(document, "piece", key=choice.key, value=choice.value)
    else:
        edited(document, "option", band=0, key=choice.key, value=choice.value)
    after = document.looked.plan.fingerprint
    ran = run("compile", folder.path / choice.on.chart, *choice.on.words, *choice.words, "--format", "json")
    assert ran.status == 0, ran.err
    assert f"{after:08x}" in ran.out
    assert (after == before) is (choice.key in SAME_PLAN)


def test_every_option_that_the_commands_have_is_tried() -> None:
    assert {choice.key for choice in CHOICES} == {option.name for option in spoken_options()}


def test_the_form_has_every_option() -> None:
    fields = form()
    assert {field["name"] for part in fields.values() for field in part} == {option.name for option in OPTIONS}
    assert [field["name"] for field in fields["band"]] == [TECHNIQUE.name, *(option.name for option in BAND_OPTIONS)]
    assert [field["name"] for field in fields["drawing"]] == [option.name for option in DRAWING_OPTIONS]
    assert all(field["values"] for part in fields.values() for field in part if field["control"] == "choice")


def test_a_value_that_cannot_be_is_told_with_its_key(folder: Folder) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    edited(document, "option", band=1, key="row_repeat", value=0)
    trouble = document.looked.trouble
    assert trouble is not None
    assert trouble.hint
    assert "row_repeat" in trouble.where
    document.undo()
    assert document.looked.trouble is None


# Findings


def looked_at(document: Document) -> Looked:
    return document.looked


def test_a_finding_marks_the_cells_that_it_speaks_of(folder: Folder) -> None:
    (folder.path / "float.txt").write_text("#..........#\n############\n")
    document = keep.open_file(folder, "float.txt")
    found = verdict(looked_at(document))["findings"]
    floats = [item for item in found if item["rule"].startswith("float")]
    assert floats
    assert all(cell[0] == 1 for item in floats for place in item["at"] for cell in place["cells"])
    assert {cell[1] for item in floats for cell in item["cells"]} <= set(range(1, 11))


def test_a_finding_in_a_band_knitted_several_times_marks_its_drawing_and_mends_its_table(folder: Folder) -> None:
    (folder.path / "float.txt").write_text("#..........#\n############\n")
    band = '[[bands]]\nname = "{}"\ntechnique = "fair-isle"\nchart = "float.txt"\n'
    (folder.path / "x.toml").write_text(
        band.format("once") + band.format("often") + "times = 3\n" + band.format("last")
    )
    found = verdict(keep.open_file(folder, "x.toml").looked)["findings"]
    floats = [item for item in found if item["rule"].startswith("float")]
    places = [place for item in floats for place in item["at"]]
    assert {place["band"] for place in places if place["cells"]} == {"once", "often 1", "often 2", "often 3", "last"}
    assert {mend["band"] for item in floats for mend in item["mends"]} == {0, 1, 2}


def test_what_is_alike_in_several_bands_is_told_once(folder: Folder) -> None:
    (found,) = verdict(keep.open_file(folder, "harbour-blanket.toml").looked)["findings"]
    assert (found["rule"], found["what"], found["more"]) == ("weights", "", 0)
    told = [(place["band"], place["what"]) for place in found["at"]]
    assert sorted(band for band, _ in told) == ["gulls and waves", "gulls and waves, night", "lettering"]
    assert len({what for _, what in told}) == 2  # twice in two of them, once in the other


@pytest.mark.parametrize("name", keep.example_names())
def test_no_finding_and_no_mend_gets_lost_where_they_are_told_together(folder: Folder, name: str) -> None:
    looked = keep.open_example(folder, name).looked
    every, told = findings(looked.plan, looked.piece.limits), verdict(looked)["findings"]
    assert sum(len(one["at"]) + one["more"] for one in told) == len(every)
    for one in told:
        assert {item.band for item in every if item.rule == one["rule"]} >= {place["band"] for place in one["at"]}
        places = {place["band"] for place in one["at"]}
        alike = {
            item.band for item in every if (item.rule, item.why, item.todo) == (one["rule"], one["why"], one["todo"])
        }
        assert places == alike


def test_an_edits_answer_tells_the_size(folder: Folder) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    judged = verdict(document.looked)
    assert size(document.looked) == {key: judged[key] for key in ("passes", "width", "size_cm", "gauge", "estimated")}


def test_marks_follow_the_drawing_when_it_is_turned_and_mirrored(folder: Folder) -> None:
    (folder.path / "float.txt").write_text("\n".join(["#." for _ in range(2)] + [".."] * 10 + ["#."]) + "\n")
    document = keep.open_file(folder, "float.txt")
    edited(document, "option", band=0, key="turn", value=1)
    floats = [item for item in verdict(document.looked)["findings"] if item["rule"].startswith("float")]
    marked = {tuple(cell) for item in floats for cell in item["cells"]}
    cells = document.state.drawings["float.txt"].cells()
    assert marked
    assert all(cells[cell] == 0 for cell in marked)


@pytest.mark.parametrize("technique", ["tuck", "slip", "fair-isle"])
def test_every_mend_offered_can_be_pressed_and_undone_as_one(folder: Folder, technique: str) -> None:
    document = keep.open_file(folder, "harbour-blanket.toml")
    edited(document, "option", band=1, key="technique", value=technique)
    mends = [mend for item in verdict(document.looked)["findings"] for mend in item["mends"]]
    for mend in mends:
        before = document.state
        edited(document, "mend", band=mend["band"], key=mend["key"])
        assert document.looked.trouble is None
        if document.state is not before:
            document.undo()
        assert document.state is before


# A photograph


def photograph(kind: str, size: tuple[int, int] = (400, 200)) -> bytes:
    picture = Image.new("RGB", size, "#f0e8d8")
    picture.paste("#203050", (0, 0, size[0] // 2, size[1]))
    out = io.BytesIO()
    picture.save(out, kind)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_a_photograph_keeps_its_proportions_in_the_fabric(kind: str) -> None:
    chart = chart_of(photograph(kind), "gull", [0, 0, 0, 0], 40, 2, Gauge(30, 39))
    assert (chart.stitches, chart.rows) == (40, 26)
    assert chart.colours == 2
    assert np.count_nonzero(chart.cells[:, :19] == chart.cells[0, 0]) == 19 * 26


def test_a_photograph_is_cut_before_it_is_made_small() -> None:
    chart = chart_of(photograph("PNG"), "gull", [60, 0, 0, 50], 20, 2, Gauge(30, 30))
    assert (chart.stitches, chart.rows, chart.colours) == (20, 12, 1)


@pytest.mark.parametrize("data", [b"", b"nonsense", photograph("PNG")[:200], b"\x89PNG\r\n\x1a\n" + b"\0" * 50])
def test_what_is_no_picture_is_one_sentence(data: bytes) -> None:
    with pytest.raises(ChartError):
        chart_of(data, "gull", [0, 0, 0, 0], 20, 2, Gauge(30, 39))


def test_a_picture_that_is_too_large_is_said_to_be() -> None:
    head = b"IHDR" + (30_000).to_bytes(4, "big") * 2 + b"\x08\x02\0\0\0"
    data = b"\x89PNG\r\n\x1a\n" + (13).to_bytes(4, "big") + head + zlib.crc32(head).to_bytes(4, "big")
    data += b"\0\0\0\0IDAT" + zlib.crc32(b"IDAT").to_bytes(4, "big")
    with pytest.raises(ChartError, match="too large"):
        chart_of(data, "gull", [0, 0, 0, 0], 20, 2, Gauge(30, 39))


@pytest.mark.parametrize(
    ("cut", "colours", "what"),
    [([-1, 0, 0, 0], 2, "cut off"), ([0, 96, 0, 0], 2, "cut off"), ([0] * 4, 0, "0 colours")],
)
def test_what_a_picture_cannot_become_is_one_sentence(cut: list[float], colours: int, what: str) -> None:
    with pytest.raises(ChartError, match=what):
        chart_of(photograph("PNG"), "gull", cut, 20, colours, Gauge(30, 39))


@pytest.mark.parametrize(("first", "last"), [(-5, 3), (0, 1), (4, 3)])
def test_passes_that_are_none_have_no_picture(folder: Folder, first: int, last: int) -> None:
    with pytest.raises(InputError, match="no passes"):
        fabric(keep.open_file(folder, "signal-flags.toml").looked, "knit", 8, first, last)


def test_a_drawing_is_told_by_its_rows() -> None:
    drawn = Drawn.of(grid("01 10"), (Colour(0, 0, 0), Colour(9, 9, 9)))
    assert drawn.chart("x").cells.tolist() == [[1, 0], [0, 1]]


# Slow motion


@pytest.mark.parametrize("name", keep.example_names())
def test_what_is_shown_in_slow_motion_is_the_plan(folder: Folder, name: str) -> None:
    looked = keep.open_example(folder, name).looked
    plan = looked.plan
    for first in range(1, plan.passes + 1, PASSES_MAX):
        last = min(first + PASSES_MAX - 1, plan.passes)
        told = slow_motion(looked, first, last)
        assert [one["number"] for one in told["shown"]] == list(range(first, last + 1))
        for key, masks in (("acting", plan.acting_masks(first, last)), ("driven", plan.driven_masks(first, last))):
            assert [[mark == "1" for mark in one[key]] for one in told["shown"]] == masks.tolist()
        acts = does(plan, first, last)
        assert [[DOES[Does(code)] for code in row] for row in acts.tolist()] == [
            list(one["does"]) for one in told["shown"]
        ]
        for one in told["shown"]:  # a knitted stitch leaves one loop, of a yarn that the pass carries
            carried = {one["first_yarn"], one["second_yarn"]}
            assert all(
                len(loops) == 1 and set(loops) <= carried
                for act, loops in zip(one["does"], one["after"], strict=True)
                if act in "kcou"
            )


def test_each_needle_of_the_second_bed_keeps_its_loop_until_it_knits_again(folder: Folder) -> None:
    """Backed lightly, its needles knit by turns, with the one yarn that the pass carries."""
    looked = keep.open_example(folder, "bench-bunting.toml").looked
    hangs: list[int] = []
    for first in (1, 41):
        for one in slow_motion(looked, first, first + 39)["shown"]:
            does, before, after = (one[f"second_{key}"] for key in ("does", "before", "after"))
            assert len(before) == len(after) == len(does) == 60
            assert set(does) == {"k", "m"}
            assert before == (hangs or before)
            assert after == [one["first_yarn"] if act == "k" else loop for act, loop in zip(does, before, strict=True)]
            hangs = after
    assert (
        slow_motion(looked, 41, 41)["shown"][0]["second_after"]
        == slow_motion(looked, 2, 41)["shown"][-1]["second_after"]
    )
    assert slow_motion(keep.open_example(folder, "harbour-blanket.toml").looked, 1, 1)["shown"][0]["second_does"] == ""


def test_no_more_passes_are_shown_than_a_page_can_use(folder: Folder) -> None:
    with pytest.raises(InputError, match="at most 40"):
        slow_motion(keep.open_example(folder, "harbour-blanket.toml").looked, 1, 60)


def test_the_pages_reference_names_every_question_and_every_edit() -> None:
    told = (Path(__file__).parents[2] / "docs" / "reference" / "page.md").read_text()
    assert [path for path in QUESTIONS if f"{path}`" not in told] == []
    assert [name for name in EDITS if f"`{name}`" not in told] == []
