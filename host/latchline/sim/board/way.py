"""A pass on its way across the bed, as the model board keeps it (docs/protocol.md, sections 6, 7 and 9)."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from latchline.link.frames import crc16
from latchline.link.messages import MASK_BYTES, PLANS_LINE, Bed, Done, Pass, PlanStart

INTERVAL_MAX = 65535
STOP_TICKS = 25000
TENTH_TICKS = 64


def acting_ticks(bed: Bed) -> int:
    """How long a coil must have been in its state for its selector to have acted."""
    return bed.advance - bed.advance // 4


def lines_of(plan: PlanStart, taken: Pass) -> tuple[int, int]:
    """Left and right line between which a pass happens: its own, or the plan's."""
    left = plan.left_line if taken.left_line == PLANS_LINE else taken.left_line
    right = plan.right_line if taken.right_line == PLANS_LINE else taken.right_line
    return left, right


@dataclass(eq=False)
class Way:
    """The pass that is armed or under way. Places are in q: edges along its direction.

    `needles`, `selected` and `coils` list the needles of the span in the order in which the pass meets
    them, the point of the kth being first_point + k × pitch; `current` tells which need their coil on, and
    `points` and `point_coils` are those of these alone. met: needles from the first up to the furthest one met.
    """

    number: int
    direction: int
    sign: int
    start_line: int
    finish_line: int
    first_point: int
    pitch: int
    needles: npt.NDArray[np.int64]
    selected: npt.NDArray[np.bool_]
    coils: npt.NDArray[np.int64]
    current: npt.NDArray[np.bool_]
    points: npt.NDArray[np.int64]
    point_coils: npt.NDArray[np.int64]
    hold: int
    ahead: int
    met: int = 0
    furthest: int = 0
    start_tick: int = 0
    tenth_ticks: list[int] = field(default_factory=list)
    driven: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, bool))
    forward: bool = True
    backings: int = 0
    backed: int = 0
    stops: int = 0
    shortest: int = INTERVAL_MAX

    @classmethod
    def of(cls, bed: Bed, plan: PlanStart, taken: Pass) -> Way:
        sign = 1 if taken.direction else -1
        left, right = lines_of(plan, taken)
        lines = (left, right) if taken.direction else (-right, -left)
        needles = np.arange(plan.first_needle, plan.last_needle + 1)[::sign]
        lead = bed.lead_rightward if taken.direction else bed.lead_leftward
        if bed.layout_kind == 1:
            coils = needles % bed.count
        else:
            coils = np.full(len(needles), 0 if bed.count == 1 or taken.direction else 1)
        bits = np.unpackbits(np.frombuffer(taken.mask, np.uint8), bitorder="little").astype(bool)
        selected = bits[needles]
        current = selected ^ bool(bed.active_low)
        first_point = sign * int(needles[0]) * bed.edges_per_needle - lead
        return cls(
            number=taken.pass_number,
            direction=taken.direction,
            sign=sign,
            start_line=lines[0],
            finish_line=lines[1],
            first_point=first_point,
            pitch=bed.edges_per_needle,
            needles=needles,
            selected=selected,
            coils=coils,
            current=current,
            points=first_point + bed.edges_per_needle * current.nonzero()[0],
            point_coils=coils[current],
            hold=bed.hold,
            ahead=bed.advance_max,
        )

    def begin(self, tick: int) -> None:
        """Forget an earlier attempt; the pass starts here."""
        self.furthest = self.start_line
        self.start_tick = tick
        self.tenth_ticks = []
        self.driven = np.zeros(len(self.needles), bool)
        self.forward = True
        self.met = self.backings = self.backed = self.stops = 0
        self.shortest = INTERVAL_MAX

    def tenth_line(self, tenth: int) -> int:
        """Where tenth 1 to 10 ends."""
        return self.start_line + tenth * (self.finish_line - self.start_line) // 10

    def first_after(self, place: int) -> int:
        """Index of the first needle whose point lies beyond `place`; the number of needles if none does."""
        return min(max((place - self.first_point) // self.pitch + 1, 0), len(self.needles))

    def wanted(self, q: int) -> int:
        """The register with the carriage at q: bit i is on if selector i's needle needs current."""
        word = 0
        for index in range(self.first_after(q - self.hold), self.first_after(q + self.ahead)):
            if self.current[index]:
                word |= 1 << int(self.coils[index])
        return word

    def met_at(self, q: int) -> int | None:
        """Index of the needle whose point is q."""
        index, beside = divmod(q - self.first_point, self.pitch)
        return index if not beside and 0 <= index < len(self.needles) else None

    def next_needle(self, q: int) -> int:
        """The needle that the pass meets next, or its last one."""
        return int(self.needles[min(self.first_after(q - 1), len(self.needles) - 1)])

    def report(self, bed: Bed, fingerprint: int, furthest: int, correction: int) -> Done:
        first = int(self.needles[:: self.sign][0])
        mask = np.packbits(self.driven[:: self.sign], bitorder="little").tobytes()
        driven = (int.from_bytes(mask, "little") << first).to_bytes(MASK_BYTES, "little")
        ends = [self.start_tick, *self.tenth_ticks]
        tenths = [min((end - start & 0xFFFFFFFF) // TENTH_TICKS, 0xFFFF) for start, end in pairwise(ends)]
        return Done(
            fingerprint=fingerprint,
            pass_number=self.number,
            direction=self.direction,
            digest=crc16(struct.pack("<II", fingerprint, self.number) + driven),
            start=self.start_tick & 0xFFFFFFFF,
            tenths=struct.pack("<10H", *tenths),
            backings=min(self.backings, 255),
            backed=min(self.backed, 255),
            stops=min(self.stops, 255),
            advance=min(1 + bed.advance // self.shortest, 255) if self.shortest < INTERVAL_MAX else 1,
            shortest=self.shortest,
            furthest=furthest,
            correction=correction,
        )
