"""What the board's converter reads of the coils: supply through a divider, return current over a shunt."""

from __future__ import annotations

from dataclasses import dataclass

from latchline.machine.parts import Part, load_part
from latchline.machine.profile import Profile
from latchline.sim.faults import Faults

COUNTS_MAX = 1023
SUPPLY_V, COIL_OHM = 12.0, 100.0  # of a profile that says nothing of its coils (assumed)
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
            coil = faults.coil(name)
            if coil is not None:
                ohm[coil] = value
        return cls(tuple(ohm), _number(profile, "supply_v", SUPPLY_V), faults.amount("sag"))

    def read(self, register: int, enabled: bool) -> tuple[int, int]:
        """Supply and current in converter counts; as `sim/face.py` wants it."""
        on = [ohm for coil, ohm in enumerate(self.ohm) if enabled and register >> coil & 1]
        conductance = sum(1 / ohm for ohm in on)
        open_v = self.supply_v * (1 - self.sag) if on else self.supply_v
        supply_v = open_v / (1 + SUPPLY_OHM * conductance)
        current_a = supply_v * conductance
        board = load_part("board")
        bottom_ohm = board.value("divider_bottom_ohm")
        divided_v = supply_v * bottom_ohm / (bottom_ohm + board.value("divider_top_ohm"))
        return _counts(board, divided_v), _counts(board, current_a * board.value("shunt_ohm"))


def _counts(board: Part, pin_v: float) -> int:
    return min(COUNTS_MAX, int(pin_v / board.value("reference_v") * board.value("steps")))


def _number(profile: Profile, key: str, otherwise: float) -> float:
    value = profile.electrical.get(key, otherwise)
    return float(value) if isinstance(value, int | float) else otherwise
