"""Chart and fabric in a real browser."""

from __future__ import annotations

import io
import json
import subprocess
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from browser.pages import (
    MODULES,
    REBOUND,
    SMALLEST,
    VIEWPORTS,
    a_page,
    copied_examples,
    faint_borders,
    fingerprint,
    needed,
    overflowing,
    text_of,
    until,
    violations,
)
from cli.running import run
from desk.choices import BUNTING, CHOICES, GULLS, ONE_WAY, SAME_PLAN, Begun
from desk.serving import Served, served
from PIL import Image
from playwright.sync_api import Browser, Page, Route

from latchline.piece.file import load_piece

pytestmark = [pytest.mark.slow, pytest.mark.browser]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("draw")
    copied_examples(folder / "pieces")
    return folder


@pytest.fixture(scope="module")
def running(home: Path) -> Iterator[Served]:
    with served(home / "pieces", home=home) as running:
        yield running


@pytest.fixture
def desk(running: Served, home: Path) -> Served:
    """The one desk of all these tests, with the blanket on it as it is delivered."""
    copied_examples(home / "pieces")
    with running.client() as client:
        told = client.post("/api/open", json={"what": "file", "name": "harbour-blanket.toml"})
        assert told.status_code == 200, told.text
    return running


def cell(page: Page, row: int, stitch: int) -> tuple[float, float]:
    """Where a cell of the chart lies on the screen."""
    place = page.evaluate(
        """async ([row, stitch]) => {
          const { spotOf } = await import('/chart.js');
          return spotOf(row, stitch);
        }""",
        [row, stitch],
    )
    return place[0], place[1]


def test_every_module_of_the_page_holds_its_types() -> None:
    needed(MODULES / "typescript")
    ran = subprocess.run(
        ["node", str(MODULES / "typescript" / "bin" / "tsc"), "-p", str(MODULES.parent)], capture_output=True, text=True
    )
    assert ran.returncode == 0, ran.stdout


def test_a_pencil_stroke_is_seen_saved_and_read_again(browser: Browser, desk: Served, home: Path) -> None:
    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.click("#band-1")
        page.click("#colour-1")
        x, y = until(lambda: cell(page, 0, 1))
        page.mouse.move(x, y)
        page.mouse.down()
        to = cell(page, 3, 4)
        page.mouse.move(*to, steps=4)
        page.mouse.up()
        drawn = fingerprint(page, before)
        page.click("#do-undo")
        assert fingerprint(page, drawn) == before
        page.click("#do-redo")
        assert fingerprint(page, before) == drawn
        page.click("#do-save")
        until(lambda: "saved" in text_of(page, "#kept"))
    assert f"{load_piece(home / 'pieces' / 'harbour-blanket.toml').plan().fingerprint:08x}" == drawn


def test_the_page_shows_the_very_cells_that_a_stroke_has_coloured(browser: Browser, desk: Served) -> None:
    """In a row that it left as it was, too: what is shown beside the piece would be knitted otherwise."""
    shown = "async () => [...(await import('/state.js')).drawing().cells].join('')"
    empty = {"what": "empty", "name": "net", "stitches": 8, "rows": 6, "machine": "chunky-112"}
    with desk.client() as client:
        begun = client.post("/api/open", json=empty).json()["serial"]
    with a_page(browser, desk) as page:
        fingerprint(page)
        for begin, end in (((1, 2), (1, 2)), ((0, 0), (1, 2)), ((5, 7), (2, 6)), ((0, 3), (5, 4))):
            page.mouse.move(*until(lambda begin=begin: cell(page, *begin)))
            page.mouse.down()
            page.mouse.move(*cell(page, *end))
            page.mouse.up()
        page.mouse.move(*cell(page, 5, 0))
        page.mouse.down()
        page.focus(".chart canvas")
        page.keyboard.press("Escape")  # a stroke that is given up leaves nothing
        page.mouse.up()
        until(lambda: judged(page) == piece(desk)["serial"] == begun + 4)
        rows = piece(desk)["drawings"]["net.txt"]["changed"]
        until(lambda: page.evaluate(shown) == "".join(rows[str(row)] for row in range(6)))


def test_what_is_saved_holds_every_stroke_that_was_made_before(browser: Browser, desk: Served, home: Path) -> None:
    """Though the desk has not answered to the last ones yet."""

    def slowly(route: Route) -> None:
        time.sleep(0.3)
        route.continue_()

    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.click("#band-1")
        page.click("#colour-1")
        until(lambda: cell(page, 0, 1))
        page.route("**/api/edit", slowly)
        for stitch in (0, 2, 4):
            page.mouse.click(*cell(page, 1, stitch))
        page.keyboard.press("Control+s")
        until(lambda: "saved" in text_of(page, "#kept"))
        page.wait_for_timeout(1000)  # a stroke that came too late would have been made by now
        assert "saved" in text_of(page, "#kept")
        drawn = fingerprint(page, before)
    assert f"{load_piece(home / 'pieces' / 'harbour-blanket.toml').plan().fingerprint:08x}" == drawn


def test_the_chart_is_drawn_with_the_keyboard_alone(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.focus("#band-1")
        page.keyboard.press("Enter")
        page.focus("#colour-0")
        page.keyboard.press("Enter")
        page.focus(".chart canvas")
        for key in ("ArrowRight", "ArrowUp", "ArrowUp"):
            page.keyboard.press(key)
        until(lambda: "row 3, stitch 2" in text_of(page, ".chart .where"))
        page.keyboard.press(" ")
        drawn = fingerprint(page, before)
        page.keyboard.press("Control+z")
        assert fingerprint(page, drawn) == before


def test_an_option_changes_the_picture_and_the_newest_wins(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.click("#band-1")
        for value in ("2", "3", "4", "5"):
            page.fill("#band-row_repeat", value)
            page.dispatch_event("#band-row_repeat", "change")
        last = until(
            lambda: (
                "row_repeat" in json.dumps(piece(desk)["values"])
                and piece(desk)["values"]["bands"][1].get("row_repeat") == 5
            )
        )
        assert last
        with desk.client() as client:
            meant = client.get("/api/verdict").json()["fingerprint"]
        until(lambda: text_of(page, "#fingerprint") == meant)
        assert meant != before
        serial = piece(desk)["serial"]
        until(lambda: page.get_attribute(".fabric canvas", "data-serial") == str(serial))


def test_what_is_being_typed_stays_when_another_page_changes_the_piece(browser: Browser, desk: Served) -> None:
    """And it is sent when the field is left, though the form was filled anew meanwhile."""
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#band-1")
        page.click("summary:text-is('Swatch')")
        page.fill("#gauge-rows", "41")
        page.focus("#band-rows")
        page.keyboard.press("Control+a")
        page.keyboard.type("1")
        before = judged(page)
        with desk.client() as client:
            client.post("/api/edit", json={"edit": "option", "band": 0, "key": "rows", "value": 9})
        until(lambda: judged(page) > before)
        page.keyboard.type("2")
        assert (page.input_value("#band-rows"), page.input_value("#gauge-rows")) == ("12", "41")
        page.focus("#way-draw")
        until(lambda: piece(desk)["values"]["bands"][1].get("rows") == 12)


@pytest.mark.parametrize("on", [GULLS, BUNTING, ONE_WAY], ids=["gulls", "bunting", "one-way"])
def test_every_option_set_on_the_page_makes_the_plan_that_the_command_makes(
    browser: Browser, desk: Served, home: Path, on: Begun
) -> None:
    chart = home / "pieces" / on.chart
    with desk.client() as client:
        client.post("/api/open", json={"what": "file", "name": on.chart})
        for key, value in on.piece.items():
            client.post("/api/edit", json={"edit": "piece", "key": key, "value": value})
        for key, value in on.band.items():
            client.post("/api/edit", json={"edit": "option", "band": 0, "key": key, "value": value})
    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.evaluate("() => { for (const part of document.querySelectorAll('.options details')) part.open = true; }")
        for choice in (choice for choice in CHOICES if choice.on is on):
            was = judged(page)
            field = f"#{'piece' if choice.of == 'piece' else 'band'}-{choice.key}"
            if page.evaluate("(field) => document.querySelector(field).tagName", field) == "SELECT":
                page.select_option(field, choice.typed)
            else:
                page.fill(field, choice.typed)
                page.dispatch_event(field, "change")
            told = run("compile", chart, *on.words, *choice.words, "--format", "json")
            assert told.status == 0, told.err
            meant = f"{json.loads(told.out)['fingerprint']}"
            until(lambda was=was: judged(page) > was, choice.key)
            was = judged(page)
            until(lambda meant=meant: text_of(page, "#fingerprint") == meant, f"{choice.key}: {meant}")
            assert (meant == before) is (choice.key in SAME_PLAN)
            page.click("#do-undo")
            until(lambda was=was: judged(page) > was, choice.key)
            until(lambda: text_of(page, "#fingerprint") == before, choice.key)


def judged(page: Page) -> int:
    """The serial of the state whose verdict the page shows: once it has grown, no form is drawn anew any more."""
    return int(page.evaluate("async () => (await import('/state.js')).store.verdict?.serial ?? 0"))


def piece(desk: Served) -> dict[str, Any]:
    with desk.client() as client:
        return dict(client.get("/api/piece").json())


def test_an_error_says_what_where_and_how_to_mend_it(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#band-1")
        page.fill("#band-row_repeat", "0")
        page.dispatch_event("#band-row_repeat", "change")
        told = until(lambda: text_of(page, ".trouble"))
        assert "row_repeat" in told
        assert "1 to 1000" in told
        until(lambda: page.query_selector(".field.wrong #band-row_repeat"))
        page.click("#do-undo")
        until(lambda: not text_of(page, ".trouble"))


def test_a_stroke_that_the_desk_could_not_make_is_taken_back_and_that_is_said(browser: Browser, desk: Served) -> None:
    colour = "async (at) => (await import('/state.js')).drawing().cells[at]"
    mistake = json.dumps({"what": "the desk made a mistake", "where": "", "hint": "nothing was changed by it"})
    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.click("#band-1")
        page.route("**/api/edit", lambda route: route.fulfill(status=500, body=mistake))
        x, y = until(lambda: cell(page, 0, 0))
        page.click(f"#colour-{1 - page.evaluate(colour, 0)}")
        was = page.evaluate(colour, 0)
        page.mouse.click(x, y)
        until(lambda: "nothing was changed" in text_of(page, "#complaint"))
        with page.expect_response("**/api/fabric*"):
            page.click("#side-purl")
        until(lambda: page.evaluate(colour, 0) == was)
        page.wait_for_timeout(100)
        assert page.is_visible("#complaint"), "a picture that comes meanwhile takes away nothing that is said"
        assert fingerprint(page) == before


UNLIKELY = [
    ("open", "#empty-stitches", "-5", "#empty-go"),
    ("open", "#empty-rows", "", "#empty-go"),
    ("open", "#photo-width", "0", "#photo-go"),
    ("draw", "#lines-at", "1.5", "#lines-in"),
    ("draw", "#lines-count", "-3", "#lines-out"),
    ("draw", "#size-rows", "1e9", "#size-set"),
    ("draw", "#gauge-stitches", "0", "#gauge-set"),
]


def test_a_number_that_cannot_be_is_told_at_its_field_and_sent_to_nobody(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#band-1")
        sent: list[str] = []
        page.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
        for part, field, value, button in UNLIKELY:
            page.click(f"#way-{part}")
            page.evaluate("() => { for (const one of document.querySelectorAll('details')) one.open = true; }")
            if field == "#photo-width":
                page.set_input_files("#photo-file", {"name": "a.png", "mimeType": "image/png", "buffer": b"x"})
            was = page.input_value(field)
            page.fill(field, value)
            page.click(button)
            until(lambda field=field: page.evaluate("(field) => document.activeElement.matches(field)", field), field)
            page.fill(field, was or "20")
        assert sent == []


def test_all_of_the_chart_is_reached_on_a_low_screen(browser: Browser, desk: Served) -> None:
    """With every tool unfolded above it, the first row to be knitted is still there, and the line that tells the place."""
    with a_page(browser, desk, (1280, 640)) as page:
        fingerprint(page)
        page.click("#band-1")
        page.click("#lines summary")
        where = page.query_selector(".chart .where")
        assert where is not None
        where.scroll_into_view_if_needed()
        box = where.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 640


def test_a_finding_is_marked_and_its_mend_is_one_press_and_one_undo(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        before = fingerprint(page)
        page.click("#band-1")
        page.select_option("#band-technique", "tuck")
        tuck = fingerprint(page, before)
        page.click(".finding .place:not([disabled])")
        mend = until(lambda: page.query_selector(".mend:not([disabled])"))
        mend.click()
        mended = fingerprint(page, tuck)
        page.click("#do-undo")
        assert fingerprint(page, mended) == tuck


def test_two_pages_show_one_piece(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as one, a_page(browser, desk) as other:
        before = fingerprint(one)
        assert fingerprint(other) == before
        one.click("#band-1")
        one.select_option("#band-technique", "slip")
        after = fingerprint(one, before)
        assert fingerprint(other, before) == after


def test_a_photograph_becomes_a_chart_in_one_step(browser: Browser, desk: Served, tmp_path: Path) -> None:
    picture = Image.new("RGB", (300, 200), "#f0e8d8")
    picture.paste("#203050", (100, 0, 200, 200))
    out = io.BytesIO()
    picture.save(out, "JPEG")
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#way-open")
        page.set_input_files("#photo-file", {"name": "gull.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()})
        page.fill("#photo-width", "30")
        page.click("#photo-go")
        until(lambda: text_of(page, "h1") == "gull")
        drawing = piece(desk)["drawings"]["gull.txt"]
        assert drawing["stitches"] == 30
        assert 24 <= drawing["rows"] <= 28


def test_an_empty_chart_is_begun_and_saved_under_a_name(browser: Browser, desk: Served, home: Path) -> None:
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#way-open")
        page.fill("#empty-name", "oar mat")
        page.click("#empty-go")
        until(lambda: text_of(page, "h1") == "oar mat")
        page.click("#do-save")
        page.fill("#save-name", "oar-mat")
        page.click("#save-go")
        until(lambda: "oar-mat.toml" in text_of(page, "#kept"))
    assert load_piece(home / "pieces" / "oar-mat.toml").plan().passes == 40


def test_a_dropped_chart_is_opened(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#way-open")
        page.set_input_files("#open-file", {"name": "net.txt", "mimeType": "text/plain", "buffer": b"#.\n.#\n"})
        until(lambda: text_of(page, "h1") == "net")
        assert piece(desk)["drawings"]["net.txt"]["stitches"] == 2


def test_the_browsers_way_back_leads_through_the_parts_of_the_desk(browser: Browser, desk: Served) -> None:
    def part() -> str | None:
        return page.get_attribute("body", "data-part")

    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#way-slow")
        page.click("#way-knit")
        page.click("#way-knit")  # no step of its own
        for expected in ("slow", "draw"):
            page.go_back()
            until(lambda expected=expected: part() == expected)
            assert page.query_selector("#main > :not([hidden])") is not None
        page.go_forward()
        until(lambda: part() == "slow")
        page.reload()
        until(lambda: part() == "slow")
        page.go_back()
        until(lambda: part() == "draw")
        assert desk.key not in page.url


def test_the_keyboard_keeps_its_place_when_a_press_has_changed_what_is_there(browser: Browser, desk: Served) -> None:
    def focused() -> str:
        return str(page.evaluate("() => document.activeElement.id || document.activeElement.className"))

    with a_page(browser, desk) as page:
        fingerprint(page)
        page.focus("#later-1")
        page.keyboard.press("Enter")
        until(lambda: focused() == "later-2", "the band that was moved is at hand")
        page.focus("#do-undo")
        page.keyboard.press("Enter")
        until(lambda: not piece(desk)["can_undo"])
        until(lambda: focused() == "strip", "a button that is shut leaves the keyboard beside it")
        for way in ("open", "knit", "draw"):
            page.focus(f"#way-{way}")
            page.keyboard.press("Enter")
            until(lambda way=way: page.get_attribute("body", "data-part") == way)
            assert focused() == f"way-{way}"


def test_colours_are_told_apart_by_their_numbers_where_that_is_wanted(browser: Browser, desk: Served) -> None:
    inked = """async () => {
      const [x, y] = (await import('/chart.js')).spotOf(0, 0), canvas = document.querySelector('.chart canvas');
      const box = canvas.getBoundingClientRect(), scale = canvas.width / box.width;
      const seen = canvas.getContext('2d').getImageData((x - box.left) * scale - 4, (y - box.top) * scale - 4, 8, 8).data;
      return new Set([...seen].join().match(/\\d+,\\d+,\\d+,255/g)).size;
    }"""
    with a_page(browser, desk) as page:
        fingerprint(page)
        page.click("#band-1")
        until(lambda: page.evaluate(inked) == 1)
        page.click("#numbered")
        until(lambda: page.evaluate(inked) > 1)


THERE = {"draw": ".chart", "open": ".cards", "slow": ".slow[data-pass]", "knit": "#begin-board", "back": ".names li"}


def test_nothing_leaves_the_page_and_everybody_can_use_it(browser: Browser, desk: Served) -> None:
    needed(MODULES / "axe-core")
    axe = (MODULES / "axe-core" / "axe.min.js").read_text()
    with a_page(browser, desk, reduced_motion="reduce", bypass_csp=True) as page:
        fingerprint(page)
        for (wide, tall), scheme in zip([*VIEWPORTS, SMALLEST], ("light", "dark", "light", "dark"), strict=True):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            page.set_viewport_size({"width": wide, "height": tall})
            for way in ("draw", "open", "slow", "knit", "back"):
                page.click(f"#way-{way}")
                until(lambda way=way: page.query_selector(THERE[way]))
                assert overflowing(page) == [], (wide, way)
                assert faint_borders(page) == [], (wide, way)
                assert violations(page, axe) == [], (wide, way)


# Strangers


class _Hostile(BaseHTTPRequestHandler):
    page = b""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(self.page)

    def log_message(self, *args: Any) -> None:
        pass


def test_a_hostile_page_on_another_port_gets_nothing(browser: Browser, desk: Served) -> None:
    with desk.client() as client:
        client.post("/api/edit", json={"edit": "option", "band": 1, "key": "technique", "value": "slip"})
    server = HTTPServer(("127.0.0.1", 0), _Hostile)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    context = browser.new_context()
    try:
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/")
        tried = page.evaluate(
            """async ([origin, key]) => {
              const told = {};
              const headers = { 'X-Latchline-Key': key, 'Content-Type': 'application/json' };
              const attempt = async (name, work) => { try { told[name] = await work(); } catch (error) { told[name] = 'refused'; } };
              await attempt('read', async () => (await fetch(origin + '/api/piece', { headers })).status);
              await attempt('write', async () => (await fetch(origin + '/api/undo', { method: 'POST', headers, body: '{}' })).status);
              await attempt('blind', async () => { const told = await fetch(origin + '/api/undo', { method: 'POST', mode: 'no-cors', headers: { 'Content-Type': 'text/plain' }, body: '{}' }); return told.type === 'opaque' ? 'blind' : told.status; });
              await attempt('socket', () => new Promise((done) => { const line = new WebSocket(origin.replace('http', 'ws') + '/api/live'); line.onopen = () => done('open'); line.onerror = () => done('refused'); }));
              await attempt('script', () => new Promise((done) => { const one = document.createElement('script'); one.src = origin + '/desk.js'; one.onload = () => done('loaded'); one.onerror = () => done('refused'); document.head.append(one); }));
              return told;
            }""",
            [desk.origin, desk.key],
        )
        assert set(tried.values()) <= {"refused", "blind"}
        frame = page.evaluate(
            """(origin) => new Promise((done) => { const one = document.createElement('iframe'); one.onload = () => { try { done(one.contentDocument ? 'ours' : 'shut'); } catch { done('shut'); } }; one.src = origin + '/'; document.body.append(one); })""",
            desk.origin,
        )
        assert frame in ("shut", "ours")
        assert not any(one.url.startswith(desk.origin) and one.query_selector("#head") for one in page.frames)
    finally:
        context.close()
        server.shutdown()
        server.server_close()
    assert piece(desk)["can_undo"] is True  # nothing was undone


def test_a_rebound_name_is_not_served(browser: Browser, desk: Served) -> None:
    """A name of another site that was made to point to this machine."""
    page = browser.new_page()
    answer = page.goto(f"http://{REBOUND}:{desk.port}/")
    assert answer is not None
    assert answer.status == 421
    page.close()


def test_the_page_runs_no_text_as_code(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk, complains=True) as page:
        fingerprint(page)
        for attempt in ("document.body.innerHTML = '<img>'", "eval('1')", "new Function('1')()"):
            script = f"""() => new Promise((done) => setTimeout(() => {{
                try {{ {attempt}; done('done'); }} catch (error) {{ done(error.name); }} }}))"""
            assert page.evaluate(script) in ("TypeError", "EvalError"), attempt


def test_the_key_stays_in_the_tab(browser: Browser, desk: Served) -> None:
    with a_page(browser, desk) as page:
        fingerprint(page)
        assert desk.key not in page.url
        assert page.evaluate("() => sessionStorage.getItem('latchline-key')") == desk.key
        assert page.evaluate("() => document.cookie + JSON.stringify(localStorage)") == "{}"
        page.reload()
        fingerprint(page)


def test_a_page_of_an_earlier_run_says_so(browser: Browser, desk: Served, home: Path) -> None:
    with served(home / "pieces", home=home) as second, a_page(browser, second) as page:
        page.evaluate("(key) => sessionStorage.setItem('latchline-key', key)", desk.key)
        page.reload()
        until(lambda: "earlier run" in text_of(page, "#complaint"))
