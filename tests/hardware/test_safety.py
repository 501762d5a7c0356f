"""The safety page: every short caution word for word with reasons, and every danger of this build on it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from latchline.machine.cautions import SHORT_CAUTIONS
from latchline.machine.parts import load_part
from latchline.machine.profile import load_profile

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "hardware" / "SAFETY.md").read_text(encoding="utf-8")
FLAT = re.sub(r"\s+", " ", PAGE)


def sections() -> dict[str, str]:
    parts = re.split(r"^## (.+)$", PAGE, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize("caution", SHORT_CAUTIONS)
def test_a_short_caution_stands_on_the_page_in_bold_above_its_reasons(caution: str) -> None:
    homes = [text for text in sections().values() if f"**{caution}**" in re.sub(r"\s+", " ", text)]
    assert len(homes) == 1
    assert "*Why" in homes[0].split("**", 2)[2]


def test_there_are_few_short_cautions_and_each_is_one_sentence() -> None:
    assert 5 <= len(SHORT_CAUTIONS) <= 7
    for caution in SHORT_CAUTIONS:
        assert caution.endswith(".")
        assert caution.count(". ") == 0
        assert len(caution) < 230


@pytest.mark.parametrize("section", sections())
def test_every_caution_gives_its_reason(section: str) -> None:
    items = re.split(r"^- ", sections()[section], flags=re.MULTILINE)[1:]
    assert items
    for item in items:
        assert re.search(r"\*Why[^*]*:\*", item), item


@pytest.mark.parametrize(
    "danger",
    [
        "licensed electrician", "local electrical code", "isolated", "certified", "double-insulated",
        "extra-low-voltage", "limited", "fuse", "clamp", "live while", "charge", "hot", "carriage",
        "latch needles", "strain relief", "spark", "children", "damp", "pacemaker", "USB", "backwards",
        "power bank", "battery", "charger", "solder", "isolator", "tetanus", "running", "brown-out", "may never open",
        "at the driver", "a tingle at any time", "old machine's own supply", "USB is lost", "short", "stuck", "hobby information", "certified product", "extinguisher",
    ],
)  # fmt: skip
def test_a_danger_of_this_build_is_named(danger: str) -> None:
    assert danger in FLAT


def test_the_figures_on_the_page_are_those_of_the_parts_on_file() -> None:
    supply, board = load_part("supply"), load_part("board")
    for figure in (
        f"under {supply.value('clamp_total_v'):.0f} V",
        f"{supply.value('selv_v'):.0f} V DC",
        f"above about {supply.value('touch_c'):.0f} °C",
        f"carries {supply.value('fuse_carry'):g} times its rating for an hour",
        f"only at {supply.value('fuse_open'):g} times",
        f"{1000 * board.value('usb_unconfigured_a'):.0f} mA before",
        f"{1000 * board.value('usb_a'):.0f} mA after",
        f"({load_profile('standard-200').electrical['supply_limit_a']:g} A for the standard profile)",
    ):
        assert figure in FLAT
