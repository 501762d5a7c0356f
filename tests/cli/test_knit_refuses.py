"""`latchline knit` does not begin what cannot be knitted, unless it is told to."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli.running import run

NEVER = [
    "--alternate-needles",
    "only",
    "--technique",
    "tuck",
    "--reversal",
    "every:1",
    "--needles",
    "L5-R5",
    "--rows",
    "24",
]


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


def test_needles_that_never_knit_are_refused_with_the_reason() -> None:
    ran = run("knit", *NEVER, "--port", "sim://standard-200", "--yes")
    assert ran.status == 1
    assert "knit it all the same with --regardless; see all of it with `latchline check`." in ran.err
    assert ran.err.count("\n") == 1


def test_it_is_knitted_all_the_same_when_asked() -> None:
    assert run("knit", *NEVER, "--port", "sim://standard-200", "--yes", "--regardless").status == 0


def test_a_simulated_machine_that_is_not_the_pieces_is_refused_before_anything_moves() -> None:
    plain = ["--alternate-needles", "only", "--needles", "L5-R5", "--rows", "4"]
    ran = run("knit", *plain, "--port", "sim://mid-150", "--yes")
    assert ran.status == 2
    assert 'simulates the machine "mid-150", but the piece is for "standard-200"' in ran.err
