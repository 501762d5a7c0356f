"""`latchline dry-run`: the main job in one command, its results for people and for programs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.running import run
from vcdvcd import VCDVCD


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "waves.txt"
    path.write_text("#..#\n.##.\n")
    return path


def test_every_needle_is_compared_and_the_result_is_said(chart: Path) -> None:
    ran = run("dry-run", chart, "--rows", 4)
    assert ran.status == 0
    assert ran.out.startswith("Knitted 4 of 4 passes in ")
    assert ran.out.endswith("Compared 800 needles with the plan: every needle stands as planned.\n")


def test_away_from_a_terminal_no_bar_is_drawn(chart: Path) -> None:
    ran = run("dry-run", chart)
    assert ran.err.count("\n") == 1
    assert "\x1b" not in ran.err + ran.out
    assert "\r" not in ran.err + ran.out


def test_the_result_for_programs_carries_the_fingerprint_of_the_plan(chart: Path) -> None:
    value = json.loads(run("dry-run", chart, "--json").out)
    assert (value["as_planned"], value["done"], value["passes"], value["wrong"]) == (True, 2, 2, [])
    assert value["fingerprint"] == json.loads(run("compile", chart, "--json").out)["fingerprint"]


def test_needles_that_stand_otherwise_are_named_and_end_with_status_1(chart: Path) -> None:
    broken = ("--fault", "coil-stuck:4", "--needles", "L16-R16")
    ran = run("dry-run", chart, *broken)
    assert ran.status == 1
    assert "needle L16: selected, against the plan." in ran.out
    value = json.loads(run("dry-run", chart, *broken, "--json").out)
    assert not value["as_planned"]
    assert {(wrong["needle"], wrong["selected"]) for wrong in value["wrong"]} >= {("L16", True)}
    assert f"{len(value['wrong'])} differ." in ran.out


def test_a_trace_is_written_that_another_program_reads(chart: Path, tmp_path: Path) -> None:
    trace = tmp_path / "run.vcd"
    assert run("dry-run", chart, "--trace", trace).status == 0
    assert {int(value, 2) for _, value in VCDVCD(str(trace))["board.pass"].tv} >= {0, 1, 2}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--fault", "earthquake"], 'no fault is called "earthquake"'),
        (["--trace", "nowhere/run.vcd"], "nowhere"),
    ],
)
def test_what_cannot_be_simulated_is_said_in_one_sentence(arguments: list[str], said: str, chart: Path) -> None:
    ran = run("dry-run", chart, *arguments)
    assert ran.status == 2
    assert said in ran.err.splitlines()[-1]
    assert ran.out == ""


def test_a_pace_beyond_any_hand_is_said_to_be_so(chart: Path) -> None:
    ran = run("dry-run", chart, "--pace", 400)
    assert ran.status == 0
    assert "No hand keeps 400 rows a minute over these needles; this one comes to about " in ran.err
    assert "No hand" not in run("dry-run", chart, "--pace", 30).err
