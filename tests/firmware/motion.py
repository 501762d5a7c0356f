"""A carriage for the chip, timed by processor cycles, and what the chip is told before it can follow one."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from boards.chip import CYCLES_A_US, ChipBoard, Cycles
from latchline.link.messages import PROTOCOL, Bed, Greet, Message, Pass, PlanStart, from_wire, to_wire
from latchline.link.setup import bed_message
from latchline.machine.profile import load_profile
from latchline.sim.face import PIN_LEFT, PIN_MIDDLE, PIN_RIGHT

CYCLES_A_SECOND = 16_000_000
PHASES = np.array((0, 1, 3, 2))
FINGERPRINT = 5


def widest(name: str = "standard-200", **changes: int) -> Bed:
    """A profile's bed that allows 2 m/s where its selectors can still be told apart at it."""
    bed = bed_message(load_profile(name))
    share = bed.count if bed.layout_kind == 1 else 1
    bed = dataclasses.replace(bed, advance_max=min(share * bed.edges_per_needle - bed.hold, 14))
    return dataclasses.replace(bed, **changes)


@dataclass
class Bench:
    """The chip with a bed and a plan over all needles, and a carriage whose edges come at given cycles."""

    bed: Bed
    passes: int = 1
    needles: Callable[[int], bool] = lambda needle: needle % 2 == 0
    image: str = "latchline.elf"

    def __post_init__(self) -> None:
        bed = self.bed
        self.chip = ChipBoard(image=self.image)
        self.place, self.cycle = 100, 0.0
        margin = bed.advance_max + bed.hold + 1
        leads = (bed.lead_leftward, bed.lead_rightward)
        self.left_line = max(bed.left_sensor + 2, -max(leads) - margin)
        self.right_line = min(bed.right_sensor - 2, (bed.needles - 1) * bed.edges_per_needle + max(leads) + margin)
        self.chip.power(0, 1)
        self.wait_ms(20)
        self.say(
            b"\0",
            Greet(PROTOCOL, 7),
            bed,
            PlanStart(FINGERPRINT, 1, 99, self.left_line, self.right_line, 0, bed.needles - 1),
        )
        mask = sum(1 << needle for needle in range(bed.needles) if self.needles(needle)).to_bytes(32, "little")
        for number in range(1, self.passes + 1):
            self.say(Pass(FINGERPRINT, number, number % 2, mask))
        self.walk(bed.left_sensor - 4, 2000)
        self.wait_ms(5)
        self.chip.latches()

    @property
    def now_us(self) -> int:
        return int(self.cycle) // CYCLES_A_US

    def wait_ms(self, ms: float) -> None:
        self.cycle += ms * 16_000
        self.chip.run_to_cycle(int(self.cycle))

    def say(self, *said: Message | bytes) -> None:
        for each in said:
            data = each if isinstance(each, bytes) else to_wire(each)
            self.chip.receive(self.now_us + 1, data)
            self.wait_ms(0.04 * len(data) + 3)

    def saturate(self, data: bytes, seconds: float) -> int:
        """Fill the line towards the board from now on; how many times `data` is said."""
        times = int(seconds * 25_000 // len(data))
        self.chip.receive(self.now_us + 1, data * times)
        return times

    def pins(self, places: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
        sensors = np.where(places <= self.bed.left_sensor, 0, PIN_LEFT) | np.where(
            places >= self.bed.right_sensor, 0, PIN_RIGHT
        )
        if self.bed.middle_left <= self.bed.middle_right:
            within = (places >= self.bed.middle_left) & (places <= self.bed.middle_right)
            sensors |= np.where(within, 0, PIN_MIDDLE)
        pins: npt.NDArray[np.uint8] = (PHASES[places % 4] | sensors).astype(np.uint8)
        return pins

    def walk(self, to: int, cycles: float | npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.int64], Cycles]:
        """To a place, with the cycles from edge to edge; the places passed and when their edges came."""
        step = 1 if to > self.place else -1
        places = self.place + step * np.arange(1, abs(to - self.place) + 1)
        times = self.cycle + np.cumsum(np.broadcast_to(np.asarray(cycles, float), len(places)))
        applied = self.chip.edges_at(times.astype(np.uint64), self.pins(places))
        self.place, self.cycle = to, float(times[-1])
        return places, applied

    def answers(self) -> list[Message]:
        return [message for _, data in self.chip.sent() if (message := from_wire(data[:-1])) is not None]


def edge_cycles(bed: Bed, pitch_mm: float, speed_m_s: float) -> float:
    return pitch_mm / bed.edges_per_needle / 1000 / speed_m_s * CYCLES_A_SECOND
