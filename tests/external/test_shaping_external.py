"""Shaping sums against published worked examples; each source stands beside its check, its mistakes too."""

from __future__ import annotations

import pytest

from latchline.errors import InputError
from latchline.shaping.rates import Rate, across, in_turn, spread, two_rates
from latchline.shaping.steps import armhole, gaps, half_the_difference, level_steps, round_neck

pytestmark = pytest.mark.external


@pytest.mark.parametrize(
    ("changes", "rows", "even", "rates"),
    [
        # two public hand-knitting pages on evenly spread changes, read
        (42, 176, False, {(34, 4), (8, 5)}),
        (36, 140, False, {(4, 3), (32, 4)}),
        (17, 55, False, {(13, 3), (4, 4)}),
        (16, 112, False, {(16, 7)}),
        # a sleeve pattern: 38 to 60 stitches, 15.5 in at 7 rows to the inch evened down; answer computed
        (11, 108, False, {(2, 9), (9, 10)}),
        # even rows only, the "divide by 2" rule (Righetti, Sweater Design in Plain English, p. 179); computed
        (11, 108, True, {(1, 8), (10, 10)}),
        (9, 42, True, {(6, 4), (3, 6)}),
        (42, 176, True, {(38, 4), (4, 6)}),
        (36, 140, True, {(2, 2), (34, 4)}),
        # a raglan: 15 a side over 30 rows, 40 stitches less 2 bound off a side to 6; public page, read
        (15, 30, False, {(15, 2)}),
    ],
)
def test_changes_fall_at_the_two_published_rates(
    changes: int, rows: int, even: bool, rates: set[tuple[int, int]]
) -> None:
    found = two_rates(changes, rows, even=even)
    assert {(rate.times, rate.every) for rate in found} == rates
    assert sum(rate.times * rate.every for rate in found) == rows
    rows_between = [
        b - a for a, b in zip((0, *spread(changes, rows, even=even)), spread(changes, rows, even=even), strict=False)
    ]
    assert {(rows_between.count(gap), gap) for gap in set(rows_between)} == rates  # the order is a matter of taste


def test_published_slips_are_not_repeated() -> None:
    # the page with 42 in 176 prints 78 − 32 = 42 for 78 − 36: the stitches, not the printed sum, are right
    assert half_the_difference(2 * 78, 2 * 36, "narrowing") == 42
    # a page answers 36 in 140 with 36 × every third row and 32 rows plain: that is 108 rows, not 140
    assert two_rates(36, 140) != (Rate(36, 3),)


def test_a_neck_edge_at_three_rates_takes_fifteen_stitches_in_thirty_rows() -> None:
    # a pattern page, read: 6 × every row, 6 × every second, 3 × every fourth; at rows 6, 18 and 30
    rows = in_turn((Rate(6, 1), Rate(6, 2), Rate(3, 4)))
    assert (len(rows), rows[5], rows[11], rows[14]) == (15, 6, 18, 30)


def test_four_increases_across_fifty_one_stitches() -> None:
    # a page on even spacing, read: at 13, 26, 39, 51 in the round and at 6, 19, 32, 45 flat
    assert across(4, 51, in_the_round=True) == (13, 26, 39, 51)
    assert across(4, 51) == (6, 19, 32, 45)


@pytest.mark.parametrize(
    "published",
    # shoulders of a pattern in many sizes, read; sums computed
    [(5, 5, 6), (4, 4, 4), (6, 5, 5), (6, 6, 6), (6, 7, 7), (8, 7, 7), (8, 9, 9), (10, 9, 9), (10, 10, 10)],
)
def test_steps_of_a_shoulder_are_those_of_the_pattern_in_some_order(published: tuple[int, ...]) -> None:
    assert sorted(level_steps(sum(published), 3)) == sorted(published)


def test_both_shoulders_of_ninety_three_stitches_leave_fifty_seven_for_the_neck() -> None:
    # a page on short rows, read: 6 steps of 3 at each end, 12 rows; 57 computed
    assert level_steps((93 - 57) // 2, 6) == (3,) * 6


def test_half_of_an_armhole_goes_at_once_and_the_rest_one_by_one() -> None:
    # common hand-knitting rule, read: (cast on − cross-back) / 2 a side; half at once, the rest one at a time
    assert armhole(120, 100) == (5, 1, 1, 1, 1, 1)
    with pytest.raises(InputError, match="one stitch is left over"):  # counts keep the same parity; read
        armhole(120, 99)


def test_a_round_neck_of_thirty_two_stitches() -> None:
    # a book on knitting, read; the back's final 2 by arithmetic
    assert round_neck(32) == (12, (3, 2, 2, 1, 1, 1))
    assert round_neck(32, back=True) == (20, (4, 2))


@pytest.mark.parametrize("width", range(6, 120))
@pytest.mark.parametrize("back", [False, True])
def test_a_round_neck_takes_off_its_width(width: int, back: bool) -> None:
    centre, sides = round_neck(width, back=back)
    assert centre + 2 * sum(sides) == width
    assert centre > 0
    assert all(step > 0 for step in sides)
    assert list(sides) == sorted(sides, reverse=True)


@pytest.mark.parametrize(("stitches", "centre", "shoulder"), [(79, 21, 18), (85, 23, 20), (91, 25, 22)])
def test_a_neck_taken_off_one_a_row_leaves_the_published_shoulders(stitches: int, centre: int, shoulder: int) -> None:
    # a pattern in three sizes, read: the centre off, then 11 rows of 1 a side
    assert half_the_difference(stitches, centre, "a neck") - 11 == shoulder


def test_five_buttonholes_in_a_band_of_120_rows() -> None:
    # 5 holes of 2 rows with 4 rows at each end leave gaps of 26, 25, 26, 25 in any order; computed
    assert sorted(gaps(5, 120, ends=4)) == [25, 25, 26, 26]


def test_more_changes_than_rows_are_refused() -> None:
    with pytest.raises(InputError, match="do not go into"):
        two_rates(31, 60, even=True)
