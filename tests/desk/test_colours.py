"""The page's colours: what is written in them reads on what it lies on, in light and in dark."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

TEXT, SIGN = 4.5, 3.0  # WCAG 2.2, 1.4.3 and 1.4.11, level AA

CSS = re.sub(r"/\*.*?\*/", "", (files("latchline.desk") / "page" / "look.css").read_text(), flags=re.DOTALL)
COLOURS = {
    name: (light, dark)
    for name, light, dark in re.findall(r"--([a-z-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", CSS)
}

# Text and sign of one colour on a ground that another rule gives it.
LAID = [
    *((ink, ground, TEXT) for ink in ("ink", "soft") for ground in ("ground", "sheet", "wash")),
    ("red", "wash", TEXT),  # "not heard", in the head
    *((sign, ground, SIGN) for sign in ("edge", "sea") for ground in ("ground", "sheet", "wash")),
    *((sign, ground, SIGN) for sign in ("amber", "green", "red") for ground in ("ground", "sheet")),
]


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_that_of_the_guideline() -> None:
    """Black on white has 21:1 by its definition; #767676 is known as the lightest grey with 4.5:1 on white, from memory."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#ffffff", "#767676") >= 4.5 > contrast("#ffffff", "#777777")


def together() -> list[tuple[str, str, float]]:
    """Text and ground that one rule sets, of every rule that sets both."""
    found = []
    for _, rule in re.findall(r"([^{}]+)\{([^{}]*)\}", CSS):
        set_to = dict(re.findall(r"(?:^|[;\s])([a-z-]+): var\(--([a-z-]+)\)", rule))
        text = set_to.get("color") or set_to.get("--on-band", "")
        ground = set_to.get("background") or set_to.get("--band", "")
        if text in COLOURS and ground in COLOURS:
            found.append((text, ground, TEXT))
    return found


def test_every_colour_that_is_written_in_reads_on_what_it_lies_on() -> None:
    assert len(together()) >= 10
    for text, ground, least in {*LAID, *together()}:
        for scheme in (0, 1):
            found = contrast(COLOURS[text][scheme], COLOURS[ground][scheme])
            assert found >= least, f"{text} on {ground}, {('light', 'dark')[scheme]}: {found:.2f}"
