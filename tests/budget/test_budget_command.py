"""`latchline budget` at the command line: figures on standard output, one sentence for what cannot be."""

from __future__ import annotations

import json
import re
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from cli.running import run

from latchline.budget.report import figure_text
from latchline.machine.demand import measure_demand
from latchline.machine.profile import load_profile
from latchline.piece.file import load_piece

PROFILES = resources.files("latchline") / "profiles"
EXAMPLES = resources.files("latchline") / "examples"


def budget(*arguments: str) -> tuple[int, str, str]:
    ran = run("budget", *arguments)
    return ran.status, ran.out, ran.err


def changed(tmp_path: Path, old: str, new: str) -> str:
    """The standard profile with one line changed, as a file of the user's."""
    text = (PROFILES / "standard-200.toml").read_text(encoding="utf-8")
    assert old in text
    file = tmp_path / "mine.toml"
    file.write_text(text.replace(old, new), encoding="utf-8")
    return str(file)


def test_a_build_within_its_ratings_ends_with_status_0() -> None:
    status, out, err = budget("standard-200")
    assert status == 0
    assert "Verdict: ok" in out
    assert err == ""


def test_a_broken_rating_ends_with_status_1_and_says_do_not_build(tmp_path: Path) -> None:
    status, out, _ = budget(changed(tmp_path, "resistance_ohm = 120.0", "resistance_ohm = 60.0"))
    assert status == 1
    assert "do not build this" in out
    assert re.search("^no +coil current, cold coil and high supply", out, re.MULTILINE)


def test_nonsense_is_one_sentence_and_status_2(tmp_path: Path) -> None:
    status, out, err = budget(changed(tmp_path, "pull_in_a = 0.06", "pull_in_a = 0.6"))
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "can never reach its pull-in current" in err


def test_the_figures_for_programs_are_those_of_the_pieces_own_masks() -> None:
    file = str(EXAMPLES / "harbour-blanket.toml")
    status, out, _ = budget("standard-200", file, "--pace", "24", "--json")
    assert status == 0
    data = json.loads(out)
    plan = load_piece(file).plan()
    demand = measure_demand(plan.profile, plan.driven_masks(), plan.span.first, 24, plan.rightward)
    assert data["of_piece"] is True
    assert data["demand"]["passes"] == plan.passes
    assert [one["duty"] for one in data["selectors"]] == pytest.approx(list(demand.duty))
    assert min(demand.duty) > 0


def test_a_chart_with_options_is_budgeted_on_the_profile_named_first() -> None:
    arguments = ("--technique", "tuck", "--alternate-needles", "only", "--needles", "L10-R10", "--rows", "8")
    status, out, _ = budget("mid-150", *arguments, "--json")
    assert status == 0
    data = json.loads(out)
    assert (data["profile"], data["demand"]["passes"]) == ("mid-150", 8)
    assert all(np.isfinite(one["duty"]) for one in data["selectors"])


def test_a_piece_for_another_bed_is_refused_with_a_sentence() -> None:
    status, _, err = budget("mid-150", str(EXAMPLES / "harbour-blanket.toml"))
    assert status == 2
    assert "for a bed of 200 needles, and mid-150 has 150" in err


def test_a_second_machine_is_refused_with_a_sentence() -> None:
    status, _, err = budget("mid-150", "--machine", "standard-200", "--technique", "tuck")
    assert status == 2
    assert "the machine is named before the piece" in err


def test_the_page_is_written_whole(tmp_path: Path) -> None:
    page = tmp_path / "budget.html"
    status, _, err = budget("chunky-112", "--pace", "25", "--report", str(page))
    assert status == 0
    assert str(page) in err
    assert page.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert list(tmp_path.iterdir()) == [page]


def test_a_page_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    status, out, err = budget("standard-200", "--report", str(tmp_path / "none" / "budget.html"))
    assert (status, out) == (2, "")
    assert err.startswith("latchline: ")
    assert err.count("\n") == 1


@pytest.mark.parametrize("pace", ["0", "-3", "500", "nan"])
def test_a_pace_that_cannot_be_is_refused(pace: str) -> None:
    status, _, err = budget("standard-200", "--pace", pace)
    assert status == 2
    assert "rows a minute is out of range" in err


def test_a_profile_without_an_electrical_table_says_what_to_add(tmp_path: Path) -> None:
    text = (PROFILES / "standard-200.toml").read_text(encoding="utf-8")
    before, _, after = text.partition("[electrical]")
    rest = after[after.index("\n# What your machine calls") :]
    file = tmp_path / "bare.toml"
    file.write_text(before + rest, encoding="utf-8")
    assert load_profile(str(file)).electrical == {}
    status, _, err = budget(str(file))
    assert status == 2
    assert "has no [electrical] table" in err


@pytest.mark.parametrize(
    ("figure", "unit", "text"),
    [(0.00638, "A", "6.38 mA"), (1.21, "W", "1.21 W"), (1, "needles", "1 needle"), (16, "needles", "16 needles")],
)
def test_figures_read_as_one_would_say_them(figure: float, unit: str, text: str) -> None:
    assert figure_text(figure, unit) == text
