"""Patch: a small hole in a scan is closed by a surface that continues what is round it.

A mesh and the loop of an open edge come in; the mesh with the hole closed, and the area made up, go
out.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
import shapely
from scipy.interpolate import RBFInterpolator
from scipy.spatial import Delaunay, cKDTree

from portgeo.core.plane import BoolArray, FloatArray, IntArray
from portgeo.core.port import Patch
from portgeo.core.triangles import face_areas, vector_areas

BAND = 1.0  # width of the surface round a hole that its patch continues, in radii of the hole
MOST_BAND = 600  # points of it that are used
PER_TERM = 3  # points of it at least for each term of the form that is fitted to it
CLEAR = 0.6  # of the rim's edge length, that inner points keep from the rim
MOST_SPLITS = 6  # rounds in which edges of the rim are halved until the patch keeps them
NEXT = 0.5  # of its radius: wall so near to a hole's rim tells the cylinder that it lies on
LEAST_WALL = 12  # points of it that tell one
UPRIGHT = 0.5  # sine between a hole's normal and the axis of its cylinder: less is a hole in an end
NEARLY_FLAT = 12.0  # of a hole's radius: a cylinder that is larger is a plane
MOST_ROUND = np.radians(100.0)  # to each side of a hole, that its wall is followed round its cylinder
DEEP = 0.5  # of the cylinder's radius: what is farther off it is another wall
FACING = 0.3  # cosine between a wall's normal and the cylinder's
TRIVIAL = 8  # edges of a loop so small that a fan closes it, whatever its form


@dataclass(frozen=True)
class _Chart:
    """Places about a hole as two lengths along a cylinder, or a plane, and a height over it.

    centre (3,) : on it. frame (3, 3) : the way round it, its axis, and outward at the centre. bend : one over its
    radius, negative where its axis lies outward; 0 for a plane.
    """

    centre: FloatArray
    frame: FloatArray
    bend: float

    def flat(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) of space in the chart."""
        local = (points - self.centre) @ self.frame.T
        if self.bend == 0.0:
            return np.asarray(local)
        x, y, z = local.T
        radius = 1.0 / self.bend
        height = np.sign(radius) * np.hypot(x, radius + z) - radius
        return np.column_stack([radius * np.arctan2(x * self.bend, 1.0 + z * self.bend), y, height])

    def solid(self, places: FloatArray) -> FloatArray:
        """Return places (n, 3) of the chart in space."""
        x, y, z = places.T
        if self.bend != 0.0:
            radius = 1.0 / self.bend
            out, turn = radius + z, x / radius
            x, z = out * np.sin(turn), out * np.cos(turn) - radius
        return np.asarray(np.column_stack([x, y, z]) @ self.frame + self.centre)

    def covers(self, points: FloatArray, normals: FloatArray, reach: float) -> BoolArray:
        """Return which points (n, 3) of the wall, with normals (n, 3), lie within reach of the centre in the chart."""
        places = self.flat(points)
        turn = places[:, 0] * self.bend
        around, _, out = self.frame
        facing = np.einsum("ij,ij->i", normals, np.cos(turn)[:, None] * out + np.sin(turn)[:, None] * around)
        deep = reach if self.bend == 0.0 else min(reach, DEEP / abs(self.bend))
        near = (np.hypot(places[:, 0], places[:, 1]) < reach) & (np.abs(places[:, 2]) < deep)
        return np.asarray(near & (np.abs(turn) < MOST_ROUND) & (facing > FACING))


def close_hole(vertices: FloatArray, faces: IntArray, loop: IntArray) -> tuple[FloatArray, IntArray, Patch] | None:
    """Return the mesh with an open edge closed and what was made up, None where no surface follows.

    loop : (k,) indices round the hole, in the direction of the faces beside it. The wall about the hole lies
    near a cylinder, or a plane. In lengths along that a polynomial is fitted to the wall's height over it; what the
    rim itself is off that is carried inward by a thin plate, dying out. A hole whose rim does not lie over
    the cylinder once (one that goes half round the tube) has no such surface. What a plainer
    polynomial makes of it bounds what is known of its height (a rectangular distribution, JCGM 100, 4.3.7).
    """
    rim = vertices[loop]
    middle = rim.mean(axis=0)
    # The loop runs with the faces beside it: against the hole's own way round.
    normal = -np.cross(rim - middle, np.roll(rim, -1, axis=0) - middle).sum(axis=0)
    size = float(np.linalg.norm(normal))
    edge = float(np.linalg.norm(rim - np.roll(rim, 1, axis=0), axis=1).mean())
    if size < 1e-12 * edge**2 + 1e-300:
        return _fan(vertices, faces, loop) if len(loop) <= TRIVIAL else None
    radius = float(np.sqrt(size / 2.0 / np.pi))
    reach = max(radius * (1.0 + BAND), float(np.linalg.norm(rim - middle, axis=1).max())) + 3.0 * edge
    wall, normals = _wall(vertices, faces, middle, 1.5 * reach)
    chart = _chart(rim, normal / size, radius, wall, normals, 2.0 * edge + NEXT * radius)
    local = chart.flat(rim)
    polygon = shapely.Polygon(local[::-1, :2])
    if not polygon.is_valid or np.abs(local[:, 0] * chart.bend).max() > MOST_ROUND:
        return _fan(vertices, faces, loop) if len(loop) <= TRIVIAL else None
    inner = _inner_points(polygon, edge)
    vertices, faces, loop, local, triangles = _triangles(vertices, faces, loop, chart, inner)
    added, doubt = np.zeros((0, 3)), 0.0
    if len(inner):
        band = chart.flat(wall[chart.covers(wall, normals, reach)])
        height, doubt = _continued(band, local, inner, radius)
        added = chart.solid(np.column_stack([inner, height]))
    index = np.concatenate([loop, len(vertices) + np.arange(len(added))])
    vertices = np.vstack([vertices, added])
    made = index[triangles]
    area = float(face_areas(vertices, made).sum())
    return vertices, np.concatenate([faces, made]), Patch(chart.centre, area, doubt)


def _wall(vertices: FloatArray, faces: IntArray, middle: FloatArray, reach: float) -> tuple[FloatArray, FloatArray]:
    """Return points (n, 3) of the mesh within reach of a place, and the normals (n, 3) there."""
    near = np.linalg.norm(vertices - middle, axis=1) < reach
    some = faces[near[faces].all(axis=1)]
    used, corner = np.unique(some, return_inverse=True)
    across = np.repeat(vector_areas(vertices, some), 3, axis=0)
    normals = np.column_stack([np.bincount(corner.ravel(), across[:, k], len(used)) for k in range(3)])
    return vertices[used], normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)


def _chart(
    rim: FloatArray, normal: FloatArray, radius: float, wall: FloatArray, normals: FloatArray, width: float
) -> _Chart:
    """Return the chart of the wall about a rim (k, 3) that spans a hole of some radius, square to `normal` (3,).

    wall, normals (n, 3) : points of the mesh; those within `width` of the rim tell the cylinder. Its axis lies
    across their normals, its circle is the least-squares one through them.
    """
    middle = rim.mean(axis=0)
    lean = np.eye(3)[int(np.argmin(np.abs(normal)))]
    level = np.cross(lean, normal) / np.linalg.norm(np.cross(lean, normal))
    plane = _Chart(middle, np.stack([np.cross(level, normal), level, normal]), 0.0)
    beside = cKDTree(rim).query(wall)[0] < width if len(wall) else np.zeros(0, dtype=bool)
    if beside.sum() < LEAST_WALL:
        return plane
    axis = np.linalg.eigh(normals[beside].T @ normals[beside])[1][:, 0]
    around = np.cross(axis, normal)
    if np.linalg.norm(around) < UPRIGHT:
        return plane
    around /= np.linalg.norm(around)
    out = np.cross(around, axis)
    x, z = ((wall[beside] - middle) @ np.stack([around, out]).T).T
    a, b, c = np.linalg.lstsq(np.column_stack([2.0 * x, 2.0 * z, np.ones_like(x)]), x * x + z * z, rcond=None)[0]
    bow = float(np.sqrt(max(c + a * a + b * b, 0.0)))
    if not 0.0 < bow < NEARLY_FLAT * radius:
        return plane
    # From the axis to the middle of the rim, outward: against it where the axis lies outward.
    side = -float(np.sign(b))
    arm = -(a * around + b * out)
    outward = side * arm / np.linalg.norm(arm)
    return _Chart(middle - arm + side * bow * outward, np.stack([np.cross(axis, outward), axis, outward]), side / bow)


def _fan(vertices: FloatArray, faces: IntArray, loop: IntArray) -> tuple[FloatArray, IntArray, Patch]:
    middle = len(vertices)
    vertices = np.vstack([vertices, vertices[loop].mean(axis=0)])
    made = np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), middle)])
    patch = Patch(vertices[middle], float(face_areas(vertices, made).sum()), 0.0)
    return vertices, np.concatenate([faces, made]), patch


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
    vertices: FloatArray, faces: IntArray, loop: IntArray, chart: _Chart, inner: FloatArray
) -> tuple[FloatArray, IntArray, IntArray, FloatArray, IntArray]:
    """Return the mesh, its loop, the loop's local places, and triangles over loop and inner points.

    Delaunay's, in the chart; an edge of the rim that it lacks is halved, with the face
    beside it, until it has all. Where that does not end, the rim is triangulated without points.
    """
    start = (vertices, faces, loop)
    for _ in range(MOST_SPLITS):
        local = chart.flat(vertices[loop])
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
    local = chart.flat(vertices[loop])
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


def _continued(band: FloatArray, rim: FloatArray, inner: FloatArray, radius: float) -> tuple[FloatArray, float]:
    """Return heights (n,) at inner places of the surface that goes on from a band (k, 3) and rim, and their doubt."""
    if len(band) > MOST_BAND:
        band = band[np.linspace(0, len(band) - 1, MOST_BAND).astype(int)]
    # The wall's form, as far as the band's points can tell it, and a plainer one.
    forms = [form for form in FORMS if len(band) >= PER_TERM * form(band[:1, :2]).shape[1]][:2] or [_linear]
    over = []
    for terms in forms:
        fit = np.linalg.lstsq(terms(band[:, :2] / radius), band[:, 2], rcond=1e-8)[0]
        over.append((terms(inner / radius) @ fit, rim[:, 2] - terms(rim[:, :2] / radius) @ fit))
    # Each is put right by what the rim is off it.
    (height, off), (plain, plain_off) = over[0], over[-1]
    doubt = float(np.sqrt(np.mean((height + off.mean() - plain - plain_off.mean()) ** 2) / 3.0))
    own = cKDTree(rim[:, :2])
    keep = np.concatenate([[True], np.linalg.norm(np.diff(rim[:, :2], axis=0), axis=1) > 1e-9 * radius])
    carried = RBFInterpolator(rim[keep, :2] / radius, off[keep], kernel="linear")(inner / radius)
    # The rim's own roughness reaches no farther than a quarter of the hole.
    fade = np.exp(-4.0 * own.query(inner)[0] / radius)
    mean = float(off.mean())
    return height + mean + fade * (carried - mean), doubt


def _linear(p: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(len(p)), p])


def _quadratic(p: FloatArray) -> FloatArray:
    x, y = p.T
    return np.column_stack([_linear(p), x * x, x * y, y * y])


def _sextic(p: FloatArray) -> FloatArray:
    """Return the terms (n, 18) of a wall's height, more of them round the tube, where it goes from flat to corner."""
    x, y = p.T
    third = [x**3, x * x * y, x * y * y, y**3]
    fourth = [x**4, x**3 * y, x * x * y * y, x * y**3, y**4]
    return np.column_stack([_quadratic(p), *third, *fourth, x**5, x**4 * y, x**6])


FORMS = (_sextic, _quadratic, _linear)
