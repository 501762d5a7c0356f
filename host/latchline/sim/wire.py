"""The line between host and board: the time that bytes take, and what happens to them on the way."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from latchline.sim.face import BYTE_US
from latchline.sim.faults import Faults

Delivery = tuple[int, bytes]  # time at which the first byte is complete


@dataclass
class Direction:
    """One of the two directions. counts: bits and bytes that have gone by, for faults of the Nth."""

    faults: Faults
    rng: np.random.Generator
    busy_us: int = 0
    gone_bytes: int = 0
    gone_frames: int = 0
    _gone_bits: int = field(default=0, repr=False)

    def carry(self, at_us: int, data: bytes) -> list[Delivery]:
        """Bytes that start on their way at `at_us`, or when the line is free again."""
        if not self.faults.told:
            first_us = max(at_us, self.busy_us) + BYTE_US
            self.busy_us = first_us + (len(data) - 1) * BYTE_US
            return [(first_us, data)]
        data = self._damaged(data)
        start_us = max(at_us, self.busy_us)
        if self.faults.struck("stall", self.gone_frames, 1, self.rng):
            start_us += int(self.rng.uniform(0.05, 1.5) * 1e6)
        pieces = [data]
        if self.faults.struck("split", self.gone_frames, 1, self.rng) and len(data) > 1:
            cut = int(self.rng.integers(1, len(data)))
            pieces = [data[:cut], data[cut:]]
        self.gone_frames += 1
        deliveries = []
        for piece in pieces:
            if piece:
                deliveries.append((start_us + BYTE_US, piece))
                start_us += len(piece) * BYTE_US + (int(self.rng.integers(500, 8000)) if len(pieces) > 1 else 0)
        self.busy_us = start_us
        return deliveries

    def _damaged(self, data: bytes) -> bytes:
        flips = self.faults.struck("flip", self._gone_bits, 8 * len(data), self.rng)
        drops = self.faults.struck("drop", self.gone_bytes, len(data), self.rng)
        doubles = self.faults.struck("double", self.gone_bytes, len(data), self.rng)
        self._gone_bits += 8 * len(data)
        self.gone_bytes += len(data)
        if not (flips or drops or doubles):
            return data
        damaged = bytearray(data)
        for bit in flips:
            damaged[bit // 8] ^= 1 << bit % 8
        return b"".join(
            damaged[at : at + 1] * (2 if at in doubles else 1) for at in range(len(damaged)) if at not in drops
        )
