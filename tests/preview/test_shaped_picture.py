"""Pictures of pieces that are shaped, with eyelets, cables and short rows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings

from latchline.fabric.layout import column_heights, courses_of, layout
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import AtRate, ByHand, ShortRows, Work
from latchline.preview.picture import draw_fabric, fabric_svg
from latchline.shaping.gauge import Gauge
from latchline.technique.table import STOCKING
from strategies import shaped_plans

GAUGE = Gauge(28, 40)
PX = 8


def plan_of(*works: Work, rows: int = 20, width: int = 20) -> Plan:
    profile = load_profile("standard-200")
    request = BandRequest("band", STOCKING, Options(rows=rows), works=works)
    return compile_plan("shaped", profile, profile.centred(width), [request])


def ground(plan: Plan, side: str) -> np.ndarray:
    """Where the picture shows no yarn, without its margin, needle 0 at the left."""
    pixels: np.ndarray = np.asarray(draw_fabric(plan, side, GAUGE, stitch_px=PX))[PX:-PX, PX:-PX] == 0
    return pixels[:, ::-1] if side == "knit" else pixels


@pytest.mark.parametrize("side", ["knit", "purl"])
def test_nothing_is_drawn_where_a_needle_is_out_of_work(side: str) -> None:
    shown = ground(plan_of(AtRate("left", -1, 2, 8)), side)
    assert shown[: len(shown) // 8, : 7 * PX].all()
    assert not shown[-len(shown) // 8 :, : 8 * PX].all()


@pytest.mark.parametrize("side", ["knit", "purl"])
def test_an_emptied_needle_makes_a_hole(side: str) -> None:
    plain, holed = (ground(plan, side) for plan in (plan_of(), plan_of(ByHand(10, "move", 10, 10, 1))))
    there = slice(10 * PX, 11 * PX)
    assert np.count_nonzero(holed[:, there]) > np.count_nonzero(plain[:, there])


def test_a_crossed_loop_leans_to_the_needle_on_which_it_is_knitted() -> None:
    loops = layout(plan_of(ByHand(10, "cross", 8, 11, 2)))
    assert loops.lean is not None
    assert loops.lean[8, 8:12].tolist() == [2, 2, -2, -2]
    assert not loops.lean[9:].any()


def test_held_needles_stay_behind_by_the_rows_that_they_miss() -> None:
    plan = plan_of(ShortRows((5, 5), side="left", release="later"), rows=12)
    assert column_heights(plan)[[0, 5, 19]].tolist() == [0.0, 2.0, 12.0]
    assert courses_of(plan) == 12.0


@given(shaped_plans())
@settings(max_examples=25)
def test_any_shaped_piece_can_be_drawn_from_both_sides(plan: Plan) -> None:
    for side in ("knit", "purl"):
        assert draw_fabric(plan, side, GAUGE, stitch_px=4).width == (plan.span.width + 2) * 4
        assert fabric_svg(plan, side, GAUGE).endswith("</svg>\n")
