"""Make the drawings, the wiring tables and the bill of materials from the netlist.

Run `python hardware/build.py` after every change of `netlist.toml`, look at the pictures, and commit
what it wrote. It needs schemdraw with its text outlines (the `test` extra of the project).
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from pathlib import Path

import draw
import netlist
from netlist import Netlist, Part
from sheet import Sheet

FOLDER = Path(__file__).parent


def outputs(circuit: Netlist, sheets: dict[str, Sheet]) -> dict[str, bytes]:
    """Every file that is made, by its name in this folder."""
    files = {f"schematic-{name}.svg": sheet.svg() for name, sheet in sheets.items()}
    files["bom.csv"] = bill(circuit).encode()
    files["wiring.md"] = wiring(circuit).encode()
    return files


def bill(circuit: Netlist) -> str:
    """The bill of materials: parts alike in kind, value and rating share a row."""
    rows: dict[tuple[str, str, str, str], list[Part]] = defaultdict(list)
    for part in circuit.parts.values():
        rows[part.kind, part.value, part.rating, part.alternatives].append(part)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["quantity", "parts", "kind", "value", "rating", "alternatives", "use"])
    for (kind, value, rating, alternatives), parts in rows.items():
        uses = "; ".join(dict.fromkeys(part.use for part in parts))
        writer.writerow([len(parts), " ".join(part.ref for part in parts), kind, value, rating, alternatives, uses])
    return text.getvalue()


def wiring(circuit: Netlist) -> str:
    """Wiring by pin and colour: the board first, then every connector, then every net."""
    parts = [
        "# Wiring by pin and colour",
        "For the bench: which pin goes where, in which colour. Made from `netlist.toml` by `build.py`; do not edit.",
        "Switch off, unplug and let the coil lamp go dark before you touch a wire ([SAFETY.md](SAFETY.md)).",
    ]
    for ref in ("U1", "J1", "J2", "J3", "J4", "J10", "J11", "U2", "U3", "U4"):
        part = circuit.parts[ref]
        rows = [
            f"## {ref}: {part.kind}, {part.value}",
            "",
            "| pin | marked | wire | colour | gauge | goes to |",
        ]
        rows.append("|---|---|---|---|---|---|")
        for pin, mark in part.pins.items():
            net = circuit.net_of(f"{ref}.{pin}")
            if net is None:
                rows.append(f"| {pin} | {mark} | left free | | | |")
                continue
            others = [node for node in net.nodes if node != f"{ref}.{pin}"]
            rows.append(
                f"| {pin} | {mark} | {net.name} | {net.colour} | {net.gauge} | {_shortened(others, net.name)} |"
            )
        parts.append("\n".join(rows))
    rows = ["## Every net", "", "| net | colour | gauge | joins |", "|---|---|---|---|"]
    rows += [f"| {net.name} | {net.colour} | {net.gauge} | {' '.join(net.nodes)} |" for net in circuit.nets.values()]
    parts.append("\n".join(rows))
    return "\n\n".join(parts) + "\n"


def _shortened(nodes: list[str], name: str) -> str:
    """All of a short list; a rail is named instead of listed."""
    return f"the {name} rail" if len(nodes) > 8 else " ".join(nodes)


def main() -> None:
    circuit = netlist.load()
    for name, content in outputs(circuit, draw.sheets(circuit)).items():
        (FOLDER / name).write_bytes(content)
        print(name)


if __name__ == "__main__":
    main()
