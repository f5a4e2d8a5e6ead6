"""Face: the mesh about an end of a tube, and the flat face or rim that the tube ends in.

Vertices and faces and where the end lies come in; the region there, and planes through its face, go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.core.plane import FloatArray, IntArray
from portgeo.scan.course import plane_frame

# All lengths below are in radii of the tube's own section (of the circle of its area).
FACING = 0.3  # cosine between a vertex's normal and the tube's heading on the face of an end
COVERED = 0.4  # share of the core that a face must cover: less is an open end
PIECE, MOST_SPLITS = 0.25, 8  # triangles are split down to this size before they are counted
MOST_PIECES = 60_000  # that an end is judged by: bounds the work
NEAR_FACE = 0.1  # of a face's plane: what is of the face, domed or chipped as it may be
WAVY = 0.01  # rms of a face that is still flat (0.2 mm on a 40 mm throat)
OBLIQUE = np.radians(35.0)  # a face farther out of square is not taken for the opening


def angle_between(a: FloatArray, b: FloatArray) -> float:
    """Return the angle between two vectors (3,)."""
    return float(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b))


@dataclass(frozen=True)
class Region:
    """The mesh about an end: z heights along the heading and flat (n, 2) places across it."""

    vertices: FloatArray
    faces: IntArray
    normals: FloatArray
    z: FloatArray
    flat: FloatArray


def region_about(
    vertices: FloatArray,
    faces: IntArray,
    point: FloatArray,
    frame: FloatArray,
    along: tuple[float, float],
    aside: float,
) -> Region:
    """Return the mesh from `along[0]` to `along[1]` beyond a point, no farther than `aside` from its axis.

    Faces that reach out of it are in it whole: planes within meet no ragged edge.
    """
    height = vertices @ frame[0] - point @ frame[0]
    near = (height > along[0]) & (height < along[1])
    some = np.flatnonzero(near)
    far = np.einsum("ij,ij->i", vertices[some] - point, vertices[some] - point) - height[some] ** 2 > aside**2
    near[some[far]] = False
    inside = faces[near[faces[:, 0]] | near[faces[:, 1]] | near[faces[:, 2]]]
    near[inside.ravel()] = True
    some = np.flatnonzero(near)
    index = np.empty(len(vertices), dtype=np.int64)
    index[some] = np.arange(len(some))
    v, f = vertices[some], index[inside]
    a, b, c = v[f[:, 0]], v[f[:, 1]], v[f[:, 2]]
    cross = np.cross(b - a, c - a)
    corner = f.ravel()
    normals = np.column_stack([np.bincount(corner, np.repeat(cross[:, k], 3), len(v)) for k in range(3)])
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    return Region(v, f, normals, height[some], (v - point) @ frame[1:].T)


@dataclass(frozen=True)
class FlatFace:
    """A plane through points: a point in it, its normal, the inliers' rms and their share."""

    origin: FloatArray
    normal: FloatArray
    rms: float
    share: float


def flat_face(points: FloatArray, towards: FloatArray) -> FlatFace | None:
    """Return the plane that most of the points (n, 3) lie in, its normal on the side of `towards`.

    Least median of squares over drawn triples, then least squares on what is within three standard
    deviations (Rousseeuw, J. Am. Stat. Assoc. 79, 1984). None for fewer than 8 points.
    """
    if len(points) < 8:
        return None
    draw = np.random.default_rng(len(points))
    some = points if len(points) <= 1500 else points[np.linspace(0, len(points) - 1, 1500).astype(int)]
    triples = some[draw.integers(0, len(some), (300, 3))]
    normals = np.cross(triples[:, 1] - triples[:, 0], triples[:, 2] - triples[:, 0])
    size = np.linalg.norm(normals, axis=1)
    normals, triples = normals[size > 0] / size[size > 0, None], triples[size > 0]
    if len(normals) == 0:
        return None
    off = np.abs(some @ normals.T - np.einsum("ij,ij->i", normals, triples[:, 0]))
    median = np.median(off, axis=0)
    best = int(np.argmin(median))
    origin, normal, spread = triples[best, 0], normals[best], 1.4826 * float(median[best])
    inlier = np.ones(len(points), dtype=bool)
    for _ in range(6):
        inlier = np.abs((points - origin) @ normal) <= 3.0 * spread + 1e-9
        if inlier.sum() < 4:
            return None
        origin = points[inlier].mean(axis=0)
        normal = np.linalg.svd(points[inlier] - origin, full_matrices=False)[2][2]
        spread = max(float(np.sqrt(np.mean(((points[inlier] - origin) @ normal) ** 2))), 1e-9)
    normal = normal if normal @ towards > 0 else -normal
    return FlatFace(origin, normal, spread, float(inlier.mean()))


@dataclass(frozen=True)
class Face:
    """The face that closes an end, seen through the core: its plane, height, top, depth and all its points (n, 3)."""

    origin: FloatArray
    normal: FloatArray
    is_flat: bool
    level: float
    top: float
    depth: float
    points: FloatArray


def _pieces(region: Region, point: FloatArray, heading: FloatArray, radius: float) -> tuple[FloatArray, int]:
    """Return triangles (k, 3, 3) beyond a point, large ones split, and how many each stands for.

    A flat face may have only a few.
    """
    beyond = (region.z[region.faces] > -0.5 * radius).all(axis=1)
    pieces = region.vertices[region.faces[beyond]]
    for _ in range(MOST_SPLITS):
        side = np.linalg.norm(pieces - np.roll(pieces, 1, axis=1), axis=2).max(axis=1)
        large = side > PIECE * radius
        if not large.any() or large.sum() > MOST_PIECES:
            break
        a, b, c = (pieces[large, k] for k in range(3))
        ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
        split = [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        pieces = np.concatenate([pieces[~large], *split])
    every = max(len(pieces) // MOST_PIECES, 1)
    return pieces[::every], every


def face_of(
    region: Region, core: shapely.Polygon, point: FloatArray, heading: FloatArray, radius: float, noise: float
) -> Face | None:
    """Return the face of an end, None where nothing closes it."""
    pieces, every = _pieces(region, point, heading, radius)
    cross = np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0])
    middles = pieces.mean(axis=1)
    flat = (middles - point) @ plane_frame(heading)[1:].T
    faces_out = cross @ heading > FACING * np.linalg.norm(cross, axis=1)
    on = faces_out & shapely.contains_xy(core, flat[:, 0], flat[:, 1])
    if every * (cross[on] @ heading).sum() / 2.0 < COVERED * core.area:
        return None
    points = middles[on]
    z = (points - point) @ heading
    low, top = np.percentile(z, [2.0, 98.0])
    fit = flat_face(points, heading)
    if fit is None:
        return None
    is_flat = (
        fit.rms < max(WAVY * radius, 2.5 * noise) and fit.share > 0.6 and angle_between(fit.normal, heading) < OBLIQUE
    )
    level = float((fit.origin - point) @ heading) if is_flat else float(np.median(z))
    off = np.abs((middles - fit.origin) @ fit.normal)
    near = middles[faces_out & (off < NEAR_FACE * radius)]
    return Face(fit.origin, fit.normal, is_flat, level, float(top), float(top - low), near)
