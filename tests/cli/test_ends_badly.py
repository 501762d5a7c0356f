"""What no command foresees: a full disk, a terminal without our characters, no memory, a pressed Ctrl-C."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from cli.running import run

import latchline.piece.model


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "waves.txt"
    path.write_text("#..#\n.##.\n")
    return path


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "latchline", *(str(argument) for argument in arguments)]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("form", ["text", "csv", "json"])
def test_a_full_disk_is_said_in_one_sentence(form: str, chart: Path) -> None:
    with open("/dev/full", "w") as full:
        ended = subprocess.run(
            command("compile", chart, "--rows", 400, "--format", form), stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert ended.returncode == 2
    assert ended.stderr == "latchline: standard output: the file cannot be used (No space left on device).\n"


def test_a_terminal_without_our_characters_is_told_so(chart: Path) -> None:
    ended = subprocess.run(
        command("compile", chart), env=os.environ | {"PYTHONIOENCODING": "latin-1"}, capture_output=True, text=True
    )
    assert ended.returncode == 2
    assert ended.stderr == "latchline: standard output takes latin-1 only, which has no '\\u2190'; set PYTHONUTF8=1.\n"


def test_a_reader_that_has_seen_enough_ends_the_listing_quietly(chart: Path) -> None:
    with subprocess.Popen(
        command("compile", chart, "--rows", 90_000, "--format", "csv"), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as listing:
        assert listing.stdout is not None
        assert listing.stderr is not None
        assert listing.stdout.readline().startswith(b"pass,row")
        listing.stdout.close()
        assert listing.stderr.read() == b""
    assert listing.returncode == 1


def test_a_lack_of_memory_is_said_in_one_sentence(chart: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def without_memory(_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(latchline.piece.model.Piece, "plan", without_memory)
    ran = run("compile", chart)
    assert (ran.status, ran.err) == (
        2,
        "latchline: there is not enough memory for this; use a smaller chart or fewer rows.\n",
    )


def heed_interrupts() -> None:
    """What a terminal gives a program; one started in the background ignores Ctrl-C and hands that on."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_an_interrupted_dry_run_ends_with_130_and_one_line(chart: Path) -> None:
    with subprocess.Popen(
        command("dry-run", chart, "--rows", 900_000),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=heed_interrupts,
    ) as running:
        try:
            assert running.stderr is not None
            assert "900000 passes" in running.stderr.readline()
            running.send_signal(signal.SIGINT)
            out, err = running.communicate(timeout=120)
        finally:
            running.kill()
    assert (running.returncode, out, err.strip()) == (130, "", "latchline: interrupted.")


def test_an_interrupt_while_a_module_is_loaded_ends_in_the_same_way(tmp_path: Path) -> None:
    program = "import latchline.cli as cli\n\ncli.latchline.main = lambda *_, **__: exec('raise KeyboardInterrupt')\ncli.main()\n"
    (tmp_path / "interrupted.py").write_text(program)
    ended = subprocess.run([sys.executable, "-m", "interrupted"], capture_output=True, text=True, cwd=tmp_path)
    assert (ended.returncode, ended.stderr) == (130, "latchline: interrupted.\n")


@pytest.mark.parametrize("out", ["waves.txt/x.png", "a" * 300 + ".png", "nowhere/x.png", "folder.png"])
def test_a_picture_that_cannot_be_written_leaves_nothing_behind(out: str, chart: Path) -> None:
    (chart.parent / "folder.png").mkdir()
    before = sorted(chart.parent.rglob("*"))
    ran = run("preview", chart, "--out", chart.parent / out)
    assert ran.status == 2
    assert ran.err.count("\n") == 1
    assert sorted(chart.parent.rglob("*")) == before


def test_a_report_into_no_name_at_all_is_refused() -> None:
    ran = run("budget", "standard-200", "--report", ".")
    assert (ran.status, ran.err) == (
        2,
        'latchline: .: the ending "" tells no format that can be written here; accepted: .html.\n',
    )


def test_examples_into_a_folder_that_cannot_be_are_refused(tmp_path: Path) -> None:
    ran = run("examples", tmp_path / ("a" * 300))
    assert (ran.status, ran.err.count("\n")) == (2, 1)
