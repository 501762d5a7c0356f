"""`latchline knit` on a real terminal, with keys pressed one by one."""

from __future__ import annotations

import os
import select
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

pty = pytest.importorskip("pty")
fcntl = pytest.importorskip("fcntl")
termios = pytest.importorskip("termios")
PATIENCE_S = 60.0
PIECE = ("--alternate-needles", "only", "--needles", "L10-R10")


class Terminal:
    """A program on a terminal of its own."""

    def __init__(self, *arguments: str, home: Path, **environment: str) -> None:
        self._end, self._other = pty.openpty()
        fcntl.ioctl(self._other, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.before = termios.tcgetattr(self._other)
        other = self._other
        words = [sys.executable, "-c", "from latchline.cli import main; main()", *arguments]
        told = os.environ | {"XDG_STATE_HOME": str(home), "TERM": "xterm", "LC_ALL": "C.UTF-8"} | environment
        for name in ("COLUMNS", "LINES"):
            told.pop(name, None)
        self._process = subprocess.Popen(words, stdin=other, stdout=other, stderr=other, env=told)
        self.shown = ""

    def wait_for(self, text: str) -> None:
        """Until this has appeared since the last call."""
        limit = time.monotonic() + PATIENCE_S
        fresh = ""
        while text not in fresh:
            assert time.monotonic() < limit, fresh[-2000:]
            if select.select([self._end], [], [], 0.1)[0]:
                fresh += os.read(self._end, 65536).decode(errors="replace")
        self.shown += fresh

    def type(self, keys: str) -> None:
        os.write(self._end, keys.encode())

    def end(self) -> int:
        limit = time.monotonic() + PATIENCE_S
        while self._process.poll() is None:  # whoever writes to a terminal that nobody reads waits
            assert time.monotonic() < limit
            if select.select([self._end], [], [], 0.05)[0]:
                self.shown += os.read(self._end, 65536).decode(errors="replace")
        while select.select([self._end], [], [], 0)[0]:
            self.shown += os.read(self._end, 65536).decode(errors="replace")
        assert termios.tcgetattr(self._other) == self.before, "the terminal was not given back"
        assert self.shown.count("\x1b[?1049h") == self.shown.count("\x1b[?1049l")
        os.close(self._other)
        os.close(self._end)
        return self._process.returncode

    def signal(self, number: int) -> None:
        self._process.send_signal(number)

    def until_halted(self) -> None:
        os.waitpid(self._process.pid, os.WUNTRACED)


@pytest.mark.slow
def test_a_knitter_at_a_terminal_answers_pauses_and_stops(tmp_path: Path) -> None:
    terminal = Terminal(
        "knit", *PIECE, "--rows", "5000", "--port", "sim://standard-200?seed=4&live=1&pace=200", home=tmp_path
    )
    terminal.wait_for("Before the first pass")
    terminal.type(" ")
    terminal.wait_for("READY: GO")
    assert "█████" in terminal.shown
    assert "\a" in terminal.shown
    terminal.type("n a knot on the left\n")
    terminal.type("p")
    terminal.wait_for("Paused")
    terminal.type(" ")
    terminal.wait_for("READY: GO")
    terminal.type("s")
    terminal.wait_for("stopped on the way")
    assert terminal.end() == 0
    terminal = Terminal("resume", "--json", home=tmp_path)
    terminal.wait_for("Before the first pass")
    terminal.type("s")
    terminal.wait_for('"finished": false')
    assert terminal.end() == 0


BY_HAND = ("knit", *PIECE, "--rows", "12", "--by-hand")


@pytest.mark.slow
def test_a_piece_is_knitted_by_hand_and_gone_on_with(tmp_path: Path) -> None:
    terminal = Terminal(*BY_HAND, home=tmp_path)
    terminal.wait_for("Before the first pass")
    terminal.type(" ")
    for number in range(1, 4):
        terminal.wait_for(f"IN {11 - number}: WEIGHTS UP")
        time.sleep(0.5)  # a knitter knits before she presses again
        terminal.type(" ")
    terminal.wait_for("IN 7: WEIGHTS UP")
    terminal.type("s")
    terminal.wait_for("stopped on the way, 3 of 12")
    assert terminal.end() == 0
    terminal = Terminal("resume", "--json", home=tmp_path)
    terminal.wait_for("pass 3 is the last one that counts")
    terminal.type("s")
    terminal.wait_for('"done": 3')
    assert terminal.end() == 0


@pytest.mark.slow
def test_function_keys_are_no_commands_and_the_space_bar_goes_on_after_them(tmp_path: Path) -> None:
    terminal = Terminal(*BY_HAND, home=tmp_path)
    terminal.wait_for("Before the first pass")
    for key in ("\x1bOP", "\x1bOR", "\x1bOS", "\x1b[3~", "\x1b[15~", "\x1b[A"):
        terminal.type(key)
    time.sleep(0.3)
    terminal.type(" ")
    terminal.wait_for("10 times")
    terminal.type("s")
    terminal.wait_for("stopped on the way, 0 of 12")
    assert terminal.end() == 0
    assert not list((tmp_path / "latchline").glob("*.latchline")), (
        "nothing was knitted, so there is nothing to go on with"
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_every_way_out_gives_the_terminal_back_and_names_resume(tmp_path: Path, name: str) -> None:
    terminal = Terminal(
        "knit", *PIECE, "--rows", "5000", "--port", "sim://standard-200?seed=4&live=1&pace=200", home=tmp_path
    )
    terminal.wait_for("Before the first pass")
    terminal.type(" ")
    terminal.wait_for("KNITTING")
    terminal.signal(getattr(signal, name))
    terminal.wait_for("`latchline resume` goes on from there")
    assert terminal.end() == 130
    assert "Traceback" not in terminal.shown


@pytest.mark.slow
def test_a_program_that_is_halted_gives_the_terminal_back_and_comes_back_paused(tmp_path: Path) -> None:
    terminal = Terminal(*BY_HAND, home=tmp_path)
    terminal.wait_for("Before the first pass")
    terminal.type(" ")
    terminal.wait_for("10 times")
    terminal.signal(signal.SIGTSTP)
    terminal.until_halted()
    assert termios.tcgetattr(terminal._other) == terminal.before
    terminal.signal(signal.SIGCONT)
    terminal.wait_for("Paused")
    terminal.type(" ")
    terminal.wait_for("10 times")
    terminal.type("s")
    terminal.wait_for("stopped on the way")
    assert terminal.end() == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    "environment", [{"TERM": "dumb"}, {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}]
)
def test_a_terminal_that_cannot_draw_gets_lines(tmp_path: Path, environment: dict[str, str]) -> None:
    terminal = Terminal(*BY_HAND, home=tmp_path, **environment)
    terminal.wait_for("Before the first pass (pass 1)")
    terminal.type(" ")
    terminal.wait_for("10 times")
    terminal.type("s")
    terminal.wait_for("stopped on the way")
    assert terminal.end() == 0
    assert "\x1b[" not in terminal.shown
    if "LC_ALL" in environment:
        assert terminal.shown.isascii()
        assert "#.#." in terminal.shown or ".#.#" in terminal.shown


@pytest.mark.slow
def test_a_journal_deleted_while_knitting_is_noticed_and_said_in_a_sentence(tmp_path: Path) -> None:
    terminal = Terminal(*BY_HAND, home=tmp_path)
    terminal.wait_for("Before the first pass")
    terminal.type(" ")
    terminal.wait_for("10 times")
    for path in (tmp_path / "latchline").glob("*.latchline"):
        path.unlink()
    time.sleep(0.5)
    terminal.type(" ")
    terminal.wait_for("the journal's file is not where it was")
    assert terminal.end() == 1
    assert "Traceback" not in terminal.shown
