"""The one table of options: what derives from it agrees with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from latchline.errors import InputError
from latchline.machine.profile import load_profile
from latchline.plan.options import (
    BAND_OPTIONS,
    DRAWING_OPTIONS,
    OPTIONS,
    PIECE_OPTIONS,
    TECHNIQUE,
    DrawingOptions,
    Option,
    Options,
    read_drawing_options,
    read_options,
    spoken_options,
)
from latchline.tables import Table

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "piece-file.md"
BED = load_profile("standard-200")


def row_of(option: Option) -> str:
    """The option's line in the reference, to be pasted there."""
    return f"| `{option.name}` | {option.says} | {option.kind.accepted} | {option.left_out} |"


@pytest.mark.parametrize("options", [PIECE_OPTIONS, (TECHNIQUE, *BAND_OPTIONS), DRAWING_OPTIONS], ids=["piece", "band", "drawing"])  # fmt: skip
def test_the_reference_says_of_each_option_what_the_table_says_in_the_tables_order(options: tuple[Option, ...]) -> None:
    page = PAGE.read_text(encoding="utf-8").splitlines()
    rows = [row_of(option) for option in options]
    missing = [row for row in rows if row not in page]
    assert not missing, "paste into the reference:\n" + "\n".join(missing)
    places = [page.index(row) for row in rows]
    assert places == sorted(places)


def test_a_table_without_keys_gives_the_defaults() -> None:
    assert read_options(Table({}), BED) == Options()
    assert read_drawing_options(Table({}), BED) == DrawingOptions()


def test_two_options_of_one_name_differ_in_the_table_that_they_stand_in() -> None:
    places = [(option.of, option.name) for option in OPTIONS]
    assert len(places) == len(set(places))
    spoken = [option.name for option in spoken_options()]
    assert len(spoken) == len(set(spoken))


@pytest.mark.parametrize("option", OPTIONS, ids=lambda option: f"{option.of}-{option.name}")
def test_an_option_is_said_in_one_phrase(option: Option) -> None:
    assert option.says
    assert not option.says.endswith(".")
    assert option.says[0].islower()


@pytest.mark.parametrize(
    ("values", "complaint"),
    [
        ({"rows": 0}, "rows: 0 is out of range; accepted: 1 to 1000000."),
        ({"backing": "half"}, "backing: half is out of range; accepted: full, alternate."),
        ({"shift": 1001}, "shift: 1001 is out of range; accepted: -1000 to 1000."),
    ],
)
def test_options_made_in_code_are_held_to_the_same_limits(values: dict[str, object], complaint: str) -> None:
    with pytest.raises(InputError) as caught:
        Options(**values)  # type: ignore[arg-type]
    assert caught.value.sentence() == complaint
    assert caught.value.key == next(iter(values))
