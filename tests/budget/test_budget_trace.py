"""The budget's count of selectors at once against a dry run: the board's own switching, read back from its trace."""

from __future__ import annotations

from importlib import resources
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from vcdvcd import VCDVCD

from latchline.cli.common import plan_from
from latchline.dry_run import address_of, dry_run
from latchline.machine.demand import measure_demand, most_at_once
from latchline.piece.file import load_piece
from latchline.plan.model import Plan

pytestmark = pytest.mark.slow

EXAMPLES = resources.files("latchline") / "examples"
STEADY = "&jitter=0&pauses=0&backing-up=0"


def trace_of(plan: Plan, pace: float, file: Path, habits: str = STEADY) -> tuple[int, int]:
    """Knit on the simulator; the most selectors on at one instant, and the shortest time of an edge in µs."""
    result = dry_run(plan, address_of(plan, seed=6, pace=pace, faults=(), trace=str(file)) + habits)
    assert result.as_planned
    trace = VCDVCD(str(file))

    def signal(name: str) -> list[tuple[int, str]]:
        return list(trace[next(one for one in trace.signals if one.rpartition(".")[2].startswith(name))].tv)

    changes = sorted(
        (at, selector, int(value, 2))
        for selector in range(plan.profile.selectors.count)
        for at, value in trace[next(s for s in trace.signals if s.rpartition(".")[2] == f"selector_{selector}")].tv
    )
    on: dict[int, int] = {}
    most = 0
    for index, (at, selector, value) in enumerate(changes):
        on[selector] = value
        if index + 1 == len(changes) or changes[index + 1][0] != at:
            most = max(most, sum(on.values()))
    first_us = min(at for at, _, value in changes if value)  # before it the hand walks to an end sensor
    gaps = np.diff([at for at, _ in signal("position") if at >= first_us])
    return most, int(gaps[gaps > 0].min())


def from_masks(plan: Plan) -> int:
    """The budget's count."""
    return most_at_once(plan.profile, plan.driven_masks(), plan.profile.advance_max_edges)


@pytest.mark.parametrize(("name", "pace"), [("harbour-blanket", 30), ("tide-mat", 50), ("door-banner", 30)])
def test_a_dry_run_keeps_each_coil_on_for_no_longer_than_the_budget_reckons_with(
    name: str, pace: float, tmp_path: Path
) -> None:
    plan = load_piece(str(EXAMPLES / f"{name}.toml")).plan()
    file = tmp_path / "run.vcd"
    trace_of(plan, pace, file)
    trace = VCDVCD(str(file))
    demand = measure_demand(plan.profile, plan.driven_masks(), plan.span.first, pace, plan.rightward)
    for selector in range(plan.profile.selectors.count):
        changes = trace[next(s for s in trace.signals if s.rpartition(".")[2] == f"selector_{selector}")].tv
        on_us = sum(end - begin for (begin, value), (end, _) in pairwise(changes) if int(value, 2))
        reckoned_us = demand.duty[selector] * demand.pass_s * demand.passes * 1e6
        assert 0.4 * reckoned_us < on_us <= reckoned_us


@pytest.mark.parametrize("name", ["harbour-blanket", "net-cushion", "tide-mat", "door-banner", "signal-flags"])
def test_the_most_selectors_on_in_a_dry_run_are_those_that_the_masks_foretell(name: str, tmp_path: Path) -> None:
    plan = load_piece(str(EXAMPLES / f"{name}.toml")).plan()
    counted, _ = trace_of(plan, 45, tmp_path / "run.vcd")
    assert counted == from_masks(plan)


@pytest.mark.parametrize(
    ("stitches", "together"),
    [("x...", 1), ("x..", 1), ("xx..", 2), ("xxx.....", 3), ("x.x", 2)],
)
def test_thinly_selected_charts_switch_as_few_at_once_as_the_masks_foretell(
    stitches: str, together: int, tmp_path: Path
) -> None:
    """Three neighbours overlap, as they do at the highest speed."""
    chart = tmp_path / "chart.txt"
    row = (stitches * 80)[:80]
    chart.write_text((row + "\n") * 6, encoding="utf-8")
    plan = plan_from(str(chart), {"machine": "standard-200", "needles": "L40-R40"})
    counted, _ = trace_of(plan, 60, tmp_path / "run.vcd")
    assert counted == from_masks(plan) == together


@pytest.mark.parametrize("seed", range(4))
def test_random_charts_switch_as_many_at_once_as_the_masks_foretell(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    chart = tmp_path / "chart.txt"
    chart.write_text("".join("".join(rng.choice(list("x."), 90)) + "\n" for _ in range(8)), encoding="utf-8")
    plan = plan_from(str(chart), {"machine": "double-180"})
    counted, _ = trace_of(plan, 30 + 10 * seed, tmp_path / "run.vcd")
    assert counted == from_masks(plan)


def test_an_ordinary_hand_never_switches_more_than_the_budget_allows_for(tmp_path: Path) -> None:
    plan = load_piece(str(EXAMPLES / "harbour-blanket.toml")).plan()
    counted, edge_us = trace_of(plan, 50, tmp_path / "run.vcd", "")
    assert counted <= most_at_once(plan.profile, plan.driven_masks(), plan.profile.advance_max_edges)
    assert edge_us >= plan.profile.edge_mm / plan.profile.speed_max_m_s * 1000
