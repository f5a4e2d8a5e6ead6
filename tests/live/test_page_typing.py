"""Readings typed into the page as a person types them, with a gauge, from a spreadsheet, ahead of the server."""

import random
import re
import time

import pytest

import portgeo as pg
from tests.live.conftest import MESHES, SHEET
from tests.live.tab import Tab, cells_of

CC_SHOWN, SHOWN = 0.006, 0.0006  # half of the last decimal that the page shows, and a little
RANDOM_EDITS, NIGHTLY_EDITS = 12, 200


@pytest.fixture
def tab(chromium, browser):
    """The page on the demo's sheet."""
    with Tab(chromium, browser.address) as found:
        yield found
        assert not found.errors and not found.away, (found.errors, found.away)


def measured(path):
    """Return volume (cc), least area (sq in) and short side (in) of a sheet, as the library has them."""
    found = pg.survey(pg.read(path), sure=False)
    return found.volume_cc, found.least_area.area_mm2 / 25.4**2, found.short_side.headline.mm / 25.4


def agree(tab, path):
    """Check that file, page and library say the same."""
    tab.settled()
    cells = cells_of(path)
    for name in ("station", "height", "width", "rise"):
        assert tab.column(name) == [row[f"{name}_in"] for row in cells]
    volume, area, side = measured(path)
    assert tab.figure("volume") == pytest.approx(volume, abs=CC_SHOWN)
    assert tab.figure("least_area") == pytest.approx(area, abs=SHOWN)
    assert tab.figure("short_side") == pytest.approx(side, abs=SHOWN)


def test_a_gauge_that_types_goes_down_a_column_and_along_a_row(tab, folder):
    tab.go(1, "height")
    for reading in ("1.951", "1.932", "1.912"):
        tab.keys(reading, "Enter")
    assert tab.in_hand() == (4, "height")
    tab.page.get_by_label("Enter goes").select_option("along")
    tab.go(4, "height")
    tab.keys("1.885", "Enter", "1.143", "Enter")
    assert tab.in_hand() == (4, "corner_roof")
    tab.keys("Shift+Enter")
    assert tab.in_hand() == (4, "width")
    tab.saved()
    cells = cells_of(folder / SHEET)
    assert [row["height_in"] for row in cells[:4]] == ["1.951", "1.932", "1.912", "1.885"]
    assert cells[3]["width_in"] == "1.143"
    agree(tab, folder / SHEET)


def test_a_row_takes_no_reading_that_its_shape_has_not(tab):
    tab.go(17, "width")  # the next rows are round
    tab.keys("Enter")
    row, column = tab.in_hand()
    assert column != "width" and row == 1
    tab.go(14, "height")  # the next row is an outline
    tab.keys("Enter")
    assert tab.in_hand() == (16, "height")


def test_keys_move_as_in_a_sheet_and_escape_takes_back(tab, folder):
    before = (folder / SHEET).read_bytes()
    tab.go(3, "height")
    tab.keys("ArrowDown", "ArrowRight")
    assert tab.in_hand() == (4, "width")
    tab.keys("9.9", "Escape")
    assert tab.cell(4, "width").input_value() == "1.142"
    tab.keys("Tab")
    assert tab.in_hand() == (4, "shape")
    tab.keys("Shift+Tab", "ArrowUp")
    assert tab.in_hand() == (3, "width")
    assert (folder / SHEET).read_bytes() == before


def test_a_fraction_is_read_and_a_slip_is_told_beside_while_the_others_go_on(tab, folder):
    volume = tab.figure("volume")
    tab.go(2, "height")
    tab.keys("1 7/8", "Enter", "1.9x", "Enter", "1-7/8", "Enter")
    tab.settled()
    bad = tab.cell(3, "height")
    assert bad.get_attribute("aria-invalid") == "true" and bad.input_value() == "1.9x"
    told = tab.page.locator("#" + bad.get_attribute("aria-describedby"))
    assert "is not a number" in told.inner_text() and "1.625" in told.inner_text()
    assert tab.page.locator("[aria-invalid=true]").count() == 1
    assert "row 3" in tab.page.locator(".notes").first.inner_text()
    assert tab.figure("volume") != volume
    assert [row["height_in"] for row in cells_of(folder / SHEET)[1:4]] == ["1 7/8", "1.9x", "1-7/8"]
    tab.go(3, "height")
    tab.keys("1 29/32", "Enter")
    tab.settled()
    assert (
        "no rule has an inch in 32 parts" in told.inner_text() if tab.page.locator("[aria-invalid]").count() else True
    )
    tab.go(3, "height")
    tab.keys("1.906", "Enter")
    tab.settled()
    assert tab.page.locator("[aria-invalid=true]").count() == 0
    agree_volume, *_ = measured(folder / SHEET)
    assert tab.figure("volume") == pytest.approx(agree_volume, abs=CC_SHOWN)


def paste(tab, text):
    """Paste a text, as the keyboard does."""
    tab.context.grant_permissions(["clipboard-read", "clipboard-write"])
    tab.page.evaluate("(text) => navigator.clipboard.writeText(text)", text)
    tab.keys("Control+v")


def test_twenty_rows_are_pasted_from_a_spreadsheet_and_copied_to_one(tab, folder):
    rows = [(f"{4.0 + 0.1 * k:.3f}", f"{1.47 - 0.001 * k:.3f}") for k in range(20)]
    tab.go(21, "station")
    paste(tab, "\n".join("\t".join(row) for row in rows) + "\n")
    tab.settled()
    cells = cells_of(folder / SHEET)
    assert [(row["station_in"], row["height_in"]) for row in cells[20:]] == rows and len(cells) == 40
    assert tab.column("station") == [row["station_in"] for row in cells]
    # Copied back, a stretch is what stands there.
    tab.go(21, "station")
    tab.page.keyboard.press("Shift+ArrowRight")
    for _ in range(19):
        tab.page.keyboard.press("Shift+ArrowDown")
    tab.keys("Control+c")
    assert tab.page.evaluate("navigator.clipboard.readText()") == "\n".join("\t".join(row) for row in rows)
    tab.page.keyboard.press("Control+z")
    tab.settled()
    assert cells_of(folder / SHEET)[19]["station_in"] == "3.800" and len(cells_of(folder / SHEET)) == 20


def test_rows_are_put_between_and_taken_out(tab, folder):
    before = cells_of(folder / SHEET)
    tab.go(5, "station")
    tab.page.get_by_role("button", name="Row above").click()
    assert tab.in_hand() == (5, "station")
    tab.keys("0.700", "Tab", "1.856", "Tab", "1.133", "Enter")
    tab.saved()
    cells = cells_of(folder / SHEET)
    assert (cells[4]["station_in"], cells[4]["height_in"], cells[4]["width_in"]) == ("0.700", "1.856", "1.133")
    assert cells[:4] + cells[5:] == before
    tab.go(5, "height")
    tab.page.get_by_role("button", name="Remove row").click()
    tab.saved()
    assert cells_of(folder / SHEET) == before


def test_a_shape_is_chosen_from_a_list_by_hand_or_by_keys(tab, folder):
    tab.go(17, "shape")
    tab.page.get_by_role("option", name="oval").click()
    tab.go(16, "shape")
    tab.keys("Escape", "ov", "Enter")
    tab.go(1, "mark")
    tab.page.get_by_role("option", name="guide").click()
    tab.keys("Tab")
    tab.saved()
    cells = cells_of(folder / SHEET)
    assert (cells[16]["shape"], cells[15]["shape"]) == ("oval", "oval")
    assert set(cells[0]["mark"].split()) == {"joint", "guide"}


def test_typing_ahead_of_a_slow_server_loses_nothing_and_the_caret_stays(tab, folder):
    tab.page.route(re.compile("/edit$"), lambda route: (time.sleep(0.5), route.continue_()))
    tab.go(1, "height")
    readings = [f"1.{951 - 10 * k}" for k in range(12)]
    for reading in readings:
        tab.keys(reading, "Enter")
    tab.keys("1.23")  # still being typed when the answers come
    tab.page.evaluate("document.activeElement.setSelectionRange(1, 1)")
    assert tab.column("height")[:12] == readings
    tab.saved()
    assert tab.in_hand() == (13, "height")
    assert tab.page.evaluate("[document.activeElement.value, document.activeElement.selectionStart]") == ["1.23", 1]
    assert [row["height_in"] for row in cells_of(folder / SHEET)[:13]] == [*readings, "1.617"]


def test_what_cannot_be_sent_is_kept_said_and_sent_when_it_can(chromium, browser, folder):
    with Tab(chromium, browser.address) as tab:
        tab.context.set_offline(True)
        tab.go(1, "height")
        tab.keys("1.944", "Enter", "1.922", "Enter")
        tab.until("document.getElementById('saved').textContent.startsWith('Not saved: 2 changes')")
        assert cells_of(folder / SHEET)[0]["height_in"] == "1.950"
        tab.keys("1.905", "Enter")  # and typing goes on
        tab.context.set_offline(False)
        tab.saved()
        assert [row["height_in"] for row in cells_of(folder / SHEET)[:3]] == ["1.944", "1.922", "1.905"]


def edited_at_random(tab, folder, count, seed):
    """Type readings, put rows between and take rows out, at random, then take all back and do all again."""
    path, draw = folder / SHEET, random.Random(seed)
    original = path.read_bytes()
    for _ in range(count):
        rows = len(tab.column("station"))
        row, kind = draw.randint(1, rows), draw.random()
        if kind < 0.8:
            column = draw.choice(["height", "width", "rise", "note"])
            tab.go(row, column)
            value = {"note": f"seen {draw.randint(1, 99)}", "rise": f"{draw.uniform(0.0, 0.04):.3f}"}
            tab.keys(value.get(column, f"{draw.uniform(1.2, 1.8):.3f}"), "Enter")
        else:
            tab.go(row, "note")
            name = "Row above" if kind < 0.9 or rows < 12 else "Remove row"
            tab.page.get_by_role("button", name=name).click()
        tab.saved()
    changed = path.read_bytes()
    steps = 0
    while tab.page.locator("#undo").is_enabled():
        tab.page.locator("#undo").click()
        tab.saved()
        steps += 1
        assert steps <= count
    assert path.read_bytes() == original
    agree(tab, path)
    for _ in range(steps):
        tab.page.keyboard.press("Control+y")
        tab.saved()
    assert path.read_bytes() == changed and not tab.page.locator("#redo").is_enabled()
    cells = cells_of(path)
    assert tab.column("height") == [row["height_in"] for row in cells]


def test_random_edits_are_undone_and_done_again_to_the_byte(tab, folder):
    edited_at_random(tab, folder, RANDOM_EDITS, seed=17)


@pytest.mark.nightly
def test_two_hundred_random_edits_are_undone_and_done_again_to_the_byte(tab, folder):
    edited_at_random(tab, folder, NIGHTLY_EDITS, seed=18)


def test_figures_stand_for_what_is_in_the_file_at_first(tab, folder):
    assert (folder / SHEET).read_bytes() == (MESHES / SHEET).read_bytes()
    agree(tab, folder / SHEET)
