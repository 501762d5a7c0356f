"""Masks, frames and checks against libraries and published vectors that the project did not write."""

from __future__ import annotations

import binascii

import cobs.cobs
import crcmod.predefined
import numpy as np
import pytest
from bitarray import bitarray
from hypothesis import given
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart, Colour
from latchline.link import frames
from latchline.machine.needles import Span
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named

pytestmark = pytest.mark.external
BED = load_profile("standard-200")


@given(strategies.charts(), st.data())
def test_bed_masks_agree_with_packbits_and_bitarray(chart: Chart, data: st.DataObject) -> None:
    chart = Chart(np.minimum(chart.cells, 1), (Colour(255, 255, 255), Colour(0, 0, 0)))
    width = min(chart.stitches, BED.needles)
    first = data.draw(st.integers(0, BED.needles - width))
    band = BandRequest("band", technique_named("fair-isle"), Options(), chart)
    plan = compile_plan("piece", BED, Span(first, first + width - 1), [band])
    for number in range(1, plan.passes + 1):
        bed = np.zeros(256, dtype=np.uint8)
        bed[first : first + width] = plan.driven_masks(number, number)[0]
        packed = plan.bed_mask(number)
        assert packed == np.packbits(bed, bitorder="little").tobytes()
        assert packed == bitarray(bed.tolist(), endian="little").tobytes()


@pytest.mark.parametrize(
    ("plain", "stuffed"),
    [
        ("", "01"),
        ("00", "0101"),
        ("11220033", "0311220233"),
        (bytes(range(1, 255)).hex(), "ff" + bytes(range(1, 255)).hex()),
    ],
)
def test_stuffing_gives_the_published_vectors(plain: str, stuffed: str) -> None:
    """Cheshire and Baker, IEEE/ACM Transactions on Networking 7 (1999); vectors as in the `cobs` library's tests."""
    assert frames.stuff(bytes.fromhex(plain)).hex() == stuffed
    assert frames.unstuff(bytes.fromhex(stuffed)) == bytes.fromhex(plain)


@pytest.mark.parametrize("bad", [b"\x00", b"\x05123", b"\x0512\x004"])
def test_stuffing_that_must_fail_fails(bad: bytes) -> None:
    """The vectors that the `cobs` library's own tests refuse."""
    assert frames.unstuff(bad) is None
    with pytest.raises(cobs.cobs.DecodeError):
        cobs.cobs.decode(bad)


@given(st.binary(max_size=700))
def test_stuffing_agrees_with_the_cobs_library(payload: bytes) -> None:
    assert frames.stuff(payload) == cobs.cobs.encode(payload)
    assert frames.unstuff(cobs.cobs.encode(payload)) == payload
    assert len(frames.stuff(payload)) <= len(payload) + 1 + len(payload) // 254


@given(st.binary(max_size=100).map(lambda data: data.replace(b"\0", b"\1")))
def test_unstuffing_refuses_what_the_cobs_library_refuses(data: bytes) -> None:
    try:
        expected = cobs.cobs.decode(data)
    except cobs.cobs.DecodeError:
        expected = None
    assert frames.unstuff(data) == expected


def test_the_check_gives_the_catalogued_value() -> None:
    """CRC catalogue: CRC-16/IBM-3740 of "123456789" is 29B1."""
    assert frames.crc16(b"123456789") == 0x29B1


@given(st.binary(max_size=300))
def test_the_check_agrees_with_crcmod_and_the_standard_library(data: bytes) -> None:
    assert frames.crc16(data) == crcmod.predefined.mkCrcFun("crc-ccitt-false")(data)
    assert frames.crc16(data) == binascii.crc_hqx(data, 0xFFFF)
