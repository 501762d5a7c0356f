"""Needles are numbered from the centre as the operator sees them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.errors import InputError
from latchline.machine.needles import Span, needle_index, needle_name


@pytest.mark.parametrize(
    ("name", "index"), [("L100", 0), ("L2", 98), ("L1", 99), ("R1", 100), ("R2", 101), ("R100", 199), ("l3", 97)]
)
def test_needles_count_outwards_from_the_centre(name: str, index: int) -> None:
    assert needle_index(name, 100) == index
    assert needle_name(index, 100) == name.upper()


@given(st.integers(0, 254), st.integers(0, 255))
def test_a_needle_keeps_its_name(index: int, centre: int) -> None:
    assert needle_index(needle_name(index, centre), centre) == index


@pytest.mark.parametrize("text", ["L20-R20", "l20 - r20", "L20–R20", "L20..R20", " L20:R20 "])
def test_a_span_is_read_however_the_dash_is_written(text: str) -> None:
    span = Span.parse(text, 100, 200)
    assert (span.first, span.last, span.width) == (80, 119, 40)
    assert span.name(100) == "L20-R20"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("R20-L20", 'the span "R20-L20" stands the wrong way round; write L20-R20.'),
        ("L101-R1", 'the span "L101-R1" leaves the bed; this bed has the needles L100-R100.'),
        ("L100-R101", 'the span "L100-R101" leaves the bed; this bed has the needles L100-R100.'),
        ("L20", '"L20" is not a span of needles; write it as L20-R20.'),
        ("L0-R5", '"L0" names no needle; write L or R and a number from 1, as L20 or R1.'),
        ("", '"" is not a span of needles; write it as L20-R20.'),
        ("20-20", '"20" names no needle; write L or R and a number from 1, as L20 or R1.'),
    ],
)
def test_a_span_that_cannot_be_is_refused_in_one_sentence(text: str, complaint: str) -> None:
    with pytest.raises(InputError) as caught:
        Span.parse(text, 100, 200)
    assert caught.value.sentence() == complaint


@given(st.integers(1, 200))
def test_a_centred_span_lies_about_the_centre_and_on_the_bed(width: int) -> None:
    span = Span.centred(width, 100, 200)
    assert span.width == width
    assert span.first >= 0
    assert span.last < 200
    assert abs((100 - span.first) - (span.last - 99)) <= 1


@pytest.mark.parametrize(("centre", "first"), [(100, 25), (20, 0), (180, 50)])
def test_a_centred_span_stays_on_a_bed_whose_centre_lies_off_its_middle(centre: int, first: int) -> None:
    assert Span.centred(150, centre, 200) == Span(first, first + 149)


def test_the_whole_bed_is_a_span_and_one_needle_more_is_not() -> None:
    assert Span.parse("L100-R100", 100, 200) == Span.centred(200, 100, 200) == Span(0, 199)
    for width in (0, 201):
        with pytest.raises(InputError, match=f"{width} stitches do not fit on 200 needles"):
            Span.centred(width, 100, 200)
