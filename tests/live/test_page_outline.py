"""A traced section: its outline typed as a table of points, or a drawing of it, for a row of a sheet."""

import math

import pytest

import portgeo as pg
from tests.live.conftest import SHEET
from tests.live.tab import Tab, cells_of

ROW, STATION = 14, "2.600"
WIDE, HIGH = 0.64, 0.78  # half axes of the ellipse that is traced, inches
POINTS = 24


def ellipse(count):
    """The points of an ellipse as they are read off squared paper, the first once more at the end."""
    angles = [2.0 * math.pi * k / count for k in range(count + 1)]
    return [(f"{WIDE * math.cos(a):.3f}", f"{HIGH * math.sin(a):.3f}") for a in angles]


def test_an_outline_is_typed_point_by_point_drawn_as_it_comes_and_measured(chromium, browser, folder):
    with Tab(chromium, browser.address) as tab:
        tab.go(ROW, "shape")
        tab.keys("Escape", "outline", "Enter")
        tab.go(ROW, "shape")
        tab.keys("Escape")
        tab.page.get_by_role("button", name="Type its points").click()
        tab.saved()
        box = tab.page.locator("section.outline")
        box.locator("[data-row='1'][data-column='x']").click()
        for k, (x, y) in enumerate(ellipse(POINTS), start=1):
            tab.keys(x, "Enter", y, "Enter")
            if k == 6:
                tab.saved()
                assert tab.page.locator("#where circle.dot").count() == 6
                # Half typed, it is not closed, and that is no fault until it is left.
                tab.settled()
                assert tab.page.locator("[aria-invalid=true]").count() == 0
                tab.cell(ROW, "outline").click()
                tab.until("document.querySelectorAll('[aria-invalid=true]').length === 1")
                assert "not closed" in tab.page.locator("tr.told:not([hidden])").first.inner_text()
                box.locator("[data-row='7'][data-column='x']").click()
                tab.until("!document.querySelector('[aria-invalid=true]')")
        tab.settled()
        assert tab.page.locator("[aria-invalid=true]").count() == 0
        row = cells_of(folder / SHEET)[ROW - 1]
        assert (row["shape"], row["outline"], row["corner_roof_in"]) == ("outline", "outline-2-600.csv", "")
        points = cells_of(folder / row["outline"])
        assert [(each["x_in"], each["y_in"]) for each in points] == ellipse(POINTS)
        found = pg.survey(pg.read(folder / SHEET), sure=False)
        assert tab.figure("volume") == pytest.approx(found.volume_cc, abs=0.006)
        # The area of the ellipse's polygon, in closed form.
        area = 0.5 * POINTS * math.sin(2.0 * math.pi / POINTS) * WIDE * HIGH
        at = next(each for each in found.stations.to_rows() if abs(each["station_mm"] - 2.6 * 25.4) < 0.1)
        assert at["area_mm2"] / 25.4**2 == pytest.approx(area, rel=0.01)
        # A point typed wrong takes the row out, and the page says where.
        box.locator("[data-row='3'][data-column='y']").click()
        tab.keys("0.4x", "Enter")
        tab.settled()
        assert box.locator("[aria-invalid=true]").count() == 1
        assert "row 14" in tab.page.locator(".notes").first.inner_text()
        tab.page.keyboard.press("Control+z")
        tab.settled()
        assert tab.page.locator("[aria-invalid=true]").count() == 0
        assert not tab.errors and not tab.away


def test_a_drawing_of_a_section_is_named_in_its_row_and_is_no_stage(chromium, browser, folder, tmp_path_factory):
    drawing = tmp_path_factory.mktemp("drawn") / "bowl.svg"
    path = " ".join(f"{float(x) * 25.4:.3f},{-float(y) * 25.4:.3f}" for x, y in ellipse(72)[:-1])
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="-30 -30 60 60">'
        f'<polygon points="{path}"/></svg>'
    )
    with Tab(chromium, browser.address) as tab:
        tab.go(ROW, "shape")
        tab.keys("Escape", "outline", "Enter")
        tab.go(ROW, "shape")
        tab.keys("Escape")
        tab.page.locator("section.outline input[type=file]").set_input_files(drawing)
        tab.page.get_by_text("Drawn in bowl.svg").wait_for()
        tab.settled()
        assert cells_of(folder / SHEET)[ROW - 1]["outline"] == "bowl.svg"
        assert tab.page.get_by_role("tab").count() == 1
        assert tab.page.locator("[aria-invalid=true]").count() == 0
        assert not tab.errors


def test_a_half_typed_point_is_left_to_read_and_a_sheet_that_names_its_outline_follows_it(browser, folder):
    begun = browser.edit({"op": "trace", "file": SHEET, "row": ROW}).json()["changed"]["tables"]
    (file,) = set(begun) - {SHEET}
    cells = [[1, "x_in", "0.5"], [2, "x_in", "0.6"], [2, "y_in", "0.1"]]
    edit = {"op": "cells", "file": file, "cells": cells}
    answer = browser.edit({"op": "insert", "file": file, "at": 1, "count": 2}, edit).json()["changed"]["tables"]
    assert answer[file]["kind"] == "points" and answer[file]["problems"] == []
    assert answer[file]["missing"] == [[1, "y_in"]]
    assert [problem["row"] for problem in answer[SHEET]["problems"]] == [ROW]
    for _ in range(2):
        browser.post("undo", {"version": browser.version})
    assert file not in browser.get("state").json()["tables"]
