"""Coils, drivers, wire and fuse against data sheets, standards and scipy.

"memory" beside a source means that the value was recalled and not re-read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, optimize

from latchline.budget import coil
from latchline.budget.sums import make_budget
from latchline.errors import ProfileError
from latchline.machine.parts import load_part
from latchline.machine.profile import load_profile

pytestmark = pytest.mark.external

# Three reference coils, worked out by hand from the first-order circuit formulas; the driver of A is
# a Darlington that drops 1.05 V, of B and C a MOSFET of 0.05 and 0.03 Ω; the diode drops 0.8 V.
#        V   R     L      drop  on    pull  drop_out zener  I∞      pull-in diode  zener
COILS = {
    "A": (12, 60, 0.030, 1.05, 0.00, 0.12, 0.04, 24, 0.1825, 0.536, 0.650, 0.137),
    "B": (24, 100, 0.080, 0.0, 0.05, 0.15, 0.04, 15, 0.2399, 0.785, 1.314, 0.558),
    "C": (12, 20, 0.010, 0.0, 0.03, 0.35, 0.10, 24, 0.5991, 0.438, 0.759, 0.158),
}


@pytest.mark.parametrize("name", COILS)
def test_a_reference_coil_comes_out_as_worked_by_hand(name: str) -> None:
    supply_v, ohm, henry, drop_v, on_ohm, pull_a, drop_a, zener_v, steady, pull, diode, zener = COILS[name]
    steady_a = coil.steady_current_a(supply_v, ohm, drop_v=drop_v, on_ohm=on_ohm)
    assert steady_a == pytest.approx(steady, abs=5e-5)
    assert coil.pull_in_ms(steady_a, pull_a, ohm + on_ohm, henry) == pytest.approx(pull, abs=6e-4)
    # one unit in the last digit worked out
    assert coil.release_ms(steady_a, drop_a, ohm, henry, 0.8) == pytest.approx(diode, abs=1e-3)
    assert coil.release_ms(steady_a, drop_a, ohm, henry, zener_v + 0.8) == pytest.approx(zener, abs=1e-3)


# pitch in mm, speed in m/s, pull-in and mechanism in ms → needle interval and lead, worked by hand
@pytest.mark.parametrize(
    ("pitch_mm", "speed_m_s", "pull_ms", "mechanism_ms", "interval_ms", "lead"),
    [
        (5.0, 1.2, 0.536, 4, 4.17, 2),
        (4.5, 1.0, 0.785, 6, 4.50, 2),
        (9.0, 0.8, 0.438, 8, 11.25, 1),
        (4.5, 0.5, 0.5, 4, 9.0, 1),
    ],
)
def test_the_needle_interval_and_the_lead_are_pitch_over_speed(
    pitch_mm: float, speed_m_s: float, pull_ms: float, mechanism_ms: float, interval_ms: float, lead: int
) -> None:
    found_ms = coil.needle_interval_ms(pitch_mm, speed_m_s)
    assert found_ms == pytest.approx(interval_ms, abs=0.005)
    assert coil.lead_needles(pull_ms + mechanism_ms + 0.1, found_ms) == lead


@pytest.mark.parametrize("name", COILS)
@pytest.mark.parametrize("clamped", [False, True])
def test_the_current_of_a_coil_follows_its_differential_equation(name: str, clamped: bool) -> None:
    """scipy integrates L·di/dt = V − R·i upward, then −R·i − Vc downward, and finds the same instants."""
    supply_v, ohm, henry, drop_v, on_ohm, pull_a, drop_a, zener_v, *_ = COILS[name]
    steady_a = coil.steady_current_a(supply_v, ohm, drop_v=drop_v, on_ohm=on_ohm)
    clamp_v = zener_v + 0.8 if clamped else 0.8

    def crossing(slope, start: float, level: float, direction: int) -> tuple[float, float]:  # type: ignore[no-untyped-def]
        def event(_: float, state: np.ndarray) -> float:
            return float(state[0]) - level

        event.terminal, event.direction = True, direction  # type: ignore[attr-defined]
        run = integrate.solve_ivp(slope, (0, 1), [start, 0.0], events=event, rtol=1e-9, atol=1e-12)
        return 1000 * float(run.t_events[0][0]), 1000 * float(run.y_events[0][0][1])

    rise_ms, _ = crossing(lambda _, y: [(supply_v - drop_v - (ohm + on_ohm) * y[0]) / henry, 0], 0.0, pull_a, 1)
    assert coil.pull_in_ms(steady_a, pull_a, ohm + on_ohm, henry) == pytest.approx(rise_ms, rel=1e-5)
    assert coil.current_a(rise_ms, steady_a, ohm + on_ohm, henry) == pytest.approx(pull_a, rel=1e-5)

    def fall(_: float, y: np.ndarray) -> list[float]:
        return [(-ohm * y[0] - clamp_v) / henry, clamp_v * y[0]]

    fall_ms, _ = crossing(fall, steady_a, drop_a, -1)
    assert coil.release_ms(steady_a, drop_a, ohm, henry, clamp_v) == pytest.approx(fall_ms, rel=1e-5)
    _, energy_mj = crossing(fall, steady_a, 0.0, -1)
    assert coil.clamp_energy_mj(steady_a, ohm, henry, clamp_v) == pytest.approx(energy_mj, rel=1e-5)


@pytest.mark.parametrize("duty", [0.05, 0.3, 1.0])
@pytest.mark.parametrize("ambient_c", [5.0, 20.0, 40.0])
def test_a_coil_settles_where_its_heat_equals_what_it_gives_off(duty: float, ambient_c: float) -> None:
    """scipy finds the root of ΔT = D·Rθ·V²/R(T); copper 0.00393 per K at 20 °C, IEC 60028 (memory)."""
    thermal, volts, ohm = 30.0, 12.0, 60.0

    def surplus(rise_k: float) -> float:
        hot_ohm = ohm * (1 + 0.00393 * (ambient_c + rise_k - 20))
        return duty * thermal * volts**2 / hot_ohm - rise_k

    expected = optimize.brentq(surplus, 0, 500)
    assert coil.heating_k(duty, thermal, volts, ohm, ambient_c) == pytest.approx(expected, rel=1e-6)


def test_the_trace_of_the_board_standard_comes_out() -> None:
    """IPC-2221, I = 0.048·ΔT^0.44·A^0.725: 2 A, 10 K, 1 oz on the outside gives 42.4 mil², 0.78 mm (computed)."""
    assert coil.trace_area_mil2(2, 10) == pytest.approx(42.4, abs=0.05)
    assert coil.trace_mm(2, 10) == pytest.approx(0.78, abs=0.005)
    assert coil.trace_mm(2, 10, inner=True) == pytest.approx(0.78 * 2 ** (1 / 0.725), rel=0.01)


# part, rating, value, where it was read
RATINGS = [
    ("board", "pin_max_a", 0.040, "ATmega328P data sheet"),
    ("board", "pin_a", 0.020, "ATmega328P data sheet"),
    ("board", "chip_a", 0.200, "ATmega328P data sheet"),
    ("board", "input_low_share", 0.3, "ATmega328P data sheet"),
    ("board", "input_high_share", 0.6, "ATmega328P data sheet"),
    ("board", "pull_up_min_ohm", 20e3, "ATmega328P data sheet"),
    ("board", "pull_up_max_ohm", 50e3, "ATmega328P data sheet"),
    ("board", "usb_unconfigured_a", 0.100, "USB 2.0 specification"),
    ("board", "usb_a", 0.500, "USB 2.0 specification"),
    ("tpic6b595", "output_a", 0.150, "TPIC6B595 data sheet"),
    ("tpic6b595", "pulse_a", 0.500, "TPIC6B595 data sheet"),
    ("tpic6b595", "on_ohm", 5.0, "TPIC6B595 data sheet, typical"),
    ("tpic6b595", "blocking_v", 50, "TPIC6B595 data sheet"),
    ("tpic6b595", "clamp_mj", 30, "TPIC6B595 data sheet"),
    ("uln2803a", "blocking_v", 50, "ULN2803A data sheet"),
    ("uln2803a", "output_a", 0.500, "ULN2803A data sheet"),
    ("uln2803a", "thermal_k_per_w", 55, "ULN2803A data sheet"),
    ("supply", "fuse_share", 0.75, "common practice of fuse makers"),
    ("supply", "fuse_carry", 1.5, "IEC 60127-2 sheet 3: carried for an hour"),
    ("supply", "fuse_open", 2.1, "IEC 60127-2 sheet 3: opens within 2 min"),
    ("supply", "awg22_a", 7.0, "Handbook of Electronic Tables and Formulas, chassis wiring"),
    ("supply", "awg24_a", 3.5, "Handbook of Electronic Tables and Formulas, chassis wiring"),
    ("supply", "awg26_a", 2.2, "Handbook of Electronic Tables and Formulas, chassis wiring"),
    ("tpic6b595", "below_ground_v", 0.3, "SLIS032B: inputs from -0.3 V"),
    ("tpic6b595", "supply_low_v", 4.5, "TPIC6B595 data sheet, operating range (memory)"),
    ("supply", "awg22_ohm_per_km", 53.2, "American wire gauge table"),
    ("supply", "awg24_ohm_per_km", 84.2, "American wire gauge table"),
    ("supply", "awg26_ohm_per_km", 133.0, "American wire gauge table"),
    ("supply", "touch_c", 48, "IEC 62368-1 (memory)"),
    ("supply", "selv_v", 60, "IEC 62368-1, ES1 (second-hand)"),
    ("supply", "clamp_total_v", 42, "IEC 62368-1 leaves room: 42 V is this build's own ceiling"),
]


@pytest.mark.parametrize(("part", "rating", "value", "source"), RATINGS)
def test_a_part_on_file_has_the_rating_of_its_source(part: str, rating: str, value: float, source: str) -> None:
    assert load_part(part).value(rating) == pytest.approx(value), source


@pytest.mark.parametrize(("current_a", "drop_v"), [(0.1, 1.1), (0.2, 1.3), (0.35, 1.6)])
def test_a_darlington_drops_what_its_data_sheet_allows(current_a: float, drop_v: float) -> None:
    """ULN2803A data sheet, collector-emitter saturation voltage, maximum."""
    assert load_part("uln2803a").drop_v(current_a) == pytest.approx(drop_v)


def test_the_wire_gauge_follows_the_formula_of_the_gauge() -> None:
    """Diameter 0.127 mm · 92^((36 − n)/39) (ASTM B258, memory); copper 17.24 nΩ·m (IEC 60028, memory)."""
    for gauge in (22, 24, 26):
        area_m2 = np.pi / 4 * (0.127e-3 * 92 ** ((36 - gauge) / 39)) ** 2
        on_file = load_part("supply").value(f"awg{gauge}_ohm_per_km")
        assert on_file == pytest.approx(1000 * 17.24e-9 / area_m2, rel=0.01)


COIL_A = {"resistance_ohm": 60, "inductance_mh": 30, "pull_in_a": 0.12, "drop_out_a": 0.04}
COIL_B = {"supply_v": 24, "resistance_ohm": 100, "inductance_mh": 80, "pull_in_a": 0.15, "drop_out_a": 0.04}
COIL_C = {"resistance_ohm": 20, "inductance_mh": 10, "pull_in_a": 0.35, "drop_out_a": 0.10}


@pytest.mark.parametrize(
    ("electrical", "driver", "broken"),
    [
        (COIL_A, "tpic6b595", "coil current, cold coil and high supply"),  # 183 mA on 150 mA
        (COIL_B, "tpic6b595", "coil current, cold coil and high supply"),  # 240 mA on 150 mA
        (COIL_C, "uln2803a", "coil current, cold coil and high supply"),  # 600 mA on 500 mA
        (
            {**COIL_A, "resistance_ohm": 30},
            "uln2803a",
            "driver junction, every output on",
        ),  # eight would cook
    ],
)
def test_a_combination_that_breaks_a_rating_is_not_blessed(
    electrical: dict[str, float], driver: str, broken: str
) -> None:
    profile = load_profile("standard-200")
    made = replace(profile, electrical={**profile.electrical, **electrical, "driver": driver})
    budget = make_budget(made)
    assert budget.verdict == "no"
    assert {line.name: line.verdict for line in budget.lines}[broken] == "no"


def test_the_darlington_carries_coil_a_and_the_mosfet_carries_all_three() -> None:
    profile = load_profile("standard-200")
    name = "coil current, cold coil and high supply"
    for electrical, driver in (
        (COIL_A, "uln2803a"),
        (COIL_A, "n-mosfet"),
        (COIL_B, "n-mosfet"),
        (COIL_C, "n-mosfet"),
    ):
        made = replace(profile, electrical={**profile.electrical, **electrical, "driver": driver})
        assert {line.name: line.verdict for line in make_budget(made).lines}[name] == "ok"


def test_supply_zener_and_diode_together_stay_at_or_under_42_volts() -> None:
    profile = load_profile("standard-200")
    for zener_v, verdict in ((24.0, "ok"), (27.0, "no")):  # 13.2 + 1.05·27 + 0.8 = 42.35
        made = replace(profile, electrical={**profile.electrical, "clamp_v": zener_v})
        lines = {line.name: line for line in make_budget(made).lines}
        assert lines["peak voltage at the driver"].verdict == verdict


def test_a_coil_that_cannot_reach_pull_in_is_an_error_as_the_formula_demands() -> None:
    with pytest.raises(ProfileError, match="never pulls in"):
        coil.pull_in_ms(0.12, 0.12, 60, 0.03)
