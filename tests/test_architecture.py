"""One road, one direction: a module imports only from rooms before its own."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "host" / "latchline"
ROAD = [
    "errors",
    "tables",
    "files",
    "runs",
    "machine",
    "chart",
    "technique",
    "shaping",
    "plan",
    "piece",
    "fabric",
    "checks",
    "drawing",
]
ROAD += [
    "preview",
    "working_chart",
    "sheet",
    "budget",
    "link",
    "sim",
    "timing",
    "knit",
    "dry_run",
    "doctor",
    "desk",
    "cli",
]
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        rooms |= {name.split(".")[1] for name in names if name.startswith("latchline.")}
    return rooms


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_from_rooms_before_its_own(path: Path) -> None:
    room = room_of(path)
    if path.name == "__main__.py":
        return
    assert room in ROAD, f"{room} is not on the road: add it to ROAD and to docs/architecture.md"
    behind = {other for other in imported_rooms(path) if other in ROAD and ROAD.index(other) > ROAD.index(room)}
    assert not behind


def test_only_the_command_line_prints() -> None:
    printing = [
        str(path.relative_to(PACKAGE))
        for path in MODULES
        if room_of(path) != "cli"
        and any(
            isinstance(node, ast.Call) and getattr(node.func, "id", "") == "print"
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        )
    ]
    assert printing == []
