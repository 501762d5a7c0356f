"""The protocol's page and the code say the same."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest
from link import exchange

from latchline.link.faults import FAULTS, LOSES_POSITION
from latchline.link.messages import FROM_BOARD, FROM_HOST, LENGTHS, PROTOCOL, Message

PAGE = (Path(__file__).parents[2] / "docs" / "protocol.md").read_text(encoding="utf-8")
ROWS = {
    int(number, 16): (name, int(length), fields)
    for number, name, length, fields in re.findall(r"^\| ([0-9A-F]{2}) \| (\w+) \| (\d+) \|(.*)\|$", PAGE, re.MULTILINE)
}


@pytest.mark.parametrize("kind", FROM_HOST + FROM_BOARD)
def test_every_message_has_the_length_that_the_page_gives(kind: type[Message]) -> None:
    assert ROWS[kind.number][1] == LENGTHS[kind.number]


def test_the_page_lists_no_message_that_the_code_lacks() -> None:
    assert set(ROWS) == {kind.number for kind in FROM_HOST + FROM_BOARD}


@pytest.mark.parametrize("kind", [kind for kind in FROM_HOST + FROM_BOARD if kind.number not in (0x02, 0x08)])
def test_the_fields_on_the_page_are_packed_as_it_says(kind: type[Message]) -> None:
    """Adds up the widths in the page's own words: `u8`, `i16`, `3 × u8`, `32 bytes`."""
    fields = re.sub(r"`type u8` of the message refused", "`type u8`", ROWS[kind.number][2])
    width = 0
    for several, bits in re.findall(r"(?:(\d+) × )?[ui](8|16|32)\b", fields):
        width += int(several or 1) * int(bits) // 8
    width += sum(int(count) for count in re.findall(r"(\d+) bytes", fields))
    assert width == struct.calcsize("<" + kind.layout)


def test_the_bed_on_the_page_is_packed_as_it_says() -> None:
    section = PAGE[PAGE.index("BED carries") : PAGE.index("and `advance_max + hold`")]
    kinds = []
    for names, kind in re.findall(r"^\| (`[^|]*`) \| ([ui]\d+)(?: each)? \|", section, re.MULTILINE):
        kinds += [kind] * names.count("`, `") + [kind]
    letters = {"u8": "B", "u16": "H", "i16": "h"}
    bed = next(kind for kind in FROM_HOST if kind.number == 2)
    assert "".join(letters[kind] for kind in kinds) == bed.layout


def test_every_fault_of_the_page_has_its_text_and_hint() -> None:
    section = PAGE[PAGE.index("## 11.") : PAGE.index("## 12.")]
    rows = re.findall(r"^\| (\d+) (\*?) ?\| ([^|]+?) \|", section, re.MULTILINE)
    assert {int(number) for number, _, _ in rows} == set(FAULTS)
    assert {int(number) for number, star, _ in rows if star} == LOSES_POSITION
    for text in FAULTS.values():
        assert text.name
        assert text.says
        assert text.hint


def test_the_page_names_the_version_that_the_code_speaks() -> None:
    assert f"Protocol version **{PROTOCOL}**" in PAGE


def test_the_worked_exchange_on_the_page_is_what_host_and_model_board_say() -> None:
    section = PAGE[PAGE.index("## 14.") :]
    assert section[section.index("```\n") + 4 : section.rindex("\n```")] == exchange.page_lines()
