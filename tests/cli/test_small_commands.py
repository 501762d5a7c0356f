"""The commands that list and copy, and the way the command line greets."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from cli.running import run

from latchline.cli import COMMANDS
from latchline.machine.profile import load_profile, shipped_profiles
from latchline.technique.table import TECHNIQUES


def test_help_lists_every_command_without_loading_any() -> None:
    code = (
        "import sys; from latchline.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print([m for m in ('numpy', 'PIL', 'serial', 'rich', 'reportlab') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for name in COMMANDS:
        assert f"\n  {name} " in out
    assert out.rstrip().endswith("[]")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name: str) -> None:
    ran = run(name, "--help")
    assert ran.status == 0
    assert ran.out.startswith(f"Usage: latchline {name}")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["unravel"], "latchline: No such command 'unravel'; see `latchline --help`.\n"),
        (["check", "--changer", "middle"], "; see `latchline check --help`.\n"),
        (["compile", "--rows", "some"], "; see `latchline compile --help`.\n"),
        (["budget"], "latchline: Missing argument 'PROFILE'; see `latchline budget --help`.\n"),
    ],
)
def test_wrong_use_gets_one_sentence_that_says_where_to_look(arguments: list[str], said: str) -> None:
    ran = run(*arguments)
    assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert ran.err.endswith(said)


def test_help_names_every_technique_and_separation() -> None:
    said = run("compile", "--help").out
    for name in (*TECHNIQUES, *(way.name for technique in TECHNIQUES.values() for way in technique.separations)):
        assert re.search(rf"\b{name}\b", said.replace("-\n" + " " * 34, "-")), name


@pytest.mark.parametrize(
    "arguments", [["preview", "gull.txt", "--out"], ["sheet", "gull.txt", "--out"], ["budget", "mid-150", "--report"]]
)
def test_a_file_to_be_written_into_no_folder_is_named(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("gull.txt").write_text(".#.\n#.#\n")
    out = {"preview": "none/a.png", "sheet": "none/a.pdf", "budget": "none/a.html"}[arguments[0]]
    ran = run(*arguments, out)
    assert (ran.status, ran.err.splitlines()[-1]) == (2, f"latchline: {out}: there is no folder none; make it first.")


def test_a_bundle_that_cannot_be_written_is_refused_before_the_walk() -> None:
    ran = run("doctor", "--port", "sim://standard-200", "--bundle", "none/question.zip")
    assert (ran.status, ran.out) == (2, "")
    assert ran.err == "latchline: none/question.zip: there is no folder none; make it first.\n"


def test_profiles_lists_what_ships_and_prints_a_file_to_start_from(tmp_path: Path) -> None:
    assert [line.split()[0] for line in run("profiles").out.splitlines()] == shipped_profiles()
    copy = tmp_path / "mine.toml"
    copy.write_text(run("profiles", "mid-150").out)
    assert load_profile(str(copy)).needles == 150
    assert {row["name"] for row in json.loads(run("profiles", "--json").out)} == set(shipped_profiles())


def test_examples_are_copied_once_and_replaced_only_when_asked(tmp_path: Path) -> None:
    folder = tmp_path / "pieces"
    ran = run("examples", folder)
    assert ran.status == 0
    assert (folder / "harbour-blanket.toml").exists()
    (folder / "tide-mat.toml").write_text("mine")
    again = run("examples", folder)
    assert again.status == 2
    assert "--replace" in again.err
    assert (folder / "tide-mat.toml").read_text() == "mine"
    assert run("examples", folder, "--replace").status == 0
    assert (folder / "tide-mat.toml").read_text() != "mine"


def test_examples_into_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ran = run("examples", tmp_path / "file")
    assert (ran.status, ran.err.count("\n")) == (2, 1)


def test_ports_are_listed_as_json() -> None:
    assert isinstance(json.loads(run("ports", "--json").out), list)
