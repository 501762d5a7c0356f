"""The same session over real ports: a pseudo-terminal, a socket, and RFC 2217, by pySerial's own handlers."""

from __future__ import annotations

import contextlib
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest
import serial
from knit.rig import Alone, Bench, small_plan
from serial.rfc2217 import PortManager

from latchline.errors import PortError
from latchline.knit.events import Knitted
from latchline.knit.session import Session
from latchline.knit.talk import GoesOn
from latchline.link.host import Host
from latchline.link.port import clock_of, open_port
from latchline.sim.face import BYTE_US

SPEED = 8
PLAN = small_plan(12)
PATIENCE_S = 60.0


class LiveBench:
    """A bench whose time goes SPEED times as fast as the clock, served to one end of a line in a thread."""

    def __init__(self, read: Callable[[], bytes], write: Callable[[bytes], object]) -> None:
        self.bench = Bench(PLAN, seed=5)
        self.knitter = Alone(self.bench)
        self._read, self._write = read, write
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._serve)

    def __enter__(self) -> LiveBench:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def _serve(self) -> None:
        bench, began, began_us = self.bench, time.monotonic(), self.bench.now_us
        while not self._ended.is_set():
            bench.advance(began_us + round((time.monotonic() - began) * 1e6 * SPEED))
            out = bytearray()
            while bench.coming and bench.coming[0][0] <= bench.now_us:
                out.append(bench.coming.popleft()[1])
            with contextlib.suppress(OSError):
                if out:
                    self._write(bytes(out))
                if data := self._read():
                    bench.board.receive(bench.now_us + BYTE_US, data)
                    bench.advance(bench.now_us + BYTE_US * (len(data) + 1))
            time.sleep(0.001)


@contextlib.contextmanager
def terminal() -> Iterator[tuple[str, LiveBench]]:
    pty = pytest.importorskip("pty")
    tty = pytest.importorskip("tty")
    board_end, host_end = pty.openpty()
    tty.setraw(host_end)
    os.set_blocking(board_end, False)
    try:
        with LiveBench(lambda: os.read(board_end, 4096), lambda data: os.write(board_end, data)) as live:
            yield os.ttyname(host_end), live
    finally:
        os.close(board_end)
        os.close(host_end)


class Line:
    """The board's end of a TCP connection that may not be there yet."""

    def __init__(self) -> None:
        self.server = socket.create_server(("127.0.0.1", 0))
        self.server.setblocking(False)
        self.connection: socket.socket | None = None

    @property
    def number(self) -> int:
        return int(self.server.getsockname()[1])

    def read(self) -> bytes:
        if self.connection is None:
            self.connection, _ = self.server.accept()
            self.connection.setblocking(False)
        return self.connection.recv(4096)

    def write(self, data: bytes) -> None:
        if self.connection is not None:
            self.connection.sendall(data)

    def close(self) -> None:
        for end in (self.connection, self.server):
            if end is not None:
                end.close()


@contextlib.contextmanager
def tcp() -> Iterator[tuple[str, LiveBench]]:
    line = Line()
    with contextlib.closing(line), LiveBench(line.read, line.write) as live:
        yield f"socket://127.0.0.1:{line.number}", live


@contextlib.contextmanager
def rfc2217() -> Iterator[tuple[str, LiveBench]]:
    """pySerial's own server side of RFC 2217; a loop port stands for the settings of the far serial port."""
    line = Line()
    far = serial.serial_for_url("loop://", timeout=0)
    manager = PortManager(far, line)  # type: ignore[arg-type]

    def read() -> bytes:
        return b"".join(manager.filter(line.read()))

    def write(data: bytes) -> None:
        line.write(b"".join(manager.escape(data)))

    with contextlib.closing(far), contextlib.closing(line), LiveBench(read, write) as live:
        yield f"rfc2217://127.0.0.1:{line.number}", live
        assert far.baudrate == 250_000


@pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\) is deprecated:DeprecationWarning")  # in pySerial's handler
@pytest.mark.parametrize("kind", [terminal, tcp, rfc2217])
def test_the_same_session_goes_over_every_kind_of_port(
    kind: Callable[[], contextlib.AbstractContextManager[tuple[str, LiveBench]]],
) -> None:
    with kind() as (name, live), contextlib.closing(open_port(name)) as port:
        session = Session(Host(port, clock_of(port)), PLAN, GoesOn(), wait_s=0.02)
        until = time.monotonic() + PATIENCE_S
        numbers = []
        for event in session.run():
            assert time.monotonic() < until
            if isinstance(event, Knitted):
                assert event.as_planned
                numbers.append(event.number)
    assert numbers == list(range(1, PLAN.passes + 1))
    assert live.bench.good_rows() == len(live.bench.rows) == PLAN.passes


def test_a_port_in_use_is_refused_with_a_sentence() -> None:
    with terminal() as (name, _), contextlib.closing(open_port(name)):
        with pytest.raises(PortError) as refused:
            open_port(name)
        assert refused.value.sentence() == f"{name}: the port is in use by another program; end that one first."


def test_closing_a_port_leaves_dtr_up_so_that_the_next_opening_resets_no_board() -> None:
    termios = pytest.importorskip("termios")
    with terminal() as (name, _), contextlib.closing(open_port(name)) as port:
        assert not termios.tcgetattr(port.fileno())[2] & termios.HUPCL  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("/dev/no-such-port", "there is no such port"),
        ("/dev/null", "this is no serial port"),
        (".", "this is no serial port"),
        ("nothing://there", "there is no such kind of port"),
        ("socket://127.0.0.1:1", "this port cannot be opened ([Errno 111] Connection refused)"),
    ],
)  # fmt: skip
def test_a_port_that_cannot_be_opened_says_why(name: str, said: str) -> None:
    with pytest.raises(PortError) as refused:
        open_port(name)
    assert refused.value.what == said
    assert refused.value.exit_status == 2
