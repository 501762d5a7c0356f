"""Read `netlist.toml`: parts, nets, and which pins each net joins."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("netlist.toml")
CLAMP_NUMBERS_FROM = 100  # clamp parts of selector n carry the number 100 + n, written {m}


@dataclass(frozen=True)
class Part:
    """One part. `pins`: name → what the part itself has printed there, or its number."""

    ref: str
    kind: str
    value: str
    rating: str
    alternatives: str
    use: str
    pins: dict[str, str]


@dataclass(frozen=True)
class Net:
    """Pins joined by one wire or trace, each written `part.pin`."""

    name: str
    colour: str
    gauge: str
    nodes: tuple[str, ...]


@dataclass(frozen=True)
class Netlist:
    parts: dict[str, Part]
    nets: dict[str, Net]
    open_pins: tuple[str, ...]

    def net_of(self, node: str) -> Net | None:
        """The net that a pin, written `part.pin`, belongs to."""
        return next((net for net in self.nets.values() if node in net.nodes), None)


def load(file: Path = FILE) -> Netlist:
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    parts: dict[str, Part] = {}
    for entry in (one for group in data["part"] for one in _repeated(group)):
        part = Part(**entry)
        assert part.ref not in parts, f"part {part.ref} stands twice in the netlist"
        parts[part.ref] = part
    nets: dict[str, Net] = {}
    for entry in (one for group in data["net"] for one in _repeated(group)):
        name, nodes = entry["name"], tuple(entry["nodes"])
        if name in nets:  # a later entry adds pins to a net
            nets[name] = Net(name, nets[name].colour, nets[name].gauge, nets[name].nodes + nodes)
        else:
            nets[name] = Net(name, entry["colour"], entry["gauge"], nodes)
    return Netlist(parts, nets, tuple(data["open"]["pins"]))


def _repeated(group: dict[str, Any]) -> list[dict[str, Any]]:
    """The entry once, or once for each number with {n}, {i} and {m} filled in."""
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
