"""The doctor at real ports: pseudo-terminals with something else, or nothing, at the other end."""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from cli.running import run

from latchline.link.frames import Gatherer
from latchline.link.messages import PROTOCOL, BoardInfo, Greet, from_wire, to_wire
from latchline.link.port import open_port
from latchline.sim.port import SimPort

pytestmark = pytest.mark.slow

pty = pytest.importorskip("pty", reason="pseudo-terminals are a thing of POSIX")


@pytest.fixture(autouse=True)
def _own_state(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


@contextmanager
def device(answers: Callable[[bytes], bytes]) -> Iterator[str]:
    """The name of a port whose other end gives these answers."""
    import tty

    ours, theirs = pty.openpty()
    tty.setraw(theirs)

    def serve() -> None:
        try:
            while data := os.read(ours, 256):
                os.write(ours, answers(data))
        except OSError:
            pass  # the other end is closed

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield os.ttyname(theirs)
    finally:
        os.close(theirs)
        thread.join(5)
        os.close(ours)


def told(port: str) -> tuple[int, str]:
    ran = run("doctor", "--port", port, "--no-walk")
    return ran.status, ran.out.splitlines()[0]


def test_a_port_where_nobody_answers_is_silent() -> None:
    with device(lambda data: b"") as port:
        assert told(port) == (1, "Nothing answers on this port.")


def test_a_device_that_speaks_something_else_is_told_apart_from_silence() -> None:
    with device(lambda data: b"\r\nREADY>\r\n") as port:
        assert told(port) == (1, "Something answers on this port, but not a Latchline board.")


@pytest.mark.parametrize(
    ("protocol", "says"),
    [
        (PROTOCOL - 1, "The board's firmware is older than this program."),
        (PROTOCOL + 1, "The board's firmware is newer than this program."),
    ],
)
def test_a_board_of_another_version_is_told_older_or_newer(protocol: int, says: str) -> None:
    gatherer = Gatherer()

    def greeted(data: bytes) -> bytes:
        asked = [message for frame in gatherer.feed(data) if isinstance(message := from_wire(frame), Greet)]
        return b"".join(to_wire(BoardInfo(protocol, one.nonce, b"\x09\x00\x00", 1, 1, 1, 32, 255, 0)) for one in asked)

    with device(greeted) as port:
        assert told(port) == (1, says)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="locks on ports differ")
def test_a_port_that_another_program_has_is_in_use() -> None:
    with device(lambda data: b"") as port:
        other = open_port(port)
        try:
            assert told(port) == (1, "The port is in use by another program.")
        finally:
            other.close()


def test_a_board_behind_a_terminal_is_greeted_and_its_selectors_tried() -> None:
    # The simulated board in real time. A busy computer may be late, so that only what was read is looked at, and
    # the clock only where there was time to read it.
    import select
    import tty

    board = SimPort("sim://standard-200?live=1", timeout=0.002)
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    over = threading.Event()

    def carry() -> None:
        while not over.is_set():
            if select.select([ours], [], [], 0.0)[0]:
                board.write(os.read(ours, 256))
            os.write(ours, board.read(256))

    thread = threading.Thread(target=carry, daemon=True)
    thread.start()
    try:
        ran = run("doctor", "--port", os.ttyname(theirs), "--no-walk", "--json")
    finally:
        over.set()
        thread.join(5)
        os.close(theirs)
        os.close(ours)
        board.close()
    seen = json.loads(ran.out)["seen"]
    assert seen["board"]["protocol"] == PROTOCOL
    assert seen["clock_error"] is None or abs(seen["clock_error"]) < 0.2
    assert [one["on"] is not None for one in seen["selectors"]] == [True] * 16
