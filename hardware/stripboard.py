"""The strip board of the register builds: what its plan joins, both its sides drawn, its lists for the bench."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

from netlist import Netlist

from latchline.drawing.pdf import scenes_pdf
from latchline.drawing.scene import Disc, Scene, Words
from latchline.drawing.svg import scene_svg

FILE = Path(__file__).parent / "stripboard.toml"
STAR = "R2.1"  # the leg at which the ground of drivers and sensors meet
PITCH_MM = 4.2  # on paper; 2.54 mm on the board
LABEL_MM = 2.0
LEFT_MM, TOP_MM = 25.0, 26.0
OFF_BOARD = ("U1", "J1", "S1", "H1", "H2", "B1", "X1")

Hole = tuple[int, int]  # strip, hole


@dataclass(frozen=True)
class Plan:
    """strips, holes: how many of each. legs: part.pin to its hole. heavy: links of the thicker wire."""

    strips: int
    holes: int
    cuts: frozenset[Hole]
    links: tuple[tuple[Hole, Hole], ...]
    heavy: frozenset[tuple[Hole, Hole]]
    legs: dict[str, Hole]


def load() -> Plan:
    table = tomllib.loads(FILE.read_text(encoding="utf-8"))
    heavy, light = ([(_hole(a), _hole(b)) for a, b in table["links"][kind]] for kind in ("heavy", "light"))
    return Plan(
        strips=table["strips"],
        holes=table["holes"],
        cuts=frozenset((int(strip), hole) for strip, holes in table["cuts"].items() for hole in holes),
        links=(*heavy, *light),
        heavy=frozenset(heavy),
        legs={f"{ref}.{pin}": _hole(at) for ref, pins in table["legs"].items() for pin, at in pins.items()},
    )


def _hole(text: str) -> Hole:
    strip, hole = text.split("/")
    return int(strip), int(hole)


def _text(hole: Hole) -> str:
    return f"{hole[0]}/{hole[1]}"


# --- what is joined -------------------------------------------------------------------------------


def pieces(plan: Plan) -> dict[Hole, int]:
    """Every hole with copper around it → the number of the piece of strip that it lies on."""
    found: dict[Hole, int] = {}
    number = 0
    for strip in range(1, plan.strips + 1):
        number += 1
        for hole in range(1, plan.holes + 1):
            if (strip, hole) in plan.cuts:
                number += 1
            else:
                found[strip, hole] = number
    return found


def joined(plan: Plan, without: frozenset[int] = frozenset()) -> list[frozenset[str]]:
    """The legs that strips and links join, group by group. without: pieces of strip that are taken as missing."""
    piece = pieces(plan)
    groups: list[set[int]] = []
    for begin, end in plan.links:
        ends = {piece[begin], piece[end]}
        if not ends & without:
            touching = [group for group in groups if group & ends]
            groups = [group for group in groups if not group & ends] + [ends.union(*touching)]
    legs: dict[int, set[str]] = defaultdict(set)
    for leg, hole in plan.legs.items():
        if piece[hole] not in without:
            home = next((index for index, group in enumerate(groups) if piece[hole] in group), -piece[hole])
            legs[home].add(leg)
    return [frozenset(group) for group in legs.values()]


def faults(plan: Plan) -> list[str]:
    """Holes used twice, or used and cut, or outside the board."""
    used: dict[Hole, list[str]] = defaultdict(list)
    for leg, hole in plan.legs.items():
        used[hole].append(leg)
    for begin, end in plan.links:
        used[begin].append(f"link to {_text(end)}")
        used[end].append(f"link to {_text(begin)}")
    for hole in plan.cuts:
        used[hole].append("cut")
    found = [f"{_text(hole)}: {' and '.join(what)}" for hole, what in used.items() if len(what) > 1]
    inside = {(strip, hole) for strip in range(1, plan.strips + 1) for hole in range(1, plan.holes + 1)}
    return found + [f"{_text(hole)} is not on the board" for hole in used if hole not in inside]


# --- drawings -------------------------------------------------------------------------------------


def drawings(plan: Plan, circuit: Netlist) -> dict[str, bytes]:
    """Both sides, as pictures and as one file to print."""
    parts, copper = _parts_side(plan, circuit), _copper_side(plan)
    return {
        "stripboard-parts.svg": scene_svg(parts).encode(),
        "stripboard-copper.svg": scene_svg(copper).encode(),
        "stripboard.pdf": scenes_pdf([parts, copper], "Strip board of the register builds"),
    }


def _sheet(title: str, plan: Plan, *, mirrored: bool) -> Scene:
    scene = Scene(297.0, 210.0)
    scene.words(LEFT_MM, 11, title, 4.4, bold=True)
    for number in range(1, plan.holes + 1):
        x = _x(plan, number, mirrored)
        if number == 1 or number % 5 == 0:
            for y in (TOP_MM - 3.4, TOP_MM + PITCH_MM * plan.strips - 0.6):
                scene.words(x, y, str(number), 2.2, anchor="middle")
    for strip in range(1, plan.strips + 1):
        for x, anchor in ((LEFT_MM - 13.0, "end"), (LEFT_MM + PITCH_MM * plan.holes + 8.0, "start")):
            scene.words(x, _y(strip) + 0.8, str(strip), 2.2, anchor=anchor)
    return scene


def _x(plan: Plan, hole: int, mirrored: bool = False) -> float:
    return LEFT_MM + PITCH_MM * ((plan.holes - hole) if mirrored else (hole - 1))


def _y(strip: int) -> float:
    return TOP_MM + PITCH_MM * (strip - 1)


def _strips(scene: Scene, plan: Plan, fill: str, *, mirrored: bool) -> None:
    """Each piece of strip as a bar, open at its cuts."""
    for strip in range(1, plan.strips + 1):
        begin = 1
        for cut in [*sorted(hole for at, hole in plan.cuts if at == strip), plan.holes + 1]:
            if cut > begin:
                left, right = sorted((_x(plan, begin, mirrored), _x(plan, cut - 1, mirrored)))
                scene.box(left - 1.5, _y(strip) - 1.5, right - left + 3.0, 3.0, fill=fill, stroke=None)
            begin = cut + 1


def _copper_side(plan: Plan) -> Scene:
    title = "Strip board, copper side (turned over: hole 1 is on the right); crosses are cuts, dots are soldered"
    scene = _sheet(title, plan, mirrored=True)
    _strips(scene, plan, "#e3c9a8", mirrored=True)
    for strip, hole in sorted(plan.cuts):
        x, y = _x(plan, hole, True), _y(strip)
        scene.line(x - 1.2, y - 1.2, x + 1.2, y + 1.2, 0.4)
        scene.line(x - 1.2, y + 1.2, x + 1.2, y - 1.2, 0.4)
    for strip, hole in sorted({*plan.legs.values(), *(end for link in plan.links for end in link)}):
        _dot(scene, _x(plan, hole, True), _y(strip), 0.8)
    return scene


def _ring(scene: Scene, x: float, y: float, radius: float) -> None:
    scene.items.append(Disc(x, y, radius, None, "#000000", 0.25))


def _dot(scene: Scene, x: float, y: float, radius: float, fill: str = "#000000") -> None:
    scene.items.append(Disc(x, y, radius, fill))


def _parts_side(plan: Plan, circuit: Netlist) -> Scene:
    title = "Strip board, side of the parts; strips and cuts lie behind, blue lines are links (the thick ones AWG 22)"
    scene = _sheet(title, plan, mirrored=False)
    _strips(scene, plan, "#eeeeee", mirrored=False)
    legs: dict[str, dict[str, Hole]] = defaultdict(dict)
    for leg, hole in plan.legs.items():
        ref, pin = leg.split(".")
        legs[ref][pin] = hole
    for ref, pins in legs.items():
        if circuit.parts[ref].kind == "integrated circuit":
            _chip(scene, plan, ref, pins)
        elif ref in OFF_BOARD or ref.startswith("J"):
            _ends(scene, plan, ref, pins)
        elif len(pins) == 2:
            _two(scene, plan, ref, pins)
        else:
            _three(scene, plan, ref, pins)
    for begin, end in plan.links:
        (x1, y1), (x2, y2) = ((_x(plan, hole), _y(strip)) for strip, hole in (begin, end))
        scene.line(x1, y1, x2, y2, 1.0 if (begin, end) in plan.heavy else 0.45, "#1f5fbf")
        for x, y in ((x1, y1), (x2, y2)):
            _dot(scene, x, y, 0.7, "#1f5fbf")
    _names_on_top(scene)
    return scene


def _names_on_top(scene: Scene) -> None:
    """Every name last, on a white ground, so that no link runs through it."""
    words = [item for item in scene.items if isinstance(item, Words) and item.size_mm == LABEL_MM]
    scene.items[:] = [item for item in scene.items if item not in words]
    for item in words:
        width = 0.6 * LABEL_MM * len(item.text)
        left = item.x - {"start": 0.0, "middle": width / 2, "end": width}[item.anchor]
        scene.box(left, item.y - 0.78 * LABEL_MM, width, LABEL_MM, fill="#ffffff", stroke=None)
        scene.items.append(item)


def _chip(scene: Scene, plan: Plan, ref: str, pins: dict[str, Hole]) -> None:
    strips, holes = ([hole[n] for hole in pins.values()] for n in (0, 1))
    x, y = _x(plan, min(holes)) + 1.4, _y(min(strips)) - 1.8
    width, height = _x(plan, max(holes)) - 1.4 - x, _y(max(strips)) + 1.8 - y
    scene.box(x, y, width, height, fill="#ffffff", line_mm=0.35)
    scene.box(x + width / 2 - 1.0, y, 2.0, 1.0, fill="#000000", stroke=None)
    scene.words(x + width / 2, y + height / 2 + 0.8, ref, 3.2, anchor="middle", bold=True)
    for hole in pins.values():
        _dot(scene, _x(plan, hole[1]), _y(hole[0]), 0.8)


def _ends(scene: Scene, plan: Plan, ref: str, pins: dict[str, Hole]) -> None:
    """A connector's pins, or the places for the wires of a part off the board."""
    for pin, (strip, hole) in pins.items():
        x, y = _x(plan, hole), _y(strip)
        scene.box(x - 1.5, y - 1.5, 3.0, 3.0, fill="#ffffff", line_mm=0.3)
        _dot(scene, x, y, 0.6)
        outer = ref.startswith("J") and hole in (2, plan.holes - 1)
        crowded = any((strip, hole + step) in plan.legs.values() for step in (1, 2, 3))
        left = hole < plan.holes / 2 if outer else crowded
        gap = 5.0 if outer else 1.9
        scene.words(x + (-gap if left else gap), y + 0.8, f"{ref}.{pin}", LABEL_MM, anchor="end" if left else "start")


def _two(scene: Scene, plan: Plan, ref: str, pins: dict[str, Hole]) -> None:
    first = next(iter(pins))
    (x1, y1), (x2, y2) = ((_x(plan, hole), _y(strip)) for strip, hole in pins.values())
    scene.line(x1, y1, x2, y2, 0.3)
    level = y1 == y2
    span = max(abs(x2 - x1), abs(y2 - y1))
    half = min(span / 2 - 1.2, 5.0) if span > 2 * PITCH_MM else span / 2 - 0.9
    middle_x, middle_y = (x1 + x2) / 2, (y1 + y2) / 2
    thick = 1.2
    if first == "P":  # a can of 12.5 mm
        _ring(scene, middle_x, middle_y, 6.25 / 2.54 * PITCH_MM)
    across, up = (half, thick) if level else (thick, half)
    scene.box(middle_x - across, middle_y - up, 2 * across, 2 * up, fill="#ffffff", line_mm=0.25)
    if first in ("A", "K"):
        x, y = (x1, y1) if first == "K" else (x2, y2)
        sign_x, sign_y = (x > middle_x) - (x < middle_x), (y > middle_y) - (y < middle_y)
        ring_x, ring_y = middle_x + sign_x * (across - 0.5), middle_y + sign_y * (up - 0.5)
        if level:
            scene.line(ring_x, ring_y - up, ring_x, ring_y + up, 0.7)
        else:
            scene.line(ring_x - across, ring_y, ring_x + across, ring_y, 0.7)
    if first == "P":
        scene.words(x1 + 1.2, y1 + 0.4, "+", 3.0, bold=True)
    for x, y in ((x1, y1), (x2, y2)):
        _dot(scene, x, y, 0.7)
    if level and span <= 2 * PITCH_MM:
        scene.words(middle_x, middle_y - 1.5, ref, LABEL_MM, anchor="middle")
    elif level:
        scene.words(middle_x, middle_y + 0.75, ref, LABEL_MM, anchor="middle")
    else:
        scene.words(middle_x + across + 0.4, middle_y + 0.75, ref, LABEL_MM)


def _three(scene: Scene, plan: Plan, ref: str, pins: dict[str, Hole]) -> None:
    points = [(_x(plan, hole), _y(strip)) for strip, hole in pins.values()]
    xs, ys = ([point[n] for point in points] for n in (0, 1))
    scene.box(min(xs) - 1.4, min(ys) - 1.4, max(xs) - min(xs) + 2.8, max(ys) - min(ys) + 2.8, fill="#ffffff")
    for pin, (x, y) in zip(pins, points, strict=True):
        _dot(scene, x, y, 0.7)
        scene.words(x + 1.8, y + 0.8, f"{ref} {pin}" if y == min(ys) else pin, LABEL_MM)


# --- lists for the bench --------------------------------------------------------------------------


def _value(circuit: Netlist, other: Netlist, ref: str) -> str:
    """A part's value; of both builds where they differ."""
    here, there = circuit.parts[ref].value, other.parts[ref].value
    return here if here == there else f"{here} in the {circuit.volts} V build, {there} in the {other.volts} V build"


def page(plan: Plan, circuit: Netlist, other: Netlist) -> str:
    """Cuts, links and legs in the order of the work. other: the build for the other supply."""
    cuts: dict[int, list[int]] = defaultdict(list)
    for strip, at in sorted(plan.cuts):
        cuts[strip].append(at)
    links = [
        f"| {_text(begin)} | {_text(end)} | {'AWG 22' if (begin, end) in plan.heavy else 'AWG 24'} | "
        f"{net_at(plan, circuit, begin)} |"
        for begin, end in sorted(plan.links)
    ]
    legs: dict[str, list[str]] = defaultdict(list)
    for leg, hole in plan.legs.items():
        ref, pin = leg.split(".")
        legs[ref].append(f"{pin} {_text(hole)}")
    rows = [
        f"| {ref} | {_value(circuit, other, ref)} | {_how(plan, ref)} | {', '.join(its)} |" for ref, its in legs.items()
    ]
    return (
        "\n\n".join(
            [
                "# Strip board of the register builds, 12 and 24 V",
                f"For the bench: where to cut, what to link, where each leg goes. A board of {plan.strips} strips of "
                f"{plan.holes} holes, 2.54 mm apart. [stripboard.pdf](stripboard.pdf) shows both sides "
                "([parts](stripboard-parts.svg), [copper](stripboard-copper.svg)). A hole is written strip/hole, "
                "**seen from the side of the parts**: strips counted from the top, holes from the left. On the copper "
                "side the board is turned over and hole 1 is on the right. Made by `build.py`; do not edit.",
                "The tests take what the strips, cuts, links and legs of this plan join and hold it to the netlist, "
                "pin for pin; a cut or a link left out is found. Nobody has built it: room for bodies, and which way a "
                "wire bends, is judged on paper. For the Darlington and MOSFET builds there is no plan.",
                WORK,
                "## Cuts\n\n| strip | at holes |\n|---|---|\n"
                + "\n".join(f"| {strip} | {', '.join(map(str, holes))} |" for strip, holes in cuts.items()),
                "## Links\n\n| from | to | wire | net |\n|---|---|---|---|\n" + "\n".join(links),
                "## Legs\n\n| part | value | how | leg and hole |\n|---|---|---|---|\n" + "\n".join(rows),
            ]
        )
        + "\n"
    )


WORK = """1. **Cuts** first: mark each with a pen on the copper side, count again, cut with a 3.5 mm drill turned by
   hand, and look through the hole against a light. *Check with the meter's buzzer:* silent over every
   cut, silent between neighbouring strips.
2. **Links** next, insulated wire on the side of the parts, the light ones AWG 24, the others AWG 22.
   Where two cross, or one passes over a part, it is laid around it. *Check:* each rings from end to end.
3. **Sockets and parts** of one step of the build order at a time. The notch of every chip points up.
   *Lying* parts lie flat between their legs; *upright* ones stand on one end with the other leg bent
   down. A ring or a + is where the plan has it: K is the ring's end. Q1 is a 2N3904 (E, B, C); a BC547
   has its outer legs the other way round, so look at yours. The legs of D1, and perhaps of Z1, are
   thicker than a hole: open it to 1.3 mm. J10 and J11 are blocks of 5.08 mm: each pole takes every second
   strip.
4. **Wires** of the parts off the board go where their name stands, each with its label
   ([harness.md](harness.md)).
5. Tin strips 12, 21, 35, 36 and 37 along their
   length: they carry the current of all coils. *Check:* the
   whole of the last table of your build's wiring, net by net, before a chip is in its socket and before
   anything is plugged in.

The drivers' ground runs in strips 2 and 12 and reaches the star, R2's end at 35/27, by one thick link of
its own; the sensors' ground comes by another."""


def _how(plan: Plan, ref: str) -> str:
    holes = [hole for leg, hole in plan.legs.items() if leg.split(".")[0] == ref]
    if ref in OFF_BOARD:
        return "wire"
    if len(holes) != 2 or ref.startswith(("C", "F")):
        return "flat"
    (strip, hole), (other_strip, other_hole) = holes
    return "lying" if abs(strip - other_strip) + abs(hole - other_hole) >= 4 else "upright"


def net_at(plan: Plan, circuit: Netlist, hole: Hole) -> str:
    """The name of the net that a hole belongs to, empty where nothing is joined to it."""
    probed = replace(plan, legs={**plan.legs, "probe": hole})
    group = next(group for group in joined(probed) if "probe" in group) - {"probe"}
    net = circuit.net_of(min(group)) if group else None
    return net.name if net is not None else ""
