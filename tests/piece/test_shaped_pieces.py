"""Pieces from casting on to binding off, as their files ask for them."""

from __future__ import annotations

import numpy as np
import pytest

from latchline.checks.find import can_be_knitted, findings
from latchline.errors import InputError
from latchline.fabric.hanging import hanging
from latchline.fabric.layout import courses_of
from latchline.fabric.outline import outline
from latchline.fabric.structure import floats
from latchline.fabric.yarn_need import yarn_need
from latchline.knit.prompts import PLAIN_SET, What, plain_rows, set_up, stepping_back
from latchline.piece.file import parse_piece
from latchline.plan.hand import Position
from latchline.plan.model import HOLD_SET, HOLD_WEIGHTS, SET_BACK, Plan

HEAD = """
name = "front"
needles = "L40-R40"
[gauge]
stitches = 28
rows = 40
width_mm = 100
height_mm = 100
"""
BAND = """
[[bands]]
technique = "stocking"
rows = 40
"""


AT, BAND_1 = 'front.toml, line 13, key "bands.1.', 'band "band 1"'


def plan_of(*parts: str, **files: bytes) -> Plan:
    return parse_piece(HEAD + "".join(parts), beside=files, file="front.toml").plan()


def said(plan: Plan) -> list[str]:
    return [line for number in range(1, plan.passes + 2) for line in plan.hand_words(number)]


def working(plan: Plan) -> list[int]:
    return [int(np.count_nonzero(row == Position.WORK)) for row in plan.positions_of()]


def test_a_panel_may_be_written_in_under_thirty_lines() -> None:
    text = (
        HEAD
        + '[[bands]]\nbegin = "waste"\n[[bands]]\nname = "hem"\nhem = 10\n'
        + BAND
        + 'shape = [{ to = "20 cm", fashioned = 3 }]\n[[bands]]\nend = "bound-off"\n'
    )
    assert len(text.strip().splitlines()) < 30
    plan = parse_piece(text, file="front.toml").plan()
    assert [band.part for band in plan.bands] == ["waste", "waste", "hem inside", "hem inside", "fabric", "fabric"]
    assert working(plan)[-1] == 56  # 20 cm at 28 stitches to 10 cm
    assert said(plan)[-1].startswith("bind off the loops of L28-R28")
    assert any(line.startswith("fold the hem") for line in said(plan))


@pytest.mark.parametrize(
    ("beginning", "first", "then"),
    [
        ("wrapped", "bring L40-R40 into working position and wrap the yarn round each in turn, 80 loops", ""),
        ("every-other", "bring every other needle of L40-R40", "hang the cast-on comb"),
        ("waste", "bring every other needle of L40-R40", "hang the cast-on comb"),
    ],
)
def test_each_beginning_says_what_is_done(beginning: str, first: str, then: str) -> None:
    plan = plan_of(f'[[bands]]\nbegin = "{beginning}"\n', BAND)
    assert plan.hand_words(1)[0].startswith(first)
    assert not plan.cast_on_loops().any()
    assert (plan.hand_words(2) or ("",))[0].startswith(then)
    assert working(plan)[-1] == 80


@pytest.mark.parametrize(
    ("end", "line"),
    [
        ("bound-off", "bind off the loops of L40-R40 with the transfer tool"),
        ("cord", "thread a cord through the loops of L40-R40"),
        ("waste", "take the fabric off L40-R40; the waste yarn keeps its loops"),
    ],
)
def test_each_end_says_what_is_done_after_the_last_pass(end: str, line: str) -> None:
    plan = plan_of(BAND, f'[[bands]]\nend = "{end}"\n')
    assert plan.hand_words(plan.passes + 1)[0].startswith(line)
    assert plan.bands[-1].part == ("waste" if end == "waste" else "fabric")


def test_rates_on_a_side_follow_one_another() -> None:
    plan = plan_of(BAND, "shape = [{ by = -1, every = 4, times = 6 }, { by = -1, every = 6, times = 2 }]\n")
    assert [step.before for step in plan.hand[::2]] == [4, 8, 12, 16, 20, 24, 30, 36]


def test_signs_are_worked_in_the_order_of_a_tool() -> None:
    signs = b"# four rows\n....\n....\n....\n.<<>\n"
    plan = plan_of(BAND, 'signs = "lace.txt"\nsigns_needles = "L4-L1"\n', **{"lace.txt": signs})
    assert plan.hand_words(1) == (
        "move the loops of L3-L2 by 1 needle to the left, onto L4-L3",
        "move the loop of L1 by 1 needle to the right, onto R1",
    )
    assert [step.before for step in plan.hand] == sorted([*range(1, 41, 4)] * 2)


def test_a_step_by_hand_is_repeated() -> None:
    line = 'hand = [{ do = "cross", row = 6, needles = "L2-R2", towards = "right", every = 8, times = 3 }]\n'
    plan = plan_of(BAND, line)
    assert [step.before for step in plan.hand] == [6, 14, 22]
    assert plan.hand_words(6) == ("cross L2-L1 and R1-R2: the right group lies in front",)


def test_a_row_more_than_the_band_has_is_after_it_and_a_further_one_is_refused() -> None:
    marker = 'hand = [{{ do = "marker", row = {row}, needles = "L1" }}]\n'
    plan = plan_of(BAND, marker.format(row=41), BAND, marker.format(row=41))
    assert plan.hand_words(41) == plan.hand_words(81) == ("put in a marker at L1",)
    with pytest.raises(InputError, match="row 42 is not in the band; it has rows 1 to 40; 41 is after it"):
        plan_of(BAND, marker.format(row=42))


CHART_2 = {"c.txt": b"##..\n..##\n"}


@pytest.mark.parametrize(
    ("separation", "rows", "said"),
    [("doubled", 20, "20 rows of 2 courses"), ("paired", 40, "40 rows"), ("alternating", 20, "20 rows of 2 courses")],
)
def test_a_row_of_two_courses_counts_twice_in_a_length(separation: str, rows: int, said: str) -> None:
    """Forty courses are 10 cm: the fabric of `doubled` takes two for each row of the chart."""
    text = HEAD + '[[bands]]\ntechnique = "slip-colours"\nchart = "c.txt"\nrows = "10 cm"\n'
    piece_text = text + f'separation = "{separation}"\n'
    piece = parse_piece(piece_text, beside=CHART_2)
    assert piece.plan().knitted_row[-1] == rows
    assert piece.measured == (f"rows = 10 cm: {said}, 10.0 cm",)
    marked = piece_text + 'hand = [{ do = "marker", row = "5 cm", needles = "L1" }]\n'
    assert parse_piece(marked, beside=CHART_2).measured[1].startswith(f"row = 5 cm: after {rows // 2} row")
    if separation != "alternating":  # there the courses depend on the chart
        assert courses_of(piece.plan()) == 40


def test_a_step_asked_for_at_a_height_has_that_height_below_it() -> None:
    """Four centimetres are sixteen rows: a buttonhole there is made before the seventeenth."""
    text = HEAD + BAND + 'hand = [{ do = "buttonhole", row = "4 cm", needles = "R4-R13" }]\n'
    piece = parse_piece(text, file="front.toml")
    assert [step.before for step in piece.plan().hand] == [17]
    assert piece.measured == ("row = 4 cm: after 16 rows, 4.0 cm",)


def test_one_needle_is_emptied_where_several_loops_move_by_one() -> None:
    plan = plan_of(BAND, "shape = [{ by = -1, every = 4, times = 1, fashioned = 3 }]\n")
    assert plan.hand_words(4)[0].endswith("onto L39-L37 and put the emptied needle out of work")


def test_lengths_say_what_they_came_to() -> None:
    piece = parse_piece(HEAD + BAND.replace("40", '"12 cm"'), file="front.toml")
    assert piece.measured == ("rows = 12 cm: 48 rows, 12.0 cm",)
    repeats = parse_piece(HEAD + BAND.replace("40", '"12 cm in repeats of 14"'), file="front.toml")
    assert repeats.measured == ("rows = 12 cm: 42 rows, 10.5 cm, 1.5 cm less than asked",)


def test_the_needles_may_be_asked_for_in_centimetres() -> None:
    piece = parse_piece((HEAD + BAND).replace("L40-R40", "30 cm"), file="front.toml")
    assert piece.span.width == 84


def test_a_swatch_of_the_same_yarn_and_technique_counts_before_that_of_the_whole_piece() -> None:
    swatch = """
[yarns.sand]
[[swatches]]
yarn = "sand"
technique = "stocking"
stitches = 30
rows = 50
width_mm = 100
height_mm = 100
"""
    piece = parse_piece(HEAD + swatch + BAND.replace("40", '"10 cm"\nyarns = ["sand"]'), file="front.toml")
    assert piece.measured == ("rows = 10 cm: 50 rows, 10.0 cm",)


def test_rows_between_changes_may_be_asked_for_in_centimetres() -> None:
    plan = plan_of(BAND, 'shape = [{ by = -1, every = "1 cm", times = 3, from_row = "2 cm" }, { off = [2], from_row = "9 cm" }]\n'
                   'hand = [{ do = "marker", row = "5 cm", every = "1.5 cm", times = 2, needles = "L1" }]\n')  # fmt: skip
    assert [step.before for step in plan.hand] == [12, 12, 16, 16, 20, 20, 21, 27, 37, 38]


def test_whole_repeats_of_a_bands_own_chart_need_no_number() -> None:
    chart = b"#...\n.#..\n..#.\n"
    band = '[[bands]]\ntechnique = "fair-isle"\nchart = "c.txt"\nrow_repeat = 2\nrows = "10 cm in repeats"\n'
    piece = parse_piece(HEAD + band, beside={"c.txt": chart}, file="front.toml")
    assert piece.measured == ("rows = 10 cm: 42 rows, 10.5 cm, 0.5 cm more than asked",)
    with pytest.raises(InputError, match="the length of a repeat isn't known here"):
        parse_piece(HEAD + BAND.replace("40", '"10 cm in repeats"'), file="front.toml")


@pytest.mark.parametrize(
    ("needles", "ends"), [("L3-R3", ("#...#.", 5)), ("L4-R4", ("#...#...", 4)), ("L5-R4", ("", 3))]
)
def test_a_centred_chart_is_cut_alike_at_both_ends(needles: str, ends: tuple[str, int]) -> None:
    text = f'needles = "{needles}"\n[[bands]]\ntechnique = "fair-isle"\nchart = "c.txt"\ncentred = true\nshown_side = "purl"\n'
    plan = parse_piece(text, beside={"c.txt": b".##.\n"}).plan()
    mask = plan.acting_masks(1, 1)[0].tolist()
    left, right = mask.index(True), mask[::-1].index(True)
    assert abs(left - right) <= plan.span.width % 2
    assert not [
        finding
        for finding in findings(plan)
        if "cut" in finding.rule and "repeat" in finding.what and not plan.span.width % 2
    ]


def test_steps_by_hand_are_spread_evenly() -> None:
    # 5 in rows 5 to 115, as a band of 120 rows with 5 buttonholes has them: gaps of 27 or 28 rows
    hole = '{ do = "buttonhole-waste", row = 5, to_row = 115, times = 5, needles = "L3-L1" }'
    plan = plan_of(BAND.replace("40", "120"), f"hand = [{hole}]\n")
    assert [step.before for step in plan.hand] == [5, 33, 60, 87, 115]
    assert "length of waste yarn" in plan.hand_words(5)[0]
    for wrong in (hole.replace("times = 5, ", ""), hole.replace("115", "6")):
        with pytest.raises(InputError, match="to_row"):
            plan_of(BAND, f"hand = [{wrong}]\n")


def test_both_armholes_are_bound_off_by_the_rule_of_half_at_once() -> None:
    plan = plan_of(BAND, "shape = [{ armhole = 60 }]\n")
    assert [step.needles for step in plan.hand] == [5, 5, *[1] * 10]
    assert working(plan)[-1] == 60


def test_casting_on_and_binding_off_take_yarn_of_their_own_and_none_of_the_margin() -> None:
    yarns = "[yarns.sand]\nloop_length_mm = 10\n"
    knit = BAND.replace("rows = 40", 'rows = 40\nyarns = ["sand"]')
    begin, end = '[[bands]]\nbegin = "wrapped"\nyarns = ["sand"]\n', '[[bands]]\nend = "bound-off"\n'
    whole = yarn_need(plan_of(yarns, begin, knit, end))
    assert [(use.title, use.yarn.name, use.loops) for use in whole.by_hand] == [
        ("cast on, closed edge wrapped by hand", "sand", 80),
        ("bind off", "sand", 80),
    ]
    assert [use.metres for use in whole.by_hand] == pytest.approx([2.4, 2.4])
    bare = yarn_need(plan_of(yarns, knit))
    assert not bare.by_hand
    by_hand = whole.totals[0].metres_with_margin - bare.totals[0].metres_with_margin
    assert by_hand == pytest.approx(1.05 * (2 * 80 * 0.01), abs=1e-6)  # the two rows of the beginning alone


def test_no_yarn_floats_along_a_shoulder_or_from_one_side_of_a_neck_to_the_other() -> None:
    plan = plan_of(BAND, "shape = [{ neck = 30, shoulders = 3 }]\n")
    assert len(plan.yarn_breaks) == 1
    assert not len(floats(plan, 4))
    per_needle = yarn_need(plan).by_band[0].passed_needles / 80
    assert per_needle < 1


def test_floats_of_an_inlay_are_broken_without_changing_ends_that_are_to_knit() -> None:
    text = 'needles = "L4-R4"\n[[bands]]\ntechnique = "inlay"\nchart = "c.txt"\nbreak_floats = 1\n'
    files = {"c.txt": b"....####\n####....\n"}
    kept = parse_piece(text + 'edge_needles = "knit"\n', beside=files).plan().acting_masks()
    assert kept[:, [0, -1]].tolist() == [[True, False], [False, True]]


@pytest.mark.parametrize(
    ("before", "after", "parts", "words"),
    [
        ('[[bands]]\nbegin = "waste"\n', BAND, ["hem inside", "hem inside", "fabric"], "hang the first row's loops"),
        (BAND, '[[bands]]\nend = "bound-off"\n', ["fabric", "hem inside", "hem inside"], "lift the loop of its first row"),
        (BAND, "", ["fabric", "hem inside", "hem inside"], "lift the loop of its first row"),
        (BAND, BAND, ["hem inside"] * 3, "hang the first row's loops"),
    ],
)  # fmt: skip
def test_a_hem_is_folded_at_the_beginning_at_the_end_or_to_a_ridge_between(
    before: str, after: str, parts: list[str], words: str
) -> None:
    plan = plan_of(before, "[[bands]]\nhem = 9\n", after)
    hem = [band for band in plan.bands if band.name.startswith("hem")]
    assert [(band.part, band.passes) for band in hem] == list(zip(parts, [band.passes for band in hem], strict=True))
    assert sorted(band.passes for band in hem) == [1, 9, 9]
    assert hem[1].name == "hem, fold row"
    assert words in plan.hand_words(hem[-1].last + 1)[0]
    assert courses_of(plan) == 9 * ("fabric" in parts) + 40 * (before == BAND) + 40 * (after == BAND)
    two = hanging(plan)
    assert next(state for state in two if state.before == hem[-1].last + 1).loops.max() == (0 if "end" in after else 2)


def test_the_size_of_a_piece_counts_each_band_by_its_own_swatch() -> None:
    text = """
needles = "L20-R20"
[yarns.thin]
[yarns.thick]
[gauge]
stitches = 28
rows = 40
width_mm = 100
height_mm = 100
[[swatches]]
yarn = "thick"
stitches = 20
rows = 20
width_mm = 100
height_mm = 100
[[bands]]
technique = "stocking"
yarns = ["thin"]
rows = "10 cm"
[[bands]]
technique = "stocking"
yarns = ["thick"]
rows = "10 cm"
"""
    piece = parse_piece(text)
    assert [band.passes for band in piece.plan().bands] == [40, 20]
    assert piece.swatch is not None
    shape = outline(piece.plan(), piece.swatch.gauge)
    assert piece.swatch.gauge.finished_cm(shape.width, shape.rows) == pytest.approx((20, 20))
    assert shape.knitted == (40, 60)


def test_a_needle_that_waits_before_it_is_bound_off_or_held_is_not_said_never_to_knit() -> None:
    text = 'needles = "L10-R10"\n[[bands]]\ntechnique = "stocking"\nrows = 4\n[[bands]]\ntechnique = "slip"\n'
    text += 'chart = "one.txt"\nrows = 8\nshape = [{ off = [3], from_row = 2 }]\n'
    plan = parse_piece(text, beside={"one.txt": b"#.#.\n.#.#\n"}).plan()
    assert not [finding for finding in findings(plan) if finding.rule == "never-knits"]
    still = parse_piece(text.replace("rows = 8", "rows = 30"), beside={"one.txt": b"..#..#..\n"}).plan()
    assert [finding for finding in findings(still) if finding.rule == "never-knits"]


TWO_BEDS = """
machine = "double-180"
needles = "L10-R10"
start = "right"
[[bands]]
technique = "stocking"
rows = 4
"""
JACQUARD = """
[[bands]]
technique = "jacquard"
chart = "one.txt"
rows = 8
"""
ONE = {"one.txt": b"..#..#..\n"}


def two_beds(*parts: str) -> Plan:
    return parse_piece(TWO_BEDS + "".join(parts), beside=ONE).plan()


def of_second_bed(plan: Plan) -> dict[int, list[str]]:
    """What is said of the second bed before each pass of a piece that has something to be done there."""
    words = {number: plan.hand_words(number) for number in range(1, plan.passes + 2)}
    return {
        number: said for number, lines in words.items() if (said := [line for line in lines if "second bed" in line])
    }


def test_a_shaped_jacquard_can_be_knitted_and_says_so_of_its_second_bed() -> None:
    plan = two_beds(JACQUARD, "shape = [{ by = -1, every = 3, times = 2 }]\n", '[[bands]]\nend = "bound-off"\n')
    (finding,) = [item for item in findings(plan) if item.rule == "second-bed-loops"]
    assert finding.severity == "look at"
    assert can_be_knitted(findings(plan))
    straight = parse_piece(TWO_BEDS.replace('start = "right"', "") + JACQUARD, beside=ONE).plan()
    assert "second-bed-loops" not in {item.rule for item in findings(straight)}


def test_the_second_bed_comes_in_narrows_and_is_bound_off_with_the_pattern_bed() -> None:
    plan = two_beds(JACQUARD, "shape = [{ by = -1, every = 3, times = 2 }]\n", '[[bands]]\nend = "bound-off"\n')
    said = of_second_bed(plan)
    assert list(said) == [5, 9, 15, 21]  # the rows of two passes each begin with passes 5, 7, 9 …
    assert said[5] == [
        "bring the second bed's needles at L10-R10 into working position; the next pass lays their loops"
    ]
    assert said[9][0].startswith("at L10, R10 move the second bed's end loops inward")
    assert said[15][0].startswith("at L9, R9 move the second bed's end loops inward")
    off, bound = plan.hand_words(21)
    assert off.startswith("transfer the second bed's loops at L8-R8 onto these needles of the pattern bed")
    assert bound.startswith("bind off the loops of L8-R8")


def test_the_second_bed_gives_its_loops_to_the_pattern_bed_before_a_band_on_one_bed() -> None:
    plan = two_beds(
        JACQUARD,
        "shape = [{ off = [3], side = 'right', from_row = 4 }]\n",
        "[[bands]]\ntechnique = 'stocking'\nrows = 3\n",
    )
    said = of_second_bed(plan)
    assert list(said) == [5, 11, 21]
    assert said[11][0].startswith("transfer the second bed's loops at R8-R10 onto these needles")
    assert plan.hand_words(11)[1].startswith("bind off the loops of R8-R10")
    assert said[21][0].startswith("transfer the second bed's loops at L10-R7 onto these needles")


@pytest.mark.parametrize(
    ("shape", "number", "words"),
    [
        ("hold = 4, steps = 1, side = 'left'", 5, "bring the second bed's needles at L10-L7 into holding position"),
        ("hold = 4, steps = 1, side = 'left'", 9, "push the second bed's needles at L10-L7 back"),
        (
            "by = 1, every = 2, times = 1, side = 'left'",
            7,
            "bring the second bed's needles at L11 into working position",
        ),
        ("on = [2], side = 'left', from_row = 3", 9, "bring the second bed's needles at L12-L11 into working position"),
    ],
)
def test_what_the_pattern_bed_does_the_second_bed_does(shape: str, number: int, words: str) -> None:
    said = of_second_bed(two_beds(JACQUARD, f"shape = [{{ {shape} }}]\n"))
    assert any(line.startswith(words) for line in said[number])


def test_who_steps_back_leaves_the_second_bed_as_it_is() -> None:
    plan = two_beds(JACQUARD, "shape = [{ by = -1, every = 3, times = 2 }]\n")
    told = [prompt.text for prompt in stepping_back(plan, 8, 10, set_up(plan, 8))]
    assert any(text.startswith("done already, and stays: at L10, R10 move the second bed's end loops") for text in told)
    assert not any(text.startswith("at L10, R10 move the second bed's end loops") for text in told)


def test_the_second_bed_takes_no_yarn_beyond_the_needles_in_work() -> None:
    """A row of two colours knits once on the pattern bed and twice on the second."""
    whole, half = (yarn_need(two_beds(JACQUARD, shape)) for shape in ("", "shape = [{ off = [10], side = 'right' }]\n"))
    knitted = [sum(use.knit_loops for use in need.by_band if use.band == "band 2") for need in (whole, half)]
    assert knitted == [8 * 20 * 3, 8 * 10 * 3]


def test_a_piece_begins_once() -> None:
    with pytest.raises(InputError, match="a piece begins with its first band"):
        plan_of(BAND, '[[bands]]\nbegin = "waste"\n')


def test_waste_yarn_may_be_named() -> None:
    yarns = "[yarns.oddment]\n[yarns.string]\n"
    plan = plan_of(yarns, '[[bands]]\nbegin = "waste"\nyarns = ["oddment", "string"]\n', BAND,
                   '[[bands]]\nend = "waste"\nyarns = ["oddment"]\n')  # fmt: skip
    assert [band.yarns[0].name for band in plan.bands] == ["oddment", "string", "main", "oddment"]


@pytest.mark.parametrize(
    ("lines", "complaint"),
    [
        ("shape = [{ to = 61 }]", f'{AT}shape.1.to", {BAND_1}: from 80 to 61 stitches one stitch is left over'),
        ("shape = [{ off = [70, 20] }]", f'{AT}shape.1.off", {BAND_1}, row 2: binding off 70 stitches leaves none to go on with'),
        (
            "shape = [{ off = [4, 3], from_row = 38 }]",
            f'{AT}shape.1.off", {BAND_1}, row 41, R34-R36: this falls after the band\'s last row, which is 40; knit 1 row',
        ),
        (
            "shape = [{ by = -1, every = 4, times = 10, from_row = 2 }]",
            f'{AT}shape.1.by", {BAND_1}, row 41, L31: this falls after the band\'s last row',
        ),
        ("shape = [{ to = 60, by = 1 }]", 'key "bands.1.shape.1.by": a shape says one thing'),
        (
            "shape = [{ neck = 30, shoulders = [5, 5] }]",
            f'{AT}shape.1.neck", {BAND_1}: the shoulders take 10 stitches, and 25 are left',
        ),
        ('hand = [{ do = "move", row = 4, needles = "L41" }]', 'key "bands.1.hand.1.needles"'),
        ('hand = [{ do = "knot", row = 4, needles = "L4" }]', '"knot" is not known here; accepted: wrap'),
        (
            'hand = [{ do = "move", row = 4, needles = "L40", by = 3 }]',
            f'{AT}hand.1", {BAND_1}, row 4, L40: the loops would leave',
        ),
        ('hand = [{ do = "wrap-held", row = 4, needles = "L4" }]', "row 4, L4: none of these needles is held"),
        ('hand = [{ do = "release", row = 4, needles = "L4" }]', "row 4, L4: none of these needles is held"),
        ('hand = [{ do = "into-work", row = 4, needles = "L4" }]', "row 4, L4: none of these needles is out of work"),
        ('rows = "a foot"', '"a foot" is neither a whole number nor a length'),
    ],
)  # fmt: skip
def test_mistakes_name_line_key_band_row_and_needle(lines: str, complaint: str) -> None:
    band = BAND.replace("rows = 40\n", "") if lines.startswith("rows") else BAND
    with pytest.raises(InputError) as caught:
        plan_of(band, lines)
    assert complaint in caught.value.sentence()


def test_one_of_several_steps_is_named_with_the_line_on_which_it_stands() -> None:
    steps = ['{ do = "marker", row = 2, needles = "L1" }', '{ do = "move", row = 4, needles = "L40" }']
    with pytest.raises(InputError, match=r'line 15, key "bands.1.hand.2", band "band 1", row 4, L40: the loops'):
        plan_of(BAND, "hand = [\n", ",\n".join(steps), "\n]\n")


def test_a_band_may_be_knitted_several_times() -> None:
    plan = plan_of(
        BAND.replace(
            "rows = 40", 'name = "wedge"\nrows = 8\ntimes = 3\nshape = [{ hold = 6, steps = 2, side = "left" }]'
        )
    )
    assert [band.name for band in plan.bands] == ["wedge 1", "wedge 2", "wedge 3"]
    assert working(plan) == [77, 77, 74, 74, 80, 80, 80, 80] * 3


def test_yarns_and_swatches_may_be_shared_by_many_pieces() -> None:
    shared = b"""
[yarns.sand]
count = "200 tex"
[yarns.foam]
[[swatches]]
yarn = "sand"
stitches = 20
rows = 30
width_mm = 100
height_mm = 100
"""
    text = 'needles = "L20-R20"\nyarns_file = "chest.toml"\n[yarns.foam]\ncolour = "#112233"\n'
    band = BAND.replace("40", '"10 cm"\nyarns = ["sand"]')
    piece = parse_piece(text + band, beside={"chest.toml": shared})
    assert {yarn.name: yarn.tex for yarn in piece.yarns} == {"foam": None, "sand": 200.0}
    assert next(yarn for yarn in piece.yarns if yarn.name == "foam").colour == "#112233"
    assert piece.measured == ("rows = 10 cm: 30 rows, 10.0 cm",)
    with pytest.raises(InputError, match=r"chest\.toml"):
        parse_piece(text + band, beside={"chest.toml": b"[yarns.sand]\ncuont = 3\n"})


SHORT_ROWS = (
    HEAD
    + '[[bands]]\nname = "plain"\ntechnique = "stocking"\nrows = 2\n'
    + '[[bands]]\nname = "short rows"\ntechnique = "stocking"\nrows = 8\n'
    + 'shape = [{ hold = 4, steps = 2, side = "left" }]\n'
)


def test_the_carriage_is_set_to_hold_before_needles_are_held_and_back_when_none_is() -> None:
    plan = parse_piece(SHORT_ROWS).plan()
    told = {
        number: [line for line in plan.actions(number) if line in (HOLD_SET, SET_BACK)]
        for number in range(1, plan.passes + 2)
    }
    assert {number: lines for number, lines in told.items() if lines} == {3: [HOLD_SET], 7: [SET_BACK]}
    assert [number for number in range(1, plan.passes + 1) if HOLD_WEIGHTS in plan.actions(number)] == [3]
    assert plan.actions(3)[-1] == HOLD_SET  # after the setting of the band, which it adds to
    resumed = [prompt.text for prompt in set_up(plan, 4)]
    assert HOLD_SET in resumed
    assert HOLD_SET not in [prompt.text for prompt in set_up(plan, 7)]


@pytest.mark.parametrize(("row", "needles"), [("xxyyxxy", "R4"), ("....yxx", "R2"), ("xxx....", "L3-L1")])
def test_an_odd_cable_of_signs_is_refused_with_its_needles(row: str, needles: str) -> None:
    with pytest.raises(InputError, match=f"row 1, {needles}: a cable crosses two groups"):
        plan_of(BAND, 'signs = "c.signs"\nsigns_needles = "L3-R4"\n', **{"c.signs": row.encode() + b"\n"})


def test_the_rows_of_a_neck_in_centimetres_are_a_multiple_of_four() -> None:
    text = HEAD + BAND.replace("40", '"8.5 cm"') + "shape = [{ neck = 30 }]\n"
    piece = parse_piece(text, file="front.toml")
    assert piece.measured == ("rows = 8.5 cm: 32 rows, 8.0 cm, 0.5 cm less than asked",)
    assert piece.plan().passes == 32


@pytest.mark.parametrize(
    ("shape", "becomes"),
    [
        ('neck = "3.2 cm"', "neck = 3.2 cm: 8 needles, 2.9 cm, 0.3 cm less than asked; 9 would be nearer"),
        ('to = "20.4 cm"', "to = 20.4 cm: 58 needles, 20.7 cm, 0.3 cm more than asked; 57 would be nearer"),
        ('to = "30.3 cm"', "to = 30.3 cm: 84 needles, 30.0 cm, 0.3 cm less than asked; 85 would be nearer"),
        ('armhole = "20.4 cm"', "armhole = 20.4 cm: 58 needles, 20.7 cm, 0.3 cm more than asked; 57 would be nearer"),
        ('to = "20.4 cm", side = "left"', "to = 20.4 cm: 57 needles, 20.4 cm"),
        ('neck = "2.9 cm"', "neck = 2.9 cm: 8 needles, 2.9 cm"),
    ],
)
def test_a_length_says_first_what_it_becomes_and_then_what_would_leave_one_side_wider(shape: str, becomes: str) -> None:
    (said,) = parse_piece(HEAD + BAND + f"shape = [{{ {shape} }}]\n", file="front.toml").measured
    assert said.removesuffix(", but leave one side a stitch wider than the other") == becomes


def test_who_steps_back_is_told_which_hand_steps_to_undo_and_which_stay_done() -> None:
    plan = parse_piece(SHORT_ROWS).plan()
    told = [prompt.text for prompt in stepping_back(plan, 4, 7, set_up(plan, 4))]
    assert told[1] == "undo what was done by hand before pass 7: push L40-L37 back into working position"
    assert (
        "undo what was done by hand before pass 6: lay the yarn round L37, which is held, so that no hole stays" in told
    )
    assert "done already, and stays: bring L38-L37 into holding position" in told
    assert "bring L38-L37 into holding position" not in told
    assert HOLD_SET in told
    before = [prompt.text for prompt in stepping_back(plan, 1, 4, set_up(plan, 1))]
    assert SET_BACK in before


def test_the_stitch_size_is_asked_for_where_a_band_begins() -> None:
    sand = "[yarns.sand]\nstitch_size = 7\n"
    plan = plan_of(sand, '[[bands]]\nhem = 4\nyarns = ["sand"]\n', BAND)
    sizes = [[line for line in plan.notes[band.first] if "stitch size" in line] for band in plan.bands]
    assert sizes == [["set the stitch size to 7"], ["set the stitch size to 9"], ["set the stitch size to 7"],
                     ["set the stitch size that suits main"]]  # fmt: skip
    loose = plan_of("[[bands]]\nhem = 4\n", BAND)
    assert "set a larger stitch size, for this row only" in loose.notes[5]
    assert not [line for line in plan_of(BAND).notes[1] if "stitch size" in line]


def test_what_hands_take_is_told_before_the_piece_begins() -> None:
    plan = plan_of('[[bands]]\nbegin = "waste"\n', BAND, '[[bands]]\nend = "bound-off"\n')
    told = [prompt.text for prompt in set_up(plan, 0)]
    assert "have at hand: a cast-on comb and weights, a transfer tool" in told
    assert not any("have at hand" in prompt.text for prompt in set_up(plan, 3))


def test_plain_rows_leave_the_held_needles_held() -> None:
    plan = parse_piece(SHORT_ROWS).plan()
    settings = [
        next(prompt.text for prompt in plain_rows(plan, done) if prompt.what is What.PLAIN)
        for done in range(plan.passes)
    ]
    held = [HOLD_SET in words for words in settings]
    assert held == [done in range(2, 7) for done in range(plan.passes)]
    assert all(words == PLAIN_SET for words, is_held in zip(settings, held, strict=True) if not is_held)


def test_a_band_whose_first_pass_is_the_way_back_is_set_for_it() -> None:
    def told(technique: str, start: str) -> str:
        text = f'start = "{start}"\n[[bands]]\ntechnique = "{technique}"\nchart = "drawn.txt"\n'
        return parse_piece(text, beside={"drawn.txt": b"..#..\n" * 4}).plan().notes[1][-1]

    assert told("hold", "left") == "set the carriage to hold, rightward only"
    assert told("hold", "right") == (
        "set the carriage to plain for this leftward pass; the pattern is worked rightward only"
    )
    assert told("tuck-one-way", "right") == ("set the carriage to tuck, rightward only; this leftward pass knits plain")


def test_a_chart_of_held_stitches_releases_nothing_before_its_first_pass() -> None:
    plan = parse_piece(
        '[[bands]]\ntechnique = "hold"\nchart = "held.txt"\n', beside={"held.txt": b"..#..\n" * 4}
    ).plan()
    released = [any("release" in line for line in plan.actions(number)) for number in range(1, plan.passes + 1)]
    assert released[0] is False
    assert any(released)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("shape = 3", "write each as [[bands.shape]]"),
        ('signs_needles = "L3-R3"', 'this key goes with "signs", which is missing'),
        ("fold_stitch_size = 7", 'this key goes with "hem", which is missing'),
        ('[[bands]]\nend = "cord"\nfold_stitch_size = 7', 'this key goes with "hem", which is missing'),
        ('[[bands]]\nend = "cord"\nrows = 2\nsigns_needles = "L3-R3"', 'goes with "signs", which is missing'),
        ('[[bands]]\nend = "cord"\nshape = [{ to = 8 }]', "move shape to a band with a technique"),
        ("shape = [{ to = 8, shoulders = 3 }]", 'this key goes with "neck", which is missing'),
        (f"stitch_size = {'9' * 5000}", "line 5: this number has more than 64 bits"),
        ('shape = [{ to = "0 cm" }]', "is no length to knit"),
        ("enlarge = 3", "as in enlarge = [2, 1]"),
    ],
)
def test_a_wrong_key_in_a_band_is_told_what_is_right_there(line: str, told: str) -> None:
    text = f'needles = "L10-R10"\n[[bands]]\ntechnique = "stocking"\nrows = 8\n{line}\n'
    with pytest.raises(InputError) as error:
        parse_piece(text, file="panel.toml").plan()
    assert told in str(error.value)


def test_a_long_text_in_the_place_of_a_length_is_not_repeated_whole() -> None:
    text = f'needles = "L10-R10"\n[[bands]]\ntechnique = "stocking"\nrows = "{"x" * 1500}"\n'
    with pytest.raises(InputError) as error:
        parse_piece(text, file="panel.toml").plan()
    assert len(str(error.value)) < 300
