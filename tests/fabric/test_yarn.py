"""How much yarn a plan takes, against counting needle by needle."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest
from fabric.charts_by_hand import chart, plan_of
from hypothesis import given, settings
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart, Colour
from latchline.fabric.structure import floats
from latchline.fabric.yarn_need import TUCK_PER_KNIT, Margin, loop_length_of, yarn_need
from latchline.machine.profile import load_profile
from latchline.piece.measure import Swatch, gauge_of
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.shaping.gauge import Gauge
from latchline.technique.table import technique_named

NOTHING = Margin(0, 0, 0, 0)
MAIN, CONTRAST = Yarn("main", tex=200.0, loop_length_mm=10.0), Yarn("contrast", tex=100.0, loop_length_mm=12.0)
PITCH_MM = 4.5


def counted(plan: Plan) -> dict[str, tuple[int, int, int]]:
    """Knit loops, tuck loops and needles passed of each yarn, one needle after another."""
    found: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    left: dict[tuple[str, int], int] = {}
    for number in range(1, plan.passes + 1):
        band, yarns = plan.band_of(number), plan.yarns_of(number)
        mask = plan.acting_masks(number, number)[0]
        cams = band.technique.cams_for(plan.direction(number), band.way)
        acts = [(cams.selected if selected else cams.unselected).name for selected in mask]
        for place, yarn in enumerate(yarns):
            knit_by = {0: ("KNIT", "LAID_OVER", "LAID_UNDER"), 1: ("KNIT_CONTRAST",)}[place]
            made = [needle for needle, act in enumerate(acts) if act in knit_by or (place == 0 and act == "TUCK")]
            tucks = [needle for needle in made if acts[needle] == "TUCK"]
            laid = sum(act.startswith("LAID") for act in acts) if place == 1 else 0
            passed = made[-1] - made[0] + 1 - len(made) if made else 0
            if made:
                ends = (made[0], made[-1]) if plan.direction(number) == "rightward" else (made[-1], made[0])
                passed += max(abs(left.get((yarn.name, place), ends[0]) - ends[0]) - 1, 0)
                left[yarn.name, place] = ends[1]
            for at, more in enumerate((len(made) - len(tucks), len(tucks), passed + laid)):
                found[yarn.name][at] += more
    return {name: (knit, tuck, passed) for name, (knit, tuck, passed) in found.items()}


@pytest.mark.parametrize("technique", ["tuck", "tuck-one-way", "slip", "slip-one-way", "fair-isle", "inlay", "hold"])
@given(drawing=strategies.two_colour_charts(), reversal=st.sampled_from([0, -1, 2]))
@settings(max_examples=25)
def test_loops_and_floats_of_every_yarn_are_counted(technique: str, drawing: Chart, reversal: int) -> None:
    two = Chart(np.minimum(drawing.cells, 1), (Colour(255, 255, 255), Colour(0, 0, 0)))
    plan = plan_of(technique, two, yarns=(MAIN, CONTRAST), reversal=reversal)
    need = yarn_need(plan, margin=NOTHING)
    wanted = counted(plan)
    for total in need.totals:
        uses = [use for use in need.by_band if use.yarn == total.yarn]
        knit, tuck, passed = wanted[total.yarn.name]
        assert sum(use.knit_loops for use in uses) == knit
        assert sum(use.tuck_loops for use in uses) == tuck
        assert sum(use.passed_needles for use in uses) == passed
        length = total.yarn.loop_length_mm or 0
        metres = ((knit + TUCK_PER_KNIT * tuck) * length + passed * PITCH_MM) / 1000
        assert total.metres == pytest.approx(metres)


def test_a_float_takes_one_pitch_for_each_needle_that_it_passes() -> None:
    """x...x: the contrast knits 2 stitches and passes 3 needles; the main knits the 3 between."""
    plan = plan_of("fair-isle", chart(["x...x"]), yarns=(MAIN, CONTRAST))
    main, contrast = yarn_need(plan, margin=NOTHING).totals
    assert main.metres == pytest.approx(3 * 0.010)
    assert contrast.metres == pytest.approx(2 * 0.012 + 3 * 0.0045)
    assert contrast.grams == pytest.approx(contrast.metres * 0.1)


def test_yarn_that_lies_over_a_turn_and_an_empty_way_back_is_counted() -> None:
    """Two rows: the contrast leaves its last stitch at the right, and is taken again six needles to the left."""
    rows = ["xx......", "......xx"]
    plan = plan_of(
        "slip-colours",
        chart(rows),
        yarns=(MAIN, CONTRAST),
        separation="blank-return",
        shown_side="purl",
        changer="left",
    )
    contrast = next(use for use in yarn_need(plan, margin=NOTHING).by_band if use.yarn == CONTRAST)
    assert (contrast.knit_loops, contrast.passed_needles) == (4, 6)


@given(plan=strategies.plans())
def test_needles_passed_are_those_of_all_floats_of_a_single_bed(plan: Plan) -> None:
    """Each float as the external test of floats follows it, needle by needle; laid-in yarn lies along every needle."""
    band = plan.bands[0]
    if len(plan.bands) > 1 or band.technique.double_bed:
        return
    laid = plan.passes * plan.span.width if band.technique.name == "inlay" else 0
    passed = sum(use.passed_needles for use in yarn_need(plan, margin=NOTHING).by_band)
    assert passed == int(np.maximum(floats(plan).needles(), 0).sum()) + laid


@pytest.mark.parametrize(("backing", "back_loops"), [("full", 10), ("alternate", 5)])
def test_a_jacquard_takes_yarn_for_the_second_bed_too(backing: str, back_loops: int) -> None:
    plan = plan_of("jacquard", chart(["xx........"]), yarns=(MAIN, CONTRAST), backing=backing, separation="paired")
    uses = {use.yarn.name: use for use in yarn_need(plan, margin=NOTHING).by_band}
    assert uses["main"].knit_loops == 8 + back_loops
    assert uses["contrast"].knit_loops == 2 + back_loops


def test_bands_add_up_to_the_whole_and_the_margin_is_on_top() -> None:
    bed = load_profile("standard-200")
    bands = [
        BandRequest("hem", technique_named("stocking"), Options(rows=8), None, (MAIN,)),
        BandRequest("waves", technique_named("fair-isle"), Options(), chart(["x.x.", ".x.x"]), (MAIN, CONTRAST)),
        BandRequest("hem", technique_named("stocking"), Options(rows=3), None, (CONTRAST,)),
    ]
    need = yarn_need(compile_plan("piece", bed, bed.centred(20), bands))
    assert [use.band for use in need.by_band] == ["hem", "waves", "waves", "hem"]
    for total in need.totals:
        assert total.metres == pytest.approx(sum(use.metres for use in need.by_band if use.yarn == total.yarn))
    main, contrast = need.totals
    swatch_m = 40 * 60 * 0.010
    assert main.metres_with_margin == pytest.approx((main.metres + 6 * 20 * 0.010 + swatch_m) * 1.05)
    assert contrast.metres_with_margin == pytest.approx((contrast.metres + 40 * 60 * 0.012) * 1.05)


def test_without_a_count_metres_are_told_and_grams_are_not() -> None:
    total = yarn_need(plan_of("stocking", width=10, rows=10, yarns=(Yarn("wool", loop_length_mm=10.0),))).totals[0]
    assert total.metres == pytest.approx(1.0)
    assert total.grams is None
    assert total.grams_with_margin is None


def test_the_best_known_figure_is_used_and_says_where_it_comes_from() -> None:
    bed = load_profile("standard-200")
    swatch = Swatch(40, 60, 133.3, 153.8)
    given_length, given_count, bare = Yarn("a", loop_length_mm=11.0, tex=200.0), Yarn("b", tex=200.0), Yarn("c")
    assert loop_length_of(bed, given_length, swatch).source == "as given"
    assert loop_length_of(bed, given_count, swatch).source == "from the swatch"
    assert loop_length_of(bed, given_count, None).source == "from the count"
    assert loop_length_of(bed, bare, None).source == "from the needle pitch"
    assert [loop_length_of(bed, yarn, None).estimated for yarn in (given_length, given_count, bare)] == [
        *(False, True, True),
    ]
    measured = gauge_of(bed, [given_length], swatch)
    assert (round(measured.stitches), round(measured.rows), measured.estimated) == (30, 39, False)
    assert gauge_of(bed, [bare, given_length], None) == Gauge(420 / 11, 550 / 11, estimated=True)
    assert gauge_of(bed, [bare, given_count], None).estimated
    assert gauge_of(bed, [bare], None).estimated
