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

from latchline.errors import InputError, ProfileError
from latchline.machine.electrical import read_electrical
from latchline.machine.profile import load_profile, profile_text
from latchline.machine.sense import current_counts, supply_counts
from latchline.measure import coil
from latchline.measure.write import with_measured


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
    found = coil.resistance_of(reading, on_ohm=5)
    assert found is not None
    assert found.ohm == pytest.approx(ohm, rel=0.05)
    assert abs(found.ohm / ohm - 1) <= found.share + 0.005


# ---- readings that cannot be -------------------------------------------------------------------


def test_a_terminal_without_a_coil_and_a_short_have_no_resistance() -> None:
    assert coil.resistance_of(coil.Reading(supply_counts(12), 0, 0)) is None
    assert coil.resistance_of(coil.Reading(supply_counts(12), 0, 1023)) is None
    assert coil.resistance_of(coil.Reading(supply_counts(12), 0, current_counts(0.1))) is not None


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "nothing was measured"),
        (["--ohm", "118", "--tone", "400", "0.5", "0.5"], "a tone needs its resistor"),
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


def test_the_board_reads_every_coil_and_misses_the_one_that_is_open(tmp_path: Path) -> None:
    figures = json.loads(run("standard-200", "--port", "sim://?fault=coil-open:3", "--json"))
    ohms = [None if one is None else one["ohm"] for one in figures["selectors"]]
    assert ohms[3] is None
    assert all(
        ohm == pytest.approx(115, rel=0.05) for ohm in ohms if ohm is not None
    )  # the simulator's driver has no ohms
    assert figures["electrical"]["resistance_ohm"] == pytest.approx(115, rel=0.05)


def test_a_coil_that_is_shorted_is_passed_over() -> None:
    figures = json.loads(run("standard-200", "--port", "sim://?fault=coil-short:0", "--json"))
    assert figures["selectors"][0] is None
    assert all(one is not None for one in figures["selectors"][1:])
