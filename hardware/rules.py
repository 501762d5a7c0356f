"""Electrical rules over a build of the netlist: what must never be joined, left out, turned round or overloaded.

`faults` gives one sentence for each breach, none for a sound circuit. It knows the circuit from its parts'
`outputs`, `inputs`, `power`, `ground` and `bears` alone, not from the drawing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from netlist import Netlist, Part
from spice import number

RAIL_V = 5.5  # USB's highest
SELECTORS = range(16)


@dataclass(frozen=True)
class Load:
    """What the circuit has to bear: the highest supply, one coil's current, the fuse, the clamp's diode."""

    supply_v: float
    coil_a: float
    fuse_a: float
    clamp_share: float = 0.05
    diode_v: float = 0.8
    fuse_open: float = 2.1  # IEC 60127-2 sheet 3


def faults(circuit: Netlist, load: Load) -> list[str]:
    checks = (_joined, _driven, _powered, _clamped, _returned, _off_by_default, _guarded)
    found = [fault for check in checks for fault in check(circuit)]
    return [*found, *_borne(circuit, load)]


def _name(circuit: Netlist, node: str) -> str:
    net = circuit.net_of(node)
    return net.name if net is not None else ""


def _joined(circuit: Netlist) -> Iterator[str]:
    used = Counter(node for net in circuit.nets.values() for node in net.nodes)
    used.update(circuit.open_pins)
    pins = {f"{part.ref}.{pin}" for part in circuit.parts.values() for pin in part.pins}
    for node in sorted(pins - set(used)):
        yield f"{node} is on no net and not left free on purpose"
    for node in sorted(set(used) - pins):
        yield f"{node} is on a net, but no part has it"
    for node, times in used.items():
        if times > 1:
            yield f"{node} is on {times} nets"
    for net in circuit.nets.values():
        if len(net.nodes) < 2:
            yield f"net {net.name} ends nowhere: only {' '.join(net.nodes) or 'nothing'} is on it"


def _kind(circuit: Netlist, node: str) -> str:
    ref, pin = node.split(".")
    part = circuit.parts.get(ref)
    if part is None:
        return ""
    for kind in ("outputs", "inputs", "power", "ground"):
        if pin in getattr(part, kind):
            return kind
    return ""


def _driven(circuit: Netlist) -> Iterator[str]:
    for net in circuit.nets.values():
        kinds = [_kind(circuit, node) for node in net.nodes]
        outputs = [node for node, kind in zip(net.nodes, kinds, strict=True) if kind == "outputs"]
        if len(outputs) > 1:
            yield f"outputs {' and '.join(outputs)} work against each other on net {net.name}"
        if outputs and net.name in ("GND", "SUPPLY MINUS", "COIL+"):
            yield f"output {outputs[0]} is shorted to {net.name}"
        if kinds and set(kinds) == {"inputs"}:
            yield f"nothing drives net {net.name}: {' '.join(net.nodes)}"


def _powered(circuit: Netlist) -> Iterator[str]:
    for part in circuit.parts.values():
        for pin in part.power:
            if _name(circuit, f"{part.ref}.{pin}") != "5V":
                yield f"{part.ref}.{pin} is a supply pin and not on 5V"
        for pin in part.ground:
            if _name(circuit, f"{part.ref}.{pin}") != "GND":
                yield f"{part.ref}.{pin} is a ground pin and not on GND"


def _clamped(circuit: Netlist) -> Iterator[str]:
    """From each selector's net forward through a diode, backward through a zener, to COIL+."""
    for selector in SELECTORS:
        drain = circuit.nets.get(f"SELECTOR {selector}")
        diodes = [part for part in circuit.parts.values() if part.kind == "fast rectifier diode"]
        nodes = drain.nodes if drain is not None else ()
        forward = [part for part in diodes if f"{part.ref}.A" in nodes]
        if any(f"{part.ref}.K" in nodes for part in diodes):
            yield f"selector {selector}: the clamp's diode is the wrong way round"
            continue
        if not any(_zener_to_supply(circuit, part) for part in forward):
            yield f"selector {selector}: no clamp leads from the driver to COIL+, or its zener is the wrong way round"


def _zener_to_supply(circuit: Netlist, diode: Part) -> bool:
    shared = circuit.net_of(f"{diode.ref}.K")
    zeners = [part for part in circuit.parts.values() if part.kind == "zener diode"]
    return shared is not None and any(
        f"{part.ref}.K" in shared.nodes and _name(circuit, f"{part.ref}.A") == "COIL+" for part in zeners
    )


def _returned(circuit: Netlist) -> Iterator[str]:
    """The coils' current comes back to the supply over the shunt and by no other way."""
    if {_name(circuit, "R2.1"), _name(circuit, "R2.2")} != {"GND", "SUPPLY MINUS"}:
        yield "the shunt R2 does not lie between GND and SUPPLY MINUS: the return is tied to ground"
    if _name(circuit, "J1.N") != "SUPPLY MINUS":
        yield "the supply's minus J1.N is tied to ground past the shunt"
    for part in circuit.parts.values():
        names = {_name(circuit, f"{part.ref}.{pin}") for pin in part.pins}
        if {"GND", "SUPPLY MINUS"} <= names and part.ref != "R2":
            yield f"{part.ref} joins GND and SUPPLY MINUS past the shunt"
        if {"5V", "COIL+"} <= names or {"USB 5V", "COIL+"} <= names:
            yield f"{part.ref} joins the coil supply to the 5 V"


def _off_by_default(circuit: Netlist) -> Iterator[str]:
    if {_name(circuit, "R9.1"), _name(circuit, "R9.2")} != {"5V", "OUTPUT ENABLE"}:
        yield "nothing holds output enable high: coils may be on through reset"
    for part in circuit.parts.values():
        if part.kind == "N-channel MOSFET":
            gate = circuit.net_of(f"{part.ref}.G")
            pulls = [node.split(".")[0] for node in (gate.nodes if gate else ()) if node.startswith("R")]
            if not any("GND" in (_name(circuit, f"{ref}.1"), _name(circuit, f"{ref}.2")) for ref in pulls):
                yield f"nothing holds the gate of {part.ref} down while the register's outputs float"


def _guarded(circuit: Netlist) -> Iterator[str]:
    if {_name(circuit, "F2.1"), _name(circuit, "F2.2")} != {"USB 5V", "5V"}:
        yield "no fuse parts the computer's 5 V from the sensors' and drivers'"
    if (_name(circuit, "Z1.K"), _name(circuit, "Z1.A")) != ("5V", "GND"):
        yield "the clamp Z1 of the 5 V is missing or the wrong way round"
    if (_name(circuit, "D1.K"), _name(circuit, "D1.A")) != ("COIL+", "SUPPLY MINUS"):
        yield "the guard diode D1 is missing or the wrong way round"


def _volts(circuit: Netlist, load: Load) -> dict[str, float]:
    """The most that a net can be above GND; nets that are not here are logic."""
    zener_v = number(circuit.parts["Z100"].value) * (1 + load.clamp_share) if "Z100" in circuit.parts else 0.0
    peak_v = load.supply_v + zener_v + load.diode_v
    volts = dict.fromkeys(circuit.nets, RAIL_V)
    volts |= dict.fromkeys(("SUPPLY", "FUSED", "COIL+", "COIL LAMP"), load.supply_v)
    volts |= {f"SELECTOR {n}": peak_v for n in SELECTORS} | {f"CLAMP {n}": peak_v for n in SELECTORS}
    return volts | {"GND": 0.0, "SUPPLY MINUS": 0.0, "SUPPLY SENSE": load.supply_v * 15 / 115}


def _borne(circuit: Netlist, load: Load) -> Iterator[str]:
    volts = _volts(circuit, load)
    lasting_a = load.fuse_a * load.fuse_open
    for part in circuit.parts.values():
        levels = [volts[name] for pin in part.pins if (name := _name(circuit, f"{part.ref}.{pin}"))]
        across_v = max(levels, default=0.0) - min(levels, default=0.0)
        asked = {"volts": 0.0 if part.kind == "resistor" else across_v}
        if part.ref in ("J1", "S1", "D1", "J10", "J11"):
            asked["current_a"] = lasting_a
        elif any(_name(circuit, f"{part.ref}.{pin}").startswith("SELECTOR") for pin in part.pins):
            asked["current_a"] = load.coil_a
        if part.kind == "resistor":
            ohm = number(part.value)
            asked["watts"] = lasting_a**2 * ohm if part.ref == "R2" else across_v**2 / ohm
        for rating, figure in asked.items():
            if rating in part.bears and figure > part.bears[rating]:
                yield f"{part.ref} bears {part.bears[rating]:g} of {rating} and gets {figure:.3g}"
