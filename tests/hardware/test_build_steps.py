"""Each sentence of the doctor that a step of the build order quotes, on a simulated board fitted as far as that step."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from latchline.doctor.ailments import AILMENTS
from latchline.doctor.diagnose import diagnose
from latchline.doctor.observe import Watch
from latchline.link.host import Host
from latchline.link.setup import bed_message
from latchline.machine.profile import load_profile
from latchline.machine.sense import watch_limits
from latchline.sim.coils import OPEN_OHM, Coils
from latchline.sim.port import SimPort

STANDARD = load_profile("standard-200")
PAGE = (Path(__file__).parents[2] / "hardware" / "README.md").read_text(encoding="utf-8")
BARE = Coils((OPEN_OHM,) * 16, supply_v=0.0)  # sense network fitted, no supply: the pins read nothing
SUPPLIED = Coils((OPEN_OHM,) * 16)


def coils(fitted: int) -> Coils:
    return Coils(tuple(120.0 if coil < fitted else OPEN_OHM for coil in range(16)))


def said(bench: Coils, fault: str = "", *, walk: bool = True, try_coils: bool = True) -> list[str]:
    """What the doctor says."""
    port = SimPort()
    port.port = "sim://standard-200?seed=4" + (f"&fault={fault}" if fault else "")
    port.machine = STANDARD
    port.coils = bench
    port.open()
    try:
        host = Host(port, port.clock)
        info = host.greet()
        supply_min, current_max = watch_limits(STANDARD)
        bed = bed_message(STANDARD, supply_min=supply_min, current_max=current_max)
        seen = Watch(host, bed, port.clock, lambda _: None).observe(info, port if walk else None, coils=try_coils)
    finally:
        port.close()
    return [one.ailment.says for one in diagnose(seen, STANDARD)]


def says(name: str) -> str:
    return AILMENTS[name].says


def step(number: int) -> str:
    found = re.search(rf"^{number}\. (.+?)(?=^\d+\. |^Write into)", PAGE, re.MULTILINE | re.DOTALL)
    assert found is not None
    return " ".join(found[1].split())


def quoted(number: int) -> set[str]:
    return set(re.findall(r'"([A-Z][^"]+)"', step(number)))


def test_step_2_a_bare_controller_is_complained_of_in_nothing() -> None:
    assert "`latchline doctor --no-walk --no-coils`" in step(2)
    assert quoted(2) == set()
    assert said(BARE, walk=False, try_coils=False) == []


def test_step_3_the_sense_network_alone_reads_no_coil_supply() -> None:
    assert "`latchline doctor --no-walk`" in step(3)
    assert quoted(3) == {says("no-supply")}
    assert said(BARE, walk=False) == [says("no-supply")]


def test_step_4_asks_a_meter_only_for_no_carriage_can_be_walked_yet() -> None:
    assert quoted(4) == set()


@pytest.mark.parametrize("fault", ["a-dead", "b-dead"])
def test_step_5_without_end_sensors_the_doctor_misses_them_and_still_names_a_dead_channel(fault: str) -> None:
    missing = [says("left-never"), says("right-never")]
    assert said(BARE, "left-missing,right-missing", try_coils=False) == missing
    assert said(BARE, f"left-missing,right-missing,{fault}", try_coils=False) == [says(fault)]
    assert quoted(5) == {*missing, says("no-edges"), says("a-dead"), says("b-dead"), says("channels-swapped")}


@pytest.mark.parametrize("fault", ["channels-swapped", "ends-swapped", "left-stuck", "right-stuck"])
def test_step_6_the_walk_between_the_end_sensors_names_what_is_wired_wrong(fault: str) -> None:
    assert said(BARE, fault, try_coils=False) == [says(fault)]
    assert says(fault) in quoted(6)


def test_step_6_a_sound_walk_is_complained_of_in_nothing_and_a_strip_of_another_kind_is_counted() -> None:
    assert said(BARE, try_coils=False) == []
    assert said(BARE, "edges:8", try_coils=False) == [says("edges-per-needle")]
    assert quoted(6) >= {says("edges-per-needle")}


@pytest.mark.parametrize("number", [8, 10])
def test_steps_8_and_10_a_supply_without_coils_is_a_supply_without_current(number: int) -> None:
    assert said(SUPPLIED, walk=False) == [says("no-coil-current")]
    assert says("no-coil-current") in quoted(number)


@pytest.mark.parametrize("fitted", [1, 2, 5, 8, 15])
def test_steps_11_and_12_only_the_coils_that_are_missing_are_named(fitted: int) -> None:
    assert said(coils(fitted), walk=False) == [says("coil-open")] * (16 - fitted)
    assert says("coil-open") in quoted(11) & quoted(12)


def test_step_12_with_every_coil_nothing_is_named_and_each_fault_is() -> None:
    assert said(coils(16), walk=False) == []
    one_short = Coils((120.0, 20.0, *[120.0] * 14))
    assert said(one_short, walk=False) == [says("coil-short")]
    assert said(replace(coils(16), sag=0.3), walk=False) == [says("supply-sags")]
    assert said(Coils((60.0,) * 16), walk=False) == [says("other-coils")]
    assert quoted(12) >= {says("coil-short"), says("supply-sags"), says("other-coils"), says("current-when-off")}


def test_the_steps_quote_no_sentence_that_is_not_tried_here() -> None:
    tried = {
        "no-supply", "left-never", "right-never", "no-edges", "a-dead", "b-dead", "channels-swapped", "ends-swapped",
        "left-stuck", "right-stuck", "edges-per-needle", "no-coil-current", "coil-open", "coil-short", "supply-sags",
        "other-coils", "current-when-off",
    }  # fmt: skip
    assert set().union(*(quoted(number) for number in range(1, 14))) == {says(name) for name in tried}
