"""The budget's lines for every rated part against ngspice, on a netlist written here and not in the project.

Each figure must lie within 10 % of what ngspice finds, or on the safe side of it.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from latchline.budget.sums import Budget, make_budget
from latchline.machine.profile import Profile, load_profile, shipped_profiles

pytestmark = [pytest.mark.external, pytest.mark.spice]
if shutil.which("ngspice") is None and not os.environ.get("CI"):
    pytestmark.append(pytest.mark.skip(reason="ngspice is not installed (Debian package ngspice)"))

NEAR = 0.10
MODELS = """
.model fast D(IS=14n N=1.98 RS=0.034)
.model sw SW(VT=2.5 VH=0 RON={on_ohm} ROFF=10MEG)
.model zener D(BV={zener_v} IBV=5m RS=1)
"""


def other(name: str, **changes: Any) -> Profile:
    profile = load_profile(name)
    return replace(profile, electrical={**profile.electrical, **changes})


HEAVY = {"resistance_ohm": 60.0, "inductance_mh": 30.0, "pull_in_a": 0.11, "drop_out_a": 0.04}
BEDS = {
    **{name: load_profile(name) for name in shipped_profiles()},
    "24 V, registers": other("standard-200", supply_v=24.0, supply_tolerance_percent=5, clamp_v=15.0, resistance_ohm=200.0,
                             inductance_mh=100.0),
    "24 V, MOSFETs": other("standard-200", supply_v=24.0, supply_tolerance_percent=5, clamp_v=15.0, resistance_ohm=100.0,
                           inductance_mh=80.0, pull_in_a=0.12, drop_out_a=0.04, driver="n-mosfet", fuse_a=0),
    "12 V, Darlingtons": other("standard-200", driver="uln2803a", fuse_a=0, **HEAVY),
    "12 V, MOSFETs, a plain diode": other("mid-150", driver="n-mosfet", clamp="diode", fuse_a=0, **HEAVY),
}  # fmt: skip
PIECES = {
    "every needle": None,
    "every other": 2,
    "one in five": 5,
}


@dataclass(frozen=True)
class Corner:
    """A corner of the tolerances: supply, the coil's and the driver's ohms, the driver's drop, the zener."""

    supply_v: float
    coil_ohm: float
    on_ohm: float
    drop_v: float
    zener_v: float


def budget_of(bed: str, every: int | None) -> Budget:
    profile = BEDS[bed]
    if every is None:
        return make_budget(profile)
    masks = np.zeros((8, profile.needles), dtype=np.bool_)
    for row in range(8):
        masks[row, row % every :: every] = True
    return make_budget(profile, masks)


def figure(budget: Budget, name: str) -> float:
    found = next(line.figure for line in budget.lines if line.name == name)
    assert found is not None
    return found


def ngspice(text: str, folder: Path) -> dict[str, float]:
    (folder / "deck.cir").write_text(text, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=folder, env={**os.environ, "HOME": str(folder)},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    return {name: float(value) for name, value in re.findall(r"^(\w+)\s+=\s+([-+0-9.eE]+)", done.stdout, re.MULTILINE)}


def pulse(budget: Budget, corner: Corner, others: int, on_ms: float, folder: Path) -> dict[str, float]:
    """One coil switched on and off, `others` coils on meanwhile, supply leads and shunt as in the profile."""
    electrical = budget.electrical
    per_km = {22: 53.2, 24: 84.2, 26: 133.0}[round(electrical.wire_awg)]
    lead_ohm = per_km * electrical.wire_m / 1000
    clamp = (
        "Dclamp drain knot fast\nDzener plus knot zener" if electrical.clamp == "zener" else "Dclamp drain plus fast"
    )
    held = "\n".join(
        f"Rheld{n} plus hold{n} {corner.coil_ohm}\nRon{n} hold{n} common {corner.on_ohm}" for n in range(others)
    )
    return ngspice(
        f"""* one coil of several
{MODELS.format(on_ohm=corner.on_ohm, zener_v=corner.zener_v)}
Vsupply in back {corner.supply_v}
Rforth in plus {lead_ohm}
Rback back minus {lead_ohm}
Rshunt common minus 0.1
Rground common 0 1u
Vgate gate 0 PULSE(0 5 1m 0.1u 0.1u {on_ms}m 1)
Vcoil plus c1 0
Rcoil c1 c2 {corner.coil_ohm}
Lcoil c2 drain {electrical.inductance_mh}m
Sdrive drain low gate 0 sw
Vdrop low common {corner.drop_v}
{clamp}
{held}
Bclamp heat 0 V=v(drain)>v(plus) ? (v(drain)-v(plus))*i(Vcoil) : 0
Bacross across 0 V=v(common)-v(minus)
Bfed fed 0 V=v(plus)-v(minus)
.tran 1u {on_ms + 6}m 0 1u
.meas tran settled FIND i(Vcoil) AT={on_ms + 0.9}m
.meas tran pull TRIG v(gate) VAL=2.5 RISE=1 TARG i(Vcoil) VAL={electrical.pull_in_a} RISE=1
.meas tran release TRIG v(gate) VAL=2.5 FALL=1 TARG i(Vcoil) VAL={electrical.drop_out_a} FALL=1
.meas tran peak MAX v(drain)
.meas tran joules INTEG v(heat) FROM={on_ms + 1}m TO={on_ms + 6}m
.meas tran shunted FIND v(across) AT={on_ms + 0.9}m
.meas tran supplied FIND v(fed) AT={on_ms + 0.9}m
.end
""",
        folder,
    )


def safe(at_least: float, found: float, name: str) -> None:
    """The budget's figure of something that must not be too much: no more than 10 % below what ngspice finds."""
    assert at_least >= found * (1 - NEAR), f"{name}: the budget has {at_least:g}, ngspice {found:g}"


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("bed", BEDS)
def test_pull_in_with_a_hot_coil_and_a_low_supply_is_no_slower_than_the_budget_says(
    bed: str, piece: str, tmp_path: Path
) -> None:
    budget = budget_of(bed, PIECES[piece])
    hot_ohm = budget.electrical.resistance_ohm * (
        1 + 0.00393 * (max(one.temperature_c for one in budget.selectors) - 20)
    )
    driver = budget.driver
    drop_v = driver.drop_v(budget.worst.steady_a)
    on_ohm = driver.value("on_max_ohm") if "on_max_ohm" in driver.ratings else 0.01
    corner = Corner(budget.electrical.low_v, hot_ohm, on_ohm, drop_v, max(budget.electrical.clamp_v, 1.0))
    seen = pulse(budget, corner, budget.demand.at_once_fastest - 1, 12, tmp_path)
    name = "pull-in, hot coil and low supply"
    assert figure(budget, name) == pytest.approx(1000 * seen["pull"], rel=NEAR)


@pytest.mark.parametrize("bed", BEDS)
def test_currents_volts_and_energy_at_the_high_corner_are_no_more_than_the_budget_says(
    bed: str, tmp_path: Path
) -> None:
    budget = budget_of(bed, None)
    electrical, driver = budget.electrical, budget.driver
    on_ohm = driver.value("on_ohm") if "on_ohm" in driver.ratings else 0.01
    drop_v = 0.6 if driver.drops else 0.0  # a Darlington that drops little
    high = Corner(electrical.high_v, electrical.resistance_ohm, on_ohm, drop_v, max(electrical.clamp_v * 1.05, 1.0))
    alone = pulse(budget, high, 0, 12, tmp_path)
    safe(figure(budget, "coil current, cold coil and high supply"), alone["settled"], "coil current")
    safe(figure(budget, "current through a clamp diode"), alone["settled"], "clamp diode")
    safe(figure(budget, "peak voltage at the driver"), alone["peak"], "peak voltage")
    assert figure(budget, "peak voltage at the driver") == pytest.approx(alone["peak"], rel=NEAR)
    safe(figure(budget, "clamp energy of one release"), 1000 * alone["joules"], "clamp energy")
    many = pulse(budget, high, budget.demand.at_once_fastest - 1, 12, tmp_path)
    drawn_a = many["shunted"] / 0.1
    safe(figure(budget, "supply current, peak at the highest speed"), drawn_a, "supply current")
    safe(figure(budget, "shunt heat, peak at the highest speed"), many["shunted"] ** 2 / 0.1, "shunt heat")
    lost_v = electrical.high_v - many["supplied"]
    safe(figure(budget, "wire drop, there and back"), lost_v, "wire drop")
    safe(figure(budget, "current sense at the pin, peak"), many["shunted"] * 150 / 22, "current sense")
    low_zener = replace(high, zener_v=max(electrical.clamp_v * 0.95, 1.0), on_ohm=0.01, drop_v=0.0)
    slow = pulse(budget, low_zener, 0, 12, tmp_path)
    safe(figure(budget, "release, cold coil and high supply"), 1000 * slow["release"], "release")
    assert figure(budget, "release, cold coil and high supply") == pytest.approx(1000 * slow["release"], rel=NEAR)


@pytest.mark.parametrize("bed", BEDS)
def test_what_every_output_on_does_to_drivers_and_their_ground_is_no_more_than_the_budget_says(
    bed: str, tmp_path: Path
) -> None:
    budget = budget_of(bed, None)
    electrical, driver = budget.electrical, budget.driver
    outputs = int(min(driver.value("outputs"), budget.profile.selectors.count))
    on_ohm = driver.value("on_max_ohm") if "on_max_ohm" in driver.ratings else 0.01
    drop_v = driver.drop_v(electrical.high_v / electrical.resistance_ohm)
    coils = "\n".join(
        f"Rcoil{n} plus c{n} {electrical.resistance_ohm}\nRon{n} c{n} low{n} {on_ohm}\nVdrop{n} low{n} chip {drop_v}"
        for n in range(outputs)
    )
    seen = ngspice(
        f"""* every output of one driver on, its ground wire to the star of 0.03 ohm, a bleeder
Vsupply plus minus {electrical.high_v}
Rbleeder plus minus 4700
Rshunt 0 minus 0.1
Rstar chip 0 0.03
{coils}
.control
op
let amperes = v(chip)/0.03
let watts = amperes/{outputs}*(v(c0)-v(chip))*{outputs}
let lift = v(chip)
let bled = v(plus,minus)^2/4700
print amperes watts lift bled
.endc
.end
""",
        tmp_path,
    )
    rise_k = driver.value("thermal_k_per_w") * seen["watts"]
    safe(figure(budget, "driver junction, every output on") - electrical.ambient_c, rise_k, "junction")
    safe(figure(budget, "driver input below its ground, every output on"), seen["lift"], "lift")
    safe(figure(budget, "bleeder heat"), seen["bled"], "bleeder")
    lowest_v = 4.625 - 1.2 * 0.08 - seen["lift"]
    assert figure(budget, "driver supply, lowest USB voltage and every output on") <= lowest_v * (1 + NEAR)


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("bed", ["standard-200", "24 V, MOSFETs"])
def test_mean_heat_of_shunt_and_clamp_in_a_pass_is_no_more_than_the_budget_says(
    bed: str, piece: str, tmp_path: Path
) -> None:
    """A stretch of the busiest pass: each selector on for `on_ms` as often as its duty says, one after another."""
    budget = budget_of(bed, PIECES[piece])
    electrical, demand = budget.electrical, budget.demand
    on_ms = demand.on_ms
    count = budget.profile.selectors.count
    duty = float(demand.duty.mean())
    period_ms = on_ms / duty
    coils = "\n".join(
        f"Vgate{n} gate{n} 0 PULSE(0 5 {n * period_ms / count}m 1u 1u {on_ms}m {period_ms}m)\n"
        f"Rcoil{n} plus k{n} {electrical.resistance_ohm}\nLcoil{n} k{n} drain{n} {electrical.inductance_mh}m\n"
        f"Sdrive{n} drain{n} 0 gate{n} 0 sw\nDclamp{n} drain{n} knot{n} fast\nDzener{n} plus knot{n} zener"
        for n in range(count)
    )
    seen = ngspice(
        f"""* a bank at work
{MODELS.format(on_ohm=5, zener_v=electrical.clamp_v)}
Vsupply plus minus {electrical.high_v}
Rshunt 0 minus 0.1
{coils}
Bshunt heat 0 V=v(minus)^2/0.1
.tran 50u {2 * period_ms}m 0 50u
.meas tran shunt AVG v(heat) FROM={period_ms}m TO={2 * period_ms}m
.end
""",
        tmp_path,
    )
    safe(figure(budget, "shunt heat, mean"), seen["shunt"], "mean heat of the shunt")
