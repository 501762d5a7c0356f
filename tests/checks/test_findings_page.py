"""docs/reference/findings.md names every rule and limit, and techniques.md the rules of every technique."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest

from latchline.checks.find import OF_ALL, OF_TECHNIQUES, RULES
from latchline.plan.limits import Limits
from latchline.technique.table import TECHNIQUES

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"


def rows(page: str, heading: str) -> list[list[str]]:
    """The cells of the tables under a heading, without the table's own heading."""
    text = (REFERENCE / page).read_text(encoding="utf-8").split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line.strip("| ") for line in text.splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in line.split(" | ")] for line in lines]


def names(cell: str) -> list[str]:
    return re.findall(r"`([^`]+)`", cell)


def test_every_rule_is_on_the_page() -> None:
    assert sorted(name for row in rows("findings.md", "Rules") for name in names(row[0])) == sorted(RULES)


def test_every_limit_is_on_the_page_with_its_source() -> None:
    table = rows("findings.md", "Limits and their sources")
    assert sorted(key for row in table for key in names(row[0])) == sorted(field.name for field in fields(Limits))
    for row in table:
        assert re.search(r"Spencer|no source|handbook", row[2]), row[0]


@pytest.mark.parametrize("row", rows("findings.md", "Limits and their sources"), ids=lambda row: row[0])
def test_a_limit_on_the_page_is_the_one_in_use(row: list[str]) -> None:
    own = Limits().at(4.5)
    numbers = [float(text) for text in re.findall(r"\d+(?:\.\d+)?", row[1].split(" at 4.5 mm")[0])]
    for place, key in enumerate(names(row[0])):
        if key == "float_needles":
            for needles, pitch in re.findall(r"(\d) at ([\d.]+) mm", row[1]):
                assert Limits().at(float(pitch)).float_needles == int(needles)
        elif numbers:
            assert getattr(own, key) == numbers[place]
        else:
            assert getattr(own, key) == getattr(own, names(row[1])[0])


def test_the_rules_of_every_technique_are_on_the_page() -> None:
    table = {name: names(row[1]) for row in rows("techniques.md", "Which rules check it") for name in names(row[0])}
    assert {name: list(technique.checks) for name, technique in TECHNIQUES.items()} == table
    assert not set(OF_ALL) & set(OF_TECHNIQUES)
