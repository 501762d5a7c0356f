"""Compiling charts: rows, mirroring, directions, masks, fingerprints."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart, Colour
from latchline.chart.transform import mirror
from latchline.errors import ChartError, InputError
from latchline.machine.needles import Span
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import Options
from latchline.technique.table import technique_named

BED = load_profile("standard-200")
TWO = (Colour(255, 255, 255), Colour(0, 0, 0))


def chart_of(*lines: str) -> Chart:
    """A chart from lines of 0 and 1, top line first."""
    return Chart(np.array([[int(c) for c in line] for line in reversed(lines)], dtype=np.uint8), TWO, "test")


def compiled(chart: Chart | None, technique: str = "fair-isle", span: Span | None = None, **options: object) -> Plan:
    width = chart.stitches if chart is not None else 8
    band = BandRequest("band", technique_named(technique), Options(**options), chart)  # type: ignore[arg-type]
    return compile_plan("piece", BED, span or BED.centred(width), [band])


def selected(plan: Plan) -> list[str]:
    return ["".join("01"[int(bit)] for bit in row) for row in plan.acting_masks()]


CHART = chart_of("0011", "0101", "1000")


def test_the_bottom_row_of_the_drawing_is_knitted_first() -> None:
    assert selected(compiled(CHART, shown_side="purl")) == ["1000", "0101", "0011"]


def test_a_drawing_of_the_knit_side_is_mirrored_onto_needles() -> None:
    assert selected(compiled(CHART)) == ["0001", "1010", "1100"]


def test_rows_beyond_the_chart_begin_it_again() -> None:
    plan = compiled(CHART, shown_side="purl", rows=7)
    assert plan.chart_row.tolist() == [1, 2, 3, 1, 2, 3, 1]


def test_a_row_repeat_knits_each_chart_row_that_often() -> None:
    plan = compiled(CHART, row_repeat=2)
    assert plan.passes == 6
    assert plan.chart_row.tolist() == [1, 1, 2, 2, 3, 3]


def test_a_ground_behind_the_chart_selects_every_other_needle_where_the_chart_does_not() -> None:
    blank = chart_of("0000", "0000")
    assert selected(compiled(blank, alternate_needles="background")) == ["0101", "1010"]
    assert selected(compiled(CHART, alternate_needles="within", shown_side="purl")) == ["0000", "0000", "0001"]


def test_a_narrow_chart_repeats_across_the_span_and_a_shift_moves_it() -> None:
    chart = chart_of("100")
    span = BED.centred(8)
    assert selected(compiled(chart, span=span, shown_side="purl")) == ["10010010"]
    assert selected(compiled(chart, span=span, shown_side="purl", shift=1)) == ["01001001"]


def test_a_chart_placed_once_has_background_around_it() -> None:
    span = BED.centred(8)
    plan = compiled(chart_of("11"), span=span, once_at=span.first + 2)
    assert selected(plan) == ["00110000"]


@pytest.mark.parametrize(
    ("technique", "masks"),
    [("tuck", ["11001011", "11010011"]), ("slip", ["11001011", "11010011"]), ("fair-isle", ["00001000", "00010000"])],
)
def test_around_a_chart_placed_once_needles_knit_and_it_is_mirrored_in_its_place(
    technique: str, masks: list[str]
) -> None:
    """Else the needles beside the motif tuck, or miss, for ever."""
    span = BED.centred(8)
    options = {"shown_side": "purl", "once_at": span.first + 2, "mirror_rows": True, "rows": 2}
    assert selected(compiled(chart_of("0010"), technique, span=span, **options)) == masks


def test_exchanged_stitches_of_a_motif_leave_the_needles_around_it_alone() -> None:
    span = BED.centred(6)
    plan = compiled(chart_of("01"), span=span, shown_side="purl", once_at=span.first + 2, reversal=-1)
    assert selected(plan) == ["001000"]


def test_a_chart_placed_once_is_not_shifted() -> None:
    with pytest.raises(InputError, match="leave shift out"):
        compiled(chart_of("01"), span=BED.centred(6), once_at=BED.centred(6).first + 2, shift=1)


def test_a_chart_wider_than_the_bed_is_refused() -> None:
    with pytest.raises(InputError, match="201 stitches do not fit on 200 needles"):
        compiled(Chart(np.zeros((1, 201), dtype=np.uint8), TWO))


def test_more_colours_than_the_technique_can_knit_are_refused_with_a_way_out() -> None:
    three = Chart(np.array([[0, 1, 2]], dtype=np.uint8), (*TWO, Colour(255, 0, 0)))
    with pytest.raises(ChartError, match="reduce them with colours = 2"):
        compiled(three)


def test_the_carriage_starts_at_the_right_unless_told_otherwise() -> None:
    assert compiled(CHART).direction(1) == "leftward"
    assert compiled(CHART, start="left").direction(1) == "rightward"


def test_directions_go_on_alternating_from_band_to_band() -> None:
    band = BandRequest("a", technique_named("fair-isle"), Options(), CHART)
    plan = compile_plan("piece", BED, BED.centred(4), [band, band])
    assert [plan.direction(k)[0] for k in range(1, 7)] == ["l", "r", "l", "r", "l", "r"]
    assert [(b.first, b.last) for b in plan.bands] == [(1, 3), (4, 6)]
    with pytest.raises(InputError, match="will stand at the left, not at the right"):
        compile_plan("piece", BED, BED.centred(4), [band, replace(band, options=Options(start="right"))])


@given(strategies.charts(), st.sampled_from(["fair-isle", "tuck", "slip"]), st.booleans())
def test_mirroring_the_drawing_is_the_same_as_showing_the_other_side(chart: Chart, technique: str, edges: bool) -> None:
    chart = Chart(np.minimum(chart.cells, 1), TWO)
    edge = "knit" if edges else "as-chart"
    one = compiled(chart, technique, shown_side="knit", edge_needles=edge)
    other = compiled(mirror(chart), technique, shown_side="purl", edge_needles=edge)
    assert selected(one) == selected(other)


@given(strategies.charts(), st.integers(1, 4))
def test_reversal_on_is_the_complement_and_twice_is_nothing(chart: Chart, repeat: int) -> None:
    chart = Chart(np.minimum(chart.cells, 1), TWO)
    plain = compiled(chart, row_repeat=repeat).acting_masks()
    assert (compiled(chart, row_repeat=repeat, reversal=-1).acting_masks() == ~plain).all()
    rows = len(plain)
    by_turns = compiled(chart, row_repeat=repeat, reversal=repeat).acting_masks()
    flipped = (np.arange(rows) // repeat % 2).astype(bool)
    assert (by_turns == plain ^ flipped[:, None]).all()


@given(strategies.charts(), st.integers(1, 200), st.integers(1, 5), st.integers(0, 30))
def test_every_selection_follows_the_formula_cell_by_cell(chart: Chart, rows: int, repeat: int, extra: int) -> None:
    """An independent reading of the formulas, one stitch at a time."""
    chart = Chart(np.minimum(chart.cells, 1), TWO)
    width = min(200, chart.stitches + extra)
    plan = compiled(chart, span=BED.centred(width), rows=rows, row_repeat=repeat, shown_side="purl")
    masks = plan.acting_masks()
    for k in range(0, rows, max(1, rows // 7)):
        for x in range(width):
            expected = chart.cells[(k // repeat) % chart.rows, x % chart.stitches]
            assert masks[k, x] == bool(expected)


@pytest.mark.parametrize(
    "change",
    [
        {"rows": 4},
        {"row_repeat": 2},
        {"reversal": -1},
        {"start": "left"},
        {"shown_side": "purl"},
        {"alternate_needles": "background"},
    ],
)
def test_the_fingerprint_changes_when_anything_knitted_changes(change: dict[str, Any]) -> None:
    assert compiled(CHART).fingerprint != compiled(CHART, **change).fingerprint


def test_the_fingerprint_knows_the_needles_the_technique_and_the_yarns() -> None:
    band = BandRequest("band", technique_named("slip"), Options(edge_needles="as-chart"), CHART)
    plan = compile_plan("piece", BED, BED.centred(4), [band])
    others = [
        compile_plan("piece", BED, Span(10, 13), [band]),
        compile_plan("piece", BED, BED.centred(4), [replace(band, technique=technique_named("tuck"))]),
        compile_plan("piece", BED, BED.centred(4), [replace(band, yarns=(Yarn("sea", "#204060"),))]),
        compile_plan("piece", load_profile("double-180"), BED.centred(4), [band]),
    ]
    assert len({plan.fingerprint, *(other.fingerprint for other in others)}) == 5


def test_the_fingerprint_does_not_change_when_only_names_change() -> None:
    band = BandRequest("band", technique_named("slip"), Options(), CHART)
    one = compile_plan("piece", BED, BED.centred(4), [band])
    other = compile_plan("renamed", BED, BED.centred(4), [replace(band, name="other")])
    assert one.fingerprint == other.fingerprint


def test_a_journal_of_last_week_still_finds_its_plan() -> None:
    """This value, of the first release, may only change together with FINGERPRINT_FORM."""
    assert f"{compiled(CHART).fingerprint:08x}" == "86e970e0"


def test_passes_beyond_measure_are_refused_before_anything_is_made_of_them() -> None:
    """20,000 rows 1,000 times over in four colours would fill some gigabytes."""
    tall = Chart(np.zeros((20_000, 4), dtype=np.uint8), (*TWO, Colour(255, 0, 0), Colour(0, 0, 255)))
    band = BandRequest("sky", technique_named("slip-colours"), Options(row_repeat=1000), tall)
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match="sky: 20000000 rows are too many for a piece; at most 1000000 passes"):
            compile_plan("piece", BED, BED.centred(4), [band])
        assert tracemalloc.get_traced_memory()[1] < 10_000_000
    finally:
        tracemalloc.stop()


def test_the_ground_alone_is_two_rows_each_with_its_repeat() -> None:
    plan = compiled(None, alternate_needles="only", row_repeat=3)
    assert plan.passes == 6
    assert plan.chart_row.tolist() == [0] * 6
    assert plan.knitted_row.tolist() == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(("plain_rows", "start"), [(1, "left"), (2, "right"), (3, "left")])
def test_the_carriage_starts_where_the_separation_after_plain_rows_needs_it(plain_rows: int, start: str) -> None:
    """Paired passes start at the right when the changer is on the left."""
    plain = BandRequest("hem", technique_named("stocking"), Options(rows=plain_rows))
    colours = BandRequest("waves", technique_named("slip-colours"), Options(separation="paired", changer="left"), CHART)
    plan = compile_plan("piece", BED, BED.centred(4), [plain, colours])
    assert plan.start == start
    assert plan.direction(plain_rows + 1) == "leftward"


@pytest.mark.parametrize(
    ("options", "name"),
    [
        ({"separation": "paired"}, "separation"),
        ({"changer": "left"}, "changer"),
        ({"backing": "alternate"}, "backing"),
        ({"one_way": "leftward"}, "one-way"),
    ],
)
def test_an_option_that_the_technique_has_no_use_for_is_refused(options: dict[str, Any], name: str) -> None:
    with pytest.raises(InputError, match=f"leave {name} out"):
        compiled(CHART, **options)
    assert compiled(CHART, "slip-one-way", one_way="leftward").passes == 3


def test_the_passes_of_all_bands_count_together() -> None:
    plain = BandRequest("plain", technique_named("stocking"), Options(rows=600_000))
    with pytest.raises(InputError, match="again: 600000 rows are too many"):
        compile_plan("piece", BED, BED.centred(4), [plain, replace(plain, name="again")])
    half = replace(plain, options=Options(rows=500_000))
    assert compile_plan("piece", BED, BED.centred(4), [half, half]).passes == 1_000_000


# ---- machines on which needles are pushed for the coming pass --------------------------------------

COMING = replace(BED, name="coming", drive="next-pass")


@given(strategies.two_colour_charts(stitches=(2, 20)), st.integers(1, 40))
def test_on_a_next_pass_machine_each_pass_is_driven_with_the_coming_ones_needles(chart: Chart, rows: int) -> None:
    chart = Chart(chart.cells, TWO)
    band = BandRequest("waves", technique_named("fair-isle"), Options(rows=rows), chart)
    at_once = compile_plan("piece", BED, BED.centred(chart.stitches), [band])
    coming = compile_plan("piece", COMING, COMING.centred(chart.stitches), [band])
    assert coming.passes == rows + 1
    assert (coming.acting_masks()[1:] == at_once.acting_masks()).all()
    assert (coming.driven_masks()[:-1] == at_once.driven_masks()).all()
    assert not coming.driven_masks()[-1].any()
    assert not coming.acting_masks()[0].any()
    assert coming.fingerprint != at_once.fingerprint


def test_the_set_up_pass_is_a_plain_one_of_its_own_band() -> None:
    band = BandRequest("waves", technique_named("tuck"), Options(), CHART)
    plan = compile_plan("piece", COMING, COMING.centred(4), [band])
    assert [(b.name, b.technique.name, b.first, b.last) for b in plan.bands] == [
        ("set-up pass", "stocking", 1, 1),
        ("waves", "tuck", 2, 4),
    ]
    assert plan.chart_row.tolist() == [0, 1, 2, 3]
    assert plan.band.tolist() == [0, 1, 1, 1]
    assert len(plan.yarns_of(1)) == 1


def test_plain_rows_before_the_pattern_do_for_a_set_up_pass() -> None:
    plain = BandRequest("hem", technique_named("stocking"), Options(rows=2))
    band = BandRequest("waves", technique_named("fair-isle"), Options(shown_side="purl"), CHART)
    plan = compile_plan("piece", COMING, COMING.centred(4), [plain, band])
    assert [b.name for b in plan.bands] == ["hem", "waves"]
    driven = ["".join("01"[int(bit)] for bit in row) for row in plan.driven_masks()]
    assert driven == ["0000", "1000", "0101", "0011", "0000"]


def test_two_colours_are_carried_in_one_pass_even_where_the_chart_has_one() -> None:
    plain = Chart(np.zeros((2, 4), dtype=np.uint8), TWO[:1])
    assert len(compiled(plain).bands[0].yarns) == 2


# ---- colours keep their numbers -------------------------------------------------------------------

FLAG = (Colour(244, 232, 204), Colour(31, 58, 95), Colour(181, 67, 46))
CREAM, NAVY, RED = YARNS = tuple(
    Yarn(name, colour.hex) for name, colour in zip(("cream", "navy", "red"), FLAG, strict=True)
)


@pytest.mark.parametrize("technique", ["fair-isle", "slip-colours", "jacquard"])
def test_a_colour_that_no_stitch_of_the_band_has_keeps_its_number_and_costs_no_pass(technique: str) -> None:
    """Rows of cream and red out of a chart of three colours: red stays red."""
    band = BandRequest(
        "band",
        technique_named(technique),
        Options(shown_side="purl"),
        Chart(np.array([[0, 2, 2, 0], [2, 2, 0, 0]], np.uint8), FLAG),
        YARNS,
    )
    two = replace(band, drawing=Chart(band.drawing.cells // 2, FLAG[::2]), yarns=(CREAM, RED))  # type: ignore[union-attr]
    bed = load_profile("double-180")
    one, other = (compile_plan("piece", bed, bed.centred(4), [request]) for request in (band, two))
    assert one.bands[0].yarns == (CREAM, RED)
    assert one.bands[0].colours == (0, 2)
    assert (one.acting_masks() == other.acting_masks()).all()
    assert [one.yarns_of(k) for k in range(1, one.passes + 1)] == [other.yarns_of(k) for k in range(1, one.passes + 1)]


def test_rows_that_are_not_knitted_ask_for_no_colour() -> None:
    chart = Chart(np.array([[0, 1], [2, 1]], np.uint8), FLAG)
    assert compiled(chart, rows=1).bands[0].colours == (0, 1)
    with pytest.raises(ChartError, match="3 colours and fair-isle takes 2"):
        compiled(chart)


def test_separation_and_options_count_the_colours_of_the_stitches_not_those_of_the_legend() -> None:
    six = tuple(Colour(40 * shade, 0, 0) for shade in range(6))
    plan = compiled(Chart(np.array([[0, 3, 5, 0]], np.uint8), six), "slip-colours")
    assert plan.bands[0].colours == (0, 3, 5)
    exchanged = compiled(Chart(np.array([[0, 2, 2, 2]], np.uint8), six[:3]), reversal=-1, shown_side="purl")
    assert selected(exchanged) == ["1000"]
    assert exchanged.bands[0].colours == (0, 2)


@pytest.mark.parametrize(
    ("technique", "setting"),
    [
        ("tuck", "tuck"),
        ("tuck-one-way", "tuck, rightward only; this leftward pass knits plain"),
        ("fair-isle", "two-colour"),
    ],
)
def test_the_operator_is_told_how_to_set_the_carriage(technique: str, setting: str) -> None:
    assert f"set the carriage to {setting}" in compiled(CHART, technique).notes[1]
