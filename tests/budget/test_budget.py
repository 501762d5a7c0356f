"""The budget: verdicts that follow the figures, monotone where physics is, nonsense refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from latchline.budget.lines import Line
from latchline.budget.report import as_data, as_html, as_text
from latchline.budget.sums import Budget, make_budget
from latchline.errors import ProfileError
from latchline.machine.electrical import read_electrical
from latchline.machine.parts import load_part, part_names
from latchline.machine.profile import Profile, load_profile, profile_text, shipped_profiles
from strategies import coils, electrical_tables


def made(name: str = "standard-200", **changes: Any) -> Profile:
    profile = load_profile(name)
    return replace(profile, electrical={**profile.electrical, **changes})


def line(budget: Budget, name: str) -> Line:
    return next(one for one in budget.lines if one.name == name)


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_shipped_profile_breaks_no_rating_at_a_steady_pace(name: str) -> None:
    assert make_budget(load_profile(name), pace_rows_min=25).verdict != "no"


@pytest.mark.parametrize("name", shipped_profiles())
def test_every_line_has_figure_unit_limit_and_source_and_the_verdict_follows_them(name: str) -> None:
    for one in make_budget(load_profile(name)).lines:
        assert one.source
        assert one.unit
        assert one.figure is not None
        assert one.limit is not None
        kept = one.figure <= one.limit if one.sense == "at most" else one.figure >= one.limit
        assert (one.verdict == "ok") == (kept or math.isclose(one.figure, one.limit)), one


@given(coils(), st.floats(-10, 40), st.floats(1, 20))
def test_hotter_air_makes_pull_in_slower_or_impossible(
    electrical: dict[str, Any], ambient_c: float, warmer_k: float
) -> None:
    def worst_ms(celsius: float) -> float:
        profile = made(**electrical, driver="n-mosfet", ambient_c=celsius)
        found = make_budget(profile).busiest.pull_in_low_ms
        return math.inf if found is None else found

    cool_ms = worst_ms(ambient_c)
    assume(cool_ms < math.inf)
    assert worst_ms(ambient_c + warmer_k) > cool_ms


@given(st.floats(5, 40), st.floats(1.05, 2))
def test_a_faster_pace_needs_as_much_lead_or_more_and_makes_the_coil_no_cooler_a_minute(
    pace: float, faster: float
) -> None:
    slow, fast = (make_budget(load_profile("standard-200"), pace_rows_min=p) for p in (pace, pace * faster))
    assert fast.busiest.lead_needles is not None
    assert slow.busiest.lead_needles is not None
    assert fast.busiest.lead_needles >= slow.busiest.lead_needles
    assert fast.interval_ms < slow.interval_ms
    assert fast.busiest.temperature_c >= slow.busiest.temperature_c


@given(st.floats(0.1, 3.0), st.floats(1.1, 3))
def test_a_slower_coil_lowers_the_speed_that_the_selectors_can_follow(share: float, slower: float) -> None:
    quick = make_budget(made("mid-150", inductance_mh=20 * share))
    slow = make_budget(made("mid-150", inductance_mh=20 * share * slower))
    assert slow.safe_m_s <= quick.safe_m_s


def test_more_needles_selected_heat_the_coil_and_load_the_supply() -> None:
    profile = load_profile("standard-200")
    rng = np.random.default_rng(6)
    sparse = rng.random((40, 120)) < 0.2
    dense = sparse | (rng.random((40, 120)) < 0.6)
    calm, busy = (make_budget(profile, masks, 40) for masks in (sparse, dense))
    assert calm.of_piece
    assert busy.busiest.temperature_c > calm.busiest.temperature_c
    means_a = [line(budget, "supply current, mean").figure or 0.0 for budget in (calm, busy)]
    assert 0 < means_a[0] < means_a[1]


def test_every_needle_on_every_pass_is_the_most_that_a_piece_can_ask() -> None:
    profile = load_profile("standard-200")
    masks = np.random.default_rng(1).random((30, 200)) < 0.5
    whole, piece = make_budget(profile), make_budget(profile, masks, 0)
    assert (piece.demand.duty_pass <= whole.demand.duty_pass + 1e-12).all()
    assert piece.demand.at_once <= whole.demand.at_once


def test_a_coil_that_fails_only_when_hot_and_on_a_low_supply_is_not_blessed() -> None:
    profile = made(pull_in_a=0.085, ambient_c=55)
    budget = make_budget(replace(profile, selectors=replace(profile.selectors, pull_in_ms=1.5)))
    assert line(budget, "pull-in, cold").verdict == "ok"
    worst = line(budget, "pull-in, hot coil and low supply")
    assert (worst.verdict, worst.figure) == ("no", None)
    assert budget.verdict == "no"
    assert "never" in as_text(budget)


def test_a_pull_in_time_that_the_profile_does_not_allow_for_is_not_blessed() -> None:
    profile = load_profile("standard-200")
    hasty = replace(profile, selectors=replace(profile.selectors, pull_in_ms=0.3))
    assert line(make_budget(hasty), "pull-in, cold").verdict == "no"


def test_a_coil_that_selects_by_letting_go_is_held_to_the_times_the_other_way_round() -> None:
    profile = load_profile("standard-200")
    low = replace(profile, selectors=replace(profile.selectors, active="low"))
    budget = make_budget(low)
    assert line(budget, "release, cold").limit == profile.selectors.pull_in_ms
    assert line(budget, "pull-in, cold").limit == profile.selectors.release_ms
    high = make_budget(profile)  # a coil is on for needles that it does not select, but for no longer
    assert line(budget, "fuse rating").figure == line(high, "fuse rating").figure


@pytest.mark.parametrize(
    ("changes", "broken", "verdict"),
    [
        ({"clamp": "driver"}, "peak voltage at the driver", "no"),
        ({"clamp": "driver", "driver": "uln2803a"}, "clamp energy of one release", "no"),
        ({"inductance_mh": 5000.0}, "clamp energy of one release", "no"),
        ({"fuse_a": 0.315}, "fuse rating", "no"),
        ({"fuse_a": 1.0}, "short-circuit current against the fuse", "look"),
        ({"supply_limit_a": 0.2}, "supply current, peak at the highest speed", "no"),
        ({"coil_k_per_w": 100}, "coil left on for good", "look"),
        ({"coil_k_per_w": 250}, "coil within reach of a finger", "look"),
        ({"wire_m": 10.0, "wire_awg": 26}, "wire drop, there and back", "no"),
        ({"supply_v": 40.0, "resistance_ohm": 400.0}, "supply sense at the pin", "no"),
        ({"supply_v": 48.0, "resistance_ohm": 480.0}, "switch and socket voltage", "no"),
        ({"supply_v": 48.0, "resistance_ohm": 480.0}, "capacitor voltage", "no"),
        ({"supply_limit_a": 20.0}, "supply current limit", "no"),
        ({"fuse_a": 3.15}, "fuse rating, for what lies behind it", "no"),
        ({"wire_awg": 26, "fuse_a": 1.25}, "fuse rating, for what lies behind it", "no"),
        ({"resistance_ohm": 11.0, "driver": "n-mosfet"}, "current through a clamp diode", "no"),
        ({"pull_in_a": 0.08}, "supply watch, at its lowest", "look"),
        ({"supply_limit_a": 1.0}, "short-circuit current against the fuse", "look"),
        (
            {"resistance_ohm": 350.0, "pull_in_a": 0.02, "drop_out_a": 0.01},
            "one coil seen by the current sense",
            "no",
        ),
    ],
)
def test_what_breaks_a_limit_is_named(changes: dict[str, Any], broken: str, verdict: str) -> None:
    assert line(make_budget(made(**changes)), broken).verdict == verdict


def test_a_fuse_and_a_supply_far_too_large_do_not_pass() -> None:
    """20 A, 3.15 A and AWG 26 on a bed of 0.33 A, behind switch and terminals of 2 A."""
    budget = make_budget(made(supply_limit_a=20.0, fuse_a=3.15, wire_awg=26))
    assert {one.name for one in budget.lines if one.verdict == "no"} == {
        "supply current limit",
        "fuse rating, for what lies behind it",
        "shunt heat, as much as the fuse carries",
    }


def test_no_current_of_the_coils_lifts_the_drivers_ground_far() -> None:
    """The shunt lies behind the star: 16 coils of 110 mA, of which eight return through one driver; three are on at once."""
    profile = load_profile("standard-200")
    budget = make_budget(replace(profile, selectors=replace(profile.selectors, active="low")))
    lift = line(budget, "driver input below its ground, every output on")
    assert lift.figure == pytest.approx(8 * 0.110 * 0.03)
    assert lift.verdict == "ok"
    assert line(budget, "shunt heat, peak at the highest speed").figure == pytest.approx(0.1 * (3 * 0.110) ** 2)


def test_a_measured_five_volts_makes_the_supply_watch_surer() -> None:
    name = "supply watch, at its lowest"
    as_usb, measured = line(make_budget(made()), name), line(make_budget(made(board_v=4.8)), name)
    assert as_usb.figure is not None
    assert measured.figure is not None
    assert measured.figure > as_usb.figure


def test_a_driver_file_of_ones_own_stands_beside_the_profile(tmp_path: Path) -> None:
    own = (resources.files("latchline") / "machine" / "parts" / "n-mosfet.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(own.replace("value = 1.0", "value = 0.1"), encoding="utf-8")
    bed = profile_text("standard-200").replace('driver = "tpic6b595"', 'driver = "mine.toml"')
    (tmp_path / "bed.toml").write_text(bed, encoding="utf-8")
    budget = make_budget(load_profile(str(tmp_path / "bed.toml")))
    assert line(budget, "coil current, cold coil and high supply").limit == 0.1


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (('kind = "driver"', 'kind = "wire"'), "this part is a wire, not a driver"),
        (("junction_c", "junction"), 'this driver says nothing of "junction_c"'),
    ],
)
def test_a_driver_file_that_will_not_do_is_refused_with_a_sentence(
    tmp_path: Path, change: tuple[str, str], sentence: str
) -> None:
    own = (resources.files("latchline") / "machine" / "parts" / "n-mosfet.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(own.replace(*change), encoding="utf-8")
    with pytest.raises(ProfileError, match=sentence):
        make_budget(made(driver=str(tmp_path / "mine.toml")))


def test_a_coil_that_cooks_at_the_duty_of_the_piece_is_not_blessed_and_a_lighter_piece_is() -> None:
    profile = made("mid-150", coil_k_per_w=250)
    name = "coil temperature, busiest pass kept up"
    assert line(make_budget(profile), name).verdict == "no"
    light = np.zeros((10, 150), dtype=np.bool_)
    light[:, ::4] = True
    assert line(make_budget(profile, light, 0), name).verdict == "ok"


def test_a_pace_too_fast_for_the_bed_says_which_pace_will_do() -> None:
    profile = load_profile("standard-200")
    fast = line(make_budget(profile, pace_rows_min=80), "carriage speed at this pace, peak")
    assert fast.verdict == "look"
    pace = int(fast.note.split(" rows")[0].split()[-1])
    calm = line(make_budget(profile, pace_rows_min=pace), "carriage speed at this pace, peak")
    assert calm.verdict == "ok"


def test_a_fuse_left_to_the_budget_is_the_smallest_standard_rating_that_will_do() -> None:
    budget = make_budget(made(fuse_a=0))
    peak_a = line(budget, "supply current, peak at the highest speed").figure
    assert peak_a is not None
    fuses = load_part("supply").fuses_a
    assert budget.fuse_a == min(rating for rating in fuses if rating * 0.75 >= peak_a)


FUSE_LINES = (
    "fuse rating", "fuse rating, for what lies behind it", "board trace for the fuse's rating",
    "shunt heat, as much as the fuse carries",
)  # fmt: skip


@pytest.mark.parametrize("wire_awg", [22, 24, 26])
@pytest.mark.parametrize("resistance_ohm", [10.0, 20.0, 30.0, 40.0, 60.0, 115.0])
def test_the_budget_never_chooses_a_fuse_that_it_then_refuses(resistance_ohm: float, wire_awg: int) -> None:
    budget = make_budget(
        made(resistance_ohm=resistance_ohm, wire_awg=wire_awg, fuse_a=0, driver="n-mosfet", supply_limit_a=5.0)
    )
    verdicts = {line(budget, name).verdict for name in FUSE_LINES}
    standing = [
        make_budget(replace(budget.profile, electrical={**budget.profile.electrical, "fuse_a": rating}))
        for rating in load_part("supply").fuses_a
    ]
    passing = [one.fuse_a for one in standing if all(line(one, name).verdict != "no" for name in FUSE_LINES)]
    assert budget.fuse_a == (passing[0] if passing else None)
    assert ("no" in verdicts) == (not passing)
    if not passing:
        assert "no standard rating keeps every limit" in as_text(budget)


def test_beds_of_both_kinds_were_tried_above() -> None:
    light, heavy = (
        make_budget(made(resistance_ohm=ohm, wire_awg=26, fuse_a=0, driver="n-mosfet", supply_limit_a=5.0))
        for ohm in (115.0, 20.0)
    )
    assert light.fuse_a is not None
    assert heavy.fuse_a is None


@pytest.mark.external
def test_the_fuses_on_file_are_the_series_of_the_standard() -> None:
    """ISO 3: R10 is 10^(n/10), rounded by at most 1.3 %; IEC 60127 takes its rated currents from it, 32 mA to 10 A."""
    fuses = load_part("supply").fuses_a
    exact = [10 ** (step / 10) for step in range(-15, 11)]
    assert len(fuses) == len(exact)
    assert list(fuses) == pytest.approx(exact, rel=0.0131)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"resistance_ohm": 0}, "0 is out of range"),
        ({"resistance_ohm": -5}, "-5 is out of range"),
        ({"inductance_mh": float("nan")}, "nan is out of range"),
        ({"supply_v": "12 V"}, 'found the text "12 V"'),
        ({"pull_in_a": 0.12}, "can never reach its pull-in current"),
        ({"pull_in_a": 0.0999}, "can never reach its pull-in current"),  # only the driver's drop forbids it
        ({"drop_out_a": 0.06}, "cannot pull in"),
        ({"driver": "relay"}, '"relay" is not known here'),
        ({"driver": 3}, '"3" is not known here'),
        ({"clamp": "none"}, "accepted: zener, diode, driver"),
        ({"clamp_v": 0}, "needs its voltage"),
        ({"wire_awg": 23}, "accepted: 22, 24, 26"),
        ({"supply_w": 12}, 'did you mean "supply_v"?'),
    ],
)
def test_nonsense_in_the_electrical_table_is_refused_with_a_sentence(changes: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ProfileError) as caught:
        make_budget(made(**changes))
    assert sentence in caught.value.sentence()
    assert "[electrical]" in caught.value.sentence()


@given(
    electrical_tables(),
    st.sampled_from(shipped_profiles()),
    st.sampled_from(["high", "low"]),
    st.floats(1, 120),
)
def test_any_table_of_values_in_range_gives_finite_figures_or_one_sentence(
    table: dict[str, Any], name: str, active: str, pace: float
) -> None:
    profile = load_profile(name)
    profile = replace(profile, electrical=table, selectors=replace(profile.selectors, active=active))
    budget, sentence = None, ""
    try:
        budget = make_budget(profile, pace_rows_min=pace)
    except ProfileError as refused:
        sentence = refused.sentence()
    event("refused" if budget is None else budget.verdict)
    if budget is None:
        assert "[electrical]" in sentence
        return
    json.dumps(as_data(budget), allow_nan=False)
    as_text(budget)
    as_html(budget)
    for one in budget.lines:
        assert one.verdict in ("ok", "look", "no")


@pytest.mark.parametrize(
    ("fuse_a", "near"), [(5e-324, "0.032 and 0.04"), (0.031, "0.032 and 0.04"), (0.33, "0.315 and 0.4"), (0.75, "0.63 and 0.8")]
)  # fmt: skip
def test_a_fuse_that_nobody_sells_is_refused_and_the_nearest_are_named(fuse_a: float, near: str) -> None:
    with pytest.raises(ProfileError) as refused:
        make_budget(made(fuse_a=fuse_a))
    assert "no fuse is sold for" in refused.value.sentence()
    assert near in refused.value.sentence()


def test_a_missing_key_and_a_missing_table_are_named() -> None:
    profile = load_profile("standard-200")
    with pytest.raises(ProfileError, match=r"has no \[electrical\] table"):
        read_electrical(replace(profile, electrical={}))
    rest = {key: value for key, value in profile.electrical.items() if key != "inductance_mh"}
    with pytest.raises(ProfileError, match='key "inductance_mh": this key is missing'):
        read_electrical(replace(profile, electrical=rest))


@pytest.mark.parametrize("name", shipped_profiles())
def test_the_figures_for_machines_are_json_and_complete(name: str) -> None:
    budget = make_budget(load_profile(name))
    data = json.loads(json.dumps(as_data(budget), allow_nan=False))
    assert data["verdict"] == budget.verdict
    assert len(data["lines"]) == len(budget.lines)
    assert len(data["selectors"]) == budget.profile.selectors.count
    assert {"name", "figure", "unit", "sense", "limit", "verdict", "source", "note"} == data["lines"][0].keys()


@pytest.mark.parametrize("name", shipped_profiles())
def test_the_page_carries_every_line_and_two_plots_and_nothing_from_outside(name: str) -> None:
    from xml.etree import ElementTree

    budget = make_budget(load_profile(name))
    page = as_html(budget)
    assert page.count("<tr class=") == len(budget.lines)
    plots = [part.split("</svg>")[0] + "</svg>" for part in page.split("<svg ")[1:]]
    assert len(plots) == 2
    for plot in plots:
        ElementTree.fromstring("<svg " + plot)
    assert "src=" not in page
    assert "href=" not in page


def test_the_curves_of_the_page_cross_the_pull_in_current_when_the_sums_say() -> None:
    from latchline.budget.plots import _pulse

    budget = make_budget(load_profile("standard-200"))
    pull_in_a = budget.electrical.pull_in_a
    for drive, expected_ms in (
        (budget.cold, budget.busiest.pull_in_cold_ms),
        (budget.worst, budget.busiest.pull_in_low_ms),
    ):
        points = _pulse(budget, drive, 5.0, 8.0)
        crossing_ms = next(time_ms for time_ms, current_a in points if current_a >= pull_in_a)
        assert crossing_ms == pytest.approx(expected_ms, abs=0.03)
        after = [amps for time_ms, amps in points if time_ms > 5.0 + budget.busiest.release_high_ms + 0.03]
        assert max(after) < budget.electrical.drop_out_a


def test_the_curve_of_a_coil_that_never_pulls_in_stays_below() -> None:
    from latchline.budget.plots import _pulse

    budget = make_budget(made(pull_in_a=0.085, ambient_c=55))
    assert budget.busiest.pull_in_low_ms is None
    assert max(amps for _, amps in _pulse(budget, budget.worst, 50.0, 60.0)) <= 0.085


@pytest.mark.parametrize("name", part_names())
def test_every_rating_on_file_names_its_source(name: str) -> None:
    part = load_part(name)
    assert part.ratings
    assert all(rating.source for rating in part.ratings.values())


def test_an_unknown_part_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ProfileError, match="known drivers: n-mosfet, tpic6b595, uln2803a"):
        load_part("relay")


def test_a_darlington_drops_more_the_more_it_carries() -> None:
    drops = [load_part("uln2803a").drop_v(current_a) for current_a in (0.05, 0.15, 0.2, 0.3, 0.35, 0.5)]
    assert drops == sorted(drops)
    assert drops[-1] > 1.6
