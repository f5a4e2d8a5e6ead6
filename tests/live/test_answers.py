"""Long answers: asked for, told of while they are at work, ended when they are not wanted, and what they leave."""

import pytest

from portgeo.app.live.answer_parts import said_lines
from portgeo.core.units import Display
from portgeo.present.text.cut_sheet import walls_left_text
from tests.cli.test_report_split import ROWS
from tests.live.conftest import SHEET, served, until

BEFORE, AFTER = "before.csv", "after.csv"
LENGTH, WIDTH, CUT = 100.0, 30.0, 1.0  # mm: a straight box whose floor is lowered by CUT from end to end


def box(height, rise=0.0):
    """The sheet of a straight box."""
    rows = [f"{s},{height},{WIDTH},{rise},2,2" for s in (0, 25, 50, 75, 100)]
    return "\n".join(["station_mm,height_mm,width_mm,rise_mm,corner_roof_mm,corner_floor_mm", *rows, ""])


@pytest.fixture
def job(tmp_path):
    """A job of two stages, whose floor alone was cut."""
    (tmp_path / BEFORE).write_text(box(40.0))
    (tmp_path / AFTER).write_text(box(40.0 + CUT, -CUT / 2.0))
    (tmp_path / "job.toml").write_text(
        f'title = "two stages"\nunits = "mm"\n[[state]]\nname = "as cast"\nport = "{BEFORE}"\n'
        f'[[state]]\nname = "first cut"\nport = "{AFTER}"\n'
    )
    return tmp_path


def answered(browser, events, **said):
    answer = browser.post("task", said)
    assert answer.status_code == 200, answer.text
    name = answer.json()["task"]
    return until(events, lambda e: e["type"] == "task" and e["id"] == name and e["done"])


def test_what_was_cut_is_told_with_the_stage_and_its_ghost_behind_it(job):
    with served(job) as browser, browser.events() as events:
        figures = until(events, lambda e: e["type"] == "figures")
        assert [(s["name"], s["ghost"]) for s in figures["chart"]["series"]] == [
            ("first cut", False),
            ("as cast", True),
        ]
        change = until(events, lambda e: e["type"] == "change")
    assert (change["stage"], change["against"]) == ("first cut", "as cast")
    removed = float(change["lines"][0].split()[2])
    assert removed == pytest.approx(LENGTH * WIDTH * CUT / 1000.0, abs=0.02)  # cc, of a box in closed form
    assert {wall["name"] for wall in change["walls"]} <= {"floor", "left wall", "right wall"}


def test_comparing_gives_the_answer_of_the_command_and_a_model_painted_by_depth(job):
    with served(job) as browser, browser.events() as events:
        done = answered(browser, events, kind="compare", before="as cast", after="first cut")
        model = until(events, lambda e: e["type"] == "model" and e.get("task") == done["id"])
    assert done["refusal"] is None
    (line,) = [line for line in done["result"]["lines"] if line.startswith("metal removed")]
    assert float(line.split()[2]) == pytest.approx(LENGTH * WIDTH * CUT / 1000.0, abs=0.02)
    assert "depth" in [paint["name"] for paint in model["data"]["paints"]]


def test_comparing_two_stages_that_split_tells_and_paints_all_of_the_port(tmp_path):
    """A trunk 2 mm higher over 60 mm by 80 mm, and a leg 1 mm higher over 60 mm by 30 mm: 9.6 and 1.8 cc."""
    (tmp_path / BEFORE).write_text(ROWS)
    (tmp_path / AFTER).write_text(ROWS.replace("rect,40,80", "rect,42,80").replace("rect,40,30", "rect,41,30"))
    stages = "".join(f'[[stage]]\nname = "{name}"\nport = "{name}.csv"\n' for name in ("before", "after"))
    (tmp_path / "job.toml").write_text(f'title = "two legs"\nunits = "mm"\n{stages}')
    with served(tmp_path) as browser, browser.events() as events:
        done = answered(browser, events, kind="compare", before="before", after="after")
        model = until(events, lambda e: e["type"] == "model" and e.get("task") == done["id"])
    assert done["refusal"] is None
    (line,) = [line for line in done["result"]["lines"] if line.startswith("metal removed")]
    assert float(line.split()[2]) == pytest.approx(9.6 + 1.8, rel=2e-3)
    assert [table["caption"] for table in done["result"]["tables"]] == [
        f"By station, {name}" for name in ("trunk", "left", "right")
    ]
    assert [paint["name"] for paint in model["data"]["paints"]] == ["depth", "area", "passage"]


def test_an_answer_is_refused_with_words_or_printed_into_the_job_and_nothing_else_is_given_out(job):
    with served(job) as browser, browser.events() as events:
        refused = answered(browser, events, kind="air", stage="as cast")
        assert "no flow" in refused["refusal"]["what"] and refused["refusal"]["hint"] and refused["result"] is None
        done = answered(browser, events, kind="templates", stage="first cut")
        (file,) = done["result"]["files"]
        answer = browser.get("out/" + file["name"])
        assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
        for name in (
            BEFORE,
            "job.toml",
            "../job.toml",
            "printed/../job.toml",
            "printed/%2e%2e/job.toml",
            "printed",
            "",
        ):
            assert browser.get("out/" + name).status_code == 404, name


def test_an_answer_that_is_cancelled_ends_and_leaves_nothing_half_written(job):
    with served(job) as browser, browser.events() as events:
        name = browser.post("task", {"kind": "report"}).json()["task"]
        until(events, lambda e: e["type"] == "task" and e["id"] == name)
        assert browser.post(f"task/{name}/cancel", {}).status_code == 200
        done = until(events, lambda e: e["type"] == "task" and e["id"] == name and e["done"])
        assert done["refusal"]["what"] == "cancelled"
    assert not (job / "report" / "report.html").exists()
    assert not [path for path in job.rglob(".*") if path.is_file() and "versions" not in str(path.parent)]


def test_an_unknown_answer_is_refused(browser):
    assert browser.post("task", {"kind": "format c:"}).status_code == 400


@pytest.mark.nightly
def test_the_report_is_byte_for_byte_that_of_the_command(job, tmp_path):
    from portgeo.app.cli import main

    with served(job) as browser, browser.events() as events:
        done = answered(browser, events, kind="report")
        assert done["refusal"] is None
        page = browser.get("out/report/report.html")
    assert page.status_code == 200 and "sandbox" in page.headers["content-security-policy"]
    assert main(["report", str(job / "job.toml"), "--out", str(tmp_path / "other"), "-q"]) == 0
    for name in ("results.json", "report.html"):
        assert (job / "report" / name).read_bytes() == (tmp_path / "other" / name).read_bytes()
    assert page.content == (job / "report" / "report.html").read_bytes()


@pytest.mark.nightly
def test_air_through_a_straight_box_is_as_fast_everywhere(job):
    with served(job) as browser, browser.events() as events:
        done = answered(browser, events, kind="air", stage="as cast", cfm="100")
    table = done["result"]["tables"][0]
    column = table["columns"].index("short side over mean")
    assert all(abs(float(row[column]) - 1.0) < 0.05 for row in table["rows"] if row[column])
    assert any(line.startswith("short side:") or line.startswith("throat:") for line in done["result"]["lines"])


@pytest.mark.nightly
def test_a_scan_that_is_dropped_on_the_page_becomes_a_stage_with_its_figures(job, tmp_path):
    import portgeo as pg

    pg.write(pg.read(job / AFTER), tmp_path / "mold.stl")
    data = (tmp_path / "mold.stl").read_bytes()
    with served(job) as browser, browser.events() as events:
        name = browser.http.post("upload", params={"name": "mold scan.stl"}, content=data).json()["file"]
        assert browser.edit({"op": "stage", "name": "molded", "file": name}).status_code == 200
        scanned = {"op": "key", "table": "state", "index": 2, "key": "port_scan.units", "text": "mm"}
        assert browser.edit(scanned).status_code == 200
        browser.get("figures", params={"stage": "molded"})
        told = until(events, lambda e: e["type"] == "figures" and e["stage"] == "molded")
        until(events, lambda e: e["type"] == "model" and e["stage"] == "molded")
        stage = browser.get("state").json()["stages"][2]
    assert stage["scan"] and stage["port"] == "mold scan.stl" and told["problem"] is None
    # A box of 100 by 30 by 41 mm, less its rounded corners of 2 mm.
    expected = (30.0 * 41.0 - (4.0 - 3.14159265) * 4.0) * 100.0 / 1000.0
    assert told["figures"]["volume"]["volume_cc"] == pytest.approx(expected, rel=2e-3)


def test_a_set_is_set_side_by_side_with_the_core_shift_of_each_off_the_gasket(tmp_path):
    # Three straight boxes about one line, the third's middle 0.6 mm above it and 0.4 mm to the left: in closed form.
    for k, (rise, shift) in enumerate(((0.0, 0.0), (0.0, 0.0), (0.6, 0.4)), start=1):
        rows = [f"{s},40,30,{rise},{shift},2,2" for s in (0, 25, 50, 75, 100)]
        header = "station_mm,height_mm,width_mm,rise_mm,shift_mm,corner_roof_mm,corner_floor_mm"
        (tmp_path / f"r{k}.csv").write_text("\n".join([header, *rows, ""]))
    (tmp_path / "hole.csv").write_text("x_mm,y_mm\n-16,-21\n16,-21\n16,21\n-16,21\n-16,-21\n")
    (tmp_path / "job.toml").write_text(
        'title = "three"\nunits = "mm"\n[[state]]\nname = "as cast"\nport = "r1.csv"\n'
        '[set]\nfiles = ["r1.csv", "r2.csv", "r3.csv"]\nflows = [200.0, 201.0, 180.0]\ngasket = "hole.csv"\n'
    )
    with served(tmp_path) as browser, browser.events() as events:
        flows = browser.get("state").json()["flows"]
        done = answered(browser, events, kind="set")
    assert any("runner 3, 10.2% under" in line for line in flows["lines"])  # 180 of (200 + 201) / 2, by hand
    assert done["refusal"] is None, done["refusal"]
    shifts = "".join(table["html"] for table in done["result"]["tables"])
    assert "Off the gasket" in shifts and ">0.60<" in shifts and ">0.40<" in shifts


@pytest.mark.nightly
def test_a_straight_port_has_nothing_to_calm_and_says_so(job):
    with served(job) as browser, browser.events() as events:
        refused = answered(browser, events, kind="calm", stage="as cast")
        assert "no flow" in refused["refusal"]["what"]
        done = answered(browser, events, kind="calm", stage="as cast", cfm="150")
    assert done["refusal"] is None and "choices" not in done["result"]
    assert not done["result"]["tables"] and len(done["result"]["lines"]) > 1


@pytest.mark.nightly
def test_the_cuts_that_calm_are_the_librarys_each_with_its_sheet(folder):
    import portgeo as pg

    with served(folder / SHEET) as browser, browser.events() as events:
        done = answered(browser, events, kind="calm", cfm="210")
        choices = done["result"]["choices"]
        found = pg.calm(pg.read(folder / SHEET), 210.0)
        assert [each["metal_cc"] for each in choices] == [round(each.metal_cc, 2) for each in found.choices]
        assert [each["knee"] for each in choices].index(True) == found.knee
        for each in choices:
            sheet = browser.get("out/" + each["files"][0]["name"]).text
            assert f"{each['metal_cc']:.2f} cc" in sheet


def test_walls_that_nobody_measured_are_to_be_typed_on_the_page():
    """What a file is told to hold, the page is told to have typed: the two sentences are one."""
    unread = {"walls_left": [], "wall_unknown_percent": 100.0}
    said = said_lines(f"plan\n  wall left   {walls_left_text(unread, Display('in'))}\n\ntable")
    assert said == ["wall left: not known: the wall was not measured; type some under Walls"]
