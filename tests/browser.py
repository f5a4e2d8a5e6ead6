"""The browser that a page is tried in, and what it is started with where there is no screen."""

from __future__ import annotations

import shutil

BROWSERS = ("chromium", "chromium-browser")  # one browser, as two systems call its program
QUIET = ("quic", "background-networking", "component-update", "sync")
ARGUMENTS = ["--no-sandbox", "--no-first-run", *(f"--disable-{name}" for name in QUIET)]
# A machine with no graphics draws by its processor.
ARGUMENTS += ["--disable-gpu", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def browser_path() -> str | None:
    """Return the first Chromium on the machine, None where there is none."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)
