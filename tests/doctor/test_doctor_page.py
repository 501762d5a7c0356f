"""Every message of the doctor and of the board has its section in the docs, and every column its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from latchline.cli.words import TYPED
from latchline.doctor.ailments import AILMENTS
from latchline.link.faults import FAULTS
from latchline.timing.listing import COLUMNS
from latchline.timing.statistics import TimingSummary

DOCS = Path(__file__).parents[2] / "docs"


def sections() -> dict[str, str]:
    """Heading → text, each in one line, of the troubleshooting page."""
    page = (DOCS / "troubleshooting.md").read_text(encoding="utf-8")
    parts = re.split(r"^### (.+)$", page, flags=re.MULTILINE)[1:]
    return {heading: " ".join(text.split()) for heading, text in zip(parts[::2], parts[1::2], strict=True)}


@pytest.mark.parametrize("name", AILMENTS)
def test_each_diagnosis_has_a_section_headed_by_its_exact_message(name: str) -> None:
    ailment = AILMENTS[name]
    text = sections()[ailment.says]
    assert f"**Likely:** {ailment.cause}." in text
    assert f"**Do next:** {ailment.next_step(TYPED)}." in text


@pytest.mark.parametrize("number", FAULTS)
def test_each_fault_of_the_board_has_its_section(number: int) -> None:
    fault = FAULTS[number]
    text = sections()[fault.name[0].upper() + fault.name[1:]]
    assert text.startswith(f"Fault {number}.")
    assert f"**Says:** {fault.says}." in text
    assert f"**Do next:** {TYPED.hint(fault.hint, fault.mends)}." in text


def test_no_section_is_headed_by_a_message_that_nobody_says() -> None:
    said = {ailment.says for ailment in AILMENTS.values()} | {
        fault.name[0].upper() + fault.name[1:] for fault in FAULTS.values()
    }
    assert set(sections()) == said


def test_every_column_and_every_key_of_the_summary_is_explained() -> None:
    page = (DOCS / "reference" / "timing.md").read_text(encoding="utf-8")
    for name in [*COLUMNS, *TimingSummary.__dataclass_fields__]:
        if not re.fullmatch(r"tenth_[2-9]_s", name):
            assert f"`{name}`" in page, name
