"""The netlist for layout programs, the deck and the harness say the same as the netlist files."""

from __future__ import annotations

import csv
import os
import re
import shutil
import subprocess
import sys
import warnings
from pathlib import Path
from typing import Any

import pytest

from latchline.budget.sums import make_budget
from latchline.machine.profile import load_profile

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import export
    import harness
    import kinparse
    import netlist


def net(circuit: netlist.Netlist, node: str) -> netlist.Net:
    found = circuit.net_of(node)
    assert found is not None, node
    return found


BUILDS = [(driver, volts) for driver in netlist.DRIVERS for volts in netlist.VOLTS]


@pytest.mark.external
@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("driver", "volts"), [("register", 12), ("darlington", 24), ("mosfet", 12)])
def test_another_reader_of_the_netlist_finds_every_part_and_every_net(driver: str, volts: int) -> None:
    """Read back by kinparse, a general-purpose reader of that form."""
    circuit = netlist.load(driver, volts)
    with (HARDWARE / "builds" / circuit.name / "netlist.net").open(encoding="utf-8") as file:
        found: Any = kinparse.parse_netlist(file)
    assert {part.ref: part.value for part in found.parts} == {ref: part.value for ref, part in circuit.parts.items()}
    names = {
        (ref, export.pin_number(circuit, ref, pin)): f"{ref}.{pin}"
        for ref, part in circuit.parts.items()
        for pin in part.pins
    }
    assert len(names) == sum(len(part.pins) for part in circuit.parts.values())  # no two pins of a part alike
    back = {net.name: {names[pin.ref, pin.num] for pin in net.pins} for net in found.nets}
    assert back == {net.name: set(net.nodes) for net in circuit.nets.values()}


@pytest.mark.parametrize(("driver", "volts"), BUILDS)
def test_every_chip_counts_its_pins_as_its_case_does(driver: str, volts: int) -> None:
    circuit = netlist.load(driver, volts)
    for ref, part in circuit.parts.items():
        if part.kind == "integrated circuit":
            numbers = sorted(int(mark) for mark in part.pins.values())
            assert numbers == list(range(1, len(numbers) + 1)), f"{ref}: a pin is not listed"


@pytest.mark.spice
@pytest.mark.external
@pytest.mark.skipif(shutil.which("ngspice") is None and not os.environ.get("CI"), reason="ngspice is not installed")
def test_the_deck_has_the_shipped_driver_clamp_and_shunt_and_agrees_with_the_budget(tmp_path: Path) -> None:
    deck = HARDWARE / "builds" / "register-12" / "pulse.cir"
    done = subprocess.run(["ngspice", "-b", str(deck)], cwd=tmp_path, env={**os.environ, "HOME": str(tmp_path)},
                          capture_output=True, text=True, timeout=120, check=False)  # fmt: skip
    seen = {name: float(value) for name, value in re.findall(r"^(\w+)\s+=\s+([-+0-9.eE]+)", done.stdout, re.MULTILINE)}
    electrical = load_profile("standard-200").electrical
    assert (electrical["resistance_ohm"], electrical["inductance_mh"]) == export.COIL[12]
    budget = make_budget(load_profile("standard-200"))
    assert 1000 * seen["pull_in_s"] == pytest.approx(budget.busiest.pull_in_cold_ms, rel=0.1)
    assert 1000 * seen["release_s"] == pytest.approx(budget.busiest.release_cold_ms, rel=0.1)
    assert seen["peak_v"] < 42
    assert seen["sensed_v"] == pytest.approx(seen["settled_a"] * 0.1 * 150 / 22, abs=0.003)


def test_the_harness_has_a_wire_for_every_pin_off_the_strip_board_and_a_label_for_each() -> None:
    circuit = netlist.load()
    wires = harness.leads(circuit)
    labels = [wire.label for wire in wires]
    assert len(labels) == len(set(labels))
    wanted = {
        f"{ref}.{pin}"
        for ref in (*harness.OFF_BOARD, *harness.CABLES, "J10", "J11")
        for pin in circuit.parts[ref].pins
        if circuit.net_of(f"{ref}.{pin}") is not None
    }
    far = {"F1.1", "S1.1"}  # joined by the wires that begin at J1.P and F1.2
    assert set(labels) == wanted - far
    page = (HARDWARE / "harness.md").read_text(encoding="utf-8")
    assert all(f"| {label} |" in page for label in labels)
    assert all(wire.length_mm > 0 and wire.gauge and wire.colour for wire in wires)


@pytest.mark.parametrize(("driver", "volts"), BUILDS)
def test_nothing_on_the_strip_board_is_fed_before_the_fuse(driver: str, volts: int) -> None:
    """From the socket's plus to the fuse and from the fuse to the switch lead single wires that join nothing else."""
    circuit = netlist.load(driver, volts)
    assert net(circuit, "J1.P").nodes == ("J1.P", "F1.1")
    assert net(circuit, "F1.2").nodes == ("F1.2", "S1.1")
    wires = {wire.label: wire for wire in harness.leads(circuit)}
    assert wires["J1.P"].end == "fuse holder F1, 1"
    assert wires["F1.2"].end == "switch S1, 1"
    assert "strip board" in wires["S1.2"].end
    assert all(wire.end.removeprefix("strip board, ") != "SUPPLY" for wire in wires.values())


@pytest.mark.parametrize(("driver", "volts"), BUILDS)
def test_shields_and_the_bed_end_at_the_star(driver: str, volts: int) -> None:
    circuit = netlist.load(driver, volts)
    for shield in ("J2.5", "J3.4", "J4.4", "J5.4"):
        assert net(circuit, shield).name == "GND"
    wires = {wire.label: wire for wire in harness.leads(circuit)}
    assert wires["J2.5"].end == "cut back at the encoder"
    assert circuit.parts["R17"].value == "1 MΩ"
    assert {net(circuit, "R17.1").name, net(circuit, "R17.2").name} == {"GND", "BED"}
    assert net(circuit, "X1.1").name == "BED"


@pytest.mark.parametrize(("driver", "chips"), [("register", 4), ("darlington", 6), ("mosfet", 4)])
def test_the_bill_has_a_socket_for_every_chip(driver: str, chips: int) -> None:
    with (HARDWARE / "builds" / f"{driver}-12" / "bill.csv").open(encoding="utf-8") as file:
        row = next(row for row in csv.DictReader(file) if row["kind"] == "integrated-circuit socket")
    assert row["quantity"] == str(chips)
    sockets = re.findall(r"(\d+) of (\d+) pins", row["type (from memory)"])
    assert sum(int(count) for count, _ in sockets) == chips
    cases = {int(pins) for _, pins in sockets}
    circuit = netlist.load(driver)
    assert cases == {len(part.pins) for part in circuit.parts.values() if part.kind == "integrated circuit"}
