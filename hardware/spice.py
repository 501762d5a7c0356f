"""The circuit as an ngspice deck: any build, fitted as far as one likes, with any of its coils on.

Models are those of the kind of part, not of one type: simulated, not measured. ngspice wants a HOME to
read its settings from and ends with status 0 even where something failed, so that `run` looks itself.
"""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from netlist import Netlist, Part

MODELS = """.model rectifier D(IS=14n N=1.98 RS=0.034)
.model schottky D(IS=1u N=1.05 RS=0.05)
.model signal D(IS=4n N=1.9 RS=0.6)
.model green D(IS=1e-19 N=1.9 RS=5)
.model red D(IS=1e-17 N=1.9 RS=5)
.model npn NPN(IS=1e-14 BF=150)
"""
ON_OHM = {"register": 5.0, "darlington": 1.0, "mosfet": 0.05}
MOST_ON_OHM = {"register": 9.5, "darlington": 1.0, "mosfet": 0.1}  # hot, as the data sheet's highest
DARLINGTON_V, MOST_DARLINGTON_V = 0.9, 1.1  # at small currents; the ULN2803A data sheet's highest at 100 mA
OFF_OHM = 50e6


@dataclass(frozen=True)
class Bench:
    """What is on the bench: volts of USB and of the coil supply (0: unplugged), and which coils are on.

    fitted: names of the parts that are in place, None for all. reset: the board is held in reset, its pins float.
    low: sensor pins joined to ground, as "J3.3". coils: those connected. offset_v: of the amplifier.
    weak: the drivers take the most that their data sheets allow, instead of what is typical.
    """

    usb_v: float = 5.0
    supply_v: float = 12.0
    switch: bool = True
    on: Collection[int] = ()
    fitted: Collection[str] | None = None
    reset: bool = False
    low: Collection[str] = ()
    coils: Collection[int] = range(16)
    coil_ohm: float = 120.0
    coil_mh: float = 60.0
    offset_v: float = 0.0
    weak: bool = False


def number(value: str) -> float:
    """The figure of a value as the netlist writes it: "4.7 kΩ", "470 µF", "5.6 V"."""
    found = re.match(r"([\d.]+) ?([pnµmkM]?)(Ω|F|V|A)", value)
    assert found is not None, value
    return float(found[1]) * {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}[found[2]]


def node(circuit: Netlist, pin: str) -> str:
    """The deck's name of the net that a pin, or a net of that name, stands for."""
    net = circuit.nets.get(pin) or circuit.net_of(pin)
    if net is None:
        return "free_" + re.sub(r"\W", "_", pin).lower()
    if net.name == "GND":
        return "0"
    return "n_" + re.sub(r"\W", "_", net.name.replace("+", "plus")).lower()


def deck(circuit: Netlist, bench: Bench, lines: Iterable[str] = ()) -> str:
    """The whole deck; `lines` are appended before its end."""
    made = [f"* {circuit.name}, made from the netlist", MODELS]
    volts = sorted({part.value for part in circuit.parts.values() if part.kind == "zener diode"})
    made += [f".model zener{number(value):g} D(BV={number(value):g} IBV=5m RS=1)" for value in volts]
    for part in circuit.parts.values():
        if bench.fitted is None or part.ref in bench.fitted:
            made += _part(circuit, part, bench)
    made += [f"Rlow{i} {node(circuit, pin)} 0 1" for i, pin in enumerate(bench.low)]
    made += [f"Rleak{i} {name} 0 1e9" for i, name in enumerate(sorted({node(circuit, n) for n in circuit.nets}))]
    return "\n".join([*made, *lines, ".end", ""])


def _part(circuit: Netlist, part: Part, bench: Bench) -> list[str]:
    def at(pin: str) -> str:
        return node(circuit, f"{part.ref}.{pin}")

    ref = part.ref
    match part.kind:
        case "resistor":
            return [f"R{ref} {at('1')} {at('2')} {number(part.value):g}"]
        case "capacitor" | "electrolytic capacitor":
            plus, minus = ("P", "N") if "P" in part.pins else ("1", "2")
            return [f"C{ref} {at(plus)} {at(minus)} {number(part.value):g}"]
        case "zener diode":
            return [f"D{ref} {at('A')} {at('K')} zener{number(part.value):g}"]
        case "fast rectifier diode" | "Schottky diode" | "small-signal diode" | "light-emitting diode":
            model = {"f": "rectifier", "S": "schottky", "s": "signal", "l": part.value.split(",")[0]}[part.kind[0]]
            return [f"D{ref} {at('A')} {at('K')} {model}"]
        case "NPN transistor":
            return [f"Q{ref} {at('C')} {at('B')} {at('E')} npn"]
        case "buzzer":
            return [f"R{ref} {at('P')} {at('N')} 200"]
        case "fuse in a holder":
            return [f"R{ref} {at('1')} {at('2')} 0.3"]
        case "resettable fuse":
            return [f"R{ref} {at('1')} {at('2')} 0.8"]
        case "switch":
            return [f"R{ref} {at('1')} {at('2')} {0.02 if bench.switch else 1e9:g}"]
        case "supply socket":
            if not bench.supply_v:
                return []
            return [f"V{ref} in_{ref} {at('N')} {bench.supply_v:g}", f"R{ref} in_{ref} {at('P')} 0.1"]
        case "selector coil":
            if int(ref[1:]) not in bench.coils:
                return []
            inside = f"in_{ref}"
            return [f"R{ref} {at('1')} {inside} {bench.coil_ohm:g}", f"L{ref} {inside} {at('2')} {bench.coil_mh:g}m"]
        case "controller board":
            return _controller(circuit, bench)
        case "integrated circuit" | "N-channel MOSFET":
            return _chip(circuit, part, bench)
    return []  # connectors


def _controller(circuit: Netlist, bench: Bench) -> list[str]:
    at = {pin: node(circuit, f"U1.{pin}") for pin in circuit.parts["U1"].pins}
    usb = [f"Vusb usb 0 {bench.usb_v:g}", f"Rusb usb {at['VCC']} 0.2"] if bench.usb_v else []
    if bench.reset or not bench.usb_v:
        return usb
    low = [f"Rpin{pin} {at[pin]} 0 25" for pin in ("PD6", "PD7", "PB2", "PB3", "PB5")]
    enable = "0" if bench.on else at["VCC"]
    return [*usb, *low, f"RpinPB0 {at['PB0']} {enable} 25"]


def _chip(circuit: Netlist, part: Part, bench: Bench) -> list[str]:
    def at(pin: str) -> str:
        return node(circuit, f"{part.ref}.{pin}")

    ref = part.ref
    if "Schmitt" in part.value:
        return [
            line
            for gate in "123456"
            for line in (
                f"B{ref}{gate} in_{ref}{gate} 0 V=v({at('VCC')})*(v({at(gate + 'A')}) < v({at('VCC')})/2 ? 1 : 0)",
                f"R{ref}{gate} in_{ref}{gate} {at(gate + 'Y')} 50",
            )
        ]
    if "amplifier" in part.value:
        # from rail to rail, gain 1e5 at half of the supply; a curve without corners lets ngspice find the point
        over = f"1e5*(v({at('IN_PLUS')})-v({at('IN_MINUS')})+{bench.offset_v:g})"
        return [f"B{ref} in_{ref} 0 V=v({at('VDD')})/2*(1+tanh({over}))", f"R{ref} in_{ref} {at('OUT')} 10"]
    outputs = {"T": "DRAIN", "U": "OUT"}.get(part.value[0])  # TPIC6B595, ULN2803A
    if outputs:
        first = 0 if ref in ("U3", "U6") else 8
        return [_output(circuit, f"{ref}.{outputs}{n}", first + n, bench) for n in range(8)]
    if part.kind == "N-channel MOSFET":
        return [_output(circuit, f"{ref}.D", int(ref[1:]) - 100, bench)]
    return [f"R{ref} {at('VCC')} 0 5k"]  # a plain register; what it switches stands with its drivers


def _output(circuit: Netlist, pin: str, selector: int, bench: Bench) -> str:
    on = selector in bench.on and not bench.reset and bench.usb_v > 0
    on_ohm = (MOST_ON_OHM if bench.weak else ON_OHM)[circuit.driver]
    ohm, place = (on_ohm if on else OFF_OHM), node(circuit, pin)
    if on and circuit.driver == "darlington":
        drop_v = MOST_DARLINGTON_V if bench.weak else DARLINGTON_V
        return f"Vdrop{selector} drop{selector} 0 {drop_v}\nRout{selector} {place} drop{selector} {ohm:g}"
    return f"Rout{selector} {place} 0 {ohm:g}"


def run(text: str, others: Sequence[str] = ()) -> str:
    """What ngspice prints of a deck; it may `source` the others as deck0.cir and so on.

    Raises AssertionError where ngspice complains of an error.
    """
    with tempfile.TemporaryDirectory() as home:
        file = Path(home) / "deck.cir"
        file.write_text(text, encoding="utf-8")
        for number, other in enumerate(others):
            (Path(home) / f"deck{number}.cir").write_text(other, encoding="utf-8")
        done = subprocess.run(
            ["ngspice", "-b", str(file)],
            cwd=home,
            env={**os.environ, "HOME": home},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    said = done.stdout + done.stderr
    assert not re.search(r"^(Error|.*no such|.*unknown|.*singular matrix)", done.stderr, re.MULTILINE | re.I), said[
        -2000:
    ]
    return said


def operating_point(circuit: Netlist, bench: Bench, lines: Iterable[str] = ()) -> dict[str, float]:
    """Volts of every node against GND with nothing changing any more."""
    return operating_points(circuit, [bench], lines)[0]


def operating_points(circuit: Netlist, benches: Sequence[Bench], lines: Iterable[str] = ()) -> list[dict[str, float]]:
    """The same of several benches, in one run of ngspice, which takes longer to start than to reckon."""
    lines, mark = list(lines), "end of this bench"
    decks = [deck(circuit, bench, lines) for bench in benches]
    control = [line for n in range(len(decks)) for line in (f"source deck{n}.cir", "op", "print all", f"echo {mark}")]
    said = run("\n".join(["* several benches", ".control", *control, ".endc", ".end", ""]), decks)
    pieces = said.split(mark)[: len(decks)]
    return [
        {name: float(value) for name, value in re.findall(r"^(\w+) = ([-+0-9.eE]+)", piece, re.MULTILINE)}
        for piece in pieces
    ]


def measured(circuit: Netlist, bench: Bench, lines: Iterable[str]) -> dict[str, float]:
    """The results of the `.meas` lines of a deck."""
    said = run(deck(circuit, bench, lines))
    return {name: float(value) for name, value in re.findall(r"^(\w+)\s+=\s+([-+0-9.eE]+)", said, re.MULTILINE)}
