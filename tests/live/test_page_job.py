"""A whole job typed into the page, from an empty page to a cut sheet, and what a job says besides its readings."""

import re

import pytest

import portgeo as pg
from tests.live.conftest import SHEET, served
from tests.live.tab import Tab, cells_of

# An invented port of round and square figures, as a person writes them on paper: height, width, corner, turn.
HEIGHTS = ["1.950", "1.911", "1.828", "1.779", "1.766", "1.699", "1.617", "1.520", "1.480"]
WIDTHS = ["1.150", "1.150", "1.124", "1.127", "1.161", "1.189", "1.245", "1.410", "1.480"]
CORNERS = ["0.220", "0.235", "0.250", "0.275", "0.310", "0.360", "0.440", "0.650", "0.700"]
TURNS = ["0", "0", "0", "0", "5", "22", "40", "60", "75"]


@pytest.fixture
def tab(chromium, browser):
    """The page on the demo's sheet."""
    with Tab(chromium, browser.address) as found:
        yield found
        assert not found.errors and not found.away, (found.errors, found.away)


def part(tab, name):
    tab.page.get_by_role("button", name=name, exact=True).click()


def said(tab, label, text):
    """Type into a form's field, by its label."""
    field = tab.page.locator(".part:not([hidden])").get_by_label(re.compile("^" + label)).first
    if field.evaluate("(one) => one.tagName") == "SELECT":
        field.select_option(text)
    else:
        field.fill(text)
        field.press("Enter")
    tab.saved()


def type_to_a_cut(tab, folder):
    """Type a port and what is wanted of it, from an empty page; return its sheet."""
    tab.page.get_by_label("Call it").fill("Port on paper")
    tab.page.get_by_label("How many stations").fill("9")
    tab.page.get_by_label("How long it is").fill("3.2")
    tab.page.get_by_role("button", name="Lay the sheet out").click()
    tab.saved()
    assert tab.column("station") == [f"{0.4 * k:.3f}" for k in range(9)]
    assert tab.in_hand() == (1, "height")  # the first reading to take
    tab.keys(*(key for readings in (HEIGHTS, WIDTHS) for reading in readings for key in (reading, "Enter")))
    for column, readings in (("corner_roof", CORNERS), ("corner_floor", CORNERS), ("turn", TURNS)):
        tab.go(1, column)
        tab.keys(*(key for reading in readings for key in (reading, "Enter")))
    tab.settled()
    # One row too many, with a mark in it: it refuses nothing, and its mark does not go without a word.
    tab.go(9, "mark")
    tab.page.get_by_role("button", name="Row above").click()
    tab.saved()
    assert tab.page.locator("tr.out, [aria-invalid=true]").count() == 0
    assert "Not in the figures" not in tab.page.locator(".notes").first.inner_text()
    tab.go(10, "height")
    tab.page.get_by_role("button", name="Remove row").click()
    assert "throat from row 10 to row 9" in tab.page.locator("#said").inner_text()
    for column, reading in (
        ("station", "3.200"),
        ("height", HEIGHTS[-1]),
        ("width", WIDTHS[-1]),
        ("corner_roof", "0.700"),
        ("corner_floor", "0.700"),
        ("turn", "75"),
    ):
        tab.go(9, column)
        tab.keys(reading, "Enter")
    tab.settled()
    (sheet,) = folder.rglob("as-cast.csv")
    part(tab, "What to cut")
    tab.page.get_by_role("button", name="Say what is wanted").click()
    tab.page.get_by_role("button", name="Want another area").click()
    tab.saved()
    wanted = tab.page.locator("circle.handle")
    assert "Area wanted at station" in wanted.get_attribute("aria-label")
    before = float(wanted.get_attribute("aria-valuenow"))
    wanted.focus()
    tab.keys("ArrowUp")  # as dragged
    tab.saved()
    text = sheet.with_name("target.toml").read_text(encoding="utf-8")
    asked = float(re.search(r"^area = ([\d.]+)", text, re.MULTILINE)[1])
    assert asked == pytest.approx(before + 0.005, abs=0.0011)
    tab.page.get_by_role("button", name="Work out the cut").click()
    tab.page.locator(".cutsheet.planned table").first.wait_for()
    return sheet


def test_a_port_is_typed_from_an_empty_page_to_a_cut_sheet(chromium, tmp_path):
    with served(tmp_path) as browser, Tab(chromium, browser.address) as tab:
        sheet = type_to_a_cut(tab, tmp_path)
        found = pg.survey(pg.read(sheet), sure=False)
        assert tab.figure("volume") == pytest.approx(found.volume_cc, abs=0.006)
        assert tab.figure("short_side") == pytest.approx(found.short_side.headline.mm / 25.4, abs=0.0006)
        cut = tab.page.locator(".cutsheet.planned")
        assert re.search(r"take out:?\s+[\d.]+ cc", cut.inner_text().lower())
        assert cut.get_by_role("link").count() > 0
        # The port as planned stands beside the one that was typed, painted by what is to be taken.
        tab.page.get_by_role("button", name="depth to take").wait_for()
        assert not tab.errors and not tab.away


@pytest.mark.nightly
def test_the_cut_on_the_page_is_the_librarys(chromium, tmp_path):
    with served(tmp_path) as browser, Tab(chromium, browser.address) as tab:
        sheet = type_to_a_cut(tab, tmp_path)
        plan = pg.plan(pg.read(sheet), sheet.with_name("target.toml"))
        told = float(re.search(r"[\d.]+(?= cc)", tab.page.locator(".cutsheet.planned").inner_text())[0])
        assert told == pytest.approx(plan.removed_cc, abs=0.006)


def test_a_stage_starts_as_a_copy_and_a_floor_cut_takes_the_middle_with_it(tab, folder):
    tab.page.get_by_role("button", name="New stage").click()
    tab.page.get_by_label("Name").fill("first cut")
    tab.page.get_by_role("button", name="Make it").click()
    tab.saved()
    assert tab.page.locator("[role=tab][aria-selected=true]").inner_text() == "first cut"
    copy = folder / "first-cut.csv"
    assert cells_of(copy) == cells_of(folder / SHEET)
    tab.go(9, "height")
    tab.keys("1.806", "Enter")  # 0.040 more than as cast
    tab.page.get_by_role("button", name="Floor: middle down").click()
    tab.settled()
    row = cells_of(copy)[8]
    assert (row["height_in"], row["rise_in"]) == ("1.806", "-0.001")  # 0.019 less half of 0.040
    assert cells_of(folder / SHEET)[8]["rise_in"] == "0.019"
    assert not tab.page.locator(".offer").is_visible()
    assert tab.page.locator("#area svg[data-box] .line.s0").count() == 1  # the last stage, behind


@pytest.mark.nightly
def test_the_metal_that_a_stage_took_out_is_the_librarys(tab, folder):
    tab.page.get_by_role("button", name="New stage").click()
    tab.page.get_by_label("Name").fill("first cut")
    tab.page.get_by_role("button", name="Make it").click()
    tab.saved()
    tab.go(9, "height")
    tab.keys("1.806", "Enter")
    tab.page.get_by_role("button", name="Floor: middle down").click()
    tab.settled()
    change = tab.page.locator(".change")
    change.get_by_text("floor").wait_for()
    removed = pg.compare(pg.read(folder / SHEET), pg.read(folder / "first-cut.csv")).removed_cc
    assert float(re.search(r"[\d.]+", change.inner_text())[0]) == pytest.approx(removed, abs=0.02)


def test_what_the_job_says_once_is_typed_into_forms(tab, folder):
    part(tab, "Engine")
    tab.page.get_by_role("button", name="Begin a job of this sheet").click()
    tab.saved()
    said(tab, "Valve head", "1.94")
    said(tab, "Alloy", "aluminum")
    said(tab, "Bore", "4.x")
    bore = tab.page.get_by_label(re.compile("^Bore"))
    assert bore.get_attribute("aria-invalid") == "true"
    assert tab.page.locator("#" + bore.get_attribute("aria-describedby").split()[0]).inner_text()
    said(tab, "Bore", "4.030")
    assert bore.get_attribute("aria-invalid") is None
    part(tab, "Gasket")
    for label, text in (("Height", "2.05"), ("Width", "1.25"), ("Corner radius", "0.25")):
        tab.page.locator(".part:not([hidden])").get_by_label(label, exact=True).fill(text)
    tab.page.get_by_role("button", name="Draw the gasket").click()
    tab.saved()
    part(tab, "Bench")
    tab.page.get_by_role("button", name="Start the bench sheet").click()
    tab.saved()
    tab.go(1, "lift")
    tab.keys(*(key for lift in ("0.2", "0.4", "0.6") for key in (lift, "Enter")))
    tab.go(1, "flow")
    tab.keys(*(key for flow in ("130", "205", "231") for key in (flow, "Enter")))
    tab.saved()
    text = (folder / "job.toml").read_text(encoding="utf-8")
    for line in ('alloy = "aluminum"', "bore = 4.030", "valve = 1.94", 'file = "gasket.csv"', 'file = "bench.csv"'):
        assert line in text, text
    assert [row["flow_cfm"] for row in cells_of(folder / "bench.csv")] == ["130", "205", "231"]


def test_a_job_is_renamed(tab, folder):
    tab.page.get_by_role("button", name="Rename").click()
    tab.page.locator("#rename-name").fill("Number three")
    tab.keys("Enter")
    tab.saved()
    assert tab.page.locator("#title").inner_text() == "Number three"
    assert 'title = "Number three"' in (folder / "job.toml").read_text(encoding="utf-8")


def test_a_job_typed_here_is_the_job_that_the_report_reads(tab, folder):
    from portgeo.files.toml.job import read_job

    part(tab, "Engine")
    tab.page.get_by_role("button", name="Begin a job of this sheet").click()
    tab.saved()
    said(tab, "Valve head", "1.94")
    said(tab, "Title", "Number four")
    assert tab.page.locator("#title").inner_text() == "Number four"
    job = read_job(folder / "job.toml").job
    assert job.title == "Number four" and job.engine.valve == pytest.approx(1.94 * 25.4)
    assert job.state[0].port == SHEET


def test_a_set_of_runners_has_a_sheet_for_each(tab, folder):
    part(tab, "Set")
    tab.page.get_by_label("How many").fill("3")
    tab.page.get_by_role("button", name="Lay their sheets out").click()
    tab.saved()
    tab.page.get_by_role("button", name="runner-2.csv").click()
    tab.go(1, "station")
    tab.keys("0", "Enter", "3.5", "Enter")
    tab.saved()
    assert [row["station_in"] for row in cells_of(folder / "runner-2.csv")] == ["0", "3.5"]
    assert cells_of(folder / "runner-1.csv") == []
    tab.page.get_by_label("Cylinder 3").fill("229.4")
    tab.keys("Enter")
    assert "once all before it are typed" in tab.page.locator("#part-set").inner_text()
    tab.page.get_by_label("Cylinder 1").click()
    tab.keys("238", "Enter", "236.5", "Enter")
    tab.saved()
    assert tab.page.get_by_label("Cylinder 3").input_value() == "229.4"
    assert "flows = [238, 236.5, 229.4]" in (folder / "job.toml").read_text(encoding="utf-8")
    # By hand: the mean of the three, (238 - 229.4) of it, and the last against the mean of the other two.
    # One that is no number is told of where it is, and the others stay as they are.
    tab.page.get_by_label("Cylinder 2").fill("23x")
    tab.keys("Enter")
    tab.saved()
    refused = tab.page.locator("#part-set [aria-invalid=true]")
    refused.first.wait_for()
    assert refused.evaluate_all("(all) => all.map((one) => one.id)") == ["flow-2"]
    tab.page.get_by_label("Cylinder 2").fill("236.5")
    tab.keys("Enter")
    tab.saved()
    assert refused.count() == 0
    flows = tab.page.locator("#part-set").inner_text().lower()
    assert "mean: 234.6" in flows and "3.7% of the mean" in flows and "runner 3, 3.3% under" in flows


def test_a_long_answer_is_cancelled_and_never_blocks_typing(tab, folder):
    part(tab, "Paper")
    tab.page.get_by_role("button", name="Whole report").click()
    tab.page.get_by_role("button", name="Cancel").wait_for()
    part(tab, "Readings")
    tab.go(1, "height")
    tab.keys("1.944", "Enter")
    tab.saved()
    assert cells_of(folder / SHEET)[0]["height_in"] == "1.944"
    cancel = tab.page.get_by_role("button", name="Cancel")
    if cancel.count():
        cancel.click()
    tab.until("document.getElementById('tasks').hidden")


@pytest.mark.nightly
def test_a_sheet_that_is_undone_is_gone_from_the_page(tab):
    part(tab, "Bench")
    begin = tab.page.get_by_role("button", name="Start the bench sheet")
    begin.click()
    tab.cell(1, "lift").wait_for()
    tab.saved()
    tab.page.locator("#undo").click()
    begin.wait_for()
    assert tab.cell(1, "lift").count() == 0
