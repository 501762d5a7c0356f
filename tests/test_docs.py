"""The pages keep their word: commands marked `sh` run, links lead somewhere, every key has its line."""

from __future__ import annotations

import re
import shlex
import shutil
from importlib import resources
from pathlib import Path

import pytest

from latchline.cli import COMMANDS, main

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("hardware/**/*.md")])
COMMAND_BLOCK = re.compile(r"^```sh\n(.*?)^```", re.MULTILINE | re.DOTALL)
WRITTEN_BLOCK = re.compile(r"[Ww]rite this into\s+`([^`]+)`[^`]*?:\n\n```\w+\n(.*?)^```", re.MULTILINE | re.DOTALL)
ANY_BLOCK = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def commands(page: Path) -> list[str]:
    """The lines of a page's `sh` blocks, continued lines joined."""
    lines: list[str] = []
    for block in COMMAND_BLOCK.findall(page.read_text(encoding="utf-8")):
        lines += [line.strip() for line in block.replace("\\\n", " ").splitlines() if line.strip()]
    return [line for line in lines if not line.startswith("#")]


@pytest.mark.parametrize("page", [page for page in PAGES if commands(page)], ids=name_of)
def test_the_commands_of_a_page_run_one_after_another(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In an empty folder with the examples in it. `cmd > file` writes the file; `# exit 1` expects that status.

    What the page has the reader write into a file is there, too.
    """
    for entry in (resources.files("latchline") / "examples").iterdir():
        shutil.copy(str(entry), tmp_path)
    for file, text in WRITTEN_BLOCK.findall(page.read_text(encoding="utf-8")):
        (tmp_path / file).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    for line in commands(page):
        words, expected = line, 0
        if found := re.search(r"\s*# exit (\d)$", line):
            words, expected = line[: found.start()], int(found[1])
        words, _, file = words.partition(" > ")
        name, *arguments = shlex.split(words)
        assert name == "latchline", f"{name_of(page)}: only latchline commands stand in an sh block, not {name}"
        with pytest.raises(SystemExit) as ended:
            main(arguments)
        printed = capsys.readouterr()
        assert (ended.value.code or 0) == expected, f"{line}\n{printed.err}"
        if file:
            Path(file.strip()).write_text(printed.out, encoding="utf-8")


PYTHON_BLOCK = re.compile(r"^```python\n(.*?)^```", re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("page", [page for page in PAGES if PYTHON_BLOCK.search(page.read_text("utf-8"))], ids=name_of)
def test_the_programs_of_a_page_run(page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for entry in (resources.files("latchline") / "examples").iterdir():
        shutil.copy(str(entry), tmp_path)
    monkeypatch.chdir(tmp_path)
    for block in PYTHON_BLOCK.findall(page.read_text(encoding="utf-8")):
        exec(compile(block, name_of(page), "exec"), {})


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_the_links_of_a_page_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", ANY_BLOCK.sub("", page.read_text(encoding="utf-8"))):
        if re.match(r"[a-z]+:", target):
            continue
        path, _, anchor = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        assert file.exists(), f"{name_of(page)} links to {target}"
        if anchor and file.suffix == ".md":
            assert anchor in anchors(file), f"{name_of(page)} links to {target}"


def test_the_list_of_all_pages_lists_all_pages() -> None:
    listed = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    missing = [
        str(page.relative_to(ROOT / "docs"))
        for page in ROOT.glob("docs/**/*.md")
        if page.name != "README.md" and f"({page.relative_to(ROOT / 'docs')})" not in listed
    ]
    assert missing == []


def anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.*)$", ANY_BLOCK.sub("", page.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_a_page_opens_with_what_it_is_for(page: Path) -> None:
    """A heading, then a paragraph of plain text before any table, list or further heading."""
    lines = [line for line in page.read_text(encoding="utf-8").splitlines() if line.strip()]
    assert lines[0].startswith("# ")
    assert re.match(r"[A-Z*`]", lines[1]), lines[1]
    assert not lines[1].startswith(("| ", "* "))


@pytest.mark.parametrize(("page", "source"), [("piece-file", "piece/file.py"), ("profile-file", "machine/profile.py")])
def test_every_key_that_is_read_has_its_line_in_the_reference(page: str, source: str) -> None:
    code = (ROOT / "host" / "latchline" / source).read_text(encoding="utf-8")
    text = (ROOT / "docs" / "reference" / f"{page}.md").read_text(encoding="utf-8")
    keys = re.findall(r"\.(?:text|choice|flag|whole|number|texts|raw|table|tables)\(\s*\"(\w+)\"", code)
    keys += re.findall(r"_pair\(table, \"(\w+)\"", code)
    missing = [key for key in keys if f"`{key}`" not in text and f"[{key}" not in text and f"`{key} " not in text]
    assert not missing


def test_the_readme_names_every_command_that_a_newcomer_meets() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        if name not in ("ports", "profiles", "examples"):
            assert f"`{name}`" in readme


def test_the_readme_says_what_every_command_is_for() -> None:
    rows = [line for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines() if line.startswith("|")]
    named = {name for row in rows for name in re.findall(r"`([a-z-]+)`", row.split("|")[2])}
    assert named == set(COMMANDS)
