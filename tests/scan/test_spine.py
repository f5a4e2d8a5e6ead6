"""A centreline whose planes stay inside its tube. Truth: a box 60 mm wide whose end is sawn off obliquely."""

import manifold3d
import numpy as np
import pytest

from portgeo.scan.spine import sections_of, settle

LONG, WIDE, HIGH = 100.0, 60.0, 20.0


@pytest.mark.parametrize("lean", [0.14, 0.16])
def test_no_plane_square_to_the_line_leaves_through_an_oblique_end(lean):
    """A plane that does shows the flat end for wall, and less area than there is."""
    normal = np.array([np.cos(lean), np.sin(lean), 0.0])
    end = np.array([LONG, 0.0, 0.0])
    box = manifold3d.Manifold.cube((LONG + 20.0, WIDE, HIGH)).translate((0.0, -WIDE / 2.0, -HIGH / 2.0))
    cut = box.refine_to_length(3.0).trim_by_plane(tuple(-normal), float(-end @ normal)).to_mesh64()
    mesh = np.array(cut.vert_properties)[:, :3], np.array(cut.tri_verts).astype(np.int64)
    course = np.column_stack([np.linspace(5.0, LONG - 5.0, 30), np.zeros((30, 2))])
    ends = (np.zeros(3), np.array([-1.0, 0.0, 0.0])), (end, normal)
    curve = settle(mesh, mesh, ends, course, np.sqrt(WIDE * HIGH / np.pi)).curve
    stations = curve.length - np.linspace(0.01, 25.0, 100)
    along = curve.at(stations, 1) / np.linalg.norm(curve.at(stations, 1), axis=1, keepdims=True)
    left = np.cross([0.0, 0.0, 1.0], along)
    left /= np.linalg.norm(left, axis=1, keepdims=True)
    sections = sections_of(mesh, curve.at(stations), np.stack([along, left, np.cross(along, left)], axis=1))
    assert max(float(((s.in_space(s.outline) - end) @ normal).max()) for s in sections) < -1e-6
