"""The board's memory that outlives power: checkpoints and the board's own number (docs/protocol.md, section 12)."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from latchline.link.frames import crc16

SIZE = 1024
SLOTS = 60
SLOT_BYTES = 16
WRITING_ORDER = (*range(2, SLOT_BYTES), 0, 1)  # the sequence last, so that a torn slot is not the newest
BYTE_US = 3400  # time to write one byte, ATmega328P data sheet (memory)
_NUMBER_AT, _BOOTS_AT = 960, 968
_RECORD = "<HIII"


@dataclass(frozen=True)
class Saved:
    """A checkpoint and the slot that it stands in."""

    slot: int
    sequence: int
    fingerprint: int
    run: int
    done: int

    def bytes(self) -> bytes:
        record = struct.pack(_RECORD, self.sequence, self.fingerprint, self.run, self.done)
        return record + struct.pack("<H", crc16(record))

    def following(self, fingerprint: int, run: int, done: int) -> Saved:
        return Saved((self.slot + 1) % SLOTS, (self.sequence + 1) & 0xFFFF, fingerprint, run, done)


@dataclass(frozen=True)
class Kept:
    """What outlives a reset, but not a loss of power: the plan in force, and whether a pass was under way."""

    fingerprint: int = 0
    run: int = 0
    done: int = 0
    under_way: bool = False


def newest(memory: bytes | bytearray) -> Saved | None:
    """The newest whole checkpoint, by the difference of sequences modulo 65536."""
    best: Saved | None = None
    for slot in range(SLOTS):
        record = bytes(memory[slot * SLOT_BYTES : (slot + 1) * SLOT_BYTES])
        body, check = record[:-2], record[-2:]
        if record == b"\xff" * SLOT_BYTES or crc16(body) != int.from_bytes(check, "little"):
            continue
        saved = Saved(slot, *struct.unpack(_RECORD, body))
        if best is None or 0 < (saved.sequence - best.sequence) & 0xFFFF < 0x8000:
            best = saved
    return best


def number(memory: bytes | bytearray) -> int | None:
    """The board's own number, or None before the first start."""
    value, complement = struct.unpack_from("<II", memory, _NUMBER_AT)
    return int(value) if value == complement ^ 0xFFFFFFFF else None


def boots(memory: bytes | bytearray) -> int:
    """How often the board has started; 0 before the first start."""
    value, complement = struct.unpack_from("<HH", memory, _BOOTS_AT)
    return int(value) if value == complement ^ 0xFFFF else 0


def started(memory: bytearray, chosen: int) -> None:
    """Write down one more start, and at the first one the number that the board has chosen."""
    if number(memory) is None:
        struct.pack_into("<II", memory, _NUMBER_AT, chosen, chosen ^ 0xFFFFFFFF)
    count = min(boots(memory) + 1, 0xFFFF)
    struct.pack_into("<HH", memory, _BOOTS_AT, count, count ^ 0xFFFF)


class Writer:
    """Writes checkpoints byte by byte, none while a pass is under way (`waiting`).

    The memory is brought up to date only when somebody looks at it or a pass comes between.
    """

    def __init__(self, memory: bytearray) -> None:
        self._memory = memory
        self.saved = newest(memory)  # the newest one that is whole
        self.writing: Saved | None = None
        self.waiting = False
        self._record = b""
        self._written = 0
        self._byte_us: int | None = None  # when the byte in the making is there
        self._byte = (0, 0)

    def begin(self, now_us: int, fingerprint: int, run: int, done: int) -> None:
        """Write down that a pass is done. A byte in the making is finished first, and its slot if it was the last."""
        if self._missing() == 0:
            self.saved = self.writing
        newest = self.saved
        self.writing = newest.following(fingerprint, run, done) if newest else Saved(0, 1, fingerprint, run, done)
        self._record = self.writing.bytes()
        self._written = 0
        self.go_on(now_us)

    def go_on(self, now_us: int) -> None:
        """Put the next byte in the making, unless a pass is under way; those that are right are left."""
        while self.writing and self._byte_us is None:
            if self._written == SLOT_BYTES:
                self.saved, self.writing = self.writing, None
                return
            place, value = self._next(self._written)
            if self._memory[place] != value:
                if self.waiting:
                    return
                self._byte_us = now_us + BYTE_US
                self._byte = (place, value)
            self._written += 1

    def _next(self, written: int) -> tuple[int, int]:
        assert self.writing
        byte = WRITING_ORDER[written]
        return self.writing.slot * SLOT_BYTES + byte, self._record[byte]

    def upto(self, now_us: int) -> None:
        """All that is written by now."""
        while self._byte_us is not None and self._byte_us <= now_us:
            at_us, (place, value) = self._byte_us, self._byte
            self._memory[place] = value
            self._byte_us = None
            self.go_on(at_us)

    def whole_us(self) -> int | None:
        """When the checkpoint in the making will be whole, if no pass comes between."""
        missing = self._missing()
        if self._byte_us is None or missing is None or (missing and self.waiting):
            return None
        return self._byte_us + BYTE_US * missing

    def _missing(self) -> int | None:
        """Bytes still to be begun until the checkpoint in the making is whole; None without one."""
        if self.writing is None:
            return None
        coming = dict([self._byte]) if self._byte_us is not None else {}
        left = [self._next(written) for written in range(self._written, SLOT_BYTES)]
        return sum(coming.get(place, self._memory[place]) != value for place, value in left)
