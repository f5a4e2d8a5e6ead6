"""The written case, read back by a reader of this test's own: it shares no code with what wrote it."""

import re

import numpy as np
import pytest

from portgeo.core.section import area_of
from portgeo.flow.gas import STANDARD
from portgeo.viscous.case import Stream, case_files
from portgeo.viscous.doubt import grid_u, order_of
from portgeo.viscous.friction import friction_factor
from portgeo.viscous.loss import flow_at
from portgeo.viscous.polymesh import polymesh
from portgeo.viscous.run import Machine, Question, trial_of
from portgeo.viscous.tube import tube_of
from tests.viscous.pipes import pipe, question, write


def lists(files, name):
    """The numbers of one list file, by plain splitting: no code of ours."""
    body = files[f"constant/polyMesh/{name}"].decode().split("}", 1)[1]
    return np.array(re.sub(r"[()]", " ", body).split()[1:], dtype=float)


@pytest.fixture(scope="module")
def bend():
    return pipe(40.0, (40.0, 40.0), 60.0, 90.0)


@pytest.fixture(scope="module")
def tube(bend):
    return tube_of(question(bend, 80.0).path, 4, 0.3)


@pytest.fixture(scope="module")
def files(tube):
    return case_files(
        polymesh(tube.grid), Stream(0.1, 1.2e-3, 0.035, 1.46e-5, np.array([1.0, 0.0, 0.0]), 5e-5), "kOmegaSST",
        cores=3, layers=len(tube.stations) - 1,
    )  # fmt: skip


def test_the_written_cells_are_closed_and_fill_the_bend_and_its_runs(files, tube):
    """Gauss: face vectors of a closed cell sum to nothing, and its faces' fluxes of x/3 to its volume (Pappus)."""
    points = lists(files, "points").reshape(-1, 3)
    faces = lists(files, "faces").reshape(-1, 5)[:, 1:].astype(int)
    owner, neighbour = (lists(files, name).astype(int) for name in ("owner", "neighbour"))
    corner = points[faces]
    vector = np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]) / 2.0
    outward = (vector * corner.mean(axis=1)).sum(axis=1) / 3.0
    closed, volume = np.zeros((owner.max() + 1, 3)), np.zeros(owner.max() + 1)
    np.add.at(closed, owner, vector)
    np.add.at(closed, neighbour, -vector[: len(neighbour)])
    np.add.at(volume, owner, outward)
    np.add.at(volume, neighbour, -outward[: len(neighbour)])
    assert np.abs(closed).max() < 1e-15
    assert volume.min() > 0.0
    assert (owner[: len(neighbour)] < neighbour).all()
    pairs = np.column_stack([owner[: len(neighbour)], neighbour])
    assert (np.lexsort((pairs[:, 1], pairs[:, 0])) == np.arange(len(pairs))).all()  # as the format asks
    length = (80.0 + 60.0 * np.pi / 2.0 + 7.0 * tube.size) * 1e-3
    assert volume.sum() == pytest.approx(np.pi * 0.02**2 * length, rel=0.003)


def test_the_boundary_names_every_face_once_and_turns_outward(files):
    text = files["constant/polyMesh/boundary"].decode()
    told = re.findall(r"(\w+)\s*\{\s*type (\w+);\s*nFaces (\d+);\s*startFace (\d+);", text)
    assert [(name, kind) for name, kind, *_ in told] == [("wall", "wall"), ("inlet", "patch"), ("outlet", "patch")]
    inner = len(lists(files, "neighbour"))
    for _, _, count, start in told:
        assert int(start) == inner
        inner += int(count)
    assert inner == len(lists(files, "owner"))


def test_each_core_has_as_many_cells_of_one_stretch(files):
    part = np.array(re.sub(r"[()]", " ", files["constant/cellDecomposition"].decode().split("}", 1)[1]).split(), int)[
        1:
    ]
    assert (np.diff(part) >= 0).all() and set(part) == {0, 1, 2}
    assert np.bincount(part).max() < 1.2 * np.bincount(part).min()


def test_air_wall_and_roughness_stand_in_the_case(files):
    assert "volumetricFlowRate constant 0.1;" in files["0/U"].decode()
    assert "Ks uniform 5e-05;" in files["0/nut"].decode() and "nutkRoughWallFunction" in files["0/nut"].decode()
    assert "nu 1.46e-05;" in files["constant/transportProperties"].decode()


def test_the_grid_of_a_coarse_polygon_has_the_section_s_area(tube):
    """A circle of 40 mm: pi 20^2, however few nodes stand on it; the loft is within 0.005 mm of it."""
    ring = tube.grid.wall[tube.first]
    shift = np.roll(ring, -1, axis=0)
    assert np.linalg.norm(np.cross(ring, shift).sum(axis=0) / 2.0) == pytest.approx(np.pi * 400.0, rel=5e-4)
    assert area_of(tube.sections[0]) == pytest.approx(np.pi * 400.0, rel=1e-3)


def test_without_a_solver_the_case_is_written_and_another_port_s_is_left_alone(bend, tmp_path):
    from portgeo.core.errors import InputError

    asked = question(bend, 80.0)
    assert trial_of(asked, 4, "kOmegaSST", tmp_path / "case", Machine(None), write) is None
    assert (tmp_path / "case/constant/polyMesh/faces").is_file() and (tmp_path / "case/0/omega").is_file()
    before = (tmp_path / "case/0/U").stat().st_mtime_ns
    assert trial_of(asked, 4, "kOmegaSST", tmp_path / "case", Machine(None), write) is None
    assert (tmp_path / "case/0/U").stat().st_mtime_ns == before
    other = Question(asked.path, 0.9 * asked.flow, asked.throat)
    with pytest.raises(InputError, match="another port"):
        trial_of(other, 4, "kOmegaSST", tmp_path / "case", Machine(None), write)


def test_the_grid_convergence_index_of_a_known_error():
    """Values 1 + h^2 on cells 1, 1.5, 2.25: order 2, and Celik's index 1.25 of the error to be had."""
    cells = [2.25, 1.5, 1.0]
    values = [10.0 + 0.1 * h**2 for h in cells]
    assert order_of(values, cells) == pytest.approx(2.0, abs=1e-6)
    assert grid_u(values, cells) == pytest.approx(1.25 * 0.1 / 2.0, rel=1e-6)
    # Values that swing have no order: the ± is no less than half their spread.
    assert order_of([1.0, 1.2, 1.1], cells) is None
    assert grid_u([1.0, 1.2, 1.1], cells) >= 0.1
    assert grid_u([1.0], [1.0]) is None


def test_friction_is_colebrook_s():
    """C. F. Colebrook, 1939, through fluids; Haaland's formula is within 2 % of it."""
    from fluids.friction import friction_factor as colebrook

    for reynolds in (4e3, 5e4, 1e6):
        for rough in (0.0, 1e-3, 1e-2):
            expected = colebrook(Re=reynolds, eD=rough, Method="Colebrook")
            assert friction_factor(reynolds, rough) == pytest.approx(expected, rel=0.025)
    assert friction_factor(1000.0) == pytest.approx(0.064)


def test_flow_at_a_depression_is_the_orifice_s_where_air_hardly_thins_out():
    """Bernoulli: flow goes as the square root of the depression, as that goes to nothing."""
    taken, flow = 4.0, 0.01
    assert flow_at(4.0, flow, taken, 1000.0, STANDARD) == pytest.approx(flow, rel=1e-4)
    thin = flow_at(28.0 * 249.08891, flow, taken, 1000.0, STANDARD)
    assert 0.94 < thin / (flow * np.sqrt(28.0 * 249.08891 / taken)) < 0.99
