"""Maker of molds as shops scan them: a shape whose truth is closed form, and what a scanner makes of it.

Nothing here comes from the package. A `Mold` is a tube of superellipse sections (tests/scan/make.py) whose
height and width change in its legs only, so that its floor through the turn is an arc of known radius. Noise is
laid on along the wall's normals: waves of some millimetres, as scanners make them, beside a white part. Ends are
left flat, domed, waved or chipped; triangles are decimated; spikes, fins and an error of scale come last.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
import pyvista
import trimesh
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from tests.scan.make import Scan, Shape, posed, random_pose, shuffled, tube

FloatArray = NDArray[np.float64]

WAVES = (2.0, 30.0)  # mm, the lengths of a scanner's waves
WAVE_COUNT = 60
WHITE_SHARE = 0.3  # of the variance
ONE_POINT = 0.15  # mm: points of the mesh that are nearer are off alike, as no scanner tells them apart


@dataclass(frozen=True)
class Mold(Shape):
    """A tube whose size changes in its legs only: through the turn its floor is an arc of radius R - h / 2.

    middle : width, height and exponent of the superellipse through the turn.
    """

    middle: tuple[float, float, float] = (33.0, 40.0, 3.0)

    def size(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Half width, half height and exponent at stations: smooth steps along each leg."""
        s = np.asarray(s, float)
        into = _smooth(s / self.legs[0])
        out_of = _smooth((s - self.legs[0] - self.radius * self.turn) / self.legs[1])
        ends = (self.width, self.height, self.square)
        a, b, p = (e[0] + (m - e[0]) * into + (e[1] - m) * out_of for e, m in zip(ends, self.middle, strict=True))
        return a / 2.0, b / 2.0, p

    @property
    def short_side(self) -> float:
        """Radius of the floor through the turn."""
        return self.radius - self.middle[1] / 2.0

    @property
    def least_area(self) -> float:
        """Least section area."""
        return float(self.area(np.linspace(0.0, self.length, 20001)).min())


def _smooth(t: FloatArray) -> FloatArray:
    t = np.clip(t, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def random_mold(rng: np.random.Generator) -> Mold:
    """A port-like mold: tall or square at the entry, rounder at the exit, turned by 45 to 90 degrees."""
    height, width = rng.uniform(36.0, 50.0), rng.uniform(27.0, 38.0)
    middle = (rng.uniform(0.95, 1.1) * width, rng.uniform(0.8, 1.0) * height, rng.uniform(2.5, 4.0))
    return Mold(
        legs=(rng.uniform(30.0, 60.0), rng.uniform(20.0, 40.0)),
        radius=middle[1] * rng.uniform(0.8, 1.2),
        turn=np.radians(rng.uniform(45.0, 90.0)),
        width=(width, middle[0] * rng.uniform(0.93, 1.05)),
        height=(height, middle[1] * rng.uniform(0.88, 1.02)),
        square=(rng.uniform(3.0, 6.0), 2.0),
        middle=middle,
    )


def wall_normals(scan: Scan) -> FloatArray:
    """Normals at vertices (n, 3), outward."""
    return np.asarray(trimesh.Trimesh(scan.vertices, scan.faces, process=False).vertex_normals)


def waves(points: FloatArray, rng: np.random.Generator, lengths: tuple[float, float] = WAVES) -> FloatArray:
    """A random field (n,) of unit variance at points (n, 3): a sum of plane waves of many lengths and directions."""
    direction = rng.standard_normal((WAVE_COUNT, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    length = np.exp(rng.uniform(*np.log(lengths), WAVE_COUNT))
    phase = rng.uniform(0.0, 2.0 * np.pi, WAVE_COUNT)
    amplitude = rng.standard_normal(WAVE_COUNT)
    amplitude /= np.sqrt((amplitude**2).sum() / 2.0)
    field = np.zeros(len(points))
    for ahead, spacing, start, size in zip(direction, length, phase, amplitude, strict=True):
        field += size * np.sin(2.0 * np.pi * (points @ ahead) / spacing + start)
    return field


def _one_point(vertices: FloatArray) -> NDArray[np.intp]:
    """For each point (n, 3) the first of those that are too near to it to be told apart from it."""
    near = cKDTree(vertices).query_pairs(ONE_POINT, output_type="ndarray")
    pairs = coo_matrix((np.ones(len(near)), near.T), shape=(len(vertices),) * 2)
    group = connected_components(pairs, directed=False)[1]
    return np.unique(group, return_index=True)[1][group]


def scanned(
    scan: Scan, noise: float, rng: np.random.Generator, white: float = WHITE_SHARE, lengths: tuple[float, float] = WAVES
) -> Scan:
    """The wall and ends as a scanner sees them: off along the normals by `noise` mm, `white` of it point by point."""
    off = np.sqrt(1.0 - white) * waves(scan.vertices, rng, lengths)
    off += np.sqrt(white) * rng.standard_normal(len(scan.vertices))[_one_point(scan.vertices)]
    return Scan(scan.vertices + noise * off[:, None] * wall_normals(scan), scan.faces, scan.pose)


def _end(scan: Scan, mold: Shape, at_exit: bool) -> tuple[NDArray[np.intp], FloatArray, FloatArray, FloatArray]:
    """Vertices of a flat cap, the cap's outward normal, and their places left and up of its middle."""
    point, heading, up = (v[0] for v in mold.spine(np.array([mold.length if at_exit else 0.0])))
    out = heading if at_exit else -heading
    arm = scan.vertices - point
    reach = 0.75 * max(mold.width + mold.height)
    cap = np.flatnonzero((np.abs(arm @ out) < 1e-6) & (np.linalg.norm(arm, axis=1) < reach))
    left = np.cross(up, heading)
    return cap, out, arm[cap] @ left, arm[cap] @ up


def domed(scan: Scan, mold: Shape, height: float, at_exit: bool) -> Scan:
    """An end that stands out (or in, where negative) by `height` in its middle; the rim stays. Before any pose."""
    cap, out, left, up = _end(scan, mold, at_exit)
    a, b, p = (float(v[0]) for v in mold.size(np.array([mold.length if at_exit else 0.0])))
    from_middle = np.clip(np.abs(left / a) ** p + np.abs(up / b) ** p, 0.0, 1.0) ** (2.0 / p)
    vertices = scan.vertices.copy()
    vertices[cap] += (height * (1.0 - from_middle))[:, None] * out
    return Scan(vertices, scan.faces, scan.pose)


def waved(scan: Scan, mold: Shape, height: float, at_exit: bool, rng: np.random.Generator) -> Scan:
    """An end, rim and all, that is wavy by `height`, half of peak to trough, as torn or poured. Before any pose."""
    cap, out, left, up = _end(scan, mold, at_exit)
    turn = rng.uniform(0.0, 2.0 * np.pi, 3)
    along = np.cos(turn[0]) * left + np.sin(turn[0]) * up
    across = -np.sin(turn[0]) * left + np.cos(turn[0]) * up
    rise = 0.6 * np.sin(2.0 * np.pi * along / rng.uniform(9.0, 16.0) + turn[1])
    rise += 0.4 * np.sin(2.0 * np.pi * across / rng.uniform(14.0, 25.0) + turn[2])
    vertices = scan.vertices.copy()
    vertices[cap] += (height * rise)[:, None] * out
    return Scan(vertices, scan.faces, scan.pose)


def chipped(scan: Scan, mold: Shape, depth: float, at_exit: bool, rng: np.random.Generator) -> Scan:
    """An end with a chip out of its rim, `depth` mm deep and three times as wide: half an egg is cut off it.

    Before any pose. By a boolean of manifold3d.
    """
    cap, out, left, up = _end(scan, mold, at_exit)
    rim = cap[int(np.argmax(np.cos(rng.uniform(0.0, 2.0 * np.pi) - np.arctan2(up, left)) * np.hypot(left, up)))]
    # The egg's long axes lie in the end's plane, its short one along the port.
    one = np.cross(np.eye(3)[int(np.argmin(np.abs(out)))], out)
    one /= np.linalg.norm(one)
    axes = np.column_stack([1.5 * depth * one, 1.5 * depth * np.cross(out, one), depth * out, scan.vertices[rim]])
    egg = manifold3d.Manifold.sphere(1.0, 32).transform(axes)
    faces = np.array(scan.faces, dtype=np.uint64, order="C")
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(scan.vertices), faces))
    mesh = (solid - egg).to_mesh64()
    return Scan(
        np.ascontiguousarray(mesh.vert_properties[:, :3]), np.asarray(mesh.tri_verts, dtype=np.int64), scan.pose
    )


def spiked(scan: Scan, share: float, rng: np.random.Generator, height: float = 1.0) -> Scan:
    """Single points, `share` of all, that stand off by about `height` mm to either side."""
    count = round(share * len(scan.vertices))
    at = rng.choice(len(scan.vertices), count, replace=False)
    vertices = scan.vertices.copy()
    size = height * rng.uniform(0.5, 1.5, count) * rng.choice([-1.0, 1.0], count)
    vertices[at] += size[:, None] * wall_normals(scan)[at]
    return Scan(vertices, scan.faces, scan.pose)


def finned(scan: Scan, count: int, rng: np.random.Generator) -> Scan:
    """Pairs of triangles back to back on edges of the mesh, as decimation and merging leave them."""
    at = rng.choice(len(scan.faces), count, replace=False)
    a, b = scan.faces[at, 0], scan.faces[at, 1]
    normals = wall_normals(scan)
    tip = (scan.vertices[a] + scan.vertices[b]) / 2.0 + rng.uniform(0.1, 0.6, (count, 1)) * normals[a]
    index = len(scan.vertices) + np.arange(count)
    pairs = np.concatenate([np.column_stack([a, b, index]), np.column_stack([b, a, index])])
    return Scan(np.vstack([scan.vertices, tip]), np.concatenate([scan.faces, pairs]), scan.pose)


def decimated(scan: Scan, kept: float = 0.25) -> Scan:
    """The mesh with a share of its triangles kept (quadrics; M. Garland, P. S. Heckbert, SIGGRAPH 1997; by VTK)."""
    mesh = pyvista.PolyData.from_regular_faces(scan.vertices, scan.faces)
    fewer = mesh.decimate(1.0 - kept)
    return Scan(np.asarray(fewer.points, dtype=float), fewer.regular_faces.astype(np.int64), scan.pose)


def off_scale(scan: Scan, percent: float) -> Scan:
    """The scan of a scanner that measures everything too large by so many percent."""
    return Scan(scan.vertices * (1.0 + percent / 100.0), scan.faces, scan.pose)


def scan_of(mold: Shape, edge: float, noise: float, rng: np.random.Generator, kept: float = 1.0) -> Scan:
    """A mold as it comes off a scanner: closed ends, correlated noise, decimated or not, in any pose and order."""
    scan = scanned(tube(mold, edge), noise, rng)
    if kept < 1.0:
        scan = decimated(scan, kept)
    return shuffled(posed(scan, random_pose(rng)), rng)
