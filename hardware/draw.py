"""The five sheets of the schematic, drawn from the netlist."""

from __future__ import annotations

import schemdraw.elements as elm
from netlist import Netlist
from schemdraw import logic
from sheet import Sheet

COMMON = ("controller", "sensors", "selectors", "supply")


def sheets(netlist: Netlist) -> dict[str, Sheet]:
    """Every sheet of a build by the name of its file. Those of COMMON are the same in every build of its supply."""
    make = {"register": drivers, "darlington": darlingtons, "mosfet": mosfets}[netlist.driver]
    made = {
        "controller": controller(netlist),
        "sensors": sensors(netlist),
        f"drivers-{netlist.driver}": make(netlist),
        "selectors": selectors(netlist),
        "supply": supply(netlist),
    }
    if netlist.driver == "mosfet":
        made["mosfets"] = gates(netlist)
    for sheet in made.values():
        sheet.finish()
    return made


def controller(netlist: Netlist) -> Sheet:
    sheet = Sheet("1 · Controller, ready lamp, buzzer, lines to the drivers", netlist)
    left = ["PD2", "PD3", "PD4", "PD5", "PB1", "PC0", "PC1", "VCC", "GND"]
    right = ["PD6", "PD7", "PB0", "PB2", "PB3", "PB5"]
    sheet.box("U1", (0, -0.5), (3.6, 9.9), left, right, 1.1, "U1  controller board")
    _free_pins(sheet)
    _guard(sheet)
    for pin in left:
        x, y = sheet.place("U1", pin)
        net = netlist.net_of(f"U1.{pin}")
        assert net is not None
        sheet.wire((x, y), (x - 0.5, y))
        if pin == "GND":
            sheet.wire((x - 0.5, y), (x - 0.5, y - 0.3))
            sheet.ground((x - 0.5, y - 0.3))
        else:
            sheet.tag(net.name, (x - 0.5, y), "left")
    x, y = sheet.place("U1", "PD6")
    sheet.wire((x, y), (x + 0.8, y))
    sheet.two(elm.Resistor, "R6", (x + 0.8, y), (x + 2.8, y))
    sheet.wire((x + 2.8, y), (x + 3.6, y))
    sheet.two(elm.LED, "H1", (x + 3.6, y), (x + 5.4, y), ("A", "K"), side="below")
    sheet.wire((x + 5.4, y), (x + 6.0, y), (x + 6.0, y - 0.3))
    sheet.ground((x + 6.0, y - 0.3))
    _buzzer(sheet)
    for row, (pin, ref) in enumerate((("PB0", "R10"), ("PB2", "R11"), ("PB3", "R12"), ("PB5", "R13"))):
        x, y = sheet.place("U1", pin)
        drop = y - 1.9 - 0.15 * row
        turn = x + 1.6 - 0.35 * row
        sheet.wire((x, y), (turn, y), (turn, drop), (x + 2.2, drop))
        sheet.two(elm.Resistor, ref, (x + 2.2, drop), (x + 4.2, drop))
        net = netlist.net_of(f"{ref}.2")
        assert net is not None
        sheet.wire((x + 4.2, drop), (x + 6.6, drop))
        sheet.tag(net.name, (x + 6.6, drop))
        if pin == "PB0":
            sheet.two(elm.Resistor, "R9", (x + 5.4, drop + 2.0), (x + 5.4, drop), ("1", "2"))
            sheet.tag("5V", (x + 5.4, drop + 2.0), "up")
            sheet.words(x + 9.4, drop - 0.4, "R9 holds output enable high,\nso coils are off, through\nreset and boot")
    return sheet


def _free_pins(sheet: Sheet) -> None:
    """The pins of the board that are left free, so that nobody looks for their wires."""
    free = [pin for pin in sheet.netlist.parts["U1"].pins if f"U1.{pin}" in sheet.netlist.open_pins]
    for pin in free:
        sheet.spare("U1", pin)
    marks = [sheet.netlist.parts["U1"].pins[pin] for pin in free]
    lines = ["left free: " + ", ".join(marks[:6]) + ",", ", ".join(marks[6:])]
    sheet.words(-0.4, -1.2, "\n".join(lines))


def _guard(sheet: Sheet) -> None:
    """From the board's 5 V through the resettable fuse to everybody else's."""
    y = -3.4
    sheet.tag("USB 5V", (0, y), "left")
    sheet.two(elm.Fuse, "F2", (0, y), (2.4, y))
    sheet.wire((2.4, y), (4.2, y))
    sheet.two(elm.Zener, "Z1", (3.2, y - 1.8), (3.2, y), ("A", "K"))
    sheet.ground((3.2, y - 1.8))
    sheet.tag("5V", (4.2, y))


def _buzzer(sheet: Sheet) -> None:
    x, y = sheet.place("U1", "PD7")
    sheet.wire((x, y), (x + 7.2, y))
    sheet.two(elm.Resistor, "R7", (x + 7.2, y), (x + 9.2, y))
    made = sheet.drawing.add(elm.BjtNpn(circle=True).at((x + 10.4, y)).anchor("base").theta(0))
    for anchor, pin in (("base", "B"), ("collector", "C"), ("emitter", "E")):
        sheet._pin(made.absanchors[anchor], "Q1", pin)
    sheet.words(x + 11.75, y, "Q1")
    sheet.wire((x + 9.2, y), (x + 10.4, y))
    sheet.two(elm.Resistor, "R8", (x + 9.7, y), (x + 9.7, y - 1.9), side="left")
    sheet.ground((x + 9.7, y - 1.9))
    (cx, cy), (ex, ey) = sheet.place("Q1", "C"), sheet.place("Q1", "E")
    sheet.ground((ex, ey))
    sheet.wire((cx, cy), (cx, cy + 0.5))
    sheet.two(elm.RBox, "B1", (cx, cy + 2.5), (cx, cy + 0.5), ("P", "N"), side="left")
    sheet.wire((cx, cy + 0.5), (cx + 1.6, cy + 0.5))
    sheet.two(elm.Diode, "D2", (cx + 1.6, cy + 0.5), (cx + 1.6, cy + 2.5), ("A", "K"))
    sheet.wire((cx, cy + 2.5), (cx + 1.6, cy + 2.5))
    sheet.wire((cx, cy + 2.5), (cx, cy + 2.9))
    sheet.tag("5V", (cx, cy + 2.9), "up")


def sensors(netlist: Netlist) -> Sheet:
    sheet = Sheet("2 · Sensors: pull-ups, input protection, Schmitt inverters", netlist)
    rows = [  # line, connector, pull-up, series, capacitor, gates
        ("J2", "3", "R20", "R24", "C10", ("1",)),
        ("J2", "4", "R21", "R25", "C11", ("2",)),
        ("J3", "3", "R22", "R26", "C12", ("3", "4")),
        ("J4", "3", "R23", "R27", "C13", ("5", "6")),
        ("J5", "3", "R28", "R29", "C14", ()),
    ]
    tops = [0.0, -3.6, -7.2, -10.8, -14.4]
    for (connector, pin, pull, series, smooth, gates), y in zip(rows, tops, strict=True):
        net = netlist.net_of(f"{connector}.{pin}")
        assert net is not None
        sheet.wire((0, y), (3.2, y))
        sheet.tag(net.name, (0, y), "left")
        sheet.two(elm.Resistor, pull, (1.4, y + 2.0), (1.4, y))
        sheet.tag("5V", (1.4, y + 2.0), "up")
        sheet.two(elm.Resistor, series, (3.2, y), (5.2, y))
        sheet.wire((5.2, y), (7.2, y))
        sheet.two(elm.Capacitor, smooth, (6.0, y), (6.0, y - 1.3))
        sheet.ground((6.0, y - 1.3))
        x = 7.2
        for gate in gates:
            sheet.two(logic.SchmittNot, "U2", (x, y), (x + 2.4, y), (f"{gate}A", f"{gate}Y"), label=False)
            ends = [netlist.parts["U2"].pins[f"{gate}{letter}"] for letter in "AY"]
            sheet.words(x + 1.2, y + 0.7, f"U2  {ends[0]} to {ends[1]}", halign="center")
            x += 2.4
        net = netlist.net_of(f"U2.{gates[-1]}Y" if gates else f"{series}.2")
        assert net is not None
        sheet.wire((x, y), (12.4, y))
        sheet.tag(net.name, (12.4, y))
    _connectors(sheet)
    sheet.words(7.4, -15.3, "J5, R28, R29, C14: only with a third sensor.")
    return sheet


def _connectors(sheet: Sheet) -> None:
    """The sensors' connectors and the supply of U2, in a column on the left."""
    for ref, corner, pins, name in (
        ("J2", (-7.6, -3.7), ["1", "2", "3", "4", "5"], "J2  encoder"),
        ("J3", (-7.6, -8.0), ["1", "2", "3", "4"], "J3  left end"),
        ("J4", (-7.6, -12.0), ["1", "2", "3", "4"], "J4  right end"),
        ("J5", (-7.6, -16.0), ["1", "2", "3", "4"], "J5  middle (optional)"),
    ):
        sheet.box(ref, corner, (1.8, 0.8 * len(pins) + 0.1), [], pins, 0.8, name)
        for pin in pins:
            net = sheet.netlist.net_of(f"{ref}.{pin}")
            assert net is not None
            sheet.tag(net.name, sheet.place(ref, pin))
    sheet.box("U2", (-7.6, 1.9), (1.8, 1.7), [], ["VCC", "GND"], 0.8, "U2  74HC14")
    (vx, vy), (gx, gy) = sheet.place("U2", "VCC"), sheet.place("U2", "GND")
    sheet.wire((vx, vy), (vx + 1.0, vy))
    sheet.wire((gx, gy), (gx + 1.0, gy))
    sheet.two(elm.Capacitor, "C20", (vx + 1.0, vy), (gx + 1.0, gy))
    sheet.tag("5V", (vx + 1.0, vy), "up")
    sheet.ground((gx + 1.0, gy))


def drivers(netlist: Netlist) -> Sheet:
    sheet = Sheet("3 · Drivers and terminals: power shift registers", netlist)
    left = ["VCC", "CLEAR", "SERIN", "CLOCK", "LATCH", "ENABLE", "SEROUT", "GND1", "GND2", "GND3"]
    for ref, smooth, y in (("U3", "C21", 0.0), ("U4", "C22", -8.6)):
        sheet.box(ref, (0, y), (3.4, 6.5), left, [f"DRAIN{n}" for n in range(8)], 0.64, f"{ref}  TPIC6B595")
        _logic(sheet, ref, smooth, left, ["GND1", "GND2", "GND3"])
        sheet.words(1.7, y - 0.3, "pins 1 and 20: left free", halign="center")
        for pin in ("NC1", "NC20"):
            sheet.spare(ref, pin)
        _terminals(sheet, [f"{ref}.DRAIN{n}" for n in range(8)], "J10" if ref == "U3" else "J11", (6.8, y))
    return sheet


def darlingtons(netlist: Netlist) -> Sheet:
    sheet = Sheet("3 · Drivers and terminals: shift registers before Darlington arrays", netlist)
    for ref, smooth, array, y in (("U3", "C21", "U6", 0.0), ("U4", "C22", "U7", -8.6)):
        _plain_register(sheet, ref, smooth, y)
        left, right = [*(f"IN{n}" for n in range(8)), "GND"], [*(f"OUT{n}" for n in range(8)), "COM"]
        sheet.box(array, (7.0, y + 0.54), (3.0, 5.96), left, right, 0.64, f"{array}  ULN2803A")
        for n in range(8):
            sheet.wire(sheet.place(ref, f"Q{n}"), sheet.place(array, f"IN{n}"))
        x, ground = sheet.place(array, "GND")
        sheet.wire((x, ground), (x - 0.4, ground), (x - 0.4, ground - 0.4))
        sheet.ground((x - 0.4, ground - 0.4))
        x, common = sheet.place(array, "COM")
        sheet.words(x + 0.15, common, "left free")
        _terminals(sheet, [f"{array}.OUT{n}" for n in range(8)], "J10" if ref == "U3" else "J11", (13.4, y))
    return sheet


def mosfets(netlist: Netlist) -> Sheet:
    sheet = Sheet("3 · Drivers and terminals: shift registers before MOSFETs", netlist)
    for ref, smooth, y in (("U3", "C21", 0.0), ("U4", "C22", -8.6)):
        _plain_register(sheet, ref, smooth, y)
        first = 0 if ref == "U3" else 8
        for n in range(8):
            x, level = sheet.place(ref, f"Q{n}")
            sheet.tag(f"DRIVE {first + n}", (x, level))
        block = "J10" if ref == "U3" else "J11"
        pins = [*(str(n) for n in range(8)), "P1", "P2"]
        sheet.box(block, (8.6, y - 0.6), (1.6, 6.5), [], pins, 0.64, f"{block}  terminals")
        for n in range(8):
            sheet.tag(f"SELECTOR {first + n}", sheet.place(block, str(n)))
        for pin in ("P1", "P2"):
            sheet.tag("COIL+", sheet.place(block, pin))
    return sheet


def gates(netlist: Netlist) -> Sheet:
    sheet = Sheet("3b · The MOSFETs of the drivers", netlist)
    for n in range(16):
        _mosfet(sheet, n, (5.0 * (n % 4), -4.0 * (n // 4)))
    return sheet


def _mosfet(sheet: Sheet, n: int, at: tuple[float, float]) -> None:
    """One MOSFET with its gate's pull-down; the gate comes in from the left."""
    x, y = at
    made = sheet.drawing.add(elm.NFet().reverse().at((x + 1.4, y)).anchor("gate").theta(0))
    ref = f"Q{100 + n}"
    for anchor, pin in (("gate", "G"), ("drain", "D"), ("source", "S")):
        sheet._pin(made.absanchors[anchor], ref, pin)
    (dx, dy), (sx, sy) = sheet.place(ref, "D"), sheet.place(ref, "S")
    gx, gy = sheet.place(ref, "G")
    sheet.words(max(dx, sx) + 0.15, (dy + sy) / 2, ref)
    sheet.wire((gx - 1.2, gy), (gx, gy))
    sheet.tag(f"DRIVE {n}", (gx - 1.2, gy), "left")
    sheet.two(elm.Resistor, f"R{100 + n}", (gx - 0.6, gy), (gx - 0.6, gy - 1.7), side="left")
    sheet.ground((gx - 0.6, gy - 1.7))
    sheet.ground((sx, sy))
    sheet.wire((dx, dy), (dx, dy + 0.2))
    sheet.tag(f"SELECTOR {n}", (dx, dy + 0.2), "up")


def _plain_register(sheet: Sheet, ref: str, smooth: str, y: float) -> None:
    left = ["VCC", "CLEAR", "SERIN", "CLOCK", "LATCH", "ENABLE", "SEROUT", "GND"]
    sheet.box(ref, (0, y + 1.28), (3.4, 5.22), left, [f"Q{n}" for n in range(8)], 0.64, f"{ref}  74HC595")
    _logic(sheet, ref, smooth, left, ["GND"])


def _logic(sheet: Sheet, ref: str, smooth: str, left: list[str], grounds: list[str]) -> None:
    """The left side of a register: supply with its capacitor, lines by name, ground."""
    for pin in left:
        _driver_pin(sheet, ref, pin)
    first, last = sheet.place(ref, grounds[0]), sheet.place(ref, grounds[-1])
    sheet.wire((first[0] - 0.4, first[1]), (last[0] - 0.4, last[1] - 0.4))
    sheet.ground((last[0] - 0.4, last[1] - 0.4))
    x, top = sheet.place(ref, "VCC")
    sheet.wire((x, top), (x - 3.3, top))
    sheet.tag("5V", (x - 3.3, top), "up")
    sheet.two(elm.Capacitor, smooth, (x - 3.3, top), (x - 3.3, top - 1.5))
    sheet.ground((x - 3.3, top - 1.5))


def _driver_pin(sheet: Sheet, ref: str, pin: str) -> None:
    """One pin on the left of a driver: its net's name, or a short wire."""
    x, y = sheet.place(ref, pin)
    net = sheet.netlist.net_of(f"{ref}.{pin}")
    if pin.startswith("GND"):
        sheet.wire((x, y), (x - 0.4, y))
    elif pin == "CLEAR":
        sheet.wire((x, y), (x - 0.4, y), (x - 0.4, sheet.place(ref, "VCC")[1]))
    elif net is None:
        sheet.words(x - 0.2, y, "left free", halign="right")
    elif pin != "VCC":
        sheet.tag(net.name, (x, y), "left")


def _terminals(sheet: Sheet, drains: list[str], block: str, corner: tuple[float, float]) -> None:
    """Eight outputs, straight to their terminal block."""
    level = sheet.place(*drains[0].split("."))[1]
    pins = ["0", "1", "2", "3", "4", "5", "6", "7", "P1", "P2"]
    height = 0.64 * len(pins) + 0.1
    sheet.box(block, (corner[0], level + 0.64 * 0.75 - height), (1.6, height), pins, [], 0.64, f"{block}  terminals")
    for n, drain in enumerate(drains):
        here, there = sheet.place(*drain.split(".")), sheet.place(block, str(n))
        net = sheet.netlist.net_of(drain)
        assert net is not None
        sheet.wire(here, there)
        sheet.name(net.name, ((here[0] + there[0]) / 2, here[1]))
    for pin in ("P1", "P2"):
        sheet.tag("COIL+", sheet.place(block, pin), "left")


def selectors(netlist: Netlist) -> Sheet:
    """Every coil with its diode and its zener beside it."""
    sheet = Sheet("4 · Selector coils and their clamps", netlist)
    for n in range(16):
        x, y = 4.6 * (n % 4), -4.8 * (n // 4)
        sheet.two(elm.Inductor2, f"L{n}", (x, y), (x, y - 2.8), side="left", value=False)
        sheet.two(elm.Zener, f"Z{100 + n}", (x + 1.6, y), (x + 1.6, y - 1.4), ("A", "K"), value=False)
        sheet.two(elm.Diode, f"D{100 + n}", (x + 1.6, y - 2.8), (x + 1.6, y - 1.4), ("A", "K"), value=False)
        sheet.wire((x, y), (x + 1.6, y))
        sheet.wire((x, y - 2.8), (x + 1.6, y - 2.8))
        sheet.tag("COIL+", (x, y), "up")
        sheet.tag(f"SELECTOR {n}", (x, y - 2.8), "down")
    sheet.words(
        0.0, -19.2, "Z100 to Z115: 24 V zeners in a build for 12 V, 15 V zeners in one for 24 V. All of the clamps"
    )
    sheet.words(0.0, -19.6, "stand on the board beside the drivers, so that a broken lead leaves no driver unguarded.")
    return sheet


def supply(netlist: Netlist) -> Sheet:
    sheet = Sheet("5 · Coil supply, fuse, shunt and star ground, sense lines", netlist)
    top, bottom = 0.0, -4.0
    sheet.box("J1", (-3.2, -3.2), (1.8, 2.4), [], ["P", "N"], 1.2, "J1  coil supply")
    (px, py), (nx, ny) = sheet.place("J1", "P"), sheet.place("J1", "N")
    sheet.wire((px, py), (-0.2, py), (-0.2, top), (0.2, top))
    sheet.tag("SUPPLY", (-0.2, top), "up")
    sheet.two(elm.Fuse, "F1", (0.2, top), (2.6, top))
    sheet.wire((2.6, top), (3.4, top))
    sheet.tag("FUSED", (3.0, top), "up")
    sheet.two(elm.Switch, "S1", (3.4, top), (5.4, top), side="high")
    sheet.wire((5.4, top), (14.2, top))
    sheet.tag("COIL+", (14.2, top))
    sheet.wire((nx, ny), (-0.2, ny), (-0.2, bottom), (13.2, bottom))
    sheet.tag("SUPPLY MINUS", (-0.2, bottom), "down")
    sheet.words(2.2, bottom - 0.4, "not ground: the coils' current lies between the two, over R2")
    sheet.two(elm.Schottky, "D1", (6.2, bottom), (6.2, top), ("A", "K"), side="left")
    sheet.two(elm.Capacitor2, "C1", (7.4, top), (7.4, bottom), ("P", "N"))
    sheet.words(7.2, (top + bottom) / 2 + 0.3, "+", 12, "right")
    sheet.two(elm.Capacitor, "C2", (9.4, top), (9.4, bottom))
    sheet.two(elm.Resistor, "R1", (11.2, top), (11.2, bottom))
    sheet.two(elm.Resistor, "R14", (13.2, top), (13.2, -2.0))
    sheet.two(elm.LED, "H2", (13.2, -2.0), (13.2, bottom), ("A", "K"), side="left")
    _supply_sense(sheet, -5.4)
    _bed(sheet, -7.2)
    _current_sense(sheet, -13.8)
    return sheet


def _supply_sense(sheet: Sheet, y: float) -> None:
    sheet.tag("COIL+", (1.0, y), "left")
    sheet.wire((1.0, y), (1.8, y))
    sheet.two(elm.Resistor, "R3", (1.8, y), (1.8, y - 1.8))
    sheet.two(elm.Resistor, "R4", (1.8, y - 1.8), (1.8, y - 3.6))
    sheet.ground((1.8, y - 3.6))
    sheet.wire((1.8, y - 1.8), (5.0, y - 1.8))
    sheet.two(elm.Capacitor, "C3", (4.0, y - 1.8), (4.0, y - 3.6))
    sheet.ground((4.0, y - 3.6))
    sheet.tag("SUPPLY SENSE", (5.0, y - 1.8))


def _bed(sheet: Sheet, y: float) -> None:
    """What lets the bed's charge run down."""
    sheet.wire((8.6, y), (9.2, y))
    sheet.wire((8.6, y), (8.6, y - 0.3))
    sheet.ground((8.6, y - 0.3))
    sheet.two(elm.Resistor, "R17", (9.2, y), (11.2, y))
    sheet.wire((11.2, y), (11.8, y))
    sheet.tag("BED", (11.8, y), "up")
    sheet.box("X1", (12.6, y - 0.6), (1.6, 1.2), ["1"], [], 0.8, "X1  on the bed")


def _current_sense(sheet: Sheet, y: float) -> None:
    """Shunt between star ground and the supply's minus, and the amplifier that turns its voltage over."""
    x = -0.2
    sheet.tag("SUPPLY MINUS", (x, y), "left")
    sheet.wire((x, y), (x + 2.0, y))
    sheet.two(elm.Resistor, "R2", (x + 0.9, y + 2.4), (x + 0.9, y), side="left")
    sheet.wire((x + 0.9, y + 2.4), (x + 2.2, y + 2.4), (x + 2.2, y + 2.1))
    sheet.ground((x + 2.2, y + 2.1))
    sheet.words(x - 0.6, y + 3.2, "star ground: every GND wire of\nthe build ends at this end of R2")
    sheet.two(elm.Resistor, "R15", (x + 2.0, y), (x + 4.0, y), side="below")
    sheet.wire((x + 4.0, y), (x + 6.3, y))
    sheet.box("U5", (x + 7.1, y - 2.6), (3.2, 3.4), ["IN_MINUS", "IN_PLUS", "VREF", "VSS"], ["VDD", "OUT"], 0.8,
              "U5  MCP6021")  # fmt: skip
    inverting = sheet.place("U5", "IN_MINUS")
    sheet.wire((x + 6.3, y), (x + 6.3, inverting[1]), inverting)
    plus, minus, free = (sheet.place("U5", pin) for pin in ("IN_PLUS", "VSS", "VREF"))
    sheet.words(free[0] - 0.15, free[1], "left free", halign="right")
    sheet.wire(plus, (plus[0] - 0.9, plus[1]))
    sheet.ground((plus[0] - 0.9, plus[1]))
    sheet.wire(minus, (minus[0] - 0.4, minus[1]), (minus[0] - 0.4, minus[1] - 0.4))
    sheet.ground((minus[0] - 0.4, minus[1] - 0.4))
    for pin in ("NC1", "NC8"):
        sheet.spare("U5", pin)
    sheet.words(x + 8.7, y - 2.95, "pins 1 and 8: left free", halign="center")
    out, power = sheet.place("U5", "OUT"), sheet.place("U5", "VDD")
    sheet.wire(power, (power[0] + 2.0, power[1]), (power[0] + 2.0, power[1] + 2.0))
    sheet.tag("5V", (power[0] + 2.0, power[1] + 2.0), "up")
    sheet.wire((power[0] + 2.0, power[1] + 1.5), (power[0] + 4.2, power[1] + 1.5))
    sheet.two(elm.Capacitor, "C23", (power[0] + 4.2, power[1] + 1.5), (power[0] + 4.2, power[1] + 0.5))
    sheet.ground((power[0] + 4.2, power[1] + 0.5))
    back = y + 2.5
    sheet.wire((x + 5.2, y), (x + 5.2, back + 1.3), (x + 7.2, back + 1.3))
    sheet.wire((x + 5.2, back), (x + 7.2, back))
    sheet.two(elm.Resistor, "R16", (x + 7.2, back), (x + 9.2, back), side="below")
    sheet.two(elm.Capacitor, "C5", (x + 7.2, back + 1.3), (x + 9.2, back + 1.3))
    right = out[0] + 0.5
    sheet.wire(out, (right, out[1]), (right, back + 1.3), (x + 9.2, back + 1.3))
    sheet.wire((x + 9.2, back), (right, back))
    sheet.wire((right, out[1]), (right + 0.6, out[1]))
    sheet.two(elm.Resistor, "R5", (right + 0.6, out[1]), (right + 2.6, out[1]), side="below")
    sheet.wire((right + 2.6, out[1]), (right + 4.4, out[1]))
    sheet.two(elm.Capacitor, "C4", (right + 3.2, out[1]), (right + 3.2, out[1] - 1.6))
    sheet.ground((right + 3.2, out[1] - 1.6))
    sheet.tag("CURRENT SENSE", (right + 4.4, out[1]))
    sheet.tag("CURRENT SUM", (x + 5.2, back + 1.3), "up")
    sheet.tag("CURRENT AMPLIFIED", (right, back + 1.3), "up")
