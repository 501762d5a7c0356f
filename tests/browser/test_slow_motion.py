"""The dry run in slow motion: what the page shows is what the plan says."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser.pages import (
    MODULES,
    VIEWPORTS,
    a_page,
    copied_examples,
    faint_borders,
    needed,
    overflowing,
    text_of,
    until,
    violations,
)
from desk.serving import Served, served
from playwright.sync_api import Browser, Page

from latchline.machine.profile import shipped_profiles
from latchline.piece.file import load_piece
from latchline.plan.model import Plan

pytestmark = [pytest.mark.slow, pytest.mark.browser]

CREAM, NAVY = "#f4ead8", "#1f3a5f"
BANDS = [("stocking", 2), ("fair-isle", 3), ("tuck", 3), ("slip", 3), ("stocking", 2)]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("slow")
    copied_examples(home / "pieces")
    for machine in shipped_profiles():
        (home / "pieces" / f"of-each-{machine}.toml").write_text(of_each(machine))
    return home


def of_each(machine: str) -> str:
    """A few passes of each technique, so that every kind of stitch comes by."""
    text = f'name = "of each"\nmachine = "{machine}"\nneedles = "L8-R8"\n\n'
    text += f'[yarns.main]\ncolour = "{CREAM}"\n\n[yarns.contrast]\ncolour = "{NAVY}"\n\n'
    for number, (technique, rows) in enumerate(BANDS):
        text += f'[[bands]]\nname = "{number} {technique}"\ntechnique = "{technique}"\nrows = {rows}\n'
        text += 'yarns = ["main", "contrast"]\n' if technique == "fair-isle" else 'yarns = ["main"]\n'
        text += 'chart = "gulls-and-waves.png"\n\n' if technique != "stocking" else "\n"
    return text


@pytest.fixture(scope="module")
def desk(home: Path) -> Iterator[Served]:
    with served(home / "pieces" / "harbour-blanket.toml", home=home) as running:
        with running.client() as client:
            client.get("/api/desk")
        yield running


@contextlib.contextmanager
def a_watch(browser: Browser, desk: Served, piece: str, **how: Any) -> Iterator[Page]:
    """A page that shows a piece's first pass."""
    with desk.client() as client:
        assert client.post("/api/open", json={"what": "file", "name": piece}).status_code == 200
    with a_page(browser, desk, **how) as page:
        until(lambda: page.query_selector("#way-slow:not([disabled])"))
        page.click("#way-slow")
        until(lambda: page.query_selector(".slow[data-pass]"))
        yield page


def hooks(plan: Plan) -> Iterator[list[list[str]]]:
    """After each pass the colours of the loops on each needle, told in words of our own."""
    on: list[list[str]] = [[CREAM] for _ in range(plan.span.width)]
    for number in range(1, plan.passes + 1):
        mask, technique = plan.acting_masks(number, number)[0], plan.band_of(number).technique.name
        for needle, selected in enumerate(mask.tolist()):
            if technique == "stocking" or (selected and technique in ("tuck", "slip")):
                on[needle] = [CREAM]
            elif technique == "fair-isle":
                on[needle] = [NAVY if selected else CREAM]
            elif technique == "tuck":
                on[needle] = [*on[needle], CREAM]
        yield [list(one) for one in on]


CROSSED = """async () => {
  const slider = document.getElementById('slow-travel');
  const to = (where) => { slider.value = where; slider.dispatchEvent(new Event('input')); };
  const needles = [...document.querySelectorAll('.needle')];
  const height = (one) => Number(one.firstChild.getAttribute('transform').match(/ ([-\\d.]+)\\)/)[1]);
  const selected = needles.map(() => '0'), forward = needles.map(() => 0);
  to(0);
  const told = { marks: [...document.querySelectorAll('.mark')].map((one) => (one.classList.contains('on') ? '1' : '0')).join('') };
  for (let where = 0; where <= Number(slider.max); where += 0.5) {
    to(where);
    const middle = Number(document.querySelector('.carriage').getAttribute('transform').match(/\\(([-\\d.]+)/)[1]);
    needles.forEach((one, at) => {
      const x = Number(one.querySelector('.butt').getAttribute('x')) + 4;
      if (Math.abs(x - middle) < 1 && one.classList.contains('selected')) selected[at] = '1';
      forward[at] = Math.max(forward[at], height(one));
    });
  }
  to(Number(slider.max));
  told.selected = selected.join('');
  told.forward = forward;
  told.left = needles.map((one) => (one.classList.contains('selected') ? '1' : '0')).join('');
  told.loops = needles.map((one) => [...one.querySelectorAll('.loop')].map((loop) => loop.getAttribute('stroke')));
  told.names = needles.map((one) => one.dataset.needle);
  return told;
}"""


@pytest.mark.parametrize("machine", ["standard-200", "chunky-112"])
def test_every_pass_is_shown_as_the_plan_has_it(browser: Browser, desk: Served, home: Path, machine: str) -> None:
    """On the second machine a pass leaves the needles selected for the next one."""
    plan = load_piece(home / "pieces" / f"of-each-{machine}.toml").plan()
    ahead = plan.profile.drive == "next-pass"
    with a_watch(browser, desk, f"of-each-{machine}.toml") as page:
        for number, loops in enumerate(hooks(plan), start=1):
            until(lambda number=number: page.get_attribute(".slow", "data-pass") == str(number))
            shown: dict[str, Any] = page.evaluate(CROSSED)
            mask = "".join("01"[one] for one in plan.acting_masks(number, number)[0].tolist())
            driven = "".join("01"[one] for one in plan.driven_masks(number, number)[0].tolist())
            assert shown["names"] == [f"L{n}" for n in range(8, 0, -1)] + [f"R{n}" for n in range(1, 9)]
            assert (shown["marks"], shown["selected"]) == (mask, mask)
            assert shown["left"] == (driven if ahead else "0" * 16)
            assert shown["loops"] == loops, number
            assert plan.direction(number) in text_of(page, ".slow-head")
            assert [way(forward) for forward in shown["forward"]] == ways(plan, number)
            page.click("#slow-pass-next") if number < plan.passes else None


SECOND_CROSSED = """() => {
  const slider = document.getElementById('slow-travel');
  const to = (where) => { slider.value = where; slider.dispatchEvent(new Event('input')); };
  const needles = [...document.querySelectorAll('.second-needle')];
  const forward = needles.map(() => 0);
  const loops = () => needles.map((one) => [...one.querySelectorAll('.loop')].map((loop) => loop.getAttribute('stroke')));
  to(0);
  const before = loops();
  for (let where = 0; where <= Number(slider.max); where += 0.5) {
    to(where);
    needles.forEach((one, at) => { forward[at] = Math.max(forward[at], Number(one.firstChild.getAttribute('transform').match(/ ([-\\d.]+)\\)/)[1])); });
  }
  to(Number(slider.max));
  return { before, after: loops(), knits: forward.map((one) => one > 40) };
}"""


def test_the_second_bed_is_drawn_and_each_of_its_needles_knits_when_the_plan_says_so(
    browser: Browser, desk: Served, home: Path
) -> None:
    """The pennants are backed lightly: the second bed's needles knit by turns, the first of them in the odd passes."""
    plan = load_piece(home / "pieces" / "bench-bunting.toml").plan()
    hangs: list[list[str]] = []
    with a_watch(browser, desk, "bench-bunting.toml", size=(2400, 1080)) as page:
        for number in range(1, 9):
            until(lambda number=number: page.get_attribute(".slow", "data-pass") == str(number))
            shown: dict[str, Any] = page.evaluate(SECOND_CROSSED)
            colour = plan.yarns_of(number)[0].colour
            assert len(shown["knits"]) == 60
            assert shown["knits"] == [needle % 2 == (number + 1) % 2 for needle in range(60)]
            assert shown["before"] == (hangs or shown["before"])
            hangs = [[colour] if knits else loops for knits, loops in zip(shown["knits"], shown["before"], strict=True)]
            assert shown["after"] == hangs
            page.click("#slow-pass-next")
    with a_watch(browser, desk, "harbour-blanket.toml") as page:
        assert page.query_selector(".second-needle") is None


def way(forward: float) -> str:
    """How far a needle came out: its latch must leave the loop for a new one to be drawn through it."""
    return "knits" if forward > 40 else "tucks" if forward > 16 else "slips"


def ways(plan: Plan, number: int) -> list[str]:
    unselected = {"tuck": "tucks", "slip": "slips"}.get(plan.band_of(number).technique.name, "knits")
    return ["knits" if selected else unselected for selected in plan.acting_masks(number, number)[0]]


def test_it_plays_is_paused_and_is_stepped_by_keys_alone(browser: Browser, desk: Served) -> None:
    with a_watch(browser, desk, "harbour-blanket.toml") as page:
        page.fill("#slow-number", "10")
        page.press("#slow-number", "Tab")
        until(lambda: page.get_attribute(".slow", "data-pass") == "10")
        page.focus("#slow-pace")
        page.keyboard.press("End")
        page.focus("#slow-play")
        page.keyboard.press("Enter")
        until(lambda: page.get_attribute(".slow", "data-pass") == "11")
        page.keyboard.press("Enter")
        assert text_of(page, "#slow-play") == "play"
        stands = page.get_attribute(".slow", "data-travel")
        page.wait_for_timeout(120)
        assert page.get_attribute(".slow", "data-travel") == stands
        page.focus("#slow-across")
        page.keyboard.press("Enter")
        assert text_of(page, "#slow-caption") == "The pass is done."
        page.focus("#slow-needle-before")
        page.keyboard.press("Enter")
        first = text_of(page, "#slow-caption")
        page.keyboard.press("Enter")
        assert re.match(r"[LR]\d+: ", first)
        assert text_of(page, "#slow-caption") not in ("", first)


def test_it_follows_the_piece_as_it_is_changed(browser: Browser, desk: Served) -> None:
    with a_watch(browser, desk, "harbour-blanket.toml") as page:
        assert "knit main" in text_of(page, "#slow-counts")
        with desk.client() as client:
            client.post("/api/edit", json={"edit": "option", "band": 0, "key": "technique", "value": "wrong"})
            until(lambda: "Not as it stands" in text_of(page, ".slow .caution"))
            client.post("/api/undo", json={})
            until(lambda: text_of(page, ".slow .caution") == "" and page.is_visible(".bed-picture"))
            client.post("/api/edit", json={"edit": "remove-band", "band": 0})
        until(lambda: "knit contrast" in text_of(page, "#slow-counts"))


def test_it_fits_and_everybody_can_use_it(browser: Browser, desk: Served) -> None:
    needed(MODULES / "axe-core")
    axe = (MODULES / "axe-core" / "axe.min.js").read_text()
    with a_watch(browser, desk, "ferry-sweater-front.toml", bypass_csp=True) as page:
        for (wide, tall), scheme in zip(VIEWPORTS, ("dark", "light", "dark"), strict=True):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            page.set_viewport_size({"width": wide, "height": tall})
            page.wait_for_timeout(60)
            assert overflowing(page) == []
            assert faint_borders(page) == []
            assert violations(page, axe) == []
        page.emulate_media(forced_colors="active", reduced_motion="reduce")
        until(lambda: not page.is_visible("#slow-play"), "where no motion is wanted it is stepped")
        page.click("#slow-needle-next")
        stands = page.get_attribute(".slow", "data-travel")
        assert stands != "0.00"
        page.wait_for_timeout(120)
        assert page.get_attribute(".slow", "data-travel") == stands
        page.click("#slow-across")
        assert page.evaluate("() => getComputedStyle(document.querySelector('.loop')).forcedColorAdjust") == "none"
