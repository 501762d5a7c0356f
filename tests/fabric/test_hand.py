"""Where loops hang when hands move them, against a model that knows no arrays: a list of loops for each needle."""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np
import pytest
from hypothesis import given

from latchline.fabric.loops import does, knits
from latchline.fabric.structure import structure
from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.hand import HAND_KINDS, HandStep, Position
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.plan.shape import ByHand
from latchline.technique.model import Does
from latchline.technique.table import TECHNIQUES
from strategies import shaped_plans

ASKED = [kind.name for kind in HAND_KINDS.values() if not kind.of_plan]

Loop = tuple[int, int, int]  # the pass that made it (by hand: the one after), its needle; the how-manieth made by hand
Fate = tuple[
    int, int
]  # the pass that drew a stitch through it and the needle on which, or 0 and the pass before which it left


def by_hand(step: HandStep, hooks: dict[int, list[Loop]], made: Counter[tuple[int, int]]) -> dict[Loop, Fate]:
    """What a pair of hands does with the loops, told in our own words."""
    here = range(step.first, step.last + 1)
    gone: dict[Loop, Fate] = {}
    match step.kind:
        case "move":
            taken = {needle: hooks.pop(needle, []) for needle in here}
            for needle, loops in taken.items():
                hooks[needle + step.by] = hooks.get(needle + step.by, []) + loops
        case "cross":
            size = abs(step.by)
            hung = [hooks.pop(needle, []) for needle in here]
            hooks.update(zip(here, hung[size:] + hung[:size], strict=True))
        case "bind-off" | "take-off" | "onto-cord" | "buttonhole" | "buttonhole-waste":
            gone = {loop: (0, step.before) for needle in here for loop in hooks.pop(needle, [])}
    if step.kind in ("wrap", "pick-up", "hang-hem", "lift-hem", "buttonhole", "buttonhole-waste"):
        for needle in here:
            made[step.before, needle] += 1
            hooks[needle] = [*hooks.get(needle, []), (step.before, needle, made[step.before, needle])]
    return gone


def told_by_hand(plan: Plan) -> tuple[dict[Loop, Fate], dict[int, list[Loop]]]:
    """The fate of every loop, and those that hang on the needles at the end."""
    hooks: dict[int, list[Loop]] = defaultdict(list)
    for needle in np.flatnonzero(plan.cast_on_loops()).tolist():
        hooks[needle] = [(0, needle, 0)]
    fates: dict[Loop, Fate] = {}
    codes, positions = does(plan), plan.positions_of()
    made: Counter[tuple[int, int]] = Counter()
    for number in range(1, plan.passes + 2):
        for step in (step for step in plan.hand if step.before == number):
            fates |= by_hand(step, hooks, made)
        if number > plan.passes:
            break
        with_loops = [needle for needle, loops in hooks.items() if loops]
        assert all(positions[number - 1, needle] != Position.OUT for needle in with_loops)
        for needle in range(plan.span.width):
            code = codes[number - 1, needle]
            if knits(code[None])[0]:
                fates |= dict.fromkeys(hooks[needle], (number, needle))
                hooks[needle] = [(number, needle, 0)]
            elif code == Does.TUCK:
                hooks[needle] = [*hooks[needle], (number, needle, 0)]
    return fates, {needle: loops for needle, loops in hooks.items() if loops}


def assert_fates(plan: Plan) -> None:
    fates, hanging = told_by_hand(plan)
    at_end = {loop: (plan.passes + 1, needle) for needle, loops in hanging.items() for loop in loops}
    expected = fates | at_end
    loops = structure(plan)
    found: dict[Loop, Fate] = {}
    at = np.broadcast_to(np.arange(plan.span.width), loops.drawn_by.shape) if loops.drawn_at is None else loops.drawn_at

    def fate(drawn_by: int, needle: int) -> Fate:
        return (0, drawn_by - plan.passes - 1) if drawn_by > plan.passes + 1 else (drawn_by, needle)

    for number, needle in zip(*np.nonzero(loops.drawn_by), strict=True):
        found[int(number), int(needle), 0] = fate(int(loops.drawn_by[number, needle]), int(at[number, needle]))
    again: Counter[tuple[int, int]] = Counter()
    for before, needle, drawn_by, drawn_at in loops.by_hand.tolist():
        again[before, needle] += 1
        found[before, needle, again[before, needle]] = fate(drawn_by, drawn_at)
    assert found == expected


def stand_after(step: HandStep, stand: dict[int, str], loops: set[int]) -> None:
    """Where a pair of hands puts the needles, and which of them then have a loop, told in our own words."""
    here = list(range(step.first, step.last + 1))
    match step.kind:
        case "wrap" | "into-work" | "release":
            stand.update(dict.fromkeys(here, "work"))
        case "every-other":
            stand.update(dict.fromkeys(here[::2], "work"))
        case "hold":
            stand.update(dict.fromkeys(here, "held"))
        case "bind-off" | "take-off" | "onto-cord":
            stand.update(dict.fromkeys(here, "out"))
        case "move":
            for needle in here:
                target = needle + step.by
                stand[target] = "work" if stand[target] == "out" else stand[target]
            emptied = set(here) - {needle + step.by for needle in here}
            stand.update(dict.fromkeys(emptied, "out" if step.leaves == Position.OUT else "work"))
    match step.kind:
        case "wrap" | "pick-up" | "hang-hem" | "lift-hem" | "buttonhole" | "buttonhole-waste":
            loops |= set(here)
        case "bind-off" | "take-off" | "onto-cord":
            loops -= set(here)
        case "move":
            carried = {needle + step.by for needle in here if needle in loops}
            loops -= set(here)
            loops |= carried
        case "cross":
            ring = [needle in loops for needle in here]
            size = abs(step.by)
            loops -= set(here)
            loops |= {needle for needle, has in zip(here, ring[size:] + ring[:size], strict=True) if has}


def assert_stand(plan: Plan) -> None:
    begun = {needle for needle, has in enumerate(plan.cast_on_loops().tolist()) if has}
    stand = {needle: "work" if needle in begun else "out" for needle in range(plan.span.width)}
    loops = set(begun)
    names = {int(Position.OUT): "out", int(Position.WORK): "work", int(Position.HELD): "held"}
    for number in range(1, plan.passes + 2):
        for step in (step for step in plan.hand if step.before == number):
            stand_after(step, stand, loops)
        assert all(stand[needle] != "out" for needle in loops), f"a loop is lost before pass {number}"
        if number > plan.passes:
            break
        assert [names[code] for code in plan.positions_of(number, number)[0].tolist()] == list(stand.values())
        codes = does(plan, number, number)[0]
        loops |= {needle for needle in range(plan.span.width) if codes[needle] == Does.TUCK or knits(codes)[needle]}
        assert all(codes[needle] == Does.OUT for needle in stand if stand[needle] == "out")
        assert all(codes[needle] == Does.HELD for needle in stand if stand[needle] == "held")


@given(shaped_plans())
def test_every_loop_is_drawn_through_taken_off_or_still_hangs_and_none_is_lost(plan: Plan) -> None:
    assert_fates(plan)


@given(shaped_plans())
def test_at_every_pass_each_needle_with_a_loop_is_in_work_or_held_and_stands_where_hands_have_put_it(
    plan: Plan,
) -> None:
    assert_stand(plan)


@pytest.mark.parametrize("by", [1, -2])
@pytest.mark.parametrize("kind", ASKED)
def test_every_kind_of_hand_step_leaves_loops_and_needles_where_a_knitter_would(kind: str, by: int) -> None:
    before = {"wrap": "bind-off", "into-work": "bind-off", "release": "hold", "wrap-held": "hold"}.get(kind)
    works = [ByHand(2, before, 4, 7)] if before else []
    works.append(ByHand(3, kind, 4, 7, by, Position.OUT))
    bed = load_profile("standard-200")
    request = BandRequest("band", TECHNIQUES["stocking"], Options(rows=6), works=tuple(works))
    plan = compile_plan("by hand", bed, bed.centred(12), [request])
    assert kind in {step.kind for step in plan.hand}
    assert_fates(plan)
    assert_stand(plan)


@given(shaped_plans())
def test_no_needle_out_of_work_or_held_is_selected(plan: Plan) -> None:
    assert not plan.acting_masks()[plan.positions_of() != Position.WORK].any()
