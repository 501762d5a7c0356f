"""Gauge, counts and yarn against published worked examples; each source stands beside its check."""

from __future__ import annotations

import math

import pytest

from latchline.fabric.yarn_class import WEIGHT_CLASSES, weight_class
from latchline.fabric.yarn_need import Margin, yarn_need
from latchline.machine.profile import load_profile
from latchline.piece.yarn_count import NE_TEX, NM_TEX, WORSTED_TEX, tex_of
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.shaping.gauge import (
    DRY_RELAXED,
    FULLY_RELAXED,
    WET_RELAXED,
    Gauge,
    Relaxed,
    areal_weight_g_m2,
    estimate_gauge,
    gauge_from_swatch,
    loop_length_from_gauge,
    tightness,
)
from latchline.technique.table import STOCKING

pytestmark = pytest.mark.external


def plain(rows: int, yarn: Yarn) -> Plan:
    profile = load_profile("standard-200")
    request = BandRequest("plain", STOCKING, Options(rows=rows), None, (yarn,))
    return compile_plan("plain", profile, profile.centred(200), [request])


@pytest.mark.parametrize(
    ("state", "courses", "wales", "loops"),
    [
        # Munden, Journal of the Textile Institute 50 (1959) T448; from memory
        (DRY_RELAXED, 5.0, 3.8, 19.0),
        (WET_RELAXED, 5.3, 4.1, 21.6),
        # Knapton et al., Textile Research Journal 38 (1968); Ks from memory
        (FULLY_RELAXED, 5.5, 4.2, 23.1),
    ],
)
def test_the_constants_of_plain_fabric_are_the_published_ones(
    state: Relaxed, courses: float, wales: float, loops: float
) -> None:
    assert (state.courses, state.wales, state.loops) == (courses, wales, loops)
    assert state.courses * state.wales == pytest.approx(state.loops, rel=0.01)


def test_loops_to_a_square_centimetre_as_in_an_examination() -> None:
    # GATE 2015 Textile Engineering, question 54: Kc 5.5, Kw 4.2, l 0.5 cm; stated as 92
    gauge = estimate_gauge(5.0)
    assert gauge.stitches / 10 * gauge.rows / 10 == pytest.approx(92.4)


@pytest.mark.parametrize(
    ("text", "tex", "source"),
    [
        ("180 denier", 20, "GATE 1992, question 2"),
        ("Nm 50", 20, "GATE 1992, question 2"),
        ("Ne 29.525", 20, "GATE 1992, question 2"),
        ("Nm 30/2", 66.7, "count conversion table"),
        ("2/24 worsted", 73.8, "count conversion table"),
    ],
)
def test_counts_convert_as_in_published_tables(text: str, tex: float, source: str) -> None:
    assert tex_of(text) == pytest.approx(tex, rel=1e-3), source


def test_count_constants_follow_from_yard_and_pound() -> None:
    # Computed: 840 and 560 yards to the hank, yard of 0.9144 m and pound of 453.59237 g by definition
    assert pytest.approx(590.541, abs=0.001) == NE_TEX
    assert pytest.approx(885.812, abs=0.001) == WORSTED_TEX
    assert NM_TEX == 1000


def test_a_swatch_gives_the_gauge_of_the_worked_example() -> None:
    # The convention of swatches (stitches and rows to 10 cm); the millimetres are computed
    gauge = gauge_from_swatch(40, 60, 133.3, 153.8)
    assert gauge.stitches == pytest.approx(30, rel=1e-3)
    assert gauge.rows == pytest.approx(39, rel=1e-3)
    assert gauge.row_per_stitch == pytest.approx(1.30, abs=0.005)
    assert not gauge.estimated


@pytest.mark.parametrize(
    ("counted", "measured_cm", "width_cm", "needles"),
    [
        # five public pages on gauge, read; the scarf's and the last two counts computed
        ((16, 20), (4 * 2.54, 4 * 2.54), 30 * 2.54, 120),
        ((4.5, 6), (2.54, 2.54), 8 * 2.54, 36),
        ((32, 40), (14, 12), 58, 133),
        ((28, 40), (10, 10), 26, 73),
        ((5.5, 7), (2.54, 2.54), 9 * 2.54, 50),
        ((5.5, 7), (2.54, 2.54), 13 * 2.54, 72),
    ],
)
def test_widths_come_to_the_needles_of_the_published_examples(
    counted: tuple[float, float], measured_cm: tuple[float, float], width_cm: float, needles: int
) -> None:
    gauge = gauge_from_swatch(*counted, measured_cm[0] * 10, measured_cm[1] * 10)
    exact = width_cm * gauge.stitches / 10
    assert abs(exact - needles) <= 0.5 + 1e-9
    if abs(exact % 1 - 0.5) > 1e-6:  # a half may go either way
        assert gauge.needles_for(width_cm) == needles


def test_rows_are_counted_over_the_height_of_the_swatch_and_not_over_its_width() -> None:
    # A public page, read: 32 stitches and 40 rows in 14 × 12 cm are 3.33 rows to the centimetre; it prints 1.7
    gauge = gauge_from_swatch(32, 40, 140, 120)
    assert gauge.rows / 10 == pytest.approx(40 / 12)
    assert gauge.rows / 10 != pytest.approx(1.7, rel=0.2)
    assert gauge.rows_for(10) == 33
    # the same for lengths: 40 rows to 10 cm, 49 cm long, and 6 rows to the inch, 45 in long
    assert gauge_from_swatch(28, 40, 100, 100).rows_for(49) == 196
    assert gauge_from_swatch(4.5, 6, 25.4, 25.4).rows_for(45 * 2.54) == 270


def test_weight_of_a_square_metre() -> None:
    # Inputs of a published example (18 wales and 21 courses to the inch, 3.4 mm, Ne 20); the answer computed
    weight = areal_weight_g_m2(18 / 2.54, 21 / 2.54, 3.4, tex_of("Ne 20"))
    assert weight == pytest.approx(58.8, rel=2e-3)


def test_a_fine_fabric_by_loop_length() -> None:
    # Computed from the constants of Knapton et al. (1968): l 0.30 cm, 25 tex, fully relaxed
    gauge = estimate_gauge(3.0)
    assert gauge.rows / 10 == pytest.approx(18.33, abs=0.005)
    assert gauge.stitches / 10 == pytest.approx(14.00, abs=0.005)
    assert gauge.rows * gauge.stitches / 100 == pytest.approx(256.7, abs=0.05)
    assert areal_weight_g_m2(gauge.stitches / 10, gauge.rows / 10, 3.0, 25) == pytest.approx(192.5, abs=0.05)
    assert tightness(25, 3.0) == pytest.approx(1.667, abs=0.001)


def test_a_whole_piece_by_loop_length() -> None:
    # Computed: l 1.30 cm, 230 tex, 200 stitches × 300 rows, fully relaxed
    yarn = Yarn("wool", tex=230.0, loop_length_mm=13.0)
    gauge = estimate_gauge(13.0)
    assert gauge.finished_cm(200, 300) == pytest.approx((61.9, 70.9), abs=0.05)
    total = yarn_need(plain(300, yarn), margin=Margin(0, 0, 0, 0)).totals[0]
    assert total.metres == pytest.approx(780)
    assert total.grams == pytest.approx(179.4)
    width_cm, height_cm = gauge.finished_cm(200, 300)
    assert total.grams == pytest.approx(408.7 * width_cm * height_cm / 10_000, rel=1e-3)


def test_output_of_a_circular_machine_by_the_same_rule() -> None:
    # A textile examination question: 26 in, 20 needles/in, 120 feeders, 30 rpm, 30 tex, 3 mm: 31.8 kg/h.
    # Loops an hour by hand; metres and grams by the rule under test, on a stretch of plain fabric.
    loops_an_hour = math.pi * 26 * 20 * 120 * 30 * 60
    total = yarn_need(plain(300, Yarn("cotton", tex=30.0, loop_length_mm=3.0)), margin=Margin(0, 0, 0, 0)).totals[0]
    assert total.grams is not None
    assert total.grams / (200 * 300) * loops_an_hour / 1000 == pytest.approx(31.8, abs=0.05)


def test_a_swatch_tells_the_loop_length_that_would_have_given_it() -> None:
    # loops/cm² = Ks / l², Ks 23.1 (memory): 92.4 loops/cm² need 5.0 mm (GATE 2015, question 54, read backwards)
    assert loop_length_from_gauge(Gauge(84, 110)) == pytest.approx(5.0, rel=1e-3)


@pytest.mark.parametrize(
    ("number", "name", "most", "fewest"),
    [
        # Craft Yarn Council, Standard Yarn Weight System, stockinette stitches to 4 inches.
        # Source: Craft Yarn Council's www.YarnStandards.com
        (0, "lace", 40, 33),
        (1, "super fine", 32, 27),
        (2, "fine", 26, 23),
        (3, "light", 24, 21),
        (4, "medium", 20, 16),
        (5, "bulky", 15, 12),
        (6, "super bulky", 11, 7),
        (7, "jumbo", 6, 1),
    ],
)
def test_yarn_weights_are_those_of_the_standard(number: int, name: str, most: int, fewest: int) -> None:
    found = WEIGHT_CLASSES[number]
    assert (found.number, found.name, found.most, found.fewest) == (number, name, most, fewest)
    middle = (most + fewest) / 2 if number not in (2, 3) else {2: 25.5, 3: 21.5}[number]
    assert weight_class(Gauge(middle / 10.16 * 10, 40)).number == number
