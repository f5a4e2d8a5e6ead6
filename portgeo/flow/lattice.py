"""Tetrahedra inside a closed surface, of a lattice whose points near the surface are moved onto it.

Triangles, outward, of one solid or of several that touch or overlap, come in; points and tetrahedra go out. The
lattice is that of cubes of five tetrahedra, every other one turned; edges are cut where the surface crosses them, and
a lattice point that is close to a cut is moved there first (after F. Labelle and J. R. Shewchuk, Isosurface stuffing,
ACM Trans. Graph. 26, 2007, whose lattice is another one).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray, IntArray

CLOSE = 0.25  # of an edge: a cut so near to one of its ends draws that end onto itself
TOUCHING = 1e-3  # of the spacing: solids that are no farther apart are one
ROUNDING = 1e-6  # of an edge
LEAST_VOLUME = 1e-4  # of a cube's: a tetrahedron that is flatter has all its corners on the wall, and is left out
SHIFT = np.array([0.38197, 0.70711, 0.14142])  # of the spacing: no lattice point then lies on a flat wall by intent
ORDER = np.array([1.0, 0.7548776662466927, 0.5698402909980532])  # steps that no two lattice points share the sum of


@dataclass(frozen=True)
class Tetrahedra:
    """points (n, 3), and tetrahedra (m, 4) of positive volume."""

    points: FloatArray
    corners: IntArray

    @property
    def volume(self) -> FloatArray:
        """Volumes (m,)."""
        return volumes(self.points, self.corners)


def volumes(points: FloatArray, corners: IntArray) -> FloatArray:
    """Return the signed volumes (m,) of tetrahedra (m, 4)."""
    edge = points[corners[:, 1:]] - points[corners[:, :1]]
    return np.asarray(np.einsum("mj,mj->m", np.cross(edge[:, 0], edge[:, 1]), edge[:, 2]) / 6.0)


def fill(vertices: FloatArray, faces: IntArray, spacing: float, box: FloatArray) -> Tetrahedra:
    """Return tetrahedra inside closed triangles (m, 3) of vertices (n, 3), most edges a spacing or its diagonal long.

    box (2, 3) : the lowest and highest corner of what is filled, no farther than a spacing.
    """
    low = np.floor(box[0] / spacing + SHIFT).astype(np.int64) - 1
    shape = tuple(np.ceil(box[1] / spacing + SHIFT).astype(np.int64) + 2 - low)
    at = vertices / spacing + SHIFT - low
    even = int(low.sum()) % 2  # parity of lattice points, told by their own whole numbers from (0, 0, 0) on
    ways = [(axis, 0) for axis in range(3)] + [(axis, side) for axis in range(3) for side in (1, -1)]
    crossings = [_crossings(at, faces, axis, side, even) for axis, side in ways]
    inside = _inside(crossings[0], shape)
    sign = np.where(inside, 1, -1).astype(np.int8).ravel()
    points = np.stack(np.meshgrid(*(np.arange(n, dtype=float) for n in shape), indexing="ij"), axis=-1).reshape(-1, 3)
    starts, ends, share = _cuts(crossings, ways, shape, sign, even)
    _draw_near(points, sign, starts, ends, share)
    still = (sign[starts] * sign[ends]) < 0
    key = np.minimum(starts, ends)[still] * len(points) + np.maximum(starts, ends)[still]
    cut = points[starts[still]] + share[still, None] * (points[ends[still]] - points[starts[still]])
    key, first = np.unique(key, return_index=True)
    kept, every = _clipped(points, _tetrahedra(shape, inside, even), sign, key, cut[first])
    return _whole((every + low - SHIFT) * spacing, kept, spacing)


def cut_off(mesh: Tetrahedra, height: FloatArray, normal: FloatArray, spacing: float) -> Tetrahedra:
    """Return what of tetrahedra has heights below 0: heights (n,) of the points over a plane with a normal (3,).

    Points near the plane are moved onto it along the normal. A height of -inf is one that is not cut.
    """
    near = np.abs(height) < CLOSE * spacing
    points = mesh.points - np.where(near, height, 0.0)[:, None] * normal
    sign = np.where(near, 0, np.where(height < 0.0, 1, -1)).astype(np.int8)
    pairs = mesh.corners[:, [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]].reshape(-1, 2)
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    crossed = sign[low] * sign[high] < 0
    key, first = np.unique(low[crossed] * len(points) + high[crossed], return_index=True)
    one, other = low[crossed][first], high[crossed][first]
    ends = np.where(np.isfinite(height), height, -spacing)
    share = np.clip(ends[one] / (ends[one] - ends[other]), 0.0, 1.0)[:, None]
    cut = points[one] + share * (points[other] - points[one])
    kept, every = _clipped(points, mesh.corners, sign, key, cut)
    return _whole(every, kept, spacing)


def _whole(points: FloatArray, corners: IntArray, spacing: float) -> Tetrahedra:
    """Return the tetrahedra that are not flat, turned to a positive volume, and the points that they use."""
    size = volumes(points, corners)
    corners = np.where((size < 0.0)[:, None], corners[:, [0, 1, 3, 2]], corners)
    corners = corners[np.abs(size) > LEAST_VOLUME * spacing**3]
    used, place = np.unique(corners, return_inverse=True)
    return Tetrahedra(points[used], place.reshape(-1, 4))


@dataclass(frozen=True)
class _Crossings:
    """Where lines of lattice points go through the surface: line (k, 2), how far along (k,), 1 into it and -1 out."""

    line: IntArray
    along: FloatArray
    into: IntArray


def _crossings(at: FloatArray, faces: IntArray, axis: int, side: int, even: int) -> _Crossings:
    """Return the crossings of lines along an axis, or along its diagonal with the next axis, side 1 or -1.

    Lines are told by the two whole numbers that stay along them. Those of diagonals go through even points alone.
    """
    t, u, v = at[:, axis], at[:, (axis + 1) % 3] - side * at[:, axis], at[:, (axis + 2) % 3]
    flat = np.stack([u, v], axis=1)
    corner = flat[faces]
    low = np.ceil(corner.min(axis=1)).astype(np.int64)
    count = np.maximum(np.floor(corner.max(axis=1)).astype(np.int64) - low + 1, 0)
    many = count.prod(axis=1)
    face = np.repeat(np.arange(len(faces)), many)
    place = np.arange(len(face)) - np.repeat(np.cumsum(many) - many, many)
    line = low[face] + np.stack([place // np.maximum(count[face, 1], 1), place % np.maximum(count[face, 1], 1)], axis=1)
    if side:
        own = (line.sum(axis=1) + even) % 2 == 0
        face, line = face[own], line[own]
    area = np.stack([_beside(flat, faces[face, k], faces[face, (k + 1) % 3], line) for k in range(3)], axis=1)
    turns = area[..., 1]
    hit = (turns == turns[:, :1]).all(axis=1)
    weight = area[hit, :, 0][:, [1, 2, 0]]
    whole = weight.sum(axis=1)
    hit_faces = faces[face[hit]]
    level = np.where(
        whole == 0.0,
        t[hit_faces].mean(axis=1),
        (weight * t[hit_faces]).sum(axis=1) / np.where(whole == 0.0, 1.0, whole),
    )
    line, into = line[hit], np.where(turns[hit, 0] > 0.0, -1, 1)
    # Out of one solid and into the next that touches it is no way out.
    late = level + np.where(into < 0, TOUCHING, 0.0)
    order = np.lexsort([late, line[:, 1], line[:, 0]])
    line, into, level = line[order], into[order], level[order]
    depth = np.cumsum(into)  # each line leaves all that it enters
    through = (depth > 0) != (depth - into > 0)
    return _Crossings(line[through], level[through], into[through])


def _beside(flat: FloatArray, one: IntArray, other: IntArray, point: IntArray) -> FloatArray:
    """Return, for each point (k, 2), twice its triangle's area with an edge, and which side of it it is on: (k, 2).

    Both triangles at an edge see the same side: it is told from the edge's lower vertex on, and a point on it is taken
    to lie a little farther along, and still less across (simulation of simplicity).
    """
    swapped = one > other
    start, end = np.where(swapped, other, one), np.where(swapped, one, other)
    way, arm = flat[end] - flat[start], point - flat[start]
    area = way[:, 0] * arm[:, 1] - way[:, 1] * arm[:, 0]
    side = np.sign(area)
    side = np.where(side == 0.0, -np.sign(way[:, 1]), side)
    side = np.where(side == 0.0, np.sign(way[:, 0]), side)
    turned = np.where(swapped, -1.0, 1.0)
    return np.stack([area * turned, side * turned], axis=1)


def _inside(crossings: _Crossings, shape: tuple[int, ...]) -> np.ndarray:
    """Return whether each lattice point lies inside, by the crossings of the lines along x."""
    change = np.zeros(shape, np.int64)
    first = np.maximum(np.ceil(crossings.along).astype(np.int64), 0)  # what is crossed ahead of them all counts
    own = (first < shape[0]) & ((crossings.line >= 0) & (crossings.line < shape[1:])).all(axis=1)
    np.add.at(change, (first[own], *crossings.line[own].T), crossings.into[own])
    return np.asarray(np.cumsum(change, axis=0) > 0)


def _cuts(
    crossings: list[_Crossings], ways: list[tuple[int, int]], shape: tuple[int, ...], sign: np.ndarray, even: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the edges with one end inside: where they start and end (k,), and the share of each before its cut."""
    starts, ends, shares = [], [], []
    grid = np.arange(int(np.prod(shape))).reshape(shape)
    parity = (np.indices(shape).sum(axis=0) + even) % 2
    for found, (axis, side) in zip(crossings, ways, strict=True):
        step = np.zeros(3, np.int64)
        step[axis], step[(axis + 1) % 3] = 1, side
        low = tuple(slice(1, -1) for _ in range(3))
        here = grid[low]
        there = grid[tuple(slice(1 + s, n - 1 + s) for s, n in zip(step, shape, strict=True))]
        differ = sign[here] != sign[there]
        if side:
            differ &= parity[low] == 0
        share = np.full(grid.size, 0.5)  # where rounding hid the crossing
        # One at a lattice point is at the end of the one edge and the start of the next: whichever is cut.
        for nudge in (-ROUNDING, ROUNDING, 0.0):
            first = np.floor(found.along + nudge).astype(np.int64)
            node = np.empty((len(first), 3), np.int64)
            node[:, axis], node[:, (axis + 2) % 3] = first, found.line[:, 1]
            node[:, (axis + 1) % 3] = found.line[:, 0] + side * first
            own = ((node >= 0) & (node < shape)).all(axis=1)
            share[np.ravel_multi_index(tuple(node[own].T), shape)] = np.clip(found.along - first, 0.0, 1.0)[own]
        starts.append(here[differ])
        ends.append(there[differ])
        shares.append(share[here[differ]])
    return np.concatenate(starts), np.concatenate(ends), np.concatenate(shares)


def _draw_near(points: FloatArray, sign: np.ndarray, starts: IntArray, ends: IntArray, share: FloatArray) -> None:
    """Move lattice points that are close to a cut onto the nearest one of theirs, where their sign becomes 0."""
    way = points[ends] - points[starts]
    length = np.linalg.norm(way, axis=1)
    cut = points[starts] + share[:, None] * way
    node = np.concatenate([starts, ends])
    off = np.concatenate([share, 1.0 - share])
    far = np.concatenate([length, length]) * off
    place = np.concatenate([cut, cut])
    near = off < CLOSE
    order = np.lexsort([far[near], node[near]])
    node, place = node[near][order], place[near][order]
    node, first = np.unique(node, return_index=True)
    points[node], sign[node] = place[first], 0


CUBE = np.array([[0, 0, 0], [1, 1, 0], [1, 0, 1], [0, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 1]])
# The four corners of CUBE of one kind, and each of the other kind with its three neighbours.
FIVE = np.array([[0, 1, 2, 3], [4, 0, 1, 2], [5, 0, 1, 3], [6, 0, 2, 3], [7, 1, 2, 3]])


def _tetrahedra(shape: tuple[int, ...], inside: np.ndarray, even: int) -> IntArray:
    """Return the tetrahedra (m, 4) of the cubes that have a corner inside, but for the outermost."""
    cubes = tuple(n - 1 for n in shape)
    some = np.zeros(cubes, bool)
    for corner in CUBE:
        some |= inside[tuple(slice(c, c + n) for c, n in zip(corner, cubes, strict=True))]
    found = []
    cube = np.argwhere(some[1:-1, 1:-1, 1:-1]) + 1  # the edges of the outermost are not all known
    parity = (cube.sum(axis=1) + even) % 2
    for kind in (0, 1):
        own = cube[parity == kind]
        corners = CUBE if kind == 0 else np.array([1, 0, 0]) + np.array([-1, 1, 1]) * CUBE
        number = np.stack([np.ravel_multi_index(tuple((own + corner).T), shape) for corner in corners], axis=1)
        found.append(number[:, FIVE].reshape(-1, 4))
    return np.concatenate(found)


def _clipped(
    points: FloatArray, tets: IntArray, sign: np.ndarray, key: IntArray, cut: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the part of tetrahedra whose points have signs of 1 and 0, and all points, those of cuts at the end.

    key (c,) : of the cut edges, lower point times points plus higher, in order; cut (c, 3) : where.
    """
    total = len(points)
    every = np.concatenate([points, cut])
    rank = every @ ORDER

    def at(one: IntArray, other: IntArray) -> IntArray:
        """What stands on an edge from a point inside: the other point where it is on the wall, else the cut."""
        place = np.searchsorted(key, np.minimum(one, other) * total + np.maximum(one, other))
        return np.where(sign[other] == 0, other, total + np.minimum(place, len(key) - 1))

    order = np.argsort(-sign[tets], axis=1, kind="stable")
    tets = np.take_along_axis(tets, order, axis=1)
    signs = sign[tets]
    plus, minus = (signs > 0).sum(axis=1), (signs < 0).sum(axis=1)
    kept = [tets[(minus == 0) & (plus > 0)]]
    p, q, r, m = tets[(plus == 1) & (minus > 0)].T
    kept.append(np.stack([p, at(p, q), at(p, r), at(p, m)], axis=1))
    p, q, z, m = tets[(plus == 2) & (minus == 1)].T
    kept += _pyramids(rank, np.stack([p, q, at(q, m), at(p, m)], axis=1), z)
    p, q, m, n = tets[(plus == 2) & (minus == 2)].T
    kept += _prisms(rank, np.stack([p, at(p, m), at(p, n)], axis=1), np.stack([q, at(q, m), at(q, n)], axis=1))
    p, q, r, m = tets[(plus == 3) & (minus == 1)].T
    kept += _prisms(rank, np.stack([p, q, r], axis=1), np.stack([at(p, m), at(q, m), at(r, m)], axis=1))
    return np.concatenate(kept), every


def _pyramids(rank: FloatArray, base: IntArray, top: IntArray) -> list[IntArray]:
    """Return pyramids in two: each base (n, 4) is cut from its first corner by rank."""
    first = np.argmin(rank[base], axis=1)
    base = np.take_along_axis(base, (first[:, None] + np.arange(4)) % 4, axis=1)
    return [np.column_stack([base[:, [0, 1, 2]], top]), np.column_stack([base[:, [0, 2, 3]], top])]


def _prisms(rank: FloatArray, one: IntArray, other: IntArray) -> list[IntArray]:
    """Return prisms with ends (n, 3) in three: each of their quads is cut from its first corner by rank."""
    first = np.argmin(rank[np.concatenate([one, other], axis=1)], axis=1)
    turned = (first[:, None] + np.arange(3)) % 3
    swap = (first >= 3)[:, None]
    a = np.take_along_axis(np.where(swap, other, one), turned, axis=1)
    b = np.take_along_axis(np.where(swap, one, other), turned, axis=1)
    to_b2 = np.minimum(rank[a[:, 1]], rank[b[:, 2]]) < np.minimum(rank[a[:, 2]], rank[b[:, 1]])
    mid = np.where(to_b2, b[:, 2], b[:, 1])
    rest = np.where(to_b2, a[:, 1], a[:, 2])
    return [
        np.column_stack([a[:, 0], b]),
        np.column_stack([a, mid]),
        np.column_stack([a[:, 0], rest, b[:, 1], b[:, 2]]),
    ]
