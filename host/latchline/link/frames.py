"""Frames on the wire, as `docs/protocol.md` section 2 has them.

COBS: Cheshire and Baker, IEEE/ACM Transactions on Networking 7 (1999). The check is
CRC-16/IBM-3740 (polynomial 1021, initial FFFF), which `binascii.crc_hqx` computes.
"""

from __future__ import annotations

from binascii import crc_hqx

PAYLOAD_MAX = 46  # the longest message, PASS
FRAME_MAX = PAYLOAD_MAX + 4  # stuffed payload and check, without the closing zero
_CODES = [bytes((length + 1,)) for length in range(254)]  # what stands before a group of so many bytes


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740; of b"123456789" it is 0x29B1."""
    return crc_hqx(data, 0xFFFF)


def stuff(payload: bytes) -> bytes:
    """COBS of a payload, without the closing zero."""
    groups = payload.split(b"\0")
    if len(payload) < 254:
        return b"".join([_CODES[len(group)] + group for group in groups])
    out = bytearray()
    for number, group in enumerate(groups, 1):
        while len(group) >= 254:
            out += b"\xff" + group[:254]
            group = group[254:]
            if not group and number == len(groups):
                return bytes(out)
        out += bytes((len(group) + 1,)) + group
    return bytes(out)


def unstuff(stuffed: bytes) -> bytes | None:
    """The payload, or None when the stuffing does not come out even."""
    if 0 in stuffed:
        return None
    out, at, end = bytearray(stuffed), 0, len(stuffed)
    long = []  # groups of 254 bytes are followed by no zero
    while at < end:
        code, out[at] = out[at], 0
        at += code
        if code == 0xFF:
            long.append(at)
    if at != end:
        return None
    for after in reversed(long):
        del out[after : after + 1]
    return bytes(out[1:])


def encode(payload: bytes) -> bytes:
    """The whole frame, closing zero included."""
    stuffed = stuff(payload)
    check = crc16(stuffed)
    return stuffed + bytes((0x80 | check >> 14, 0x80 | check >> 7 & 0x7F, 0x80 | check & 0x7F, 0))


def decode(frame: bytes) -> bytes | None:
    """The payload of a frame without its closing zero, or None when anything about it is wrong.

    The length that belongs to the message's type is for the reader of messages to check.
    """
    stuffed, check = frame[:-3], frame[-3:]
    if not stuffed or len(check) < 3 or min(check) < 0x80 or check[0] > 0x83:
        return None
    if (check[0] & 0x03) << 14 | (check[1] & 0x7F) << 7 | check[2] & 0x7F != crc16(stuffed):
        return None
    return unstuff(stuffed)


class Gatherer:
    """Cuts a stream of bytes into frames; keeps at most one frame's worth of them."""

    def __init__(self) -> None:
        self._gathered = bytearray()
        self._too_long = False

    def feed(self, data: bytes) -> list[bytes | None]:
        """The frames that these bytes complete, without closing zeros; None for one that is too long."""
        frames: list[bytes | None] = []
        parts = data.split(b"\0")
        for number, part in enumerate(parts):
            room = FRAME_MAX - len(self._gathered)
            self._too_long |= len(part) > room
            self._gathered += part[:room]
            if number == len(parts) - 1:
                break
            if self._too_long:
                frames.append(None)
            elif self._gathered:
                frames.append(bytes(self._gathered))
            self._gathered.clear()
            self._too_long = False
        return frames
