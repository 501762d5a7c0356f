"""Each fault that the simulator can suffer, and what becomes of it."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import serial
from hypothesis import given, settings
from hypothesis import strategies as st
from sim_driver import Told, knit, small_plan

from latchline.errors import InputError, PortError, Silent
from latchline.link.host import Host
from latchline.link.messages import Probed
from latchline.link.setup import bed_message
from latchline.machine.parts import load_part
from latchline.machine.profile import load_profile
from latchline.sim.coils import Coils
from latchline.sim.face import POWER_ON, RESET_PIN
from latchline.sim.faults import KINDS, Faults
from latchline.sim.needles import Knitted
from latchline.sim.port import SimPort, register
from latchline.sim.wire import Direction
from strategies import carriage_and_wire_faults

PASSES = 5

# fault, numbers of the faults that the board names
NAMED = [
    ("lost:@3000", {1}),
    ("early-turn:@2", {6}),
    ("reversal:@2", {6}),
    ("too-fast:@3", {4}),
    ("lift-off:@2", {1, 2, 4, 6, 16, 20}),  # by how many edges the carriage was put back elsewhere
    ("edges:5", {2, 16}),
    ("edges:2", {2}),
    ("edges:8", {14, 16}),
    ("right-stuck", {3}),
    ("a-dead", {19}),
    ("b-dead", {19}),
    ("slow:5000", {13}),
    ("gap:@3000", {20}),
    ("a-drops:@3000", {19}),
    ("b-drops:@3000", {19}),
    ("end-bounce:@2", {17}),
    ("encoder-out:9", {18}),
]


@pytest.mark.parametrize(("fault", "numbers"), NAMED)
def test_what_goes_wrong_on_the_carriage_is_named_by_the_board(fault: str, numbers: set[int]) -> None:
    told = knit(small_plan(passes=PASSES), f"sim://standard-200?seed=4&fault={fault}", patience_s=60)
    named = Counter(fault.fault for fault in told.faults)
    assert named
    assert set(named) <= numbers


@pytest.mark.parametrize(
    "fault",
    ["flip:0.0001", "flip:0.001", "drop:0.001", "double:0.001", "stall:0.1", "split:0.5", "full:1", "full:2",
     "bounce:0.001", "lost:@3000", "early-turn:@2", "reversal:@3", "too-fast:@2", "early-turn:0.3", "sag:0.3"],
)  # fmt: skip
def test_every_pass_that_is_counted_is_knitted_as_planned(fault: str) -> None:
    plan = small_plan(passes=PASSES)
    told = knit(plan, f"sim://standard-200?seed=4&fault={fault}")
    assert [done.number for done in told.done] == list(range(1, PASSES + 1))
    assert all(done.as_planned for done in told.done)
    begun = {one.begin_us // 4: one for one in told.port.world.knitted}
    for done in told.done:
        assert begun[done.report.start].selected.tolist() == plan.selected(done.number).tolist()


@settings(max_examples=30)
@given(carriage_and_wire_faults(), st.integers(0, 10**6), st.sampled_from(("standard-200", "mid-150", "chunky-112")))
def test_no_pass_is_counted_that_was_not_knitted_as_planned(fault: str, seed: int, name: str) -> None:
    plan = small_plan(name, passes=4, seed=seed)
    try:
        told = knit(plan, f"sim://{name}?seed={seed}&pace=40&fault={fault}", patience_s=150)
    except Silent:
        return  # a wire that loses every second frame may keep host and board apart
    assert [done.number for done in told.done] == list(range(1, len(told.done) + 1))
    for done in told.done:
        assert done.as_planned
        ways = [one for one in told.port.world.knitted if began(told, one, done.report.start)]
        assert any(one.selected.tolist() == plan.selected(done.number).tolist() for one in ways)


def began(told: Told, one: Knitted, start: int) -> bool:
    """Did this way begin when the report says, but for a bounce, by any of the board's starts?"""
    return any(abs((one.begin_us - at_us) // 4 - start) < 250 for at_us in told.port.world.started_us)


@pytest.mark.parametrize("fault", ["channels-swapped", "ends-swapped", "left-stuck"])
def test_sensors_that_cannot_be_right_never_light_the_lamp(fault: str) -> None:
    told = knit(small_plan(passes=2), f"sim://standard-200?seed=4&fault={fault}", patience_s=60)
    assert not told.done
    assert not told.port.world.knitted


@pytest.mark.parametrize("fault", ["coil-open", "coil-short", "coil-slow", "coil-weak", "coil-stuck"])
def test_a_bad_coil_spoils_its_own_needles_only(fault: str) -> None:
    plan = small_plan(passes=2)
    told = knit(plan, f"sim://standard-200?seed=4&fault={fault}:3")
    for number, one in enumerate(told.port.world.knitted, 1):
        wrong = np.flatnonzero(one.selected != plan.selected(number))
        stuck = fault == "coil-stuck"
        mine = np.arange(200) % 16 == 3
        assert wrong.tolist() == np.flatnonzero(mine & (plan.selected(number) != stuck)).tolist()


@pytest.mark.parametrize(("fault", "cause"), [("reset", RESET_PIN), ("power-cut", POWER_ON)])
def test_a_board_that_starts_again_says_so_and_keeps_its_checkpoint(fault: str, cause: int) -> None:
    plan = small_plan(passes=6)
    told = knit(plan, f"sim://standard-200?seed=4&fault={fault}:9", close=False)
    assert told.host is not None
    assert [done.number for done in told.done] == list(range(1, 7))
    info = told.host.greet()
    assert (info.boots, info.reset_cause) == (2, cause)
    told.host.step(0.1)
    assert told.host.checkpoint().done == 6


def test_a_pulled_cable_ends_the_run() -> None:
    with pytest.raises(PortError):
        knit(small_plan(passes=9), "sim://standard-200?seed=4&fault=unplug:8")


def probe(fault: str, selector: int) -> Probed:
    register()
    port = serial.serial_for_url(f"sim://standard-200?fault={fault}", timeout=0.1)
    assert isinstance(port, SimPort)
    host = Host(port, port.clock)
    host.greet()
    host.set_bed(bed_message(load_profile("standard-200")))
    answer = host.probe(selector, 20)
    assert isinstance(answer, Probed)
    return answer


def test_an_open_coil_a_short_and_a_sagging_supply_read_differently() -> None:
    good, opened, short, sag = (probe(fault, 3) for fault in ("", "coil-open:3", "coil-short:3", "sag:0.3"))
    assert good.current_idle == 0
    assert good.current_on >= 8
    assert good.supply_on >= 0.98 * good.supply_idle
    assert opened.current_on == 0
    assert short.current_on > 5 * good.current_on
    assert sag.supply_on < 0.75 * sag.supply_idle
    assert probe("coil-open:3", 4) == probe("", 4)


def test_readings_follow_the_law_of_ohm_and_the_drawing() -> None:
    board = load_part("board")
    top, bottom = (board.value(name) for name in ("divider_top_ohm", "divider_bottom_ohm"))
    shunt = board.value("shunt_ohm") * board.value("sense_back_ohm") / board.value("sense_in_ohm")
    step_v = board.value("reference_v") / 1024
    assert Coils((100.0,) * 16).read(0, True) == (int(12 * bottom / (top + bottom) / step_v), 0)
    supply, current = Coils((100.0,) * 16).read(0b11, True)  # two coils of 100 Ω, 0.4 Ω before them
    assert supply == int(12 * 50 / 50.4 * bottom / (top + bottom) / step_v)
    assert current == int(12 / 50.4 * shunt / step_v)
    assert Coils((100.0,) * 16).read(1, False)[1] == 0


def test_the_wire_flips_drops_and_doubles_about_as_often_as_it_is_told_to() -> None:
    data = bytes(1000)
    rng = np.random.default_rng(1)
    flips = sum(
        bin(byte).count("1")
        for _ in range(20)
        for _, piece in Direction(Faults.parse(["flip:0.01"]), rng).carry(0, data)
        for byte in piece
    )
    assert flips == pytest.approx(20 * 8000 * 0.01, rel=0.1)
    for name, sign in (("drop", -1), ("double", 1)):
        wire = Direction(Faults.parse([f"{name}:0.05"]), rng)
        length = sum(len(piece) for _ in range(20) for _, piece in wire.carry(0, data))
        assert (length - 20_000) * sign == pytest.approx(1000, rel=0.15)


def test_the_nth_byte_only_is_struck_when_it_is_named() -> None:
    wire = Direction(Faults.parse(["drop:@7"]), np.random.default_rng(1))
    pieces = [piece for start in (0, 5, 10) for _, piece in wire.carry(0, bytes(range(start, start + 5)))]
    assert b"".join(pieces) == bytes(n for n in range(15) if n != 6)


def test_bytes_take_their_time_and_wait_for_each_other() -> None:
    wire = Direction(Faults(), np.random.default_rng(1))
    assert wire.carry(1000, b"abc") == [(1040, b"abc")]
    assert wire.carry(1000, b"de") == [(1160, b"de")]


def test_every_fault_is_explained_on_its_page() -> None:
    page = (Path(__file__).parents[2] / "docs" / "reference" / "simulator.md").read_text(encoding="utf-8")
    for name in KINDS:
        assert f"`{name}" in page, name


def test_several_faults_of_one_kind_are_all_suffered() -> None:
    faults = Faults.parse(["coil-open:1,coil-open:2", "reset:20,reset:3,lost:@5,lost:@9", "coil-open:1"])
    assert str(faults) == "coil-open:1,coil-open:2,reset:20,reset:3,lost:@5,lost:@9"
    coils = Coils.of(load_profile("standard-200"), faults)
    assert [coil for coil in range(16) if coils.ohm[coil] > 1e6] == [1, 2]
    assert faults.struck("lost", 0, 20, np.random.default_rng(1)) == [4, 8]
    told = knit(small_plan(passes=6), "sim://standard-200?seed=4&fault=reset:9,reset:6")
    assert len(told.done) == 6
    assert told.port.world.started_us == [0, 6_000_000, 9_000_000]


def test_what_there_is_but_one_of_cannot_be_told_twice() -> None:
    with pytest.raises(InputError, match='the fault "edges" is told twice'):
        Faults.parse(["edges:4,edges:8"])
