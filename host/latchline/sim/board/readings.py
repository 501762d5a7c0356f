"""Supply and current of the coils, looked at once a millisecond while the outputs are enabled (section 11)."""

from __future__ import annotations

from latchline.link.messages import Bed
from latchline.sim.face import Analog

SUPPLY_READINGS, CURRENT_READINGS = 10, 3
GOOD = (711, 0)  # counts of a board on which nothing is read


class Readings:
    """What the converter reads, and for how many readings running it has been bad.

    analog: what there is to read; None reads a good supply and no current.
    """

    def __init__(self, analog: Analog | None) -> None:
        self.analog = analog
        self.start()

    def start(self) -> None:
        self.bed: Bed | None = None
        self.low = self.high = 0
        self.supply_low = False
        self._beat = 0
        self._well: dict[int, bool] = {}

    def set_bed(self, bed: Bed) -> None:
        self.bed = bed
        self._well = {}

    def read(self, register: int, enabled: bool) -> tuple[int, int]:
        return self.analog(register, enabled) if self.analog else GOOD

    def beat(self, beat: int, register: int, enabled: bool) -> tuple[int, int] | None:
        """Take a reading; tells supply and current when the readings running make a fault."""
        bed = self.bed
        if bed is None or beat == self._beat:
            return None
        self._beat = beat
        watched = enabled and self.analog is not None and bool(bed.supply_min or bed.current_max)
        supply, current = self.read(register, enabled) if watched else GOOD
        self.supply_low = watched and supply < bed.supply_min
        self.low = self.low + 1 if self.supply_low else 0
        self.high = self.high + 1 if watched and current > bed.current_max > 0 else 0
        bad = self.low >= SUPPLY_READINGS or self.high >= CURRENT_READINGS
        return (supply, current) if bad else None

    def uneasy(self) -> bool:
        return bool(self.supply_low or self.low or self.high)

    def well(self, register: int) -> bool:
        """Whether supply and current stay within the bed's limits with these coils on and the outputs enabled.

        The same coils always read the same, so that each register value is read only once.
        """
        bed = self.bed
        if bed is None or self.analog is None or not (bed.supply_min or bed.current_max):
            return True
        if register not in self._well:
            supply, current = self.analog(register, True)
            self._well[register] = supply >= bed.supply_min and not 0 < bed.current_max < current
        return self._well[register]
