"""The board's memory that outlives power: checkpoints and the board's own number (docs/protocol.md, section 12)."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from latchline.link.frames import crc16

SIZE = 1024
SLOTS = 80
SLOT_BYTES = 12
_NUMBER_AT, _BOOTS_AT = 960, 968


@dataclass(frozen=True)
class Saved:
    """A checkpoint and the slot that it stands in."""

    slot: int
    sequence: int
    fingerprint: int
    done: int

    def bytes(self) -> bytes:
        record = struct.pack("<HII", self.sequence, self.fingerprint, self.done)
        return record + struct.pack("<H", crc16(record))

    def following(self, fingerprint: int, done: int) -> Saved:
        return Saved((self.slot + 1) % SLOTS, (self.sequence + 1) & 0xFFFF, fingerprint, done)


def newest(memory: bytes | bytearray) -> Saved | None:
    """The newest whole checkpoint, by the difference of sequences modulo 65536."""
    best: Saved | None = None
    for slot in range(SLOTS):
        record = bytes(memory[slot * SLOT_BYTES : (slot + 1) * SLOT_BYTES])
        if record == b"\xff" * SLOT_BYTES or crc16(record[:10]) != int.from_bytes(record[10:], "little"):
            continue
        saved = Saved(slot, *struct.unpack("<HII", record[:10]))
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
