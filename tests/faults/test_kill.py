"""The real program, killed without warning again and again while a board goes on in another process.

The long run (`pytest -s -m long tests/faults/test_kill.py`) kills it 200 times and prints its counts.
"""

from __future__ import annotations

import os
import random
import select
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest
from knit.rig import small_bed

from latchline.knit.journal import Journal

ROWS = 60
SPEED = 4
PATIENCE_S = 60.0

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals and SIGKILL")


class BoardProcess:
    """`board_process.py`, by line."""

    def __init__(self, seed: int) -> None:
        script = Path(__file__).with_name("board_process.py")
        self._process = subprocess.Popen(
            [sys.executable, str(script), str(ROWS), str(SPEED), str(seed)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.port = self._line()

    def ask(self, order: str) -> str:
        assert self._process.stdin is not None
        self._process.stdin.write(order + "\n")
        self._process.stdin.flush()
        return self._line()

    def _line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()

    def end(self) -> None:
        self._process.kill()
        self._process.communicate()


class Program:
    """`latchline` in a process of its own; what it says is read as it comes."""

    def __init__(self, *arguments: str) -> None:
        words = [sys.executable, "-c", "from latchline.cli import main; main()", *arguments]
        self._process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, bufsize=0
        )
        self.said = ""

    def listen(self, seconds: float) -> str:
        """What it says within so many seconds, at most."""
        assert self._process.stderr is not None
        heard = ""
        if select.select([self._process.stderr], [], [], seconds)[0]:
            heard = os.read(self._process.stderr.fileno(), 65536).decode()
        self.said += heard
        return heard

    def type(self, text: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(text.encode())

    @property
    def status(self) -> int | None:
        return self._process.poll()

    def kill(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self.close()

    def close(self) -> None:
        self._process.wait()
        for stream in (self._process.stdin, self._process.stderr):
            if stream is not None:
                stream.close()


def live(program: Program, board: BoardProcess, until_s: float | None, counts: Counter[str]) -> bool:
    """Let it knit until it ends, or until so many seconds after its first pass; answer what it asks.

    A negative `until_s`: so many seconds after its start. Tells whether it has ended by itself.
    """
    began, limit = time.monotonic(), time.monotonic() + PATIENCE_S
    end = None if until_s is None or until_s >= 0 else began - until_s
    answered = ""
    while end is None or time.monotonic() < end:
        heard = program.listen(0.02)
        if not heard and program.status is not None:
            return True
        if until_s is not None and end is None and "Pass" in program.said:
            end = time.monotonic() + until_s
        if "Type its number" in program.said.removeprefix(answered):
            answered = program.said
            counts["asked which row"] += 1
            program.type(board.ask("look") + "\n")
        assert time.monotonic() < limit, program.said
    return False


def kill_again_and_again(folder: Path, kills: int, seed: int) -> Counter[str]:
    chance = random.Random(seed)
    counts: Counter[str] = Counter()
    bed = folder / "small.toml"
    bed.write_text(small_bed().source, encoding="utf-8")
    board = BoardProcess(seed)
    plan = ("--machine", str(bed), "--needles", "L12-R12", "--alternate-needles", "only", "--rows", str(ROWS))
    common = ("--port", board.port, "--yes")
    journal = folder / "0.latchline"
    try:
        while counts["killed"] < kills or counts["pieces"] == 0 or journal.exists():
            new = not journal.exists()
            program = Program(
                *(("knit", *plan, "--journal", str(journal)) if new else ("resume", str(journal))), *common
            )
            moment = None
            if counts["killed"] < kills:
                moment = -chance.uniform(0.0, 1.0) if chance.random() < 0.3 else chance.uniform(0.0, 0.8)
            ended = live(program, board, moment, counts)
            if not ended:
                counts["killed"] += 1
                counts["killed while knitting"] += "Pass" in program.said
                program.kill()
                if chance.random() < 0.25:
                    counts["power cut"] += 1
                    board.ask("cut")
                continue
            program.close()
            assert program.status == 0, program.said
            counts["passes"] += inspect(journal, board)
            counts["pieces"] += 1
            journal = folder / f"{counts['pieces']}.latchline"
    finally:
        board.end()
    return counts


def inspect(path: Path, board: BoardProcess) -> int:
    """Every row of the finished piece is as planned, and each pass stands in the journal once."""
    assert board.ask("clear") == f"{ROWS} {ROWS}"
    with Journal.open(path) as journal:
        assert journal.finished
        assert [entry.number for entry in journal.entries() if not entry.undone] == list(range(1, ROWS + 1))
    return ROWS


@pytest.mark.slow
def test_a_program_killed_at_any_instant_goes_on_at_the_right_pass(tmp_path: Path) -> None:
    counts = kill_again_and_again(tmp_path, kills=8, seed=1)
    assert counts["killed"] == 8


@pytest.mark.long
def test_two_hundred_kills(tmp_path: Path) -> None:
    counts = kill_again_and_again(tmp_path, kills=200, seed=2026)
    assert counts["killed"] == 200
    print("\n" + ", ".join(f"{name} {count}" for name, count in sorted(counts.items())))
