"""Removed metal as a solid: closed, manifold, outward, meeting itself nowhere, as a file will hold it.

A Comparison comes in; vertices and faces, rounded to single precision, go out, or a refusal.

The outer skin is AFTER's wall where it was cut, the inner one the same triangles drawn in to BEFORE's
wall, and a rim joins the two. (A boolean of two skins that run together where nothing was cut leaves
thousands of edges there that rounding folds.) Wherever the skin is still at fault, as where feet run
together in a sharp corner, the triangle is left out; a solid that would lose too much is not written.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from portgeo.comparing.comparison import Comparison
from portgeo.comparing.depth_map import FAINT, FLOOR_MM, LEAST_PATCH_MM2
from portgeo.comparing.distance import closest
from portgeo.comparing.register import wall_of
from portgeo.comparing.tube import walled
from portgeo.core.errors import OutputError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.triangles import face_areas, pairs_meet, volume

SHORT_OF_FOOT = 0.002  # of the depth, that the inner skin stops short: feet in a sharp corner stay apart
LEAST_KEPT = 0.97  # of the volume: the rest may be left out to have a sound skin
HALF = 0.5  # of a cut's weight: where it is counted
ROUNDS = 12  # of leaving out
PAIRS_AT_ONCE = 500_000


def removed_mesh(found: Comparison) -> tuple[FloatArray, IntArray]:
    """Return the removed metal as a closed mesh in BEFORE's source coordinates; empty for none.

    Of the stretch both ports have, where the cut is deeper than the noise. Raises OutputError where no
    sound skin can be drawn.
    """
    part, depth, before = found.after_wedges, found.depth, found.before
    wall = wall_of(walled(before))
    map_ = found.map
    least = max(FLOOR_MM, FAINT * map_.threshold)
    cut = (depth.calm > least) & (depth.at_vertices > FLOOR_MM) & (map_.at(map_.cut, part.where) > HALF)
    patch = _large(part.vertices, part.faces[cut[part.faces].all(axis=1)])
    if len(patch) == 0:
        return np.zeros((0, 3)), patch
    used, own = np.unique(patch, return_inverse=True)
    outer = part.vertices[used]
    foot, _ = closest(wall, outer)
    inner = foot + SHORT_OF_FOOT * (outer - foot)
    points = before.to_source(np.vstack([outer, inner])).astype(np.float32).astype(np.float64)
    patch = own.reshape(-1, 3)
    whole = None
    for _ in range(ROUNDS):
        faces, of_patch = _closed_over(patch, len(used))
        whole = volume(points, faces) if whole is None else whole
        bad = faulty(points, faces)
        if not bad.any():
            if not volume(points, faces) >= LEAST_KEPT * whole:
                break
            kept, numbered = np.unique(faces, return_inverse=True)
            return points[kept], numbered.reshape(-1, 3)
        left = np.ones(len(patch), dtype=bool)
        left[of_patch[bad]] = False
        if not left.any():
            break
        patch = patch[left]
    raise OutputError(
        "no sound solid can be drawn of the removed metal: its skin would meet itself",
        hint="Leave out --removed-mesh and look at the depth (--depth-mesh, --picture)",
    )


def _large(vertices: FloatArray, faces: IntArray) -> IntArray:
    """Return the faces (m, 3) of patches that are no specks."""
    if len(faces) == 0:
        return faces
    label = _pieces(faces, len(vertices))[faces[:, 0]]
    return faces[np.bincount(label, face_areas(vertices, faces))[label] >= LEAST_PATCH_MM2]


def _pieces(faces: IntArray, count: int) -> IntArray:
    edges = coo_array((np.ones(2 * len(faces)), (faces[:, :2].ravel(), faces[:, 1:].ravel())), shape=(count, count))
    return np.asarray(connected_components(edges, directed=False)[1], dtype=np.int64)


def _closed_over(patch: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Return the skin (m, 3) round a patch: itself, its copy `count` on turned over, and a rim; and which
    of the patch's faces each belongs to (m,)."""
    start, end = patch.ravel(), np.roll(patch, -1, axis=1).ravel()
    rim = ~np.isin(start * count + end, end * count + start)
    a, b = start[rim], end[rim]
    own = np.arange(len(patch))
    side = np.repeat(own, 3)[rim]
    faces = [
        patch,
        patch[:, ::-1] + count,
        np.column_stack([b, a, a + count]),
        np.column_stack([b, a + count, b + count]),
    ]
    return np.concatenate(faces), np.concatenate([own, own, side, side])


def faulty(vertices: FloatArray, faces: IntArray) -> np.ndarray:
    """Return which faces (m,) of a skin that should enclose a solid spoil it, points in one place made one.

    Those with no area, with an edge that is not of two faces turned alike, with a corner where two fans
    of faces touch, and those that meet a face they share no corner with.
    """
    _, number = np.unique(vertices, axis=0, return_inverse=True)
    faces = number.ravel()[faces]
    welded = np.zeros((int(number.max()) + 1, 3))
    welded[number.ravel()] = vertices
    count = len(welded)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    key, back = start * count + end, end * count + start
    _, at, times = np.unique(key, return_inverse=True, return_counts=True)
    bad: np.ndarray = ((times[at.ravel()] > 1) | ~np.isin(key, back)).reshape(-1, 3).any(axis=1)
    bad |= face_areas(welded, faces) == 0.0
    bad |= _pinched(faces, key, back)
    bad |= _meeting(welded, faces)
    return bad


def _pinched(faces: IntArray, key: IntArray, back: IntArray) -> np.ndarray:
    """Return which faces (m,) have a corner where two fans of faces meet in that one point only."""
    order = np.argsort(key, kind="stable")
    twin = order[np.minimum(np.searchsorted(key[order], back), len(order) - 1)]  # the same edge on the next face
    corner = np.arange(faces.size)
    after = np.roll(corner.reshape(-1, 3), -1, axis=1).ravel()
    fans = coo_array((np.ones(faces.size), (corner, after[twin])), shape=(faces.size, faces.size))
    fan = connected_components(fans, directed=False)[1]
    point, there = np.unique(np.unique(np.column_stack([faces.ravel(), fan]), axis=0)[:, 0], return_counts=True)
    return np.asarray(np.isin(faces, point[there > 1]).any(axis=1), dtype=bool)


def _meeting(vertices: FloatArray, faces: IntArray) -> np.ndarray:
    """Return which faces (m,) meet another that has no corner in common with them."""
    corners = vertices[faces]
    low, high = corners.min(axis=1), corners.max(axis=1)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    one, other = shapely.STRtree(boxes).query(boxes)
    keep = (one < other) & (low[one, 2] <= high[other, 2]) & (high[one, 2] >= low[other, 2])
    one, other = one[keep], other[keep]
    apart = ~(faces[one][:, :, None] == faces[other][:, None, :]).any(axis=(1, 2))
    one, other = one[apart], other[apart]
    bad = np.zeros(len(faces), dtype=bool)
    for k in range(0, len(one), PAIRS_AT_ONCE):
        a, b = one[k : k + PAIRS_AT_ONCE], other[k : k + PAIRS_AT_ONCE]
        hit = pairs_meet(corners[a], corners[b])
        bad[a[hit]] = bad[b[hit]] = True
    return bad
