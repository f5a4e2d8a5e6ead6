"""The page in every size, light and dark: names, contrast, two tabs, a file changed on the disk."""

import time

import pytest

from tests.live.conftest import SHEET
from tests.live.tab import Tab, cells_of
from tests.present.test_page import AA, CONTRAST

NAMELESS = """() => Array.from(document.querySelectorAll(
  "button, input, select, textarea, [role=slider], [role=img], dialog"))
  .filter((one) => one.checkVisibility({ visibilityProperty: true }))
  .filter((one) => !(one.innerText || "").trim() && !one.getAttribute("aria-label") && !one.closest("label") &&
    !one.getAttribute("aria-labelledby") && !(one.id && document.querySelector(`label[for="${one.id}"]`)))
  .map((one) => one.outerHTML.slice(0, 200))"""


@pytest.mark.parametrize("shade", ["light", "dark"])
@pytest.mark.parametrize("width", [1400, 820, 390])
def test_everything_has_its_name_is_read_with_ease_and_fits(chromium, browser, width, shade):
    with Tab(chromium, browser.address, width, color_scheme=shade) as tab:
        tab.go(2, "height")
        tab.keys("1.9x", "Enter")
        tab.settled()
        for place in ("Readings", "Bench", "Engine", "What to cut", "Set", "Paper"):
            tab.page.get_by_role("button", name=place, exact=True).click()
            assert tab.page.evaluate(NAMELESS) == []
            assert tab.page.evaluate(CONTRAST.replace("LEAST", str(AA))) == []
            assert tab.page.evaluate("document.documentElement.scrollWidth") <= width
        assert len(tab.errors) == 0 and not tab.away


def test_what_an_edit_in_one_tab_makes_stands_in_the_other(chromium, browser, folder):
    with Tab(chromium, browser.address) as first, Tab(chromium, browser.address) as second:
        first.go(1, "height")
        first.keys("1.944", "Enter")
        first.saved()
        second.until("document.querySelector(\"[data-row='1'][data-column=height]\").value === '1.944'")
        second.go(2, "height")
        second.keys("1.933", "Enter")
        second.saved()
        first.until("document.querySelector(\"[data-row='2'][data-column=height]\").value === '1.933'")
        assert [row["height_in"] for row in cells_of(folder / SHEET)[:2]] == ["1.944", "1.933"]


@pytest.mark.parametrize("row", [1, 2])
def test_a_tab_that_was_overtaken_asks_where_both_changed_one_reading(chromium, browser, folder, row):
    with Tab(chromium, browser.address) as tab:
        # Another's edit comes between what this tab knows and what it sends.
        held = []
        tab.page.route("**/edit", lambda route: route.continue_() if held else held.append(route))
        tab.go(1, "height")
        tab.keys("1.944", "Enter")
        while not held:
            tab.page.wait_for_timeout(20)
        browser.type(SHEET, row, "height_in", "1.922")
        held[0].continue_()
        if row == 1:
            tab.page.get_by_role("button", name="Put mine on top").click()
        tab.saved()
        heights = ["1.944", "1.922" if row == 2 else "1.931"]
        assert [each["height_in"] for each in cells_of(folder / SHEET)[:2]] == heights
        assert tab.column("height")[:2] == heights


@pytest.mark.parametrize(
    ("answer", "height"), [("Take what is on disk", "1.999"), ("Keep what is typed here", "1.950")]
)
def test_a_file_that_something_else_changed_is_asked_about(chromium, browser, folder, answer, height):
    path = folder / SHEET
    with Tab(chromium, browser.address) as tab:
        path.write_text(path.read_text(encoding="utf-8").replace("1.950", "1.999", 1), encoding="utf-8")
        tab.page.get_by_role("button", name=answer).click()
        tab.until(f"document.querySelector(\"[data-row='1'][data-column=height]\").value === '{height}'")
        end = time.monotonic() + 60.0
        while cells_of(path)[0]["height_in"] != height:
            assert time.monotonic() < end
            tab.page.wait_for_timeout(20)
        tab.go(2, "height")
        tab.keys("1.922", "Enter")
        tab.saved()
        assert [row["height_in"] for row in cells_of(path)[:2]] == [height, "1.922"]


def test_an_earlier_version_is_one_click_away(chromium, browser, folder):
    before = (folder / SHEET).read_bytes()
    with Tab(chromium, browser.address) as tab:
        for reading in ("1.944", "1.933"):
            tab.go(1, "height")
            tab.keys(reading, "Enter")
            tab.saved()
        tab.page.get_by_role("button", name="Versions").click()
        tab.page.get_by_role("button", name="Go back to version 1,").click()
        tab.until("document.querySelector(\"[data-row='1'][data-column=height]\").value === '1.950'")
        tab.saved()
        assert (folder / SHEET).read_bytes() == before


def test_light_dark_and_size_stay_as_chosen(chromium, browser):
    with Tab(chromium, browser.address) as tab:
        ground = "getComputedStyle(document.body).backgroundColor"
        size = "parseFloat(getComputedStyle(document.documentElement).fontSize)"
        light, small = tab.page.evaluate(ground), tab.page.evaluate(size)
        tab.page.get_by_role("button", name="Dark").click()
        tab.page.get_by_role("button", name="Larger type").click()
        dark, large = tab.page.evaluate(ground), tab.page.evaluate(size)
        assert dark != light and large > 1.15 * small
        tab.page.reload()
        tab.until("document.body.dataset.figures")
        assert (tab.page.evaluate(ground), tab.page.evaluate(size)) == (dark, large)


@pytest.mark.nightly
def test_the_port_is_lit_where_the_reading_in_hand_is_taken(chromium, browser):
    with Tab(chromium, browser.address) as tab:
        tab.until("document.querySelector('#labels .tag')")
        tab.go(6, "width")
        assert "Width at station 1.000 in" in tab.page.locator("#where").inner_text()
        assert tab.page.locator("#where .hot").count() == 2  # its dimension in the section, its line along the port
        lit = tab.page.locator("#area .lit")
        at = lit.get_attribute("d")
        tab.keys("ArrowDown")
        assert lit.get_attribute("d") != at
        shown = tab.page.locator("#view-canvas").screenshot()
        tab.keys("ArrowDown", "ArrowDown", "ArrowDown")
        tab.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        assert tab.page.locator("#view-canvas").screenshot() != shown
