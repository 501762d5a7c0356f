"""`latchline timing`, on journals that the simulator filled."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from cli.running import run
from PIL import Image

from latchline.cli.terminal import knit
from latchline.knit.journal import Journal
from latchline.link.port import open_port
from latchline.piece.file import load_piece
from latchline.sim.port import register

PIECE = """
name = "strip"
machine = "standard-200"
needles = "L10-R10"

[[bands]]
name = "ground"
technique = "fair-isle"
rows = 12
alternate_needles = "only"
"""


def knit_strip(folder: Path, seed: int) -> Path:
    (folder / "strip.toml").write_text(PIECE, encoding="utf-8")
    plan = load_piece(folder / "strip.toml").plan()
    path = folder / f"strip-{seed}.latchline"
    register()
    port = open_port(f"sim://standard-200?seed={seed}")
    with Journal.create(path, plan) as journal:
        knit(port, plan, journal, say=lambda _: None, agrees=True, waits_at_bands=False)
    port.close()
    return path


@pytest.fixture(scope="module")
def journals(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("journals")
    return [knit_strip(folder, seed) for seed in (1, 2)]


def test_the_table_has_a_line_for_each_pass_and_a_summary(journals: list[Path]) -> None:
    ran = run("timing", journals[0])
    assert ran.status == 0
    assert len([line for line in ran.out.splitlines() if "ward" in line]) == 12
    assert "12 passes, in " in ran.out


def test_csv_and_json_tell_the_same(journals: list[Path]) -> None:
    rows = list(csv.DictReader(io.StringIO(run("timing", journals[0], "--format", "csv").out)))
    value = json.loads(run("timing", journals[0], "--json").out)
    assert value["piece"] == "strip"
    assert [int(row["pass"]) for row in rows] == [one["pass"] for one in value["passes"]] == list(range(1, 13))
    assert [float(row["duration_s"]) for row in rows] == [one["duration_s"] for one in value["passes"]]


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_the_picture_is_written_whole(journals: list[Path], ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"session.{ending}"
    assert run("timing", journals[0], "--picture", path).status == 0
    if ending == "png":
        Image.open(path).verify()
    else:
        assert path.read_text(encoding="utf-8").endswith("</svg>")
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_two_sessions_are_set_side_by_side(journals: list[Path]) -> None:
    out = run("timing", *journals).out
    assert "± (95 %)" in out
    value = json.loads(run("timing", *journals, "--json").out)
    assert value["compared"][0]["figures"][0]["name"] == "speed_m_s"


def test_without_a_name_the_newest_journal_is_taken(
    journals: list[Path], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    ran = run("timing")
    assert ran.status == 1
    assert "there is no journal yet" in ran.err
    folder = tmp_path / "latchline"
    folder.mkdir()
    (folder / "one.latchline").write_bytes(journals[0].read_bytes())
    assert "12 passes" in run("timing").out
    Journal.create(folder / "two.latchline", load_piece(journals[0].parent / "strip.toml").plan()).close()
    assert "12 passes" in run("timing").out, "one that was begun and left without a pass hides nothing"


@pytest.mark.parametrize(
    ("arguments", "says", "status"),
    [
        (["no-such.latchline"], "there is no such journal", 1),
        (["a.latchline", "b.latchline", "--format", "csv"], "a CSV or a picture is of one journal", 2),
    ],
)
def test_a_wrong_request_gets_one_sentence(arguments: list[str], says: str, status: int) -> None:
    ran = run("timing", *arguments)
    assert (ran.status, ran.out) == (status, "")
    assert says in ran.err


def test_a_picture_of_an_unknown_kind_and_an_empty_journal_get_one_sentence(
    journals: list[Path], tmp_path: Path
) -> None:
    ran = run("timing", journals[0], "--picture", tmp_path / "session.gif")
    assert ran.status == 2
    assert ".png, .svg" in ran.err
    empty = tmp_path / "empty.latchline"
    Journal.create(empty, load_piece(journals[0].parent / "strip.toml").plan()).close()
    ran = run("timing", empty)
    assert ran.status == 1
    assert "no pass has been knitted yet" in ran.err
