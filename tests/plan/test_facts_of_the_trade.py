"""Every-other-needle selection, as knitters know it (common practice, no source; the names cross tuck and
cross miss are from memory). m is 1010…, m′ 0101…"""

from __future__ import annotations

import numpy as np
import pytest

from latchline.machine.profile import load_profile
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.model import Plan
from latchline.plan.options import Options
from latchline.technique.table import technique_named

WIDTH = 12


def ground_plan(technique: str, rows: int, **options: object) -> Plan:
    profile = load_profile("standard-200")
    band = BandRequest(
        technique,
        technique_named(technique),
        Options(rows=rows, alternate_needles="only", **options),  # type: ignore[arg-type]
    )
    return compile_plan(technique, profile, profile.centred(WIDTH), [band])


def letters(plan: Plan) -> str:
    """The passes as a string of m and w (for m′), ? for anything else; end needles left out of account."""
    inner = plan.acting_masks()[:, 1:-1]
    m = (np.arange(WIDTH) % 2 == 0)[1:-1]
    return "".join("m" if (row == m).all() else "w" if (row == ~m).all() else "?" for row in inner)


@pytest.mark.parametrize(
    ("fact", "technique", "options", "passes"),
    [
        ("one-by-one checks, the bird's-eye ground", "fair-isle", {}, "wmwmwmwm"),
        ("checks two rows tall", "fair-isle", {"row_repeat": 2}, "wwmmwwmm"),
        ("vertical stripes: the selection stays constant", "fair-isle", {"reversal": 1}, "wwwwwwww"),
        ("four rows of checks, then the same in opposite phase", "fair-isle", {"reversal": 4}, "wmwmmwmw"),
        ("cross tuck: m, then m′", "tuck", {}, "wmwmwmwm"),
        ("cross miss: m, then m′", "slip", {}, "wmwmwmwm"),
        ("everything exchanged", "fair-isle", {"reversal": -1}, "mwmwmwmw"),
    ],
)
def test_every_other_needle(fact: str, technique: str, options: dict[str, object], passes: str) -> None:
    assert letters(ground_plan(technique, len(passes), **options)) == passes, fact


def test_in_one_way_tuck_unselected_needles_tuck_on_one_direction_only() -> None:
    plan = ground_plan("tuck-one-way", 4)
    band = plan.bands[0]
    settings = {d: band.technique.cams_for(d, band.way).setting for d in ("leftward", "rightward")}
    assert settings == {"leftward": "plain", "rightward": "tuck"}


@pytest.mark.parametrize("technique", ["tuck-one-way", "slip-one-way", "hold"])
@pytest.mark.parametrize(("repeat", "shown"), [(1, "wmwm"), (2, "wmwm"), (4, "wwmm")])
@pytest.mark.parametrize("start", ["left", "right"])
def test_a_one_way_ground_advances_with_the_passes_that_show_it(
    technique: str, repeat: int, shown: str, start: str
) -> None:
    plan = ground_plan(technique, 8, row_repeat=repeat, start=start)
    passes = letters(plan)
    assert "".join(passes[number - 1] for number in range(1, 9) if plan.direction(number) == "rightward") == shown


def test_a_one_way_ground_is_whole_after_the_rows_of_its_own() -> None:
    band = BandRequest("ground", technique_named("tuck-one-way"), Options(alternate_needles="only"))
    profile = load_profile("standard-200")
    assert letters(compile_plan("ground", profile, profile.centred(WIDTH), [band])) == "wwmm"


@pytest.mark.parametrize("technique", ["tuck", "slip", "tuck-one-way", "slip-one-way"])
def test_end_needles_of_tuck_and_slip_are_made_to_knit(technique: str) -> None:
    masks = ground_plan(technique, 6).acting_masks()
    assert masks[:, 0].all()
    assert masks[:, -1].all()


def test_end_needles_of_tuck_stay_as_charted_when_asked() -> None:
    masks = ground_plan("tuck", 6, edge_needles="as-chart").acting_masks()
    assert masks[:, 0].tolist() == [False, True] * 3


def test_a_next_pass_machine_is_set_up_by_one_plain_pass_and_driven_one_pass_ahead() -> None:
    profile = load_profile("chunky-112")
    band = BandRequest("checks", technique_named("fair-isle"), Options(rows=5, alternate_needles="only"))
    plan = compile_plan("checks", profile, profile.centred(WIDTH), [band])
    acting, driven = plan.acting_masks(), plan.driven_masks()
    assert plan.passes == 6
    assert plan.bands[0].technique.name == "stocking"
    assert not acting[0].any()
    assert (driven[:-1] == acting[1:]).all()
    assert not driven[-1].any()
