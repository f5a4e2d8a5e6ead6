"""Answers that took their time are there again after a reload, and say what has changed since they were made."""

import json
import zlib

import pytest

from tests.live.conftest import SHEET, served, until
from tests.live.tab import Tab
from tests.live.test_answers import answered
from tests.live.test_answers import job as job

WANTED = (
    {"op": "table", "table": "target"},
    {"op": "form", "table": "target.area", "index": None, "remove": False},
    {"op": "key", "table": "target.area", "index": 0, "key": "station", "text": "50"},
)


def wants(browser, area):
    edits = [*WANTED, {"op": "key", "table": "target.area", "index": 0, "key": "area", "text": area}]
    made = any(form["table"] == "target.area" and form["given"] for form in browser.get("state").json()["forms"])
    assert browser.edit(*(edits[-1:] if made else edits)).status_code == 200


def kept(browser):
    return {one["kind"]: one for one in browser.get("answers").json()}


def test_an_answer_is_there_after_a_restart_with_its_model(job):
    with served(job) as browser, browser.events() as events:
        assert kept(browser) == {}
        done = answered(browser, events, kind="compare", before="as cast", after="first cut")
        model = until(events, lambda e: e["type"] == "model" and e.get("task") == done["id"])
    with served(job) as browser:
        again = kept(browser)["compare"]
    assert again["result"] == done["result"] and again["model"] == model["data"]
    assert (again["of"], again["when"], again["changed"]) == (["as cast", "first cut"], done["when"], [])


def test_what_has_changed_since_is_named_and_undone_it_has_not(job):
    with served(job) as browser, browser.events() as events:
        answered(browser, events, kind="templates", stage="first cut")

        def changed():
            return until(events, lambda e: e["type"] == "answers")["changed"]["templates"]

        browser.type("before.csv", 1, "height_mm", "41")  # another stage
        browser.edit({"op": "key", "table": "", "key": "title", "text": "number three"})
        assert kept(browser)["templates"]["changed"] == []
        browser.type("after.csv", 2, "height_mm", "41.5")
        assert kept(browser)["templates"]["changed"] == ["the readings of first cut"]
        browser.edit({"op": "key", "table": "templates", "key": "at", "text": "20, 40"})
        changes = kept(browser)["templates"]["changed"]
        assert changes == ["the readings of first cut", "the stations of the templates"]
        told = until(events, lambda e: e["type"] == "answers" and e["changed"].get("templates") == changes)
        assert set(told["changed"]) == {"templates"}
        for _ in range(2):
            browser.post("undo", {"version": browser.version})
        assert kept(browser)["templates"]["changed"] == []
        browser.edit({"op": "unstage", "stage": "first cut"})
        assert kept(browser)["templates"]["changed"]  # what it is about is gone


@pytest.mark.nightly
def test_a_cut_sheet_is_never_written_over_by_that_of_another_answer(job):
    with served(job) as browser, browser.events() as events:
        sheets = []
        for area in ("1290", "1310"):
            wants(browser, area)
            done = answered(browser, events, kind="plan", stage="first cut")
            assert done["refusal"] is None, done["refusal"]
            name = done["result"]["files"][0]["name"]
            sheets.append((name, browser.get("out/" + name).content))
        assert sheets[0][0] != sheets[1][0]
        for name, content in sheets:
            assert browser.get("out/" + name).content == content
        assert sheets[0][1] != sheets[1][1]
        assert kept(browser)["plan"]["changed"] == []
        wants(browser, "1300")
        assert kept(browser)["plan"]["changed"] == ["what is wanted"]


@pytest.mark.nightly
def test_files_of_one_answer_share_a_stem_that_is_free_and_the_same_answer_is_the_same_files(job):
    from portgeo.app.live.answer_parts import printed
    from portgeo.app.live.asking import asked_of
    from portgeo.app.live.serve import desk_of

    asked = asked_of(desk_of(str(job)), {"kind": "templates", "stage": "as cast"})
    one, other = ({".txt": text, ".csv": b"0\n"} for text in (b"one", b"other"))
    first = printed(asked, "cut", one)
    assert first == {".txt": "printed/cut.txt", ".csv": "printed/cut.csv"}
    assert printed(asked, "cut", other) == {".txt": "printed/cut-2.txt", ".csv": "printed/cut-2.csv"}
    assert printed(asked, "cut", one) == first
    assert [(job / name).read_bytes() for name in first.values()] == list(one.values())


@pytest.mark.parametrize("data", [b"", b"no such thing", zlib.compress(b"[]"), zlib.compress(b'{"kind": "compare"}')])
def test_an_answer_that_cannot_be_read_is_as_none(job, data):
    with served(job) as browser:
        folder = job / ".portgeo-versions" / "job.toml.answers"
        folder.mkdir(parents=True)
        (folder / "compare.z").write_bytes(data)
        assert kept(browser) == {}


def test_the_page_shows_a_kept_answer_after_a_reload_and_flags_a_reading_typed_since(chromium, folder):
    with served(folder / SHEET) as browser:
        wants(browser, "2.1")
        browser.edit({"op": "key", "table": "target.area", "index": 0, "key": "station", "text": "1.0"})
        with browser.events() as events:
            done = answered(browser, events, kind="plan")
            assert done["refusal"] is None, done["refusal"]
        with Tab(chromium, browser.address) as tab:
            tab.page.get_by_role("button", name="What to cut", exact=True).click()
            sheet = tab.page.locator(".cutsheet.planned")
            sheet.locator("table").first.wait_for()
            assert "Changed since" not in sheet.inner_text()
            tab.page.get_by_role("button", name="planned", exact=True).wait_for()
            tab.page.get_by_role("button", name="Readings", exact=True).click()
            tab.go(1, "height")
            tab.keys("1.944", "Enter")
            tab.settled()
            tab.page.get_by_role("button", name="What to cut", exact=True).click()
            sheet.get_by_text("Changed since: the readings of demo-as-cast.").wait_for()
            tab.page.get_by_role("button", name="planned, before the last change").wait_for()
            tab.page.reload()
            tab.page.get_by_role("button", name="What to cut", exact=True).click()
            sheet.get_by_text("Changed since: the readings of demo-as-cast.").wait_for()
            assert not tab.errors


@pytest.mark.nightly
def test_a_kept_table_with_more_than_a_table_in_it_is_shown_by_its_texts(chromium, job):
    with served(job) as browser:
        with browser.events() as events:
            answered(browser, events, kind="compare", before="as cast", after="first cut")
        path = job / ".portgeo-versions" / "job.toml.answers" / "compare.z"
        said = json.loads(zlib.decompress(path.read_bytes()))
        table = said["result"]["tables"][0]
        table["html"] = (
            '<div><meta http-equiv="refresh" content="0;url=http://localhost:1/">' + table["html"] + "</div>"
        )
        path.write_bytes(zlib.compress(json.dumps(said).encode()))
        with Tab(chromium, browser.address) as tab:
            tab.page.get_by_role("button", name="Paper", exact=True).click()
            shown = tab.page.locator("[data-answer=compare] table")
            shown.first.wait_for()
            assert tab.page.locator("[data-answer=compare] meta").count() == 0
            assert shown.locator("tbody tr").count() >= len(table["rows"])
            assert not tab.errors and not tab.away


@pytest.mark.nightly
def test_areas_that_are_wanted_hold_no_calm_cut_unless_they_are_said_to(job):
    from portgeo.app.live.asking import asked_of
    from portgeo.app.live.cutting import calm_limits
    from portgeo.app.live.serve import desk_of
    from portgeo.front.limits import target_in

    (job / "walls.csv").write_text("station_mm,clock,thickness_mm\n50,12,4\n")
    with served(job) as browser:
        wants(browser, "1300")
        more = {"least_wall": "2.5", "wall_readings": "walls.csv"}
        for key, text in more.items():
            assert browser.edit({"op": "key", "table": "target.limits", "key": key, "text": text}).status_code == 200
    desk = desk_of(str(job))
    for hold in (False, True):
        asked = asked_of(desk, {"kind": "calm", "stage": "as cast", "cfm": "150", "hold_areas": hold})
        _, target = target_in(calm_limits(asked), limits=True)
        assert len(target.target.areas) == int(hold)
        assert target.least_wall == 2.5 and target.wall_readings.read_text() == (job / "walls.csv").read_text()
        assert ("what is wanted" in asked.made_from) is hold
