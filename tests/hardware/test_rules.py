"""The electrical rules name a fault that was planted, and find none in any build."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))

import netlist
import rules

LOADS = {12: rules.Load(13.2, 0.110, 0.5), 24: rules.Load(25.2, 0.140, 0.5)}
BUILDS = [(driver, volts) for driver in netlist.DRIVERS for volts in netlist.VOLTS]


@pytest.mark.parametrize(("driver", "volts"), BUILDS)
def test_no_build_breaks_a_rule(driver: str, volts: int) -> None:
    assert rules.faults(netlist.load(driver, volts), LOADS[volts]) == []


def moved(circuit: Any, *moves: tuple[str, str]) -> Any:
    """The circuit with pins moved to other nets; "" takes a pin off every net."""
    nets = dict(circuit.nets)
    for pin, name in moves:
        nets = {key: replace(net, nodes=tuple(one for one in net.nodes if one != pin)) for key, net in nets.items()}
        if name:
            nets[name] = replace(nets[name], nodes=(*nets[name].nodes, pin))
    return replace(circuit, nets=nets)


def without(circuit: Any, ref: str) -> Any:
    parts = {name: part for name, part in circuit.parts.items() if name != ref}
    nets = {
        name: replace(net, nodes=tuple(node for node in net.nodes if node.split(".")[0] != ref))
        for name, net in circuit.nets.items()
    }
    return replace(circuit, parts=parts, nets=nets)


def valued(circuit: Any, ref: str, **changes: Any) -> Any:
    return replace(circuit, parts={**circuit.parts, ref: replace(circuit.parts[ref], **changes)})


PLANTED: dict[str, tuple[Callable[[Any], Any], str]] = {
    "clamp diode reversed": (
        lambda c: moved(c, ("D103.A", "CLAMP 3"), ("D103.K", "SELECTOR 3")),
        "selector 3: the clamp's diode is the wrong way round",
    ),
    "zener reversed": (
        lambda c: moved(c, ("Z103.A", "CLAMP 3"), ("Z103.K", "COIL+")),
        "selector 3: no clamp leads from the driver to COIL+",
    ),
    "clamp diode absent": (lambda c: without(c, "D103"), "selector 3: no clamp leads"),
    "zener absent": (lambda c: without(c, "Z103"), "selector 3: no clamp leads"),
    "both absent": (lambda c: without(without(c, "Z103"), "D103"), "selector 3: no clamp leads"),
    "return tied to ground": (lambda c: moved(c, ("R2.2", "GND")), "the return is tied to ground"),
    "supply minus tied to ground": (lambda c: moved(c, ("J1.N", "GND")), "J1.N is tied to ground past the shunt"),
    "capacitor past the shunt": (lambda c: moved(c, ("C1.P", "GND")), "C1 joins GND and SUPPLY MINUS"),
    "net left open": (lambda c: moved(c, ("U1.PD4", "")), "U1.PD4 is on no net"),
    "net of one pin": (lambda c: moved(c, ("U1.PD4", "5V")), "net LEFT END ends nowhere"),
    "pin on two nets": (
        lambda c: replace(
            c, nets={**c.nets, "LATCH": replace(c.nets["LATCH"], nodes=(*c.nets["LATCH"].nodes, "R13.2"))}
        ),
        "R13.2 is on 2 nets",
    ),
    "output on output": (
        lambda c: moved(c, ("U2.4Y", "ENCODER A")),
        "outputs U2.1Y and U2.4Y work against each other on net ENCODER A",
    ),
    "output on ground": (lambda c: moved(c, ("U2.1Y", "GND")), "output U2.1Y is shorted to GND"),
    "input that nothing drives": (lambda c: moved(c, ("U2.1Y", "LEFT END")), "nothing drives"),
    "chip without supply": (lambda c: moved(c, ("U2.VCC", "GND")), "U2.VCC is a supply pin and not on 5V"),
    "chip without ground": (lambda c: moved(c, ("U3.GND", "SUPPLY MINUS"), ("U3.GND1", "SUPPLY MINUS")), "ground pin"),
    "output enable free": (lambda c: without(c, "R9"), "nothing holds output enable high"),
    "gate free": (lambda c: without(c, "R105"), "nothing holds the gate of Q105 down"),
    "coil supply on 5 V": (lambda c: moved(c, ("R20.2", "COIL+")), "R20 joins the coil supply to the 5 V"),
    "no guard of the computer": (lambda c: without(c, "F2"), "no fuse parts the computer's 5 V"),
    "guard diode reversed": (lambda c: moved(c, ("D1.A", "COIL+"), ("D1.K", "SUPPLY MINUS")), "guard diode D1"),
    "switch over its rating": (lambda c: valued(c, "S1", bears={"current_a": 1.0}), "S1 bears 1 of current_a"),
    "capacitor over its rating": (lambda c: valued(c, "C1", bears={"volts": 10.0}), "C1 bears 10 of volts"),
    "resistor over its rating": (lambda c: valued(c, "R1", value="100 Ω"), "R1 bears 0.25 of watts"),
    "clamp diode over its rating": (lambda c: valued(c, "D100", bears={"current_a": 0.05}), "D100 bears 0.05"),
    "driver over its voltage": (lambda c: valued(c, "Z100", value="47 V"), "bears"),
}


@pytest.mark.parametrize("planted", PLANTED)
def test_a_planted_fault_is_named(planted: str) -> None:
    change, sentence = PLANTED[planted]
    driver = "mosfet" if planted.startswith(("gate", "driver", "chip without ground")) else "register"
    found = rules.faults(change(netlist.load(driver)), LOADS[12])
    assert any(sentence in fault for fault in found), found


def test_a_fuse_too_large_overloads_what_lies_behind_it() -> None:
    found = rules.faults(netlist.load(), replace(LOADS[12], fuse_a=3.15))
    assert {fault.split()[0] for fault in found} == {"J1", "S1", "D1", "J10", "J11", "R2"}


def test_a_coil_too_strong_overloads_its_driver() -> None:
    found = rules.faults(netlist.load(), replace(LOADS[12], coil_a=0.2))
    assert {fault.split()[0] for fault in found} == {"U3", "U4"}
