"""`latchline doctor`, and the bundle that must hold nothing private."""

from __future__ import annotations

import getpass
import json
import socket
import zipfile
from pathlib import Path
from types import SimpleNamespace

import pytest
from cli.running import run
from serial.tools import list_ports

from latchline import __version__
from latchline.machine.profile import profile_text

PRIVATE = ("ada-of-the-harbour", "Ada", "quayside-laptop", "SN-4711-0815", "grandmothers-bed", "secret-shawl")


def test_a_healthy_board_ends_with_status_0_and_its_figures() -> None:
    ran = run("doctor", "--port", "sim://standard-200?seed=5")
    assert ran.status == 0
    assert ran.out.startswith("Nothing wrong was found.\n")
    assert "Selectors: 16 of 16 tried" in ran.out
    assert "the simulated hand takes the carriage to the left" in ran.err


def test_a_fault_ends_with_status_1_its_cause_and_the_next_step() -> None:
    ran = run("doctor", "--port", "sim://mid-150?fault=channels-swapped")
    assert ran.status == 1
    first, *rest = ran.out.splitlines()
    assert first == "Encoder channels A and B are swapped."
    assert rest[0].startswith("  likely:  the wires on PD2 and PD3")
    assert rest[1].startswith("  do next: change the two wires about")


def test_json_tells_everything_seen() -> None:
    ran = run("doctor", "--port", "sim://standard-200?fault=coil-open:3", "--json")
    value = json.loads(ran.out)
    assert not value["healthy"]
    assert [one["name"] for one in value["found"]] == ["coil-open"]
    assert value["found"][0]["figures"] == {"selector": 3}
    assert value["seen"]["board"]["version"] == __version__
    assert [stretch["wanted"] for stretch in value["seen"]["walk"]] == ["rest", "left", "right", "left"]


def test_the_carriage_or_the_selectors_can_be_left_alone() -> None:
    still = json.loads(run("doctor", "--port", "sim://standard-200", "--no-walk", "--json").out)
    assert still["seen"]["walk"] == []
    assert len(still["seen"]["selectors"]) == 16
    off = json.loads(run("doctor", "--port", "sim://standard-200", "--no-coils", "--json").out)
    assert off["seen"]["selectors"] == []


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--port", "/dev/no-such-port"], "There is no such port."),
        (["--port", "/dev/null"], "This is no serial port."),
        (["--port", "sim://standard-200?fault=unplug:4"], "The port does not work any more."),
    ],
)
def test_a_port_that_does_not_do_is_a_diagnosis(arguments: list[str], says: str) -> None:
    ran = run("doctor", *arguments)
    assert ran.status == 1
    assert ran.out.splitlines()[0] == says


def usb(*names: str) -> list[SimpleNamespace]:
    return [
        SimpleNamespace(
            device=name,
            product="USB bridge",
            vid=0x1A86,
            pid=0x7523,
            serial_number="SN-4711-0815",
            description="Ada's board",
        )
        for name in names
    ]


class Listed(SimpleNamespace):
    def __lt__(self, other: Listed) -> bool:
        return bool(self.device < other.device)


def test_several_ports_are_listed_with_their_usb_names(monkeypatch: pytest.MonkeyPatch) -> None:
    ports = [Listed(**vars(one)) for one in usb("/dev/ttyUSB1", "/dev/ttyUSB0")]
    monkeypatch.setattr(list_ports, "comports", lambda: ports)
    ran = run("doctor")
    assert ran.status == 1
    assert ran.out.splitlines()[0] == "There is more than one serial port on USB."
    assert "serial port: /dev/ttyUSB0  USB bridge  USB 1a86:7523" in ran.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--journal", "x.latchline"], "--journal goes with --bundle"),
        (["--bundle", "question.tar"], "accepted: .zip"),
        (["--port", "sim://no-such-bed"], "no machine profile"),
        (["--port", "sim://standard-200?fault=gremlins"], 'no fault is called "gremlins"'),
        (["--machine", "no-such-bed"], "no machine profile"),
    ],
)
def test_wrong_use_gets_one_sentence(arguments: list[str], says: str) -> None:
    ran = run("doctor", *arguments)
    assert ran.status == 2
    assert says in ran.err
    assert "Traceback" not in ran.err


# ---- the bundle --------------------------------------------------------------------------------


@pytest.fixture
def private_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A computer on which every name is one that we would recognise."""
    home = tmp_path / "ada-of-the-harbour"
    home.mkdir()
    for name in ("HOME", "USERPROFILE", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(home))
    for name in ("USER", "LOGNAME", "USERNAME"):
        monkeypatch.setenv(name, "Ada")
    monkeypatch.setattr(socket, "gethostname", lambda: "quayside-laptop")
    monkeypatch.setattr("platform.node", lambda: "quayside-laptop")
    monkeypatch.setattr(list_ports, "comports", lambda: usb("/dev/serial/by-id/usb-Bridge_SN-4711-0815-if00"))
    (home / "grandmothers-bed.toml").write_text(
        profile_text("standard-200").replace("4.5 mm bed", "Ada's bed"), encoding="utf-8"
    )
    return home


def texts(path: Path) -> dict[str, str]:
    """Names and contents of everything in a zip, its own comments with them."""
    with zipfile.ZipFile(path) as archive:
        found = {entry.filename: archive.read(entry).decode() for entry in archive.infolist()}
        assert archive.comment == b""
        assert all(entry.date_time[0] == 1980 and not entry.comment and not entry.extra for entry in archive.infolist())
    return found


@pytest.mark.parametrize(
    "port",
    [
        "sim://standard-200?fault=a-dead",
        "sim://mid-150",
        "sim://standard-200?memory={home}/board-of-Ada.bin",
        "/dev/serial/by-id/usb-Bridge_SN-4711-0815-if00",
        "{home}/no-such-port",
        "auto",
    ],
)
def test_the_bundle_holds_no_name_folder_or_serial_number(port: str, private_home: Path) -> None:
    path = private_home / "question.zip"
    machine = private_home / "grandmothers-bed.toml"
    run("doctor", "--port", port.format(home=private_home), "--machine", machine, "--bundle", path)
    found = texts(path)
    assert set(found) == {"report.json", "report.txt", "versions.json"}
    words = (*PRIVATE, str(private_home), getpass.getuser(), "by-id", "/home", "/tmp")
    for name, text in found.items():
        for word in words:
            assert word not in text, f"{word} in {name}"


def test_the_bundle_tells_what_was_found_and_with_which_versions(tmp_path: Path) -> None:
    path = tmp_path / "question.zip"
    run("doctor", "--port", "sim://standard-200?fault=left-stuck", "--bundle", path)
    found = texts(path)
    report = json.loads(found["report.json"])
    assert [one["name"] for one in report["found"]] == ["left-stuck"]
    assert report["port"] == "sim"
    assert "board" not in report["seen"]["board"]
    assert found["report.txt"].startswith("The left end sensor is stuck on.")
    assert set(json.loads(found["versions.json"])) == {"latchline", "pyserial", "python", "system"}


def test_a_journals_timings_come_along_without_its_name_and_its_times_of_day(private_home: Path) -> None:
    chart = private_home / "secret-shawl.txt"
    chart.write_text("#.#.#.#.\n.#.#.#.#\n" * 2, encoding="utf-8")
    journal, path = private_home / "secret-shawl.latchline", private_home / "question.zip"
    ran = run("knit", chart, "--port", "sim://standard-200", "--yes", "--no-wait", "--journal", journal)
    assert ran.status == 0
    assert run("doctor", "--port", "sim://standard-200", "--bundle", path, "--journal", journal).status == 0
    passes = texts(path)["passes.csv"].split("\r\n")
    assert passes[1].startswith("1,leftward,1970-01-01T00:00:00.000Z,")
    assert not any(word in text for text in texts(path).values() for word in PRIVATE)
