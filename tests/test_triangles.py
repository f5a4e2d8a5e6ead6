"""Triangles meet where a general library says they do, and close round their volume."""

import igl
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from portgeo.core.triangles import face_areas, meet, mesh_edge, volume


@given(st.integers(0, 10**6))
def test_two_triangles_meet_where_libigl_says_so(seed):
    corners = np.random.default_rng(seed).uniform(-1.0, 1.0, (6, 3))
    theirs, coplanar, *_ = igl.tri_tri_intersection_test_3d(*(c.reshape(1, 3) for c in corners))
    assert not coplanar
    assert meet(corners, np.array([[0, 1, 2]]), np.array([[3, 4, 5]])) == bool(theirs)


def test_volume_and_area_are_the_mesh_library_s():
    mesh = trimesh.creation.torus(40.0, 15.0)
    assert volume(mesh.vertices, mesh.faces) == pytest.approx(mesh.volume)
    assert face_areas(mesh.vertices, mesh.faces).sum() == pytest.approx(mesh.area)


def test_a_mesh_s_edge_is_the_same_whichever_corner_its_faces_begin_with():
    solid = trimesh.creation.cylinder(10.0, 60.0, sections=24)
    usual = np.median(np.linalg.norm(np.diff(solid.vertices[solid.faces[:, [0, 1, 2, 0]]], axis=1), axis=2))
    for turned in range(3):
        assert mesh_edge(solid.vertices, np.roll(solid.faces, turned, axis=1)) == pytest.approx(usual)
