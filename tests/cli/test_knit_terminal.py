"""`latchline knit` on a real terminal, with keys pressed one by one."""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

pty = pytest.importorskip("pty")
PATIENCE_S = 60.0
PIECE = ("--alternate-needles", "only", "--needles", "L10-R10")


class Terminal:
    """A program on a terminal of its own."""

    def __init__(self, *arguments: str, home: Path) -> None:
        self._end, other = pty.openpty()
        words = [sys.executable, "-c", "from latchline.cli import main; main()", *arguments]
        environment = os.environ | {
            "XDG_STATE_HOME": str(home), "TERM": "xterm", "COLUMNS": "90", "LINES": "40",
        }  # fmt: skip
        self._process = subprocess.Popen(words, stdin=other, stdout=other, stderr=other, env=environment)
        os.close(other)
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
        status = self._process.wait(PATIENCE_S)
        os.close(self._end)
        return status


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
    terminal.wait_for("passes loaded ahead")
    terminal.type("s")
    terminal.wait_for("stopped on the way")
    assert terminal.end() == 0
    terminal = Terminal("resume", "--json", home=tmp_path)
    terminal.wait_for("Before the first pass")
    terminal.type("s")
    terminal.wait_for('"finished": false')
    assert terminal.end() == 0
