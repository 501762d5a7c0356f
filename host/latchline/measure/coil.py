"""From readings to a coil's resistance, inductance, heating and supply. Pure; every argument in SI units.

Raises InputError with a sentence for readings that cannot be of one coil.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, log, pi, sqrt
from statistics import median

from latchline.errors import InputError
from latchline.machine import sense
from latchline.machine.parts import Part
from latchline.machine.sense import COUNTS_MAX, current_a, supply_v

COPPER_ZERO_C = 234.5  # below zero, where a straight line through copper's resistance would end (relay makers' notes)
LEAST_A = sense.least_seen_a()  # of one coil alone; less cannot be told from none
READ_COUNTS = 1.0  # by which two readings of the converter may be off together
HOT_MARGIN = 1.25  # of supply over what the hot coil only just needs (common practice, no source)


@dataclass(frozen=True)
class Resistance:
    """ohm, and the share by which it may be off for the converter's steps and for what the driver takes."""

    ohm: float
    share: float


@dataclass(frozen=True)
class Reading:
    """Converter counts before and while one coil is on, as the board's probe answers."""

    supply_on: int
    current_idle: int
    current_on: int

    @property
    def draws_nothing(self) -> bool:
        return self.current_on - self.current_idle <= sense.STANDING_COUNTS


def _positive(**quantities: float) -> None:
    for name, value in quantities.items():
        if not (isfinite(value) and value > 0):
            raise InputError(f"{name} is {value:g}, but must be above zero")


def resistance_of(reading: Reading, driver: Part | None = None) -> Resistance | None:
    """A coil's resistance from the board's reading, the driver's typical one taken off; None where it draws nothing.

    How far the driver may be from typical, up to the highest of its data sheet, is in the share.
    """
    if reading.draws_nothing or reading.current_on >= COUNTS_MAX:
        return None
    drawn = reading.current_on - reading.current_idle
    amperes = current_a(reading.current_on) - (current_a(reading.current_idle) if reading.current_idle else 0.0)
    taken_ohm = spread_ohm = 0.0
    if driver is not None:
        drop_v = driver.usual_drop_v(amperes)
        taken_ohm = driver.usual_on_ohm + drop_v / amperes
        spread_ohm = driver.most_on_ohm - driver.usual_on_ohm + (driver.drop_v(amperes) - drop_v) / amperes
    ohm = supply_v(reading.supply_on) / amperes - taken_ohm
    if ohm <= 0:
        return None
    return Resistance(ohm, READ_COUNTS / 2 / drawn + 0.5 / max(reading.supply_on, 1) + spread_ohm / ohm)


def inductance_of_tone(tone_hz: float, coil_v: float, resistor_v: float, resistor_ohm: float, coil_ohm: float) -> float:
    """Henries of a coil in series with a resistor under a tone, from the meter's alternating volts over each.

    |Z| = resistor_ohm·coil_v/resistor_v and |Z|² = R² + (2πfL)².
    """
    _positive(tone_hz=tone_hz, coil_v=coil_v, resistor_v=resistor_v, resistor_ohm=resistor_ohm, coil_ohm=coil_ohm)
    whole_ohm = resistor_ohm * coil_v / resistor_v
    if whole_ohm < 1.1 * coil_ohm:
        raise InputError(
            f"at {tone_hz:g} Hz the coil shows {whole_ohm:.4g} Ω, hardly more than its resistance of {coil_ohm:g} Ω, "
            "so that nothing can be said of its inductance",
            hint="take a higher tone, or look whether the volts over coil and resistor changed places",
        )
    return sqrt(whole_ohm**2 - coil_ohm**2) / (2 * pi * tone_hz)


def inductance_of_rise(time_s: float, current_a: float, steady_a: float, loop_ohm: float) -> float:
    """Henries from the time in which a coil reaches a current: L = −R·t/ln(1 − i/I∞), R of the whole loop."""
    _positive(time_s=time_s, current_a=current_a, steady_a=steady_a, loop_ohm=loop_ohm)
    if current_a >= steady_a:
        raise InputError(
            f"a current of {current_a:g} A is not below the {steady_a:g} A at which the coil settles",
            hint="read the time to about two thirds of the settled current",
        )
    return -loop_ohm * time_s / log(1 - current_a / steady_a)


def rise_k(cold_ohm: float, hot_ohm: float, cold_c: float) -> float:
    """How much warmer a copper winding got: ΔT = (234.5 + T1)·(R2/R1 − 1)."""
    _positive(cold_ohm=cold_ohm, hot_ohm=hot_ohm)
    if hot_ohm < cold_ohm:
        raise InputError(
            f"the hot coil's {hot_ohm:g} Ω are less than the cold one's {cold_ohm:g} Ω",
            hint="copper's resistance rises with warmth: were the two readings changed about?",
        )
    return (COPPER_ZERO_C + cold_c) * (hot_ohm / cold_ohm - 1)


def at_20_ohm(ohm: float, celsius: float) -> float:
    """A copper winding's resistance at 20 °C from that at another temperature."""
    _positive(ohm=ohm)
    return ohm * (COPPER_ZERO_C + 20) / (COPPER_ZERO_C + celsius)


def heating_k_per_w(cold_ohm: float, hot_ohm: float, cold_c: float, volts: float) -> float:
    """Kelvin a watt of a coil that has settled under `volts`, its air still at `cold_c`."""
    _positive(volts=volts)
    risen_k = rise_k(cold_ohm, hot_ohm, cold_c)
    return risen_k / (volts**2 / hot_ohm)


def supply_wanted_v(pull_in_a: float, ohm: float, winding_c: float = 70.0) -> float:
    """A supply for an unmarked coil: what the warm winding needs to pull in, and a quarter more."""
    _positive(pull_in_a=pull_in_a, ohm=ohm)
    return HOT_MARGIN * pull_in_a * ohm * (COPPER_ZERO_C + winding_c) / (COPPER_ZERO_C + 20)


@dataclass(frozen=True)
class Wires:
    """common: the wire that all coils share. coils: ohms of each of the other wires against it."""

    common: str
    coils: Mapping[str, float]


def common_wire(ohms: Mapping[tuple[str, str], float], alike: float = 0.2) -> Wires:
    """Which wire many coils share, from the resistance between wires, measured in pairs.

    Between the common wire and another lies one coil, between any two others lie two. Pairs that
    were not measured are left out of `ohms`; every wire must be in one. Raises InputError where no wire fits.
    """
    names = sorted({name for pair in ohms for name in pair})
    for common in names:
        coils = {other: _between(ohms, common, other) for other in names if other != common}
        if len(names) < 3 or any(ohm is None or not isfinite(ohm) for ohm in coils.values()):
            continue
        sound = {other: ohm for other, ohm in coils.items() if ohm is not None}
        if all(
            abs(ohm - (sound[one] + sound[other])) <= alike * ohm
            for (one, other), ohm in ohms.items()
            if common not in (one, other)
        ) and any(common not in pair for pair in ohms):
            return Wires(common, sound)
    raise InputError(
        "no wire fits as the one that all coils share",
        hint="measure each wire against every other; coils with two wires of their own have none in common",
    )


def _between(ohms: Mapping[tuple[str, str], float], one: str, other: str) -> float | None:
    return ohms.get((one, other), ohms.get((other, one)))


def usual_ohm(resistances: Sequence[Resistance]) -> float:
    """The middle one of several coils of a make."""
    return float(median(one.ohm for one in resistances))
