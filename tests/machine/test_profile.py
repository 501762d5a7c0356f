"""Machine profiles: the shipped ones are sound, and one that cannot work is refused with the key and the line."""

from __future__ import annotations

import pytest

from latchline.errors import ProfileError
from latchline.machine.needles import Span
from latchline.machine.profile import load_profile, parse_profile, profile_text, shipped_profiles

GOOD = profile_text("standard-200")


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


@pytest.mark.parametrize("name", shipped_profiles())
def test_every_shipped_profile_lets_its_selectors_finish_before_the_end_sensors(name: str) -> None:
    profile = load_profile(name)
    left, right = profile.turn_lines(Span(0, profile.needles - 1))
    assert profile.left_sensor_edge < left < 0
    assert right < profile.right_sensor_edge
    assert profile.turn_clearance_needles == 15


@pytest.mark.parametrize("name", shipped_profiles())
@pytest.mark.parametrize("first", [0, 40])
def test_at_its_turn_lines_no_selector_of_a_pass_has_anything_to_do(name: str, first: int) -> None:
    """Worked out needle by needle from section 7 of the protocol."""
    profile = load_profile(name)
    span = Span(first, first + 30)
    lines = profile.turn_lines(span)
    for direction, sign in (("rightward", 1), ("leftward", -1)):
        start, finish = (lines[0], lines[1]) if sign > 0 else (-lines[1], -lines[0])
        for needle in range(span.first, span.last + 1):
            point = sign * needle * profile.edges_per_needle - profile.lead_edges(direction)
            assert start + profile.advance_max_edges < point
            assert finish >= point + profile.selectors.hold_edges


def test_the_sizes_are_those_of_the_trade() -> None:
    """Needle counts at each pitch: 200 at 4.5 mm, 180 at 5, 150 at 6.5, about 112 at 9 (from memory)."""
    sizes = {(p.needles, p.pitch_mm, p.beds) for p in map(load_profile, shipped_profiles())}
    assert sizes == {(200, 4.5, 1), (180, 5.0, 2), (150, 6.5, 1), (112, 9.0, 1)}


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("needles = 200", "needles = 999", 'my.toml, line 10, key "bed.needles": 999 is out of range; accepted: 2 to 255.'),
        ("needles = 200", 'needles = "many"', 'my.toml, line 10, key "bed.needles": expected a whole number, found the text "many".'),
        ("pitch_mm = 4.5", "pitch = 4.5", 'my.toml, line 9, key "bed.pitch_mm": this key is missing; add "pitch_mm = …".'),
        ("pitch_mm = 4.5", "pitch_mm = -4.5", 'my.toml, line 11, key "bed.pitch_mm": -4.5 is out of range; accepted: 1 to 20.'),
        ("pitch_mm = 4.5", "pitch_mm = nan", 'my.toml, line 11, key "bed.pitch_mm": nan is out of range; accepted: 1 to 20.'),
        ('layout = "bank"', 'layout = "row"', 'key "selectors.layout": "row" is not known here; accepted: carriage, bank.'),
        ('layout = "bank"\ncount = 16', 'layout = "carriage"\ncount = 3', 'key "selectors.count": 3 is out of range; accepted: 1 to 2.'),
        ("count = 16", "count = 17", 'key "selectors.count": 17 is out of range; accepted: 1 to 16.'),
        ("limit_ms = 1000", "limit_ms = 1000\nlimit = 3", 'key "selectors.limit": this key is not known here; did you mean "limit_ms"?'),
        ("mechanical_ms = 4.0", "mechanical_ms = 49.0", "at 1.5 m/s a selector is busy for 95 edges of each needle, but has only 64 until its next one"),
        ("left_needles_beyond = 12", "left_needles_beyond = 1", "the left end sensor stands where selectors are still at work; at least 5.25 needles beyond"),
        ("[bed]", "[bed", "not valid TOML"),
        ('title = "', 'titel = "', 'key "title": this key is missing'),
        ("lead_leftward_needles = 2", "lead_leftward_needles = 25", "the right end sensor stands where selectors are still at work"),
    ],
)  # fmt: skip
def test_a_profile_that_cannot_work_is_refused_with_its_key(old: str, new: str, complaint: str) -> None:
    with pytest.raises(ProfileError) as caught:
        parse_profile(changed(old, new), name="my", file="my.toml")
    assert complaint in caught.value.sentence()


def test_a_profile_of_the_users_own_is_read_by_path(tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "mine.toml").write_text(changed("needles = 200", "needles = 160"))
    assert load_profile("mine.toml", beside=tmp_path).needles == 160
    assert load_profile(str(tmp_path / "mine.toml")).name == "mine"
    assert load_profile(str(tmp_path / "mine.toml"), beside=tmp_path / "elsewhere").name == "mine"
    with pytest.raises(ProfileError, match='no machine profile is called "mine"'):
        load_profile("mine")


def test_levers_keep_the_users_words() -> None:
    text = GOOD + '[levers.tuck]\nleftward = "both side buttons up"\n'
    assert parse_profile(text, name="my", file="my.toml").levers["tuck"]["leftward"] == "both side buttons up"
