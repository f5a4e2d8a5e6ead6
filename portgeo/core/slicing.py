"""Slicing: all planes of a row through a mesh in one pass, and the loop of each that is the tube.

A triangle mesh and planes come in; directed loops, or Sections, go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import Section

BLOCK = 16384  # vertices or faces per pass: their side of 200 planes stays in a core's cache


@dataclass(frozen=True)
class Loops:
    """Plane cuts of a mesh, loop after loop.

    points : (m, 3), in order round each loop, counterclockwise about the plane's normal where the
    solid is inside. first : (k + 1,), loop j is points[first[j]:first[j + 1]]. plane : (k,), the
    plane each loop lies in, rising. gap : (k,), distance between the ends of a loop that the mesh
    leaves open, 0 for a closed one.
    """

    points: FloatArray
    first: IntArray
    plane: IntArray
    gap: FloatArray

    def loop(self, j: int) -> FloatArray:
        """Return the points (n, 3) of loop j."""
        return self.points[self.first[j] : self.first[j + 1]]


def slice_mesh(vertices: FloatArray, faces: IntArray, origins: FloatArray, normals: FloatArray) -> Loops:
    """Return the loops in which planes cut a mesh.

    vertices (n, 3); faces (m, 3), wound outward; origins (p, 3) and normals (p, 3) of the planes.
    A vertex on a plane counts as below it, so every loop closes wherever the mesh does. Each cut
    point lies on a mesh edge and is one point for both faces there.
    """
    above = _sides(vertices, origins, normals)
    face, plane = _crossed(above, faces)
    if len(face) == 0:
        empty = np.zeros(0, dtype=np.int64)
        return Loops(np.zeros((0, 3)), np.zeros(1, dtype=np.int64), empty, np.zeros(0))

    corner = faces[face]
    word, bit = plane >> 6, (plane & 63).astype(np.uint64)
    up = ((above[corner, word[:, None]] >> bit[:, None]) & np.uint64(1)).astype(bool)
    # A segment runs from the edge that goes down through the plane to the edge that comes up.
    falls = np.argmax(up & ~np.roll(up, -1, axis=1), axis=1)
    rises = np.argmax(~up & np.roll(up, -1, axis=1), axis=1)
    row = np.arange(len(face))
    start = np.column_stack([corner[row, falls], corner[row, (falls + 1) % 3]])
    end = np.column_stack([corner[row, (rises + 1) % 3], corner[row, rises]])

    following = _join(start, end, plane, len(vertices))
    points = _on_edges(vertices, start, origins[plane], normals[plane])
    return _trace(following, plane, points, vertices, end, origins, normals)


def _sides(vertices: FloatArray, origins: FloatArray, normals: FloatArray) -> NDArray[np.uint64]:
    """Return (n, words): bit p of a row tells whether that vertex is above plane p."""
    count = len(normals)
    offset = np.einsum("ij,ij->i", origins, normals)
    words = np.zeros((len(vertices), -(-count // 64)), dtype="<u8")
    octets = words.view(np.uint8)
    across = np.ascontiguousarray(normals.T)
    for k in range(0, len(vertices), BLOCK):
        above = vertices[k : k + BLOCK] @ across > offset
        octets[k : k + BLOCK, : -(-count // 8)] = np.packbits(above, axis=1, bitorder="little")
    return words


def _crossed(above: NDArray[np.uint64], faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return the (face, plane) pairs in which a plane parts a face's vertices, by plane."""
    found: list[tuple[IntArray, IntArray]] = []
    for k in range(0, len(faces), BLOCK):
        a, b, c = (above[faces[k : k + BLOCK, j]] for j in range(3))
        parted = (a | b | c) & ~(a & b & c)
        face, word = np.nonzero(parted)
        bits = parted[face, word]
        while len(bits):
            lowest = bits & (~bits + np.uint64(1))
            plane = word * 64 + np.log2(lowest.astype(np.float64)).astype(np.int64)
            found.append((face + k, plane))
            bits = bits & ~lowest
            left = bits != 0
            face, word, bits = face[left], word[left], bits[left]
    if not found:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    face, plane = (np.concatenate(part) for part in zip(*found, strict=True))
    # By as few bits as do: numpy sorts those of two bytes by counting, ten times as fast.
    order = np.argsort(plane.astype(np.min_scalar_type(plane.max())), kind="stable")
    return face[order], plane[order]


def _join(start: IntArray, end: IntArray, plane: IntArray, count: int) -> IntArray:
    """Return for each segment the one that begins where it ends, -1 where the mesh is open."""
    start_key = (plane * count + start[:, 0]) * count + start[:, 1]
    end_key = (plane * count + end[:, 0]) * count + end[:, 1]
    starts, ends = np.argsort(start_key, kind="stable"), np.argsort(end_key, kind="stable")
    sorted_starts, sorted_ends = start_key[starts], end_key[ends]
    # Where more than two faces share an edge, the k-th segment in goes on as the k-th out.
    rank = np.arange(len(ends)) - np.searchsorted(sorted_ends, sorted_ends)
    place = np.searchsorted(sorted_starts, sorted_ends) + rank
    inside = np.minimum(place, len(starts) - 1)
    matched = (place < len(starts)) & (sorted_starts[inside] == sorted_ends)
    following = np.full(len(start), -1, dtype=np.int64)
    following[ends[matched]] = starts[inside[matched]]
    return following


def _on_edges(vertices: FloatArray, edges: IntArray, origins: FloatArray, normals: FloatArray) -> FloatArray:
    """Return where edges (k, 2), above to below, meet their planes, (k, 3)."""
    a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
    over = np.einsum("ij,ij->i", a - origins, normals)
    under = np.einsum("ij,ij->i", b - origins, normals)
    drop = over - under
    fraction = np.clip(np.divide(over, drop, out=np.zeros_like(over), where=drop > 0), 0.0, 1.0)
    return a + fraction[:, None] * (b - a)


def _trace(
    following: IntArray,
    plane: IntArray,
    points: FloatArray,
    vertices: FloatArray,
    end: IntArray,
    origins: FloatArray,
    normals: FloatArray,
) -> Loops:
    """Return the segments put in order round their loops."""
    walk, bounds = _walk(following)
    loop_plane = plane[walk[bounds[:-1]]]
    tail = walk[bounds[1:] - 1]
    is_open = following[tail] < 0
    gap = np.zeros(len(tail))
    if is_open.any():
        # An open loop needs its last point too: where its last segment ends.
        lost = tail[is_open]
        last = _on_edges(vertices, end[lost], origins[plane[lost]], normals[plane[lost]])
        gap[is_open] = np.linalg.norm(last - points[walk[bounds[:-1][is_open]]], axis=1)
        points = np.vstack([points, last])
        walk = np.insert(walk, bounds[1:][is_open], len(following) + np.arange(len(last)))
        bounds = bounds + np.concatenate([[0], np.cumsum(is_open)])
    by_plane = np.argsort(loop_plane, kind="stable")
    sizes = np.diff(bounds)[by_plane]
    first_sorted = np.concatenate([[0], np.cumsum(sizes)])
    take = np.repeat(bounds[:-1][by_plane] - first_sorted[:-1], sizes) + np.arange(first_sorted[-1])
    return Loops(points[walk[take]], first_sorted, loop_plane[by_plane], gap[by_plane])


def _walk(following: IntArray) -> tuple[IntArray, IntArray]:
    """Return the segments (n,) in order loop after loop, and the bounds (k + 1,) of the loops.

    following : (n,) the segment after each, -1 at an open end. Open rows first, each from its
    beginning; then closed ones, each from its lowest segment. The end of every loop is linked to the
    beginning of the next, so that one search along the whole chain (in compiled code) puts all in order.
    """
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    count = len(following)
    has_next = following >= 0
    first_out = np.concatenate([[0], np.cumsum(has_next)])
    chain = csr_matrix((np.ones(first_out[-1], dtype=np.int8), following[has_next], first_out), shape=(count, count))
    loop = connected_components(chain, directed=False)[1]
    before = np.full(count, -1, dtype=np.int64)
    before[following[has_next]] = np.flatnonzero(has_next)
    heads = np.flatnonzero(before < 0)
    lowest = np.unique(loop, return_index=True)[1]
    is_open = np.zeros(len(lowest), dtype=bool)
    is_open[loop[heads]] = True
    begins = np.concatenate([heads, np.sort(lowest[~is_open[loop[lowest]]])])
    tails = np.flatnonzero(~has_next)
    tail_of = np.empty(len(lowest), dtype=np.int64)
    tail_of[loop[tails]] = tails
    closed = begins[len(heads) :]
    tail_of[loop[closed]] = before[closed]
    link = following.copy()
    ends = tail_of[loop[begins]]
    link[ends[:-1]] = begins[1:]
    link[ends[-1]] = -1
    has_next = link >= 0
    first_out = np.concatenate([[0], np.cumsum(has_next)])
    chain = csr_matrix((np.ones(count - 1, dtype=np.int8), link[has_next], first_out), shape=(count, count))
    walk = breadth_first_order(chain, begins[0], return_predecessors=False).astype(np.int64)
    sizes = np.bincount(loop)[loop[begins]]
    return walk, np.concatenate([[0], np.cumsum(sizes)])


def tube_sections(loops: Loops, origins: FloatArray, frames: FloatArray) -> list[Section | None]:
    """Return for each plane the section that carries the tube, None where the plane cuts none.

    loops : of those planes, each within the mesh. origins (p, 3), frames (p, 3, 3). The tube is the
    smallest solid loop round the plane's origin, else the nearest one; holes inside it are its
    islands; all other loops (debris, another reach of the same port) are left out.
    """
    if len(loops.plane) == 0:
        return [None] * len(origins)
    size = np.diff(loops.first)
    of_point = np.repeat(loops.plane, size)
    arm = loops.points - origins[of_point]
    flat = np.einsum("nkj,nj->nk", frames[of_point][:, 1:], arm)
    following = np.arange(1, len(flat) + 1)
    following[loops.first[1:] - 1] = loops.first[:-1]
    q = flat[following]
    twice = _by_loop(flat[:, 0] * q[:, 1] - flat[:, 1] * q[:, 0], loops.first)
    winds = _by_loop(_winding(flat, q), loops.first) != 0
    distance = np.minimum.reduceat(np.einsum("ij,ij->i", flat, flat), loops.first[:-1])

    sections: list[Section | None] = []
    bounds = np.searchsorted(loops.plane, np.arange(len(origins) + 1))
    for k in range(len(origins)):
        here = np.arange(bounds[k], bounds[k + 1])
        solid = here[twice[here] > 0]
        if len(solid) == 0:
            sections.append(None)
            continue
        round_it = solid[winds[solid]]
        tube = round_it[np.argmin(twice[round_it])] if len(round_it) else solid[np.argmin(distance[solid])]
        outline = flat[loops.first[tube] : loops.first[tube + 1]]
        holes = [flat[loops.first[j] : loops.first[j + 1]] for j in here[twice[here] < 0]]
        islands = tuple(h for h in holes if _contains(outline, h[0]))
        sections.append(Section(outline, origins[k], frames[k], islands))
    return sections


def _by_loop(values: NDArray, first: IntArray) -> NDArray:
    """Return the sums of values over each loop."""
    return np.add.reduceat(values, first[:-1])


def _winding(p: FloatArray, q: FloatArray) -> IntArray:
    """Return for edges p -> q (n, 2) their share of the winding number about the origin."""
    side = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    rising = (p[:, 1] <= 0) & (q[:, 1] > 0) & (side > 0)
    falling = (p[:, 1] > 0) & (q[:, 1] <= 0) & (side < 0)
    return rising.astype(np.int64) - falling.astype(np.int64)


def _contains(outline: FloatArray, point: FloatArray) -> bool:
    p = outline - point
    return bool(_winding(p, np.roll(p, -1, axis=0)).sum() != 0)
