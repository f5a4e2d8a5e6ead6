"""Slices of a mesh are what the mesh is there."""

import numpy as np
import pytest
import trimesh

from portgeo.core.centreline import at
from portgeo.core.plane import moments
from portgeo.core.slicing import slice_mesh, tube_sections


def torus(islands=False):
    mesh = trimesh.creation.torus(40.0, 15.0, major_sections=120, minor_sections=60)
    angle = np.linspace(0.01, 3.0, 37)
    origins = np.column_stack([40.0 * np.cos(angle), 40.0 * np.sin(angle), 0.0 * angle])
    forward = np.column_stack([-np.sin(angle), np.cos(angle), 0.0 * angle])
    inward = np.column_stack([-np.cos(angle), -np.sin(angle), 0.0 * angle])
    frames = np.stack([forward, inward, np.cross(forward, inward)], axis=1)
    return np.asarray(mesh.vertices), np.asarray(mesh.faces, dtype=np.int64), origins, frames


def test_loops_agree_with_a_general_library_plane_by_plane():
    vertices, faces, origins, frames = torus()
    loops = slice_mesh(vertices, faces, origins, frames[:, 0])
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    for k in range(0, len(origins), 6):
        ours = sorted(
            moments((loops.loop(j) - origins[k]) @ frames[k, 1:].T).area for j in np.flatnonzero(loops.plane == k)
        )
        theirs = mesh.section(plane_origin=origins[k], plane_normal=frames[k, 0])
        other = sorted(abs(moments((d[:-1] - origins[k]) @ frames[k, 1:].T).area) for d in theirs.discrete)
        assert ours == pytest.approx(other, rel=1e-9)


def test_the_tube_is_the_loop_round_the_plane_s_origin():
    vertices, faces, origins, frames = torus()
    sections = tube_sections(slice_mesh(vertices, faces, origins, frames[:, 0]), origins, frames)
    areas = [moments(s.outline).area for s in sections]
    assert areas == pytest.approx(np.full(len(areas), np.pi * 225.0), rel=3e-3)


def test_a_plane_through_vertices_and_along_faces_still_closes():
    """Every plane here lies on vertices and faces of a subdivided box."""
    box = trimesh.creation.box((40.0, 20.0, 10.0)).subdivide().subdivide()
    origins = np.column_stack([np.linspace(-20.0, 20.0, 9), np.zeros(9), np.zeros(9)])
    frames = np.broadcast_to(np.eye(3), (9, 3, 3))
    loops = slice_mesh(np.asarray(box.vertices), np.asarray(box.faces, dtype=np.int64), origins, frames[:, 0])
    assert (loops.gap == 0).all()
    sections = tube_sections(loops, origins, frames)
    # A vertex on a plane counts as below it: the plane on the near face cuts, that on the far face does not.
    areas = [moments(s.outline).area if s else None for s in sections]
    assert areas[:-1] == pytest.approx([200.0] * 8)
    assert areas[-1] is None


def test_islands_are_kept_and_debris_is_not():
    tube = trimesh.creation.cylinder(20.0, 60.0, sections=64)
    pin = trimesh.creation.cylinder(4.0, 50.0, sections=32)
    pin.invert()
    crumb = trimesh.creation.icosphere(radius=2.0).apply_translation([30.0, 0.0, 0.0])
    mesh = trimesh.util.concatenate([tube, pin, crumb])
    frames = np.array([[[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])
    loops = slice_mesh(
        np.asarray(mesh.vertices), np.asarray(mesh.faces, dtype=np.int64), np.zeros((1, 3)), frames[:, 0]
    )
    (section,) = tube_sections(loops, np.zeros((1, 3)), frames)
    assert moments(section.outline).area == pytest.approx(np.pi * 400.0, rel=2e-3)
    assert [moments(i).area for i in section.islands] == pytest.approx([-np.pi * 16.0], rel=1e-2)


def test_an_open_mesh_gives_open_loops_and_says_how_wide():
    tube = trimesh.creation.cylinder(20.0, 60.0, sections=64)
    keep = np.ones(len(tube.faces), dtype=bool)
    keep[np.flatnonzero(np.abs(tube.face_normals[:, 0]) > 0.99)[:2]] = False
    frames = np.array([[[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])
    loops = slice_mesh(
        np.asarray(tube.vertices),
        np.asarray(tube.faces[keep], dtype=np.int64),
        np.zeros((1, 3)),
        frames[:, 0],
    )
    assert len(loops.plane) == 1
    assert 0.5 < loops.gap[0] < 5.0


def test_a_plane_beside_the_mesh_cuts_nothing():
    vertices, faces, origins, _ = torus()
    away = origins[:2] + np.array([0.0, 0.0, 500.0])
    upright = np.broadcast_to(np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), (2, 3, 3))
    loops = slice_mesh(vertices, faces, away, upright[:, 0])
    assert len(loops.plane) == 0
    assert tube_sections(loops, away, upright) == [None, None]


def test_many_more_planes_than_a_word_has_bits(port):
    stations = np.linspace(1.0, 107.0, 333)
    points, frames = at(port.centreline, stations)
    sections = tube_sections(slice_mesh(port.vertices, port.faces, points, frames[:, 0]), points, frames)
    one_by_one = [
        tube_sections(
            slice_mesh(port.vertices, port.faces, points[k : k + 1], frames[k : k + 1, 0]),
            points[k : k + 1],
            frames[k : k + 1],
        )[0]
        for k in range(0, 333, 37)
    ]
    together = [moments(sections[k].outline).area for k in range(0, 333, 37)]
    assert together == pytest.approx([moments(s.outline).area for s in one_by_one], rel=1e-12)
