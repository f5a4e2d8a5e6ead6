"""The page's server, running as it runs for a person, in a thread of the test's own."""

import json
import shutil
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from portgeo.app.live.serve import PageServer, desk_of, listening
from portgeo.app.live.server import make_app
from tests.browser import driven

MESHES = Path(__file__).parents[2] / "meshes"
SHEET = "demo-as-cast.csv"
TOKEN = "a-token-of-the-tests"
PATIENCE = 120.0  # seconds that a test waits for what must come: a machine under load is slow


class Browser:
    """What a page does with the server: asks, types and listens."""

    def __init__(self, address):
        self.address = address
        self.http = httpx.Client(base_url=address, timeout=PATIENCE)
        self.version = self.get("state").json()["version"]

    def get(self, path, **more):
        return self.http.get(path, **more)

    def post(self, path, said, **more):
        answer = self.http.post(path, json=said, **more)
        if answer.status_code == 200 and "version" in answer.json():
            self.version = answer.json()["version"]
        return answer

    def edit(self, *edits):
        return self.post("edit", {"version": self.version, "edits": list(edits)})

    def type(self, file, row, column, text):
        answer = self.edit({"op": "cells", "file": file, "cells": [[row, column, text]]})
        assert answer.status_code == 200, answer.text
        return answer.json()

    @contextmanager
    def events(self):
        """Give the events of a new tab, one after the other."""
        with self.http.stream("GET", "events") as stream:
            yield (json.loads(line[6:]) for line in stream.iter_lines() if line.startswith("data: "))


def until(events, wanted, seconds=PATIENCE):
    """Return the first event that is wanted."""
    end = time.monotonic() + seconds
    for event in events:
        if wanted(event):
            return event
        assert time.monotonic() < end, "it did not come"
    raise AssertionError("the server ended")


@contextmanager
def served(what):
    """Serve a sheet, a job or a folder, and give a browser on it."""
    with listening(None) as at:
        number = at.getsockname()[1]
        app = make_app(desk_of(str(what)), TOKEN, number)
        server = PageServer(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [at]}, daemon=True)
        thread.start()
        browser = Browser(f"http://127.0.0.1:{number}/{TOKEN}/")
        try:
            yield browser
        finally:
            browser.http.close()
            server.should_exit = True
            thread.join(PATIENCE)


@pytest.fixture
def folder(tmp_path):
    """A folder with the demo's sheet."""
    for name in (SHEET, "demo-bowl-as-cast.csv"):
        shutil.copy(MESHES / name, tmp_path / name)
    return tmp_path


@pytest.fixture
def browser(folder):
    """A browser on the demo's sheet, opened alone."""
    with served(folder / SHEET) as found:
        yield found


@pytest.fixture(scope="module")
def chromium():
    """A browser, driven by Playwright."""
    with driven() as found:
        yield found
