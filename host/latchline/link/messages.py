"""Messages between host and board, as `docs/protocol.md` section 3 has them.

Each message is a frozen dataclass whose fields, in order, are those of the page; `LAYOUTS` gives
its type and its packing. `pack` and `unpack` are the only two that know about bytes.
"""

from __future__ import annotations

import dataclasses
import struct
from dataclasses import dataclass
from functools import lru_cache
from operator import attrgetter
from typing import Any, ClassVar

from latchline.link import frames

PROTOCOL = 2
TICK_US = 4  # in which the board counts its time
MASK_BYTES = 32
NO_NEEDLE = 255
PLANS_LINE = -0x8000  # of a pass: the line is that of the plan


@dataclass(frozen=True)
class Message:
    """Base; `number` is the type byte, `layout` a struct format without byte order."""

    number: ClassVar[int]
    layout: ClassVar[str]


@dataclass(frozen=True)
class Greet(Message):
    number = 0x01
    layout = "BI"
    protocol: int
    nonce: int


@dataclass(frozen=True)
class Bed(Message):
    number = 0x02
    layout = "HBhhBHBBhhHBBHBHHHBHBhh"
    needles: int
    edges_per_needle: int
    left_sensor: int
    right_sensor: int
    tolerance: int
    backing: int
    layout_kind: int
    count: int
    lead_leftward: int
    lead_rightward: int
    advance: int
    advance_max: int
    hold: int
    limit_ms: int
    active_low: int
    patience_ms: int
    supply_min: int
    current_max: int
    duty: int = 0
    brisk: int = 0
    passing: int = 0
    middle_left: int = 0
    middle_right: int = -1

    def check(self) -> int:
        """The number by which a board tells that it has this very bed."""
        return frames.crc16(pack(self)[1:])


@dataclass(frozen=True)
class PlanStart(Message):
    """PLAN: which plan, which passes of it, and where a pass happens."""

    number = 0x03
    layout = "IIIhhBBI"
    fingerprint: int
    first: int
    last: int
    left_line: int
    right_line: int
    first_needle: int
    last_needle: int
    run: int = 0


@dataclass(frozen=True)
class Pass(Message):
    number = 0x04
    layout = "IIB32shh"
    fingerprint: int
    pass_number: int
    direction: int
    mask: bytes
    left_line: int = PLANS_LINE
    right_line: int = PLANS_LINE


@dataclass(frozen=True)
class Seen(Message):
    number = 0x05
    layout = "II"
    fingerprint: int
    pass_number: int


@dataclass(frozen=True)
class Pause(Message):
    number = 0x06
    layout = "B"
    paused: int


@dataclass(frozen=True)
class Clear(Message):
    number = 0x07
    layout = "B"
    fault: int


@dataclass(frozen=True)
class Stop(Message):
    number = 0x08
    layout = ""


@dataclass(frozen=True)
class Ask(Message):
    number = 0x09
    layout = "B"
    what: int

    STATUS: ClassVar[int] = 0
    COUNTS: ClassVar[int] = 1
    CHECKPOINT: ClassVar[int] = 2
    FAULT: ClassVar[int] = 3


@dataclass(frozen=True)
class Probe(Message):
    number = 0x0A
    layout = "BB"
    selector: int
    time_ms: int


@dataclass(frozen=True)
class Buzz(Message):
    number = 0x0B
    layout = "B"
    time_10ms: int


@dataclass(frozen=True)
class BoardInfo(Message):
    """BOARD: what answers a greeting."""

    number = 0x81
    layout = "BI3sIHBBHHHI"
    protocol: int
    nonce: int
    version: bytes
    board: int
    boots: int
    reset_cause: int
    slots: int
    needles_max: int
    bed_check: int
    features: int = 0
    run: int = 0

    PASS_LINES: ClassVar[int] = 1 << 0


@dataclass(frozen=True)
class BedTaken(Message):
    number = 0x82
    layout = "H"
    bed_check: int


@dataclass(frozen=True)
class Status(Message):
    number = 0x83
    layout = "HIIIIIhBHBBHI"
    boots: int
    fingerprint: int
    received: int
    armed: int
    done: int
    credit: int
    position: int
    pins: int
    flags: int
    fault: int
    bad_frames: int
    rests: int
    run: int = 0

    BED_SET: ClassVar[int] = 1 << 0
    CERTAIN: ClassVar[int] = 1 << 1
    PLANNED: ClassVar[int] = 1 << 2
    PAUSED: ClassVar[int] = 1 << 3
    UNDER_WAY: ClassVar[int] = 1 << 4
    LAMP: ClassVar[int] = 1 << 5
    AT_REST: ClassVar[int] = 1 << 6
    ENABLED: ClassVar[int] = 1 << 7
    WRITING: ClassVar[int] = 1 << 8
    NOT_LOADED: ClassVar[int] = 1 << 9
    SUPPLY_LOW: ClassVar[int] = 1 << 10


@dataclass(frozen=True)
class Done(Message):
    number = 0x84
    layout = "IIBHI20sBBBBHhb"
    fingerprint: int
    pass_number: int
    direction: int
    digest: int
    start: int
    tenths: bytes
    backings: int
    backed: int
    stops: int
    advance: int
    shortest: int
    furthest: int
    correction: int

    @property
    def tenth_units(self) -> tuple[int, ...]:
        """Ten times in units of 256 µs."""
        return struct.unpack("<10H", self.tenths)


@dataclass(frozen=True)
class Fault(Message):
    number = 0x85
    layout = "BIIBhH"
    fault: int
    fingerprint: int
    pass_number: int
    needle: int
    position: int
    detail: int


@dataclass(frozen=True)
class Counts(Message):
    number = 0x86
    layout = "IHHHHHHHHHH"
    edges: int
    impossible: int
    left_on: int
    right_on: int
    reversals: int
    bad_frames: int
    overruns: int
    stale: int
    shortest: int
    supply: int
    current: int


@dataclass(frozen=True)
class Checkpoint(Message):
    number = 0x87
    layout = "BIIHI"
    valid: int
    fingerprint: int
    done: int
    sequence: int
    run: int = 0

    WHOLE: ClassVar[int] = 1
    EXACT: ClassVar[int] = 2
    UNDER_WAY: ClassVar[int] = 3


@dataclass(frozen=True)
class Probed(Message):
    number = 0x88
    layout = "BHHHH"
    selector: int
    supply_idle: int
    supply_on: int
    current_idle: int
    current_on: int


@dataclass(frozen=True)
class Refused(Message):
    number = 0x89
    layout = "BB"
    message: int
    reason: int


FROM_HOST: tuple[type[Message], ...] = (
    Greet, Bed, PlanStart, Pass, Seen, Pause, Clear, Stop, Ask, Probe, Buzz,
)  # fmt: skip
FROM_BOARD: tuple[type[Message], ...] = (
    BoardInfo, BedTaken, Status, Done, Fault, Counts, Checkpoint, Probed, Refused,
)  # fmt: skip

_BY_NUMBER = {kind.number: kind for kind in FROM_HOST + FROM_BOARD}
_FIELDS = {number: [item.name for item in dataclasses.fields(kind)] for number, kind in _BY_NUMBER.items()}
_VALUES = {number: attrgetter(*names) for number, names in _FIELDS.items() if len(names) > 1}  # as a tuple
_PACKINGS = {kind.number: struct.Struct("<B" + kind.layout) for kind in _BY_NUMBER.values()}  # type byte first
LENGTHS = {number: packing.size for number, packing in _PACKINGS.items()}


def pack(message: Message) -> bytes:
    """The payload of a message. Raises struct.error when a field is out of its range."""
    number = message.number
    if number in _VALUES:
        return _PACKINGS[number].pack(number, *_VALUES[number](message))
    return _PACKINGS[number].pack(number, *[getattr(message, name) for name in _FIELDS[number]])


def unpack(payload: bytes | None) -> Message | None:
    """The message of a payload; None when its type is unknown or its length is not the type's own."""
    if not payload or LENGTHS.get(payload[0]) != len(payload):
        return None
    number, *values = _PACKINGS[payload[0]].unpack(payload)
    kind: Any = _BY_NUMBER[number]
    message: Message = kind(*values)
    return message


def to_wire(message: Message) -> bytes:
    return frames.encode(pack(message))


@lru_cache(maxsize=64)  # in a simulation host and knitter hear the same frame
def from_wire(frame: bytes | None) -> Message | None:
    """The message of a frame without its closing zero, or None when anything about it is wrong."""
    return None if frame is None else unpack(frames.decode(frame))
