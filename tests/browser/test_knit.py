"""A whole piece through the page and the simulated board, with everything that comes in between."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
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
from desk.serving import Served, hosted, served
from playwright.sync_api import Browser, Dialog, Page

from latchline.connect import connect
from latchline.dry_run import compare
from latchline.knit.events import Knitted
from latchline.knit.journals import SUFFIX
from latchline.sim.port import SimPort

pytestmark = [pytest.mark.slow, pytest.mark.browser]

HAND = "sim://?seed=3&live=1&pace=150"  # takes its time, as a hand does, if a quick one
FLIES = "sim://?seed=3"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("knit")
    folder = copied_examples(home / "pieces")
    (folder / "short.toml").write_text(
        'name = "short"\nneedles = "L8-R8"\n\n[yarns.main]\ncolour = "#f4ead8"\n\n[yarns.contrast]\ncolour = "#1f3a5f"\n\n'
        '[[bands]]\nname = "hem"\ntechnique = "stocking"\nyarns = ["main"]\nrows = 4\n\n'
        '[[bands]]\nname = "gulls"\ntechnique = "fair-isle"\nchart = "gulls-and-waves.png"\nyarns = ["main", "contrast"]\nrows = 6\n'
    )
    return home


@pytest.fixture(scope="module")
def running(home: Path) -> Iterator[Served]:
    with served(home / "pieces" / "short.toml", home=home) as running:
        with running.client() as client:
            client.get("/api/desk")
        yield running


@pytest.fixture
def desk(running: Served, home: Path) -> Iterator[Served]:
    """The one desk of all these tests; what a test leaves on the way is stopped and forgotten."""
    yield running
    with running.client() as client:
        until(lambda: client.post("/api/knit/wish", json={"wish": "stop"}).status_code == 422)
    for journal in home.rglob(f"*{SUFFIX}"):
        journal.unlink()


def begin(page: Page, port: str) -> None:
    page.click("#way-knit")
    until(lambda: page.query_selector("#begin-board:not([disabled])"))
    page.fill("#port", port)
    page.click("#begin-board")
    until(lambda: page.query_selector(".board .state"))


def confirm_all(page: Page, done: Any) -> None:
    """Press the large button whenever it asks, until `done` is so."""

    def pressed() -> bool:
        if done():
            return True
        page.evaluate("() => document.querySelector('#big:not([disabled]):not([hidden])')?.click()")
        page.wait_for_timeout(60)  # a page that is told of the press shows what comes next
        return False

    until(pressed, lambda: text_of(page, "#main"))


def at_pass(page: Page) -> int:
    """The pass that is shown; 0 where none is. On a busy machine one may go by unseen."""
    return int(text_of(page, ".pass") or 0)


def begun(desk: Served) -> list[dict[str, Any]]:
    with desk.client() as client:
        return list(client.get("/api/knit").json()["begun"])


def latchline(home: Path, *words: str) -> str:
    environment = os.environ | {"HOME": str(home), "XDG_STATE_HOME": str(home)}
    ran = subprocess.run([sys.executable, "-m", "latchline", *words], capture_output=True, text=True, env=environment)
    return ran.stdout + ran.stderr


def test_a_whole_piece_is_knitted_every_pass_as_planned(browser: Browser, desk: Served, home: Path) -> None:
    with a_page(browser, desk, bypass_csp=True) as page:
        begin(page, FLIES)
        confirm_all(page, lambda: "finished" in text_of(page, ".ended"))
        assert "10 passes are knitted, 10 of them now" in text_of(page, ".ended")
        assert text_of(page, ".ended .state") == "done"
        assert "Not as planned" not in text_of(page, ".ended")
        assert '"passes": 10' in latchline(home, "timing", "--json")
        begin(page, FLIES + "&pace=60")
        until(lambda: not text_of(page, ".ended"))
        confirm_all(page, lambda: "finished" in text_of(page, ".ended"))
        sessions_stand_side_by_side(page, home)


def sessions_stand_side_by_side(page: Page, home: Path) -> None:
    needed(MODULES / "axe-core")
    axe = (MODULES / "axe-core" / "axe.min.js").read_text()
    page.click("#way-back")
    page.click("[data-journal] >> nth=0")
    until(lambda: page.query_selector("canvas.timing"))
    assert "10 passes" in text_of(page, ".sessions")
    journals = [page.get_attribute(f"#session-{place}", "data-journal") or "" for place in (0, 1)]
    page.click("[data-beside] >> nth=1")
    until(lambda: len(page.query_selector_all("canvas.timing")) == 2 and page.query_selector(".compared"))
    rows = page.evaluate(
        "() => [...document.querySelectorAll('.compared tbody tr')].map((row) => [...row.children].map((one) => one.textContent.trim()))"
    )
    lines = latchline(home, "timing", *journals).splitlines()[2:]
    told = [" ".join(" ".join(row).removesuffix("a difference").split()) for row in rows]
    assert told == [" ".join(line.split()) for line in lines]
    for wide, tall in VIEWPORTS:
        page.set_viewport_size({"width": wide, "height": tall})
        page.emulate_media(color_scheme="dark" if wide == 1024 else "light")
        assert [one for one in overflowing(page) if "wide" not in one] == []
        assert faint_borders(page) == []
        assert violations(page, axe) == []


def test_every_needle_stands_as_planned_when_a_page_has_knitted_the_piece(
    browser: Browser, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The needles are those of the simulated carriage and coils, which know nothing of what the board believes."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    ports: list[SimPort] = []

    def opened(*how: Any) -> Any:
        ports.append(connect(*how))  # type: ignore[arg-type]
        return ports[-1]

    monkeypatch.setattr("latchline.desk.knitting.connect", opened)
    with hosted(home / "pieces" / "short.toml") as (desk, held), a_page(browser, desk) as page:
        begin(page, FLIES)
        confirm_all(page, lambda: "finished" in text_of(page, ".ended"))
        knitting = held.knitting
        assert knitting is not None
    (port,) = ports
    told = [event for event in knitting.events() if isinstance(event, Knitted)]
    assert [event.number for event in told] == list(range(1, 11))
    for event in told:
        assert event.report is not None
        assert compare(knitting.plan, event.number, event.report, port.world) == []


def test_one_question_is_answered_once_by_the_first_of_two_devices(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as one, a_page(browser, desk, (390, 844)) as other:
        begin(one, HAND)
        other.click("#way-knit")
        until(lambda: one.query_selector(".asked") and other.query_selector(".asked"))
        one.click("#big")
        until(lambda: "2 of" in text_of(other, ".asked h1"), "both are at the same thing to do")
        other.click("#step-before")
        until(lambda: "1 of" in text_of(one, ".asked h1"))
        with desk.client() as client:
            serial = one.evaluate("async () => (await import('/session.js')).asks()")
            assert client.post("/api/knit/answer", json={"question": serial, "reply": "go-on"}).status_code == 200
            assert client.post("/api/knit/answer", json={"question": serial, "reply": "stop"}).status_code == 200
        until(lambda: text_of(other, ".pass") == text_of(one, ".pass"))
        until(lambda: text_of(one, ".pass") not in ("", "1"), text_of(one, ".knit"))
        assert one.query_selector(".ended") is None


def test_killed_in_mid_piece_it_goes_on_at_the_right_pass(browser: Browser, home: Path, tmp_path: Path) -> None:
    memory = f"&memory={tmp_path / 'board'}"
    with served(home / "pieces" / "short.toml", home=tmp_path) as desk, a_page(browser, desk) as page:
        begin(page, HAND + memory)
        confirm_all(page, lambda: at_pass(page) >= 3)
        desk.process.send_signal(signal.SIGKILL)
        desk.process.wait()
    with served(home / "pieces" / "short.toml", home=tmp_path) as desk, a_page(browser, desk) as page:
        page.click("#way-knit")
        until(lambda: page.query_selector("[data-journal]"))
        done = int(text_of(page, "[data-journal]").removeprefix("go on with short: ").removesuffix(" of 10"))
        assert done >= 2
        assert time.strftime("%Y") in text_of(
            page, "li:has([data-journal])"
        )  # pieces of one name are told apart by when
        page.click("[data-journal]")
        pictured = []

        def finished() -> bool:
            if page.query_selector(f"[data-row='{done}']") and page.query_selector("canvas.needles"):
                pictured.append(done)
                page.evaluate("(done) => document.querySelector(`[data-row='${done}']`)?.click()", done)
            return "finished" in text_of(page, ".ended")

        confirm_all(page, finished)
        assert pictured
        assert f"10 passes are knitted, {10 - done} of them now" in text_of(page, ".ended")


def test_a_desk_that_hangs_is_shown_as_not_heard_and_comes_back(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        begin(page, HAND)
        until(lambda: page.query_selector(".asked"))
        patience = page.evaluate(
            "async () => { const line = await import('/line.js'); return line.QUIET_MS + line.LOOK_MS; }"
        )
        assert patience <= 6000
        desk.process.send_signal(signal.SIGSTOP)
        try:
            until(lambda: "not heard" in text_of(page, "#heard"))
            assert float(page.evaluate("() => getComputedStyle(document.querySelector('.pass')).opacity")) < 0.6
            assert "may be old" in text_of(page, ".told")
        finally:
            desk.process.send_signal(signal.SIGCONT)
        until(lambda: text_of(page, "#heard") == "")
        assert "may be old" not in text_of(page, ".body")
        confirm_all(page, lambda: at_pass(page) >= 2)


def test_stop_takes_two_presses_and_the_piece_can_go_on(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        begin(page, HAND)
        confirm_all(page, lambda: at_pass(page) >= 2)
        page.click("#wish-stop")
        until(lambda: "press again" in text_of(page, "#wish-stop"))
        assert page.query_selector(".ended") is None
        page.click("#wish-stop")
        until(lambda: "stopped on the way" in text_of(page, ".ended"))
        assert len(begun(desk)) == 1


def test_the_pedal_counts_one_press_once(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        begin(page, HAND)
        until(lambda: page.query_selector(".asked"))
        page.click("#wish-pedal")
        page.click("#pedal-learn")
        page.keyboard.press("PageDown")
        until(lambda: "PageDown" in text_of(page, "#pedal-says"))
        page.keyboard.press("Escape")
        page.wait_for_timeout(500)
        presses = page.evaluate(
            """async () => {
              let count = 0;
              document.addEventListener('click', (event) => { if (event.target.id === 'big') { count++; event.stopImmediatePropagation(); } }, true);
              const press = (more = {}, target = document.body) => target.dispatchEvent(new KeyboardEvent('keydown', { code: 'PageDown', bubbles: true, cancelable: true, ...more }));
              const wait = (ms) => new Promise((done) => setTimeout(done, ms));
              const told = [];
              press(); told.push(count);
              press(); told.push(count);                       // a bounce
              await wait(400); press({ repeat: true }); told.push(count);  // held down
              await wait(400); press({ ctrlKey: true }); told.push(count);
              const field = document.createElement('input'); document.body.append(field);
              press({}, field); told.push(count); field.remove();          // typed into a field
              await wait(400); press(); told.push(count);
              return told;
            }"""
        )
        assert presses == [1, 1, 1, 1, 1, 2]


def test_cues_are_spoken_by_a_voice_of_this_machine_only_and_only_when_asked_for(
    browser: Browser, desk: Served
) -> None:
    stub = """
      window.said = [];
      const voices = [{ name: 'far', lang: 'en', localService: false }, { name: 'near', lang: 'en', localService: true }];
      window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
      Object.defineProperty(window, 'speechSynthesis', { value: { getVoices: () => voices, cancel() {}, speaking: false, pending: false,
        speak: (one) => window.said.push([one.text, one.voice.name]) } });
    """
    with a_page(browser, desk) as page:
        page.add_init_script(stub)
        page.reload()
        begin(page, HAND)
        until(lambda: page.query_selector(".asked"))
        assert page.evaluate("() => window.said") == []
        page.click("#wish-speak")
        confirm_all(page, lambda: at_pass(page) >= 3)
        confirm_all(page, lambda: any("gulls" in text for text, _ in page.evaluate("() => window.said")))
        assert {voice for _, voice in page.evaluate("() => window.said")} == {"near"}


def test_a_port_that_was_typed_stays_when_the_checks_come_late(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        page.click("#way-knit")
        page.fill("#port", FLIES)
        page.evaluate(
            """async () => {
              document.getElementById('port').dataset.old = 'yes';
              (await import('/state.js')).changed('verdict');
            }"""
        )
        until(lambda: page.query_selector("#port:not([data-old])"))
        assert page.input_value("#port") == FLIES


def test_whoever_would_leave_the_page_in_mid_session_is_asked_first(browser: Browser, desk: Served) -> None:
    asked = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    with a_page(browser, desk) as page:
        page.on("dialog", stay)
        begin(page, HAND)
        until(lambda: page.query_selector(".asked"))
        page.go_back()  # to the part before, which is no leaving
        until(lambda: page.get_attribute("body", "data-part") != "knit")
        assert asked == []
        page.go_forward()
        until(lambda: page.query_selector(".asked"))
        page.evaluate("() => { location.href = 'about:blank'; }")
        until(lambda: asked == ["beforeunload"])
        until(lambda: page.query_selector(".asked"))


def test_a_piece_is_knitted_by_hand_with_the_keyboard_alone(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        page.focus("#way-knit")
        page.keyboard.press("Enter")
        until(lambda: page.query_selector("#begin-hand:not([disabled])"))
        page.focus("#begin-hand")
        page.keyboard.press("Enter")

        def pressed() -> bool:
            page.keyboard.press("Space")
            page.wait_for_timeout(400)  # a pedal that closes twice within 350 ms was pressed once
            return "finished" in text_of(page, ".ended")

        until(pressed)


def test_each_pass_and_each_question_is_announced_to_whoever_hears_the_page(browser: Browser, desk: Served) -> None:
    """In regions that are there before, as what comes into the page with its words is told by few readers."""
    with a_page(browser, desk) as page:
        begin(page, HAND)
        page.evaluate(
            """() => {
              window.heard = [];
              for (const role of ['status', 'alert']) {
                const region = document.querySelector(`.board > .unseen[role=${role}]`);
                window.heard.push(region.textContent);
                new MutationObserver(() => window.heard.push(region.textContent)).observe(region, { childList: true, characterData: true, subtree: true });
              }
            }"""
        )
        confirm_all(page, lambda: at_pass(page) >= 3)
        told = page.evaluate("() => window.heard")
        assert any(re.match(r"Before the first pass: .+", one) for one in told), told
        assert any(re.match(r"pass \d+, (left|right)ward$", one) for one in told), told
        assert len([one for one in told if one.startswith("pass 2,")]) <= 1, told


def test_on_a_plain_address_it_says_that_the_screen_may_sleep(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        page.evaluate("() => Object.defineProperty(window, 'isSecureContext', { value: false })")
        begin(page, HAND)
        confirm_all(page, lambda: "may sleep" in text_of(page, ".facts-line"))
