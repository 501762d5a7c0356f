"""The pictures of the fabric, read back as an onlooker would read them: by what their pixels show."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import Counter
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from fabric.charts_by_hand import GAUGE, LETTER_F, chart, plan_of
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

import strategies
from latchline.chart.model import Chart, Colour
from latchline.chart.transform import mirror
from latchline.errors import InputError
from latchline.fabric.layout import layout
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.preview.picture import draw_fabric, fabric_svg
from latchline.shaping.gauge import Gauge
from latchline.technique.model import Technique
from latchline.technique.table import TECHNIQUES

STITCH_PX = 12
Cover = npt.NDArray[np.float64]

WAYS_TO_KNIT = [
    (technique, separation.name if separation else None)
    for technique in TECHNIQUES.values()
    if technique.needs_chart
    for separation in (technique.separations or (None,))
]


def lettered(technique: Technique, separation: str | None, drawing: Chart, shown_side: str) -> Plan:
    """The drawing knitted so that its ink is what stands out: the contrast, or the tucked and missed stitches."""
    stands_out_unselected = technique.name.startswith(("tuck", "slip")) and not technique.separations
    return plan_of(
        technique.name,
        drawing,
        shown_side=shown_side,
        separation=separation,
        reversal=-1 if stands_out_unselected else 0,
        row_repeat=2 if technique.one_way else 1,
    )


def ink_of(picture: Image.Image, drawing: Chart, technique: Technique) -> Cover:
    """How much the fabric over each cell of a drawing laid over it looks like ink; row 0 at the bottom.

    Where the ink is another yarn, it is dark. Where it is held loops, it is calm: few edges up a wale.
    """
    grey = np.asarray(picture.convert("L"), dtype=np.float32)[STITCH_PX:-STITCH_PX, STITCH_PX:-STITCH_PX]
    if not technique.colour_work and technique.name != "inlay":
        grey = np.abs(np.diff(grey, axis=0))
    cells = Image.fromarray(grey).resize((drawing.stitches, drawing.rows), Image.Resampling.BOX)
    return -np.asarray(cells, dtype=np.float64)[::-1]


def likeness(seen: Cover, cells: npt.NDArray[np.uint8]) -> float:
    return float(np.corrcoef(seen.ravel(), cells.astype(np.float64).ravel())[0, 1])


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("shown_side", ["knit", "purl"])
@pytest.mark.parametrize(("technique", "separation"), WAYS_TO_KNIT, ids=lambda value: getattr(value, "name", value))
def test_lettering_reads_the_right_way(
    technique: Technique, separation: str | None, shown_side: str, mirrored: bool
) -> None:
    letter = chart(LETTER_F)
    drawing = mirror(letter) if mirrored else letter
    plan = lettered(technique, separation, drawing, shown_side)
    # a laid-in yarn shows on the purl side only, and there the other way round
    side = "purl" if technique.name == "inlay" else "knit"
    seen = ink_of(draw_fabric(plan, side, GAUGE, stitch_px=STITCH_PX), letter, technique)
    reads_right = (shown_side == side) != mirrored
    as_drawn, as_in_a_mirror = likeness(seen, letter.cells), likeness(seen, letter.cells[:, ::-1])
    right, wrong = (as_drawn, as_in_a_mirror) if reads_right else (as_in_a_mirror, as_drawn)
    assert right > wrong + 0.4
    if technique.colour_work:
        upside_down = letter.cells[::-1] if reads_right else letter.cells[::-1, ::-1]
        assert right > 0.7
        assert right > likeness(seen, upside_down) + 0.15


def commonest_yarns(picture: Image.Image, yarns: list[Yarn], columns: int, rows: int) -> list[str]:
    """For each stitch, the letter of the yarn that covers most of the middle of its cell; top row first."""
    colours = np.array([[int(yarn.colour[at : at + 2], 16) for at in (1, 3, 5)] for yarn in yarns], dtype=np.float64)
    pixels = np.asarray(picture.convert("RGB"), dtype=np.float64)
    bottom, tall = len(pixels) - STITCH_PX, STITCH_PX / GAUGE.row_per_stitch
    lines = []
    for row in range(rows):
        foot = bottom - (row + 1) * tall  # the cast-on row lies below
        line = ""
        for column in range(columns):
            left = STITCH_PX + column * STITCH_PX
            cell = pixels[round(foot - 0.75 * tall) : round(foot - 0.35 * tall), left + 2 : left + STITCH_PX - 2]
            flat = cell.reshape(-1, 3)
            hue = flat / (np.linalg.norm(flat, axis=1, keepdims=True) + 1e-9)
            nearest = (hue @ (colours / np.linalg.norm(colours, axis=1, keepdims=True)).T).argmax(axis=1)
            line += yarns[Counter(nearest.tolist()).most_common(1)[0][0]].name
        lines.append(line)
    return lines[::-1]


def test_every_stitch_of_colour_work_has_its_own_yarn_on_the_knit_side() -> None:
    yarns = [Yarn("r", "#d01818"), Yarn("g", "#18a018"), Yarn("b", "#1830d0")]
    rows = ["..12..", "1122..", "2.1.21", "......", "012012"]
    plan = plan_of("slip-colours", chart(rows, three_colours()), yarns=yarns, separation="paired")
    seen = commonest_yarns(draw_fabric(plan, "knit", GAUGE, stitch_px=STITCH_PX), yarns, 6, 5)
    assert seen == ["".join("rgb"[int(mark.replace(".", "0"))] for mark in row) for row in rows]


def three_colours() -> list[Colour]:
    return [Colour(250, 250, 250), Colour(120, 120, 120), Colour(0, 0, 0)]


FACTS_OF_THE_TRADE = [
    # every other needle, shifted each row, in two colours: one-by-one checks
    ("checks", {}, ["mc", "cm"]),
    ("checks two rows tall", {"row_repeat": 2}, ["mc", "mc", "cm", "cm"]),
    ("stripes one stitch wide", {"reversal": 1}, ["cm"]),
    ("checks, then in opposite phase", {"reversal": 4}, ["mc", "cm"] * 2 + ["cm", "mc"] * 2),
]


@pytest.mark.parametrize(
    ("name", "options", "motif"), FACTS_OF_THE_TRADE, ids=[name for name, _, _ in FACTS_OF_THE_TRADE]
)
def test_every_other_needle_in_two_colours_gives_the_fabric_that_the_trade_knows(
    name: str, options: dict[str, Any], motif: list[str]
) -> None:
    """Common practice, no source. The motif repeats, and may begin at another row or stitch of itself."""
    yarns = [Yarn("m", "#d01818"), Yarn("c", "#1830d0")]
    plan = plan_of("fair-isle", width=8, rows=16, alternate_needles="only", yarns=yarns, **options)
    seen = commonest_yarns(draw_fabric(plan, "knit", GAUGE, stitch_px=STITCH_PX), yarns, 8, 16)
    wanted = [(row * 4)[:8] for row in motif * 16]
    starts = [[row[1:] + row[:1] if odd else row for row in wanted[at : at + 16]] for at in range(8) for odd in (0, 1)]
    assert seen in starts


def test_tuck_loops_show_behind_the_loop_that_holds_them_on_the_side_they_belong_to() -> None:
    """A blue band tucks on its second needle from the left: from the knit side, second from the right."""
    bed = load_profile("standard-200")
    red, blue = Yarn("red", "#d01818"), Yarn("blue", "#1830d0")
    bands = [
        BandRequest("plain", TECHNIQUES["stocking"], Options(rows=4), None, (red,)),
        BandRequest("tuck", TECHNIQUES["tuck"], Options(rows=4), chart(["xxxxxxxx"] + ["x.xxxxxx"] * 3), (blue,)),
    ]
    plan = compile_plan("piece", bed, bed.centred(8), bands)
    picture = draw_fabric(plan, "knit", GAUGE, stitch_px=24)
    tall = 24 / GAUGE.row_per_stitch
    # over the cast-on row and four plain ones, under the next loop
    top, foot = (picture.height - 24 - round((1 + height) * tall) for height in (6.1, 4.6))

    def between_legs(column: int) -> Image.Image:
        return picture.crop((24 + column * 24 + 8, top, 24 + column * 24 + 16, foot))

    assert colour_share(between_legs(6), red=True) > 0  # the waiting loop's legs
    assert colour_share(between_legs(6), red=False) > 0
    assert colour_share(between_legs(1), red=True) == 0


def extent(picture: Image.Image) -> tuple[int, int]:
    """Width and height of what is not ground, in pixels."""
    box = Image.fromarray((np.asarray(picture) != 0).astype(np.uint8) * 255).getbbox()
    assert box is not None
    return box[2] - box[0], box[3] - box[1]


@pytest.mark.parametrize("gauge", [Gauge(30, 39), Gauge(20, 20), Gauge(16, 30)])
def test_a_picture_has_the_proportions_of_the_gauge(gauge: Gauge) -> None:
    plan = plan_of("stocking", width=40, rows=59)
    wide, tall = extent(draw_fabric(plan, "knit", gauge, stitch_px=STITCH_PX))
    width_cm, height_cm = gauge.finished_cm(40, 60)  # the cast-on row is drawn too
    assert wide / tall == pytest.approx(width_cm / height_cm, rel=0.03)


def test_tuck_and_slip_come_out_shorter_than_plain() -> None:
    plain = extent(draw_fabric(plan_of("stocking", width=20, rows=40), "knit", GAUGE))[1]
    for technique in ("tuck", "slip"):
        crossed = plan_of(technique, width=20, rows=40, alternate_needles="only")
        assert extent(draw_fabric(crossed, "knit", GAUGE))[1] < 0.8 * plain


def colour_share(picture: Image.Image, red: bool) -> float:
    pixels = np.asarray(picture.convert("RGB"), dtype=np.int64)
    hit = (pixels[..., 0] > pixels[..., 2] + 60) if red else (pixels[..., 2] > pixels[..., 0] + 60)
    return float(hit.mean())


def test_floats_show_on_the_purl_side_and_not_on_the_knit_side() -> None:
    """A contrast that knits at both ends only: on the knit side two stitches, on the purl side a line between."""
    yarns = (Yarn("main", "#c02020"), Yarn("contrast", "#2030c0"))
    plan = plan_of("fair-isle", chart(["x........x"] * 6), yarns=yarns)
    middle = {}
    for side in ("knit", "purl"):
        picture = draw_fabric(plan, side, GAUGE, stitch_px=STITCH_PX)
        middle[side] = colour_share(picture.crop((4 * STITCH_PX, 0, 8 * STITCH_PX, picture.height)), red=False)
    assert middle["knit"] == 0
    assert middle["purl"] > 0.05


def test_a_held_loop_reaches_over_the_rows_that_it_waits_for() -> None:
    """Two needles in the middle miss four passes: their loops reach as far as four rows beside them."""
    rows = ["xxxxxxxx"] * 3 + ["xxx..xxx"] * 4 + ["xxxxxxxx"] * 3
    plan = plan_of("slip", chart(rows))
    loops = layout(plan)
    held = loops.top[2] - loops.base[2]
    assert held[3] == pytest.approx(1 + 4 * 6 / 8)
    assert held[0] == pytest.approx(1)


def test_the_second_bed_of_a_jacquard_shows_stripes_of_its_colours() -> None:
    yarns = (Yarn("main", "#c02020"), Yarn("contrast", "#2030c0"))
    plan = plan_of("jacquard", chart(["x" * 9 + "."] + ["." * 10] * 7), yarns=yarns, backing="full")
    knit, purl = (draw_fabric(plan, side, GAUGE, stitch_px=STITCH_PX) for side in ("knit", "purl"))
    assert colour_share(knit, red=False) < 0.12  # one row of eight, and edges
    share = colour_share(purl, red=False) / (colour_share(purl, red=False) + colour_share(purl, red=True))
    assert share == pytest.approx(0.5, abs=0.1)


def test_a_laid_in_yarn_lies_on_the_purl_side_where_it_is_selected() -> None:
    yarns = (Yarn("ground", "#c02020"), Yarn("inlay", "#2030c0"))
    rows = ["xxxxx....."] * 6
    plan = plan_of("inlay", chart(rows), yarns=yarns)
    picture = draw_fabric(plan, "purl", GAUGE, stitch_px=STITCH_PX)
    half = picture.width // 2
    over, under = picture.crop((0, 0, half, picture.height)), picture.crop((half, 0, picture.width, picture.height))
    assert colour_share(over, red=False) > 5 * colour_share(under, red=False)


def test_the_line_drawing_has_the_same_stitches_in_the_same_colours() -> None:
    plan = plan_of("fair-isle", chart(LETTER_F))
    root = ET.fromstring(fabric_svg(plan, "knit", GAUGE))
    uses = [item for item in root.iter() if item.tag.endswith("}use")]
    letters = Counter(use.get("color") for use in uses)
    ink = sum(row.count("x") for row in LETTER_F)
    cells = len(LETTER_F) * len(LETTER_F[0])
    assert letters["#000000"] == ink
    assert letters["#ffffff"] == cells - ink + len(LETTER_F[0])  # and the cast-on row


@pytest.mark.parametrize(
    ("passes", "stitch_px", "words"), [(5000, 6, "5000 passes is too tall"), (4000, 64, "pixels is too large")]
)
def test_a_picture_too_large_is_refused_in_one_sentence(passes: int, stitch_px: int, words: str) -> None:
    plan = plan_of("stocking", width=200, rows=passes)
    with pytest.raises(InputError, match=words):
        draw_fabric(plan, "knit", GAUGE, stitch_px=stitch_px)


@pytest.mark.parametrize("side", ["knit", "purl"])
@given(plan=strategies.plans(), data=st.data())
@settings(max_examples=25, deadline=None)
def test_a_part_of_a_picture_is_that_part_of_the_whole_pixel_for_pixel(
    side: str, plan: Plan, data: st.DataObject
) -> None:
    first = data.draw(st.integers(1, plan.passes))
    last = data.draw(st.integers(first, plan.passes))
    whole = draw_fabric(plan, side, GAUGE, stitch_px=6)
    part = draw_fabric(plan, side, GAUGE, stitch_px=6, first=first, last=last)
    assert part.getpalette() == whole.getpalette()
    lines, shown = np.asarray(whole), np.asarray(part)
    places = range(len(lines) - len(shown) + 1)
    assert any(np.array_equal(lines[place : place + len(shown)], shown) for place in places)


def test_passes_271_to_360_are_cut_out_of_the_whole_picture() -> None:
    plan = plan_of("slip", chart(["x.xx", "xx.x", "xxxx"]), rows=500, width=20)
    whole = np.asarray(draw_fabric(plan, "knit", GAUGE, stitch_px=8))
    part = np.asarray(draw_fabric(plan, "knit", GAUGE, stitch_px=8, first=271, last=360))
    below = np.asarray(draw_fabric(plan, "knit", GAUGE, stitch_px=8, first=1, last=270))
    foot = len(whole) - len(below)
    assert np.array_equal(whole[foot - len(part) : foot], part)


@pytest.mark.parametrize("side", ["knit", "purl"])
def test_held_needles_float_in_the_picture_as_missed_ones_do(side: str) -> None:
    held = plan_of("hold", chart(["..xx..x..", "xxx....xx"]), row_repeat=2, shown_side="purl")
    missed = plan_of(
        "slip-one-way", chart(["xx..xx.xx", "...xxxx.."]), row_repeat=2, shown_side="purl", edge_needles="as-chart"
    )
    pictures = [np.asarray(draw_fabric(plan, side, GAUGE, stitch_px=8)) for plan in (held, missed)]
    assert np.array_equal(pictures[0], pictures[1])
