"""Tetrahedra in a junction: they fill it, meet its planes square, and carry the flow that a plane solution has.

Truth is closed form (volumes, a parabola's slope), trimesh's solids, and triangles of scikit-fem in the plane.
"""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

import portgeo as pg
from portgeo.core.errors import GeometryError
from portgeo.core.split import split_port
from portgeo.core.triangles import Triangles
from portgeo.flow.lattice import Tetrahedra, cut_off, fill
from portgeo.flow.parting import solve_parted
from portgeo.flow.path import path_of
from portgeo.flow.room import SIDES, Cap, Room, room_of
from portgeo.flow.tube import speeds_on, tube_of
from portgeo.flow.wall import size_for, sizing_of
from tests.flow.plane_fork import PlaneFork
from tests.flow.test_split_air import halves, off_the_plane, plane_port
from tests.scan.forks import twin


def filled(solid, spacing):
    faces = np.asarray(solid.faces, np.int64)
    return fill(np.asarray(solid.vertices), faces, spacing, solid.bounds + np.array([[-2.0], [2.0]]))


def skin(mesh):
    sides = np.sort(mesh.corners[:, SIDES].reshape(-1, 3), axis=1)
    found, count = np.unique(sides, axis=0, return_counts=True)
    assert count.max() == 2
    return found[count == 1]


SOLIDS = {
    "ball": (lambda: trimesh.creation.icosphere(4, 10.0), 4.0 / 3.0 * np.pi * 10.0**3),
    "ring": (lambda: trimesh.creation.torus(18.0, 8.0, 96, 48), 2.0 * np.pi**2 * 18.0 * 8.0**2),
    "box on the lattice's own planes": (lambda: trimesh.creation.box((20.0, 14.0, 12.0)), 20.0 * 14.0 * 12.0),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_tetrahedra_fill_a_solid_and_hang_together(name):
    make, volume = SOLIDS[name]
    mesh = filled(make(), 1.0)
    assert mesh.volume.min() > 0.0
    assert mesh.volume.sum() == pytest.approx(volume, rel=0.015)
    wall = skin(mesh)
    edges = np.sort(wall[:, [[0, 1], [1, 2], [0, 2]]].reshape(-1, 2), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()  # the wall is closed


def test_solids_that_touch_are_one():
    one, other = (trimesh.creation.box((20.0, 14.0, 12.0)) for _ in range(2))
    other.apply_translation((20.0, 0.0, 0.0))
    mesh = filled(trimesh.util.concatenate([one, other]), 1.3)
    assert mesh.volume.sum() == pytest.approx(2.0 * 20.0 * 14.0 * 12.0, rel=0.01)


def test_what_is_cut_off_ends_in_a_flat_face():
    mesh = filled(trimesh.creation.cylinder(8.0, 30.0, sections=96), 1.0)
    normal = np.array([0.3, 0.0, 1.0]) / np.hypot(0.3, 1.0)
    cut = cut_off(mesh, mesh.points @ normal, normal, 1.0)
    assert (cut.points @ normal).max() < 1e-9 and cut.volume.min() > 0.0
    wall = skin(cut)
    corner = cut.points[wall[(np.abs(cut.points @ normal) < 1e-9)[wall].all(axis=1)]]
    area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1).sum() / 2.0
    assert area == pytest.approx(np.pi * 8.0**2 / normal[2], rel=0.01)


def test_speeds_on_a_wall_are_a_parabolas_slope():
    mesh = filled(trimesh.creation.icosphere(3, 6.0), 1.0)
    none = Cap(np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 3), np.int64))
    room = Room(Tetrahedra(mesh.points, mesh.corners), (none,))
    x, y, z = mesh.points.T
    values = 3.0 + x - 2.0 * y + 0.1 * x * y + 0.05 * z**2
    slope = np.stack([1.0 + 0.1 * y, -2.0 + 0.1 * x, 0.1 * z], axis=1)
    assert room.speeds(values, room.wall) == pytest.approx(np.linalg.norm(slope, axis=1)[room.wall], rel=1e-5)


def test_a_junction_that_meets_no_leg_is_refused():
    """Of a mesh of the trunk alone: what is asked for is said, and where."""
    port = split_port(*halves(width=26.0, side=14.0))
    tubes = []
    for k, passage in enumerate(port.passages):
        path = path_of(passage.port)
        size = size_for(sizing_of(path), 1000)
        rings = np.linspace(38.0, 90.0, 12) if k else np.linspace(0.0, 22.0, 6)
        tubes.append(tube_of(path, replace(size, rings=rings), trunk=k == 0))
    trunk = Triangles(port.trunk.to_source(port.trunk.vertices), port.trunk.faces)
    with pytest.raises(GeometryError, match="no flow grid can be laid in the junction") as refused:
        room_of(trunk, np.array([30.0, 0.0, 0.0]), tubes[0], tubes[1:], 2.0)
    assert "(38.0, 14.0, 0.0) mm" in str(refused.value)


@pytest.mark.nightly
def test_a_fork_with_a_room_at_its_split_has_the_flow_of_plane_triangles():
    """The grids end short of the split on both sides: the divider, 2 mm thick, stands in the room."""
    fork = PlaneFork()
    port = plane_port(fork)
    tubes = []
    for k, passage in enumerate(port.passages):
        path = path_of(passage.port)
        size = size_for(sizing_of(path), 8000)
        trunk, legs = size.rings < fork.TRUNK - 12.0, size.rings > fork.TRUNK + 14.0
        rings = (
            np.append(size.rings[trunk], fork.TRUNK - 10.0)
            if k == 0
            else np.append(fork.TRUNK + 12.0, size.rings[legs])
        )
        tubes.append(tube_of(path, replace(size, rings=rings), trunk=k == 0))
    room = room_of(port.mesh, np.array([fork.TRUNK, 0.0, 0.0]), tubes[0], tubes[1:], 1.5)
    found = solve_parted(tubes[0], tubes[1:], room=room)
    assert found.shares == pytest.approx(fork.shares, abs=5e-4)
    legs = [speeds_on(*each) for each in zip(tubes[1:], found.values[1:], found.flux[1:], strict=True)]
    assert np.abs(off_the_plane(fork, legs, (14.0, 17.0, 25.0, 40.0))).max() < 0.006
    # On the trunk's own wall, in the room, over the trunk's mean: the truth falls from 0.97 of it to 0.8
    # three edges of tetrahedra off the step in its wall; nearer to that they blur it.
    speeds, points = room.speeds(found.in_room, room.wall), room.mesh.points[room.wall]
    for side in (1.0, -1.0):
        along = points[:, 0] - fork.TRUNK
        own = (np.abs(points[:, 1] - 30.0 * side) < 0.05) & (np.abs(points[:, 2]) < 8.0) & (along < -4.5)
        truth = [fork.slope(np.array([[x - 0.05, 29.99 * side], [x + 0.05, 29.99 * side]])) for x in along[own]]
        off = (speeds[own] * 40.0 - truth) * 60.0
        assert own.sum() > 20 and np.abs(off).max() < 0.02 and abs(np.mean(off)) < 0.01


@pytest.mark.nightly
def test_a_scanned_fork_of_two_like_legs_shares_alike(tmp_path):
    """Of one unlike its neighbour the larger takes more: bores of 32 and 28 mm, hardly more than by their areas."""
    found = []
    for uneven in (0.0, 2.0):
        scan = twin(uneven=uneven).mesh(1.5)
        path = tmp_path / f"twin-{uneven}.stl"
        trimesh.Trimesh(scan.vertices, scan.faces, process=False).export(path)
        air = pg.air_speed(pg.read_split(path, units_in="mm"), 200.0, surveys=(), unknowns=6000)
        assert sum(leg.share for leg in air.legs) == pytest.approx(1.0, abs=1e-9)
        for leg in air.legs:
            assert leg.grid.flux_spread < 1e-7
        found.append(air.legs[0].share)
    assert found[0] == pytest.approx(0.5, abs=1e-3)
    assert found[1] == pytest.approx(16.0**2 / (16.0**2 + 14.0**2), abs=0.02) and found[1] > 0.53
