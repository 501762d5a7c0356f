"""The bring-up sheet: what a meter shows at each test point after each step, from ngspice's operating point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor

from netlist import Netlist
from spice import DARLINGTON_V, ON_OHM, Bench, node, operating_points

from latchline.machine.sense import current_pin_v

GUARD = {"U1", "F2", "Z1", "U5", "C23", "R15", "R16", "C5", "R5", "C4", "R2", "R3", "R4", "C3"}
SENSORS = GUARD | {"U2", "C20", "J2", "J3", "J4", *(f"R{n}" for n in range(20, 28)), *(f"C{n}" for n in range(10, 14))}
LAMPS = SENSORS | {"R6", "H1", "R7", "R8", "Q1", "B1", "D2"}
SUPPLY = LAMPS | {"J1", "F1", "S1", "D1", "C1", "C2", "R1", "R14", "H2"}
USB_V = (4.4, 5.25)  # USB 2.0, at the end of a cable behind a hub and at a port (memory)
SUPPLY_SHARE = {12: 0.10, 24: 0.05}  # as the profiles have it
COIL_SHARE = 0.05  # by which coils of one make differ (assumed)
OFFSET_V = 0.0005  # MCP6021 data sheet, highest
METER_SHARE, METER_STEPS = 0.01, 2  # of an ordinary meter (assumed): a share, and steps of its last digit
COIL = {12: (120.0, 60.0), 24: (200.0, 100.0)}  # ohms and millihenries reckoned with


@dataclass(frozen=True)
class Point:
    """red, black: where the probes go. mark: what stands there, for a finger to find."""

    red: str
    mark: str
    black: str = "GND"
    digits: int = 2  # after the point, that the meter shows


@dataclass(frozen=True)
class Step:
    number: int
    title: str
    bench: Bench
    points: tuple[Point, ...]
    limit_a: float  # of a bench supply in place of the coil supply; 0 where that is not plugged in
    note: str


FIVE = Point("5V", "pin 14 of U2's place")
PLUS, MINUS = Point("COIL+", "+ of J10"), Point("COIL+", "+ of J10", "SUPPLY MINUS")
SENSE_V, SENSE_A = Point("SUPPLY SENSE", "A0"), Point("CURRENT SENSE", "A1", digits=3)


def steps(circuit: Netlist) -> list[Step]:
    """The steps of the build order in README.md at which there is something to measure."""
    ohm, henry_m = COIL[circuit.volts]
    usb = Bench(supply_v=0.0, coils=(), coil_ohm=ohm, coil_mh=henry_m)
    fed = replace(usb, supply_v=float(circuit.volts))
    drivers = Bench(supply_v=float(circuit.volts), coils=(), coil_ohm=ohm, coil_mh=henry_m)
    one, all_on = replace(drivers, coils=(0,), on=(0,)), replace(drivers, coils=range(16), on=range(16))
    coil_a = circuit.volts / ohm
    enable = Point("OUTPUT ENABLE", "end of R9 away from 5 V")
    first = (Point("SELECTOR 0", "0 of J10"), Point("SELECTOR 15", "7 of J11"))
    return [
        Step(3, "guard and sense", replace(usb, fitted=GUARD), (FIVE, SENSE_V, SENSE_A), 0, "USB alone"),
        Step(4, "sensor inputs", replace(usb, fitted=SENSORS),
             (FIVE, Point("LEFT LINE", "3 of J3"), Point("LEFT END", "D4"), Point("ENCODER A LINE", "3 of J2"),
              Point("ENCODER A", "D2")), 0, "USB alone, nothing plugged in"),
        Step(4, "the same, 3 of J3 and 3 of J2 joined to GND", replace(usb, fitted=SENSORS, low=("J3.3", "J2.3")),
             (Point("LEFT END", "D4"), Point("ENCODER A", "D2")), 0, "USB alone"),
        Step(7, "lamp and buzzer, board held in reset", replace(usb, fitted=LAMPS, reset=True),
             (Point("READY LAMP", "D6"), Point("BUZZER SWITCHED", "− of B1")), 0, "dark and silent"),
        Step(8, "coil supply, S1 on", replace(fed, fitted=SUPPLY), (PLUS, MINUS, SENSE_V, SENSE_A), 0.05,
             "with the lamp in series it reads up to a tenth less"),
        Step(10, "drivers, board held in reset", replace(drivers, reset=True), (enable, PLUS, SENSE_A), 0.05,
             "no coil: the selectors' terminals float"),
        Step(11, "one coil, selector 0 off", replace(one, on=()), (enable, first[0], SENSE_A), 2 * coil_a,
             f"with a coil of {ohm:g} Ω"),
        Step(11, "the same, selector 0 on", one, (enable, first[0], SENSE_V, SENSE_A), 2 * coil_a,
             "for as long as the doctor probes; read it with a meter that holds its peak, or from the doctor's report"),
        Step(12, "all coils, all off", replace(all_on, on=()), (*first, SENSE_V, SENSE_A), 4 * coil_a,
             f"with coils of {ohm:g} Ω"),
        Step(12, "all coils on at once: never on purpose", all_on,
             (*first, PLUS, SENSE_A, Point("SUPPLY MINUS", "− of J1")), 0.0,
             "for comparison only: F1 must open within minutes where this is more than 2.1 times its rating"),
    ]  # fmt: skip


def page(circuit: Netlist) -> str:
    """The sheet of one build, as text for the bench."""
    share = SUPPLY_SHARE[circuit.volts]
    off, meter = (f"{100 * part:.0f} %" for part in (COIL_SHARE, METER_SHARE))
    parts = [
        f"# Bring-up sheet: {circuit.driver}, {circuit.volts} V",
        "For the bench, beside the build order of [README.md](../../README.md), whose steps are numbered here: "
        "what a meter shows. Every figure is simulated: the operating point that ngspice finds for this netlist at "
        f"5.0 V of USB and {circuit.volts} V of coil supply, with typical parts. Nobody has measured it on a build. "
        "Made by `build.py`; do not edit.",
        "The black probe is clipped to GND (the star end of R2) unless another place is named. A reading outside its "
        "limits: stop, unplug, look. The limits are simulated too, with USB from "
        f"{USB_V[0]:g} to {USB_V[1]:g} V, the coil supply {100 * share:.0f} % and a coil {off} off either way, an "
        f"amplifier off by {1000 * OFFSET_V:g} mV and drivers from typical to the highest of their data sheets; "
        f"{meter} and {METER_STEPS} steps of its last digit are the meter's. A1 is read in its millivolt or 2 V range. "
        "Cautions stand in [SAFETY.md](../../SAFETY.md).",
        "**Current limit**: what to set on a bench supply used in place of the coil supply. Without one put a "
        f"{circuit.volts} V, 5 W lamp in series with the plus at the first power of every step: dark is right, "
        "bright is a short. Take it out for the reading.",
        own_coil(circuit),
    ]
    for step in steps(circuit):
        seen = operating_points(circuit, [step.bench, *_corners(step.bench, share)])
        limit = f"; current limit {step.limit_a:.2g} A" if step.limit_a else ""
        rows = [f"## Step {step.number}: {step.title}", "", f"{step.note[0].upper()}{step.note[1:]}{limit}.", "",
                "| red probe | where | black probe | expected | at least | at most | found |",
                "|---|---|---|---|---|---|---|"]  # fmt: skip
        for point in step.points:
            shown = [_volts(circuit, at, point.red) - _volts(circuit, at, point.black) for at in seen]
            cells = " | ".join(
                f"{value + 0.0:.{point.digits}f} V" for value in (shown[0], *limits(shown, point.digits))
            )
            rows.append(f"| {point.red} | {point.mark} | {point.black} | {cells} | |")
        parts.append("\n".join(rows))
    return "\n\n".join(parts) + "\n"


def limits(shown: Sequence[float], digits: int) -> tuple[float, float]:
    """Between which a meter reads when the corners of the tolerances are these, rounded away from them."""
    step, meter_v = 10**-digits, METER_STEPS * 10**-digits
    low, high = min(shown), max(shown)
    low, high = low - METER_SHARE * abs(low) - meter_v, high + METER_SHARE * abs(high) + meter_v
    return floor(low / step) * step, ceil(high / step) * step


def _corners(bench: Bench, share: float) -> list[Bench]:
    """The tolerances at their ends: all that lowers the current and all that raises it, with drivers of either kind."""
    low = replace(bench, usb_v=USB_V[0], supply_v=bench.supply_v * (1 - share),
                  coil_ohm=bench.coil_ohm * (1 + COIL_SHARE), offset_v=-OFFSET_V)  # fmt: skip
    high = replace(bench, usb_v=USB_V[1], supply_v=bench.supply_v * (1 + share),
                   coil_ohm=bench.coil_ohm * (1 - COIL_SHARE), offset_v=OFFSET_V)  # fmt: skip
    return [replace(one, weak=weak) for one in (low, high) for weak in ((False, True) if bench.on else (False,))]


def own_coil(circuit: Netlist) -> str:
    """What a coil of another resistance shows, to be reckoned by hand."""
    on_ohm = ON_OHM[circuit.driver]
    drop_v = DARLINGTON_V if circuit.driver == "darlington" else 0.0
    top, drop = (f"(V − {drop_v:g})", f"{drop_v:g} + ") if drop_v else ("V", "")
    return (
        f"**A coil of your own** of R ohms, V volts at COIL+ while it is on: I = {top} / (R + {on_ohm:g}) amperes. "
        f"A1 then shows {current_pin_v(1.0):.3f} × I volts, the selector's terminal {drop}{on_ohm:g} × I volts, and a "
        "bench supply is set to 2 × I. With n coils on together A1 shows n times that. A tenth either way and 6 mV are "
        "right; less than half of it is a coil missing or a driver off, twice as much a coil shorted or a second on."
    )


def _volts(circuit: Netlist, at: dict[str, float], net: str) -> float:
    name = node(circuit, net)
    return 0.0 if name == "0" else at[name]
