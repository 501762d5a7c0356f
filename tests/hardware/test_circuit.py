"""Drawing, wiring table, bill of materials, netlist and budget say the same of one circuit."""

from __future__ import annotations

import copy
import csv
import io
import re
import sys
import warnings
from collections import Counter
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from latchline.machine.parts import load_part
from latchline.machine.profile import load_profile, shipped_profiles

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # the outlining library finds its font in an older way
    import build
    import draw
    import netlist
    import sheet

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module", params=[f"{driver}-{volts}" for driver in netlist.DRIVERS for volts in netlist.VOLTS])
def circuit(request: pytest.FixtureRequest) -> Any:
    driver, volts = request.param.split("-")
    return netlist.load(driver, int(volts))


_SHEETS: dict[str, Any] = {}


@pytest.fixture(scope="module")
def sheets(circuit: Any) -> Any:
    if circuit.volts != 12:
        pytest.skip("drawn once for both supplies")
    return drawn_once(circuit)


def drawn_once(circuit: Any) -> Any:
    if circuit.name not in _SHEETS:
        _SHEETS[circuit.name] = draw.sheets(circuit)
    return _SHEETS[circuit.name]


def test_every_pin_of_every_part_is_on_one_net_or_left_free_on_purpose(circuit: Any) -> None:
    pins = {f"{part.ref}.{pin}" for part in circuit.parts.values() for pin in part.pins}
    used = Counter(node for net in circuit.nets.values() for node in net.nodes)
    used.update(circuit.open_pins)
    assert set(used) == pins
    assert [node for node, times in used.items() if times > 1] == []


def test_the_drawing_joins_what_the_netlist_joins_and_nothing_else(circuit: Any, sheets: Any) -> None:
    """Found from the places of wires, pins and names on the sheets alone."""
    drawn = sheet.drawn_nets(sheets.values())
    groups = {frozenset(pins) for pins, _ in drawn if pins} - {frozenset({node}) for node in circuit.open_pins}
    assert groups == {frozenset(net.nodes) for net in circuit.nets.values()}
    for pins, names in drawn:
        for name in names:
            assert frozenset(pins) == frozenset(circuit.nets[name].nodes)


def test_a_wire_left_out_or_one_too_many_would_be_seen(circuit: Any, sheets: Any) -> None:
    """The check above can fail: take a wire off a sheet, or add one, and the groups differ."""
    wanted = {frozenset(net.nodes) for net in circuit.nets.values()}

    def groups(made: Any) -> set[frozenset[str]]:
        return {frozenset(pins) for pins, _ in sheet.drawn_nets(made.values()) if pins}

    short = {name: copy.copy(made) for name, made in sheets.items()}
    supply = short["supply"]
    supply.wires = [*supply.wires, (supply.place("R1", "1"), supply.place("R1", "2"))]
    assert wanted - groups(short)
    gap = {name: copy.copy(made) for name, made in sheets.items()}
    gap["sensors"].wires = gap["sensors"].wires[:-1]
    assert wanted - groups(gap)


def test_every_part_is_drawn_once(circuit: Any, sheets: Any) -> None:
    drawn = Counter(node for made in sheets.values() for _, node in made.pins)
    assert set(drawn) == {f"{part.ref}.{pin}" for part in circuit.parts.values() for pin in part.pins}
    assert set(drawn.values()) == {1}


@pytest.fixture(scope="module")
def outputs() -> dict[str, bytes]:
    return dict(build.outputs(drawn_once))


def test_the_committed_files_are_what_the_netlist_makes(outputs: dict[str, bytes]) -> None:
    for name, content in outputs.items():
        assert (HARDWARE / name).read_bytes() == content, f"run python hardware/build.py: {name} is out of date"
    made = {file.relative_to(HARDWARE).as_posix() for file in HARDWARE.glob("builds/*/*")}
    made |= {file.name for file in HARDWARE.glob("schematic-*.svg")}
    simulated = {f"builds/{circuit.name}/bring-up.md" for circuit in netlist.builds()}
    assert made <= set(outputs) | simulated, "a file is left over that nothing makes"


def test_the_schematics_need_no_font_and_define_each_outline_once(outputs: dict[str, bytes]) -> None:
    for name, content in outputs.items():
        if name.startswith("schematic-"):
            tree = ElementTree.fromstring(content)
            tags = [element.tag.rpartition("}")[2] for element in tree.iter()]
            assert "text" not in tags
            assert tags.count("use") > 20
            ids = [element.get("id") for element in tree.iter() if element.tag.endswith("symbol")]
            assert len(ids) == len(set(ids))


def test_the_pictures_print_on_a4_with_letters_of_two_millimetres_or_more(sheets: Any) -> None:
    """A sheet of at most 277 × 190 mm (A4 less its margins), either way up, after shrinking to fit."""
    for made in sheets.values():
        box = made.drawing.get_bbox()
        width_mm, height_mm = (span * 0.5 * 25.4 for span in (box.xmax - box.xmin, box.ymax - box.ymin))
        fit = max(
            min(1.0, 277 / width_mm, 190 / height_mm),
            min(1.0, 190 / width_mm, 277 / height_mm),
        )
        assert sheet.SMALL * 25.4 / 72 * fit >= 2.0, made.title


def test_the_bill_counts_every_part_of_the_netlist_once(circuit: Any) -> None:
    text = (HARDWARE / "builds" / circuit.name / "bill.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["parts"]]
    listed = [ref for row in rows for ref in row["parts"].split()]
    assert sorted(listed) == sorted(circuit.parts)
    for row in rows:
        assert row["type (from memory)"]
        assert int(row["quantity"]) == len(row["parts"].split())
        assert row["value"]
        assert row["rating"]
        assert row["alternatives"]


def test_the_wiring_table_names_every_pin_of_the_board_and_every_net(circuit: Any) -> None:
    text = (HARDWARE / "builds" / circuit.name / "wiring.md").read_text(encoding="utf-8")
    for pin in circuit.parts["U1"].pins:
        net = circuit.net_of(f"U1.{pin}")
        words = "left free" if net is None else f"{net.name} | {net.colour} "
        assert re.search(rf"^\| {pin} \| [^|]+ \| {re.escape(words)}", text, re.MULTILINE)
    for net in circuit.nets.values():
        assert f"| {net.name} | {net.colour} |" in text


# What each pin of the chip is for, as the firmware and the drawing must agree.
BOARD_PINS = {
    "PD2": "ENCODER A",
    "PD3": "ENCODER B",
    "PD4": "LEFT END",
    "PD5": "RIGHT END",
    "PD6": "READY LAMP",
    "PD7": "BUZZER",
    "PB1": "MIDDLE",
    "PB0": "ENABLE PIN",
    "PB2": "LATCH PIN",
    "PB3": "DATA PIN",
    "PB5": "CLOCK PIN",
    "PC0": "SUPPLY SENSE",
    "PC1": "CURRENT SENSE",
}


def test_each_pin_of_the_board_has_its_one_use_in_every_build(circuit: Any) -> None:
    nets = {pin: circuit.net_of(f"U1.{pin}") for pin in circuit.parts["U1"].pins}
    used = {pin: net.name for pin, net in nets.items() if net is not None}
    assert {pin: name for pin, name in used.items() if pin not in ("VCC", "GND")} == BOARD_PINS


def test_output_enable_is_pulled_inactive_and_every_coil_has_its_clamp(circuit: Any) -> None:
    """Active low, so inactive is 5 V; the clamp conducts from the drain through diode and zener to the supply."""
    assert circuit.net_of("R9.1").name == "5V"
    enable = circuit.net_of("R9.2")
    assert {"U3.ENABLE", "U4.ENABLE", "R10.2"} < set(enable.nodes)
    for n in range(16):
        terminal = "J10" if n < 8 else "J11"
        drain = circuit.net_of(driver_output(circuit, n))
        assert {f"L{n}.2", f"D{100 + n}.A", f"{terminal}.{n % 8}"} < set(drain.nodes)
        assert circuit.net_of(f"D{100 + n}.K") is circuit.net_of(f"Z{100 + n}.K")
        assert circuit.net_of(f"Z{100 + n}.A").name == circuit.net_of(f"L{n}.1").name == "COIL+"


def driver_output(circuit: Any, selector: int) -> str:
    """The pin that switches this selector."""
    first = selector < 8
    match circuit.driver:
        case "register":
            return f"{'U3' if first else 'U4'}.DRAIN{selector % 8}"
        case "darlington":
            return f"{'U6' if first else 'U7'}.OUT{selector % 8}"
    return f"Q{100 + selector}.D"


def test_nothing_of_the_coil_supply_reaches_the_five_volts(circuit: Any) -> None:
    """Between COIL+ and 5V lie at least the divider's 100 kΩ: USB is never fed from the coils' supply."""
    both = [
        part.ref
        for part in circuit.parts.values()
        if {"5V", "COIL+"}
        <= {circuit.net_of(f"{part.ref}.{pin}").name for pin in part.pins if circuit.net_of(f"{part.ref}.{pin}")}
    ]
    assert both == []


def ohms(value: str) -> float:
    number, unit = value.split()
    return float(number) * {"Ω": 1, "kΩ": 1000}[unit]


@pytest.mark.parametrize(
    ("ref", "rating"),
    [
        ("R6", "lamp_ohm"),
        ("R7", "buzzer_base_ohm"),
        ("R2", "shunt_ohm"),
        ("R3", "divider_top_ohm"),
        ("R4", "divider_bottom_ohm"),
        ("R15", "sense_in_ohm"),
        ("R16", "sense_back_ohm"),
    ],
)
def test_the_budget_reckons_with_the_resistors_of_the_drawing(circuit: Any, ref: str, rating: str) -> None:
    assert ohms(circuit.parts[ref].value) == load_part("board").value(rating)


@pytest.mark.parametrize(
    ("ref", "figure", "rating"),
    [
        ("J1", "current_a", "socket_a"),
        ("S1", "current_a", "switch_a"),
        ("S1", "volts", "switch_v"),
        ("J1", "volts", "switch_v"),
        ("J10", "current_a", "terminal_a"),
        ("J11", "current_a", "terminal_a"),
        ("D1", "current_a", "guard_diode_a"),
        ("D1", "volts", "guard_diode_v"),
        ("D100", "current_a", "clamp_diode_a"),
        ("D100", "volts", "clamp_diode_v"),
        ("Z100", "watts", "zener_w"),
        ("C1", "volts", "capacitor_v"),
        ("C2", "volts", "capacitor_v"),
        ("R2", "watts", "shunt_w"),
        ("R1", "watts", "resistor_w"),
    ],
)
def test_the_budget_reckons_with_the_ratings_of_the_parts(circuit: Any, ref: str, figure: str, rating: str) -> None:
    assert circuit.parts[ref].bears[figure] == load_part("supply").value(rating)


DRIVER_PARTS = {"register": "tpic6b595", "darlington": "uln2803a", "mosfet": "n-mosfet"}


def test_a_builds_driver_bears_what_the_budget_says_of_it(circuit: Any) -> None:
    part, ref = load_part(DRIVER_PARTS[circuit.driver]), driver_output(circuit, 0).split(".")[0]
    assert circuit.parts[ref].bears["current_a"] == part.value("output_a")
    assert circuit.parts[ref].bears["volts"] == part.value("blocking_v")


def test_the_drawn_fuse_clamp_and_supply_are_those_of_the_standard_profile() -> None:
    electrical, circuit = load_profile("standard-200").electrical, netlist.load()
    assert circuit.parts["F1"].value.startswith(f"{electrical['fuse_a']:g} A")
    assert circuit.parts["Z100"].value == f"{electrical['clamp_v']:g} V"
    assert f"{electrical['supply_v']:g} V DC supply, {electrical['supply_limit_a']:g} A" in circuit.parts["J1"].use
    for name in shipped_profiles():
        assert load_profile(name).electrical["driver"] == "tpic6b595"
    assert "TPIC6B595" in circuit.parts["U3"].value


def test_an_external_pull_up_is_stronger_than_the_chips_own(circuit: Any) -> None:
    for ref in ("R20", "R21", "R22", "R23"):
        assert ohms(circuit.parts[ref].value) < load_part("board").value("pull_up_min_ohm") / 2


def test_the_bleeder_empties_the_supply_capacitor_as_fast_as_it_says(circuit: Any) -> None:
    """t = R·C·ln(V/1 V) from the highest supply, against the figure in the bill."""
    from math import log

    farad = float(circuit.parts["C1"].value.split()[0]) * 1e-6
    seconds = ohms(circuit.parts["R1"].value) * farad * log(circuit.volts * 1.1 / 1.0)
    stated = re.search(r"below 1 V in (\d+) s", circuit.parts["R1"].use)
    assert stated is not None
    assert seconds <= int(stated[1])


FIRMWARE = Path(__file__).parents[2] / "firmware" / "latchline" / "src" / "avr"

# The name of a pin in the firmware → the net of the drawing.
FIRMWARE_NAMES = {
    "PIN_ENCODER_A": "ENCODER A",
    "PIN_ENCODER_B": "ENCODER B",
    "PIN_SENSOR_LEFT": "LEFT END",
    "PIN_SENSOR_RIGHT": "RIGHT END",
    "PIN_SENSOR_MIDDLE": "MIDDLE",
    "PIN_LAMP": "READY LAMP",
    "PIN_BUZZER": "BUZZER",
    "PIN_DISABLE": "ENABLE PIN",
    "PIN_LATCH": "LATCH PIN",
    "PIN_DATA": "DATA PIN",
    "PIN_CLOCK": "CLOCK PIN",
    "PIN_SUPPLY": "SUPPLY SENSE",
    "PIN_CURRENT": "CURRENT SENSE",
}


def test_the_firmware_uses_the_pins_of_the_drawing_and_no_others(circuit: Any) -> None:
    header = (FIRMWARE / "board_pins.h").read_text(encoding="utf-8")
    defined = dict(re.findall(r"^#define\s+(PIN_\w+)\s+(P[BCD]\d)\b", header, re.MULTILINE))
    assert set(defined) == set(FIRMWARE_NAMES)
    for name in FIRMWARE_NAMES:
        assert circuit.net_of(f"U1.{defined[name]}").name == FIRMWARE_NAMES[name]


def test_the_firmware_measures_against_the_reference_that_the_budget_reckons_with() -> None:
    """ATmega328P data sheet, ADMUX: REFS0 alone is the supply pin AVCC, here the board's 5 V."""
    source = (FIRMWARE / "converter.c").read_text(encoding="utf-8")
    reference = re.search(r"^#define\s+REFERENCE\s+(.+?)\s*(?:/\*|$)", source, re.MULTILINE)
    assert reference is not None
    assert re.findall(r"REFS\d", reference[1]) == ["REFS0"]
    assert load_part("board").value("reference_v") == load_part("board").value("supply_v") == 5.0


def test_the_byte_sent_last_stays_in_the_first_register(circuit: Any) -> None:
    """The firmware sends the high byte first, so selectors 8 to 15 pass through U3 into U4."""
    source = (FIRMWARE / "outputs.c").read_text(encoding="utf-8")
    assert source.index("coils >> 8") < source.index("(uint8_t)coils)")
    assert "U3.SERIN" in circuit.net_of("R12.2").nodes
    assert set(circuit.net_of("U3.SEROUT").nodes) == {"U3.SEROUT", "U4.SERIN"}
    for n in range(16):
        assert driver_output(circuit, n) in circuit.nets[f"SELECTOR {n}"].nodes
        if circuit.driver != "register":  # the plain register's output n before the driver of selector n
            register, gate = ("U3", "U6") if n < 8 else ("U4", "U7")
            into = f"{gate}.IN{n % 8}" if circuit.driver == "darlington" else f"Q{100 + n}.G"
            assert circuit.net_of(into) is circuit.net_of(f"{register}.Q{n % 8}")
