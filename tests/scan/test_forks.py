"""Molds of ports that split, from a scan to trunk, legs and junction.

Truth: the volume of Open CASCADE's solid, slices of a fine one of manifold3d's, circles in closed form; the scans are
coarser booleans, their noise waves and white as scanners have them (tests/scan/molds.py).
"""

import json

import manifold3d
import numpy as np
import pytest
import trimesh

from portgeo.app.cli import main
from portgeo.core.errors import GeometryError
from portgeo.core.split import SplitPort
from portgeo.measuring.split import survey_split
from portgeo.scan import ScanOptions, read_scan
from tests.scan import forks, make, molds, odd_molds

EDGE = 2.6
TWIN = forks.twin()
NOISE = 0.04
FACE = 0.2  # mm to each side of the trunk's end face: noise and pose put a plane along it on either


def read(scan, **options) -> SplitPort:
    port = read_scan(scan.vertices, scan.faces, ScanOptions(**options))
    assert isinstance(port, SplitPort)
    return port


def areas_off(survey, truth, pose):
    """Of each passage: by what share its areas are off, (n,), and whether they are within twice their uncertainty.

    A plane along the face in which the trunk's own solid ends, x = 0, cuts it by chance and is left out.
    """
    back = np.linalg.inv(pose)
    found = {}
    for name, each in survey.passages:
        off, within = [], []
        for k, section in enumerate(each.sections):
            middle = each.port.to_source(section.in_space(section.outline).mean(axis=0))
            normal = each.port.direction_to_source(section.frame[0])
            if (name == "trunk" and k == 0) or (name != "trunk" and k == len(each.sections) - 1):
                middle = middle + (0.2 if name == "trunk" else -0.2) * normal  # noise puts an end's plane off the solid
            x = ((each.port.to_source(section.in_space(section.outline)) @ back[:3, :3].T) + back[:3, 3])[:, 0]
            if name == "trunk" and x.min() < FACE and x.max() > -FACE:
                continue
            area = truth.area(back[:3, :3] @ middle + back[:3, 3], back[:3, :3] @ normal)
            off.append(each.area[k] / area - 1.0)
            within.append(abs(each.area[k] - area) < 2.0 * each.area_u[k])
        found[name] = np.array(off), np.array(within)
    return found


def rough_twin(seed, shape, edge=EDGE, noise=NOISE):
    rng = np.random.default_rng(seed)
    scan = molds.scanned(shape.mesh(edge), noise, rng)
    return make.shuffled(make.posed(scan, make.random_pose(rng)), rng)


@pytest.fixture(scope="module")
def rough():
    scan = rough_twin(4, TWIN)
    return scan, read(scan)


@pytest.mark.nightly
def test_a_twin_port_is_a_trunk_and_two_legs_with_the_areas_of_the_solid_up_to_the_junction(rough):
    scan, port = rough
    survey, truth = survey_split(port), TWIN.truth()
    assert [leg.name for leg in port.legs] == ["left", "right"]
    assert survey.volume == pytest.approx(truth.volume(), rel=4e-3)
    assert abs(survey.volume - truth.volume()) < 2.0 * survey.volume_u
    for off, _ in areas_off(survey, truth, scan.pose).values():
        assert np.abs(off).max() < 0.012
    assert survey.legs[0].area[-1] == pytest.approx(np.pi * 16.0**2, rel=0.012)


def test_the_parts_are_the_whole_and_each_is_a_sound_solid(rough):
    _, port = rough
    parts = [*(each.port.mesh for each in port.passages), port.junction.mesh]
    assert sum(mesh.volume for mesh in parts) == pytest.approx(port.mesh.volume, rel=1e-9)
    for mesh in (*parts, port.mesh):
        solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        assert solid.is_watertight and solid.is_winding_consistent


def test_the_divider_begins_where_the_two_tubes_meet(rough):
    """Two round legs of 16 mm radius whose axes are 14 mm off the middle: where 14 cos a + x sin a = 16."""
    scan, port = rough
    back = np.linalg.inv(scan.pose)
    nose = back[:3, :3] @ port.junction.nose + back[:3, 3]
    assert nose == pytest.approx([(16.0 - 14.0 * np.cos(0.2)) / np.sin(0.2), 0.0, 0.0], abs=0.7)
    trunk, *legs = port.passages
    station = trunk.port.centreline.length
    assert station == pytest.approx(50.0 + nose[0], abs=1.5)
    assert all(leg.port.centreline.stations[0] > station for leg in legs)


@pytest.mark.nightly
def test_mirrored_legs_measure_alike(rough):
    """They begin where each one's own plane is clear, so they agree as far as the mesh lets that be told."""
    left, right = survey_split(rough[1]).legs
    assert left.length == pytest.approx(right.length, abs=0.5)
    assert left.least_area == pytest.approx(right.least_area, rel=5e-3)


@pytest.mark.nightly
@pytest.mark.parametrize("shape", [TWIN, forks.twin(angle=0.3, turn=0.5)])
def test_an_exactly_mirrored_mold_has_legs_alike_to_a_millionth(shape):
    """However it lies, and in whatever order its faces and their corners come."""
    rng = np.random.default_rng(3)
    scan = shape.mirrored_mesh(EDGE)
    assert trimesh.Trimesh(scan.vertices, scan.faces, process=False).is_watertight
    left, right = survey_split(read(make.shuffled(make.posed(scan, make.random_pose(rng)), rng))).legs
    assert left.volume == pytest.approx(right.volume, rel=1e-6)
    assert left.area == pytest.approx(right.area, rel=1e-6)
    assert left.least_area == pytest.approx(right.least_area, rel=1e-6)
    assert left.short_side.radius == pytest.approx(right.short_side.radius, rel=1e-6)


@pytest.fixture
def folder(tmp_path, monkeypatch, rough):
    monkeypatch.chdir(tmp_path)
    scan = rough[0]
    trimesh.Trimesh(scan.vertices / 25.4, scan.faces, process=False).export("twin.stl")
    return tmp_path


@pytest.mark.nightly
def test_measure_takes_the_whole_and_a_command_one_leg(folder, capsys):
    assert main(["measure", "twin.stl", "--units-in", "in", "--json", "twin.json"]) == 0
    out = capsys.readouterr().out
    assert "junction" in out and "right against left" in out
    result = json.loads((folder / "twin.json").read_text())
    parts = [result["trunk"]["volume_cc"], *(leg["volume_cc"] for leg in result["legs"]), result["junction_cc"]]
    assert result["volume_cc"] == pytest.approx(sum(parts), rel=1e-6)
    assert len(result["openings"]) == 3 and len(result["nose_mm"]) == 3
    assert main(["measure", "twin.stl", "--units-in", "in", "--leg", "right", "--json", "right.json", "-q"]) == 0
    assert json.loads((folder / "right.json").read_text())["volume_cc"] == result["legs"][1]["volume_cc"]


@pytest.mark.nightly
def test_a_stem_is_no_leg():
    leg = TWIN.legs[0]
    tip, heading = leg.tip()
    solid = TWIN.solid() + odd_molds.bar(tip - 5.0 * heading, -heading, 70.0, 4.0)
    port = read(odd_molds.scan_of(solid, EDGE))
    assert len(port.legs) == 2
    assert "legs_cut" in {notice.code for notice in port.warnings}
    assert port.mesh.volume == pytest.approx(TWIN.truth().volume(), rel=2e-3)


def three_alike():
    """Three tubes of one size that meet, and the direction in which each goes out."""
    along = [np.array([np.cos(t), np.sin(t), 0.0]) for t in np.radians([180.0, 50.0, -50.0])]
    first, *legs = (forks.Run(np.zeros(3), way, 70.0, 15.0) for way in along)
    return forks.Fork(first, tuple(legs)).mesh(EDGE), along


@pytest.mark.nightly
def test_ends_that_are_alike_have_the_entry_asked_for():
    scan, along = three_alike()
    with pytest.raises(GeometryError, match=r"which of its 3 ends is the entry") as refusal:
        read(scan)
    assert "--entry" in refusal.value.hint
    with pytest.raises(GeometryError, match=r"--exit names one opening"):
        read(scan, entry=70.0 * along[0], exit=70.0 * along[1])


@pytest.mark.nightly
def test_the_named_end_is_the_entry():
    scan, along = three_alike()
    port = read(scan, entry=70.0 * along[0])
    assert port.trunk.to_source(port.trunk.centreline.points[0]) == pytest.approx(70.0 * along[0], abs=0.1)
    assert [leg.name for leg in port.legs] == ["left", "right"]


@pytest.mark.nightly
def test_legs_that_join_again_past_the_divider_are_refused():
    hole = odd_molds.bar(np.array([38.0, -30.0, 0.0]), np.array([0.0, 1.0, 0.0]), 60.0, 6.0)
    scan = odd_molds.scan_of(forks.twin(angle=0.3).solid() + hole, EDGE)
    with pytest.raises(GeometryError, match=r"join|divider|ends|told apart"):
        read(scan)


def test_a_leg_that_splits_again_is_refused_for_that():
    """Three ways past two dividers, the second some two diameters past the first."""
    parting = np.array([60.0, -35.0, 0.0])
    ways = [(np.array([-64.0, 0.0, 0.0]), np.zeros(3), 16.0), (np.zeros(3), np.array([60.0, 35.0, 0.0]), 12.0)]
    ways += [(np.zeros(3), parting, 12.0)]
    ways += [(parting, parting + run, 9.0) for run in ([50.0, 5.0, 25.0], [50.0, -25.0, -20.0])]
    bars = [odd_molds.bar(start, end - start, float(np.linalg.norm(end - start)), size) for start, end, size in ways]
    with pytest.raises(GeometryError, match="no single tube up to the junction") as refusal:
        read(odd_molds.scan_of(manifold3d.Manifold.batch_boolean(bars, manifold3d.OpType.Add), 3.0))
    assert "splits twice" in refusal.value.hint


@pytest.mark.nightly
def test_branching_tubes_without_an_edge_as_in_tomography_have_their_ends_areas():
    """A field's level set: three cones that run into each other in a blend, so that the divider has no edge."""
    ways = np.array([[-1.0, 0.0, 0.0], [0.82, 0.52, 0.25], [0.93, -0.37, 0.0]])
    ways = 70.0 * ways / np.linalg.norm(ways, axis=1, keepdims=True)
    sizes, blend = np.array([16.0, 12.0, 9.0]), 2.0

    def inside(*point):
        along = np.clip(ways @ point / 70.0**2, 0.0, 1.0)
        off = np.linalg.norm(np.array(point) - along[:, None] * ways, axis=1) - sizes * (1.0 - 0.15 * along)
        return blend * np.log(np.exp(-off / blend).sum())

    solid = manifold3d.Manifold.level_set(inside, [-90.0, -60.0, -45.0, 90.0, 70.0, 45.0], 2.5)
    for way in ways / 70.0:
        solid = solid.trim_by_plane(tuple(-way), -64.0)
    survey = survey_split(read(odd_molds.scan_of(solid, EDGE)))
    ends = [survey.trunk.area[0], *sorted((leg.area[-1] for leg in survey.legs), reverse=True)]
    assert ends == pytest.approx(np.pi * (sizes * (1.0 - 0.15 * 64.0 / 70.0)) ** 2, rel=0.01)
    assert survey.volume == pytest.approx(solid.volume(), rel=3e-3)


@pytest.mark.nightly
def test_a_box_with_a_flat_divider_has_its_floor_for_no_end():
    """In a box's corner its floor is as near as its end, and its edges go all round too."""
    plan = manifold3d.CrossSection.square((81.0, 60.0)).translate((-80.0, -30.0))
    for side, turn in ((14.0, 20.0), (-14.0, 0.0)):
        leg = manifold3d.CrossSection.square((110.0, 26.0)).translate((0.0, -13.0))
        plan = plan + leg.rotate(turn).translate((0.0, side))
    port = read(odd_molds.scan_of(manifold3d.Manifold.extrude(plan, 40.0), 1.5))
    assert port.mesh.volume == pytest.approx(40.0 * plan.area(), rel=1e-6)
    survey = survey_split(port)
    assert survey.trunk.area[0] == pytest.approx(60.0 * 40.0, rel=2e-3)
    assert [leg.area[-1] for leg in survey.legs] == pytest.approx([26.0 * 40.0] * 2, rel=2e-3)


def random_twin(rng):
    leg = rng.uniform(13.0, 17.0)
    return forks.twin(
        angle=rng.uniform(0.05, 0.4), leg=leg, trunk=leg + rng.uniform(0.5, 2.5), apart=leg * rng.uniform(0.8, 1.1),
        long=rng.uniform(30.0, 60.0), straight=rng.uniform(30.0, 50.0), bend=rng.uniform(30.0, 50.0),
        turn=rng.uniform(0.3, 1.1), uneven=rng.uniform(0.0, 1.5),
    )  # fmt: skip


@pytest.mark.nightly
def test_forty_random_twin_ports():
    """All are read: volume within 0.1 %, areas within 1.2 %, 97 % of them within twice what is told."""
    volumes, areas, told = [], [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        shape = random_twin(rng)
        scan = rough_twin(1000 + seed, shape)
        survey = survey_split(read(scan))
        truth = shape.truth()
        volumes.append(survey.volume / truth.volume() - 1.0)
        for off, within in areas_off(survey, truth, scan.pose).values():
            areas += off.tolist()
            told += within.tolist()
    assert np.abs(volumes).max() < 1e-3 and abs(np.mean(volumes)) < 3e-4
    assert np.abs(areas).max() < 0.012
    assert np.mean(told) > 0.97
