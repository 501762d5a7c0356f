"""Coils behave as physics does: hotter is slower, a higher clamp releases faster, nonsense is refused."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.budget import coil
from latchline.errors import ProfileError
from strategies import coils

COLD_C = st.floats(-10, 60)
WARMER_K = st.floats(1, 100)


def pull_in_ms(made: dict[str, float], celsius: float) -> float:
    ohm = coil.resistance_at_ohm(made["resistance_ohm"], celsius)
    return coil.pull_in_ms(made["supply_v"] / ohm, made["pull_in_a"], ohm, made["inductance_mh"] / 1000)


@given(coils(), st.floats(0, 60), st.floats(1, 60))
def test_a_hotter_coil_pulls_in_more_slowly(made: dict[str, float], cold_c: float, warmer_k: float) -> None:
    assert pull_in_ms(made, cold_c + warmer_k) > pull_in_ms(made, cold_c)


@given(coils(), st.floats(0.7, 0.99))
def test_a_lower_supply_pulls_in_more_slowly(made: dict[str, float], share: float) -> None:
    assert pull_in_ms({**made, "supply_v": made["supply_v"] * share}, 20) > pull_in_ms(made, 20)


@given(coils(), st.floats(0.1, 30), st.floats(0.5, 20))
def test_a_higher_clamp_releases_faster(made: dict[str, float], clamp_v: float, more_v: float) -> None:
    def release_ms(volts: float) -> float:
        start_a = made["supply_v"] / made["resistance_ohm"]
        return coil.release_ms(start_a, made["drop_out_a"], made["resistance_ohm"], made["inductance_mh"] / 1000, volts)

    assert release_ms(clamp_v + more_v) < release_ms(clamp_v)


@given(st.floats(1, 20), st.floats(0.05, 2), st.floats(1.05, 3), st.floats(0, 20))
def test_a_faster_carriage_needs_as_much_lead_or_more(
    pitch_mm: float, speed_m_s: float, faster: float, act_ms: float
) -> None:
    slow_ms = coil.needle_interval_ms(pitch_mm, speed_m_s)
    fast_ms = coil.needle_interval_ms(pitch_mm, speed_m_s * faster)
    assert fast_ms < slow_ms
    assert coil.lead_needles(act_ms, fast_ms) >= coil.lead_needles(act_ms, slow_ms)


@given(st.floats(0, 0.95), st.floats(0.01, 0.05), st.floats(1, 100), st.floats(3, 48), st.floats(10, 500), COLD_C)
def test_a_busier_coil_settles_hotter(
    duty: float, more: float, thermal: float, volts: float, ohm: float, ambient_c: float
) -> None:
    calm = coil.heating_k(duty, thermal, volts, ohm, ambient_c)
    assert coil.heating_k(duty + more, thermal, volts, ohm, ambient_c) > calm >= 0


@given(st.floats(0.001, 5), st.floats(1, 500), st.floats(0.001, 0.3), st.floats(0.5, 60))
def test_a_clamp_takes_less_than_the_coil_had_stored(start_a: float, ohm: float, henry: float, clamp_v: float) -> None:
    taken = coil.clamp_energy_mj(start_a, ohm, henry, clamp_v)
    assert 0 <= taken <= coil.stored_mj(henry, start_a) * (1 + 1e-6)


@given(coils(), st.floats(0.05, 0.95))
def test_the_current_at_the_pull_in_time_is_the_pull_in_current(made: dict[str, float], share: float) -> None:
    ohm, henry = made["resistance_ohm"], made["inductance_mh"] / 1000
    steady_a = made["supply_v"] / ohm
    time_ms = coil.pull_in_ms(steady_a, steady_a * share, ohm, henry)
    assert coil.current_a(time_ms, steady_a, ohm, henry) == pytest.approx(steady_a * share, rel=1e-9)


@given(st.floats(0.05, 20), st.floats(1, 60), st.floats(0.5, 4))
def test_a_trace_carries_again_the_current_that_it_was_made_for(amps: float, rise_k: float, ounces: float) -> None:
    area = coil.trace_mm(amps, rise_k, ounces=ounces) / coil.MIL_MM * ounces * coil.OUNCE_MIL
    assert 0.048 * rise_k**0.44 * area**0.725 == pytest.approx(amps, rel=1e-9)


@given(st.floats(1, 500), st.floats(-20, 150))
def test_resistance_there_and_back_is_the_same(ohm: float, celsius: float) -> None:
    hot = coil.resistance_at_ohm(ohm, celsius)
    assert hot / (1 + coil.COPPER_PER_K * (celsius - 20)) == pytest.approx(ohm)


def test_a_coil_already_below_its_drop_out_current_releases_at_once() -> None:
    assert coil.release_ms(0.03, 0.04, 60, 0.03, 0.8) == 0


@pytest.mark.parametrize(
    ("nonsense", "sentence"),
    [
        (lambda: coil.steady_current_a(12, 0), "resistance_ohm is 0"),
        (lambda: coil.steady_current_a(-12, 60), "supply_v is -12"),
        (lambda: coil.steady_current_a(1, 60, drop_v=1.1), "no current flows"),
        (lambda: coil.steady_current_a(float("nan"), 60), "supply_v is nan"),
        (lambda: coil.pull_in_ms(0.1, 0.2, 60, 0.03), "never pulls in"),
        (lambda: coil.pull_in_ms(0.2, 0.1, 60, 0), "inductance_h is 0"),
        (lambda: coil.release_ms(0.2, 0.04, 60, 0.03, -1), "clamp_v is -1"),
        (lambda: coil.needle_interval_ms(-4.5, 1), "pitch_mm is -4.5"),
        (lambda: coil.needle_interval_ms(4.5, 0), "speed_m_s is 0"),
        (lambda: coil.heating_k(1.5, 30, 12, 60, 20), "more than all of the time"),
        (lambda: coil.heating_k(-0.1, 30, 12, 60, 20), "duty is -0.1"),
        (lambda: coil.trace_mm(0, 10), "current_a is 0"),
        (lambda: coil.clamp_energy_mj(0.2, 60, float("inf"), 24), "inductance_h is inf"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(nonsense: Callable[[], float], sentence: str) -> None:
    with pytest.raises(ProfileError, match=sentence.replace(".", r"\.")) as caught:
        nonsense()
    assert caught.value.sentence().endswith(".")
