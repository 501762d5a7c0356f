"""What a frame's check catches, and what a stream of bytes is cut into."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.link import frames
from latchline.link.messages import LENGTHS, Pass, from_wire, to_wire

PASS = Pass(0x1234ABCD, 7, 1, bytes(range(32)))


@given(st.binary(min_size=1, max_size=frames.PAYLOAD_MAX))
def test_what_is_encoded_is_decoded(payload: bytes) -> None:
    frame = frames.encode(payload)
    assert frame.endswith(b"\0")
    assert 0 not in frame[:-1]
    assert len(frame) == len(payload) + 5
    assert frames.decode(frame[:-1]) == payload


@given(st.lists(st.binary(min_size=1, max_size=frames.PAYLOAD_MAX), max_size=8), st.data())
def test_however_the_bytes_arrive_the_frames_are_the_same(payloads: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(frames.encode(payload) for payload in payloads)
    gatherer, got = frames.Gatherer(), []
    while stream:
        cut = data.draw(st.integers(1, len(stream)))
        got += gatherer.feed(stream[:cut])
        stream = stream[cut:]
    assert [frames.decode(frame) for frame in got if frame is not None] == payloads


def test_a_flood_without_an_end_is_kept_short_and_dropped() -> None:
    gatherer = frames.Gatherer()
    assert gatherer.feed(b"x" * 100_000) == []
    assert gatherer.feed(b"x\0" + frames.encode(b"ok")) == [None, frames.encode(b"ok")[:-1]]


def test_the_longest_message_fits_a_frame_and_nothing_longer_is_kept() -> None:
    assert max(LENGTHS.values()) == frames.PAYLOAD_MAX
    longest = frames.encode(b"x" * frames.PAYLOAD_MAX)
    assert frames.Gatherer().feed(longest) == [longest[:-1]]
    assert frames.Gatherer().feed(b"x" + longest) == [None]


@pytest.mark.parametrize("length", range(4))
def test_what_is_too_short_for_stuffing_and_check_is_no_frame(length: int) -> None:
    assert frames.decode(b"\x80" * length) is None


@given(st.binary(min_size=1, max_size=20))
def test_a_check_byte_without_its_top_bits_as_they_must_be_is_refused(payload: bytes) -> None:
    frame = bytearray(frames.encode(payload)[:-1])
    for place, bit in ((-3, 0x80), (-2, 0x80), (-1, 0x80), (-3, 0x04), (-3, 0x40)):
        frame[place] ^= bit
        assert frames.decode(bytes(frame)) is None
        frame[place] ^= bit
    assert frames.decode(bytes(frame)) == payload


def test_two_zeros_in_a_row_are_nothing() -> None:
    assert frames.Gatherer().feed(b"\0\0\0") == []


def damaged_by_bits(frame: bytes, bits: int) -> list[bytes]:
    whole = int.from_bytes(frame, "little")
    return [
        (whole ^ sum(1 << bit for bit in chosen)).to_bytes(len(frame), "little")
        for chosen in itertools.combinations(range(8 * len(frame)), bits)
    ]


def accepted(stream: bytes) -> list[object]:
    """What a receiver makes of a stream, a good frame following it."""
    found = [from_wire(frame) for frame in frames.Gatherer().feed(stream + b"\0")]
    return [message for message in found if message is not None]


@pytest.mark.parametrize("mask", [bytes(32), bytes([255] * 32), bytes(range(32)), bytes([0x55] * 32)])
@pytest.mark.parametrize("bits", [1, 2])
def test_no_error_of_one_or_two_bits_in_a_pass_is_taken_for_another(mask: bytes, bits: int) -> None:
    """Exhaustive: masks of all ones and all zeros are the ones that look most like valid frames."""
    message = Pass(0x1234ABCD, 7, 1, mask)
    frame = to_wire(message)
    for stream in damaged_by_bits(frame, bits):
        assert all(got == message for got in accepted(stream))


@pytest.mark.parametrize("mask", [bytes(32), bytes([255] * 32), bytes(range(32))])
def test_no_lost_or_doubled_byte_makes_a_pass_into_another(mask: bytes) -> None:
    first, second = Pass(0x1234ABCD, 7, 1, mask), Pass(0x1234ABCD, 8, 0, mask[::-1])
    stream = to_wire(first) + to_wire(second)
    for at in range(len(stream)):
        for broken in (stream[:at] + stream[at + 1 :], stream[: at + 1] + stream[at:]):
            assert set(accepted(broken)) <= {first, second}


def test_random_bursts_make_no_valid_frame_of_a_pass() -> None:
    chance = random.Random(2026)
    frame = to_wire(PASS)
    for _ in range(20_000):
        broken = bytearray(frame)
        for _ in range(chance.randint(1, 6)):
            broken[chance.randrange(len(broken))] = chance.randrange(256)
        assert all(got == PASS for got in accepted(bytes(broken)))


@pytest.mark.parametrize("number", sorted(LENGTHS))
def test_a_message_of_any_other_length_is_refused(number: int) -> None:
    for length in range(1, frames.PAYLOAD_MAX + 1):
        message = from_wire(frames.encode(bytes((number,)) + bytes(length - 1))[:-1])
        assert (message is not None) == (length == LENGTHS[number])
