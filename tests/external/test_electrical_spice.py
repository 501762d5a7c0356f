"""The formulas against ngspice, which runs the deck that ships with the hardware.

ngspice ends with status 0 even where a measurement failed, and wants a HOME to read its settings from.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from latchline.budget import coil

pytestmark = [pytest.mark.external, pytest.mark.spice]

DECK = Path(__file__).parents[2] / "hardware" / "driver.cir"
NEAR = 0.04  # diodes and zeners in the deck have a slope that the formulas leave out

#        V   R     L     drop  on    pull  drop_out zener
COILS = {
    "a": (12, 59.95, 0.030, 1.05, 0.05, 0.12, 0.04, 24),
    "b": (24, 100.0, 0.080, 0.00, 0.05, 0.15, 0.04, 15),
    "c": (12, 20.00, 0.010, 0.00, 0.05, 0.35, 0.10, 24),
}


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> dict[str, float]:
    """Every measurement of the deck, by name; times in ms, energies in mJ."""
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("ngspice is not installed (Debian package ngspice)")
        pytest.skip("ngspice is not installed (Debian package ngspice)")
    home = tmp_path_factory.mktemp("home")
    run = subprocess.run(
        [program, "-b", str(DECK)],
        cwd=home,
        env={**os.environ, "HOME": str(home)},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = re.findall(r"^(\w+)\s+=\s+([-+0-9.e]+)", run.stdout.split("Measurements", 1)[1], re.MULTILINE)
    return {name: float(value) for name, value in found}


@pytest.fixture(params=COILS)
def letter(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_every_measurement_of_the_deck_is_there(measured: dict[str, float]) -> None:
    asked = re.findall(r"^\.meas\s+tran\s+(\w+)", DECK.read_text(), re.MULTILINE)
    assert len(asked) == 21
    assert set(asked) <= measured.keys()


def test_pull_in_agrees(measured: dict[str, float], letter: str) -> None:
    supply_v, ohm, henry, drop_v, on_ohm, pull_a, *_ = COILS[letter]
    steady_a = coil.steady_current_a(supply_v, ohm, drop_v=drop_v, on_ohm=on_ohm)
    assert measured[f"steady_{letter}"] == pytest.approx(steady_a, rel=NEAR)
    expected = coil.pull_in_ms(steady_a, pull_a, ohm + on_ohm, henry)
    assert 1000 * measured[f"pull_in_{letter}"] == pytest.approx(expected, rel=NEAR)


@pytest.mark.parametrize("clamp", ["diode", "zener"])
def test_release_agrees(measured: dict[str, float], letter: str, clamp: str) -> None:
    _, ohm, henry, _, _, _, drop_a, zener_v = COILS[letter]
    clamp_v = 0.8 + (zener_v if clamp == "zener" else 0)
    expected = coil.release_ms(measured[f"steady_{letter}"], drop_a, ohm, henry, clamp_v)
    assert 1000 * measured[f"release_{clamp}_{letter}"] == pytest.approx(expected, rel=NEAR)


@pytest.mark.parametrize("clamp", ["diode", "zener"])
def test_peak_voltage_agrees(measured: dict[str, float], letter: str, clamp: str) -> None:
    supply_v, zener_v = COILS[letter][0], COILS[letter][-1]
    expected = supply_v + 0.8 + (zener_v if clamp == "zener" else 0)
    assert measured[f"peak_{clamp}_{letter}"] == pytest.approx(expected, rel=NEAR)


def test_clamp_energy_agrees(measured: dict[str, float], letter: str) -> None:
    _, ohm, henry, *_, zener_v = COILS[letter]
    steady_a = measured[f"steady_{letter}"]
    expected = coil.clamp_energy_mj(steady_a, ohm, henry, zener_v + 0.8)
    assert 1000 * measured[f"clamp_energy_{letter}"] == pytest.approx(expected, rel=NEAR)
    assert expected < coil.stored_mj(henry, steady_a)
