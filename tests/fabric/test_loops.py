"""Known structures give known fabrics (common practice, no source; cross tuck and cross miss are names from memory)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import strategies
from latchline.chart.model import Chart
from latchline.fabric.loops import does, knits, pass_yarns, takes_first, takes_second
from latchline.fabric.structure import floats, laid_in, structure
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.technique.model import Does
from latchline.technique.table import technique_named

BED = load_profile("double-180")
WIDTH = 8


def band(technique: str, *lines: str, yarns: tuple[Yarn, ...] = (), **options: Any) -> BandRequest:
    """A band from a drawing, top line first; without one, its options must do without."""
    cells = np.array([[int(cell) for cell in line] for line in reversed(lines)], np.uint8) if lines else None
    chart = None if cells is None else Chart(cells, strategies.coloured_palette(max(2, int(cells.max()) + 1)))
    return BandRequest(technique, technique_named(technique), Options(**options), chart, yarns)


def piece(*bands: BandRequest, width: int = WIDTH, **given: Any) -> Plan:
    return compile_plan("piece", BED, BED.centred(width), bands, **given)


def shown(plan: Plan) -> list[str]:
    """The yarn of every knitted loop, course by course, as its index; · where none is knitted."""
    yarns, codes = pass_yarns(plan), does(plan)
    first = np.where(knits(codes) & takes_first(codes), yarns.first[:, None], -1)
    both = np.where(takes_second(codes), yarns.second[:, None], first)
    return ["".join("·01234"[int(yarn) + 1] for yarn in row) for row in both]


def test_in_plain_fabric_every_loop_is_drawn_through_by_the_next_pass() -> None:
    loops = structure(piece(band("stocking", rows=5)))
    assert (loops.drawn_by == np.arange(1, 7)[:, None]).all()
    assert not loops.held().any()


def test_one_by_one_checks() -> None:
    assert shown(piece(band("fair-isle", rows=4, alternate_needles="only"))) == ["01010101", "10101010"] * 2


def test_checks_two_rows_tall() -> None:
    plan = piece(band("fair-isle", rows=4, alternate_needles="only", row_repeat=2))
    assert shown(plan) == ["01010101"] * 2 + ["10101010"] * 2


def test_vertical_stripes() -> None:
    assert shown(piece(band("fair-isle", rows=4, alternate_needles="only", reversal=1))) == ["01010101"] * 4


def test_in_cross_tuck_every_stitch_is_drawn_through_one_loop_and_one_tuck() -> None:
    loops = structure(piece(band("tuck", rows=6, alternate_needles="only")))
    for needle in range(1, WIDTH - 1):
        knitted = [number for number in range(3, 7) if loops.codes[number - 1, needle] == Does.KNIT]
        assert [loops.drawn_through(number, needle) for number in knitted] == [
            (number - 2, number - 1) for number in knitted
        ]
    assert (loops.held()[2:4, 1:-1].max(axis=0) == 1).all()


def test_in_cross_miss_every_loop_stretches_over_two_courses_and_each_yarn_floats_past_one_needle() -> None:
    plan = piece(band("slip", rows=6, alternate_needles="only"))
    loops = structure(plan)
    for needle in range(1, WIDTH - 1):
        knitted = [number for number in range(3, 7) if loops.codes[number - 1, needle] == Does.KNIT]
        assert [loops.drawn_through(number, needle) for number in knitted] == [(number - 2,) for number in knitted]
    assert set(floats(plan).needles().tolist()) == {1}
    assert floats(plan).side == "purl"


def test_the_end_needles_knit_in_every_pass_of_tuck_and_slip() -> None:
    for technique in ("tuck", "slip"):
        loops = structure(piece(band(technique, rows=6, alternate_needles="only")))
        assert (loops.codes[:, [0, -1]] == Does.KNIT).all()


def test_a_float_spans_one_pitch_more_than_the_needles_that_it_passes() -> None:
    """(n + 1) × pitch: past five needles at 4.5 mm 27 mm (computed)."""
    bed = load_profile("standard-200")
    plan = compile_plan("piece", bed, bed.centred(7), [band("fair-isle", "1000001")])
    (long,) = floats(plan, longer_than=1).span_mm(bed.pitch_mm)
    assert long == pytest.approx(27.0)


def test_a_float_follows_the_carriage() -> None:
    """The carriage starts at the right: leftward first, then rightward."""
    found = floats(piece(band("fair-isle", "1001", "1001"), width=4), longer_than=1)
    ends = zip(found.pass_from, found.needle_from, found.needle_to, strict=True)
    assert sorted(ends) == [(1, 3, 0), (2, 0, 3)]


def test_a_yarn_left_far_from_the_end_floats_over_the_turn() -> None:
    plan = piece(band("slip", "00000011", "11000000", edge_needles="as-chart", shown_side="purl"))
    found = floats(plan)
    turns = [
        (int(a), int(b), int(x), int(y))
        for a, b, x, y in zip(found.pass_from, found.pass_to, found.needle_from, found.needle_to, strict=True)
    ]
    assert turns == [(1, 2, 0, 6)]  # leftward over needles 1 and 0, then rightward from needle 6


def test_nothing_floats_where_the_second_bed_ties_it_in() -> None:
    assert len(floats(piece(band("jacquard", "11100000", "00000111")))) == 0


def test_a_laid_in_yarn_goes_over_selected_needles_and_under_the_others_while_the_ground_knits() -> None:
    plan = piece(band("inlay", "10110010"))
    over, under = laid_in(plan)
    assert over[0].astype(int).tolist() == [1, 0, 1, 1, 0, 0, 1, 0]
    assert (over ^ under).all()
    assert not structure(plan).held().any()


def test_held_needles_keep_their_loops_in_one_direction_and_knit_on_the_way_back() -> None:
    plan = piece(band("hold", "11110000", rows=2, one_way="leftward"))
    codes = does(plan)
    assert codes[0].tolist() == [Does.HELD] * 4 + [Does.KNIT] * 4
    assert (codes[1] == Does.KNIT).all()
    assert structure(plan).held()[0].tolist() == [1] * 4 + [0] * 4


def test_each_pass_names_its_yarns_whatever_the_band_calls_them() -> None:
    sand, navy, red = Yarn("sand"), Yarn("navy"), Yarn("red")
    plan = piece(
        band("fair-isle", "01010101", yarns=(sand, navy), rows=2),
        band("stocking", yarns=(navy,), rows=1),
        band("slip-colours", "01201201", yarns=(navy, sand, red), rows=1, changer="hand"),
    )
    yarns = pass_yarns(plan)
    assert yarns.yarns == (sand, navy, red)
    assert yarns.first.tolist() == [0, 0, 1, 1, 1, 0, 0, 2, 2]
    assert yarns.second.tolist() == [1, 1, -1, -1, -1, -1, -1, -1, -1]


@pytest.mark.parametrize(("first", "last"), [(1, 3), (2, 2), (4, None), (1, None)])
def test_a_part_of_the_passes_is_that_part_of_all(first: int, last: int | None) -> None:
    plan = piece(band("tuck-one-way", "01100101", "10010110", rows=4), band("slip", "00110011", rows=3))
    assert (does(plan, first, last) == does(plan)[first - 1 : last]).all()
