"""Each version stands in one place; whatever else names one agrees with it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import latchline
from latchline.knit.journal import FORM
from latchline.link.messages import PROTOCOL

ROOT = Path(__file__).parents[1]


def text(*parts: str) -> str:
    return ROOT.joinpath(*parts).read_text(encoding="utf-8")


def defined(name: str) -> int:
    """A number of the firmware's header of limits."""
    found = re.search(
        rf"^#define {name} (\d+)$", text("firmware", "latchline", "src", "core", "limits.h"), re.MULTILINE
    )
    assert found, name
    return int(found[1])


def test_the_package_takes_its_version_from_the_program() -> None:
    settings = tomllib.loads(text("pyproject.toml"))
    assert settings["project"]["dynamic"] == ["version"]
    assert settings["tool"]["hatch"]["version"]["path"] == "host/latchline/__init__.py"


def test_the_newest_entry_of_the_changes_is_this_version() -> None:
    newest = re.search(r"^## (\S+)", text("CHANGELOG.md"), re.MULTILINE)
    assert newest
    assert newest[1] == latchline.__version__


def test_the_firmware_bears_the_programs_version() -> None:
    numbers = [defined(f"FIRMWARE_{part}") for part in ("MAJOR", "MINOR", "PATCH")]
    assert ".".join(map(str, numbers)) == latchline.__version__


def test_board_and_page_speak_the_programs_protocol() -> None:
    assert defined("PROTOCOL_VERSION") == PROTOCOL
    assert f"Protocol version **{PROTOCOL}**" in text("docs", "protocol.md")


def test_the_page_on_the_journal_tells_its_form() -> None:
    assert f"`PRAGMA user_version` the form of the tables: {FORM}." in " ".join(
        text("docs", "reference", "journal.md").split()
    )


def test_the_page_on_releases_names_every_place() -> None:
    page = text("docs", "how-to", "release.md")
    for file, name in re.findall(r"`((?:host|firmware)/[\w/.]+)` \(`(\w+)`", page):
        assert re.search(rf"\b{name}\b", text(*file.split("/"))), f"{name} is not in {file}"
