"""Each rule finds its fault one step past its limit, and says nothing at the limit.

Limits from D. J. Spencer, Knitting Technology, 3rd ed. 2001, ch. 9: floats past at most 6 needles, at
most 4 successive floats or tucks on one needle, normally 2 and never more than 6 tucks side by side.
The others are common practice, no source.
"""

from __future__ import annotations

from typing import Any

import pytest
from checks.pieces import band, found, piece

from latchline.checks.find import RULES, can_be_knitted, findings
from latchline.checks.model import GOOD_TO_KNOW, LOOK_AT, MUST_MEND
from latchline.plan.limits import Limits
from latchline.plan.model import Plan, Yarn
from latchline.plan.options import BAND_OPTIONS


def column(technique: str, idle: int) -> Plan:
    """One needle that neither knits nor is selected over so many rows, between rows in which it does."""
    return piece(band(technique, "1111", *["1011"] * idle, "1111"))


@pytest.mark.parametrize(("needles", "severity"), [(5, None), (6, LOOK_AT), (60, LOOK_AT)])
@pytest.mark.parametrize("technique", ["slip", "fair-isle"])
def test_a_float_past_too_many_needles_is_found(technique: str, needles: int, severity: str | None) -> None:
    result = found("float-across", piece(band(technique, "1" + "0" * needles + "1", "1" * (needles + 2))))
    yarn = [finding for finding in result if finding.chart_row == 2]
    assert [finding.severity for finding in yarn] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("machine", "most"), [("standard-200", 5), ("double-180", 4), ("mid-150", 3), ("chunky-112", 2)]
)
def test_the_coarser_the_bed_the_fewer_needles_a_float_may_pass(machine: str, most: int) -> None:
    """Five needles at 4.5 mm span 27 mm; at coarse pitch fewer (common practice, no source)."""
    within, above = (piece(band("slip", "1" + "0" * n + "1"), machine=machine) for n in (most, most + 1))
    assert not found("float-across", within)
    assert len(found("float-across", above)) == 1


def test_held_needles_float_like_missed_ones() -> None:
    """A wedge of needles held at one end: the yarn crosses them all on its way to the turn and back."""
    wedge = ["1" * held + "0" * (30 - held) for held in range(22, 2, -2)]
    slipped = [line.translate(str.maketrans("01", "10")) for line in wedge]
    held, missed = (
        found(
            "float-over-turn", piece(band(technique, *lines, row_repeat=2, one_way="leftward", edge_needles="as-chart"))
        )
        for technique, lines in (("hold", wedge), ("slip-one-way", slipped))
    )
    assert [finding.measured for finding in held] == [finding.measured for finding in missed] == [21]


def test_held_end_needles_can_be_made_to_knit() -> None:
    lines = ["1100", "0011"]
    assert found("edge-needle", piece(band("hold", *lines, row_repeat=2)))
    assert not found("edge-needle", piece(band("hold", *lines, row_repeat=2, edge_needles="knit")))


def test_a_float_names_its_yarn_row_pass_and_needles() -> None:
    plan = piece(band("fair-isle", "10000001", "01010101", yarns=(Yarn("sand"), Yarn("navy"))))
    (finding,) = found("float-across", plan)
    assert finding.what == "navy floats past 6 needles, 3.1 cm, where 5 needles, 2.7 cm are the limit"
    assert (finding.band, finding.chart_row, finding.pass_first, finding.needles) == ("fair-isle", 2, 2, "L3-R3")
    assert (finding.measured, finding.limit, finding.places) == (6, 5, 1)


def test_a_limit_of_the_user_s_own_is_kept() -> None:
    plan = piece(band("slip", "10001"))
    assert not found("float-across", plan)
    assert len(found("float-across", plan, float_needles=2)) == 1


def test_a_yarn_that_turns_far_from_where_it_is_taken_again_is_found_once_for_a_band() -> None:
    plan = piece(band("slip", "0" * 9 + "1", "1" + "0" * 9, rows=6, edge_needles="as-chart"))
    (finding,) = found("float-over-turn", plan)
    assert finding.severity == LOOK_AT
    assert finding.places == 5


@pytest.mark.parametrize(("passes", "severity"), [(4, None), (5, MUST_MEND)])
def test_a_tuck_stacked_more_than_four_times_is_found(passes: int, severity: str | None) -> None:
    result = found("tucks-stacked", column("tuck", passes))
    assert [finding.severity for finding in result] == ([severity] if severity else [])


@pytest.mark.parametrize(("passes", "count"), [(6, 0), (7, 1)])
def test_fine_yarn_may_tuck_six_times(passes: int, count: int) -> None:
    """Common practice, no source."""
    fine = Yarn("gossamer", tex=100)
    plan = piece(band("tuck", "1111", *["1011"] * passes, "1111", yarns=(fine,)))
    assert len(found("tucks-stacked", plan)) == count


@pytest.mark.parametrize(("needles", "severity"), [(2, None), (3, LOOK_AT), (6, LOOK_AT), (7, MUST_MEND)])
def test_tucks_side_by_side(needles: int, severity: str | None) -> None:
    result = found("tucks-beside", piece(band("tuck", "1" + "0" * needles + "1", "1" * (needles + 2))))
    assert [finding.severity for finding in result] == ([severity] if severity else [])


@pytest.mark.parametrize(("cm", "most"), [(2.5, 4), (2.7, 5), (3.6, 7)])
def test_the_limit_of_floats_is_set_in_centimetres(cm: float, most: int) -> None:
    """Sources disagree from an inch to seven stitches; a float past n needles spans (n + 1) × 4.5 mm."""
    within, above = (piece(band("slip", "1" + "0" * n + "1")) for n in (most, most + 1))
    assert not found("float-across", within, float_cm=cm)
    assert found("float-across", above, float_cm=cm)


@pytest.mark.parametrize(("passes", "severity"), [(4, None), (5, LOOK_AT), (12, LOOK_AT), (13, MUST_MEND)])
def test_a_loop_kept_over_more_than_four_passes_is_found(passes: int, severity: str | None) -> None:
    result = found("loop-kept", column("slip", passes))
    assert [finding.severity for finding in result] == ([severity] if severity else [])


def test_tucks_and_misses_of_one_stretch_are_counted_apart() -> None:
    plan = piece(
        band("tuck", "1011", "1011", "1011", "1011", name="a"), band("slip", "1011", "1011", "1011", "1011", name="b")
    )
    assert not found("tucks-stacked", plan)
    assert not found("loop-kept", plan)
    assert found("never-knits", plan)


@pytest.mark.parametrize("separation", ["doubled", "paired"])
def test_a_separation_of_three_colours_says_once_that_it_keeps_loops_long(separation: str) -> None:
    wide: dict[str, Any] = {"separation": separation, "rows": 12}
    for technique, severity in (("slip-colours", LOOK_AT), ("jacquard", GOOD_TO_KNOW)):
        plan = piece(band(technique, "012", "120", "201", **wide), machine="double-180")
        assert [finding.severity for finding in found("loop-kept", plan)] == [severity]


@pytest.mark.parametrize("technique", ["tuck", "slip"])
def test_every_other_needle_on_every_pass_is_illegal_because_the_others_never_knit(technique: str) -> None:
    """Common practice, no source."""
    plan = piece(band(technique, "1010101", rows=6))
    (finding,) = found("never-knits", plan)
    assert finding.severity == MUST_MEND
    assert finding.what == "3 of 7 needles knit in no pass of the band"
    assert not can_be_knitted(findings(plan))
    assert can_be_knitted(findings(piece(band(technique, width_of(7), rows=6, alternate_needles="background"))))


def width_of(stitches: int) -> str:
    return "0" * stitches


def test_a_needle_that_rests_in_a_short_band_and_knits_soon_after_is_no_fault() -> None:
    plan = piece(band("slip", "101", rows=2), band("stocking", rows=2))
    assert not found("never-knits", plan)


@pytest.mark.parametrize("technique", ["tuck", "slip"])
@pytest.mark.parametrize(("rows", "count"), [(2, 0), (4, 0), (5, 1)])
def test_a_short_last_band_is_no_alarm(technique: str, rows: int, count: int) -> None:
    assert len(found("never-knits", piece(band("stocking", rows=2), band(technique, "101", rows=rows)))) == count


@pytest.mark.parametrize(("rows", "count"), [(6, 0), (7, 1)])
def test_needles_that_tuck_are_held_against_the_limit_of_tucks(rows: int, count: int) -> None:
    """Fine yarn may tuck six times, and be missed four (tucks: common practice; misses: Spencer, ch. 9)."""
    fine = Yarn("gossamer", tex=100)
    after = band("stocking", rows=2)
    assert len(found("never-knits", piece(band("tuck", "101", rows=rows, yarns=(fine,)), after))) == count
    assert found("never-knits", piece(band("slip", "101", rows=rows, yarns=(fine,)), after))


@pytest.mark.parametrize(("rests", "count"), [(2, 0), (3, 1)])
def test_a_needle_may_rest_through_short_bands_for_four_passes_in_all(rests: int, count: int) -> None:
    plan = piece(band("slip", "101", rows=2), band("slip", "101", rows=rests, name="then"), band("stocking", rows=2))
    assert len(found("never-knits", plan)) == count


def test_a_needle_that_never_knits_is_not_also_called_stacked_or_kept() -> None:
    for technique, rule in (("tuck", "tucks-stacked"), ("slip", "loop-kept")):
        assert not found(rule, piece(band(technique, "1010101", rows=9)))


def test_end_needles_that_do_not_knit_are_found_with_their_mend() -> None:
    plan = piece(band("tuck", "0110", "1110", edge_needles="as-chart"))
    right, left = found("edge-needle", plan)  # in the order of knitting
    assert (left.needles, left.places, right.needles, right.places) == ("L2", 1, "R2", 2)
    assert [(mend.key, mend.value) for mend in left.mends] == [("edge_needles", "knit")]
    assert not found("edge-needle", piece(band("tuck", "0110", "1110")))


@pytest.mark.parametrize(("needles", "severity"), [(5, None), (6, LOOK_AT), (60, LOOK_AT)])
@pytest.mark.parametrize("side", ["0", "1"])
def test_a_laid_in_yarn_without_a_change_is_found(side: str, needles: int, severity: str | None) -> None:
    other = "10"[int(side)]
    result = found("laid-in-float", piece(band("inlay", other + side * needles + other)))
    assert [finding.severity for finding in result] == ([severity] if severity else [])


def test_alternating_finds_stitches_whose_colour_their_row_does_not_carry() -> None:
    drawn_for_it = piece(band("slip-colours", "0111", "0100", "0100", "0000", separation="alternating"))
    assert not found("colour-not-carried", drawn_for_it)
    result = found("colour-not-carried", piece(band("slip-colours", "0000", "1100", "1100", separation="alternating")))
    assert [(finding.chart_row, finding.needles, finding.measured) for finding in result] == [(1, "L2-L1", 2)]
    assert (result[0].mends[0].key, result[0].mends[0].value) == ("separation", "doubled")


def test_alternating_wants_of_its_edges_what_the_edge_needles_are_made_to_be() -> None:
    lines = ["1110", "0000"]
    assert not found("colour-not-carried", piece(band("slip-colours", *lines, separation="alternating")))
    lines = ["0110", "1110"]  # made to knit main, the left edge no longer asks for a colour that row 1 lacks
    (finding,) = found(
        "colour-not-carried", piece(band("slip-colours", *lines, separation="alternating", edge_needles="knit"))
    )
    assert (finding.needles, finding.measured) == ("L1-R1", 2)


def test_the_worst_place_of_a_row_is_the_one_that_is_named() -> None:
    (finding,) = found("float-across", piece(band("slip", "1" + "0" * 6 + "1" + "0" * 8 + "1" + "0" * 7 + "1", rows=2)))
    assert (finding.measured, finding.places, finding.pass_first) == (8, 6, 1)
    assert finding.needles == "L4-R4"


def test_a_colour_that_no_stitch_takes_is_found() -> None:
    (finding,) = found("yarn-idle", piece(band("fair-isle", "0000", yarns=(Yarn("a"), Yarn("b")))))
    assert finding.what == "b is carried and no needle ever knits it"
    assert not found("yarn-idle", piece(band("slip-colours", "0202", yarns=(Yarn("a"), Yarn("b"), Yarn("c")))))
    assert not found("yarn-idle", piece(band("fair-isle", "0100")))


@pytest.mark.parametrize(
    ("lines", "width", "options", "severities"),
    [
        (["0101"], 4, {}, []),
        (["0101"], 8, {}, []),
        (["0101"], 6, {}, [GOOD_TO_KNOW]),
        (["010101"], 4, {}, [LOOK_AT]),
        (["0101", "1010"], 4, {"rows": 1}, [LOOK_AT]),
        (["0101", "1010"], 4, {"rows": 3}, [GOOD_TO_KNOW]),
        (["0101", "1010"], 4, {"rows": 4}, []),
    ],
)
def test_a_chart_cut_by_the_span_or_the_rows(
    lines: list[str], width: int, options: dict[str, Any], severities: list[str]
) -> None:
    result = found("chart-cut", piece(band("fair-isle", *lines, **options), width=width))
    assert [finding.severity for finding in result] == severities


def test_the_shift_that_is_offered_cuts_both_ends_alike() -> None:
    (finding,) = found("chart-cut", piece(band("fair-isle", "10000"), width=9))
    assert [(mend.key, mend.value) for mend in finding.mends] == [("shift", 2)]
    plan = piece(band("fair-isle", "10000", shift=2), width=9)
    assert plan.acting_masks()[0].tolist() == [x in (2, 7) for x in range(9)]


def test_a_seam_is_found_where_two_runs_join_that_are_each_short_enough() -> None:
    (finding,) = found("seam", piece(band("slip", "0001000", edge_needles="as-chart"), width=14))
    assert (finding.what, finding.needles) == (
        "where the chart meets itself sideways, two runs join to one of 6",
        "L3-R3",
    )
    assert not found("seam", piece(band("slip", "0001000", edge_needles="as-chart"), width=7))
    assert not found("seam", piece(band("slip", "1000000"), width=14)), "too long by itself: not the seam's fault"


def test_a_seam_is_found_where_one_part_is_as_long_as_a_float_may_be() -> None:
    for line in ("01100000", "00000110"):
        (finding,) = found("seam", piece(band("slip", line, edge_needles="as-chart"), width=16))
        assert finding.measured == 6


def test_a_seam_follows_the_shift() -> None:
    plan = piece(band("slip", "0001000", edge_needles="as-chart", shift=3), width=24)
    assert [finding.places for finding in found("seam", plan)] == [2]


def test_a_seam_is_found_where_the_top_of_the_chart_meets_its_bottom() -> None:
    tall = ["1011", "1011", "1011", "1111", "1011", "1011", "1011"]
    (finding,) = found("seam", piece(band("tuck", *tall, rows=14)))
    assert (finding.measured, finding.pass_first, finding.pass_last) == (6, 5, 10)
    assert not found("seam", piece(band("tuck", *tall, rows=7)))
    one_above = ["1011", "1011", "1011", "1011", "1111", "1011"]
    (finding,) = found("seam", piece(band("tuck", *one_above, rows=12)))
    assert (finding.measured, finding.pass_first, finding.pass_last) == (5, 3, 7)


def test_chart_rows_that_fall_on_the_plain_way_back_are_found() -> None:
    lines = ["1010", "0101", "1100", "0011"]
    (finding,) = found("rows-not-shown", piece(band("tuck-one-way", *lines)))
    assert finding.what == "2 of 4 chart rows fall on the plain way back only"
    assert (finding.mends[0].key, finding.mends[0].value) == ("row_repeat", 2)
    assert not found("rows-not-shown", piece(band("tuck-one-way", *lines, row_repeat=2)))


@pytest.mark.parametrize(("rows", "count"), [(20, 0), (21, 1)])
@pytest.mark.parametrize(("line", "word"), [("0000", "plain"), ("0101", "selected alike")])
def test_rows_that_never_change_are_found(line: str, word: str, rows: int, count: int) -> None:
    result = found("rows-alike", piece(band("fair-isle", line, rows=rows)))
    assert len(result) == count
    assert all(word in finding.what for finding in result)


@pytest.mark.parametrize(("rows", "count"), [(8, 0), (9, 1)])
def test_plain_fabric_curls(rows: int, count: int) -> None:
    assert len(found("curls", piece(band("stocking", rows=rows)))) == count


@pytest.mark.parametrize(("rows", "moves"), [(10, None), (11, "once"), (35, "3 times")])
def test_edge_weights_are_moved_every_ten_rows_of_two_colour_work(rows: int, moves: str | None) -> None:
    result = found("weights", piece(band("fair-isle", "0101", rows=rows)))
    assert [moves in finding.what for finding in result if moves] == ([True] if moves else [])
    assert len(result) == (moves is not None)


def test_edge_weights_are_moved_by_courses_where_a_chart_row_takes_two() -> None:
    result = found("weights", piece(band("slip-colours", "0101", rows=11, separation="doubled")))
    assert [finding.what for finding in result] == ["move the edge weights up every 10 rows, twice in this band"]


@pytest.mark.parametrize(
    ("tex", "size", "fits"),
    [
        (150, 4, True),
        (150, 4.5, False),
        (250, 4, True),
        (250, 8, True),
        (250, 3, False),
        (450, 12, True),
        (450, 7, False),
    ],
)
def test_fine_yarn_takes_to_4_on_the_dial_medium_to_8_and_heavy_to_12(tex: float, size: float, fits: bool) -> None:
    yarn = Yarn("yarn", tex=tex, stitch_size=size)
    assert bool(found("stitch-size", piece(band("stocking", rows=4, yarns=(yarn,))))) is not fits


def test_yarn_thicker_than_heavy_is_only_laid_in() -> None:
    rope = Yarn("rope", tex=900)
    (finding,) = found("yarn-class", piece(band("stocking", rows=4, yarns=(rope,))))
    assert finding.severity == MUST_MEND
    assert not found("yarn-class", piece(band("inlay", "0101", yarns=(Yarn("thread", tex=200), rope))))
    assert not found("yarn-class", piece(band("stocking", rows=4, yarns=(rope,)), machine="chunky-112"))


def test_a_heavy_yarn_is_to_be_looked_at_where_two_meet_in_a_stitch() -> None:
    heavy = Yarn("heavy", tex=400)
    (finding, _) = found("yarn-class", piece(band("fair-isle", "0101", yarns=(heavy, heavy))))
    assert finding.severity == LOOK_AT


@pytest.mark.parametrize(("loop_length_mm", "count"), [(3.0, 1), (4.0, 0)])
def test_a_tight_fabric_is_found_by_its_tightness_factor(loop_length_mm: float, count: int) -> None:
    """√25 / 3 = 1.667 (computed) is above the 1.3 to 1.5 of machine-made plain fabric; √25 / 4 = 1.25 is not."""
    yarn = Yarn("yarn", tex=25, loop_length_mm=loop_length_mm)
    result = found("tightness", piece(band("stocking", rows=4, yarns=(yarn,))))
    assert [finding.measured for finding in result] == [1.667] * count


def test_every_finding_says_why_and_what_to_do_in_one_sentence_each() -> None:
    plan = piece(
        band("tuck", "0000000000", *["1000000000"] * 8, edge_needles="as-chart", name="a"),
        band("slip", "0000000000", *["1000000001"] * 8, name="b"),
        band(
            "fair-isle",
            *["1000000001"] * 30,
            name="c",
            yarns=(Yarn("x", tex=900, stitch_size=3), Yarn("y", tex=250, stitch_size=9)),
        ),
        band("inlay", "1111111111", name="d"),
        band("tuck-one-way", "1010101010", "0101010101", name="f"),
        band("stocking", rows=20, name="e"),
    )
    result = findings(plan)
    assert {finding.rule for finding in result} <= set(RULES)
    assert len({finding.rule for finding in result}) >= 10
    for finding in result:
        for clause in (finding.what, finding.why, finding.todo):
            assert clause
            assert not clause.endswith(".")
            assert "\n" not in clause
        for mend in finding.mends:
            assert mend.key in {option.name for option in BAND_OPTIONS}
            assert mend.value is not None


def test_limits_left_open_go_by_the_pitch_and_others_stay() -> None:
    own = Limits(heavy_tex=700.0).at(9.0)
    assert (own.float_needles, own.laid_in_needles) == (2, 2)
    assert (own.fine_tex, own.medium_tex, own.heavy_tex) == (640, 1200, 700.0)
