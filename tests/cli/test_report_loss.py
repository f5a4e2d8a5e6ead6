"""Pressure lost in a report: only when asked for, kept while nothing changed, and what is said where it is not."""

import json

import numpy as np
import pytest

from portgeo.app import cli
from portgeo.app.job import loss as loss_step
from portgeo.app.job.results import PortsLost
from portgeo.core.units import Display
from portgeo.files.toml.job import read_job
from portgeo.front import losing
from portgeo.present.page.loss_rows import change_text, loss_texts
from tests.viscous.pipes import needs_solver
from tests.viscous.test_command import SHEET

JOB = """title = "Two bends"
units = "mm"
[[state]]
name = "as cast"
port = "small.csv"
[[state]]
name = "first cut"
port = "large.csv"
[loss]
flow_cfm = 1.25
grid = "quick"
"""
NOT_RUN = "pressure lost: not run, since it takes minutes"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, diameter in (("small", 36), ("large", 38)):
        (tmp_path / f"{name}.csv").write_text(SHEET.format(d=diameter), "utf-8")
    (tmp_path / "job.toml").write_text(JOB, "utf-8")
    return tmp_path


def state(name, total, change=None, change_u=None, leaves=None):
    loss = {"total_pa": total, "total_u_pa": 25.0, "total_in_h2o": total / 249.0889, "coefficient": 0.5}
    loss |= {"coefficient_u": 0.01, "flow_at_28_cfm": 210.0, "flow_at_28_u_cfm": 2.0}
    stations = [{"station_mm": s, "lost_pa": s} for s in (0.0, 70.0)]
    return {
        "name": name, "loss": loss, "change_percent": change, "change_u_percent": change_u, "leaves_wall": leaves,
        "throat_unfilled_percent": 2.0, "stations": stations, "grids": [{"cells": 100}, {"cells": 300}],
    }  # fmt: skip


RECORD = {
    "schema": "portgeo.loss/1", "flow": {"cfm": 210.0}, "roughness_mm": 0.0, "warnings": [],
    "solver": {"name": "OpenFOAM", "version": "1912"},
    "states": [state("as cast", 500.0), state("first cut", 450.0, -10.0, 2.0)],
}  # fmt: skip


@pytest.fixture
def solved(monkeypatch):
    """A solution that takes no time; how often it was asked for."""
    asked = []

    def lost(given):
        asked.append(given)
        return PortsLost(RECORD, (("loss-1-as-cast-wall.png", "the wall", b"\x89PNG"),))

    monkeypatch.setattr(loss_step, "lost", lost)
    return asked


def left_out(capsys):
    return capsys.readouterr().out


def test_it_is_solved_when_it_is_asked_for_and_shown_while_nothing_changed(folder, solved, capsys):
    words = "report job.toml --out report".split()
    assert cli.main([*words, "--loss"]) == 0
    assert NOT_RUN not in left_out(capsys) and len(solved) == 1
    (given,) = solved
    assert given.settings["names"] == ["as cast", "first cut"] and given.settings["cfm"] == 1.25
    page = (folder / "report" / "report.html").read_text("utf-8")
    assert "10.0\u00a0±\u00a04.0\u00a0% less than as cast" in page and "the wall" in page
    assert cli.main(words) == 0  # not asked for: what is kept is shown
    results = json.loads((folder / "report" / "results.json").read_text("utf-8"))
    assert results["loss"]["states"][1]["change_percent"] == -10.0 and len(solved) == 1
    # More cores give the same answer: it is not solved again. Another shape is.
    (folder / "job.toml").write_text(JOB + "cores = 2\n", "utf-8")
    assert cli.main([*words, "--loss"]) == 0 and len(solved) == 1
    (folder / "large.csv").write_text(SHEET.format(d=39), "utf-8")
    assert cli.main(words) == 0
    assert f"{NOT_RUN}; portgeo report job.toml --loss" in left_out(capsys)
    assert json.loads((folder / "report" / "results.json").read_text("utf-8"))["loss"] is None


def test_without_a_solver_it_says_what_to_run_and_where(folder, monkeypatch, capsys):
    monkeypatch.setattr(losing, "find_solver", lambda: None)
    assert cli.main("report job.toml --out report --loss".split()) == 2
    said = capsys.readouterr().err
    for words in ("OpenFOAM is not on this machine", "apt install openfoam", "checkMesh -case", "simpleFoam -case"):
        assert words in said
    assert (folder / "report/.kept/loss/first cut/laminar-6/constant/polyMesh/points").is_file()
    # Another shape or flow begins its cases anew, in the same folder.
    (folder / "job.toml").write_text(JOB.replace("1.25", "1.3"), "utf-8")
    assert cli.main("report job.toml --out report --loss".split()) == 2
    assert "OpenFOAM is not on this machine" in capsys.readouterr().err
    assert not (folder / "report" / "report.html").exists()


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("flow_lps = 3", "flow_cfm and flow_lps are both given"),
        ('states = ["as cast", "planned"]', "[loss] names 'planned', and there is none"),
        ('states = ["as cast", "As Cast"]', "[loss] names 'As Cast' twice"),
        ("cores = 0", "0 is less than 1"),
    ],
)
def test_what_the_table_gets_wrong_is_said(lines, says, folder):
    (folder / "job.toml").write_text(JOB + lines + "\n", "utf-8")
    with pytest.raises(Exception, match=says.replace("[", r"\[").replace("]", r"\]")):
        read_job("job.toml")


def test_a_job_that_does_not_ask_says_how_to(folder, capsys):
    (folder / "job.toml").write_text(JOB.partition("[loss]")[0], "utf-8")
    assert cli.main("report job.toml --out report --loss".split()) == 2
    assert "Write a line [loss] in it" in capsys.readouterr().err


def test_a_change_within_its_doubt_is_no_change():
    """Twice the standard uncertainty: 2.0 of it and a change of 3.9 % is nothing that can be told."""
    assert change_text(state("first cut", 480.0, -3.9, 2.0)) == ""
    assert change_text(state("first cut", 480.0, -4.1, 2.0)) == "4.1 ± 4.0 % less"
    assert change_text(state("first cut", 520.0, 6.0, 2.0)) == "6.0 ± 4.0 % more"
    assert change_text(state("first cut", 480.0, -9.0, None)) == ""
    back = {"from_station_mm": 50.8, "to_station_mm": 60.0, "clock": 6.0, "wall": "floor", "past_exit": True}
    texts = loss_texts({"states": [state("as cast", 500.0), state("cut", 480.0, -3.9, 2.0, back)]}, Display("in"))
    assert texts[0] == "as cast: loses 2.01 ± 0.20 inH2O; the air stays on the wall."
    assert "no change from as cast detected" in texts[1] and "2.000 in, 6 o'clock" in texts[1]


@needs_solver
@pytest.mark.nightly
def test_a_stopped_report_goes_on_in_its_cases(folder, monkeypatch):
    """Killed after the first port, the second run solves the other alone; the larger bend loses less (Poiseuille)."""
    from portgeo.viscous import run

    ran, stops, whole = [], [True], run.run_case

    def once(solver, case, **more):
        if case.parent.name == "first cut" and stops:
            stops.clear()
            raise KeyboardInterrupt
        ran.append(case.parent.name)
        return whole(solver, case, **more)

    monkeypatch.setattr(run, "run_case", once)
    words = "report job.toml --out report --loss -q".split()
    assert cli.main(words) != 0 and set(ran) == {"as cast"}
    ran.clear()
    assert cli.main(words) == 0 and set(ran) == {"first cut"}
    lost = json.loads((folder / "report" / "results.json").read_text("utf-8"))["loss"]
    assert lost["states"][1]["change_percent"] == pytest.approx(100.0 * ((36.0 / 38.0) ** 4 - 1.0), abs=6.0)
    assert np.isfinite(lost["states"][1]["change_u_percent"])
