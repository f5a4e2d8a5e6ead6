"""Meshes that were decimated: triangles back to back, fins, single triangles that stand off the wall.

Truth: the closed form of `make.Shape`. The decimation is VTK's, which shares no code with ours.
"""

from __future__ import annotations

import numpy as np
import pytest
import pyvista

from portgeo.core.errors import GeometryError
from portgeo.core.triangles import volume
from portgeo.scan import port_from_scan
from tests.scan import make


def decimated(scan: make.Scan, topology: bool | None) -> make.Scan:
    """A quarter of the triangles: by quadrics, or by VTK's older way with or without its topology kept."""
    cells = np.column_stack([np.full(len(scan.faces), 3), scan.faces]).ravel()
    mesh = pyvista.PolyData(scan.vertices, cells)
    small = mesh.decimate(0.75) if topology is None else mesh.decimate_pro(0.75, preserve_topology=topology)
    return make.Scan(np.asarray(small.points, dtype=float), small.faces.reshape(-1, 4)[:, 1:].astype(np.int64))


def with_fins(scan: make.Scan, count: int, sides: int, rng: np.random.Generator) -> make.Scan:
    """Triangles that stand on an edge of the wall: one (sides 1), or two back to back (sides 2)."""
    picked = scan.faces[rng.choice(len(scan.faces), count, replace=False)]
    a, b, c = (scan.vertices[picked[:, k]] for k in range(3))
    out = np.cross(b - a, c - a)
    tips = (a + b) / 2.0 + rng.uniform(0.3, 2.0, (count, 1)) * out / np.linalg.norm(out, axis=1, keepdims=True)
    apex = len(scan.vertices) + np.arange(count)
    fins = np.column_stack([picked[:, 0], picked[:, 1], apex])
    faces = [scan.faces, fins] if sides == 1 else [scan.faces, fins, fins[:, ::-1]]
    return make.Scan(np.vstack([scan.vertices, tips]), np.concatenate(faces))


@pytest.mark.parametrize("sides", [1, 2])
@pytest.mark.parametrize("topology", [None, True, False])
def test_a_decimated_mold_with_fins_is_measured(topology, sides):
    rng = np.random.default_rng(30 + sides)
    shape = make.Shape()
    scan = with_fins(decimated(make.roughened(make.tube(shape, 0.9), 0.03, rng), topology), 12, sides, rng)
    port = port_from_scan(scan.vertices, scan.faces)
    assert volume(port.vertices, port.faces) == pytest.approx(shape.volume, rel=1e-3)
    assert {n.code for n in port.warnings} & {"fins_dropped", "duplicates_dropped"} >= {
        "fins_dropped" if sides == 1 else "duplicates_dropped"
    }


def test_two_triangles_back_to_back_on_points_of_the_wall_both_go():
    """(a, b, c) and (b, a, c) bound nothing: without them every edge has two faces again."""
    shape = make.Shape()
    scan = make.tube(shape, 1.2)
    clean = port_from_scan(scan.vertices, scan.faces)
    a, b, c = scan.faces[400]
    beside = scan.faces[(scan.faces == a).any(axis=1)].ravel()
    far = int(beside[~np.isin(beside, (a, b, c))][0])
    pair = np.array([[a, b, far], [b, a, far]])
    port = port_from_scan(scan.vertices, np.concatenate([scan.faces, pair]))
    assert volume(port.vertices, port.faces) == pytest.approx(volume(clean.vertices, clean.faces), rel=1e-12)
    assert "holes_closed" not in {n.code for n in port.warnings}


def test_a_mesh_that_shows_both_sides_of_its_wall_is_one_wall():
    shape = make.Shape()
    scan = make.tube(shape, 1.2)
    port = port_from_scan(scan.vertices, np.concatenate([scan.faces, scan.faces[:, ::-1]]))
    assert volume(port.vertices, port.faces) == pytest.approx(shape.volume, rel=2e-3)


def test_a_large_hole_is_called_a_hole_and_told_where():
    shape = make.Shape()
    place = shape.rings(np.array([6.0]), 100)[0, [10]]
    scan = make.holed(make.tube(shape, 1.2), place, 17.0)
    with pytest.raises(GeometryError, match=r"hole|open") as refusal:
        port_from_scan(scan.vertices, scan.faces)
    assert "fin" not in str(refusal.value)


@pytest.mark.nightly
def test_sixty_five_decimated_molds_with_fins():
    """None refused; the volume within a thousandth of the closed form's in all."""
    off = []
    for seed in range(65):
        rng = np.random.default_rng(7000 + seed)
        shape = make.Shape(
            legs=(rng.uniform(30.0, 60.0), rng.uniform(20.0, 40.0)),
            radius=rng.uniform(32.0, 50.0),
            turn=rng.uniform(0.5, 1.5),
            width=(rng.uniform(28.0, 36.0), 34.0),
            height=(rng.uniform(36.0, 48.0), 34.0),
        )
        dense = make.roughened(make.tube(shape, rng.uniform(0.6, 0.8)), rng.uniform(0.01, 0.05), rng)
        scan = with_fins(decimated(dense, (None, True, False)[seed % 3]), int(rng.integers(1, 20)), 1 + seed % 2, rng)
        port = port_from_scan(scan.vertices, scan.faces)
        off.append(abs(volume(port.vertices, port.faces) / shape.volume - 1.0))
    assert max(off) < 1e-3
