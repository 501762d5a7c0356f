"""The harness: every wire that leaves the strip board, with colour, gauge, length and label; list and drawing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from netlist import Netlist

from latchline.drawing.scene import Scene
from latchline.drawing.svg import scene_svg

SPARE = 1.15  # for bends and a second try at a crimp
BOX_MM, LID_MM, BOARD_MM = 180, 250, 150
CARRIAGE_MM, ENDS_MM, COILS_MM, BED_MM = 2000, 1200, 1500, 500
OFF_BOARD = {  # part: where it sits, how far from the strip board, its name on the drawing
    "U1": ("box", BOARD_MM, "controller board"),
    "J1": ("box wall", BOX_MM, "supply socket"),
    "F1": ("box wall", BOX_MM, "fuse holder"),
    "S1": ("box lid", LID_MM, "switch"),
    "H1": ("box lid", LID_MM, "ready lamp"),
    "H2": ("box lid", LID_MM, "coil supply lamp"),
    "B1": ("box lid", LID_MM, "buzzer"),
    "X1": ("bed", BED_MM, "bed"),
}
CABLES = {  # connector: length, what it leads to
    "J2": (CARRIAGE_MM, "encoder"),
    "J3": (ENDS_MM, "left end sensor"),
    "J4": (ENDS_MM, "right end sensor"),
    "J5": (ENDS_MM, "middle sensor, if there is one"),
}


@dataclass(frozen=True)
class Lead:
    """One wire. label: what stands on a sleeve at both its ends."""

    label: str
    colour: str
    gauge: str
    begin: str
    end: str
    length_mm: int


def leads(circuit: Netlist) -> list[Lead]:
    """Every wire off the strip board, in the order in which they are made; then those that never touch it."""
    found: list[Lead] = []
    direct = {net.name for net in circuit.nets.values() if {node.split(".")[0] for node in net.nodes} <= set(OFF_BOARD)}
    for ref, (_, length_mm, name) in OFF_BOARD.items():
        for pin in circuit.parts[ref].pins:
            net = circuit.net_of(f"{ref}.{pin}")
            if net is not None and net.name in direct:
                here, there = net.nodes
                if here == f"{ref}.{pin}":
                    far, far_pin = there.split(".")
                    end = f"{OFF_BOARD[far][2]} {far}, {far_pin}"
                    found.append(Lead(here, net.colour, net.gauge, f"{name} {ref}", end, length_mm))
            elif net is not None:
                gauge = net.gauge or "AWG 26"
                colour = net.colour if net.gauge else "blue"
                found.append(
                    Lead(f"{ref}.{pin}", colour, gauge, f"{name} {ref}", f"strip board, {net.name}", length_mm)
                )
    for ref, (length_mm, name) in CABLES.items():
        for pin, mark in circuit.parts[ref].pins.items():
            net = circuit.net_of(f"{ref}.{pin}")
            assert net is not None
            shield = mark == "shield"
            colour, end = ("shield", f"cut back at the {name}") if shield else (net.colour, name)
            found.append(Lead(f"{ref}.{pin}", colour, "cable, AWG 26", f"plug {ref}", end, length_mm))
    for block, first in (("J10", 0), ("J11", 8)):
        last, terminal = first + 7, f"terminal {block}"
        found += [
            Lead(f"{block}.{n}", f"numbered {first + n}", "AWG 24", terminal, f"coil {first + n}", COILS_MM)
            for n in range(8)
        ]
        found += [
            Lead(f"{block}.{pin}", "red", "AWG 22", terminal, f"common of coils {first} to {last}", COILS_MM)
            for pin in ("P1", "P2")
        ]
    return found


def page(circuit: Netlist) -> str:
    """The cut list and the labels, for the bench."""
    wires = leads(circuit)
    totals: dict[tuple[str, str], int] = defaultdict(int)
    for wire in wires:
        totals[wire.gauge, wire.colour] += wire.length_mm
    bought = [f"| {gauge} | {colour} | {cut * SPARE / 1000:.1f} |" for (gauge, colour), cut in sorted(totals.items())]
    parts = [
        "# Harness: cut list and labels",
        "For the bench: every wire that leaves the strip board. Lengths are for a bed of one metre with the box under "
        "its left third (assumed): lay a string where yours will run, measure it, and correct the list before you cut. "
        "The picture is [harness.svg](harness.svg). Made by `build.py`; do not edit.",
        "**The fuse comes first**: the wire from J1's plus goes to the fuse holder and the next one to the switch, and "
        "neither touches the strip board, so that nothing there is fed before F1. The shield of a sensor cable is "
        "joined at the box alone: at the sensor it is cut back and covered.",
        "Coil leads and sensor cables leave the box at opposite walls and lie at least 50 mm apart; where they must "
        "cross they cross at right angles. Each bundle is held within 30 mm of both its ends.",
        "| label, both ends | colour | gauge | from | to | cut, mm |\n|---|---|---|---|---|---|\n"
        + "\n".join(
            f"| {wire.label} | {wire.colour} | {wire.gauge} | {wire.begin} | {wire.end} | {wire.length_mm} |"
            for wire in wires
        ),
        "## To buy\n\n| gauge | colour | metres, with a seventh to spare |\n|---|---|---|\n" + "\n".join(bought),
    ]
    return "\n\n".join(parts) + "\n"


SENSOR_SIDE = ("sensor", "encoder", "controller", "lamp", "buzzer", "bed")


def _outside(wire: Lead) -> str:
    """What a wire leads to, away from the strip board."""
    block = wire.label.split(".")[0]
    if block in ("J10", "J11"):
        return "coils 0 to 7" if block == "J10" else "coils 8 to 15"
    return CABLES[block][1] if block in CABLES else wire.begin


def drawing(circuit: Netlist) -> bytes:
    """The strip board in the middle, what hangs on it around it, each bundle with its number of wires and length."""
    bundles: dict[tuple[str, int], list[Lead]] = defaultdict(list)
    chain: list[Lead] = []
    for wire in leads(circuit):
        if "strip board" in wire.end or wire.label.split(".")[0] not in OFF_BOARD:
            bundles[_outside(wire), wire.length_mm].append(wire)
        else:
            chain.append(wire)
    scene = Scene(270.0, 153.0)
    scene.words(8, 10, "Harness: bundles from the strip board, lengths to cut", 5.0, bold=True)
    scene.box(110, 30, 50, 100, line_mm=0.5)
    scene.words(135, 78, "strip board", 4.0, anchor="middle", bold=True)
    scene.words(135, 84, "in its box", 3.2, anchor="middle")
    sides: dict[bool, list[tuple[str, int]]] = {True: [], False: []}
    for name, length_mm in bundles:
        sides[any(word in name for word in SENSOR_SIDE)].append((name, length_mm))
    for left, names in sides.items():
        pitch = 100 / max(len(names), 1)
        for row, key in enumerate(names):
            _bundle(scene, key, bundles[key], 30 + pitch * (row + 0.5), left=left)
    _chain(scene, chain)
    words = "Sensors leave on one side, coils and supply on the other: 50 mm apart, crossing at right angles only."
    scene.words(8, 145, words, 3.0)
    scene.words(8, 149, "A label on both ends of every wire: harness.md.", 3.0)
    return scene_svg(scene).encode()


def _chain(scene: Scene, wires: list[Lead]) -> None:
    """The wires that never touch the strip board: from the socket's plus through fuse and switch."""
    left = 128.0
    for row, wire in enumerate(wires):
        x = left + 44 * row
        scene.words(x, 139, wire.begin, 3.0, anchor="middle", bold=True)
        scene.line(x + 15, 138, x + 29, 138, 0.3)
        scene.words(x + 22, 136.5, wire.label, 2.4, anchor="middle")
        scene.words(x + 22, 141.5, f"{wire.length_mm} mm", 2.4, anchor="middle")
        scene.words(x + 44, 139, wire.end.split(",")[0], 3.0, anchor="middle", bold=True)


def _bundle(scene: Scene, key: tuple[str, int], wires: list[Lead], level: float, *, left: bool) -> None:
    name, length_mm = key
    begin, end = (62.0, 110.0) if left else (160.0, 208.0)
    scene.line(begin, level, end, level, 0.2 + 0.08 * len(wires))
    scene.words(
        (begin + end) / 2,
        level - 1.6,
        f"{len(wires)} wire{'s' if len(wires) > 1 else ''}, {length_mm} mm",
        2.8,
        anchor="middle",
    )
    labels = ", ".join(wire.label.split(".")[1] for wire in wires)
    ref = wires[0].label.split(".")[0]
    if len(labels) > 30:
        labels = labels[:28].rsplit(",", 1)[0] + " …"
    x, anchor = (begin - 2, "end") if left else (end + 2, "start")
    scene.words(x, level - 0.4, name, 3.0, anchor=anchor, bold=True)
    scene.words(x, level + 3.4, f"{ref}: {labels}", 2.4, anchor=anchor)
