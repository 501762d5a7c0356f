"""The desk's page in a real browser: from a hand or a pass to what is painted."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from statistics import median
from typing import Any
from unittest.mock import patch

from bench._measuring import piece
from browser.pages import CHROMIUM, a_browser, a_page, text_of, until
from desk.serving import Reached, hosted
from playwright.sync_api import Page

from latchline.desk.desk import Desk
from latchline.knit.events import State
from latchline.knit.view import View, row_of

STROKES, PASSES = 30, 25
DARK = "31,58,95"  # colour 1 of the chart of the bench

# The frame that shows a change is done when a message that its own callback has posted comes in.
PAINTED = """const painted = (then) => requestAnimationFrame(() => {
  const line = new MessageChannel();
  line.port1.onmessage = () => then(performance.timeOrigin + performance.now());
  line.port2.postMessage(0);
});"""

WATCH_CELLS = f"""() => {{
  {PAINTED}
  window.took = [];
  const canvas = document.querySelector('.chart canvas');
  const began = (event) => painted((at) => {{
    const box = canvas.getBoundingClientRect(), scale = canvas.width / box.width;
    const [x, y] = [(event.clientX - box.left) * scale, (event.clientY - box.top) * scale];
    const seen = [...canvas.getContext('2d').getImageData(x, y, 1, 1).data].slice(0, 3).join();
    window.took.push([seen, at - performance.timeOrigin - event.timeStamp]);
  }});
  canvas.addEventListener('pointerdown', began, {{ capture: true }});
}}"""

SPOTS = """async (most) => {
  const { drawing } = await import('/state.js'), { spotOf } = await import('/chart.js');
  const { cells, stitches } = drawing();
  const found = [];
  for (let at = 0; at < cells.length && found.length < most; at += 7)
    if (!cells[at]) found.push(spotOf(Math.floor(at / stitches), at % stitches));
  return found.filter(([x, y]) => document.elementFromPoint(x, y)?.matches('.chart canvas'));
}"""

WATCH_PASS = f"""() => {{
  {PAINTED}
  window.seen = {{}};
  let shown = '';
  new MutationObserver(() => {{
    const now = document.querySelector('.pass')?.textContent ?? '';
    if (now === shown) return;
    shown = now;
    painted((at) => {{ window.seen[now] = at; }});
  }}).observe(document.querySelector('.board'), {{ childList: true, subtree: true, characterData: true }});
}}"""

DRAW = """async (ask) => {
  window.drawn = 0;
  const headers = { 'X-Latchline-Key': sessionStorage.getItem('latchline-key') };
  while (!window.halt) { await (await fetch(ask, { headers })).blob(); window.drawn += 1; }
}"""


def pencil(page: Page) -> tuple[str, str, str]:
    """From the press of a pointer on a cell to the frame in which the cell has its colour."""
    until(lambda: page.query_selector(".chart canvas"))
    page.evaluate(WATCH_CELLS)
    spots = page.evaluate(SPOTS, STROKES)
    for spot in spots:
        page.mouse.move(*spot)
        page.mouse.down()
        page.wait_for_timeout(60)
        page.mouse.up()
        page.wait_for_timeout(250)  # by then the fabric is drawn
    taken = page.evaluate("() => window.took")
    assert len(taken) == len(spots) > 10
    assert {seen for seen, _ in taken} == {DARK}, taken
    return "a press of the pencil to its cell painted", f"{median(ms for _, ms in taken):.0f} ms", "16 ms or less"


def passes(page: Page, desk: Desk, view: View, first: int) -> float:
    """From telling a pass to the frame that shows it: the median."""
    knitting, taken = desk.knitting, []
    assert knitting is not None
    for number in range(first, first + PASSES):
        told = knitting.message(replace(view, number=number, row=row_of(knitting.plan, number)), [])
        at_ms = time.time() * 1000
        desk.pages.tell(told)
        taken.append(until(lambda number=number: page.evaluate("(pass) => window.seen[pass]", str(number))) - at_ms)
    return median(taken)


@contextmanager
def drawing(page: Page) -> Iterator[None]:
    """Another page draws the largest picture, again and again."""
    page.evaluate(f"(ask) => {{ ({DRAW})(ask); }}", "/api/fabric?side=knit&stitch_px=8&first=1&last=300")
    until(lambda: page.evaluate("() => window.drawn"))
    yield
    page.evaluate("() => { window.halt = true; }")


def knitted(page: Page, desk: Desk) -> View:
    """A pass to be knitted as a session sees it that has come as far, and is put to rest then."""
    page.click("#way-knit")
    until(lambda: page.query_selector("#begin-board:not([disabled])"))
    page.fill("#port", "sim://?seed=3&live=1&pace=8")
    page.click("#begin-board")

    def pressed() -> Any:
        page.evaluate("() => document.querySelector('#big:not([disabled]):not([hidden])')?.click()")
        page.wait_for_timeout(60)
        return text_of(page, ".pass")

    until(pressed)
    assert desk.knitting is not None
    view = replace(desk.knitting.view(), state=State.READY, question=None)
    desk.knitting.leave()
    until(lambda: page.query_selector(".ended"))
    desk.pages.tell(desk.knitting.message(view, []))
    until(lambda: page.query_selector(".board"))
    return view


def rows() -> list[tuple[str, str, str]]:
    """(what, measured, aim)."""
    if not Path(CHROMIUM).exists():
        return [("there is no browser to measure with", "", "see .ci/toolchain")]
    # what is begun here is none of the contributor's own pieces
    with tempfile.TemporaryDirectory() as name, patch.dict(os.environ, XDG_STATE_HOME=name):
        folder = Path(name)
        piece(folder, "tiled", 24, 40, 100)
        tall = piece(folder, "tall", 200, 600, 600)
        found = []
        with a_browser() as browser:
            with hosted(folder / "tiled.toml") as (reached, _), a_page(browser, reached) as page:
                found.append(pencil(page))
            with hosted(folder / tall) as (reached, desk):
                found += told(browser, reached, desk)
    return found


def told(browser: Any, reached: Reached, desk: Desk) -> list[tuple[str, str, str]]:
    with a_page(browser, reached) as page, a_page(browser, reached) as other:
        view = knitted(page, desk)
        page.evaluate(WATCH_PASS)
        alone = passes(page, desk, view, 101)
        with drawing(other):
            beside = passes(page, desk, view, 301)
            drawn = other.evaluate("() => window.drawn")
        return [
            ("a pass told to its number painted", f"{alone:.0f} ms", "20 ms or less"),
            (
                "the same while another page draws the largest picture",
                f"{beside:.0f} ms, {drawn} drawn",
                "20 ms or less",
            ),
        ]
