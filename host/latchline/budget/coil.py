"""A selector's coil as a resistance and an inductance in series: currents, times, heat and energy.

Every formula is the first-order circuit of any text on circuit theory. Arguments are in SI units;
times come back in milliseconds, energies in millijoules, temperatures in °C. Arguments outside
their range raise ProfileError with a sentence.
"""

from __future__ import annotations

from math import ceil, exp, isfinite, log, sqrt

from latchline.errors import ProfileError

COPPER_PER_K = 0.00393  # annealed copper at 20 °C, IEC 60028 (memory)
TRACE_OUTER, TRACE_INNER = 0.048, 0.024  # IPC-2221, conductor on the outside and inside of a board
OUNCE_MIL = 1.378  # thickness of copper of one ounce a square foot, in thousandths of an inch
MIL_MM = 0.0254


def positive(**quantities: float) -> None:
    """Refuse anything that is not a finite number above zero, naming it."""
    for name, value in quantities.items():
        if not (isfinite(value) and value > 0):
            raise ProfileError(f"{name} is {value:g}, but must be above zero")


def not_negative(**quantities: float) -> None:
    for name, value in quantities.items():
        if not (isfinite(value) and value >= 0):
            raise ProfileError(f"{name} is {value:g}, but must not be below zero")


def steady_current_a(supply_v: float, resistance_ohm: float, *, drop_v: float = 0.0, on_ohm: float = 0.0) -> float:
    """I∞ = (V − Vd)/(R + Ron), for a switch that drops `drop_v` (Darlington) or has `on_ohm` (MOSFET)."""
    positive(supply_v=supply_v, resistance_ohm=resistance_ohm)
    not_negative(drop_v=drop_v, on_ohm=on_ohm)
    if drop_v >= supply_v:
        raise ProfileError(f"the driver drops {drop_v:g} V of a supply of {supply_v:g} V, so no current flows")
    return (supply_v - drop_v) / (resistance_ohm + on_ohm)


def pull_in_ms(steady_a: float, pull_in_a: float, loop_ohm: float, inductance_h: float) -> float:
    """t = τ·ln[I∞/(I∞ − Ipi)] with τ = L/(R + Ron); `loop_ohm` is R + Ron.

    Raises ProfileError where the steady current does not exceed the pull-in current.
    """
    positive(steady_a=steady_a, pull_in_a=pull_in_a, loop_ohm=loop_ohm, inductance_h=inductance_h)
    if steady_a <= pull_in_a:
        raise ProfileError(
            f"the coil never pulls in: it settles at {steady_a:.3f} A and needs more than {pull_in_a:g} A",
            hint="raise the supply or choose a coil of lower pull-in current",
        )
    return 1000 * inductance_h / loop_ohm * log(steady_a / (steady_a - pull_in_a))


def current_a(time_ms: float, steady_a: float, loop_ohm: float, inductance_h: float) -> float:
    """The current `time_ms` after switching on: I∞·(1 − e^(−t/τ))."""
    positive(loop_ohm=loop_ohm, inductance_h=inductance_h)
    not_negative(time_ms=time_ms)
    return steady_a * (1 - exp(-time_ms / 1000 * loop_ohm / inductance_h))


def release_ms(start_a: float, drop_out_a: float, resistance_ohm: float, inductance_h: float, clamp_v: float) -> float:
    """t = (L/R)·ln[(I0·R + Vc)/(Ido·R + Vc)]; `clamp_v` is the net voltage against the coil. 0 if already below."""
    positive(drop_out_a=drop_out_a, resistance_ohm=resistance_ohm, inductance_h=inductance_h)
    not_negative(start_a=start_a, clamp_v=clamp_v)
    if start_a <= drop_out_a:
        return 0.0
    ratio = (start_a * resistance_ohm + clamp_v) / (drop_out_a * resistance_ohm + clamp_v)
    return 1000 * inductance_h / resistance_ohm * log(ratio)


def stored_mj(inductance_h: float, current_a: float) -> float:
    """½·L·I²."""
    positive(inductance_h=inductance_h)
    return 500 * inductance_h * current_a**2


def clamp_energy_mj(
    start_a: float, resistance_ohm: float, inductance_h: float, clamp_v: float, across_v: float | None = None
) -> float:
    """Heat in the clamp at one release, the rest of the stored energy going into the winding.

    The integral of i(t) from I0 to zero against the net voltage Vc, times the voltage across the
    clamp itself: Vc for a clamp beside the coil, supply + Vc (`across_v`) for one from switch to ground.
    """
    positive(resistance_ohm=resistance_ohm, inductance_h=inductance_h, clamp_v=clamp_v)
    not_negative(start_a=start_a)
    settle_a = clamp_v / resistance_ohm
    charge_c = inductance_h / resistance_ohm * (start_a - settle_a * log(1 + start_a / settle_a))
    return 1000 * charge_c * (clamp_v if across_v is None else across_v)


def resistance_at_ohm(resistance_ohm: float, celsius: float) -> float:
    """Resistance of a copper winding at `celsius`, given at 20 °C."""
    positive(resistance_ohm=resistance_ohm)
    return resistance_ohm * (1 + COPPER_PER_K * (celsius - 20))


def heating_k(duty: float, thermal_k_per_w: float, coil_v: float, resistance_ohm: float, ambient_c: float) -> float:
    """How far a coil settles above `ambient_c` at a duty of 0 to 1 under `coil_v`, its resistance rising with it.

    ΔT = {√[(1+αa)² + 4αD·Rθ·V²/R20] − (1+αa)}/2α, a = ambient − 20: the positive root of
    ΔT = D·Rθ·V²/R(ambient + ΔT).
    """
    positive(resistance_ohm=resistance_ohm, thermal_k_per_w=thermal_k_per_w)
    not_negative(coil_v=coil_v, duty=duty)
    if duty > 1:
        raise ProfileError(f"a duty of {duty:g} is more than all of the time")
    cold = 1 + COPPER_PER_K * (ambient_c - 20)
    drive = 4 * COPPER_PER_K * duty * thermal_k_per_w * coil_v**2 / resistance_ohm
    return (sqrt(cold**2 + drive) - cold) / (2 * COPPER_PER_K)


def needle_interval_ms(pitch_mm: float, speed_m_s: float) -> float:
    """Time from one needle to the next: T = pitch/speed."""
    positive(pitch_mm=pitch_mm, speed_m_s=speed_m_s)
    return pitch_mm / speed_m_s


def lead_needles(act_ms: float, interval_ms: float) -> int:
    """Needles that pass while a selector acts: ⌈(pull-in + mechanism + latency)/T⌉."""
    positive(interval_ms=interval_ms)
    not_negative(act_ms=act_ms)
    return ceil(round(act_ms / interval_ms, 9))


def trace_mm(current_a: float, rise_k: float, *, ounces: float = 1.0, inner: bool = False) -> float:
    """Width of a board trace for a current and a temperature rise, IPC-2221: I = k·ΔT^0.44·A^0.725, A in mil²."""
    positive(current_a=current_a, rise_k=rise_k, ounces=ounces)
    return trace_area_mil2(current_a, rise_k, inner=inner) / (ounces * OUNCE_MIL) * MIL_MM


def trace_area_mil2(current_a: float, rise_k: float, *, inner: bool = False) -> float:
    """The cross-section behind `trace_mm`, in square thousandths of an inch."""
    constant: float = TRACE_INNER if inner else TRACE_OUTER
    return float((current_a / (constant * rise_k**0.44)) ** (1 / 0.725))
