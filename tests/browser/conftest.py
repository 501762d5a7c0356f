"""One browser for all tests of the page."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browser.pages import a_browser
from playwright.sync_api import Browser


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with a_browser() as running:
        yield running
