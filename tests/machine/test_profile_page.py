"""The page on the profile file tells the limits and defaults that the reader keeps to."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from latchline.errors import ProfileError
from latchline.machine.profile import Profile, parse_profile

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "profile-file.md"
LEAST = """\
title = "the least that a profile says"
[bed]
needles = 100
pitch_mm = 5
[sensors]
edges_per_needle = 4
left_needles_beyond = 12
right_needles_beyond = 12
[selectors]
layout = "bank"
count = 16
lead_leftward_needles = 2
lead_rightward_needles = 2
pull_in_ms = 1
mechanical_ms = 4
release_ms = 1
limit_ms = 1000
"""
REQUIRED = [
    (table, key)
    for table, values in tomllib.loads(LEAST).items()
    for key in (values if isinstance(values, dict) else [""])
]


def page_rows() -> list[tuple[str, str, str, str]]:
    """Table, key, what is accepted and the default, of every row of the page."""
    found, table = [], ""
    for line in PAGE.read_text(encoding="utf-8").replace("−", "-").splitlines():
        if heading := re.match(r"## `\[(\w+)", line):
            table = heading[1]
        elif line.startswith("| `"):
            keys, _, accepted, default = (cell.strip() for cell in line.strip("|").split("|"))
            found += [(table, key, accepted, default.strip("`")) for key in re.findall(r"`(\w+)`", keys)]
    return found


RANGES = [
    (table, key, *map(float, bounds[1].split(" to ")))
    for table, key, accepted, _ in page_rows()
    if table in ("bed", "sensors", "selectors") and (bounds := re.fullmatch(r"(-?[\d.]+ to [\d.]+)", accepted))
]


def with_value(table: str, key: str, value: str) -> str:
    """The least profile with one key of a table set, or added."""
    text = re.sub(rf"(?m)^{key} = .*\n", "", LEAST)
    if not table:
        return f"{key} = {value}\n{text}"
    return text.replace(f"[{table}]\n", f"[{table}]\n{key} = {value}\n")


def read(text: str) -> Profile:
    return parse_profile(text, name="my", file="my.toml")


def complaint(text: str) -> str:
    try:
        read(text)
    except ProfileError as error:
        return error.sentence()
    return ""


@pytest.mark.parametrize(("table", "key", "low", "high"), RANGES)
def test_each_number_is_taken_from_its_lowest_to_its_highest_and_no_further(
    table: str, key: str, low: float, high: float
) -> None:
    for value, fits in ((low, True), (high, True), (low - 1, False), (high + 1, False)):
        said = complaint(with_value(table, key, f"{value:g}"))
        assert (f'"{table}.{key}": {value:g} is out of range; accepted: {low:g} to {high:g}.' in said) is not fits


def test_the_page_gives_a_range_for_every_number() -> None:
    assert len(RANGES) == 16


@pytest.mark.parametrize(("table", "key"), REQUIRED)
def test_what_must_be_there_is_asked_for(table: str, key: str) -> None:
    name = key or table
    text = re.sub(rf"(?m)^{name} = .*\n", "", LEAST)
    assert complaint(text).endswith(f'this key is missing; add "{name} = …".')


@pytest.mark.parametrize("table", ["bed", "sensors", "selectors"])
def test_a_table_that_is_missing_is_asked_for(table: str) -> None:
    text = re.sub(rf"\[{table}\]\n(?:\w+ = .*\n)*", "", LEAST)
    assert f'key "{table}": this key is missing' in complaint(text)


@pytest.mark.parametrize("table", ["", "bed", "sensors", "selectors", "levers", "levers.tuck"])
def test_a_key_that_nobody_knows_is_named_wherever_it_stands(table: str) -> None:
    text = with_value(table, "odd", "1") if f"[{table}]" in LEAST or not table else f"{LEAST}[{table}]\nodd = 1\n"
    assert f'key "{table + "." if table else ""}odd": this key is not known here' in complaint(text)


def test_what_is_left_out_is_as_the_page_says() -> None:
    profile = read(LEAST)
    known: dict[str, Any] = vars(profile) | vars(profile.selectors)
    known |= dict.fromkeys(("middle_from_needle", "middle_to_needle"), profile.middle_needles)
    defaults = {key: default for table, key, _, default in page_rows() if table != "electrical"}
    told = {key: default for key, default in defaults.items() if default != "must be there"}
    worded = {
        "centre": ("half of them", 50),
        "tolerance_edges": (
            "half of `edges_per_needle`, but no more than 3, because an encoder that slips does so by fours",
            2,
        ),
        "duty_percent": ("0: what a row takes in which every needle needs its coil, and at least half", 0),
        "middle_from_needle": ("none", None),
        "middle_to_needle": ("none", None),
    }
    for key, default in told.items():
        if key in worded:
            assert (default, known[key]) == worded[key]
        else:
            assert str(known[key]) == default
    assert known["tolerance_edges"] == 2
    assert read(with_value("sensors", "edges_per_needle", "3")).tolerance_edges == 1


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_place_that_is_named_for_an_end_sensor_is_the_nearest_that_will_do(side: str) -> None:
    key = f"{side}_needles_beyond"
    said = complaint(with_value("sensors", key, "0"))
    named = re.search(r"at least ([\d.]+) needles beyond", said)
    assert named is not None
    assert not complaint(with_value("sensors", key, named[1]))
    assert "still at work" in complaint(with_value("sensors", key, str(float(named[1]) - 0.25)))


@pytest.mark.parametrize("side", ["leftward", "rightward"])
def test_a_turn_that_comes_before_the_selectors_are_done_is_refused(side: str) -> None:
    text = LEAST.replace("needles_beyond = 12", "needles_beyond = 40").replace(
        "lead_leftward_needles = 2\nlead_rightward_needles = 2",
        "lead_leftward_needles = 0\nlead_rightward_needles = 0",
    )
    assert not complaint(text)
    assert "comes before the selectors are done" in complaint(
        text.replace(f"lead_{side}_needles = 0", f"lead_{side}_needles = 20")
    )


def test_end_sensors_stand_as_many_needles_beyond_as_the_profile_says() -> None:
    profile = read(LEAST.replace("right_needles_beyond = 12", "right_needles_beyond = 13.5"))
    assert profile.left_sensor_edge == -12 * 4
    assert profile.right_sensor_edge == 99 * 4 + 54
