"""A mesh that is cut is cut alike to its mirror image."""

import numpy as np
import pytest
import trimesh

from portgeo.scan.cut import cut_end


def test_a_mirrored_mesh_is_cut_into_mirrored_faces():
    solid = trimesh.creation.cylinder(10.0, 60.0, sections=24).subdivide_to_size(3.0)
    normal = np.array([0.1, 0.2, 1.0]) / np.linalg.norm([0.1, 0.2, 1.0])
    mirror = np.array([1.0, -1.0, 1.0])
    one = cut_end(solid.vertices, solid.faces, np.zeros(3), normal, 0.0)
    other = cut_end(solid.vertices * mirror, solid.faces[:, ::-1], np.zeros(3), normal * mirror, 0.0)
    walls = []
    for (vertices, faces, _), way in ((one, normal), (other, normal * mirror)):
        corners = vertices[faces[(np.abs(vertices[faces] @ way) > 1e-9).any(axis=1)]]
        walls.append(np.sort(np.linalg.norm(np.diff(corners[:, [0, 1, 2, 0]], axis=1), axis=2).ravel()))
    assert walls[0] == pytest.approx(walls[1], abs=1e-9)
