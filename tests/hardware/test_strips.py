"""Encoder strip and needle tape at exact scale, measured on the rendered page."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))

import strips

from latchline.drawing.scene import Shape, Words
from latchline.machine.profile import load_profile, shipped_profiles

pytestmark = pytest.mark.slow

DOTS_PER_MM = 20
STANDARD = load_profile("standard-200")


def rendered(pdf: bytes, page: int, folder: Path) -> npt.NDArray[np.bool_]:
    """Where the page is dark, drawn by another program; 0.05 mm a dot."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed (Debian package poppler-utils)")
    (folder / "strips.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(25.4 * DOTS_PER_MM), "-gray", "-f", str(page), "-l", str(page), "-png", "strips.pdf", "page"],
        cwd=folder, check=True, timeout=120,
    )  # fmt: skip
    with Image.open(next(folder.glob("page*.png"))) as image:
        return np.asarray(image.convert("L")) < 128


def runs(row: npt.NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Begin and end in mm of every dark stretch."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return [(begin / DOTS_PER_MM, end / DOTS_PER_MM) for begin, end in zip(change[::2], change[1::2], strict=True)]


@pytest.mark.external
@pytest.mark.parametrize("long_bar_mm", [250.0, 245.0, 252.5])
def test_bars_and_strip_have_their_length_on_paper_stretched_for_the_printer(
    tmp_path: Path, long_bar_mm: float
) -> None:
    factor = strips.factor_of(long_bar_mm)
    dark = rendered(strips.pdf(STANDARD, factor), 1, tmp_path)
    for level_mm, bar_mm in ((32.0, 100.0), (43.0, 250.0)):
        begin, end = max(runs(dark[round(level_mm * DOTS_PER_MM)]), key=lambda one: one[1] - one[0])
        # As this printer puts it on paper:
        assert (end - begin) * long_bar_mm / 250 == pytest.approx(bar_mm, abs=0.2)
    bars = [one for one in runs(dark[round((strips.FIRST_ROW_MM + 5) * DOTS_PER_MM)]) if one[1] - one[0] > 1]
    begins = np.array([begin for begin, _ in bars[1:]])
    period_mm = np.polyfit(np.arange(len(begins)), begins, 1)[0] * long_bar_mm / 250
    assert period_mm == pytest.approx(4.5, rel=0.0005)  # 0.125 % is a quarter of a needle in 200
    assert np.mean([end - begin for begin, end in bars[1:-1]]) * long_bar_mm / 250 == pytest.approx(2.25, abs=0.06)


@pytest.mark.parametrize("name", shipped_profiles())
def test_the_pieces_of_the_strip_put_together_reach_past_both_end_sensors_without_a_step(name: str) -> None:
    profile = load_profile(name)
    period_mm = 4 * profile.edge_mm
    edges: list[float] = []
    begin_needles = -profile.left_sensor_needles - strips.SPARE_NEEDLES
    for scene in strips.pages(profile):
        words = [
            item.text for item in scene.items if isinstance(item, Words) and item.text.startswith("strip, needles")
        ]
        starts = [float(text.split()[2]) for text in words]
        tops = [
            item.y + 1.5 for item in scene.items if isinstance(item, Words) and item.text.startswith("strip, needles")
        ]
        for start, top in zip(starts, tops, strict=True):
            bars = [item for item in scene.items if isinstance(item, Shape) and item.fill and item.points[0][1] == top]
            edges += [bar.points[0][0] - strips.MARGIN_MM + start * profile.pitch_mm for bar in bars]
    distinct = sorted({round(edge, 6) for edge in edges})
    assert distinct[0] <= (begin_needles + 1) * profile.pitch_mm
    assert distinct[-1] >= (profile.needles - 1 + profile.right_sensor_needles) * profile.pitch_mm
    on_grid = [edge for edge in distinct if abs(edge / period_mm - round(edge / period_mm)) < 1e-6]
    assert len(on_grid) >= len(distinct) - 12  # where a piece begins within a dark bar, its cut is no edge
    assert np.allclose(np.diff(on_grid), period_mm)


@pytest.mark.parametrize("name", shipped_profiles())
def test_the_tape_has_a_stroke_for_every_needle(name: str) -> None:
    profile = load_profile(name)
    strokes = 0
    for scene in strips.pages(profile):
        tops = [item.y + 1.5 for item in scene.items if isinstance(item, Words) and item.text.startswith("tape")]
        for top in tops:
            lines = [
                item
                for item in scene.items
                if isinstance(item, Shape) and item.line_mm == 0.2 and item.points[0][1] == top
            ]
            strokes += len(lines)
    assert strokes == profile.needles


def test_a_bar_that_was_printed_to_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="printed to fit the page"):
        strips.factor_of(200)
