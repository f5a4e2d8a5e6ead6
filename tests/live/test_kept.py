"""Nothing lost: versions after a restart, a killed server, two tabs, a file that something else changed."""

import json
import os
import random
import re
import subprocess
import sys
import threading
from pathlib import Path

import httpx
import pytest

from portgeo.app.live.serve import desk_of
from portgeo.app.live.versions import Versions
from tests.live.conftest import MESHES, PATIENCE, SHEET, served, until

ROWS = 20  # of the demo's sheet
HEADER_LINE = 1  # of its lines, counted from 0


def with_notes(data, notes):
    """The demo's sheet with notes in its last column, by rows: made of its lines, not of the server's own code."""
    lines = data.split(b"\n")
    for row, note in notes.items():
        lines[HEADER_LINE + row] = lines[HEADER_LINE + row].rpartition(b",")[0] + b"," + note.encode()
    return b"\n".join(lines)


@pytest.fixture
def sheet(folder):
    return folder / SHEET


def test_undo_goes_on_after_a_restart_and_to_the_first_version(sheet):
    before = sheet.read_bytes()
    with served(sheet) as browser:
        for k in range(1, 6):
            browser.type(SHEET, k, "note", f"edit {k}")
        browser.post("undo", {"version": browser.version})
    with served(sheet) as browser:
        state = browser.get("state").json()
        assert state["can_undo"] and state["can_redo"]
        for k in range(4, -1, -1):
            assert sheet.read_bytes() == with_notes(before, {j: f"edit {j}" for j in range(1, k + 1)})
            if k:
                assert browser.post("undo", {"version": browser.version}).status_code == 200
        assert browser.post("undo", {"version": browser.version}).status_code == 400
        for _ in range(5):
            assert browser.post("redo", {"version": browser.version}).status_code == 200
        assert sheet.read_bytes() == with_notes(before, {j: f"edit {j}" for j in range(1, 6)})
        versions = browser.get("versions").json()
        first = versions[-1]["version"]
        assert browser.post("restore", {"version": browser.version, "to": first}).status_code == 200
        assert sheet.read_bytes() == before
        assert browser.post("undo", {"version": browser.version}).status_code == 200
        assert sheet.read_bytes() != before


def test_a_log_that_was_cut_off_is_read_up_to_there_and_goes_on(sheet):
    with served(sheet) as browser:
        browser.type(SHEET, 1, "note", "one")
    log = Versions(sheet.parent, SHEET).log
    log.write_bytes(log.read_bytes() + b'{"version": 3, "when": "20')
    with served(sheet) as browser:
        assert browser.version == 2
        browser.type(SHEET, 1, "note", "two")
        assert browser.version == 3
    assert [version.number for version in Versions(sheet.parent, SHEET).all] == [1, 2, 3]


def test_versions_are_bounded_and_those_that_stay_are_whole(sheet, monkeypatch):
    with served(sheet) as browser:
        for k in range(12):
            browser.type(SHEET, 1, "note", f"edit {k}")
        last = sheet.read_bytes()
    monkeypatch.setattr("portgeo.app.live.versions.KEPT_BYTES", 10)
    with served(sheet) as browser:
        versions = browser.get("versions").json()
        assert len(versions) == 7
        for version in versions:
            assert browser.post("restore", {"version": browser.version, "to": version["version"]}).status_code == 200
        assert browser.post("restore", {"version": browser.version, "to": versions[0]["version"]}).status_code == 200
        assert sheet.read_bytes() == last


def test_the_second_of_two_tabs_is_told_and_loses_nothing(browser, sheet):
    with browser.events() as events:
        with browser.events() as more:
            assert until(more, lambda e: e["type"] == "tabs")["count"] == 2
            old = browser.version
            browser.type(SHEET, 1, "note", "of the first tab")
            assert until(events, lambda e: e["type"] == "versions")["version"] == browser.version
        late = browser.post(
            "edit", {"version": old, "edits": [{"op": "cells", "file": SHEET, "cells": [[1, "note", "b"]]}]}
        )
    assert late.status_code == 409 and "another tab" in late.json()["what"]
    assert b"of the first tab" in sheet.read_bytes()


@pytest.mark.parametrize("keep", ["mine", "disk"])
def test_a_file_that_something_else_changed_is_asked_about_and_neither_is_lost(browser, sheet, keep):
    browser.type(SHEET, 1, "note", "mine")
    mine = sheet.read_bytes()
    theirs = mine.replace(b"1.950", b"1.949")
    with browser.events() as events:
        sheet.write_bytes(theirs)
        assert until(events, lambda e: e["type"] == "disk")["files"] == [SHEET]
    refused = browser.edit({"op": "cells", "file": SHEET, "cells": [[2, "note", "more"]]})
    assert refused.status_code == 409 and refused.json()["state"]["on_disk"] == [SHEET]
    assert sheet.read_bytes() == theirs
    assert browser.post("disk", {"keep": keep}).status_code == 200
    assert sheet.read_bytes() == (mine if keep == "mine" else theirs)
    browser.type(SHEET, 2, "note", "more")
    found = set()
    for version in browser.get("versions").json():
        browser.post("restore", {"version": browser.version, "to": version["version"]})
        found.add(sheet.read_bytes())
    assert {mine, theirs} <= found


def test_a_sheet_that_was_taken_away_is_asked_about_and_comes_back(browser, sheet):
    data = sheet.read_bytes()
    sheet.unlink()
    refused = browser.edit({"op": "cells", "file": SHEET, "cells": [[2, "note", "more"]]})
    assert refused.status_code == 409
    assert browser.post("disk", {"keep": "mine"}).status_code == 200
    assert sheet.read_bytes() == data


class Served:
    """The command itself, in a process of its own, so that it can be killed."""

    def __init__(self, sheet):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "portgeo", "open", str(sheet), "--no-browser"],
            stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2],
        )  # fmt: skip
        line = self.process.stdout.readline()
        self.address = re.search(r"http://\S+", line)[0]
        self.http = httpx.Client(base_url=self.address, timeout=PATIENCE)

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()


def killed(sheet, times, seed):
    """Kill the server so many times while it is typed into; return how many edits that it had answered were lost."""
    chance, before = random.Random(seed), sheet.read_bytes()
    notes, lost, addresses, count = {}, 0, set(), 0
    for _ in range(times):
        server = Served(sheet)
        addresses.add(server.address)
        version = server.http.get("state").json()["version"]
        timer = threading.Timer(chance.uniform(0.0, 0.25), server.process.kill)
        timer.start()
        flying = None
        try:
            while True:
                count += 1
                flying = (1 + count % ROWS, f"edit {count}")
                cell = {"op": "cells", "file": SHEET, "cells": [[flying[0], "note", flying[1]]]}
                answer = server.http.post("edit", json={"version": version, "edits": [cell]})
                assert answer.status_code == 200, answer.text
                version = answer.json()["version"]
                notes[flying[0]] = flying[1]
        except httpx.TransportError:
            pass
        timer.join()
        server.kill()
        found = sheet.read_bytes()
        late = notes | dict([flying])
        if found == with_notes(before, late):
            notes = late
        lost += found != with_notes(before, notes)
        desk = desk_of(str(sheet))  # what the log has is read, and goes back to the start
        contents = [desk.versions.content(version.files[SHEET]) for version in desk.versions.all]
        assert contents[0] == before and contents[-1] == found
    assert len(addresses) == 1  # a page that was open goes on
    return lost


def test_a_killed_server_loses_no_edit_that_it_answered(sheet):
    assert killed(sheet, 4, 1) == 0


@pytest.mark.nightly
def test_forty_kills_lose_no_edit(sheet):
    assert killed(sheet, 40, 2) == 0


@pytest.mark.parametrize("count", [50, pytest.param(200, marks=pytest.mark.nightly)])
def test_random_edits_and_undos_leave_file_page_and_measure_agreeing(sheet, count):
    import portgeo as pg

    chance = random.Random(17)
    with served(sheet) as browser:
        for _ in range(count):
            kind = chance.random()
            if kind < 0.25:
                browser.post("undo", {"version": browser.version})
            elif kind < 0.35:
                browser.post("redo", {"version": browser.version})
            elif kind < 0.4:
                browser.edit({"op": "insert", "file": SHEET, "at": chance.randint(1, 12), "count": 1})
            else:
                row = chance.randint(1, 14)
                text = chance.choice(["1.9", "1 7/8", "1.8", "abc", "", '1.875"'])
                browser.edit({"op": "cells", "file": SHEET, "cells": [[row, "height_in", text]]})
        while browser.get("state").json()["can_undo"]:
            browser.post("undo", {"version": browser.version})
        assert sheet.read_bytes() == (MESHES / SHEET).read_bytes()
        with browser.events() as events:
            browser.type(SHEET, 4, "height_in", "1.880")
            told = until(events, lambda e: e["type"] == "figures" and e["version"] == browser.version)
        cells = [row["cells"] for row in browser.get("state").json()["tables"][SHEET]["rows"]]
        lines = [line for line in sheet.read_text().split("\n") if line and not line.startswith("#")]
        assert [",".join(row) for row in cells] == lines[1:]
    measured = pg.survey(pg.read(sheet), sure=False)
    assert told["figures"]["volume"]["volume_cc"] == pytest.approx(measured.volume_cc, rel=1e-9)


def test_what_was_half_written_goes_when_nobody_can_be_at_it_any_more(sheet):
    old, new, own = (sheet.with_name(name) for name in (".0123456789abcdef.csv", ".fedcba9876543210.csv", ".mine.csv"))
    for path in (old, new, own):
        path.write_text("half")
    hours = old.stat().st_mtime - 7200.0
    for path in (old, own):
        os.utime(path, (hours, hours))
    desk_of(str(sheet))
    assert not old.exists() and new.exists() and own.exists()


def test_an_outline_that_is_mended_beside_the_sheet_is_read_again(sheet):
    outline = sheet.with_name("demo-bowl-as-cast.csv")
    data = outline.read_bytes()
    outline.write_bytes(b"x_in,y_in\n0,0\n")
    desk = desk_of(str(sheet))
    assert [problem["column"] for problem in desk.table(SHEET)["problems"]] == ["outline"]
    outline.write_bytes(data)
    assert desk.table(SHEET)["problems"] == []


def test_versions_say_when_and_what(browser):
    browser.type(SHEET, 3, "height_in", "1.905")
    newest = browser.get("versions").json()[0]
    assert "row 3, height_in: 1.905" in newest["what"] and json.dumps(newest["when"])
