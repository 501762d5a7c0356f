"""Loops and floats against structures built otherwise: a networkx graph, one loop at a time, and scipy's labels.

A stitch is a new loop drawn through the loop knitted last and all tuck loops taken since; a loop that
is kept stretches to the next knitted loop of its wale; a float runs from one needle that takes the yarn
to the next (D. J. Spencer, Knitting Technology, 3rd ed. 2001, ch. 9).
"""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest
import scipy.ndimage
from hypothesis import given
from hypothesis import strategies as st

import strategies
from latchline.fabric.loops import does, pass_yarns
from latchline.fabric.structure import floats, structure, structure_of
from latchline.plan.model import Plan
from latchline.technique.model import Does, SecondBed

pytestmark = pytest.mark.external

KNITS = {Does.KNIT, Does.KNIT_CONTRAST, Does.LAID_OVER, Does.LAID_UNDER}


def graph_of(codes: npt.NDArray[np.uint8]) -> nx.DiGraph:
    """Loops as nodes (pass, needle), an edge from each loop to the stitch that is drawn through it.

    Built as the needles work, with a list of loops for each needle; a loop that hangs on a needle at
    the end leads to the node ("needle", needle).
    """
    graph = nx.DiGraph()
    passes, needles = codes.shape
    for needle in range(needles):
        hanging = [(0, needle)]
        graph.add_node((0, needle), knitted=True)
        for number in range(1, passes + 1):
            code = Does(int(codes[number - 1, needle]))
            if code in KNITS:
                graph.add_node((number, needle), knitted=True)
                graph.add_edges_from((loop, (number, needle)) for loop in hanging)
                hanging = [(number, needle)]
            elif code == Does.TUCK:
                graph.add_node((number, needle), knitted=False)
                hanging.append((number, needle))
        graph.add_edges_from((loop, ("needle", needle)) for loop in hanging)
    return graph


def random_codes() -> st.SearchStrategy[npt.NDArray[np.uint8]]:
    shape = st.tuples(st.integers(1, 12), st.integers(1, 8))
    return shape.flatmap(
        lambda size: st.binary(min_size=size[0] * size[1], max_size=size[0] * size[1]).map(
            lambda data: (np.frombuffer(data, np.uint8) % len(Does)).reshape(size)
        )
    )


def assert_same_as_the_graph(codes: npt.NDArray[np.uint8]) -> None:
    graph, loops = graph_of(codes), structure_of(codes)
    passes, needles = codes.shape
    held = loops.held()
    for number in range(passes + 1):
        for needle in range(needles):
            node = (number, needle)
            if node not in graph:
                assert loops.drawn_by[number, needle] == 0
                continue
            (into,) = graph.successors(node)  # every loop hangs on a needle or is drawn through exactly once
            drawn_by = passes + 1 if into[0] == "needle" else into[0]
            assert loops.drawn_by[number, needle] == drawn_by
            if graph.nodes[node]["knitted"]:
                above = [other for other in graph.nodes if other[1] == needle and other[0] != "needle"]
                knitted = [n for n, _ in above if n > number and graph.nodes[(n, needle)]["knitted"]]
                assert held[number, needle] == min(knitted, default=passes + 1) - number - 1
            if number:
                assert set(loops.drawn_through(number, needle)) == {n for n, _ in graph.predecessors(node)}
    for needle in range(needles):
        assert set(loops.on_needle(needle)) == {n for n, _ in graph.predecessors(("needle", needle))}


@given(codes=random_codes())
def test_loops_of_random_passes(codes: npt.NDArray[np.uint8]) -> None:
    assert_same_as_the_graph(codes)


@given(plan=strategies.plans())
def test_loops_of_random_pieces(plan: Plan) -> None:
    assert (structure(plan).codes == does(plan)).all()
    assert_same_as_the_graph(does(plan))


@given(plan=strategies.plans())
def test_floats_within_a_pass_are_the_gaps_that_scipy_labels(plan: Plan) -> None:
    codes, yarns = does(plan), pass_yarns(plan)
    wanted = set()
    for index in range(plan.passes):
        if plan.second_bed[index] != SecondBed.REST:
            continue
        for yarn in {int(yarns.first[index]), int(yarns.second[index])} - {-1}:
            taken = np.zeros(plan.span.width, dtype=bool)
            if yarns.first[index] == yarn:
                taken |= np.isin(codes[index], [Does.KNIT, Does.TUCK, Does.LAID_OVER, Does.LAID_UNDER])
            if yarns.second[index] == yarn:
                taken |= codes[index] == Does.KNIT_CONTRAST
            labels, count = scipy.ndimage.label(~taken)
            for label in range(1, count + 1):
                gap = np.flatnonzero(labels == label)
                if gap[0] > 0 and gap[-1] < plan.span.width - 1:
                    ends = (int(gap[0]) - 1, int(gap[-1]) + 1)
                    wanted.add((yarn, index + 1, *(ends if plan.rightward[index] else ends[::-1]), len(gap)))
    found = floats(plan)
    inside = found.pass_from == found.pass_to
    columns = (found.yarn, found.pass_from, found.needle_from, found.needle_to, found.needles())
    got = list(zip(*(column[inside].tolist() for column in columns), strict=True))
    assert len(got) == len(set(got))
    assert set(got) == wanted


@given(plan=strategies.plans())
def test_floats_over_a_turn_are_those_of_a_yarn_followed_needle_by_needle(plan: Plan) -> None:
    codes, yarns = does(plan), pass_yarns(plan)
    wanted: list[Any] = []
    last: dict[Any, Any] = {}
    for index in range(plan.passes):
        order = range(plan.span.width) if plan.rightward[index] else range(plan.span.width - 1, -1, -1)
        for needle in order:
            code = Does(int(codes[index, needle]))
            takers = {
                int(yarns.first[index]): plan.second_bed[index] != SecondBed.REST
                or code in KNITS - {Does.KNIT_CONTRAST}
                or code == Does.TUCK,
            }
            second = int(yarns.second[index])
            takers[second] = takers.get(second, False) or code == Does.KNIT_CONTRAST
            for yarn in (yarn for yarn, takes in takers.items() if takes and yarn >= 0):
                if yarn in last and last[yarn][0] != index + 1 and abs(last[yarn][1] - needle) > 1:
                    wanted.append((yarn, last[yarn][0], index + 1, last[yarn][1], needle))
                last[yarn] = (index + 1, needle)
    found = floats(plan)
    over = found.pass_from != found.pass_to
    columns = (found.yarn, found.pass_from, found.pass_to, found.needle_from, found.needle_to)
    assert sorted(zip(*(column[over].tolist() for column in columns), strict=True)) == sorted(wanted)


@given(plan=strategies.plans(), longest=st.integers(0, 6))
def test_asking_for_long_floats_gives_the_long_ones(plan: Plan, longest: int) -> None:
    every = floats(plan).needles()
    assert sorted(floats(plan, longer_than=longest).needles()) == sorted(every[every > longest])
