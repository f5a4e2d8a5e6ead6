"""A whole job from the page: begun from nothing, its stages, its keys, and the file that the commands read."""

import shutil

import pytest

from portgeo.app.live.forms import TITLES, keys_of
from portgeo.app.live.job_text import literal, with_entry, with_key, without_entry
from portgeo.app.live.target_forms import KEYS as TARGET_KEYS
from portgeo.files.toml.checked_table import Table
from portgeo.files.toml.job import read_job
from portgeo.files.toml.job_tables import Job
from portgeo.files.toml.scan_table import Scan
from portgeo.files.toml.target import read_target
from tests.live.conftest import MESHES, served

BEGIN = {"op": "begin", "what": "port", "valve": "intake", "units": "in", "tool": "micrometer", "title": "hill climb 3"}


def answered(answer):
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_job_is_begun_from_nothing_and_read_by_the_commands(tmp_path):
    with served(tmp_path) as browser:
        assert browser.get("state").json()["first"]
        answered(browser.edit(BEGIN))
        state = browser.get("state").json()
        assert state["job"] == "job.toml" and state["title"] == "hill climb 3" and not state["first"]
        (table,) = state["tables"].values()
        assert len(table["rows"]) == 8 and table["missing"][0] == [1, "height_in"]
        assert not table["problems"]
    job = read_job(tmp_path / "job.toml")
    assert job.job.title == "hill climb 3" and job.job.units == "in"


def test_a_sheet_alone_gets_a_job_file_when_something_needs_one_and_undo_takes_it_off_the_desk(browser, folder):
    said = answered(browser.edit({"op": "key", "table": "engine", "key": "bore", "text": "3 1/4"}))
    assert said["changed"]["job"] == "job.toml"
    assert read_job(folder / "job.toml").job.engine.bore == pytest.approx(3.25 * 25.4)
    answered(browser.post("undo", {"version": browser.version}))
    assert browser.get("state").json()["job"] is None
    answered(browser.post("redo", {"version": browser.version}))
    assert browser.get("state").json()["job"] == "job.toml"


def test_a_new_stage_is_a_copy_under_a_free_name_and_the_job_reads(browser, folder):
    (folder / "first-cut.csv").write_text("somebody's own")
    before = (folder / "demo-as-cast.csv").read_bytes()
    said = answered(browser.edit({"op": "stage", "name": "first cut", "copy": "demo-as-cast", "part": "port"}))
    assert [s["port"] for s in said["changed"]["stages"]] == ["demo-as-cast.csv", "first-cut-2.csv"]
    assert (folder / "first-cut-2.csv").read_bytes() == before
    assert (folder / "first-cut.csv").read_text() == "somebody's own"
    assert [state.name for state in read_job(folder / "job.toml").job.state] == ["demo-as-cast", "first cut"]


def test_bench_walls_target_gasket_set_and_tool_are_said_and_read(browser, folder):
    edits = [
        {"op": "stage", "name": "first cut", "copy": "demo-as-cast", "part": "port"},
        {"op": "table", "table": "bench"},
        {"op": "table", "table": "walls"},
        {"op": "gasket", "height": "2.05", "width": "1 1/4", "corner": "0.25"},
        {"op": "table", "table": "set", "count": 2},
        {"op": "key", "table": "target.area", "index": 0, "key": "station", "text": "1.0"},
        {"op": "key", "table": "target.area", "index": 0, "key": "area", "text": "2.1"},
        {"op": "key", "table": "target.short_side", "key": "radius", "text": "0.7"},
        *(
            {"op": "key", "table": "tool", "key": key, "text": text}
            for key, text in (("head", "3/8"), ("shank", "0.250"), ("length", "6"))
        ),
        {"op": "key", "table": "metal", "key": "alloy", "text": "iron"},
        {"op": "key", "table": "templates", "key": "at", "text": "0.8, 1.60; 2.4"},
        {"op": "key", "table": "state", "index": 1, "key": "date", "text": "2026-02-03"},
    ]
    answered(browser.edit(*edits))
    job = read_job(folder / "job.toml").job
    assert job.walls.state == job.target.state == "first cut"
    assert job.tool.head == pytest.approx(0.375 * 25.4) and job.metal.alloy == "iron"
    assert job.set.files == ("runner-1.csv", "runner-2.csv") and job.state[1].date == "2026-02-03"
    assert job.templates.at == pytest.approx([0.8 * 25.4, 1.6 * 25.4, 2.4 * 25.4])
    target = read_target(folder / "target.toml").target
    assert target.areas[0].at_start == pytest.approx(2.1 * 25.4**2)
    assert target.short_side.radius == pytest.approx(0.7 * 25.4)
    renamed = answered(browser.edit({"op": "key", "table": "state", "index": 1, "key": "name", "text": "cut one"}))
    assert renamed["changed"]["stages"][1]["name"] == "cut one"
    job = read_job(folder / "job.toml").job
    assert job.walls.state == job.target.state == "cut one"


def test_a_slip_in_a_form_is_kept_as_it_was_typed_and_marked_where_it_is(browser):
    said = answered(browser.edit({"op": "key", "table": "engine", "key": "bore", "text": "three"}))
    form = next(form for form in said["changed"]["forms"] if form["table"] == "engine")
    assert next(entry for entry in form["entries"] if entry["key"] == "bore")["text"] == "three"
    assert [problem["key"] for problem in form["problems"]] == ["bore"]


@pytest.mark.parametrize("table", TITLES)
def test_every_key_of_a_job_is_reached(table):
    model = Job
    if table:
        annotation = Job.model_fields[table].annotation
        found = [annotation, *getattr(annotation, "__args__", ())]
        model = next(each for each in found if isinstance(each, type) and issubclass(each, Table))
    reached = {key.name for key in keys_of(table)}
    for name in model.model_fields:
        if table or name in ("title", "units", "customer"):
            scan = name in ("port_scan", "runner_scan", "scan")
            wanted = {f"{name}.{part}" for part in Scan.model_fields} if scan else {name}
            assert wanted <= reached
    assert set(Job.model_fields) == {*TITLES, "title", "units", "customer"} - {""}


def test_every_key_of_a_target_that_a_blank_one_explains_is_reached():
    from portgeo.app.job.blanks import blank_target

    told, table = {}, ""
    for line in blank_target("in").splitlines():
        bare = line.removeprefix("# ").strip()
        if bare.startswith("["):
            table = bare.strip("[]")
        elif "=" in bare.split("#")[0] and bare.split("=")[0].strip().isidentifier():
            told.setdefault(table, set()).add(bare.split("=")[0].strip())
    reached = {table: {key.name for key in keys} for table, keys in TARGET_KEYS.items()}
    assert reached.keys() == told.keys()
    assert {name for table in told for name in told[table] - reached[table]} == set()
    assert {name for table in told for name in reached[table] - told[table]} == {"percent_from", "percent_to"}


def test_a_key_is_written_where_its_remark_shows_it_and_everything_else_stays(tmp_path):
    from portgeo.app.job.blanks import blank_job

    before = blank_job("in", "my port")
    after = with_key(before, "bench", 0, "file", literal("bench.csv", "text"))
    lines = list(zip(before.split("\n"), after.split("\n"), strict=True))
    assert [new for old, new in lines if new != old] == [
        "[bench]",
        'file = "bench.csv"            # lift, flow and depression, a run for each stage',
    ]
    more = with_entry(after, "state", {"name": '"first cut"', "port": '"as-cast.csv"'})
    assert len(more.split("\n")) == len(after.split("\n")) + 4
    assert without_entry(more, "state", 1).count("[[stage]]") == before.count("[[stage]]")
    gone = with_key(with_key(more, "bench", 0, "lift", "0.4"), "bench", 0, "file", None)
    assert "lift = 0.4" in gone and 'file = "bench.csv"' not in gone.split("[bench]")[1].split("# [target]")[0]


def test_a_job_in_its_folder_is_opened_whole(tmp_path):
    shutil.copy(MESHES / "demo-as-cast.csv", tmp_path)
    shutil.copy(MESHES / "demo-bowl-as-cast.csv", tmp_path)
    (tmp_path / "job.toml").write_text(
        'title = "one"\nunits = "mm"\n[[state]]\nname = "as cast"\nport = "demo-as-cast.csv"\n'
    )
    for what in (tmp_path, tmp_path / "job.toml", tmp_path / "demo-as-cast.csv"):
        with served(what) as browser:
            state = browser.get("state").json()
            assert (state["job"], state["units"], state["stages"][0]["name"]) == ("job.toml", "mm", "as cast")


@pytest.mark.parametrize("order", [("walls", "target"), ("target", "walls")])
def test_walls_that_are_typed_stop_the_cut_that_starts_from_their_stage(browser, folder, order):
    for table in order:
        answered(browser.edit({"op": "table", "table": table}))
    assert 'wall_readings = "walls.csv"' in (folder / "target.toml").read_text()


def test_walls_that_are_typed_stop_the_calm_cut_where_nothing_else_is_wanted(browser, folder):
    from portgeo.app.live.asking import asked_of
    from portgeo.app.live.cutting import calm_limits
    from portgeo.app.live.serve import desk_of
    from portgeo.front.limits import target_in

    answered(browser.edit({"op": "table", "table": "walls"}))
    cells = [[1, "station_in", "1.0"], [1, "clock", "12"], [1, "thickness_in", "0.150"]]
    walls = {"op": "insert", "file": "walls.csv", "at": 1, "count": 1}, {"op": "cells", "file": "walls.csv"}
    answered(browser.edit(walls[0], walls[1] | {"cells": cells}))
    answered(browser.edit({"op": "key", "table": "calm", "key": "hold_throat", "text": "true"}))
    asked = asked_of(desk_of(str(folder / "job.toml")), {"kind": "calm", "cfm": "200"})
    _, target = target_in(calm_limits(asked), limits=True)
    assert target.wall_readings.read_text() == (folder / "walls.csv").read_text()
    assert {"the wall readings", "what the job asks of this cut"} <= set(asked.made_from)
