"""The mends that are offered do mend, and change nothing until they are asked for."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from checks.pieces import band, found, piece
from hypothesis import given
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart
from latchline.checks import mends
from latchline.checks.find import findings
from latchline.cli.words import TYPED
from latchline.errors import InputError
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Yarn
from latchline.plan.options import Options
from latchline.technique.table import technique_named

LONG = ["1000000000001", "1100000000011", "1110000000111"]


@pytest.mark.parametrize(
    ("technique", "rule"),
    [
        ("slip", "float-across"),
        ("fair-isle", "float-across"),
        ("slip-colours", "float-across"),
        ("tuck", "tucks-beside"),
        ("inlay", "laid-in-float"),
    ],
)
def test_breaking_floats_leaves_none_that_is_too_long(technique: str, rule: str) -> None:
    (mend, *_) = found(rule, piece(band(technique, *LONG)))[0].mends
    key, value = mend.key, mend.value
    assert key == "break_floats"
    assert not found(rule, piece(band(technique, *LONG, break_floats=int(value))))


def test_the_ground_behind_the_chart_breaks_every_float_of_slip_and_tuck() -> None:
    for technique, rule in (("slip", "float-across"), ("tuck", "tucks-beside")):
        offered = [TYPED.setting(mend.key, mend.value) for mend in found(rule, piece(band(technique, *LONG)))[0].mends]
        assert "--alternate-needles background" in offered
        assert not found(rule, piece(band(technique, *LONG, alternate_needles="background")))


def test_a_mend_is_offered_only_where_it_helps() -> None:
    """A stack of tucks in the middle of the row stands under its own mirror image."""
    lines = ["11011", *["11011"] * 6, "01111"]
    (finding,) = found("tucks-stacked", piece(band("tuck", *lines, edge_needles="as-chart")))
    assert "--mirror-rows" not in [TYPED.setting(mend.key, mend.value) for mend in finding.mends]


def test_every_one_of_many_bands_gets_its_mends() -> None:
    """Each of a hundred motifs of their own asks for several ways out, the last one as well."""
    motifs = [f"1{'0' * 6}{number:07b}{'0' * 6}1" for number in range(100)]
    plan = piece(*(band("fair-isle", motif, name=motif, rows=2) for motif in motifs))
    assert {finding.band for finding in found("float-across", plan) if finding.mends} == set(motifs)


def test_no_other_band_is_begun_when_many_passes_have_been_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mends, "PASSES_TRIED_MOST", 100)
    plan = piece(*(band("fair-isle", *LONG, name=f"{rows} rows", rows=rows) for rows in (60, 61, 62)))
    told = {finding.band: finding.mends for finding in found("float-across", plan) if finding.chart_row == 1}
    assert [bool(told[f"{rows} rows"]) for rows in (60, 61, 62)] == [True, False, False]


@given(
    chart=strategies.coloured_charts(2, stitches=12),
    technique=st.sampled_from(["tuck", "slip", "fair-isle", "slip-one-way"]),
)
def test_every_mend_that_is_offered_leaves_fewer_places(chart: Chart, technique: str) -> None:
    drawn = ["".join(map(str, row)) for row in reversed(chart.cells.tolist())]
    plain = band(technique, *drawn, rows=12)
    for finding in findings(piece(plain)):
        were = sum(item.places for item in found(finding.rule, piece(plain)))
        for mend in finding.mends:
            value = 2 if mend.value == "every:2" else mend.value
            changed: dict[str, Any] = {mend.key: value}
            after = piece(replace(plain, options=replace(plain.options, **changed)))
            assert sum(item.places for item in found(finding.rule, after)) < were


def test_a_mend_says_what_it_changes() -> None:
    (finding,) = found("float-across", piece(band("fair-isle", "10000001", "11111111")))
    assert [(TYPED.setting(mend.key, mend.value), mend.changes) for mend in finding.mends] == [
        ("--break-floats 5", "changes 1 stitch; no place left"),
        ("--catch-floats 5", "changes no stitch, 1 to catch by hand; no place left"),
    ]


def test_contrast_that_turns_far_from_the_edge_is_offered_the_edge() -> None:
    lines = ["00000000000110", "01100000000000"]
    (finding,) = found("float-over-turn", piece(band("fair-isle", *lines)))
    assert (finding.mends[0].key, finding.mends[0].value) == ("edge_needles", "contrast")
    assert finding.mends[0].changes == "changes 4 stitches; no place left, 2 more of float-across"
    plan = piece(band("fair-isle", *lines, edge_needles="contrast"))
    assert plan.acting_masks()[:, [0, -1]].all()
    with pytest.raises(InputError, match="leave edge-needles out"):
        piece(band("slip", *lines, edge_needles="contrast"))


@pytest.mark.parametrize(("width", "stitches"), [(11, 4), (10, 4), (7, 5)])
def test_a_pattern_shifted_as_it_was_told_is_cut_alike_and_no_more_is_said(width: int, stitches: int) -> None:
    line = "1" + "0" * (stitches - 1)
    (finding,) = found("chart-cut", piece(band("fair-isle", line), width=width))
    (mend,) = finding.mends
    assert not found("chart-cut", piece(band("fair-isle", line, shift=mend.value), width=width))


def test_a_motif_that_stands_alone_gets_advice_for_the_gap_beside_it() -> None:
    span = load_profile("standard-200").centred(8)
    (finding,) = found("motif-edge", piece(band("fair-isle", "0110", once_at=span.first + 2), width=8))
    assert finding.needles == "L2-R2"
    assert not found("motif-edge", piece(band("fair-isle", "0110"), width=8))


def test_edge_stitches_mend_the_edge() -> None:
    lines = ["0110", "1110", "1111"]
    assert found("edge-needle", piece(band("slip", *lines, edge_needles="as-chart")))
    assert not found("edge-needle", piece(band("slip", *lines, edge_needles="knit")))


def test_a_mirrored_row_breaks_a_stack_of_tucks() -> None:
    lines = ["1011111", *["1011111"] * 6, "1111111"]
    (finding,) = found("tucks-stacked", piece(band("tuck", *lines)))
    assert "--mirror-rows" in [TYPED.setting(mend.key, mend.value) for mend in finding.mends]
    assert not found("tucks-stacked", piece(band("tuck", *lines, mirror_rows=True)))


def test_no_mirror_image_is_offered_where_the_row_is_its_own() -> None:
    lines = ["1101011", *["1110111"] * 6, "1111111"]
    (finding,) = found("tucks-stacked", piece(band("tuck", *lines)))
    assert "--mirror-rows" not in [TYPED.setting(mend.key, mend.value) for mend in finding.mends]


def test_exchanging_rows_lets_needles_knit_that_never_did() -> None:
    (finding,) = found("never-knits", piece(band("tuck", "1010101", rows=8)))
    assert "--reversal every:2" in [TYPED.setting(mend.key, mend.value) for mend in finding.mends]
    assert not found("never-knits", piece(band("tuck", "1010101", rows=8, reversal=2)))


def masks(chart: Chart, technique: str, options: Options) -> np.ndarray:
    bed = load_profile("standard-200")
    request = BandRequest("band", technique_named(technique), options, chart)
    return compile_plan("piece", bed, bed.centred(chart.stitches), [request]).acting_masks()


@given(chart=strategies.coloured_charts(2, stitches=9), repeat=st.integers(1, 3))
def test_mirrored_rows_are_every_second_repeat_of_a_row(chart: Chart, repeat: int) -> None:
    plain = Options(row_repeat=repeat, rows=12, edge_needles="as-chart")
    one, other = masks(chart, "slip", plain), masks(chart, "slip", replace(plain, mirror_rows=True))
    for row in range(12):
        assert (other[row] == (one[row, ::-1] if row // repeat % 2 else one[row])).all()


@given(chart=strategies.coloured_charts(2, stitches=30), most=st.integers(2, 6))
@pytest.mark.parametrize("technique", ["slip", "fair-isle", "slip-colours", "inlay"])
def test_no_broken_float_passes_by_more_needles_than_asked(technique: str, chart: Chart, most: int) -> None:
    drawn = ["".join(map(str, row)) for row in reversed(chart.cells.tolist())]
    plan = piece(band(technique, *drawn, break_floats=most))
    rule = "laid-in-float" if technique == "inlay" else "float-across"
    assert not found(rule, plan, float_needles=most, laid_in_needles=most)


def test_broken_floats_leave_the_made_ends_and_the_needles_around_a_motif_alone() -> None:
    plan = piece(band("fair-isle", "1000000001", edge_needles="knit", break_floats=3))
    assert plan.acting_masks()[0].tolist() == [False] * 10
    bed = load_profile("standard-200")
    span = bed.centred(12)
    motif = band("slip", "00000000", once_at=span.first + 2, break_floats=3)
    masks = compile_plan("piece", bed, span, [motif]).acting_masks()[0].tolist()
    assert masks[:2] == masks[10:] == [True, True]
    assert sum(masks[2:10]) == 2


def test_floats_caught_by_hand_leave_the_picture_alone_and_are_told_before_the_next_pass() -> None:
    lines = ["10000000001", "11111111111", "01111111110"]
    yarns = (Yarn("sand"), Yarn("navy"))
    plan = piece(band("fair-isle", *lines, catch_floats=5, yarns=yarns))
    assert (plan.acting_masks() == piece(band("fair-isle", *lines)).acting_masks()).all()
    assert "sand on" in plan.hand_words(2)[0]
    assert not plan.hand_words(3)
    assert "navy on" in plan.hand_words(4)[0], "after the last pass, too"
    assert not found("float-across", plan)


@given(chart=strategies.coloured_charts(2, stitches=30), most=st.integers(2, 6))
def test_the_list_of_catches_leaves_no_float_too_long(chart: Chart, most: int) -> None:
    """Read from the words, as a knitter would: each float between two stitches of its yarn, parted where it is caught."""
    bed = load_profile("standard-200")
    request = BandRequest("band", technique_named("fair-isle"), Options(catch_floats=most), chart)
    plan = compile_plan("piece", bed, bed.centred(30), [request])
    for number, mask in enumerate(plan.acting_masks().tolist(), 1):
        told = {
            words.split(" of ")[1].split(" on ")[0]: words.split(" on ")[1] for words in plan.hand_words(number + 1)
        }
        for yarn, is_selected in (("main", False), ("contrast", True)):
            names = told.get(yarn, "").split(":")[0]
            by_hand = [plan.profile.needle_index(name) - plan.span.first for name in names.split(", ") if name]
            held = sorted([place for place, bit in enumerate(mask) if bit == is_selected] + by_hand)
            assert all(mask[place] != is_selected for place in by_hand)
            assert all(later - sooner - 1 <= most for sooner, later in pairwise(held))
