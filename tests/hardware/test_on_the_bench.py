"""What a meter shows at each step of the build, and what the protections hold, in ngspice on the netlist itself."""

from __future__ import annotations

import os
import re
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))

import bring_up
import netlist
import spice
from bring_up import GUARD, LAMPS, SENSORS, SUPPLY

from latchline.machine.sense import current_pin_v, supply_pin_v

HARDWARE = Path(__file__).parents[2] / "hardware"
pytestmark = [pytest.mark.spice]
if shutil.which("ngspice") is None and not os.environ.get("CI"):
    pytestmark.append(pytest.mark.skip(reason="ngspice is not installed (Debian package ngspice)"))

CIRCUIT = netlist.load()
CLAMPS = SUPPLY | {f"{letter}{100 + n}" for letter in "DZ" for n in range(16)}


def volts(at: dict[str, float], pin: str, circuit: Any = CIRCUIT) -> float:
    name = spice.node(circuit, pin)
    return 0.0 if name == "0" else at[name]


def meter(circuit: Any, fitted: set[str], red: str, black: str) -> float | None:
    """The diode range of a meter, 1 mA from 3 V, everything unplugged; None where it shows no reading."""
    bench = spice.Bench(usb_v=0.0, supply_v=0.0, fitted=fitted, coils=(), switch=True)
    r, b = spice.node(circuit, red), spice.node(circuit, black)
    probe = [f"Vmeter open {b} 3", f"Rmeter open {r} 2k"]
    at = spice.operating_point(circuit, bench, probe)
    shown = (0.0 if r == "0" else at[r]) - (0.0 if b == "0" else at[b])
    return shown if shown < 2.0 else None


# ---- step 3: guard and sense -------------------------------------------------------------------


def test_step_3_the_clamp_of_the_five_volts_shows_its_direction() -> None:
    assert 0.5 < (meter(CIRCUIT, {"Z1", "F2"}, "GND", "5V") or 9) < 0.9
    assert meter(CIRCUIT, {"Z1", "F2"}, "5V", "GND") is None


def test_step_3_the_sense_pins_read_nothing_before_there_is_a_supply() -> None:
    at = spice.operating_point(CIRCUIT, spice.Bench(supply_v=0.0, fitted=GUARD, coils=()))
    assert 4.4 < volts(at, "5V") < 5.2
    assert abs(volts(at, "SUPPLY SENSE")) < 0.05
    assert abs(volts(at, "CURRENT SENSE")) < 0.05


# ---- step 4: sensor inputs ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pin", "net", "rests_v"),
    [("J3.3", "LEFT END", 5), ("J4.3", "RIGHT END", 5), ("J2.3", "ENCODER A", 0), ("J2.4", "ENCODER B", 0)],
)
def test_step_4_a_line_joined_to_ground_moves_its_pin(pin: str, net: str, rests_v: float) -> None:
    bench = spice.Bench(supply_v=0.0, fitted=SENSORS, coils=())
    rest, joined = (spice.operating_point(CIRCUIT, replace(bench, low=low)) for low in ([], [pin]))
    assert volts(rest, pin) == pytest.approx(5, abs=0.2)
    assert volts(rest, net) == pytest.approx(rests_v, abs=0.2)
    assert volts(joined, net) == pytest.approx(5 - rests_v, abs=0.2)


# ---- step 7 to 10 ------------------------------------------------------------------------------


def test_step_7_lamp_and_buzzer_are_dark_and_silent_in_reset() -> None:
    at = spice.operating_point(CIRCUIT, spice.Bench(supply_v=0.0, fitted=LAMPS, coils=(), reset=True))
    assert volts(at, "READY LAMP") < 1.0
    assert volts(at, "5V") - volts(at, "BUZZER SWITCHED") < 0.2


@pytest.mark.parametrize(("supply_v", "low_v", "high_v"), [(12, 1.41, 1.73), (24, 2.97, 3.29)])
def test_step_8_the_supply_shows_at_its_sense_pin(supply_v: float, low_v: float, high_v: float) -> None:
    page = (HARDWARE / "README.md").read_text(encoding="utf-8")
    assert f"{low_v} to {high_v} V for {supply_v} V" in page
    share = 0.1 if supply_v == 12 else 0.05
    for volts_in, edge_v in ((supply_v * (1 - share), low_v), (supply_v * (1 + share), high_v)):
        bench = spice.Bench(supply_v=volts_in, fitted=SUPPLY, coils=())
        at = spice.operating_point(CIRCUIT, bench)
        assert volts(at, "COIL+") == pytest.approx(volts_in, rel=0.01)
        assert volts(at, "SUPPLY SENSE") == pytest.approx(edge_v, abs=0.02)
        assert abs(volts(at, "CURRENT SENSE")) < 0.05


@pytest.mark.parametrize("supply_v", [13.2, 25.2])
def test_step_8_the_capacitor_is_empty_after_a_count_of_ten(supply_v: float) -> None:
    lines = [f".ic v({spice.node(CIRCUIT, 'COIL+')})={supply_v}", ".tran 10m 10 uic",
             f".meas tran left FIND v({spice.node(CIRCUIT, 'COIL+')}) AT=9.9"]  # fmt: skip
    bench = spice.Bench(supply_v=0.0, fitted=SUPPLY - {"J1"}, coils=(), usb_v=0.0)
    assert spice.measured(CIRCUIT, bench, lines)["left"] < 1.0


def clamp_readings(diode: str, zener: str) -> tuple[float | None, ...]:
    """The four readings of step 9 at selector 5. Each part is right, reversed, absent or (a diode for a zener) plain."""
    nets, fitted = dict(CIRCUIT.nets), CLAMPS - {"U1"}
    circuit = CIRCUIT
    for ref, state, outer in (("D105", diode, "SELECTOR 5"), ("Z105", zener, "COIL+")):
        if state == "absent":
            fitted = fitted - {ref}
        if state == "reversed":
            swap = {f"{ref}.A": f"{ref}.K", f"{ref}.K": f"{ref}.A"}
            for name in (outer, "CLAMP 5"):
                nets[name] = replace(nets[name], nodes=tuple(swap.get(node, node) for node in nets[name].nodes))
    circuit = replace(CIRCUIT, nets=nets)
    probes = (("SELECTOR 5", "CLAMP 5"), ("CLAMP 5", "SELECTOR 5"), ("COIL+", "CLAMP 5"), ("CLAMP 5", "COIL+"))
    return tuple(meter(circuit, fitted, red, black) for red, black in probes)


def passes(readings: tuple[float | None, ...]) -> bool:
    forward, back, zener_forward, zener_back = readings
    return (
        forward is not None and 0.4 <= forward <= 0.8 and back is None
        and zener_forward is not None and 0.5 <= zener_forward <= 0.9 and zener_back is None
    )  # fmt: skip


def test_step_9_a_sound_clamp_gives_the_four_readings_of_the_page() -> None:
    assert passes(clamp_readings("right", "right"))


@pytest.mark.parametrize("diode", ["right", "reversed", "absent"])
@pytest.mark.parametrize("zener", ["right", "reversed", "absent"])
def test_step_9_no_clamp_a_part_missing_or_turned_round_does_not_pass(diode: str, zener: str) -> None:
    assert passes(clamp_readings(diode, zener)) == (diode == zener == "right")


@pytest.mark.parametrize("driver", netlist.DRIVERS)
def test_step_10_every_coil_is_off_while_the_board_is_in_reset(driver: str) -> None:
    circuit = netlist.load(driver)
    at = spice.operating_point(circuit, spice.Bench(reset=True, coils=()))
    assert volts(at, "OUTPUT ENABLE", circuit) == pytest.approx(5, abs=0.2)
    at = spice.operating_point(circuit, spice.Bench(reset=True))
    for n in range(16):
        assert volts(at, f"SELECTOR {n}", circuit) == pytest.approx(volts(at, "COIL+", circuit), abs=0.1)


# ---- what the board reads and what the coils' current lifts -------------------------------------


@pytest.mark.parametrize("driver", netlist.DRIVERS)
@pytest.mark.parametrize("on", [0, 1, 3, 16])
def test_the_board_reads_supply_and_current_as_the_host_reckons(driver: str, on: int) -> None:
    circuit = netlist.load(driver)
    at = spice.operating_point(circuit, spice.Bench(on=range(on)))
    amperes = -volts(at, "SUPPLY MINUS", circuit) / 0.1
    assert volts(at, "CURRENT SENSE", circuit) == pytest.approx(current_pin_v(amperes), abs=0.005, rel=0.01)
    assert volts(at, "SUPPLY SENSE", circuit) == pytest.approx(supply_pin_v(volts(at, "COIL+", circuit)), rel=0.01)
    drop_v = {"register": 5 * 0.1, "darlington": 1.0, "mosfet": 0.0}[driver]
    assert amperes == pytest.approx(on * (volts(at, "COIL+", circuit) - drop_v) / 120, rel=0.02, abs=1e-3)


def test_sixteen_coils_on_lift_no_ground_of_the_drivers_and_all_of_the_supplys_minus() -> None:
    at = spice.operating_point(CIRCUIT, spice.Bench(on=range(16), supply_v=13.2))
    assert spice.node(CIRCUIT, "U3.GND1") == spice.node(CIRCUIT, "U1.GND") == "0"
    assert volts(at, "SUPPLY MINUS") == pytest.approx(-0.16, abs=0.02)
    assert 0.1 * 1.6**2 < 0.3  # W in the shunt


# ---- protections -------------------------------------------------------------------------------


@pytest.mark.parametrize(("driver", "supply_v"), [("register", 13.2), ("register", 25.2), ("darlington", 13.2)])
def test_a_coils_lead_beside_a_sensors_makes_no_edge(driver: str, supply_v: float) -> None:
    """100 pF between them, the lead falling from the clamp's voltage to zero in 50 ns and back.

    74HC14 at 4.5 V, data sheet: a high is a high down to 2.0 V at the latest, a low a low up to 2.3 V at the least.
    """
    circuit = netlist.load(driver, 12 if supply_v < 20 else 24)
    peak_v = supply_v + spice.number(circuit.parts["Z100"].value) * 1.05 + 0.8
    for low in ([], ["J2.3"]):
        lead = [f"Vlead lead 0 PULSE({peak_v} 0 10u 50n 50n 200u 1)", f"Cpair lead {spice.node(circuit, 'J2.3')} 100p",
                ".tran 50n 500u 0 50n", f".meas tran low MIN v({spice.node(circuit, 'U2.1A')})",
                f".meas tran high MAX v({spice.node(circuit, 'U2.1A')})"]  # fmt: skip
        seen = spice.measured(circuit, spice.Bench(supply_v=0, coils=(), low=low), lead)
        rest_v = 0.0 if low else 5.0
        assert seen["low"] > (2.0 if not low else -0.5)
        assert seen["high"] < (6.0 if not low else 2.3)
        assert max(abs(seen["low"] - rest_v), abs(seen["high"] - rest_v)) < 0.9


def test_an_encoders_edge_comes_through_the_filter_in_time() -> None:
    """Open collector letting go: to the latest threshold of a 74HC14 (3.15 V at 4.5 V) well before the next edge."""
    lines = ["Vgate gate 0 PULSE(5 0 10u 1u 1u 1m 2m)", f"Sline {spice.node(CIRCUIT, 'J2.3')} 0 gate 0 sw",
             ".model sw SW(VT=2.5 VH=0 RON=50 ROFF=10MEG)", ".tran 0.2u 300u",
             f".meas tran rise TRIG v(gate) VAL=2.5 FALL=1 TARG v({spice.node(CIRCUIT, 'U2.1A')}) VAL=3.5 RISE=1"]  # fmt: skip
    rise_s = spice.measured(CIRCUIT, spice.Bench(supply_v=0, coils=()), lines)["rise"]
    assert rise_s < 25e-6  # edges lie 750 µs apart at 1.5 m/s, 4.5 mm and four a needle


def test_a_coils_lead_on_the_five_volts_lifts_them_by_less_than_a_volt() -> None:
    """The terminal of an unselected coil of 120 Ω touches the sensors' 5 V; the sensors' own load is left out."""
    touch = [f"Rtouch {spice.node(CIRCUIT, 'SELECTOR 0')} {spice.node(CIRCUIT, '5V')} 0.1"]
    at = spice.operating_point(CIRCUIT, spice.Bench(supply_v=13.2), touch)
    assert volts(at, "5V") < 6.0
    assert volts(at, "USB 5V") < 5.5


@pytest.mark.parametrize("driver", netlist.DRIVERS)
@pytest.mark.parametrize("volts_in", netlist.VOLTS)
def test_a_coil_that_is_switched_off_stays_under_the_ceiling_of_42_volts(driver: str, volts_in: int) -> None:
    circuit = netlist.load(driver, volts_in)
    supply_v = 13.2 if volts_in == 12 else 25.2
    drain = spice.node(circuit, "SELECTOR 0")
    lines = ["Vgate gate 0 PULSE(0 5 1m 1u 1u 8m 1)", f"Sdrive {drain} 0 gate 0 sw",
             ".model sw SW(VT=2.5 VH=0 RON=5 ROFF=10MEG)", ".tran 2u 12m", f".meas tran peak MAX v({drain})"]  # fmt: skip
    bench = spice.Bench(supply_v=supply_v, coil_ohm=120 if volts_in == 12 else 180)
    assert supply_v + 10 < spice.measured(circuit, bench, lines)["peak"] < 42


# ---- the bring-up sheets -----------------------------------------------------------------------


@pytest.mark.parametrize("driver", netlist.DRIVERS)
@pytest.mark.parametrize("volts_in", netlist.VOLTS)
def test_the_committed_bring_up_sheet_is_what_ngspice_finds(driver: str, volts_in: int) -> None:
    circuit = netlist.load(driver, volts_in)
    kept = (HARDWARE / "builds" / circuit.name / "bring-up.md").read_text(encoding="utf-8")
    assert kept == bring_up.page(circuit), "run python hardware/build.py"


def test_the_bring_up_sheet_fits_the_steps_of_the_build_order() -> None:
    page = (HARDWARE / "README.md").read_text(encoding="utf-8")
    for step in bring_up.steps(CIRCUIT):
        title = step.title.split(",")[0].removeprefix("the same")
        heading = next(line for line in page.splitlines() if line.startswith(f"{step.number}. "))
        assert not title or title.split()[0] in heading.lower()


@pytest.mark.parametrize(
    ("volts_24", "wrong", "low", "high"),
    [
        (False, (), 22, 26),
        (True, (), 13, 16),
        (False, (("DZ100 {a} {k} zener24", "DZ100 {a} {k} rectifier"),), 35, 38),
        (False, (("DZ100 {a} {k} zener24", ""),), 35, 38),
        (False, (("DZ100 {a} {k} zener24", "DZ100 {k} {a} zener24"),), 0.3, 1),
        (False, (("DZ100 {a} {k} zener24", "DZ100 {k} {a} rectifier"),), 0.3, 1),
        (
            False,
            (
                ("DZ100 {a} {k} zener24", "DZ100 {a} {k} rectifier"),
                ("DD100 {t} {k} rectifier", "DD100 {t} {k} zener24"),
            ),
            35,
            38,
        ),
    ],
    ids=["right", "right at 24 V", "plain diode", "missing", "reversed", "plain diode reversed", "exchanged"],
)
def test_step_9_batteries_over_a_resistor_tell_a_zener_from_a_diode(
    volts_24: bool, wrong: tuple[tuple[str, str], ...], low: float, high: float
) -> None:
    circuit = netlist.load("register", 24 if volts_24 else 12)
    at = {"a": spice.node(circuit, "Z100.A"), "k": spice.node(circuit, "Z100.K"), "t": spice.node(circuit, "D100.A")}
    bench = spice.Bench(usb_v=0.0, supply_v=0.0, fitted=CLAMPS, coils=())
    probe = [f"Vbattery battery {at['a']} 36", f"Rbattery battery {at['k']} 10k"]
    text = spice.deck(
        circuit, bench, [*probe, ".control", "op", f"let shown = v({at['k']})-v({at['a']})", "print shown", ".endc"]
    )
    for right, instead in wrong:
        assert right.format(**at) in text
        text = text.replace(right.format(**at), instead.format(**at))
    found = re.search(r"^shown = (\S+)", spice.run(text), re.MULTILINE)
    assert found is not None
    assert low < float(found[1]) < high


PLAIN, ZENER = "DD100 {t} {k} rectifier", "DD100 {t} {k} zener24"


@pytest.mark.parametrize(
    ("instead", "low", "high"),
    [(PLAIN, 35, 36.1), (ZENER, 22, 26), ("DD100 {k} {t} rectifier", 0.3, 1), ("DD100 {k} {t} zener24", 0.3, 1)],
    ids=["right", "zener", "reversed", "zener reversed"],
)
def test_step_9_batteries_over_the_diode_alone_find_a_zener_in_its_place(instead: str, low: float, high: float) -> None:
    """With the zener at Z right, with a second one there, or none: the reading tells of D alone."""
    at = {"k": spice.node(CIRCUIT, "Z100.K"), "t": spice.node(CIRCUIT, "D100.A"), "a": spice.node(CIRCUIT, "Z100.A")}
    bench = spice.Bench(usb_v=0.0, supply_v=0.0, fitted=CLAMPS, coils=())
    probe = [f"Vbattery battery {at['t']} 36", f"Rbattery battery {at['k']} 10k"]
    show = [".control", "op", f"let shown = v({at['k']})-v({at['t']})", "print shown", ".endc"]
    whole = spice.deck(circuit=CIRCUIT, bench=bench, lines=[*probe, *show])
    for zener in ("DZ100 {a} {k} zener24", "DZ100 {a} {k} rectifier", ""):
        text = whole.replace(PLAIN.format(**at), instead.format(**at))
        text = text.replace("DZ100 {a} {k} zener24".format(**at), zener.format(**at))
        found = re.search(r"^shown = (\S+)", spice.run(text), re.MULTILINE)
        assert found is not None
        assert low < float(found[1]) < high


def test_step_9_a_diode_that_is_missing_is_found_by_the_diode_range() -> None:
    assert not passes(clamp_readings("absent", "right"))


# ---- the limits of the bring-up sheets -----------------------------------------------------------


def readings(circuit: Any, number: int, title: str) -> dict[str, tuple[float, float]]:
    """From the committed sheet: the limits of each point of one step."""
    text = (HARDWARE / "builds" / circuit.name / "bring-up.md").read_text(encoding="utf-8")
    table = text.split(f"## Step {number}: {title}\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| ([^|]+?) \|[^|]*\|[^|]*\|[^|]*\| (-?[\d.]+) V \| (-?[\d.]+) V \|", table, re.MULTILINE)
    return {name: (float(low), float(high)) for name, low, high in rows}


ON, ALL_OFF = (11, "the same, selector 0 on"), (12, "all coils, all off")
SOUND = spice.Bench(coils=(0,), on=(0,))


@pytest.mark.parametrize(
    ("step", "bench", "fits"),
    [
        (ON, SOUND, True),
        (ON, replace(SOUND, supply_v=13.0, coil_ohm=116), True),
        (ON, replace(SOUND, coils=()), False),  # nothing draws
        (ON, replace(SOUND, coil_ohm=60), False),  # another make
        (ON, replace(SOUND, coils=(0, 1), on=(0, 1)), False),  # a second driver is on
        (ON, replace(SOUND, usb_v=0), False),
        (ALL_OFF, spice.Bench(), True),
        (ALL_OFF, spice.Bench(on=(7,)), False),  # a driver has failed on
        (ALL_OFF, spice.Bench(on=(7,), coil_ohm=400), False),  # even with a coil that draws little
    ],
)
def test_the_limits_of_the_current_sense_let_a_sound_build_pass_and_no_other(
    step: tuple[int, str], bench: Any, fits: bool
) -> None:
    low, high = readings(CIRCUIT, *step)["CURRENT SENSE"]
    assert (low <= volts(spice.operating_point(CIRCUIT, bench), "CURRENT SENSE") <= high) == fits


def test_a_shunt_of_another_value_or_an_amplifier_with_a_part_wrong_is_seen_at_the_current_sense() -> None:
    low, high = readings(CIRCUIT, *ON)["CURRENT SENSE"]
    for ref, value in (("R2", "1 Ω"), ("R15", "2.2 kΩ"), ("R16", "15 kΩ")):
        parts = {**CIRCUIT.parts, ref: replace(CIRCUIT.parts[ref], value=value)}
        wrong = replace(CIRCUIT, parts=parts)
        assert not low <= volts(spice.operating_point(wrong, SOUND), "CURRENT SENSE") <= high


@pytest.mark.parametrize("driver", netlist.DRIVERS)
@pytest.mark.parametrize("volts_in", netlist.VOLTS)
def test_the_formulas_for_a_coil_of_ones_own_give_what_ngspice_finds(driver: str, volts_in: int) -> None:
    circuit = netlist.load(driver, volts_in)
    text = (HARDWARE / "builds" / circuit.name / "bring-up.md").read_text(encoding="utf-8").replace("−", "-")
    top, bottom, gain, terminal = re.findall(
        r"I = (.+?) / \((R \+ [\d.]+)\) amperes\. A1 then shows ([\d.]+) × I volts, the selector's terminal (.+?) × I volts",
        text,
    )[0]
    names = ["CURRENT SENSE", "SELECTOR 0", "COIL+"]
    coils = (30.0, 60.0, 115.0, 300.0)
    for n in (1, 3):
        benches = [spice.Bench(supply_v=float(volts_in), coils=range(n), on=range(n), coil_ohm=ohm) for ohm in coils]
        for ohm, at in zip(coils, spice.operating_points(circuit, benches), strict=True):
            pin_v, selector_v, plus_v = (volts(at, name, circuit) for name in names)
            drawn_a = eval(f"{top} / ({bottom})", {"R": ohm, "V": plus_v})  # the page's own formula
            assert pin_v == pytest.approx(n * float(gain) * drawn_a, rel=0.02, abs=0.002)
            assert selector_v == pytest.approx(eval(f"{terminal} * I", {"I": drawn_a}), rel=0.02, abs=0.01)


# ---- sensors of another kind ---------------------------------------------------------------------


@pytest.mark.parametrize("sensor_v", [12.0, 24.0])
@pytest.mark.parametrize("stages", [1, 2])
def test_a_sensor_that_gives_its_supply_pulls_its_line_through_the_transistor_of_the_page(
    sensor_v: float, stages: int
) -> None:
    """10 kΩ to the base and 10 kΩ from it to minus; behind it, where the sense is turned over, a second equal stage."""
    line = spice.node(CIRCUIT, "J3.3")
    first = line if stages == 1 else "middle"
    parts = ["Rin sensor base 10k", "Rdown base 0 10k", f"Qfirst {first} base 0 npn"]
    if stages == 2:
        parts += [f"Rup {spice.node(CIRCUIT, '5V')} middle 10k", "Rin2 middle base2 10k", "Rdown2 base2 0 10k",
                  f"Qsecond {line} base2 0 npn"]  # fmt: skip
    seen = []
    for gives in (False, True):
        source = [f"Vsensor sensor 0 {sensor_v}"] if gives else ["Rnothing sensor 0 10meg"]
        at = spice.operating_point(CIRCUIT, spice.Bench(supply_v=0, fitted=SENSORS, coils=()), [*parts, *source])
        seen.append(volts(at, "LEFT LINE"))
        assert (volts(at, "LEFT END") < 0.5) == (seen[-1] < 0.5)
    on, off = (seen[1], seen[0]) if stages == 1 else (seen[0], seen[1])
    assert on < 0.3
    assert off > 4.9


@pytest.mark.parametrize("fitted", [True, False])
def test_a_third_sensor_moves_its_pin_and_none_leaves_it_alone(fitted: bool) -> None:
    """A low is one under 1.5 V, a high one over 3 V (ATmega328P data sheet); without the four parts the chip pulls up."""
    parts = SENSORS | ({"J5", "R28", "R29", "C14"} if fitted else set())
    pull_up = [] if fitted else [f"Rchip {spice.node(CIRCUIT, 'U1.PB1')} {spice.node(CIRCUIT, '5V')} 35k"]
    rest, joined = (
        spice.operating_point(CIRCUIT, spice.Bench(supply_v=0.0, fitted=parts, coils=(), low=low), pull_up)
        for low in ([], ["J5.3"])
    )
    assert volts(rest, "MIDDLE") > 4.5
    assert (volts(joined, "MIDDLE") < 0.5) == fitted


def test_a_coils_lead_beside_a_third_sensors_makes_no_edge() -> None:
    peak_v = 13.2 + 24 * 1.05 + 0.8
    for low in ([], ["J5.3"]):
        lead = [f"Vlead lead 0 PULSE({peak_v} 0 10u 50n 50n 200u 1)", f"Cpair lead {spice.node(CIRCUIT, 'J5.3')} 100p",
                ".tran 50n 500u 0 50n", f".meas tran low MIN v({spice.node(CIRCUIT, 'MIDDLE')})",
                f".meas tran high MAX v({spice.node(CIRCUIT, 'MIDDLE')})"]  # fmt: skip
        seen = spice.measured(CIRCUIT, spice.Bench(supply_v=0, coils=(), low=low), lead)
        assert seen["low"] > (3.0 if not low else -0.5)
        assert seen["high"] < (6.0 if not low else 1.5)
