"""Triangles: their areas, the plain sums over a closed mesh, and whether two sets of them meet.

Vertices and faces come in; numbers and yes or no go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from portgeo.core.plane import FloatArray, IntArray

IN_PLANE = 1e-9  # radians: an edge this near to a face's plane lies in it and passes through nothing
PAIRS_AT_ONCE = 2_000_000  # triangle pairs tested in one numpy pass: bounds the memory
BLOCK = 16384  # faces per pass: what is worked out of them stays in a core's cache

if TYPE_CHECKING:
    from scipy.sparse import csr_array


@dataclass(frozen=True, eq=False)
class Triangles:
    """A mesh: vertices (n, 3) and faces (m, 3)."""

    vertices: FloatArray
    faces: IntArray

    @cached_property
    def volume(self) -> float:
        """The volume inside."""
        return volume(self.vertices, self.faces)

    @cached_property
    def area(self) -> float:
        """The area of all faces."""
        return float(face_areas(self.vertices, self.faces).sum())

    @property
    def face_count(self) -> int:
        """How many faces there are."""
        return len(self.faces)


def volume(vertices: FloatArray, faces: IntArray) -> float:
    """Return the volume inside a closed mesh, positive where it is wound outward.

    Sum of signed tetrahedra about the mesh's middle (divergence theorem).
    """
    # A tetrahedron's is a third of what its face passes of the field that points away from the middle.
    towards = (vertices - vertices.mean(axis=0)).take(faces[:, 0], axis=0)
    return float(np.einsum("ij,ij->", towards, vector_areas(vertices, faces)) / 3.0)


def vector_areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return for faces (m, 3) their areas times their unit normals (m, 3)."""
    found = np.empty((len(faces), 3))
    for k in range(0, len(faces), BLOCK):
        a, b, c = (vertices.take(faces[k : k + BLOCK, j], axis=0) for j in range(3))
        found[k : k + BLOCK] = cross(b - a, c - a)
    found /= 2.0
    return found


def face_areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the areas (m,) of faces (m, 3)."""
    return lengths(vector_areas(vertices, faces))


def mesh_edge(vertices: FloatArray, faces: IntArray) -> float:
    """Return the usual length of an edge of a mesh: the median of the edges of some faces."""
    corners = vertices[faces[:: max(len(faces) // 20000, 1)]]
    return float(np.median(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)))


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the cross products (..., 3) of two rows of vectors (..., 3): numpy's own copies both of them first."""
    found = np.empty_like(a)
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        found[..., k] = a[..., i] * b[..., j] - a[..., j] * b[..., i]
    return found


def lengths(rows: FloatArray) -> FloatArray:
    """Return the lengths (n,) of vectors (n, 3)."""
    return np.sqrt(np.einsum("ij,ij->i", rows, rows))


def corners_of(faces: IntArray, count: int) -> csr_array:
    """Return (m, count), 1 where a face of faces (m, 3) has one of `count` vertices at a corner.

    Its product with values at the vertices sums them over each face; its transpose's with values of
    the faces sums them round each vertex. Several times as fast as numpy's bincount.
    """
    from scipy.sparse import csr_array

    first = np.arange(0, faces.size + 1, 3)
    return csr_array((np.ones(faces.size), faces.ravel(), first), shape=(len(faces), count))


def used_by(faces: IntArray, count: int) -> IntArray:
    """Return which of `count` vertices faces (m, 3) use, rising; fifty times as fast as a sort of all corners."""
    used = np.zeros(count, dtype=bool)
    used[faces] = True
    return np.flatnonzero(used)


def meet(vertices: FloatArray, one: IntArray, other: IntArray) -> bool:
    """Return whether any face of `one` (k, 3) meets any of `other` (l, 3).

    Only faces in the part of space that both sets share are tried.
    """
    corners_one, corners_other = vertices[one], vertices[other]
    low = np.maximum(corners_one.min(axis=(0, 1)), corners_other.min(axis=(0, 1)))
    high = np.minimum(corners_one.max(axis=(0, 1)), corners_other.max(axis=(0, 1)))
    if (low > high).any():
        return False
    near_one, near_other = (
        c[((c.max(axis=1) >= low) & (c.min(axis=1) <= high)).all(axis=1)] for c in (corners_one, corners_other)
    )
    step = max(PAIRS_AT_ONCE // max(len(near_other), 1), 1)
    for k in range(0, len(near_one), step):
        some = near_one[k : k + step]
        touching = (
            (some.min(axis=1)[:, None] <= near_other.max(axis=1))
            & (some.max(axis=1)[:, None] >= near_other.min(axis=1))
        ).all(axis=2)
        i, j = np.nonzero(touching)
        if pairs_meet(some[i], near_other[j]).any():
            return True
    return False


def pairs_meet(one: FloatArray, other: FloatArray) -> np.ndarray:
    """Return for pairs of triangles (n, 3, 3) whether they meet, (n,) of bool.

    Two triangles meet where an edge of either passes through the other (Moller and Trumbore's test,
    J. Graphics Tools 2, 1997); two that lie in one plane do not.
    """
    return _pierces(one, other) | _pierces(other, one)


def _pierces(one: FloatArray, other: FloatArray) -> np.ndarray:
    """Return whether an edge of triangles `one` (n, 3, 3) passes through `other`, pair by pair."""
    hit = np.zeros(len(one), dtype=bool)
    base, side, rise = other[:, 0], other[:, 1] - other[:, 0], other[:, 2] - other[:, 0]
    area = np.linalg.norm(np.cross(side, rise), axis=1)
    for k in range(3):
        start = one[:, k]
        run = one[:, (k + 1) % 3] - start
        across = np.cross(run, rise)
        det = np.einsum("ij,ij->i", side, across)
        through = np.abs(det) > IN_PLANE * area * np.linalg.norm(run, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            arm = start - base
            u = np.einsum("ij,ij->i", arm, across) / det
            lift = np.cross(arm, side)
            v = np.einsum("ij,ij->i", run, lift) / det
            t = np.einsum("ij,ij->i", rise, lift) / det
            hit |= through & (u > 0) & (v > 0) & (u + v < 1) & (t > 0) & (t < 1)
    return hit
