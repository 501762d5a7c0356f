"""What is done by hand on the working chart."""

from __future__ import annotations

from fabric.charts_by_hand import GAUGE
from hypothesis import given, settings

from latchline.drawing.scene import Words
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import AllNeedles, ByHand, ShortRows
from latchline.technique.table import STOCKING
from latchline.working_chart.lines import chart_lines
from latchline.working_chart.page import chart_pages, chart_scene
from strategies import shaped_plans


def test_a_plain_stretch_is_folded_up_to_the_next_hand_step() -> None:
    bed = load_profile("standard-200")
    works = (ByHand(7, "move", 4, 4, -1), ByHand(9, "cross", 6, 9, 2), AllNeedles(None, "bind-off"))
    plan = compile_plan("p", bed, bed.centred(20), [BandRequest("b", STOCKING, Options(rows=20), works=works)])
    lines = [(line.first, line.last) for line in chart_lines(plan, 1, 20)]
    assert lines == [(1, 6), (7, 7), (8, 8), (9, 9), (10, 20)]
    words = [item.text for item in chart_scene(plan, GAUGE).items if isinstance(item, Words)]
    assert words.count("x") == 4
    assert words.count("<") == 1
    assert any(text.startswith("after the last pass: bind off the loops of L10-R10") for text in words)


def test_held_needles_are_grey_with_a_bar() -> None:
    bed = load_profile("standard-200")
    works = (ShortRows((4,), side="left", release="later"),)
    plan = compile_plan("p", bed, bed.centred(12), [BandRequest("b", STOCKING, Options(rows=3), works=works)])
    assert "grey: out of work; grey with a bar: held" in [
        item.text for item in chart_scene(plan, GAUGE).items if isinstance(item, Words)
    ]


@given(shaped_plans())
@settings(max_examples=15)
def test_any_shaped_piece_has_a_working_chart(plan: Plan) -> None:
    assert list(chart_pages(plan, GAUGE))
