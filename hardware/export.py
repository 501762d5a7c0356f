"""The netlist in the S-expression form that open layout programs read, and the deck for ngspice."""

from __future__ import annotations

import re

from netlist import Netlist
from spice import Bench, deck, node

COIL = {12: (120.0, 60.0), 24: (200.0, 100.0)}  # ohms, millihenries: 12 V as the standard profile has it, 24 V assumed


def pin_number(circuit: Netlist, ref: str, pin: str) -> str:
    """The number of a chip's pin as its data sheet counts; the name of any other part's pin."""
    mark = circuit.parts[ref].pins[pin]
    return mark if mark.isdigit() and ref != "U1" else pin


def layout_netlist(circuit: Netlist) -> str:
    """Parts and nets; footprints are left to whoever lays the board out."""
    lines = [
        '(export (version "E")',
        f'  (design (source "{circuit.name}") (tool "hardware/build.py"))',
        "  (components",
    ]
    lines += [
        f"    (comp (ref {_quoted(part.ref)}) (value {_quoted(part.value)})"
        f" (fields (field (name {_quoted('type')}) {_quoted(part.type)})))"
        for part in circuit.parts.values()
    ]
    lines += ["  )", "  (nets"]
    for code, net in enumerate(circuit.nets.values(), 1):
        lines.append(f'    (net (code "{code}") (name {_quoted(net.name)})')
        for pin in net.nodes:
            ref, name = pin.split(".")
            lines.append(f"      (node (ref {_quoted(ref)}) (pin {_quoted(pin_number(circuit, ref, name))}))")
        lines[-1] += ")"
    return "\n".join([*lines, "  )", ")", ""])


def _quoted(text: str) -> str:
    return '"' + re.sub(r'(["\\])', r"\\\1", text) + '"'


def pulse_deck(circuit: Netlist) -> str:
    """One coil switched on for 8 ms through the drawn driver, clamp and shunt; run it with `ngspice -b`."""
    ohm, milli_henry = COIL[circuit.volts]
    on_ohm = {"register": 5.0, "darlington": 9.0, "mosfet": 0.05}[circuit.driver]
    drain, supply = node(circuit, "SELECTOR 0"), node(circuit, "COIL+")
    lines = [
        f"* Selector 0: a coil of {ohm:g} ohm and {milli_henry:g} mH; a Darlington counts as 9 ohm at this current.",
        "Vgate gate 0 PULSE(0 5 1m 1u 1u 8m 1)",
        f"Spulse {drain} 0 gate 0 pulse",
        f".model pulse SW(VT=2.5 VH=0 RON={on_ohm:g} ROFF=10MEG)",
        ".tran 2u 14m",
        ".meas tran settled_a FIND i(LL0) AT=8.9m",
        ".meas tran pull_in_s TRIG v(gate) VAL=2.5 RISE=1 TARG i(LL0) VAL=0.06 RISE=1",
        ".meas tran release_s TRIG v(gate) VAL=2.5 FALL=1 TARG i(LL0) VAL=0.02 FALL=1",
        f".meas tran peak_v MAX v({drain})",
        f".meas tran supply_v FIND v({supply}) AT=8.9m",
        f".meas tran sensed_v FIND v({node(circuit, 'CURRENT SENSE')}) AT=8.9m",
    ]
    return deck(circuit, Bench(supply_v=float(circuit.volts), coil_ohm=ohm, coil_mh=milli_henry), lines)
