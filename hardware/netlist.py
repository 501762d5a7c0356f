"""Read a build of the circuit: `netlist.toml` with the drivers of one kind, for one supply."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
DRIVERS = ("register", "darlington", "mosfet")
VOLTS = (12, 24)
CLAMP_NUMBERS_FROM = 100  # parts that belong to selector n carry the number 100 + n, written {m}


@dataclass(frozen=True)
class Part:
    """One part. `pins`: name → what is printed there, or its number. `bears`: its ratings as figures."""

    ref: str
    kind: str
    value: str
    type: str
    rating: str
    alternatives: str
    use: str
    pins: dict[str, str]
    bears: dict[str, float]
    outputs: tuple[str, ...] = ()
    inputs: tuple[str, ...] = ()
    power: tuple[str, ...] = ()
    ground: tuple[str, ...] = ()


@dataclass(frozen=True)
class Net:
    """Pins joined by one wire or trace, each written `part.pin`."""

    name: str
    colour: str
    gauge: str
    nodes: tuple[str, ...]


@dataclass(frozen=True)
class Netlist:
    """One build. `also`: what is bought and is on no net."""

    driver: str
    volts: int
    parts: dict[str, Part]
    nets: dict[str, Net]
    open_pins: tuple[str, ...]
    also: tuple[dict[str, str], ...] = ()
    _of_node: dict[str, str] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def name(self) -> str:
        return f"{self.driver}-{self.volts}"

    def net_of(self, node: str) -> Net | None:
        """The net that a pin, written `part.pin`, belongs to."""
        if not self._of_node:
            self._of_node.update({one: net.name for net in self.nets.values() for one in net.nodes})
        name = self._of_node.get(node)
        return self.nets[name] if name is not None else None


def load(driver: str = "register", volts: int = 12) -> Netlist:
    """A build by the kind of its drivers (DRIVERS) and its coil supply in volts (VOLTS)."""
    files = (FOLDER / "netlist.toml", FOLDER / f"drivers-{driver}.toml")
    return read([tomllib.loads(file.read_text(encoding="utf-8")) for file in files], driver, volts)


def builds() -> list[Netlist]:
    return [load(driver, volts) for driver in DRIVERS for volts in VOLTS]


def read(tables: list[dict[str, Any]], driver: str, volts: int) -> Netlist:
    """A build from its tables, the common one first."""
    parts: dict[str, Part] = {}
    for entry in (one for table in tables for group in table["part"] for one in _repeated(group)):
        part = _part(entry, volts)
        assert part.ref not in parts, f"part {part.ref} stands twice in the netlist"
        parts[part.ref] = part
    nets: dict[str, Net] = {}
    for entry in (one for table in tables for group in table["net"] for one in _repeated(group)):
        name, nodes = entry["name"], tuple(entry["nodes"])
        if name in nets:  # a later entry adds pins to a net
            nets[name] = Net(name, nets[name].colour, nets[name].gauge, nets[name].nodes + nodes)
        else:
            nets[name] = Net(name, entry["colour"], entry["gauge"], nodes)
    open_pins = tuple(pin for table in tables for pin in table["open"]["pins"])
    also = tuple(_for_volts(one, volts) for table in tables for one in table.get("also", ()))
    return Netlist(driver, volts, parts, nets, open_pins, also)


def _part(entry: dict[str, Any], volts: int) -> Part:
    entry = _for_volts(entry, volts)
    lists: dict[str, Any] = {key: tuple(entry.pop(key, ())) for key in ("outputs", "inputs", "power", "ground")}
    return Part(**entry, **lists)


def _for_volts(entry: dict[str, Any], volts: int) -> dict[str, Any]:
    other = entry.get("at_24", {}) if volts == 24 else {}
    return {**{key: value for key, value in entry.items() if key != "at_24"}, **other}


def _repeated(group: dict[str, Any]) -> list[dict[str, Any]]:
    """The entry once, or once for each number with {n}, {i} and {m} filled in."""
    group = dict(group)
    start, count = group.pop("start", 0), group.pop("count", 0)
    if not count:
        return [group]
    return [_filled(group, n=start + i, i=i, m=CLAMP_NUMBERS_FROM + start + i) for i in range(count)]


def _filled(value: Any, **numbers: int) -> Any:
    match value:
        case str():
            for letter, number in numbers.items():
                value = value.replace(f"{{{letter}}}", str(number))
            return value
        case list():
            return [_filled(item, **numbers) for item in value]
        case dict():
            return {key: _filled(item, **numbers) for key, item in value.items()}
    return value
