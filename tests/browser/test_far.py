"""The knitting page is read across a room: how large everything stands at each size of screen, and that nothing is cut."""

from __future__ import annotations

from collections.abc import Iterator
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

pytestmark = [pytest.mark.slow, pytest.mark.browser]

PLAIN = {"name": "main", "colour": "#f4ead8"}
NAVY = {"name": "navy", "colour": "#101030"}
LONG_NAMES = [
    {"name": "a very long name of an undyed lambswool", "colour": "#f4ead8"},
    {"name": "Midnightblue-from-the-attic-box", "colour": "#101030"},
]
LONG = "bring L12-R12 into working position and wrap the yarn round each in turn"
CHANGE = {"what": "change", "line": "change to navy", "short": "change to navy", "ahead": "in 3: change to navy"}
# The millimetres of a CSS pixel: a phone 65 mm wide, a tablet 197 mm, a desk's screen 531 mm.
MM_A_PX = {390: 65 / 390, 1024: 197 / 1024, 1920: 531 / 1920}
LEAST_MM = 9.31  # 16 minutes of arc at two metres: 2 · 2000 · tan(8′) (ISO 9241-3 asks for 16′ at least)
CAPITAL_PER_EM = 0.7
READ_FROM_AFAR = (
    ".pass",
    ".direction b",
    ".yarn-name",
    ".state b",
    ".next-when",
    ".rest.brief .next-word, .rest:not(.brief) .next-what",
)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    home = tmp_path_factory.mktemp("far")
    with served(copied_examples(home / "pieces") / "harbour-blanket.toml", home=home) as running:
        yield running


def shown(page: Page, **view: Any) -> None:
    """Show a state of knitting that would take long to come by."""
    page.evaluate(
        """async (view) => {
          const { takeKnit } = await import('/session.js');
          takeKnit({ kind: 'knit', name: 'short', events: [], over: null, view });
        }""",
        {
            "state": "ready",
            "number": 1,
            "passes": 9999,
            "done": 0,
            "row": {
                "number": 1,
                "direction": "rightward",
                "yarns": [],
                "selected": "01" * 8,
                "first": "L8",
                "last": "R8",
            },
            "next_row": None,
            "band": "gulls",
            "chart_row": 1,
            "coming": None,
            "rows_per_min": 30,
            "left": None,
            "loaded": 3,
            "place": None,
            "lamp": True,
            "question": None,
            "fault": None,
            "plain_rows": 0,
            "event": 1,
            "beads": [],
            "candidates": [],
        }
        | view,
    )
    page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))")


def row_of(number: int, yarns: list[dict[str, str]], direction: str = "rightward") -> dict[str, Any]:
    return {
        "number": number,
        "direction": direction,
        "yarns": yarns,
        "selected": "01",
        "first": "L1",
        "last": "R1",
    }


def coming(**prompt: Any) -> dict[str, Any]:
    return {"pass_number": 4, "ahead": 3, "prompts": [CHANGE | prompt]}


def least_mm(page: Page, which: str, wide: int) -> float:
    """The smallest capital letter in millimetres, on the screen that the page's width stands for."""
    px = page.evaluate(
        "(which) => Math.min(...[...document.querySelectorAll(which)].map((one) => parseFloat(getComputedStyle(one).fontSize)))",
        which,
    )
    return float(px) * CAPITAL_PER_EM * MM_A_PX[wide]


def seen_whole(page: Page, which: str) -> bool:
    """Whether nothing of these is cut or must be scrolled to."""
    return bool(
        page.evaluate(
            """(which) => [...document.querySelectorAll(which)].every((one) => {
              const [box, room] = [one.getBoundingClientRect(), one.closest('.rest, .now').getBoundingClientRect()];
              return box.bottom <= room.bottom + 2 && box.right <= room.right + 2 && one.scrollWidth <= one.clientWidth + 1;
            })""",
            which,
        )
    )


def share_of_the_pass(page: Page) -> float:
    """The part of the whole page that the pass fills with its number and what to do."""
    return float(
        page.evaluate(
            """() => {
              const box = document.querySelector('.now').getBoundingClientRect();
              return (box.width * Math.min(box.height, innerHeight - box.top)) / (innerWidth * innerHeight);
            }"""
        )
    )


def share_of_the_number(page: Page) -> float:
    """How far the number's digits go across their box, or up it."""
    return float(
        page.evaluate(
            """() => {
              const box = document.querySelector('.pass'), text = document.createRange();
              text.selectNodeContents(box);
              const { width } = text.getBoundingClientRect();
              return Math.max(width / box.clientWidth, parseFloat(getComputedStyle(box).fontSize) / box.clientHeight);
            }"""
        )
    )


def test_it_reads_at_two_metres_and_nothing_overflows(browser: Browser, desk: Served) -> None:
    needed(MODULES / "axe-core")
    axe = (MODULES / "axe-core" / "axe.min.js").read_text()
    with a_page(browser, desk, bypass_csp=True) as page:
        page.click("#way-knit")
        until(lambda: page.query_selector("#begin-board"))
        for wide, tall in VIEWPORTS:
            page.emulate_media(color_scheme="dark" if wide == 1024 else "light")
            page.set_viewport_size({"width": wide, "height": tall})
            passes_read_from_afar(page, wide)
            assert violations(page, axe) == []
            beads_lie_in_stretches(page)
            states_and_questions_fit(page, wide)
            assert violations(page, axe) == []


def passes_read_from_afar(page: Page, wide: int) -> None:
    for number, direction in ((1, "leftward"), (28, "rightward"), (447, "leftward"), (9999, "rightward")):
        shown(page, number=number, row=row_of(number, [PLAIN], direction), coming=coming())
        assert overflowing(page) == [], (wide, number)
        small = [which for which in READ_FROM_AFAR if least_mm(page, which, wide) < LEAST_MM]
        assert small == [], (wide, number)
    shown(page, number=9, row=row_of(9, [PLAIN]))
    assert least_mm(page, ".yarn-name", wide) >= LEAST_MM
    assert faint_borders(page) == [], wide


EVERY_SIZE = [*VIEWPORTS, (360, 640), (1280, 720), (844, 390), (768, 1024)]
COILS = [PLAIN, NAVY, {"name": "rust", "colour": "#b8502e"}, {"name": "moss green", "colour": "#3f6b45"}]


def test_the_pass_has_half_of_the_page_whatever_the_yarns_and_whatever_comes(browser: Browser, desk: Served) -> None:
    """What is left shrinks; nothing of it is cut, and a word is broken nowhere."""
    with a_page(browser, desk) as page:
        page.click("#way-knit")
        until(lambda: page.query_selector("#begin-board"))
        for wide, tall in EVERY_SIZE:
            page.set_viewport_size({"width": wide, "height": tall})
            for yarns in ([PLAIN], [PLAIN, NAVY], LONG_NAMES, COILS):
                for what in ("", "change", "carriage", "hand", "needles"):
                    due = coming(what=what, ahead=f"in 5: {LONG}", yarn=NAVY if what == "change" else None)
                    shown(page, number=447, row=row_of(447, yarns), coming=due if what else None)
                    case = (wide, tall, len(yarns), what)
                    assert share_of_the_pass(page) >= 0.5, case
                    assert share_of_the_number(page) >= 0.8, case
                    assert overflowing(page) == [], case
                    assert seen_whole(page, ".yarn-name, .next-when, .next-word"), case
                    assert text_of(page, ".yarns") == "".join(yarn["name"] for yarn in yarns)
                    if wide in MM_A_PX:  # a phone is clipped to the machine: there a long word may be smaller
                        assert least_mm(page, ".direction b", wide) >= LEAST_MM, case
                        assert not what or least_mm(page, ".next-when", wide) >= LEAST_MM * (0.75 if wide < 600 else 1)


def beads_lie_in_stretches(page: Page) -> None:
    beads = [{"times": 20, "runs": [[2, "1"], [4, "0"]], "first": "L60", "last": "R60", "line": "2 up, 4 down"}]
    beads += [
        {"times": 1, "runs": [[n % 7 + 1, "01-"[n % 3]]], "first": "L1", "last": "R1", "line": "x"} for n in range(40)
    ]
    by_hand = {"kind": "pass", "pass_number": 9, "candidates": [], "why": "", "serial": 3, "prompts": []}
    shown(page, number=8, row=row_of(8, LONG_NAMES), beads=beads, question=by_hand)
    shown(page, number=9, row=row_of(9, LONG_NAMES), beads=beads, question=by_hand)
    assert overflowing(page) == []
    assert faint_borders(page) == []
    first = page.evaluate(
        "() => [...document.querySelectorAll('.part')].map((part) => [part.dataset.times, ...[...part.querySelectorAll('.bead')].map((one) => one.dataset.count + one.dataset.mark)].join(' '))"
    )
    assert first[:3] == ["20 21 40", "1 10", "1 21"]
    page.click("#stretch-next")
    until(lambda: "stretch 2 of" in text_of(page, ".beads"))


SHAPES = [*VIEWPORTS, (1280, 720), (844, 390)]


def test_no_needle_is_left_out_before_a_pass_is_counted_by_hand(browser: Browser, desk: Served) -> None:
    """The large button goes on along the bed, and counts the pass at its end only; it hides nothing."""
    runs = [[n % 5 + 1, "10-"[n % 3]] for n in range(43)]
    beads = [
        {"times": 1, "runs": [run], "first": f"A{n}", "last": f"A{n}", "line": f"{n}"} for n, run in enumerate(runs)
    ]
    by_hand = {"kind": "pass", "pass_number": 9, "candidates": [], "why": "", "serial": 3, "prompts": []}
    with a_page(browser, desk) as page:
        page.click("#way-knit")
        until(lambda: page.query_selector("#begin-board"))
        for number, (wide, tall) in enumerate(SHAPES, start=1):
            page.set_viewport_size({"width": wide, "height": tall})
            shown(page, number=number, row=row_of(number, LONG_NAMES), beads=beads, question=by_hand)
            found: list[list[Any]] = []
            while True:
                found += page.evaluate(
                    "() => [...document.querySelectorAll('.bead')].map((one) => [Number(one.dataset.count), one.dataset.mark])"
                )
                assert covered(page) == [], (wide, tall)
                if text_of(page, "#big") == "knitted":
                    break
                assert text_of(page, "#big") == "next stretch"
                page.set_viewport_size({"width": SHAPES[number % len(SHAPES)][0], "height": tall})  # and turned amid it
                page.evaluate("() => document.querySelector('#big').click()")
                page.set_viewport_size({"width": wide, "height": tall})
            assert found == runs, (wide, tall)


def covered(page: Page) -> list[str]:
    """What of the beads cannot be seen, or be brought into sight, for something that lies over it."""
    return page.evaluate(
        """() => [...document.querySelectorAll('.bead, canvas.bed, #stretch-next, #big')].filter((one) => {
          one.scrollIntoView({ block: 'nearest' });
          const box = one.getBoundingClientRect();
          const there = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
          return !(there === one || one.contains(there));
        }).map((one) => one.id || one.className)"""
    )


def states_and_questions_fit(page: Page, wide: int) -> None:
    for state in ("waiting", "under-way", "over"):
        shown(page, state=state)
        assert overflowing(page) == []
    for state in ("lost", "paused", "fault", "quiet", "unplugged", "unheard"):
        shown(page, state=state, number=447, row=row_of(447, LONG_NAMES), coming=coming())
        assert overflowing(page) == []
        assert text_of(page, ".told"), state
        assert least_mm(page, ".told", wide) >= LEAST_MM, state
        assert seen_whole(page, ".told, .pass"), state
    question = {"kind": "change", "pass_number": 4, "candidates": [], "why": "", "serial": 5}
    shown(page, state="waiting", question=question | {"prompts": [CHANGE | {"yarn": NAVY}]})
    assert text_of(page, ".state b") == "do this"  # and not to wait for a lamp that waits for the knitter
    assert least_mm(page, ".due", wide) >= LEAST_MM
    assert not page.is_visible(".whole")
    long = {"what": "mend", "line": " and ".join([LONG] * 3), "short": " and ".join([LONG] * 3)}
    shown(page, state="fault", question=question | {"kind": "fault", "serial": 6, "prompts": [long]})
    assert page.is_visible(".whole") is (wide < 1200), (
        "what is too long for the screen at that size stands below in full"
    )
    assert least_mm(page, ".due", wide) >= LEAST_MM
    assert overflowing(page) == []
    assert faint_borders(page) == []


def lost_on_the_canvas(page: Page) -> list[str]:
    """Texts in the canvas's own colour, which the browser lays behind every text while it forces colours."""
    return list(
        page.evaluate(
            """() => {
              const probe = document.createElement('span');
              probe.style.cssText = 'color: Canvas; forced-color-adjust: none';
              document.body.append(probe);
              const canvas = getComputedStyle(probe).color;
              probe.remove();
              return [...document.querySelectorAll('main *, header *')].filter((one) => one.getClientRects().length && [...one.childNodes].some((child) => child.nodeType === 3 && child.data.trim())
                && getComputedStyle(one).forcedColorAdjust === 'auto' && getComputedStyle(one).color === canvas).map((one) => one.textContent);
            }"""
        )
    )


def test_in_forced_colours_the_state_is_still_told_by_word_and_shape(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk, forced_colors="active") as page:
        page.click("#way-knit")
        until(lambda: page.query_selector("#begin-board"))
        shown(page, state="fault")
        assert text_of(page, ".state b") == "stop"
        assert page.query_selector(".state svg") is not None
        assert lost_on_the_canvas(page) == []
        page.click("#way-open")
        assert lost_on_the_canvas(page) == []
        page.click("#way-knit")
        assert page.evaluate("() => getComputedStyle(document.querySelector('.skein, .state')).forcedColorAdjust") in (
            "none",
            "auto",
        )
