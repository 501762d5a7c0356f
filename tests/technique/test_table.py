"""The table of techniques: what each needle does, in each direction (common practice, no source, but where said)."""

from __future__ import annotations

import pytest

from latchline.checks.find import OF_TECHNIQUES
from latchline.errors import InputError
from latchline.machine.profile import LEVER_SETTINGS
from latchline.technique.model import Does, Technique
from latchline.technique.table import TECHNIQUES, technique_named

KNIT, CONTRAST, TUCK, MISS = Does.KNIT, Does.KNIT_CONTRAST, Does.TUCK, Does.MISS

# technique, selected and unselected in the pattern's direction, selected and unselected on the way back
FACTS = [
    ("stocking", KNIT, KNIT, KNIT, KNIT),
    ("tuck", KNIT, TUCK, KNIT, TUCK),
    ("tuck-one-way", KNIT, TUCK, KNIT, KNIT),
    ("slip", KNIT, MISS, KNIT, MISS),
    ("slip-one-way", KNIT, MISS, KNIT, KNIT),
    ("fair-isle", CONTRAST, KNIT, CONTRAST, KNIT),
    ("slip-colours", KNIT, MISS, KNIT, MISS),
    ("jacquard", KNIT, MISS, KNIT, MISS),
    ("inlay", Does.LAID_OVER, Does.LAID_UNDER, Does.LAID_OVER, Does.LAID_UNDER),
    ("hold", Does.HELD, KNIT, KNIT, KNIT),
]


@pytest.mark.parametrize(("name", "selected", "unselected", "back_selected", "back_unselected"), FACTS)
def test_what_selected_and_unselected_needles_do(
    name: str, selected: Does, unselected: Does, back_selected: Does, back_unselected: Does
) -> None:
    technique = technique_named(name)
    way = "rightward" if technique.one_way else "both"
    there, back = technique.cams_for("rightward", way), technique.cams_for("leftward", way)
    assert (there.selected, there.unselected) == (selected, unselected)
    assert (back.selected, back.unselected) == (back_selected, back_unselected)


def test_every_technique_has_its_facts_here() -> None:
    assert sorted(TECHNIQUES) == sorted(fact[0] for fact in FACTS)


@pytest.mark.parametrize("technique", TECHNIQUES.values(), ids=lambda technique: technique.name)
def test_a_technique_says_all_that_a_sheet_and_a_check_need(technique: Technique) -> None:
    assert {technique.cams.setting, technique.back.setting} <= set(LEVER_SETTINGS)
    assert set(technique.checks) <= set(OF_TECHNIQUES)
    assert len(technique.feeders) == max(technique.yarns, 1)
    assert technique.yarn_classes
    assert bool(technique.separations) == (technique.yarns == 0)
    for separation in technique.separations:
        assert technique.colours_min <= separation.colours_min <= separation.colours_max <= technique.colours_max


def test_every_rule_of_techniques_is_asked_for_by_one() -> None:
    assert {rule for technique in TECHNIQUES.values() for rule in technique.checks} == set(OF_TECHNIQUES)


@pytest.mark.parametrize("name", ["inlay", "hold"])
def test_the_operator_is_told_what_to_do_before_every_pass(name: str) -> None:
    technique = technique_named(name)
    assert technique.cams.action
    assert technique.back.action


def test_an_unknown_technique_is_answered_with_the_names() -> None:
    with pytest.raises(InputError, match="accepted: stocking, tuck"):
        technique_named("knotting")


@pytest.mark.parametrize("name", ["fair isle", "fairisle", "Fair-Isle", "FAIR_ISLE"])
def test_a_technique_written_another_way_is_answered_with_the_way_that_is_read(name: str) -> None:
    with pytest.raises(InputError, match='write "fair-isle"'):
        technique_named(name)
