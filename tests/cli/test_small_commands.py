"""The commands that list and copy, and the way the command line greets."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from cli.running import run

from latchline.cli import COMMANDS
from latchline.machine.profile import load_profile, shipped_profiles


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


def test_an_unknown_command_is_wrong_use() -> None:
    assert run("unravel").status == 2


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
