"""The picture of a session, as SVG and as PNG."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image
from timing.reports import PROFILE, SPAN, report, session

from latchline.drawing.panel import round_steps
from latchline.drawing.plot import Area, Plot, Words
from latchline.timing.passes import PassRecord, PassTiming, time_passes
from latchline.timing.picture import PALE_LEFTWARD, WIDTH, picture

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
    assert np.asarray(image.convert("L")).min() < 60  # something is drawn


def _words(timings: list[PassTiming]) -> set[str]:
    return {
        element.text or "" for element in ElementTree.fromstring(picture(timings, "x").svg()).iter() if element.text
    }


def test_a_break_is_named_with_its_length() -> None:
    assert "break 8:17" in _words(ODD)
    assert not any(words.startswith("break") for words in _words(session(20, seed=5)))


def test_twenty_thousand_passes_are_told_by_quantiles_and_not_by_a_solid_band() -> None:
    """Eight in ten passes of a column lie in the band; its edges are the deciles that numpy has of them."""
    timings = session(20_000, seed=8)
    canvas = picture(timings, "x")
    band = next(item for item in canvas.items if isinstance(item, Area) and item.colour == PALE_LEFTWARD)
    columns = len(band.points) // 2
    assert columns == 400
    (low_x, low_y), (high_x, high_y) = band.points[7], band.points[-8]
    assert low_x == high_x
    paces = [60 / timing.cycle_s for timing in timings[7 * 50 : 8 * 50] if timing.cycle_s]
    assert low_y - high_y == pytest.approx(_row_px(canvas) * (np.percentile(paces, 90) - np.percentile(paces, 10)))


def _row_px(canvas: Plot) -> float:
    """Pixels to one row a minute, by the labels of the first panel's axis."""
    labels = [item for item in canvas.items if isinstance(item, Words) and item.anchor == "end"]
    (first, second) = [item for item in labels if item.text in ("0", "40")][:2]
    return abs(first.at[1] - second.at[1]) / 40


@pytest.mark.parametrize("timings", [ODD, session(20_000, seed=8)], ids=["odd", "long"])
def test_nothing_leaves_the_page(timings: list[PassTiming]) -> None:
    canvas = picture(timings, "x")
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
