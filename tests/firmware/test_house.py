"""The house of the core: who knows whom, and that nobody below board.c acts for the whole."""

from __future__ import annotations

import re

import pytest

from boards.compiled import FIRMWARE

SOURCES = FIRMWARE / "latchline" / "src"
STOREYS = (
    ("assure", "limits", "bytes", "crc", "count", "lock", "ports"),
    ("faults", "bed", "frames", "edges"),
    ("drive", "sensor", "plan", "watch"),
    ("track", "select", "store"),
    ("pass",),
    ("board",),
    ("replies",),
    ("link",),
)
"""From the ground up. A file includes only what stands on a lower storey, and its own header."""

STOREY_OF = {name: number for number, names in enumerate(STOREYS) for name in names}


def includes(name: str) -> set[str]:
    found: set[str] = set()
    for ending in (".c", ".h"):
        path = SOURCES / "core" / (name + ending)
        if path.exists():
            found |= set(re.findall(r'#include "([^"]+)"', path.read_text()))
    return found


def test_every_file_of_the_core_has_its_storey() -> None:
    assert {path.stem for path in (SOURCES / "core").iterdir()} == set(STOREY_OF)


@pytest.mark.parametrize("name", STOREY_OF)
def test_includes_point_downward_only(name: str) -> None:
    above = {other for other in includes(name) if other != f"{name}.h" and STOREY_OF[other[:-2]] >= STOREY_OF[name]}
    assert above == set()


def test_only_the_board_raises_faults() -> None:
    """Parts return verdicts; act_on stands in board.c alone."""
    raising = {path.name for path in (SOURCES / "core").iterdir() if "act_on" in path.read_text()}
    assert raising == {"board.c"}


def test_the_core_knows_no_chip() -> None:
    """But for the lock, which says so, and where a port adds its own."""
    for path in (SOURCES / "core").iterdir():
        text = path.read_text()
        assert path.name == "lock.h" or not re.search(r"#include <avr|__AVR|SREG|PORT[BCD]", text), path.name
