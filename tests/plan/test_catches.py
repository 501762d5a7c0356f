"""The fewest catching stitches of a row, against every other way of placing some."""

from __future__ import annotations

from itertools import combinations, groupby, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from latchline.plan.catches import Limited, catches

KINDS = {
    "two yarns": Limited(True, True, at_ends=False),
    "missed": Limited(True, False, at_ends=False),
    "held": Limited(False, True, at_ends=False),
    "tucked": Limited(True, False, at_ends=True),
    "laid in": Limited(True, True, at_ends=True),
}


Row = tuple[int, ...]


def floats(row: Row, kind: Limited) -> list[range]:
    """The floats of a row, run by run."""
    found, at = [], 0
    for value, group in groupby(row):
        size = len(list(group))
        inside = at > 0 and at + size < len(row)
        if (inside or kind.at_ends) and (kind.selected if value else kind.unselected):
            found.append(range(at, at + size))
        at += size
    return found


def fewest(row: Row, kind: Limited, most: int) -> tuple[int, int]:
    """By trying every set of stitches: how few of the drawing's own and how few in all keep floats short."""
    drawn = set(range(len(row))) - {place for run in floats(row, kind) if len(run) > most for place in run}
    adds = {0, 1} if kind.selected and kind.unselected else {0 if kind.unselected else 1}  # a catch, or its undoing
    ways = []
    for size in range(len(row) + 1):
        for places in combinations([place for place, value in enumerate(row) if value in adds], size):
            tried = tuple(1 - value if place in places else value for place, value in enumerate(row))
            if all(len(run) <= most for run in floats(tried, kind)):
                ways.append((len(drawn & set(places)), size))
    return min(ways)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
@given(row=st.lists(st.integers(0, 1), min_size=1, max_size=9), most=st.integers(1, 5), turn=st.integers(0, 7))
def test_no_other_way_of_keeping_floats_short_changes_fewer_stitches(
    kind: Limited, row: list[int], most: int, turn: int
) -> None:
    marks = np.array([row], dtype=np.bool_)
    changed = catches(marks, most, kind, np.array([turn], np.int32))
    after = tuple((marks ^ changed)[0].astype(int).tolist())
    assert all(len(run) <= most for run in floats(after, kind))
    drawn, stitches = fewest(tuple(row), kind, most)
    assert int(changed.sum()) == stitches
    floating = {place for run in floats(tuple(row), kind) if len(run) > most for place in run}
    assert sum(place not in floating for place in np.flatnonzero(changed[0]).tolist()) == drawn


def test_a_lone_stitch_is_not_taken_out_of_the_drawing_to_be_rid_of_its_float() -> None:
    changed = catches(np.array([[1, 0, 0, 0, 0, 0, 0, 1]], np.bool_), 5, KINDS["two yarns"], np.zeros(1, np.int32))
    assert changed.sum() == 1
    assert not changed[0, [0, 7]].any()


@pytest.mark.parametrize("needles", [7, 8, 9, 10])
def test_catches_do_not_line_up_over_rows(needles: int) -> None:
    """The same float in eight rows, limit 5: each of the needles that will do is taken by turns."""
    row = [1, *[0] * needles, 1]
    changed = catches(np.array([row] * 8, np.bool_), 5, KINDS["two yarns"], np.arange(8, dtype=np.int32))
    assert changed.sum(axis=1).tolist() == [1] * 8
    places = changed.argmax(axis=1).tolist()
    room = min(4, len([place for place in range(2, needles) if place <= 6 and needles - place <= 5]))
    assert len(set(places)) == room
    assert all(one != other for one, other in pairwise(places))


def test_outlines_stay_where_a_catch_has_room() -> None:
    changed = catches(
        np.array([[1, 1, *[0] * 6, 1, 1]] * 4, np.bool_), 5, KINDS["two yarns"], np.arange(4, dtype=np.int32)
    )
    assert not changed[:, [0, 1, 2, 7, 8, 9]].any()


def test_needles_that_are_fixed_are_left_alone_even_where_that_leaves_no_way() -> None:
    marks = np.array([[1, 0, 0, 0, 1]], np.bool_)
    fixed = np.array([False, False, True, False, False])
    turn = np.zeros(1, np.int32)
    assert catches(marks, 1, KINDS["missed"], turn).tolist() == [[False, False, True, False, False]]
    assert catches(marks, 2, KINDS["missed"], turn, fixed).sum() == 1
    assert not catches(marks, 1, KINDS["missed"], turn, ~np.zeros(5, np.bool_)).any()
