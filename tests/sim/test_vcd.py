"""The trace as a value change dump, read back by a library that knows nothing of us."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sim_driver import knit, small_plan
from vcdvcd import VCDVCD

from latchline.errors import InputError
from latchline.sim import vcd

Changes = list[tuple[int, str]]


def read(text: str) -> dict[str, Changes]:
    """Every variable's changes."""
    file = VCDVCD(vcd_string=text)
    return {name.rpartition(".")[2].partition("[")[0]: list(file[name].tv) for name in file.signals}


@pytest.mark.external
def test_a_run_read_back_from_its_vcd_file_is_the_plan(tmp_path: Path) -> None:
    """From selectors and position alone, as vcdvcd reads them, the plan's needles come out again."""
    plan = small_plan(passes=4)
    path = tmp_path / "run.vcd"
    told = knit(plan, f"sim://standard-200?seed=3&pauses=0&backing-up=0&trace={path}")
    assert len(told.done) == 4
    file = read(path.read_text())
    selectors = plan.profile.selectors
    positions = [(at, _signed(value)) for at, value in file["position"]]
    for number in range(1, 5):
        begin = next(at for at, value in file["pass"] if int(value, 2) == number)
        end = next(at for at, value in file["pass"] if at > begin and int(value, 2) == 0)
        sign = 1 if plan.rightward[number - 1] else -1
        lead = plan.profile.lead_edges("rightward" if sign > 0 else "leftward")
        met = {place: at for at, place in positions if begin <= at <= end}
        got = []
        for needle in range(plan.profile.needles):
            at = met[needle * plan.profile.edges_per_needle - sign * lead]
            got.append(_value(file[f"selector_{needle % selectors.count}"], at) == "1")
        assert got == plan.selected(number).tolist()
        assert _value(file["lamp"], end - 1) == "1"


@pytest.mark.external
def test_sensors_in_the_vcd_file_follow_the_position(tmp_path: Path) -> None:
    path = tmp_path / "run.vcd"
    plan = small_plan("mid-150", passes=2)
    knit(plan, f"sim://mid-150?seed=3&trace={path}")
    file = read(path.read_text())
    phase = {0: "00", 1: "10", 2: "11", 3: "01"}
    for at, value in file["position"][1::97]:
        place = _signed(value)
        assert _value(file["a"], at) + _value(file["b"], at) == phase[place % 4]
        assert _value(file["left"], at) == "01"[place > plan.profile.left_sensor_edge]
        assert _value(file["right"], at) == "01"[place < plan.profile.right_sensor_edge]


@pytest.mark.external
@given(
    st.lists(
        st.tuples(st.sampled_from((1, 5, 16)), st.lists(st.tuples(st.integers(1, 50), st.integers(-9, 9)), max_size=8)),
        min_size=1,
        max_size=6,
    )
)
def test_whatever_is_written_is_read_back(variables: list[tuple[int, list[tuple[int, int]]]]) -> None:
    lines, wanted = [], {}
    for number, (bits, steps) in enumerate(variables):
        at_us = np.cumsum([step for step, _ in steps], dtype=np.int64)
        values = np.array([value & 1 if bits == 1 else value for _, value in steps], np.int64)
        lines.append(vcd.Line(f"line_{number}", bits, at_us, values))
        told = [(0, 0), *((int(at), int(value) & (1 << bits) - 1) for at, value in zip(at_us, values, strict=True))]
        wanted[f"line_{number}"] = [
            change for before, change in zip([(0, None), *told], told, strict=False) if before[1] != change[1]
        ]
    got = read("".join(vcd.text(lines)))
    assert {name: [(at, int(value, 2)) for at, value in changes] for name, changes in got.items()} == wanted


def test_a_trace_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        vcd.write(tmp_path / "none" / "run.vcd", [])
    (tmp_path / "run.vcd").mkdir()
    with pytest.raises(InputError):
        vcd.write(tmp_path / "run.vcd", [])
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.vcd"]


def _signed(value: str) -> int:
    number = int(value, 2)
    return number - (1 << 16) if number >= 1 << 15 else number


def _value(changes: Changes, at: int) -> str:
    """The value at this time."""
    index = np.searchsorted([when for when, _ in changes], at, "right")
    return changes[int(index) - 1][1]
