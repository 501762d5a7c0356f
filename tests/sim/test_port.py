"""The simulator as a serial port."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
import serial

from latchline.errors import InputError, LatchlineError, PortError, ProfileError
from latchline.link.messages import PROTOCOL, Ask, BoardInfo, Greet, from_wire, to_wire
from latchline.sim.port import SimPort, parse_url, register


def open_port(url: str = "sim://standard-200?seed=1", timeout: float | None = 0.1) -> SimPort:
    register()
    port = serial.serial_for_url(url, baudrate=250_000, timeout=timeout)
    assert isinstance(port, SimPort)
    return port


def test_pyserial_finds_the_simulator_by_its_address() -> None:
    port = open_port()
    assert port.is_open
    port.close()
    assert not port.is_open


def test_a_board_greets_at_its_start_and_answers_a_greeting() -> None:
    port = open_port()
    start = from_wire(port.read_until(b"\0")[:-1])
    port.write(b"\0" + to_wire(Greet(PROTOCOL, 42)))
    answer = from_wire(port.read_until(b"\0")[:-1])
    assert isinstance(start, BoardInfo)
    assert isinstance(answer, BoardInfo)
    assert (start.nonce, answer.nonce) == (0, 42)


def test_time_passes_only_while_the_host_reads() -> None:
    port = open_port()
    port.read(100)
    before = port.clock()
    port.write(b"\0")
    assert port.clock() == before
    assert port.read(1) == b""
    assert port.clock() == pytest.approx(before + 0.1)


def test_a_read_ends_when_what_was_asked_for_has_come() -> None:
    port = open_port(timeout=5)
    assert len(port.read(4)) == 4
    assert port.clock() < 0.01


def test_a_time_out_of_zero_reads_what_is_there() -> None:
    port = open_port(timeout=0)
    assert port.read(100) == b""
    assert port.clock() == 0


def test_bytes_waiting_can_be_counted_and_thrown_away() -> None:
    port = open_port(timeout=0.05)
    assert port.read(1)
    assert port.in_waiting > 0
    port.reset_input_buffer()
    assert port.in_waiting == 0


def test_a_closed_port_is_not_read() -> None:
    port = open_port()
    port.close()
    for use in (lambda: port.read(1), lambda: port.write(b"\0"), lambda: port.in_waiting):
        with pytest.raises(serial.SerialException):
            use()


@pytest.mark.parametrize(
    ("url", "kind", "words"),
    [
        ("sim://no-such-machine", ProfileError, "no machine profile"),
        ("sim://./no/such.toml", ProfileError, "there is no such file"),
        ("sim://standard-200?pase=3", PortError, 'no option "pase"'),
        ("sim://standard-200?pace=fast", PortError, "a number from 1 to 600"),
        ("sim://standard-200?pace=nan", PortError, "a number from 1 to 600"),
        ("sim://standard-200?seed=-1", PortError, "a number from 0"),
        ("sim://standard-200?fault=gremlin", InputError, 'no fault is called "gremlin"'),
        ("sim://standard-200?fault=flip:2", InputError, "from 0 to 1"),
        ("sim://standard-200?fault=unplug", InputError, "needs a value"),
        ("sim://standard-200?fault=coil-open:1.5", InputError, "no value"),
        ("sim://standard-200?fault=lost:@0", InputError, "@N for the Nth edge only"),
    ],
)
def test_an_address_that_cannot_be_used_says_why(url: str, kind: type[LatchlineError], words: str) -> None:
    with pytest.raises(kind) as caught:
        open_port(url)
    assert words in caught.value.sentence()


def test_an_address_gives_every_option() -> None:
    options = parse_url(
        "sim://mid-150?seed=3&pace=45&fault=flip:1e-4,lost:@7&fault=reset:9&pauses=1&live=1&trace=a.vcd"
    )
    assert (options.profile, options.seed, options.hand.rows_per_minute, options.hand.pauses) == ("mid-150", 3, 45, 1)
    assert (options.live, options.trace) == (True, "a.vcd")
    assert str(options.faults) == "flip:0.0001,lost:@7,reset:9"


def test_faults_are_printed_so_that_they_can_be_read_again() -> None:
    text = "flip:0.0001,lost:@7,reset:9,left-stuck:1"
    assert str(parse_url(f"sim://standard-200?fault={text}").faults) == text


def test_the_boards_memory_outlives_the_port(tmp_path: Path) -> None:
    boots = []
    for _ in range(2):
        port = open_port(f"sim://standard-200?seed=1&memory={tmp_path / 'memory.bin'}")
        info = from_wire(port.read_until(b"\0")[:-1])
        assert isinstance(info, BoardInfo)
        boots.append((info.board, info.boots))
        port.read(1)
        port.close()
    assert boots == [(boots[0][0], 1), (boots[0][0], 2)]


def test_an_empty_memory_file_is_a_new_one_and_is_filled_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "memory.bin"
    path.touch()
    port = open_port(f"sim://standard-200?memory={path}")

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", killed)
    with pytest.raises(KeyboardInterrupt):
        port.read_until(b"\0")
    port.close()
    assert path.read_bytes() == b""
    assert [item.name for item in tmp_path.iterdir()] == ["memory.bin"]


def test_a_memory_file_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "memory.bin"
    path.write_bytes(b"short")
    with pytest.raises(PortError, match="1024"):
        open_port(f"sim://standard-200?memory={path}")


def test_a_machine_of_ones_own_is_named_by_its_path(tmp_path: Path) -> None:
    from latchline.machine.profile import load_profile

    path = tmp_path / "mine.toml"
    path.write_text(load_profile("chunky-112").source, encoding="utf-8")
    assert open_port(f"sim://{path}").world.profile.needles == 112


def test_a_live_run_keeps_to_real_time(monkeypatch: pytest.MonkeyPatch) -> None:
    slept: list[float] = []
    monkeypatch.setattr("latchline.sim.port.time.sleep", slept.append)
    monkeypatch.setattr("latchline.sim.port.time.monotonic", lambda: sum(slept))
    port = open_port("sim://standard-200?seed=1&live=1", timeout=0.5)
    port.reset_input_buffer()
    port.read(10_000)
    assert sum(slept) == pytest.approx(0.5, abs=0.03)


def test_a_pulled_cable_is_a_serial_error() -> None:
    port = open_port("sim://standard-200?fault=unplug:0.2", timeout=1)
    with pytest.raises(serial.SerialException):
        port.read(10_000)
    with pytest.raises(serial.SerialException):
        port.write(to_wire(Ask(0)))


def test_a_cable_can_be_pulled_after_any_byte() -> None:
    for count in range(1, 12):
        port = open_port(f"sim://standard-200?fault=unplug-byte:{count}", timeout=1)
        got: list[bytes] = []
        with pytest.raises(serial.SerialException):
            got.extend(iter(partial(port.read, 1), b""))
        assert len(got) == count
