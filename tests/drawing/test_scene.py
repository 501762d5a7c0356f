"""Line drawings: the same drawing on paper in three ways."""

from __future__ import annotations

import io
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from latchline.drawing.pdf import scenes_pdf
from latchline.drawing.png import scene_png
from latchline.drawing.scene import Disc, Picture, Scene, plain_letters
from latchline.drawing.svg import scene_svg
from latchline.errors import InputError

DOTS_PER_INCH = 150


def drawing() -> Scene:
    scene = Scene(80, 50, "a trial & more")
    scene.box(5, 5, 20, 12, "#c02020", "#000000", 0.8)
    scene.items.append(Disc(45, 12, 6, "#2030c0", "#000000", 0.6))
    scene.items.append(Disc(65, 12, 6, None, "#000000", 1.0))
    scene.area([(5, 45), (25, 45), (15, 25)], "#208040")
    scene.line(30, 30, 75, 30, 2.0, "#000000", (6, 3))
    scene.path([(30, 45), (45, 36), (60, 45), (75, 36)], 1.5)
    scene.arrow(35, 22, 5, rightward=True)
    scene.arrow(50, 22, 5, rightward=False)
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "#c08020").save(out, "PNG")
    inner = Scene(20, 10)
    inner.items.append(Picture(2, 1, 16, 4, out.getvalue()))
    inner.box(1, 6, 18, 2, "#202020")
    scene.put(inner, 56, 38)
    return scene


def small(picture: Image.Image) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """The picture in blocks of 2 mm, so that a pixel's rounding is no matter."""
    return np.asarray(picture.convert("RGB").resize((40, 25), Image.Resampling.BOX)).astype(np.int64)


@pytest.mark.external
@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler's pdftoppm")
def test_png_and_pdf_look_alike_to_another_program(tmp_path: Path) -> None:
    """The PDF is drawn by poppler, which has nothing to do with either of our writers."""
    (tmp_path / "drawing.pdf").write_bytes(scenes_pdf([drawing()], "trial"))
    subprocess.run(
        ["pdftoppm", "-r", str(DOTS_PER_INCH), "-png", "-singlefile", tmp_path / "drawing.pdf", tmp_path / "out"],
        check=True,
    )
    ours = small(Image.open(io.BytesIO(scene_png(drawing(), DOTS_PER_INCH))))
    theirs = small(Image.open(tmp_path / "out.png"))
    assert np.abs(ours - theirs).max() < 40
    assert np.abs(ours - theirs).mean() < 1.5
    assert ours.min() < 60  # and there is something to see


def test_the_svg_is_sound_and_says_what_it_shows() -> None:
    root = ET.fromstring(scene_svg(drawing()))
    assert root.get("width") == "80mm"
    assert [item.text for item in root.iter() if item.tag.endswith("}title")] == ["a trial & more"]
    dashed = [item for item in root.iter() if item.get("stroke-dasharray")]
    assert [item.get("stroke-dasharray") for item in dashed] == ["6 3"]


@pytest.mark.parametrize(("anchor", "low", "high"), [("start", 40, 80), ("middle", 20, 60), ("end", 0, 40)])
def test_words_stand_at_after_or_before_their_point(anchor: str, low: float, high: float) -> None:
    scene = Scene(80, 10)
    scene.words(40, 7, "needles", 5, anchor=anchor)
    ink = np.flatnonzero((np.asarray(Image.open(io.BytesIO(scene_png(scene))).convert("L")) < 128).any(axis=0))
    per_mm = 150 / 25.4
    assert low - 1 <= ink[0] / per_mm
    assert ink[-1] / per_mm <= high + 1
    if anchor == "middle":
        assert (ink[0] + ink[-1]) / 2 / per_mm == pytest.approx(40, abs=0.5)


def test_letters_that_the_fonts_lack_become_question_marks() -> None:
    assert plain_letters("Größe × 2 – ½ 糸") == "Größe × 2 – ½ ?"


def test_a_drawing_too_large_for_a_png_is_refused() -> None:
    with pytest.raises(InputError, match="is too large"):
        scene_png(Scene(3000, 3000))
