"""`latchline check`: its words, its JSON and its exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.running import run

GOOD = "#.#.\n.#.#\n"
BAD = "#.#.#.#\n"


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "waves.txt"
    path.write_text(GOOD)
    return path


def test_a_chart_that_can_be_knitted_ends_with_0(chart: Path) -> None:
    ran = run("check", chart, "--technique", "fair-isle")
    assert ran.status == 0
    assert ran.out.endswith("\n\nIt can be knitted; there is nothing to complain of.\n")


def test_what_was_taken_for_granted_comes_first(chart: Path) -> None:
    assert run("check", chart).out.splitlines()[:3] == [
        "L2-R2 of standard-200, 2 passes",
        "fair-isle: main white, contrast midnightblue",
        "",
    ]
    (band,) = json.loads(run("check", chart, "--json").out)["bands"]
    assert band == {
        "name": "waves",
        "technique": "fair-isle",
        "yarns": [{"name": "main", "colour": "#ffffff"}, {"name": "contrast", "colour": "#191970"}],
    }


def test_a_chart_that_cannot_ends_with_1_and_says_why_and_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "stripes.txt"
    path.write_text(BAD)
    ran = run("check", path, "--technique", "tuck", "--rows", 6)
    assert ran.status == 1
    assert "never-knits: passes 1–6, L2, the worst of 3 places" in ran.out
    assert "3 of 7 needles knit in no pass of the band" in ran.out
    assert "--reversal every:2: exchange selected and unselected needles every second row (changes" in ran.out
    assert ran.out.endswith("It cannot be knitted as it stands; must mend: 1.\n")


def test_json_carries_every_finding_and_the_fingerprint(tmp_path: Path) -> None:
    path = tmp_path / "stripes.txt"
    path.write_text(BAD)
    ran = run("check", path, "--technique", "slip", "--rows", 6, "--json")
    assert ran.status == 1
    data = json.loads(ran.out)
    assert data["can_be_knitted"] is False
    assert data["counts"] == {"must mend": 1, "look at": 0, "good to know": 0}
    (finding,) = data["findings"]
    assert finding["rule"] == "never-knits"
    assert set(finding["mends"][0]) == {"what", "option", "key", "changes"}
    compiled = json.loads(run("compile", path, "--technique", "slip", "--rows", 6, "--format", "json").out)
    assert data["fingerprint"] == compiled["fingerprint"]


def test_all_lists_every_chart_row_at_length(tmp_path: Path) -> None:
    path = tmp_path / "floats.txt"
    path.write_text("#......#\n#......#\n########\n")
    short, full = (run("check", path, "--technique", "slip", *more).out for more in ((), ("--all",)))
    assert short.count("float-across") == 1
    assert "The same in chart row 3." in short
    path.write_text("#........#\n#.......##\n##########\n")
    assert "past 8 needles" in run("check", path, "--technique", "slip").out
    assert "past 7 needles" not in run("check", path, "--technique", "slip").out
    assert full.count("float-across") == 2


def test_limits_of_the_piece_file_are_kept(tmp_path: Path) -> None:
    (tmp_path / "waves.txt").write_text("#...#\n")
    piece = tmp_path / "piece.toml"
    band = '[[bands]]\ntechnique = "slip"\nchart = "waves.txt"\n'
    piece.write_text(band)
    assert "float-across" not in run("check", piece).out
    piece.write_text(band + "[limits]\nfloat_needles = 2\n")
    assert "float-across" in run("check", piece).out
    piece.write_text(band + "[limits]\nfloat_needles = 0\n")
    ran = run("check", piece)
    assert ran.status == 2
    assert 'line 5, key "limits.float_needles": 0 is out of range; accepted: 1 to 255' in ran.err


def test_a_mend_is_applied_by_its_option(tmp_path: Path) -> None:
    path = tmp_path / "floats.txt"
    path.write_text("#.........#\n###########\n")
    assert "float-across" in run("check", path, "--technique", "slip").out
    assert "float-across" not in run("check", path, "--technique", "slip", "--break-floats", 5).out
