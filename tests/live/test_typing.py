"""What is typed: into the file as it is, with what is wrong beside it, undone and done again."""

import pytest

import portgeo as pg
from tests.live.conftest import SHEET, until


def test_one_cell_typed_changes_that_line_of_the_file_and_no_other(browser, folder):
    before = (folder / SHEET).read_bytes().split(b"\n")
    browser.type(SHEET, 3, "height_in", "1.905")
    after = (folder / SHEET).read_bytes().split(b"\n")
    assert [k for k in range(len(before)) if before[k] != after[k]] == [4]
    assert after[4].startswith(b"0.400,1.905,1.150,rect")


def test_an_older_version_is_refused_with_what_there_is_now(browser):
    cell = {"op": "cells", "file": SHEET, "cells": [[1, "note", "flange face"]]}
    assert browser.edit(cell).status_code == 200
    late = browser.post("edit", {"version": browser.version - 1, "edits": [cell]})
    assert late.status_code == 409
    assert late.json()["state"]["version"] == browser.version


def test_undo_brings_the_bytes_back_and_redo_those_after(browser, folder):
    before = (folder / SHEET).read_bytes()
    browser.edit({"op": "insert", "file": SHEET, "at": 2, "count": 3})
    after = (folder / SHEET).read_bytes()
    assert browser.post("undo", {"version": browser.version}).status_code == 200
    assert (folder / SHEET).read_bytes() == before
    assert browser.post("redo", {"version": browser.version}).status_code == 200
    assert (folder / SHEET).read_bytes() == after != before


def test_a_refused_reading_stays_as_it_was_typed_with_its_mend_and_its_row_is_left_out(browser):
    with browser.events() as events:
        table = browser.type(SHEET, 5, "width_in", "1.1.2")["changed"]["tables"][SHEET]
        told = until(events, lambda e: e["type"] == "figures" and e["version"] == browser.version)
    column = [c["name"] for c in table["columns"]].index("width_in")
    assert table["rows"][4]["cells"][column] == "1.1.2"
    assert [(p["row"], p["column"]) for p in table["problems"]] == [(5, "width_in")]
    assert "number" in table["problems"][0]["what"] and table["problems"][0]["hint"]
    assert told["left_out"] == [5] and told["figures"]["volume"]["volume_cc"] > 100.0


def test_the_figures_are_those_of_measure_run_on_the_file(browser, folder):
    with browser.events() as events:
        browser.type(SHEET, 9, "height_in", "1 49/64")
        told = until(events, lambda e: e["type"] == "figures" and e["sure"] and e["version"] == browser.version)
    measured = pg.survey(pg.read(folder / SHEET))
    figures, side = told["figures"], measured.short_side.headline
    shown = {
        "volume": {"volume_cc": measured.volume_cc, "volume_u_cc": measured.volume_u_cc},
        "least_area": {"area_mm2": measured.least_area.area_mm2, "area_u_mm2": measured.least_area.area_u_mm2},
        "short_side": {"radius_mm": side.mm, "radius_u_mm": side.u_mm},
        "throat": {"area_mm2": measured.throat.area_mm2, "diameter_mm": measured.throat.diameter_mm},
    }
    for name, values in shown.items():
        assert {key: figures[name][key] for key in values} == pytest.approx(values, rel=1e-6)  # far below what is shown
