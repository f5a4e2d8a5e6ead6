"""Triangles meet where a general library says they do, and close round their volume."""

import igl
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from portgeo.core.triangles import face_areas, meet, volume


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
