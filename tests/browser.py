"""The browser that a page is tried in, and what it is started with where there is no screen."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

BROWSERS = ("chromium", "chromium-browser")  # one browser, as two systems call its program
QUIET = ("quic", "background-networking", "component-update", "sync")
ARGUMENTS = ["--no-sandbox", "--no-first-run", *(f"--disable-{name}" for name in QUIET)]
# A machine with no graphics draws by its processor.
ARGUMENTS += ["--disable-gpu", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def browser_path() -> str | None:
    """Return the first Chromium on the machine, None where there is none."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


@contextmanager
def driven() -> Iterator[Any]:
    """Give a browser, driven by Playwright; skip where there is none."""
    playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed: no browser test")
    path = browser_path()
    if path is None:
        pytest.skip(f"no browser is here ({', '.join(BROWSERS)}): the page was not tried in one")
    with playwright.sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield found
        found.close()
