"""What the board's converter reads of the coils: supply through a divider, return current over a shunt."""

from __future__ import annotations

from dataclasses import dataclass

from latchline.machine.profile import Profile
from latchline.machine.sense import current_counts, supply_counts
from latchline.sim.faults import Faults

SUPPLY_V, COIL_OHM = 12.0, 60.0  # of a profile that says nothing of its coils (assumed)
SUPPLY_OHM = 0.4  # of supply, fuse and leads (assumed)
SHORT_OHM, OPEN_OHM = 4.0, 1e9


@dataclass(frozen=True)
class Coils:
    """Direct-current picture of the coils; the converter is read long after a coil has settled.

    Resistances in ohms, one for each coil. sag: share of the supply that is lost with any coil on.
    """

    ohm: tuple[float, ...]
    supply_v: float = SUPPLY_V
    sag: float = 0.0

    @classmethod
    def of(cls, profile: Profile, faults: Faults) -> Coils:
        ohm = [_number(profile, "resistance_ohm", COIL_OHM)] * 16
        for name, value in (("coil-open", OPEN_OHM), ("coil-short", SHORT_OHM)):
            for coil in faults.coils(name):
                ohm[coil] = value
        return cls(tuple(ohm), _number(profile, "supply_v", SUPPLY_V), faults.amount("sag"))

    def read(self, register: int, enabled: bool) -> tuple[int, int]:
        """Supply and current in converter counts; as `sim/face.py` wants it."""
        on = [ohm for coil, ohm in enumerate(self.ohm) if enabled and register >> coil & 1]
        conductance = sum(1 / ohm for ohm in on)
        open_v = self.supply_v * (1 - self.sag) if on else self.supply_v
        supply_v = open_v / (1 + SUPPLY_OHM * conductance)
        current_a = supply_v * conductance
        return supply_counts(supply_v), current_counts(current_a)


def _number(profile: Profile, key: str, otherwise: float) -> float:
    value = profile.electrical.get(key, otherwise)
    return float(value) if isinstance(value, int | float) else otherwise
