"""What hangs on the needles before each pass, followed forwards, against the loops as the fabric has them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import latchline
from latchline.fabric.loops import pass_yarns, takes_first
from latchline.fabric.on_needles import on_needles
from latchline.fabric.structure import Structure, structure
from latchline.piece.file import load_piece
from latchline.plan.model import Plan
from strategies import plans, shaped_plans

BLANKET = Path(latchline.__file__).parent / "examples" / "harbour-blanket.toml"


def yarns_left(plan: Plan, loops: Structure) -> list[list[int]]:
    """The yarns of the loops that hang on each needle after all its passes, as the structure tells them."""
    carried = pass_yarns(plan)
    found: list[list[int]] = [[] for _ in range(plan.span.width)]
    cast_on = int(carried.first[carried.first >= 0][0])
    for number, needle in zip(*np.nonzero(loops.drawn_by == loops.passes + 1), strict=True):
        at = int(needle) if loops.drawn_at is None else int(loops.drawn_at[number, needle])
        first = number > 0 and takes_first(loops.codes[number - 1 : number, needle])[0]
        yarn = (carried.first if first else carried.second)[number - 1] if number else cast_on
        found[at].append(int(yarn))
    for before, _, drawn_by, drawn_at in loops.by_hand.tolist():
        if drawn_by == loops.passes + 1:
            found[drawn_at].append(max(int(carried.first[min(before, plan.passes) - 1]), 0))
    return found


@given(st.one_of(plans(), shaped_plans()))
def test_before_every_pass_the_same_loops_hang_as_in_the_fabric(plan: Plan) -> None:
    for done, (loops, _) in enumerate(on_needles(plan, 1, plan.passes)[1:], start=1):
        assert [sorted(one) for one in loops] == [sorted(one) for one in yarns_left(plan, structure(plan, 1, done))]


@given(plans())
def test_where_nothing_is_done_by_hand_a_pass_begins_as_the_one_before_has_ended(plan: Plan) -> None:
    shown = on_needles(plan, 1, plan.passes)
    assert [after for _, after in shown[:-1]] == [before for before, _ in shown[1:]]


@pytest.mark.parametrize("first", [2, 40, 91])
def test_it_does_not_matter_from_which_pass_on_one_looks(first: int) -> None:
    plan = load_piece(BLANKET).plan()
    assert on_needles(plan, first, first + 3) == on_needles(plan, 1, first + 3)[first - 1 :]


def test_a_loop_is_found_however_long_its_needle_has_held_it(tmp_path: Path) -> None:
    """One needle is never selected: its loop stays that of the hem while two hundred rows go by."""
    (tmp_path / "kept.txt").write_text("###.###\n")
    (tmp_path / "kept.toml").write_text(
        'name = "kept"\nneedles = "L4-R3"\n[yarns.cream]\ncolour = "#f4ead8"\n[yarns.navy]\ncolour = "#1f3a5f"\n'
        '[[bands]]\nname = "hem"\ntechnique = "stocking"\nyarns = ["navy"]\nrows = 2\n'
        '[[bands]]\nname = "kept"\ntechnique = "slip"\nchart = "kept.txt"\nyarns = ["cream"]\nrows = 200\nedge_needles = "as-chart"\n'
    )
    plan = load_piece(tmp_path / "kept.toml").plan()
    names = [yarn.name for yarn in pass_yarns(plan).yarns]
    kept = ~plan.acting_masks(3, plan.passes).any(axis=0)
    assert kept.sum() == 1
    ((_, hanging),) = on_needles(plan, plan.passes, plan.passes)
    assert names[hanging[int(np.flatnonzero(kept)[0])][0]] == "navy"
