"""The hardware pages and the budget's pages name things as they are called elsewhere."""

from __future__ import annotations

import re
import sys
from dataclasses import MISSING, fields
from pathlib import Path

import pytest

from latchline.budget.report import as_data
from latchline.budget.sums import make_budget
from latchline.doctor.ailments import AILMENTS
from latchline.machine.electrical import RANGES, Electrical
from latchline.machine.parts import load_part
from latchline.machine.profile import load_profile

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))

import netlist

ROOT = Path(__file__).parents[2]


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def test_the_build_order_quotes_the_doctors_own_sentences() -> None:
    pages = page("hardware/README.md") + page("hardware/fitting.md")
    quoted = re.findall(r'"([A-Z][^"]+?)"', re.sub(r"\s+", " ", pages))
    assert len(quoted) > 12
    assert set(quoted) <= {ailment.says for ailment in AILMENTS.values()}


@pytest.mark.parametrize("name", ["hardware/README.md", "hardware/fitting.md", "hardware/SAFETY.md", "hardware/builds/register-12/wiring.md",
                                  "docs/how-to/budget.md", "docs/reference/budget.md"])  # fmt: skip
def test_every_link_leads_to_a_file(name: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page(name)):
        assert (ROOT / name).parent.joinpath(target).exists(), target


def test_the_reference_lists_every_line_of_the_budget_and_no_other() -> None:
    listed = re.findall(r"^\| ([a-z][^|]+?) \|", page("docs/reference/budget.md").split("## Lines")[1].split("## JSON")[0],
                        re.MULTILINE)  # fmt: skip
    lines = [line.name for line in make_budget(load_profile("standard-200")).lines]
    assert [name for name in listed if name != "line"] == lines


def test_the_reference_names_every_key_of_the_json() -> None:
    text = page("docs/reference/budget.md").split("## JSON")[1]
    data = as_data(make_budget(load_profile("standard-200")))
    keys = {*data, *data["demand"], *data["selectors"][0], *data["lines"][0]}
    assert keys <= set(re.findall(r"`(\w+)`", text))


def test_the_profile_page_lists_every_electrical_key_with_its_range_and_default() -> None:
    section = page("docs/reference/profile-file.md").split("## `[electrical]`")[1]
    rows = {row[0]: row for row in re.findall(r"^\| `(\w+)` \|.*\| ([^|]+) \| ([^|]+) \|$", section, re.MULTILINE)}
    assert set(rows) == {one.name for one in fields(Electrical)}
    for key, (low, high) in RANGES.items():
        if key != "wire_awg":  # three gauges are on file
            assert rows[key][1].strip() == f"{low:g} to {high:g}".replace("-", "−")
    for one in fields(Electrical):
        if one.default is MISSING:
            assert "must be there" in rows[one.name][2]


def test_every_shipped_profile_marks_its_coils_as_assumed() -> None:
    for file in (ROOT / "host" / "latchline" / "profiles").glob("*.toml"):
        before = file.read_text(encoding="utf-8").split("[electrical]")[0]
        assert "assumptions" in before[-300:]


def test_the_mending_table_names_real_lines() -> None:
    lines = [line.name for line in make_budget(load_profile("standard-200")).lines]
    table = page("docs/how-to/budget.md").split("## Mend")[1].split("A coil of")[0]
    for name in re.findall(r"^\| ([a-z][^|]+?) \|", table, re.MULTILINE):
        assert name == "line" or any(line.startswith(name) for line in lines), name


def test_the_figures_for_how_far_a_strip_may_be_off_follow_from_the_profile() -> None:
    text = re.sub(r"\s+", " ", page("hardware/fitting.md"))
    standard = load_profile("standard-200")
    between = standard.needles - 1 + standard.left_sensor_needles + standard.right_sensor_needles
    allowed_edges = standard.tolerance_edges / 2
    assert allowed_edges == 1
    quarter_mm = allowed_edges / standard.edges_per_needle * standard.pitch_mm
    assert f"a quarter of a needle, {quarter_mm:.1f} mm on a bed of {standard.pitch_mm:g} mm" in text
    share = allowed_edges / standard.edges_per_needle / between
    assert f"{100 * share:.2f} % of the {between:g} needles" in text
    assert text.count(f"{allowed_edges / between:.4f}") == 2
    span_mm = (standard.needles - 1) * standard.pitch_mm
    assert f"of {span_mm:g}" in text
    near, far = (
        float(found) for found in re.findall(r"a span of ([\d.]+) mm is that of 4.5 mm, one of ([\d.]+)", text)[0]
    )
    assert abs(near - span_mm) <= 0.5 < abs(far - span_mm)


def test_the_sum_of_currents_in_the_table_of_builds_is_what_the_parts_of_the_bill_bear() -> None:
    """The largest standard fuse that the 2 A parts stand for minutes, and what it carries for long."""
    supply = load_part("supply")
    weakest_a = min(supply.value("switch_a"), supply.value("terminal_a"))
    fuse_a = max(one for one in supply.fuses_a if one <= weakest_a / supply.value("fuse_open"))
    carried_a = fuse_a * supply.value("fuse_share")
    text = re.sub(r"\s+", " ", page("hardware/README.md"))
    assert f"{carried_a:g} A is what the parts of the bill bear" in text
    assert f"only up to a fuse of {fuse_a:g} A" in text
    assert text.count(f"| {carried_a:g} A | [bill]") == 6


def test_every_part_of_the_netlist_stands_in_a_step_of_the_build_order() -> None:
    steps = page("hardware/README.md").split("## Build order")[1].split("Write into")[0]
    named = set(re.findall(r"\b([A-Z]\d+)\b", steps))
    for first, last in re.findall(r"\b([A-Z]\d+) to ([A-Z]\d+)\b", steps):
        named |= {f"{first[0]}{number}" for number in range(int(first[1:]), int(last[1:]) + 1)}
    named |= {f"{letter}{100 + n}" for letter in "DZ" for n in range(16)}  # "a diode and a zener for every selector"
    named |= {f"L{n}" for n in range(16)} | {"U1"}
    for driver in netlist.DRIVERS:
        assert set(netlist.load(driver).parts) <= named
