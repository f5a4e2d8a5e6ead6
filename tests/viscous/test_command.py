"""`portgeo loss` as it is typed: errors with their mends, the case written without a solver, the answer with one."""

import json
import os
import signal
import subprocess
import sys
import time
from types import SimpleNamespace

import pytest

import portgeo as pg
from portgeo.app import cli
from portgeo.front import calming, losing
from portgeo.present.text.calm import _tried
from portgeo.viscous.case import WRITTEN_EVERY
from tests.test_guide import keys_in, keys_told
from tests.viscous.pipes import needs_solver

SHEET = "station_mm,shape,diameter_mm,turn_deg\n0,round,{d},0\n20,round,{d},0\n60,round,{d},45\n70,round,{d},45\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, diameter in (("small", 36), ("large", 38)):
        (tmp_path / f"{name}.csv").write_text(SHEET.format(d=diameter), "utf-8")
    return tmp_path


@pytest.fixture
def no_solver(monkeypatch):
    monkeypatch.setattr(losing, "find_solver", lambda: None)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--cfm 100 --vtu", "--vtu needs a folder"),
        ("--cfm 0", "cannot be measured"),
        ("--cfm 9000", "chokes the minimum area"),
        ("--cfm 100 --roughness 5", "is not one of a port's wall"),
        ("--cfm 100 --cores 1.5", "not a number of cores"),
        ("--cfm 100 --cores 0", "0 cores cannot be used"),
        ("--cfm 100 --hosts nobody.txt", "nobody.txt: there is no such file"),
        ("--cfm 100", "apt install openfoam"),
    ],
)
def test_what_cannot_be_solved_is_said_with_what_to_do(words, said, folder, no_solver, capsys):
    assert cli.main(f"loss small.csv {words}".split()) == 2
    assert said in capsys.readouterr().err
    assert sorted(path.name for path in folder.iterdir()) == ["large.csv", "small.csv"]


def test_without_a_solver_the_cases_are_written_with_what_to_run(folder, no_solver, capsys):
    assert cli.main("loss small.csv --cfm 100 --grid quick --one-model --out flow --json lost.json".split()) == 0
    printed = capsys.readouterr().out
    for block in (4, 6):
        case = folder / "flow" / "small" / f"kOmegaSST-{block}"
        assert (case / "constant/polyMesh/points").is_file() and (case / "system/controlDict").is_file()
        assert f"checkMesh -case '{case.relative_to(folder)}'" in printed
        assert f"simpleFoam -case '{case.relative_to(folder)}'" in printed
    lost = json.loads((folder / "lost.json").read_text("utf-8"))
    assert lost["loss"] is None and lost["states"] == [] and len(lost["cases"]) == 2
    assert not set(keys_in(lost)) - keys_told(lost["schema"])


@needs_solver
@pytest.mark.nightly
def test_two_bends_stand_side_by_side_and_the_larger_loses_less(folder, capsys):
    """Laminar, and so quick: at one flow loss goes nearly as the fourth power of diameter, down (Poiseuille)."""
    words = (
        "loss small.csv large.csv --cfm 1.25 --grid quick --one-model --out flow --json lost.json --csv by-station.csv"
    )
    assert cli.main([*words.split(), "--vtu"]) == 0
    printed = capsys.readouterr().out
    assert "side by side" in printed and "how it was solved" in printed
    lost = json.loads((folder / "lost.json").read_text("utf-8"))
    assert not set(keys_in(lost)) - keys_told(lost["schema"])
    small, large = lost["states"]
    assert lost["loss"] == small["loss"] and small["change_percent"] is None
    assert large["change_percent"] == pytest.approx(100.0 * ((36.0 / 38.0) ** 4 - 1.0), abs=6.0)
    assert large["change_u_percent"] > 0.0 and small["loss"]["model_u_pa"] is None
    assert large["loss"]["flow_at_28_cfm"] > small["loss"]["flow_at_28_cfm"] > 1.25
    for name in ("lost-by-station.png", "small/sections.png", "small/flow.vtu"):
        assert (folder / "flow" / name).stat().st_size > 1000
    assert len((folder / "by-station.csv").read_text().splitlines()) == len(small["stations"]) + 1
    # The library gives the same, and goes on from what lies there: nothing is solved again.
    ports = [pg.read("small.csv"), pg.read("large.csv")]
    again = pg.loss(ports, 1.25, grid="quick", compare_models=False, out="flow")
    assert again.solver.seconds == 0.0 and again.states[1].to_dict()["change_percent"] == large["change_percent"]


@needs_solver
@pytest.mark.nightly
@pytest.mark.skipif(os.name == "nt", reason="a signal to one process alone is POSIX's")
@pytest.mark.parametrize("stop", ["SIGINT", "SIGKILL"])
def test_stopped_or_killed_it_goes_on_where_it_was(stop, folder):
    """Stopped with a time on the disk it solves the rest, and answers as one that was let be."""
    words = "loss small.csv --cfm 1.25 --grid quick --one-model --json lost.json --force --out"
    run = [sys.executable, "-m", "portgeo", *words.split()]
    subprocess.run([*run, "let-be"], check=True, capture_output=True)
    expected = json.loads((folder / "lost.json").read_text("utf-8"))["loss"]["total_pa"]
    process = subprocess.Popen([*run, "flow"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    case = folder / "flow" / "small" / "laminar-6"
    while not (case / str(WRITTEN_EVERY)).is_dir():
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(getattr(signal, stop))
    assert process.wait() != 0
    while True:
        again = subprocess.run([*run, "flow"], capture_output=True, text=True)
        if "still at work" not in again.stderr:  # killed, it left a solver behind, which ends by itself
            break
        time.sleep(0.5)
    assert again.returncode == 0, again.stderr
    lost = json.loads((folder / "lost.json").read_text("utf-8"))
    assert lost["loss"]["total_pa"] == pytest.approx(expected, rel=1e-4)


def test_a_calm_cut_cannot_be_tried_without_a_solver_and_that_is_said_before_the_search(folder, monkeypatch, capsys):
    monkeypatch.setattr(calming, "find_solver", lambda: None)
    assert cli.main("calm small.csv --cfm 100 --try-loss".split()) == 2
    said = capsys.readouterr().err
    assert "of OpenFOAM) is not on this machine" in said and "portgeo loss" in said and "apt install openfoam" in said


@pytest.mark.parametrize(
    ("change", "u", "told"),
    [(-9.0, 2.0, "loses 9.0 ± 4.0% less"), (9.0, 2.0, "loses 9.0 ± 4.0% more"), (-3.9, 2.0, "no change")],
)
def test_what_a_tried_cut_gains_is_told_with_its_doubt(change, u, told):
    def port(total, **more):
        return SimpleNamespace(loss=SimpleNamespace(total_in_h2o=total), **more)

    tried = [port(2.0), port(1.9, change_percent=change, change_u_percent=u)]
    lines = " ".join(_tried(SimpleNamespace(loss=SimpleNamespace(states=tried))))
    assert told in lines and "2.00 inH2O now, 1.90 with the cut" in " ".join(lines.split())
    assert _tried(SimpleNamespace(loss=None)) == []
