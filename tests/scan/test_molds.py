"""The maker of molds: what it calls true is true, and its defects are of the size that they say."""

import numpy as np
import pytest
import trimesh

from tests.scan import molds
from tests.scan.make import tube

MOLD = molds.Mold()


def solid(scan):
    return trimesh.Trimesh(scan.vertices, scan.faces, process=False)


def test_fine_mesh_has_the_volume_of_pappus():
    assert solid(tube(MOLD, 0.8)).volume == pytest.approx(MOLD.volume, rel=4e-4)


def test_floor_through_the_turn_is_an_arc():
    s = np.linspace(MOLD.legs[0], MOLD.legs[0] + MOLD.radius * MOLD.turn, 50)
    points, _, up = MOLD.spine(s)
    floor = points - MOLD.size(s)[1][:, None] * up
    centre = np.array([MOLD.legs[0], 0.0, -MOLD.radius])
    assert np.linalg.norm(floor - centre, axis=1) == pytest.approx(np.full(50, MOLD.short_side))


def test_noise_has_its_size_and_its_length():
    clean = tube(MOLD, 1.0)
    rough = molds.scanned(clean, 0.05, np.random.default_rng(4))
    off = np.einsum("ij,ij->i", rough.vertices - clean.vertices, molds.wall_normals(clean))
    assert off.std() == pytest.approx(0.05, rel=0.25)
    ends = off[trimesh.Trimesh(clean.vertices, clean.faces, process=False).edges_unique]
    assert np.corrcoef(ends.T)[0, 1] > 0.4  # neighbours share their error


@pytest.mark.parametrize("at_exit", [False, True])
def test_a_dome_leaves_the_rim(at_exit):
    clean = tube(MOLD, 1.0)
    moved = np.linalg.norm(molds.domed(clean, MOLD, 0.3, at_exit).vertices - clean.vertices, axis=1)
    assert moved.max() == pytest.approx(0.3, rel=0.02)
    rim = molds._end(clean, MOLD, at_exit)
    girth = np.hypot(rim[2] / MOLD.width[at_exit], rim[3] / MOLD.height[at_exit])
    assert moved[rim[0]][np.argmax(girth)] < 1e-6


def test_decimation_keeps_the_volume():
    clean = tube(MOLD, 1.0)
    fewer = molds.decimated(clean)
    assert len(fewer.faces) == pytest.approx(len(clean.faces) / 4, rel=0.02)
    assert solid(fewer).volume == pytest.approx(solid(clean).volume, rel=1e-3)
