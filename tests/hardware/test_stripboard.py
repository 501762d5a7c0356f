"""What the plan of the strip board joins, taken from its strips, cuts, links and legs alone, is what the netlist joins."""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))

import netlist
import stripboard

PLAN = stripboard.load()
CIRCUIT = netlist.load("register", 12)
IN_THE_BOX = {"J1", "F1", "S1"}  # joined by wires that never touch the board


def wanted(circuit: Any) -> set[frozenset[str]]:
    """The pins that the board has to join: of every net all but the coils' own, and each free pin of a chip by itself."""
    nets = (
        frozenset(node for node in net.nodes if not node.startswith("L"))
        for net in circuit.nets.values()
        if not {node.split(".")[0] for node in net.nodes} <= IN_THE_BOX
    )
    alone = (frozenset({pin}) for pin in circuit.open_pins if not pin.startswith("U1."))
    return {*nets, *alone}


def found(plan: Any) -> set[frozenset[str]]:
    return set(stripboard.joined(plan))


@pytest.mark.parametrize("volts", netlist.VOLTS)
def test_the_plan_joins_what_the_netlist_joins_and_nothing_else(volts: int) -> None:
    assert found(PLAN) == wanted(netlist.load("register", volts))


def test_every_leg_has_a_hole_of_its_own_on_the_board() -> None:
    assert stripboard.faults(PLAN) == []
    twice = replace(PLAN, legs={**PLAN.legs, "R6.1": PLAN.legs["R6.2"]})
    assert stripboard.faults(twice)


def test_each_cut_that_is_left_out_is_found() -> None:
    right = wanted(CIRCUIT)
    assert len(PLAN.cuts) > 100
    assert [cut for cut in PLAN.cuts if found(replace(PLAN, cuts=PLAN.cuts - {cut})) == right] == []


def test_each_link_that_is_left_out_is_found() -> None:
    right = wanted(CIRCUIT)
    assert len(PLAN.links) > 60
    for number, link in enumerate(PLAN.links):
        assert found(replace(PLAN, links=PLAN.links[:number] + PLAN.links[number + 1 :])) != right, link


@pytest.mark.parametrize(
    "changed",
    [
        replace(PLAN, links=(*PLAN.links, (PLAN.legs["R9.1"], PLAN.legs["R10.1"]))),
        replace(PLAN, links=(*PLAN.links, ((21, 20), (24, 20)))),
        replace(PLAN, legs={**PLAN.legs, "D103.A": PLAN.legs["D103.K"], "D103.K": PLAN.legs["D103.A"]}),
        replace(PLAN, legs={**PLAN.legs, "R6.1": (31, 46)}),
        replace(PLAN, legs={leg: (strip + (leg[:3] == "U2."), hole) for leg, (strip, hole) in PLAN.legs.items()}),
    ],
    ids=[
        "a link too many",
        "coil supply on ground",
        "a diode turned round",
        "a leg one strip off",
        "a chip one strip off",
    ],
)
def test_a_wrong_link_or_leg_is_found(changed: Any) -> None:
    assert found(changed) != wanted(CIRCUIT)


def test_the_drivers_ground_meets_the_sensors_at_the_star_alone() -> None:
    """Without the piece of strip under the star end of R2 the two are apart."""
    star = stripboard.pieces(PLAN)[PLAN.legs[stripboard.STAR]]
    groups = stripboard.joined(PLAN, without=frozenset({star}))
    drivers = next(group for group in groups if "U3.GND1" in group)
    assert {"U3.GND3", "U4.GND1", "U4.GND2", "C21.2", "C22.2"} <= drivers
    assert not {"U2.GND", "U5.VSS", "U5.IN_PLUS", "R4.2", "J2.2", "U1.GND"} & drivers


def test_the_wires_that_carry_all_coils_are_thick() -> None:
    for begin, end in PLAN.links:
        if stripboard.net_at(PLAN, CIRCUIT, begin) in ("COIL+", "SUPPLY MINUS"):
            assert (begin, end) in PLAN.heavy


def test_a_chips_pins_stand_as_its_case_has_them_notch_up() -> None:
    for ref in ("U2", "U3", "U4", "U5"):
        numbers = {int(mark): PLAN.legs[f"{ref}.{pin}"] for pin, mark in CIRCUIT.parts[ref].pins.items()}
        half, (strip, hole) = len(numbers) // 2, numbers[1]
        for number, at in numbers.items():
            side = (strip + number - 1, hole) if number <= half else (strip + 2 * half - number, hole + 3)
            assert at == side


def test_terminals_of_twice_the_pitch_stand_on_every_second_strip() -> None:
    for block in ("J10", "J11"):
        strips = sorted(hole[0] for leg, hole in PLAN.legs.items() if leg.split(".")[0] == block)
        assert [other - one for one, other in pairwise(strips)] == [2] * 9
        assert len({hole[1] for leg, hole in PLAN.legs.items() if leg.split(".")[0] == block}) == 1


def test_the_page_of_the_plan_names_the_zener_of_either_build() -> None:
    page = stripboard.page(PLAN, CIRCUIT, netlist.load("register", 24))
    assert page.count("| 24 V in the 12 V build, 15 V in the 24 V build | lying |") == 16
