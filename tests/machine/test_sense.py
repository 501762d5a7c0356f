"""What the board watches: a healthy bed is never cried at, a short and a sagging supply always are."""

from __future__ import annotations

from dataclasses import replace

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from latchline.budget.sums import make_budget
from latchline.cli.common import plan_from
from latchline.connect import watched_bed
from latchline.knit.events import Stopped
from latchline.knit.session import Session
from latchline.knit.talk import GoesOn
from latchline.link.host import Host
from latchline.machine.profile import load_profile, shipped_profiles
from latchline.machine.sense import current_a, current_counts, supply_counts, supply_v, watch_limits
from latchline.sim.port import SimPort, register


@given(st.integers(0, 1022))
def test_counts_there_and_back_are_the_same(counts: int) -> None:
    assert supply_counts(supply_v(counts)) == counts
    assert current_counts(current_a(counts)) == counts


@given(st.floats(0, 60), st.floats(0, 60))
def test_more_never_counts_less(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert 0 <= supply_counts(low) <= supply_counts(high) <= 1023
    assert 0 <= current_counts(low) <= current_counts(high) <= 1023


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_healthy_bed_stays_between_the_limits_and_a_short_does_not(name: str) -> None:
    profile = load_profile(name)
    supply_min, current_max = watch_limits(profile)
    budget = make_budget(profile)
    electrical = budget.electrical
    peak_a = next(one.figure for one in budget.lines if one.name == "supply current, peak at the highest speed")
    assert peak_a is not None
    assert 0 < supply_min < supply_counts(electrical.low_v)
    assert current_counts(peak_a) < current_max < 1023
    assert current_counts(electrical.supply_v / 5.0) > current_max  # 4 Ω of a shorted coil and 1 Ω of leads, say
    assert supply_counts(electrical.supply_v * 0.5) < supply_min


def test_a_profile_that_says_nothing_of_its_coils_is_not_watched() -> None:
    assert watch_limits(replace(load_profile("standard-200"), electrical={})) == (0, 0)


@pytest.mark.parametrize(
    ("fault", "numbers"), [("", set()), ("&fault=sag:0.5", {10}), ("&fault=coil-short:3", {11})], ids=str
)
def test_a_board_set_up_as_on_a_real_port_stops_at_a_short_and_at_a_sagging_supply(
    fault: str, numbers: set[int]
) -> None:
    """The model board with its converter, a piece that uses every selector; fault 10 supply low, 11 current high."""
    plan = plan_from(None, {"technique": "tuck", "alternate_needles": "only", "needles": "L20-R20", "rows": 4})
    register()
    port = serial.serial_for_url(f"sim://standard-200?seed=3{fault}", do_not_open=True)
    assert isinstance(port, SimPort)
    port.open()
    host = Host(port, port.clock)
    session = Session(
        host,
        plan,
        GoesOn(),
        clock=port.clock,
        bed=watched_bed(plan.profile),
        waits_at_bands=False,
        waits_at_changes=False,
        wait_s=0.5,
    )
    named: set[int] = set()
    while not session.over and not named and port.clock() < 60:
        named = {event.error.number for event in session.step() if isinstance(event, Stopped)}
    port.close()
    assert named == numbers
    assert bool(named) != session.over
