"""Colour separations against figures worked out on paper, before and apart from the code.

All of it follows from one fact of the trade: a changer on the left can change the yarn only after a
leftward pass. `doubled` is common practice (no source); the figures of the other schemes, the worked
example and the oracle are practice or derived from that fact. The back-to-front ratios of a jacquard
are computed; that alternate needles of the second bed give 1:1, 2:3 and 1:2 is from memory of D. J. Spencer,
Knitting Technology, 3rd ed. 2001, chapter on jacquard, not re-read.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import count, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import strategies
from latchline.chart.model import Chart
from latchline.chart.read import read_chart
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named

pytestmark = pytest.mark.external

BED = load_profile("double-180")  # its changer stands on the left


def separated(chart: Chart, scheme: str, technique: str = "slip-colours", **options: object) -> Plan:
    wanted = Options(shown_side="purl", separation=scheme, **options)  # type: ignore[arg-type]
    return compile_plan(
        "piece", BED, BED.centred(chart.stitches), [BandRequest("band", technique_named(technique), wanted, chart)]
    )


def test_the_worked_example_of_two_paired_colours() -> None:
    """Chart rows bottom-up ABBA, BABA, AABB, the first pass leftward (derived on paper)."""
    cells = np.array([["AB".index(stitch) for stitch in row] for row in ("ABBA", "BABA", "AABB")], np.uint8)
    plan = separated(Chart(cells, strategies.coloured_palette(2)), "paired")
    rows = [
        (
            number,
            plan.direction(number),
            "AB"[plan.colour[number - 1]],
            "".join("01"[int(bit)] for bit in plan.acting_masks(number, number)[0]),
            int(plan.chart_row[number - 1]),
        )
        for number in range(1, plan.passes + 1)
    ]
    assert rows == [
        (1, "leftward", "A", "1001", 1),
        (2, "rightward", "B", "0110", 1),
        (3, "leftward", "B", "1010", 2),
        (4, "rightward", "A", "0101", 2),
        (5, "leftward", "A", "1100", 3),
        (6, "rightward", "B", "0011", 3),
    ]


# scheme, passes and courses for a chart row of k colours, longest run of passes over which a needle keeps its loop
FIGURES = [
    *(("doubled", k, 2 * k, 2, 4 * (k - 1)) for k in (2, 3, 4)),
    *(("blank-return", k, 2 * k, 1, 4 * (k - 1) + 1) for k in (2, 3, 4)),
    ("paired", 2, 2, 1, 2),
    *(("paired", k, 2 * k - 2, 1, 4 * k - 6) for k in (3, 4)),
    ("alternating", 2, 2, 2, 2),
]


def checked_by_hand(plan: Plan, chart: Chart, courses: int) -> int:
    """Assert the oracle with plain lists; return the longest run of passes over which a needle keeps its loop."""
    passes = [
        (
            plan.rightward[index],
            plan.bands[0].colours[int(plan.colour[index])],
            plan.acting_masks(index + 1, index + 1)[0].tolist(),
        )
        for index in range(plan.passes)
    ]
    for before, after in pairwise(passes):
        assert before[0] != after[0], "directions alternate"
        assert before[1] == after[1] or not before[0], "the colour changes only after a leftward pass"
    longest = 0
    for needle in range(chart.stitches):
        selecting = [colour for _, colour, mask in passes if mask[needle]]
        column = [int(cell) for cell in chart.cells[:, needle]]
        assert selecting == [cell for cell in column for _ in range(courses)]
        taking = [index for index, (_, _, mask) in enumerate(passes) if mask[needle]]
        longest = max([longest, *(later - sooner - 1 for sooner, later in pairwise(taking))])
    return longest


@pytest.mark.parametrize(("scheme", "colours", "passes_a_row", "courses", "held_most"), FIGURES[:-1])
@given(data=st.data())
def test_each_needle_is_selected_by_the_colours_of_its_column_in_their_order(
    scheme: str, colours: int, passes_a_row: int, courses: int, held_most: int, data: st.DataObject
) -> None:
    chart = data.draw(strategies.coloured_charts(colours, rows=(1, 9)))
    plan = separated(chart, scheme)
    assert plan.passes <= passes_a_row * chart.rows
    if scheme != "paired":
        assert plan.passes == sum(2 * len(set(row.tolist())) for row in chart.cells)
    elif all(len(set(row.tolist())) == colours for row in chart.cells):
        assert plan.passes == passes_a_row * chart.rows
    assert checked_by_hand(plan, chart, courses) <= held_most + (scheme == "paired")


def fewest_passes(rows: list[set[int]]) -> int:
    """By trying every way: each pass knits or brings back one colour, and it changes only at the changer.

    The carriage begins away from the changer with any one colour threaded.
    """
    colours = set().union(*rows)
    states = {(0, frozenset(rows[0]), True, colour) for colour in colours}
    for passes in count():
        if any(row == len(rows) for row, *_ in states):
            return passes
        coming = set()
        for row, left, away, carried in states:
            for colour in {carried} if away else colours:
                coming.add((row, left, not away, colour))
                if colour in left:
                    rest = left - {colour}
                    done = not rest
                    ahead = frozenset(rows[row + 1]) if done and row + 1 < len(rows) else rest
                    coming.add((row + done, ahead, not away, colour))
        states = coming
    raise AssertionError


@pytest.mark.parametrize("colours", [2, 3, 4])
@given(data=st.data())
def test_paired_rows_that_lack_colours_take_the_fewest_passes_that_the_changer_allows(
    colours: int, data: st.DataObject
) -> None:
    chart = data.draw(strategies.coloured_charts(colours, stitches=3, rows=(1, 6)))
    plan = separated(chart, "paired")
    assert plan.passes == fewest_passes([set(row.tolist()) for row in chart.cells])
    checked_by_hand(plan, chart, 1)


def fewest_passes_by_hand(rows: list[set[int]]) -> int:
    """By trying every way: a pass goes across with a yarn that lies where the carriage stands, or with none."""
    colours = sorted(set().union(*rows))
    start = tuple("anywhere" for _ in colours)
    states = {(0, frozenset(rows[0]), side, start) for side in ("left", "right")}
    for passes in count():
        if any(row == len(rows) for row, *_ in states):
            return passes
        coming = set()
        for row, left, side, lies in states:
            over = "right" if side == "left" else "left"
            coming.add((row, left, over, lies))
            for place, colour in enumerate(colours):
                if colour in left and lies[place] in (side, "anywhere"):
                    rest = left - {colour}
                    ahead = frozenset(rows[row + 1]) if not rest and row + 1 < len(rows) else rest
                    coming.add((row + (not rest), ahead, over, (*lies[:place], over, *lies[place + 1 :])))
        states = coming
    raise AssertionError


@pytest.mark.parametrize("colours", [2, 3, 4])
@given(data=st.data())
def test_paired_by_hand_takes_the_fewest_passes_that_yarns_lying_at_either_side_allow(
    colours: int, data: st.DataObject
) -> None:
    chart = data.draw(strategies.coloured_charts(colours, stitches=3, rows=(1, 6)))
    plan = separated(chart, "paired", changer="hand")
    rows = [set(row.tolist()) for row in chart.cells]
    assert plan.passes == fewest_passes_by_hand(rows)
    assert plan.passes >= sum(map(len, rows))
    lies: dict[int, bool] = {}  # colour, and whether its yarn lies at the right
    shown: list[list[int]] = [[] for _ in range(chart.stitches)]
    for number in range(1, plan.passes + 1):
        colour, rightward = int(plan.colour[number - 1]), bool(plan.rightward[number - 1])
        selected = np.flatnonzero(plan.acting_masks(number, number)[0]).tolist()
        assert bool(selected) != bool(plan.why_empty(number))
        if colour < 0:
            assert not selected
            assert "take the yarn out" in plan.actions(number)[-1]
            continue
        assert lies.get(colour, not rightward) != rightward, "a yarn begins where it lies"
        lies[colour] = rightward
        for needle in selected:
            shown[needle].append(plan.bands[0].colours[colour])
    assert shown == chart.cells.T.astype(int).tolist()


def test_three_paired_colours_by_hand_take_three_passes_a_row() -> None:
    chart = Chart(np.array([[0, 1, 2]] * 4, np.uint8), strategies.coloured_palette(3))
    assert separated(chart, "paired").passes == 16
    assert separated(chart, "paired", changer="hand").passes == 12


def test_no_pass_of_slipped_colours_is_empty_but_ways_back() -> None:
    """The flags in four colours, of which most rows have two or three: half the passes selected no needle once."""
    flags = read_chart(Path(__file__).parents[2] / "host" / "latchline" / "examples" / "signal-flags.png")
    for scheme in ("doubled", "blank-return", "paired"):
        plan = separated(flags, scheme)
        empty = np.asarray(~plan.acting_masks().any(axis=1))
        assert (empty <= plan.way_back).all(), scheme
        assert all(bool(plan.why_empty(k)) == bool(empty[k - 1]) for k in range(1, plan.passes + 1))


@pytest.mark.parametrize(("scheme", "colours", "passes_a_row", "courses", "held_most"), FIGURES[:-1])
def test_the_longest_run_is_reached(scheme: str, colours: int, passes_a_row: int, courses: int, held_most: int) -> None:
    """On a chart of all pairs of colours one above the other, in rows of either parity."""
    pairs = [(low, high) for low in range(colours) for high in range(colours)]
    columns = [(low, high, low) for low, high in pairs] + [(high, low, high) for low, high in pairs]
    chart = Chart(np.array(columns, np.uint8).T.copy(), strategies.coloured_palette(colours))
    assert checked_by_hand(separated(chart, scheme), chart, courses) == held_most


@pytest.mark.parametrize(("scheme", "colours", "passes_a_row", "courses", "held_most"), FIGURES)
def test_a_separation_declares_its_own_figures(
    scheme: str, colours: int, passes_a_row: int, courses: int, held_most: int
) -> None:
    separation = next(item for item in technique_named("slip-colours").separations if item.name == scheme)
    declared = (separation.passes_a_row(colours), separation.courses, separation.held_most(colours))
    assert declared == (passes_a_row, courses, held_most)


@given(rows=st.integers(2, 12), stitches=st.integers(2, 12), data=st.data())
def test_alternating_shows_every_chart_that_is_drawn_for_it(rows: int, stitches: int, data: st.DataObject) -> None:
    """Row r carries colour r mod 2; a stitch of the other colour must stand on a knitted one of the row below."""
    cells = np.zeros((rows, stitches), np.uint8)
    for needle in range(stitches):
        for row in range(rows):
            may_slip = row > 0 and cells[row - 1, needle] == (row - 1) % 2
            slips = may_slip and data.draw(st.booleans())
            cells[row, needle] = cells[row - 1, needle] if slips else row % 2
    assume((cells == 1).any())  # else there is one colour, and nothing to alternate with
    chart = Chart(cells, strategies.coloured_palette(2))
    plan = separated(chart, "alternating")
    assert plan.passes == 2 * rows
    longest = 0
    for needle in range(stitches):
        shown, taken, kept = -1, [], 0
        for row in range(rows):
            for number in (2 * row + 1, 2 * row + 2):
                if plan.acting_masks(number, number)[0, needle]:
                    shown, kept = int(plan.colour[number - 1]), 0
                    taken.append(shown)
                else:
                    kept += 1
                longest = max(longest, kept)
            assert shown == cells[row, needle]
        assert taken == [row % 2 for row in range(rows) if cells[row, needle] == row % 2 for _ in range(2)]
    assert longest <= 2


# Alternate needles of the second bed are refused where ways back are empty; docs/explanation/separation.md says why.
BACKINGS = [("full", scheme, k) for scheme in ("doubled", "blank-return", "paired") for k in (2, 3, 4)]
BACKINGS += [("alternate", "doubled", k) for k in (2, 3, 4)] + [("alternate", "paired", 2)]


@pytest.mark.parametrize(("backing", "scheme", "colours"), BACKINGS)
@given(data=st.data())
def test_front_to_back_courses_of_a_jacquard(backing: str, scheme: str, colours: int, data: st.DataObject) -> None:
    """Full backing 1 : k; alternate needles of the second bed 2 : k, so 1:1, 2:3 and 1:2 (computed; Spencer, memory)."""
    chart = data.draw(strategies.coloured_charts(colours, rows=(2, 2)))
    assume(chart.colours == colours)
    plan = separated(chart, scheme, "jacquard", backing=backing, rows=4)
    needles = chart.stitches
    front = int(plan.acting_masks().sum())
    back = sum({0: 0, 1: needles, 2: (needles + 1) // 2, 3: needles // 2}[int(code)] for code in plan.second_bed)
    if backing == "full":
        assert Fraction(front, back) == Fraction(1, colours)
    else:
        assert Fraction(front, back) == {2: Fraction(1, 1), 3: Fraction(2, 3), 4: Fraction(1, 2)}[colours]
