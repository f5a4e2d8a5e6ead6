"""The written case in the solver, against closed form and published correlations. Without it the tests say so."""

import subprocess

import numpy as np
import pytest
from fluids.fittings import bend_rounded
from fluids.friction import friction_factor

from portgeo.core.errors import GeometryError, InputError
from portgeo.flow.gas import STANDARD
from portgeo.flow.potential import solve, wall_speed
from portgeo.viscous.case import FIELDS
from portgeo.viscous.foam import inside_of
from portgeo.viscous.polymesh import polymesh
from portgeo.viscous.run import MAIN, OTHER, Machine, trial_of
from portgeo.viscous.solver import run_case, times_of
from portgeo.viscous.tube import tube_of
from tests.viscous.pipes import SOLVER, bend_loss, gradient, needs_solver, pipe, question, solved, write

NU, RHO = STANDARD.kinematic_viscosity, STANDARD.density
D = 40.0  # mm


@needs_solver
def test_a_laminar_pipe_loses_what_hagen_and_poiseuille_say(tmp_path):
    """128 mu L Q / (pi d^4), well past the entry length of 0.06 Re diameters (any textbook)."""
    speed = 60.0 * NU / (D * 1e-3)
    asked = question(pipe(D, (4.0 * D, 4.0 * D)), speed, runs=(1.0, 1.0))
    trial = solved(asked, 4, tmp_path / "case")
    expected = 128.0 * NU * RHO * asked.flow / (np.pi * (D * 1e-3) ** 4)
    assert trial.model == "laminar" and trial.converged
    assert gradient(trial, 4.5 * D, 7.5 * D) == pytest.approx(expected, rel=0.01)
    assert trial.solution.imbalance < 1e-6
    # A straight pipe carries air everywhere, turns it no way, and keeps it on the wall.
    assert trial.lost.back is None and abs(trial.lost.swirl) < 1e-3 and trial.lost.tumble < 1e-3


@needs_solver
def test_the_solver_s_own_judge_has_no_complaint_of_a_grid(tmp_path):
    asked = question(pipe(D, (D, D), 1.5 * D, 90.0), 80.0)
    case = tmp_path / "case"
    assert trial_of(asked, 6, MAIN, case, Machine(None), write) is None
    judged = subprocess.run(["checkMesh"], cwd=case, env=SOLVER.environment, capture_output=True, text=True, check=True)
    assert "Mesh OK." in judged.stdout and "***" not in judged.stdout


@needs_solver
@pytest.mark.nightly
def test_another_solver_s_ideal_flow_has_our_wall_speeds(tmp_path):
    """potentialFoam on our grid: finite volumes, ours are finite elements."""
    asked = question(pipe(D, (D, D), 1.5 * D, 90.0), 80.0, runs=(1.0, 1.0))
    case = tmp_path / "case"
    trial_of(asked, 6, MAIN, case, Machine(None), write)
    subprocess.run(["potentialFoam", "-writephi"], cwd=case, env=SOLVER.environment, capture_output=True, check=True)
    tube = tube_of(asked.path, 6, asked.layer, runs=asked.runs)
    mesh = polymesh(tube.grid)
    flux = inside_of((case / "0/phi").read_text(), len(mesh.neighbour), "phi")[mesh.between]
    corner = tube.grid.nodes[1:-1, tube.grid.pattern.quads] * 1e-3
    area = np.linalg.norm(np.cross(corner[:, :, 2] - corner[:, :, 0], corner[:, :, 3] - corner[:, :, 1]) / 2.0, axis=2)
    theirs = (flux / area)[:, -tube.grid.wall.shape[1] :]  # the outermost quads, beside the wall
    ours = wall_speed(tube.grid.wall, solve(tube.grid).values[:, tube.grid.pattern.wall])[1:-1] * asked.flow * 1e6
    inside = slice(tube.first - 1, tube.last)
    assert theirs[inside].max() == pytest.approx(ours[inside].max(), rel=0.02)


@needs_solver
@pytest.mark.nightly
def test_stopped_work_is_gone_on_with_and_two_cores_say_the_same(tmp_path):
    # Laminar: a turbulent bend on so coarse a grid never comes quite to rest, and two runs differ by what it moves.
    asked = question(pipe(D, (0.5 * D, 0.5 * D), 1.5 * D, 45.0), 200.0 * NU / (D * 1e-3), runs=(1.0, 2.0))
    one = solved(asked, 4, tmp_path / "one")
    again = solved(asked, 4, tmp_path / "one")
    assert again.seconds == 0.0 and again.lost.total == one.lost.total
    two = solved(asked, 4, tmp_path / "two", cores=2)
    assert two.lost.total == pytest.approx(one.lost.total, rel=1e-3)
    assert two.solution.imbalance < 1e-6 and not list((tmp_path / "two").glob("processor*"))
    # A time that is cut off half way does not count.
    last = max(times_of(tmp_path / "one", FIELDS["laminar"]))
    path = tmp_path / "one" / str(last) / "U"
    path.write_bytes(path.read_bytes()[:5000])
    assert last not in times_of(tmp_path / "one", FIELDS["laminar"])


@needs_solver
def test_a_solver_that_fails_is_told_with_its_log(tmp_path):
    (tmp_path / "case").mkdir()
    with pytest.raises(GeometryError, match="the solver ended with an error") as refused:
        run_case(SOLVER, tmp_path / "case")
    assert refused.value.file.endswith("log.simpleFoam")


@needs_solver
def test_a_case_that_a_solver_is_at_work_in_is_left_alone(tmp_path):
    fcntl = pytest.importorskip("fcntl")
    with open(tmp_path / "portgeo.lock", "ab") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with pytest.raises(InputError, match="still at work"):
            run_case(SOLVER, tmp_path)


@needs_solver
@pytest.mark.nightly
@pytest.mark.parametrize("roughness", [0.0, 0.3])
def test_a_turbulent_pipe_loses_what_colebrook_says(roughness, tmp_path):
    """C. F. Colebrook, 1939, through fluids; the rough wall so rough that sand grains and pipes are one."""
    asked = question(pipe(D, (30.0 * D, 30.0 * D)), 90.0, roughness, runs=(1.0, 1.0))
    trial = solved(asked, 4, tmp_path / "case")
    factor = friction_factor(Re=90.0 * D * 1e-3 / NU, eD=roughness / D, Method="Colebrook")
    expected = factor / (D * 1e-3) * RHO * 90.0**2 / 2.0
    assert gradient(trial, 40.0 * D, 57.0 * D) == pytest.approx(expected, rel=0.08)


@needs_solver
@pytest.mark.nightly
@pytest.mark.parametrize("model", [MAIN, OTHER])
def test_a_bend_loses_what_published_correlations_say(model, tmp_path):
    """90 degrees, radius 1.5 diameters, smooth: Rennels, Miller, Crane and Ito through fluids, which differ by half.

    They are of pipes whose flow has developed, and count all that the bend makes them lose, far downstream.
    """
    asked = question(pipe(D, (0.1 * D, 0.1 * D), 1.5 * D, 90.0), 80.0, runs=(40.0, 32.0))
    trial = solved(asked, 6, tmp_path / "case", model)
    end = asked.path.last
    loss = bend_loss(trial, (-10.0 * D, -2.0 * D), end + 30.0 * D)
    published = [
        bend_rounded(Di=D * 1e-3, angle=90.0, bend_diameters=1.5, Re=asked.reynolds, roughness=0.0, method=name)
        for name in ("Rennels", "Miller", "Crane", "Ito")
    ]
    assert 0.8 * min(published) < loss < 1.2 * max(published)
