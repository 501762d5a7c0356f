"""One road, one direction: a module imports only from rooms before its own."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

from latchline.cli import COMMANDS

PACKAGE = Path(__file__).parents[1] / "host" / "latchline"
ROAD = [
    "counted",
    "mend",
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
    "connect",
    "dry_run",
    "doctor",
    "measure",
    "door",
    "desk",
    "cli",
]
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def module_of(path: Path) -> str:
    return ".".join(("latchline", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__")


def nodes(tree: ast.AST) -> Iterator[ast.AST]:
    yield tree
    if not (isinstance(tree, ast.If) and getattr(tree.test, "id", "") == "TYPE_CHECKING"):
        for child in ast.iter_child_nodes(tree):
            yield from nodes(child)


def imports(path: Path) -> Iterator[str]:
    """What a module imports, also inside its functions, but for what only the type checker reads."""
    for node in nodes(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def imported_rooms(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imports(path) if name.startswith("latchline.")}


def imported_modules(path: Path) -> set[str]:
    """The files of ours that a module imports."""
    known = {module_of(other) for other in MODULES}
    return {max((m for m in known if f"{name}.".startswith(f"{m}.")), key=len, default="") for name in imports(path)}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_from_rooms_before_its_own(path: Path) -> None:
    room = room_of(path)
    if path.name == "__main__.py":
        return
    assert room in ROAD, f"{room} is not on the road: add it to ROAD and to docs/architecture.md"
    behind = {other for other in imported_rooms(path) if other in ROAD and ROAD.index(other) > ROAD.index(room)}
    assert not behind


def test_no_two_files_import_each_other_be_it_over_others() -> None:
    graph = nx.DiGraph((module_of(path), other) for path in MODULES for other in imported_modules(path) if other)
    assert [sorted(circle) for circle in nx.strongly_connected_components(graph) if len(circle) > 1] == []


def test_no_two_scripts_of_the_page_import_each_other_be_it_over_others() -> None:
    scripts = list((PACKAGE / "desk" / "page").glob("*.js"))
    named = re.compile(r'^import .* from "\./(\w+\.js)";$', re.MULTILINE)
    graph = nx.DiGraph((path.name, other) for path in scripts for other in named.findall(path.read_text()))
    assert set(graph) == {path.name for path in scripts}, "every script is reached"
    assert [sorted(circle) for circle in nx.strongly_connected_components(graph) if len(circle) > 1] == []


@pytest.mark.parametrize("file", [file for file, _ in COMMANDS.values()])
def test_no_command_imports_a_command(file: str) -> None:
    commands = {f"latchline.cli.{other}" for other, _ in COMMANDS.values()}
    assert imported_modules(PACKAGE / "cli" / f"{file}.py") & commands == set()


FACES = ("cli", "desk")


def reaches_for_a_terminal(path: Path) -> list[str]:
    """Where a file prints, reads what is typed, or draws on a terminal."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("print", "input"):
            found.append(f"line {node.lineno}: {getattr(node.func, 'id', '')}")
        if isinstance(node, ast.Attribute) and ast.unparse(node) in ("sys.stdin", "sys.stdout", "sys.stderr"):
            found.append(f"line {node.lineno}: sys.{node.attr}")
    return found + [name for name in imports(path) if name.split(".")[0] in ("rich", "click", "termios", "starlette")]


@pytest.mark.parametrize(
    "path", [path for path in MODULES if room_of(path) not in FACES], ids=lambda path: str(path.relative_to(PACKAGE))
)
def test_only_a_face_prints_asks_and_draws_on_a_terminal(path: Path) -> None:
    allowed = {"termios"} if path.parts[-2:] == ("link", "port.py") else set()  # to keep DTR up
    assert [found for found in reaches_for_a_terminal(path) if found.split(".")[0] not in allowed] == []


def test_the_faces_know_each_other_not() -> None:
    """But for the command that starts the desk."""
    assert [path for path in (PACKAGE / "desk").rglob("*.py") if "cli" in imported_rooms(path)] == []
    knowing = [path.name for path in (PACKAGE / "cli").rglob("*.py") if "desk" in imported_rooms(path)]
    assert knowing in ([], ["desk.py"])
