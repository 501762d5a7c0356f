"""What the board's converter reads of the coils: supply through a divider, return current over a shunt."""

from __future__ import annotations

from dataclasses import dataclass

from latchline.machine.parts import Part, load_part
from latchline.machine.profile import Profile
from latchline.machine.sense import current_counts, supply_counts
from latchline.sim.faults import Faults

SUPPLY_V, COIL_OHM = 12.0, 60.0  # of a profile that says nothing of its coils (assumed)
SUPPLY_OHM = 0.4  # of supply, fuse and leads (assumed)
SHORT_OHM, OPEN_OHM = 4.0, 1e9
DROP_ROUNDS = 3  # in which a driver's drop and its current, which hang on each other, are found


@dataclass(frozen=True)
class Coils:
    """Direct-current picture of the coils; the converter is read long after a coil has settled.

    Resistances in ohms, one for each coil. sag: share of the supply that is lost with any coil on.
    driver: what switches them, of typical resistance and drop; None: nothing is lost in it.
    """

    ohm: tuple[float, ...]
    supply_v: float = SUPPLY_V
    sag: float = 0.0
    driver: Part | None = None

    @classmethod
    def of(cls, profile: Profile, faults: Faults) -> Coils:
        ohm = [_number(profile, "resistance_ohm", COIL_OHM)] * 16
        for name, value in (("coil-open", OPEN_OHM), ("coil-short", SHORT_OHM)):
            for coil in faults.coils(name):
                ohm[coil] = value
        named = profile.electrical.get("driver")
        driver = load_part(named, "driver") if isinstance(named, str) else None
        return cls(tuple(ohm), _number(profile, "supply_v", SUPPLY_V), faults.amount("sag"), driver)

    def read(self, register: int, enabled: bool) -> tuple[int, int]:
        """Supply and current in converter counts; as `sim/face.py` wants it."""
        on = [ohm for coil, ohm in enumerate(self.ohm) if enabled and register >> coil & 1]
        open_v = self.supply_v * (1 - self.sag) if on else self.supply_v
        on_ohm = self.driver.usual_on_ohm if self.driver else 0.0
        siemens = [1 / (ohm + on_ohm) for ohm in on]
        drops = [self._drop_v(0.0)] * len(on)
        supply_v = current_a = 0.0
        for _ in range(DROP_ROUNDS if self.driver and self.driver.usual_drops else 1):
            lost_a = sum(drop * part for drop, part in zip(drops, siemens, strict=True))
            supply_v = (open_v + SUPPLY_OHM * lost_a) / (1 + SUPPLY_OHM * sum(siemens))
            amperes = [max(supply_v - drop, 0.0) * part for drop, part in zip(drops, siemens, strict=True)]
            current_a = sum(amperes)
            drops = [self._drop_v(one) for one in amperes]
        return supply_counts(supply_v), current_counts(current_a)

    def _drop_v(self, current_a: float) -> float:
        return self.driver.usual_drop_v(current_a) if self.driver else 0.0


def _number(profile: Profile, key: str, otherwise: float) -> float:
    value = profile.electrical.get(key, otherwise)
    return float(value) if isinstance(value, int | float) else otherwise
