"""What is done by hand on the working chart."""

from __future__ import annotations

import pytest
from fabric.charts_by_hand import GAUGE
from hypothesis import given, settings

from latchline.drawing.scene import Shape, Words
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import AllNeedles, ByHand, ShortRows
from latchline.technique.table import STOCKING, TECHNIQUES
from latchline.working_chart.lines import Line, chart_lines, turns
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


def test_each_line_marks_where_the_carriage_may_turn_if_that_is_within_the_piece() -> None:
    bed = load_profile("standard-200")
    works = (ShortRows((10, 10, 10), side="left", release="later"),)
    plan = compile_plan("p", bed, bed.centred(60), [BandRequest("b", STOCKING, Options(rows=8), works=works)])
    clear = bed.turn_clearance_needles
    marked = {number: turns(plan, Line(number, number)) for number in range(1, 9)}
    assert marked[2] == {"right": 59 + clear}  # past the piece: there no mark is drawn
    assert [marked[number]["left"] for number in (1, 3, 5, 7)] == [10 - clear, 20 - clear, 30 - clear, 30 - clear]
    items = chart_scene(plan, GAUGE).items
    assert any("triangle on its point" in item.text for item in items if isinstance(item, Words))
    halos = [item for item in items if isinstance(item, Shape) and len(item.points) == 3 and item.fill == "#ffffff"]
    assert len(halos) == 3  # passes 3, 5 and 7, where the turn is among the needles of the piece
    straight = compile_plan("p", bed, bed.centred(60), [BandRequest("b", STOCKING, Options(rows=8))])
    assert turns(straight, Line(1, 8)) == {}


def test_needles_that_rest_have_no_mark_of_missing_and_two_steps_on_a_needle_both_have_their_letter() -> None:
    bed = load_profile("standard-200")
    works = (ByHand(1, "bind-off", 0, 3), ByHand(2, "move", 6, 6, 1), ByHand(2, "pick-up", 6, 6))
    options = Options(rows=2, alternate_needles="only", edge_needles="as-chart")
    plan = compile_plan("p", bed, bed.centred(12), [BandRequest("b", TECHNIQUES["slip"], options, works=works)])
    scene = chart_scene(plan, GAUGE)
    words = [item.text for item in scene.items if isinstance(item, Words)]
    assert {">", "p"} <= set(words)
    bars = [item for item in scene.items if isinstance(item, Shape) and item.line_mm == 0.4 and not item.closed]
    assert len(bars) == 8 + 1  # half of the eight needles that are in work, in two passes, and the legend's


def extent(shape: Shape) -> tuple[float, float, float, float]:
    x, y = zip(*shape.points, strict=True)
    return min(x), max(x), min(y), max(y)


def is_mark(item: Shape) -> bool:
    """A bar, an arch or a square."""
    if item.closed:
        return item.fill == "#000000" and item.stroke is None and len(item.points) == 4
    return item.line_mm in (0.32, 0.4, 0.5)


@pytest.mark.parametrize("rows", [4, 80])
@pytest.mark.parametrize("technique", ["slip", "tuck", "fair-isle"])
def test_a_letter_covers_no_mark(technique: str, rows: int) -> None:
    """In the closer print of many lines, too; of a held needle the bar is the mark."""
    bed = load_profile("standard-200")
    options = Options(rows=rows, alternate_needles="only", edge_needles="as-chart")

    def shapes(*steps: ByHand) -> list[list[Shape]]:
        request = BandRequest("b", TECHNIQUES[technique], options, works=(ByHand(2, "hold", 0, 1), *steps))
        plan = compile_plan("p", bed, bed.centred(12), [request])
        scenes = (chart_scene(plan, GAUGE), next(chart_pages(plan, GAUGE)))
        return [[item for item in scene.items if isinstance(item, Shape)] for scene in scenes]

    bare, written = shapes(), shapes(ByHand(2, "marker", 4, 9), ByHand(3, "marker", 0, 9), ByHand(3, "weight", 4, 9))
    for without, drawn in zip(bare, written, strict=True):
        marks = [extent(item) for item in drawn if is_mark(item)]
        assert len(marks) == sum(map(is_mark, without))
        under = [extent(item) for item in drawn if item.fill == "#ffffff" and item.stroke is None]
        assert len(under) == 2 + 6 + 10  # a letter's white ground
        for left, right, top, bottom in under:
            assert not [at for at in marks if at[0] < right and left < at[1] and at[2] < bottom and top < at[3]]


@given(shaped_plans())
@settings(max_examples=15)
def test_any_shaped_piece_has_a_working_chart(plan: Plan) -> None:
    assert list(chart_pages(plan, GAUGE))
