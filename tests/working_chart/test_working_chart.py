"""The working chart: every needle, pass, repeat and yarn change in its place, read back from the file."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pypdf
import pytest
from fabric.charts_by_hand import GAUGE, chart, plan_of
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from reportlab.pdfbase.pdfmetrics import stringWidth

import strategies
from latchline.chart.model import Chart, Colour
from latchline.chart.transform import mirror
from latchline.drawing.pdf import scenes_pdf
from latchline.drawing.png import scene_png
from latchline.drawing.scene import Scene, Shape, Words
from latchline.drawing.svg import scene_svg
from latchline.errors import InputError
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.sheet.make import colour_changes
from latchline.technique.table import technique_named
from latchline.working_chart.lines import chart_lines, repeat_columns, repeat_passes
from latchline.working_chart.page import chart_pages, chart_scene

PIXELS_PER_MM = 4


def words_of(scene: Scene) -> list[str]:
    root = ET.fromstring(scene_svg(scene))
    return [item.text or "" for item in root.iter() if item.tag.endswith("}text")]


def polygons(scene: Scene) -> Iterator[tuple[str, list[tuple[float, float]]]]:
    for item in ET.fromstring(scene_svg(scene)).iter():
        if item.tag.endswith("}polygon"):
            points = [tuple(map(float, pair.split(","))) for pair in item.get("points", "").split()]
            yield item.get("fill", ""), [(x, y) for x, y in points]


def grid_of(scene: Scene) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the largest box: the grid's frame."""
    boxes = [points for fill, points in polygons(scene) if fill == "none" and len(points) == 4]
    points = max(boxes, key=lambda corners: (corners[2][0] - corners[0][0]) * (corners[2][1] - corners[0][1]))
    return points[0][0], points[0][1], points[2][0], points[2][1]


def marked(plan: Plan) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Which cells hold a mark: looked for in the middle of each cell of the PNG. Row 0 at the bottom."""
    scene = chart_scene(plan, GAUGE)
    left, top, right, bottom = grid_of(scene)
    picture = Image.open(io.BytesIO(scene_png(scene, PIXELS_PER_MM * 25.4))).convert("L")
    left, top, right, bottom = (round(edge * PIXELS_PER_MM) for edge in (left, top, right, bottom))
    lines = len(chart_lines(plan, 1, plan.passes))
    cells = picture.crop((left, top, right, bottom)).resize((plan.span.width * 9, lines * 9), Image.Resampling.BOX)
    middles = np.asarray(cells).reshape(lines, 9, plan.span.width, 9)[:, 3:6, :, 3:6].mean(axis=(1, 3))
    dark: np.ndarray[tuple[int, int], np.dtype[np.bool_]] = (middles < 128)[::-1]
    return dark


@given(strategies.two_colour_charts(stitches=(2, 16), rows=(1, 12)), st.sampled_from(["knit", "purl"]))
@settings(max_examples=12)
def test_the_marks_are_the_selected_needles_as_the_operator_sees_them(drawing: Chart, shown_side: str) -> None:
    two = Chart(np.minimum(drawing.cells, 1), (Colour(255, 255, 255), Colour(0, 0, 0)))
    plan = plan_of("fair-isle", two, shown_side=shown_side)
    assert np.array_equal(marked(plan), plan.acting_masks())


def test_the_first_row_stands_lowest_and_the_leftmost_needle_left() -> None:
    plan = plan_of("fair-isle", chart(["...", "xx."]), shown_side="purl")
    assert marked(plan).tolist() == [[True, True, False], [False, False, False]]


def test_every_pass_has_its_number_on_the_side_from_which_the_carriage_comes() -> None:
    plan = plan_of("fair-isle", chart(["x.x."] * 6), start="left")
    scene = chart_scene(plan, GAUGE)
    left, _, right, _ = grid_of(scene)
    root = ET.fromstring(scene_svg(scene))
    places: dict[str, float] = {}
    for item in root.iter():
        if item.tag.endswith("}text") and (item.text or "").isdigit() and item.get("fill") == "#000000":
            places[item.text or ""] = float(item.get("x", "0"))
    assert set(places) == {str(number) for number in range(1, 7)}
    for number in range(1, 7):
        comes_from_left = plan.direction(number) == "rightward"
        assert places[str(number)] < left if comes_from_left else places[str(number)] > right


def test_needles_are_named_at_both_ends_and_at_the_centre() -> None:
    words = words_of(chart_scene(plan_of("fair-isle", chart(["x" + "." * 40])), GAUGE))
    for name in ("L20", "L15", "L10", "L5", "L1", "R1", "R5", "R10", "R15", "R21"):  # R20 gives way
        assert words.count(name) == 2, name  # over the grid and under it


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("shown_side", ["knit", "purl"])
@pytest.mark.parametrize("shift", [-7, 0, 3, 11])
def test_repeat_lines_stand_where_the_drawing_begins_again(mirrored: bool, shown_side: str, shift: int) -> None:
    drawing = chart(["x..12", "..x..", ".xxx."], [Colour(250, 250, 250), Colour(0, 0, 0), Colour(200, 0, 0)])
    drawing = mirror(drawing) if mirrored else drawing
    plan = plan_of("slip-colours", drawing, width=23, shown_side=shown_side, shift=shift)
    band = plan.bands[0]
    on_needles = mirror(drawing) if shown_side == "knit" else drawing
    assert band.chart is not None
    begins = [
        column
        for column in range(1, 23 - 4)
        if np.array_equal(band.chart.cells[:, column : column + 5], on_needles.cells)
    ]
    assert [column for column in repeat_columns(plan, band) if column < 23 - 4] == begins
    assert begins


def test_a_drawing_placed_once_is_marked_at_both_ends() -> None:
    plan = plan_of("fair-isle", chart(["xxxx"]), width=20, once_at=97)
    assert repeat_columns(plan, plan.bands[0]) == [97 - plan.span.first, 101 - plan.span.first]


def test_the_repeat_along_the_fabric_is_marked_at_its_first_pass() -> None:
    plan = plan_of("fair-isle", chart(["x.", ".x", "xx"]), width=8, rows=8, row_repeat=1)
    assert repeat_passes(plan, plan.bands[0]) == [4, 7]


def test_runs_of_plain_knitting_take_one_line() -> None:
    bed = load_profile("standard-200")
    bands = [
        BandRequest("hem", technique_named("stocking"), Options(rows=30), None),
        BandRequest("waves", technique_named("fair-isle"), Options(), chart(["x.", ".x"])),
        BandRequest("edge", technique_named("stocking"), Options(rows=2), None),
    ]
    plan = compile_plan("piece", bed, bed.centred(12), bands)
    lines = [(line.first, line.last) for line in chart_lines(plan, 1, plan.passes)]
    assert lines == [(1, 30), (31, 31), (32, 32), (33, 33), (34, 34)]
    assert "1-30" in words_of(chart_scene(plan, GAUGE))


@given(strategies.charts(colours_most=4), st.sampled_from(["doubled", "blank-return", "paired"]))
@settings(max_examples=20)
def test_colour_changes_are_those_of_the_yarns_in_the_carriage(drawing: Chart, separation: str) -> None:
    if len(drawing.palette) < 2:
        return
    plan = plan_of("slip-colours", drawing, separation=separation)
    changes, now = [], ""
    for number in range(1, plan.passes + 1):
        for yarn in plan.yarns_of(number):
            if yarn.name != now:
                changes.append((number, yarn.name))
                now = yarn.name
    assert colour_changes(plan, plan.bands[0]) == changes


def test_each_colour_has_its_own_mark_and_its_name_stands_at_every_change() -> None:
    yarns = [Yarn("cream"), Yarn("navy"), Yarn("red")]
    palette = [Colour(250, 250, 250), Colour(0, 0, 90), Colour(200, 0, 0)]
    plan = plan_of("slip-colours", chart(["012012"] * 2, palette), yarns=yarns, separation="doubled")
    words = words_of(chart_scene(plan, GAUGE))
    names = [word for word in words if word in ("cream", "navy", "red")]
    assert sorted(names) == sorted(name for _, name in colour_changes(plan, plan.bands[0]))
    for name in ("cream", "navy", "red"):
        assert f"selected: knits {name}" in words


def test_pages_cover_every_needle_and_every_pass_once() -> None:
    plan = plan_of("fair-isle", chart(["x." * 60] * 130))
    pdf = scenes_pdf(chart_pages(plan, GAUGE), "piece")
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    texts = [page.extract_text() for page in pages]
    assert len(texts) > 3
    numbers = [word for text in texts for word in text.split() if word == "117"]
    spans = {text.split("needles ")[-1].split(" of")[0] for text in texts}
    assert len(numbers) == 2 * len(spans)  # the pass and its chart row, once on each page across
    covered = sorted(plan.profile.span(span).first for span in spans)
    assert covered[0] == plan.span.first
    assert sum(plan.profile.span(span).width for span in spans) == 120
    assert all(f"page {number} of {len(texts)}" in text for number, text in enumerate(texts, 1))
    assert all(round(float(page.mediabox.width) * 25.4 / 72) in (210, 297) for page in pages)


def test_the_same_plan_gives_the_same_file() -> None:
    plan = plan_of("fair-isle", chart(["x.x", ".x."]))
    one, other = (scenes_pdf(chart_pages(plan, GAUGE), "piece") for _ in range(2))
    assert one == other


def test_names_beyond_the_built_in_letters_do_no_harm() -> None:
    plan = plan_of("fair-isle", chart(["x."]), yarns=(Yarn("žluť <&> 糸", "#fff000"), Yarn("námořní", "#000080")))
    scene = chart_scene(plan, GAUGE)
    assert "žluť <&> 糸"[:9] in words_of(scene)
    assert scene_png(scene).startswith(b"\x89PNG")
    assert scenes_pdf([scene], "x").startswith(b"%PDF")


@pytest.mark.parametrize(
    ("draw", "rows"),
    [(lambda plan: list(chart_pages(plan, GAUGE)), 4001), (lambda plan: chart_scene(plan, GAUGE), 1001)],
)
def test_a_chart_of_endless_passes_is_refused_in_one_sentence(draw: Callable[[Plan], object], rows: int) -> None:
    with pytest.raises(InputError, match="is too long") as caught:
        draw(plan_of("fair-isle", chart(["x."]), rows=rows))
    assert "draw a part with passes" in caught.value.sentence()


def test_no_line_leaves_the_page_however_long_the_names() -> None:
    """Letter widths are those of reportlab's Helvetica."""
    plan = plan_of("jacquard", chart(["x" * 9 + "."] + ["." * 10] * 7), yarns=(Yarn("main"), Yarn("contrast")))
    long = replace(plan, name="a cover for the long bench " * 5, profile=replace(plan.profile, title="a bed " * 40))
    for scene in (*chart_pages(long, GAUGE), chart_scene(long, GAUGE)):
        for item in scene.items:
            if isinstance(item, Words) and item.anchor == "start":
                width = stringWidth(item.text, "Helvetica-Bold" if item.bold else "Helvetica", item.size_mm)
                assert item.x + width < scene.width_mm, item.text


@pytest.mark.parametrize(("technique", "words"), [("tuck", "tucks"), ("slip", "misses")])
def test_in_tuck_and_slip_knitting_is_blank_and_the_others_are_marked(technique: str, words: str) -> None:
    plan = plan_of(technique, chart(["x.x.x", "xxxxx"]), shown_side="purl")
    said = words_of(chart_scene(plan, GAUGE))
    assert "empty: knits" in said
    assert f"not selected: {words}" in said
    blank = plan_of(technique, chart(["xxxxx", "xxxxx"]), shown_side="purl")
    assert len(chart_scene(plan, GAUGE).items) > len(chart_scene(blank, GAUGE).items)


def test_a_chart_of_more_than_sixty_passes_is_set_closer() -> None:
    def per_page(rows: int) -> float:
        plan = plan_of("fair-isle", chart(["x.x.x.x."]), rows=rows)
        return rows / len(list(chart_pages(plan, GAUGE)))

    assert len(list(chart_pages(plan_of("fair-isle", chart(["x.x.x.x."]), rows=90), GAUGE))) < 90 / per_page(60)


def test_the_heavy_line_in_the_middle_runs_from_foot_to_head_over_plain_rows_too() -> None:
    bed = load_profile("standard-200")
    plain = BandRequest("hem", technique_named("stocking"), Options(rows=8))
    waves = BandRequest("waves", technique_named("fair-isle"), Options(), chart(["x.x.", ".x.x"]))
    scene = chart_scene(compile_plan("piece", bed, bed.centred(4), [plain, waves, plain]), GAUGE)
    left, top, right, bottom = grid_of(scene)
    heavy = [item for item in scene.items if isinstance(item, Shape) and item.line_mm == 0.7 and not item.dash]
    ((x, foot), (_, head)) = heavy[-1].points
    assert (x, foot, head) == pytest.approx(((left + right) / 2, bottom, top), abs=0.1)
    after = scene.items[scene.items.index(heavy[-1]) :]
    assert not any(isinstance(item, Words) and top < item.y < bottom for item in after), "no words lie over it"


def test_no_handout_tells_a_fingerprint() -> None:
    plan = plan_of("fair-isle", chart(["x.x."]))
    assert f"{plan.fingerprint:08x}" not in " ".join(words_of(chart_scene(plan, GAUGE)))
