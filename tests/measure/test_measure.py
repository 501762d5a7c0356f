"""Coils from readings: published figures, coils in ngspice, the board's own eyes, and the profile that comes of it."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from cli.running import Ran
from cli.running import run as latchline

from latchline.doctor.ailments import AILMENTS
from latchline.errors import InputError, ProfileError
from latchline.machine.electrical import read_electrical
from latchline.machine.parts import load_part
from latchline.machine.profile import load_profile, profile_text
from latchline.machine.sense import current_counts, supply_counts
from latchline.measure import coil
from latchline.measure.write import with_measured
from latchline.sim.coils import Coils
from latchline.sim.faults import Faults


def run(*words: str) -> str:
    done = invoke(*words)
    assert done.status == 0, done.err
    return done.out


def invoke(*words: str) -> Ran:
    return latchline("measure", *words)


# ---- published figures -------------------------------------------------------------------------


@pytest.mark.external
@pytest.mark.parametrize(
    ("ohm", "steady_a", "at_a", "time_s", "henries"),
    [
        (120, 0.055, 0.0075, 120e-6, 0.0982),  # a physics problem, inputs read, answer computed
        (175, 0.036, 0.0049, 58e-6, 0.0694),  # textbook of physics, from memory; computed
    ],
)
def test_the_rise_of_the_current_tells_the_inductance(
    ohm: float, steady_a: float, at_a: float, time_s: float, henries: float
) -> None:
    assert coil.inductance_of_rise(time_s, at_a, steady_a, ohm) == pytest.approx(henries, rel=0.005)


@pytest.mark.external
@pytest.mark.parametrize(
    ("cold_ohm", "hot_ohm", "cold_c", "hot_c"),
    [
        (320, 443.3, 25, 125),  # relay maker's application note, read
        (290, 401.8, 25, 125),  # another, read; computed
        (50, 58, 20, 60.7),  # a problem; its printed 57 uses the coefficient of 0 °C at 20 °C
    ],
)
def test_the_resistance_of_copper_tells_its_temperature(
    cold_ohm: float, hot_ohm: float, cold_c: float, hot_c: float
) -> None:
    assert cold_c + coil.rise_k(cold_ohm, hot_ohm, cold_c) == pytest.approx(hot_c, abs=0.2)


# ---- coils in ngspice --------------------------------------------------------------------------

COILS = [(20, 5), (60, 30), (120, 60), (100, 80), (200, 100), (400, 200)]
spice = pytest.mark.skipif(
    shutil.which("ngspice") is None and not os.environ.get("CI"),
    reason="ngspice is not installed (Debian package ngspice)",
)


def read(text: str, folder: Path) -> dict[str, float]:
    (folder / "deck.cir").write_text(text, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"],
        cwd=folder,
        env={**os.environ, "HOME": str(folder)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return {name: float(value) for name, value in re.findall(r"^(\w+)\s+=\s+([-+0-9.eE]+)", done.stdout, re.MULTILINE)}


def three_digits(value: float) -> float:
    return float(f"{value:.3g}")


@spice
@pytest.mark.spice
@pytest.mark.external
@pytest.mark.parametrize(("ohm", "milli_henry"), COILS)
def test_a_coil_under_a_tone_is_found_within_five_per_cent(tmp_path: Path, ohm: float, milli_henry: float) -> None:
    """A sound output of 30 Ω, 100 Ω in series, a tone that lifts the coil clearly; the meter reads three digits."""
    tone_hz = 1000 if ohm / milli_henry > 3 else 400
    seen = read(
        f"""* a coil under a tone
Vtone in 0 AC 1
Rout in top 30
Rcoil top mid {ohm}
Lcoil mid bottom {milli_henry}m
Rseries bottom 0 100
.ac lin 1 {tone_hz} {tone_hz}
.control
run
let coil = mag(v(top)-v(bottom))
let series = mag(v(bottom))
print coil series
.endc
.end
""",
        tmp_path,
    )
    found = coil.inductance_of_tone(
        tone_hz, three_digits(seen["coil"]), three_digits(seen["series"]), 100, three_digits(ohm)
    )
    assert 1000 * found == pytest.approx(milli_henry, rel=0.02)


@spice
@pytest.mark.spice
@pytest.mark.external
@pytest.mark.parametrize(("ohm", "volts"), [(60, 12), (100, 12), (120, 12), (200, 24)])
def test_the_boards_own_reading_of_a_coil_is_within_five_per_cent(tmp_path: Path, ohm: float, volts: float) -> None:
    """Supply, wires, driver of 5 Ω, shunt and divider as drawn; the converter's steps of 5/1024 V."""
    seen = read(
        f"""* one coil on the board
Vsupply in minus {volts}
Rlead in plus 0.4
Rcoil plus drain {ohm}
Rdriver drain 0 5
Rshunt 0 minus 0.1
Rtop plus sense 100k
Rbottom sense 0 15k
.op
.control
op
let supply = v(sense)
let current = -v(minus)*150/22
print supply current
.endc
.end
""",
        tmp_path,
    )
    reading = coil.Reading(int(seen["supply"] / 5 * 1024), 0, int(seen["current"] / 5 * 1024))
    found = coil.resistance_of(reading, load_part("tpic6b595"))
    assert found is not None
    assert found.ohm == pytest.approx(ohm, rel=0.05)
    assert abs(found.ohm / ohm - 1) <= found.share


@spice
@pytest.mark.spice
@pytest.mark.external
@pytest.mark.parametrize(("driver", "on_ohm", "drop_v"), [
    ("tpic6b595", 5.0, 0.0), ("tpic6b595", 9.5, 0.0), ("uln2803a", 0.0, 0.9), ("uln2803a", 0.0, 1.1), ("n-mosfet", 0.05, 0.0),
    ("n-mosfet", 0.1, 0.0),
])  # fmt: skip
@pytest.mark.parametrize(("ohm", "volts"), [(100, 12), (120, 12), (200, 24)])
def test_a_driver_typical_or_at_its_worst_keeps_the_reading_within_what_is_said_of_it(
    tmp_path: Path, driver: str, on_ohm: float, drop_v: float, ohm: float, volts: float
) -> None:
    seen = read(
        f"""* one coil behind a driver of each kind
Vsupply in minus {volts}
Rlead in plus 0.4
Rcoil plus drain {ohm}
Rdriver drain low {on_ohm + 1e-6}
Vdrop low 0 {drop_v}
Rshunt 0 minus 0.1
Rtop plus sense 100k
Rbottom sense 0 15k
.control
op
let supply = v(sense)
let current = -v(minus)*150/22
print supply current
.endc
.end
""",
        tmp_path,
    )
    reading = coil.Reading(int(seen["supply"] / 5 * 1024), 0, int(seen["current"] / 5 * 1024))
    found = coil.resistance_of(reading, load_part(driver))
    assert found is not None
    assert abs(found.ohm / ohm - 1) <= found.share
    assert found.share < 0.1


# ---- readings that cannot be -------------------------------------------------------------------


def test_a_terminal_without_a_coil_and_a_short_have_no_resistance() -> None:
    assert coil.resistance_of(coil.Reading(supply_counts(12), 0, 0)) is None
    assert coil.resistance_of(coil.Reading(supply_counts(12), 0, 1023)) is None
    assert coil.resistance_of(coil.Reading(supply_counts(12), 0, current_counts(0.1))) is not None


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "nothing was measured"),
        (["--ohm", "118", "--tone", "400", "0.5", "0.5"], "--tone and --resistor belong together"),
        (["--ohm", "118", "--resistor", "100"], "--tone and --resistor belong together"),
        (["--ohm", "118", "--air", "-234.5"], "no room is at -234.5 °C"),
        (["--ohm", "118000"], "these readings make resistance_ohm 1.18e+05, where 0.5 to 5000 can be"),
        (["--pull-in", "-1"], "these readings make pull_in_a -1"),
        (["--pull-in", "nan"], "these readings make pull_in_a nan"),
        (["--five-volts", "12"], "these readings make board_v 12"),
        (["--ohm", "118", "--hot", "118", "12"], "these readings make coil_k_per_w 0"),
        (["--ohm", "118", "--tone", "1e-9", "0.9", "0.5", "--resistor", "100"], "these readings make inductance_mh"),
        (["--pull-in", "0.05", "--drop-out", "0.06"], "cannot pull in at 0.05 A"),
        (["--tone", "400", "0.9", "0.5", "--resistor", "100"], "--tone needs the cold coil's resistance"),
        (["--ohm", "118", "--tone", "400", "0.5", "0.9", "--resistor", "100"], "nothing can be said of its inductance"),
        (["--ohm", "118", "--hot", "100", "12"], "were the two readings changed about"),
        (["--ohm", "-1"], "must be above zero"),
    ],
)
def test_readings_that_cannot_be_are_refused_with_a_sentence(words: list[str], sentence: str) -> None:
    done = invoke("standard-200", *words)
    assert done.status in (1, 2)
    assert sentence in done.err


# ---- which wire is shared ----------------------------------------------------------------------


def test_the_wire_that_all_coils_share_is_found(tmp_path: Path) -> None:
    file = tmp_path / "wires.csv"
    file.write_text(
        "# ohms\nred,blue,118\nred,white,121\ngrey,red,119\nblue,white,239\nblue,grey,238\nwhite,grey,240\n"
    )
    printed = run("standard-200", "--wires", str(file))
    assert "common wire: red" in printed
    assert printed.count("a coil of") == 3


def test_coils_with_two_wires_each_share_none() -> None:
    with pytest.raises(InputError, match="no wire fits"):
        coil.common_wire({("a", "b"): 118, ("c", "d"): 120, ("e", "f"): 119})


def test_a_line_that_is_no_reading_is_named(tmp_path: Path) -> None:
    file = tmp_path / "wires.csv"
    file.write_text("red,blue,118\nred,white\n")
    done = invoke("standard-200", "--wires", str(file))
    assert "line 2" in done.err


# ---- the profile and the board -----------------------------------------------------------------


def test_what_was_measured_stands_in_the_profile_and_all_else_as_before(tmp_path: Path) -> None:
    out = tmp_path / "my-bed.toml"
    run("standard-200", "--ohm", "100", "--pull-in", "0.05", "--five-volts", "4.85", "--out", str(out))
    electrical = read_electrical(load_profile(str(out)))
    assert (electrical.resistance_ohm, electrical.pull_in_a, electrical.board_v) == (100.0, 0.05, 4.85)
    before, after = profile_text("standard-200").splitlines(), out.read_text(encoding="utf-8").splitlines()
    assert len(set(before) - set(after)) == 2  # the two keys that were there already
    assert [line for line in after if line.startswith("#")] == [line for line in before if line.startswith("#")]


def test_a_profile_that_would_not_do_is_not_written(tmp_path: Path) -> None:
    out = tmp_path / "my-bed.toml"
    done = invoke("standard-200", "--ohm", "400", "--out", str(out))
    assert "can never reach its pull-in current" in done.err
    assert not out.exists()
    with pytest.raises(ProfileError, match="this is no profile"):
        with_measured("[", {}, name="x", file="x.toml")


def with_driver(tmp_path: Path, driver: str) -> str:
    file = tmp_path / "bed.toml"
    file.write_text(profile_text("standard-200").replace('"tpic6b595"', f'"{driver}"'), encoding="utf-8")
    return str(file)


@pytest.mark.parametrize("driver", ["tpic6b595", "uln2803a", "n-mosfet"])
def test_the_board_reads_every_coil_behind_each_driver_and_misses_the_one_that_is_open(
    tmp_path: Path, driver: str
) -> None:
    """The simulator's driver takes its typical ohms or volts, as those of ngspice above do."""
    figures = json.loads(run(with_driver(tmp_path, driver), "--port", "sim://?fault=coil-open:3", "--json"))
    read_ohm = [None if one is None else one["ohm"] for one in figures["selectors"]]
    assert read_ohm[3] is None
    assert [ohm for ohm in read_ohm if ohm is not None] == [pytest.approx(120, rel=0.05)] * 15
    assert figures["electrical"]["resistance_ohm"] == pytest.approx(120, rel=0.05)


def test_a_darlington_takes_more_of_the_supply_than_a_mosfet_does(tmp_path: Path) -> None:
    """A volt less over a coil of 120 Ω is 8 mA less: more than a step of the converter, less than two."""
    drawn = {
        driver: Coils.of(load_profile(with_driver(tmp_path, driver)), Faults()).read(1, True)[1]
        for driver in ("uln2803a", "n-mosfet")
    }
    assert drawn["n-mosfet"] - drawn["uln2803a"] == pytest.approx(0.9 / 120 * 0.1 * 150 / 22 / 5 * 1024, abs=1)
    assert drawn["n-mosfet"] > drawn["uln2803a"]


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        ("sag:0.3", "The coil supply sags (below its lowest value"),
        ("sag:0.15", "The coil supply sags (by 15% with one coil on)"),
        (",".join(f"coil-open:{coil}" for coil in range(16)), "No coil draws current"),
    ],
)
def test_what_all_coils_suffer_from_is_named_and_no_coil_is_blamed(fault: str, sentence: str) -> None:
    done = invoke("standard-200", "--port", f"sim://?fault={fault}")
    assert done.status == 1
    assert sentence in done.err
    assert "selector" not in done.out


def test_a_supply_that_is_not_the_profiles_is_named_before_any_coil(tmp_path: Path) -> None:
    file = tmp_path / "bed.toml"
    file.write_text(profile_text("standard-200").replace("supply_v = 12.0", "supply_v = 24.0"), encoding="utf-8")
    done = invoke(str(file), "--port", "sim://standard-200")
    assert done.status == 1
    assert "The coil supply is too low (12.0 V with no coil on, where the profile has 24 V)" in done.err


def test_an_open_coil_and_a_shorted_one_are_told_apart() -> None:
    printed = run("standard-200", "--port", "sim://?fault=coil-short:2,coil-open:5")
    assert "selector 2: draws too much current\n" in printed
    assert "selector 5: draws no current, or less than 36 mA\n" in printed


def test_the_least_current_that_shows_is_five_steps_of_the_converter() -> None:
    """Reckoned from the drawing: 0.1 Ω, 150 kΩ over 22 kΩ, 5 V in 1024 steps; told on the pages and by the doctor."""
    step_a = 5 / 1024 / (0.1 * 150 / 22)
    least_a = coil.LEAST_A
    assert least_a == pytest.approx(5 * step_a)
    assert f"{1000 * 5 * step_a:.0f} mA" == "36 mA"
    assert f"{1000 * 8 * step_a:.0f} mA" == "57 mA"
    page = (Path(__file__).parents[2] / "docs" / "how-to" / "measure.md").read_text(encoding="utf-8")
    readme = (Path(__file__).parents[2] / "hardware" / "README.md").read_text(encoding="utf-8")
    for text in (page, readme):
        assert "36 mA" in text
        assert "57 mA" in text
    assert all("36 mA" in AILMENTS[name].cause for name in ("coil-open", "no-coil-current"))


def test_a_coil_that_is_shorted_is_passed_over() -> None:
    figures = json.loads(run("standard-200", "--port", "sim://?fault=coil-short:0", "--json"))
    assert figures["selectors"][0] is None
    assert all(one is not None for one in figures["selectors"][1:])
