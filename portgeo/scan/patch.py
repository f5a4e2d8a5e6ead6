"""Patch: a small hole in a scan is closed by a surface that continues what is round it.

A mesh and the loop of an open edge come in; the mesh with the hole closed, and the area made up, go
out.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import shapely
from scipy.interpolate import RBFInterpolator
from scipy.spatial import Delaunay, cKDTree

from portgeo.plane import FloatArray, IntArray
from portgeo.triangles import face_areas

BAND = 1.0  # width of the surface round a hole that its patch continues, in radii of the hole
MOST_BAND = 600  # points of it that are used
CLEAR = 0.6  # of the rim's edge length, that inner points keep from the rim
MOST_SPLITS = 6  # rounds in which edges of the rim are halved until the patch keeps them
TRIVIAL = 8  # edges of a loop so small that a fan closes it, whatever its form


def close_hole(vertices: FloatArray, faces: IntArray, loop: IntArray) -> tuple[FloatArray, IntArray, float] | None:
    """Return the mesh with an open edge closed and the area made up, None where no surface follows.

    loop : (k,) indices round the hole, in the direction of the faces beside it. Over the plane of
    the rim a cubic is fitted to the surface round the hole; what the rim itself is off the cubic is
    carried inward by a thin plate, dying out. A hole whose rim does not lie over a plane once (one
    that goes half round the tube) has no such surface.
    """
    rim = vertices[loop]
    centre = rim.mean(axis=0)
    normal = np.cross(rim - centre, np.roll(rim, -1, axis=0) - centre).sum(axis=0)
    size = float(np.linalg.norm(normal))
    edge = float(np.linalg.norm(rim - np.roll(rim, 1, axis=0), axis=1).mean())
    if size < 1e-12 * edge**2 + 1e-300:
        return _fan(vertices, faces, loop) if len(loop) <= TRIVIAL else None
    normal = -normal / size  # the loop runs with the faces beside it: against the hole's own
    radius = float(np.sqrt(size / 2.0 / np.pi))
    lean = np.eye(3)[int(np.argmin(np.abs(normal)))]
    left = np.cross(lean, normal)
    left /= np.linalg.norm(left)
    frame = np.stack([left, np.cross(normal, left), normal])
    local = (rim - centre) @ frame.T
    polygon = shapely.Polygon(local[::-1, :2])
    if not polygon.is_valid:
        return _fan(vertices, faces, loop) if len(loop) <= TRIVIAL else None
    reach = radius * (1.0 + BAND) + 3.0 * edge
    near = np.linalg.norm(vertices - centre, axis=1) < max(reach, np.linalg.norm(local, axis=1).max() + 3.0 * edge)
    near &= np.abs((vertices - centre) @ normal) < reach
    inner = _inner_points(polygon, edge)
    vertices, faces, loop, local, triangles = _triangles(vertices, faces, loop, centre, frame, inner)
    if len(inner):
        band = (vertices[: len(near)][near] - centre) @ frame.T
        height = _continued(band, local, inner, radius)
        added = np.column_stack([inner, height]) @ frame + centre
    else:
        added = np.zeros((0, 3))
    index = np.concatenate([loop, len(vertices) + np.arange(len(added))])
    vertices = np.vstack([vertices, added])
    made = index[triangles]
    return vertices, np.concatenate([faces, made]), float(face_areas(vertices, made).sum())


def _fan(vertices: FloatArray, faces: IntArray, loop: IntArray) -> tuple[FloatArray, IntArray, float]:
    middle = len(vertices)
    vertices = np.vstack([vertices, vertices[loop].mean(axis=0)])
    made = np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), middle)])
    return vertices, np.concatenate([faces, made]), float(face_areas(vertices, made).sum())


def _inner_points(polygon: shapely.Polygon, edge: float) -> FloatArray:
    """Return points (n, 2) of a triangular grid in a hole, clear of its rim."""
    low_x, low_y, high_x, high_y = polygon.bounds
    rise = edge * np.sqrt(3.0) / 2.0
    y = np.arange(low_y, high_y + rise, rise)
    x = np.arange(low_x, high_x + edge, edge)
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    grid[1::2, :, 0] += edge / 2.0
    points = grid.reshape(-1, 2)
    room = polygon.buffer(-CLEAR * edge)
    return points[shapely.contains_xy(room, points[:, 0], points[:, 1])]


def _triangles(
    vertices: FloatArray, faces: IntArray, loop: IntArray, centre: FloatArray, frame: FloatArray, inner: FloatArray
) -> tuple[FloatArray, IntArray, IntArray, FloatArray, IntArray]:
    """Return the mesh, its loop, the loop's local places, and triangles over loop and inner points.

    Delaunay's, in the plane of the rim; an edge of the rim that it lacks is halved, with the face
    beside it, until it has all. Where that does not end, the rim is triangulated without points.
    """
    start = (vertices, faces, loop)
    for _ in range(MOST_SPLITS):
        local = (vertices[loop] - centre) @ frame.T
        points = np.vstack([local[:, :2], inner])
        mesh = Delaunay(points).simplices
        count = len(loop)
        sides = np.sort(np.concatenate([mesh[:, [0, 1]], mesh[:, [1, 2]], mesh[:, [2, 0]]]), axis=1)
        has = set((sides[:, 0] * len(points) + sides[:, 1]).tolist())
        k = np.arange(count)
        after = (k + 1) % count
        lacking = [int(i) for i in k if min(i, after[i]) * len(points) + max(i, after[i]) not in has]
        if not lacking:
            hole = shapely.Polygon(local[:, :2])
            middles = points[mesh].mean(axis=1)
            mesh = mesh[shapely.contains_xy(hole, middles[:, 0], middles[:, 1])]
            if abs(_flat_area(points, mesh) - hole.area) < 1e-6 * hole.area and _keeps_all(mesh, count):
                return vertices, faces, loop, local, _wound(points, mesh)
            break
        vertices, faces, loop = _halved(vertices, faces, loop, lacking)
    vertices, faces, loop = start
    local = (vertices[loop] - centre) @ frame.T
    ears = np.asarray(manifold3d.triangulate([local[::-1, :2]]), dtype=np.int64)
    return vertices, faces, loop, local, len(loop) - 1 - ears


def _keeps_all(mesh: IntArray, count: int) -> bool:
    """Return whether triangles use each side 0-1, 1-2, ... of the rim just once, and others twice."""
    sides = np.sort(np.concatenate([mesh[:, [0, 1]], mesh[:, [1, 2]], mesh[:, [2, 0]]]), axis=1)
    found, times = np.unique(sides, axis=0, return_counts=True)
    single = {tuple(e) for e in found[times == 1].tolist()}
    rim = {(min(i, (i + 1) % count), max(i, (i + 1) % count)) for i in range(count)}
    return single == rim and bool((times <= 2).all())


def _flat_area(points: FloatArray, mesh: IntArray) -> float:
    a, b, c = (points[mesh[:, k]] for k in range(3))
    return float(
        np.abs((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])).sum() / 2
    )


def _wound(points: FloatArray, mesh: IntArray) -> IntArray:
    a, b, c = (points[mesh[:, k]] for k in range(3))
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    return np.where((area > 0)[:, None], mesh, mesh[:, ::-1])


def _halved(
    vertices: FloatArray, faces: IntArray, loop: IntArray, sides: list[int]
) -> tuple[FloatArray, IntArray, IntArray]:
    """Return the mesh with the given edges of a loop halved, and the face beside each with it."""
    after = np.roll(loop, -1)
    added: list[FloatArray] = []
    rows: list[list[int]] = []
    gone: list[int] = []
    new_loop: list[int] = []
    halve = set(sides)
    taken: set[int] = set()
    for k, (a, b) in enumerate(zip(loop.tolist(), after.tolist(), strict=True)):
        new_loop.append(a)
        if k not in halve:
            continue
        beside = np.flatnonzero((faces == a).any(axis=1) & (faces == b).any(axis=1))
        beside = beside[[bool(_runs(faces[f], a, b)) for f in beside]] if len(beside) else beside
        if len(beside) != 1 or int(beside[0]) in taken:
            continue
        face = int(beside[0])
        taken.add(face)
        middle = len(vertices) + len(added)
        added.append((vertices[a] + vertices[b]) / 2.0)
        new_loop.append(middle)
        apex = int(faces[face][(faces[face] != a) & (faces[face] != b)][0])
        rows += [[a, middle, apex], [middle, b, apex]]
        gone.append(face)
    if not added:
        return vertices, faces, loop
    faces = np.concatenate([np.delete(faces, gone, axis=0), np.array(rows)])
    return np.vstack([vertices, np.array(added)]), faces, np.array(new_loop)


def _runs(face: IntArray, a: int, b: int) -> bool:
    return any(face[k] == a and face[(k + 1) % 3] == b for k in range(3))


def _continued(band: FloatArray, rim: FloatArray, inner: FloatArray, radius: float) -> FloatArray:
    """Return the heights (n,) at inner places of the surface that goes on from a band (k, 3) and rim."""
    if len(band) > MOST_BAND:
        band = band[np.linspace(0, len(band) - 1, MOST_BAND).astype(int)]
    terms = _cubic(band[:, :2] / radius)
    coefficients, *_ = np.linalg.lstsq(terms, band[:, 2], rcond=1e-8)
    off = rim[:, 2] - _cubic(rim[:, :2] / radius) @ coefficients
    own = cKDTree(rim[:, :2])
    keep = np.concatenate([[True], np.linalg.norm(np.diff(rim[:, :2], axis=0), axis=1) > 1e-9 * radius])
    carried = RBFInterpolator(rim[keep, :2] / radius, off[keep], kernel="linear")(inner / radius)
    # The rim's own roughness reaches no farther than a quarter of the hole.
    fade = np.exp(-4.0 * own.query(inner)[0] / radius)
    mean = float(off.mean())
    return _cubic(inner / radius) @ coefficients + mean + fade * (carried - mean)


def _cubic(p: FloatArray) -> FloatArray:
    x, y = p[:, 0], p[:, 1]
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3])
