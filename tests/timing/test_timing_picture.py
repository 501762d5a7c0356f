"""The picture of a session, as SVG and as PNG."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import pytest
from PIL import Image
from timing.reports import PROFILE, SPAN, report, session

from latchline.timing.passes import PassRecord, PassTiming, time_passes
from latchline.timing.picture import WIDTH, picture, round_steps

# Of limit 0.45 and 0.98, so that the second is near the limit; and one with a break and a stop.
ODD = time_passes(
    [
        PassRecord(report(1, 0.0, shortest=300), 1.0),
        PassRecord(report(2, 2.0, shortest=140), 3.0),
        PassRecord(report(3, 500.0, stops=1), 501.0),
    ],
    PROFILE,
    SPAN,
)


@pytest.mark.parametrize(
    "timings", [session(1, seed=1), session(2, seed=2), session(60, seed=3), session(950, seed=4), ODD]
)
def test_any_session_makes_a_picture_of_either_kind(timings: list[PassTiming]) -> None:
    canvas = picture(timings, "A <mat> & more")
    root = ElementTree.fromstring(canvas.svg())
    assert root.attrib["aria-label"] == "A <mat> & more"
    image = Image.open(io.BytesIO(canvas.png()))
    assert image.size == (WIDTH, canvas.height)
    assert image.convert("L").getextrema()[0] < 60  # something is drawn


def _words(timings: list[PassTiming]) -> set[str]:
    return {
        element.text or "" for element in ElementTree.fromstring(picture(timings, "x").svg()).iter() if element.text
    }


def test_a_break_is_named_with_its_length() -> None:
    assert "break 8:17" in _words(ODD)
    assert not any(words.startswith("break") for words in _words(session(20, seed=5)))


def test_nothing_leaves_the_page() -> None:
    canvas = picture(ODD, "x")
    for element in ElementTree.fromstring(canvas.svg()).iter():
        for point in element.attrib.get("points", "").split():
            x, y = map(float, point.split(","))
            assert 0 <= x <= canvas.width
            assert 0 <= y <= canvas.height


@pytest.mark.parametrize(
    ("high", "last", "most"), [(1, 1, 9), (0.93, 1, 9), (73, 80, 9), (160, 160, 9), (9000, 10000, 9)]
)
def test_axes_end_at_a_round_number(high: float, last: float, most: int) -> None:
    steps = round_steps(0, high)
    assert steps[0] == 0
    assert steps[-1] == last
    assert len(steps) <= most
