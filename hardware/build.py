"""Make every drawing, table, bill, sheet and netlist of every build from the netlist files.

Run `python hardware/build.py` after every change of a `.toml` here, look at the pictures, and commit
what it wrote. It needs the `test` extra of the project (schemdraw with text outlines) and ngspice.
"""

from __future__ import annotations

import csv
import io
from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

import bring_up
import draw
import export
import harness
import netlist
import stripboard
import strips
from netlist import Netlist, Part
from sheet import Sheet

from latchline.machine.profile import load_profile, shipped_profiles

FOLDER = Path(__file__).parent


def outputs(sheets: Callable[[Netlist], dict[str, Sheet]] = draw.sheets) -> dict[str, bytes]:
    """Every file that is made, by its path in this folder. sheets: draws those of a build, which takes long."""
    files: dict[str, bytes] = {}
    for circuit in netlist.builds():
        if circuit.volts == netlist.VOLTS[0]:  # a drawing names no part that differs for 24 V but the zeners
            made = sheets(circuit)
            files |= {f"schematic-{name}.svg": sheet.svg() for name, sheet in made.items()}
        folder = f"builds/{circuit.name}"
        files[f"{folder}/bill.csv"] = bill(circuit).encode()
        files[f"{folder}/wiring.md"] = wiring(circuit).encode()
        files[f"{folder}/netlist.net"] = export.layout_netlist(circuit).encode()
        files[f"{folder}/pulse.cir"] = export.pulse_deck(circuit).encode()
    files |= {"harness.md": harness.page(circuit).encode(), "harness.svg": harness.drawing(circuit)}
    plan, twelve, other = stripboard.load(), netlist.load("register", 12), netlist.load("register", 24)
    files |= {"stripboard.md": stripboard.page(plan, twelve, other).encode(), **stripboard.drawings(plan, twelve)}
    return files | {f"strips/{name}.pdf": strips.pdf(load_profile(name)) for name in shipped_profiles()}


def simulated() -> dict[str, bytes]:
    """The files whose figures ngspice finds, by their path in this folder."""
    return {f"builds/{circuit.name}/bring-up.md": bring_up.page(circuit).encode() for circuit in netlist.builds()}


def bill(circuit: Netlist) -> str:
    """The bill of materials: parts alike in kind, value, type and rating share a row; then what is on no net."""
    rows: dict[tuple[str, ...], list[Part]] = defaultdict(list)
    for part in circuit.parts.values():
        rows[part.kind, part.value, part.type, part.rating, part.alternatives].append(part)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["quantity", "parts", "kind", "value", "type (from memory)", "rating", "alternatives", "use"])
    for key, parts in rows.items():
        uses = "; ".join(dict.fromkeys(part.use for part in parts))
        writer.writerow([len(parts), " ".join(part.ref for part in parts), *key, uses])
    for one in circuit.also:
        keys = ("quantity", "", "kind", "value", "type", "rating", "alternatives", "use")
        writer.writerow([one.get(key, "").format(**_sockets(circuit)) for key in keys])
    return text.getvalue()


def _sockets(circuit: Netlist) -> dict[str, str]:
    """How many chips there are, and the sockets that they need."""
    sizes = Counter(len(part.pins) for part in circuit.parts.values() if part.kind == "integrated circuit")
    words = ", ".join(f"{count} of {pins} pins" for pins, count in sorted(sizes.items()))
    return {"chips": str(sum(sizes.values())), "sockets": words}


def wiring(circuit: Netlist) -> str:
    """Wiring by pin and colour: the board first, then every connector and chip, then every net."""
    parts = [
        f"# Wiring by pin and colour: {circuit.driver}, {circuit.volts} V",
        "For the bench: which pin goes where, in which colour. Made by `build.py`; do not edit.",
        "Switch off, unplug and let the coil lamp go dark before you touch a wire ([SAFETY.md](../../SAFETY.md)).",
        "SUPPLY MINUS is not ground: between the two lies R2, and the coils' current flows through it.",
    ]
    chips = [ref for ref in circuit.parts if ref.startswith("U") and ref != "U1"]
    for ref in ("U1", "J1", "J2", "J3", "J4", "J5", "J10", "J11", *sorted(chips)):
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
    for name, content in (outputs() | simulated()).items():
        file = FOLDER / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
        print(name)


if __name__ == "__main__":
    main()
