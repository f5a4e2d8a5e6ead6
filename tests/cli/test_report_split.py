"""A job whose port splits: all of it is measured and shown, and what takes one passage is of the leg that is named."""

import json

import numpy as np
import pytest

from portgeo.app.cli import main
from portgeo.present.page.text import next_step

ROWS = ("station_mm,leg,shape,height_mm,width_mm,corner_mm,shift_mm\n"
        "0,,rect,40,80,5,0\n30,,rect,40,80,5,0\n60,,rect,40,80,5,0\n"
        "60,left,rect,40,36,5,22\n90,left,rect,40,36,5,0\n120,left,rect,40,36,5,0\n"
        "60,right,rect,40,30,5,-25\n90,right,rect,40,30,5,0\n120,right,rect,40,30,5,0\n")  # fmt: skip
JOB = 'title = "Two legs"\nunits = "mm"\n[[stage]]\nname = "as cast"\nport = "two.csv"\n'
CORNERS = (4.0 - np.pi) * 5.0**2  # that four rounded corners of 5 mm take off a rectangle


def report_of(folder, more=""):
    (folder / "two.csv").write_text(ROWS, encoding="utf-8")
    (folder / "job.toml").write_text(JOB + more, encoding="utf-8")
    assert main(["report", str(folder / "job.toml"), "--out", str(folder / "out"), "-q"]) == 0
    return json.loads((folder / "out" / "results.json").read_text(encoding="utf-8")), folder / "out"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return report_of(tmp_path_factory.mktemp("split"))


def test_all_passages_are_measured_and_the_first_leg_is_worked_on(made):
    state = made[0]["states"][0]
    trunk, left, right = (60.0 * (40.0 * width - CORNERS) / 1000.0 for width in (80.0, 36.0, 30.0))
    assert state["split"]["volume_cc"] == pytest.approx(trunk + left + right, rel=1e-4)
    assert state["leg"] == "left"
    assert state["port"]["volume_cc"] == pytest.approx(left, rel=1e-4)
    assert [w["code"] for w in made[0]["warnings"]].count("one_leg") == 1


def test_the_page_shows_the_whole_and_says_what_is_of_one_leg(made):
    page = (made[1] / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "As cast, all passages: " in page and "port, left, as cast, painted by" in page
    assert "What follows is of left alone." in page
    assert "Look first at this: the port splits" not in page
    assert ">port, left<" in page and ">port<" not in page and "of the valve" not in page
    section = page.partition('id="split"')[2].partition("</section>")[0]
    for name in ("trunk", "left", "right", "legs together", "all of it"):
        assert name in section
    assert 'data-table="split-as-cast-right"' in section
    assert (made[1] / "pictures" / "as-cast-whole-area.png").is_file()
    assert (made[1] / "tables" / "split-as-cast.csv").is_file()


def test_next_step_is_not_which_leg_the_page_is_of(made):
    from portgeo.core.units import Display

    assert "splits" not in next_step(made[0], Display("mm"))
    # Nor what a file or a tool is taken for: nobody need do a thing about it.
    for code in ("tool_rule", "scale_exact", "entry_rule"):
        told = {"about": "as cast", "code": code, "message": "what nobody need do a thing about"}
        assert "nobody need" not in next_step(made[0] | {"warnings": [told]}, Display("mm"))


def test_the_leg_that_a_state_names_is_worked_on(tmp_path):
    engine = "[engine]\nbore = 86\nstroke = 86\nrpm = 7000\nvalve = 33\nvalves = 2\ncylinders = 4\n"
    results, _ = report_of(tmp_path, 'leg = "right"\n[bench]\nflow_cfm = 100\n' + engine)
    state = results["states"][0]
    areas = [40.0 * width - CORNERS for width in (30.0, 36.0)]  # of legs alike in length, which share by their areas
    assert state["airspeed"]["flow"]["cfm"] == pytest.approx(100.0 * areas[0] / sum(areas), rel=0.03)
    assert "right’s" in state["flow_note"] and "of the port’s 100.0 cfm" in state["flow_note"]
    assert state["leg"] == "right"
    assert state["port"]["volume_cc"] == pytest.approx(60.0 * (40.0 * 30.0 - CORNERS) / 1000.0, rel=1e-4)
    assert "one_leg" not in [w["code"] for w in results["warnings"]]
    # What an engine asks, and the power, are of all the flow.
    assert results["demand"]["power_flow"]["cfm_at_28_in_h2o"] == pytest.approx(100.0)
    assert results["demand"]["power_estimate_hp"] == pytest.approx([0.20 * 4 * 100.0, 0.26 * 4 * 100.0], rel=1e-6)


def test_of_two_stages_all_that_came_out_is_told_and_painted(tmp_path):
    """A trunk 2 mm higher and a right leg 1 mm higher: prisms, told by passage and together, hours by all of it."""
    cut = ROWS.replace("rect,40,80", "rect,42,80").replace("rect,40,30", "rect,41,30")
    (tmp_path / "cut.csv").write_text(cut, encoding="utf-8")
    results, out = report_of(tmp_path, '[[stage]]\nname = "cut"\nport = "cut.csv"\nhours = 2\n')
    (one,) = results["compare"]
    removed = {part["name"]: part["removed_cc"] for part in (one["whole"]["trunk"], *one["whole"]["legs"])}
    assert removed == pytest.approx(
        {"trunk": 60.0 * 2.0 * 80.0 / 1000.0, "left": 0.0, "right": 1.8}, rel=2e-3, abs=0.01
    )
    assert one["whole"]["removed_cc"] == pytest.approx(11.4, rel=2e-3)
    assert one["record"]["removed_cc"] == pytest.approx(0.0, abs=0.01)
    assert results["hours"]["cc_per_hour"] == pytest.approx(11.4 / 2.0, rel=2e-3)
    page = (out / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "From as cast to cut, all passages: 11.40 ±" in page and "left none, right 1.80 ±" in page
    assert "Between the rows of a sheet the wall is a curve" in page
    assert (out / "pictures" / "cut-whole-depth.png").is_file()
    assert (out / "tables" / "split-change-as-cast-cut.csv").is_file()


def test_a_leg_that_is_not_there_is_refused_with_those_that_are(tmp_path, capsys):
    (tmp_path / "two.csv").write_text(ROWS, encoding="utf-8")
    (tmp_path / "one.csv").write_text("station_mm,shape,diameter_mm\n0,round,40\n60,round,40\n", encoding="utf-8")
    for port, says in (("two.csv", "Its passages are trunk, left, right"), ("one.csv", "leave leg out")):
        (tmp_path / "job.toml").write_text(JOB.replace("two.csv", port) + 'leg = "upper"\n', encoding="utf-8")
        assert main(["report", str(tmp_path / "job.toml"), "--out", str(tmp_path / "out"), "-q"]) == 2
        assert says in capsys.readouterr().err
