"""The page in Chromium, as a person has it: typed into by keys, read by what stands on it."""

import csv
import re
import time

from tests.live.conftest import PATIENCE

WAIT_MS = 1000.0 * PATIENCE
LOOK_MS = 15.0  # from look to look while something is waited for


class Tab:
    """A tab on the page. errors : what the browser complained of; away : requests to any other machine."""

    def __init__(self, browser, address, width=1400, height=900, **settings):
        self.address = address
        self.context = browser.new_context(viewport={"width": width, "height": height}, **settings)
        self.page = self.context.new_page()
        self.page.set_default_timeout(WAIT_MS)
        self.errors, self.away = [], []
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("request", lambda request: self._asked(request.url))
        self.page.goto(address)

    def _said(self, message):
        # That another tab or a long answer was quicker is no fault: the browser tells of every answer that is not 200.
        if message.type == "error" and "409 (Conflict)" not in message.text:
            self.errors.append(message.text)

    def _asked(self, url):
        if not url.startswith((self.address, "data:", "blob:")):
            self.away.append(url)

    def __enter__(self):
        self.until("document.body.dataset.figures || !document.getElementById('first').hidden")
        return self

    def __exit__(self, *_):
        self.context.close()

    def until(self, script):
        """Wait until a script says true. The page's policy lets no waiting be put into it."""
        end = time.monotonic() + PATIENCE
        while not self.page.evaluate(script):
            assert time.monotonic() < end, script
            self.page.wait_for_timeout(LOOK_MS)

    def cell(self, row, column):
        """Return a reading's input."""
        return self.page.locator(f".part:not([hidden]) [data-row='{row}'][data-column='{column}']")

    def go(self, row, column):
        """Click on a reading."""
        self.cell(row, column).click()

    def keys(self, *keys):
        """Press keys, one after the other; a text is typed."""
        for key in keys:
            if re.fullmatch(r"[A-Z][A-Za-z]+|(Control|Shift|Alt)\+\w+", key):
                self.page.keyboard.press(key)
            else:
                self.page.keyboard.type(key)

    def in_hand(self):
        """Return row and column of the reading that has the focus."""
        row, column = self.page.evaluate("[document.activeElement.dataset.row, document.activeElement.dataset.column]")
        return int(row), column

    def saved(self):
        """Wait until everything that was typed is on the disk."""
        self.until("document.getElementById('saved').textContent === 'Saved'")

    def settled(self):
        """Wait until the figures are those of what was typed last."""
        self.saved()
        self.until("!document.getElementById('answer').classList.contains('old')")

    def figure(self, name):
        """Return the first number of a figure of the answer."""
        return float(re.search(r"[\d.]+", self.page.locator(f"[data-figure={name}]").inner_text())[0])

    def column(self, name):
        """Return the readings of a column, as they stand."""
        cells = self.page.locator(f".part:not([hidden]) tr:not(.blank) [data-column='{name}']")
        return cells.evaluate_all("(all) => all.map((one) => one.value)")


def cells_of(path):
    """Return a sheet's rows under its header, by the columns' names."""
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))
