"""A browser of the tests' own, and pages in it that notice whatever a page must not do."""

from __future__ import annotations

import contextlib
import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from desk.serving import Reached
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
MODULES = Path(__file__).parent / "node_modules"
VIEWPORTS = [(390, 844), (1024, 768), (1920, 1080)]
SMALLEST = (360, 640)
QUIET = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
QUIET += ["--disable-component-update", "--disable-sync"]
REBOUND = "rebound.example"  # a name of another site that leads to this machine
PATIENCE_S = 180.0  # only what fails waits so long


def needed(path: str | Path) -> None:
    """Leave a test out where a part of the toolchain is missing; in CI that is a failure."""
    if not Path(path).exists():
        assert "CI" not in os.environ, f"there is no {path}"
        pytest.skip(f"there is no {path}: see .ci/toolchain")


@contextlib.contextmanager
def a_browser() -> Iterator[Browser]:
    needed(CHROMIUM)
    root = ["--no-sandbox"] if os.name == "posix" and os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=[*QUIET, *root, f"--host-resolver-rules=MAP {REBOUND} 127.0.0.1"]
        )
        try:
            yield browser
        finally:
            browser.close()


@contextlib.contextmanager
def a_page(
    browser: Browser, desk: Reached, size: tuple[int, int] = (1920, 1080), *, complains: bool = False, **how: Any
) -> Iterator[Page]:
    """A page of the desk. At its end: no request has left its origin, and nothing was complained of.

    complains: whether the browser is expected to complain of something.
    """
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **how)
    asked: list[str] = []
    wrong: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    context.on("weberror", lambda error: wrong.append(str(error.error)))
    context.on(
        "console",
        lambda told: (
            wrong.append(told.text)
            if told.type == "error" and "ERR_" not in told.text and "status of" not in told.text
            else None
        ),
    )
    page = context.new_page()
    page.set_default_timeout(PATIENCE_S * 1000)
    try:
        page.goto(desk.address)
        yield page
    finally:
        context.close()
    ours = urlsplit(desk.origin).netloc
    assert [url for url in asked if urlsplit(url).scheme not in ("blob", "data") and urlsplit(url).netloc != ours] == []
    assert not any("key=" in urlsplit(url).query or desk.key in url for url in asked if "#" not in url)
    assert complains or wrong == []


def until(true: Callable[[], Any], what: str | Callable[[], str] = "") -> Any:
    """Wait until something is so; `wait_for_function` would need eval, which the page forbids."""
    end = time.monotonic() + PATIENCE_S
    while True:
        value = true()
        if value:
            return value
        assert time.monotonic() < end, (what if isinstance(what, str) else what()) or "it never came"
        time.sleep(0.02)


def text_of(page: Page, selector: str) -> str:
    found = page.query_selector(selector)
    return (found.text_content() or "") if found is not None else ""


def fingerprint(page: Page, other_than: str = "") -> str:
    """The fingerprint that the page shows, once it is another one than before."""
    return str(until(lambda: (lambda now: now if now and now != other_than else "")(text_of(page, "#fingerprint"))))


def overflowing(page: Page) -> list[str]:
    """Elements whose text is cut off or leaves the page sideways."""
    return page.evaluate(
        """() => {
          const found = [];
          const wide = document.documentElement.clientWidth;
          if (document.documentElement.scrollWidth > wide + 1) found.push(`page ${document.documentElement.scrollWidth} > ${wide}`);
          for (const one of document.querySelectorAll('main *, header *')) {
            if (one.closest('.scroller, canvas, svg, .unseen') || !one.getClientRects().length) continue;
            const box = one.getBoundingClientRect();
            if (box.right > wide + 1 || box.left < -1) found.push(`${one.tagName}.${one.className} leaves the page`);
            const style = getComputedStyle(one);
            const cut = ['hidden', 'clip'].includes(style.overflowX) && one.scrollWidth > one.clientWidth + 1;
            const low = ['hidden', 'clip'].includes(style.overflowY) && one.scrollHeight > one.clientHeight + 1;
            if ((cut || low) && one.textContent.trim()) found.push(`${one.tagName}.${one.className} is cut: ${one.textContent.slice(0, 40)}`);
          }
          return found;
        }"""
    )


def violations(page: Page, axe: str) -> list[Any]:
    """What axe-core finds amiss."""
    return page.evaluate(
        f"async () => {{ {axe}; const told = await axe.run(); return told.violations.map((one) => [one.id, one.nodes.map((node) => node.html)]); }}"
    )


def copied_examples(folder: Path) -> Path:
    """The examples as they are delivered, whatever was done to an earlier copy of them."""
    import latchline

    shutil.copytree(Path(latchline.__file__).parent / "examples", folder, dirs_exist_ok=True)
    return folder


def faint_borders(page: Page) -> list[str]:
    """Controls and boxes whose edge stands out by less than 3:1 (WCAG 2.2, 1.4.11) from what they lie on."""
    return page.evaluate(
        """() => {
          const parts = (text) => (text.match(/[\\d.]+/g) ?? []).map(Number);
          const clear = (text) => parts(text).length > 3 && parts(text)[3] === 0;
          const light = (text) => {
            const [red, green, blue] = parts(text).map((one) => { const part = one / 255; return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4; });
            return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
          };
          const ratio = (one, other) => { const [low, high] = [light(one), light(other)].sort((a, b) => a - b); return (high + 0.05) / (low + 0.05); };
          const ground = (one) => {
            for (let at = one; at; at = at.parentElement) { const colour = getComputedStyle(at).backgroundColor; if (!clear(colour)) return colour; }
            return 'rgb(255, 255, 255)';
          };
          const found = [];
          for (const one of document.querySelectorAll('button, select, textarea, input:not([type="checkbox"]):not([type="file"]), fieldset, dialog, .panel, .bead, .part.repeat, .candidate, .skein')) {
            const style = getComputedStyle(one);
            if (!one.getClientRects().length || style.borderTopStyle === 'none' || style.borderTopWidth === '0px') continue;
            const under = ground(one.parentElement);
            const best = Math.max(ratio(style.borderTopColor, under), ratio(ground(one), under));
            if (best < 3) found.push(`${one.tagName}.${one.className} ${style.borderTopColor} on ${under}: ${best.toFixed(2)}`);
          }
          return found;
        }"""
    )
