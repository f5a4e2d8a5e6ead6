"""Bulge: how far a curved wall stands out from the flat triangles that are drawn through its points.

A wall mesh comes in; heights over the middles of its triangles' edges, heights at any place in a
triangle and the volume under them go out.

A chord e of a wall whose normal turns from n to m along it lies (m - n) . e / 8 under the wall in its
middle, and between three such edges the wall is taken as the quadratic through them. That is the most
it can be: the points of a mesh stand on the wall, or, once it was thinned out, a little outside it, so that
its flats straddle the wall. Which of the two is not known, so half of the bulge is a correction and
half of it an uncertainty (a rectangular distribution of that half-width, JCGM 100, 4.3.7).
"""

from __future__ import annotations

import numpy as np

from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.triangles import BLOCK, corners_of, lengths, vector_areas

SHARPEST = 0.6  # radians between the normals at an edge's ends: beyond it is a corner, and no bulge


def vertex_normals(vertices: FloatArray, faces: IntArray, rounds: int) -> FloatArray:
    """Return unit normals (n, 3) of vertices, by area, averaged over the faces round about `rounds` times."""
    corners = corners_of(faces, len(vertices))
    of_face = vector_areas(vertices, faces)
    area = lengths(of_face)
    normals = np.zeros_like(vertices)
    for turn in range(rounds):
        if turn > 0:
            of_face = (corners @ normals) * area[:, None]
        normals = corners.T @ of_face
        normals /= np.maximum(lengths(normals), 1e-300)[:, None]
    return normals


def edge_bulges(vertices: FloatArray, faces: IntArray, normals: FloatArray) -> FloatArray:
    """Return the heights (m, 3) of the wall over the middles of edges 01, 12 and 20; outward positive."""
    rise = np.empty(faces.shape)
    for k in range(0, len(faces), BLOCK):
        some = faces[k : k + BLOCK]
        at = [vertices.take(some[:, j], axis=0) for j in range(3)]
        leans = [normals.take(some[:, j], axis=0) for j in range(3)]
        for j in range(3):
            turned, edge = leans[(j + 1) % 3] - leans[j], at[(j + 1) % 3] - at[j]
            height = np.einsum("ij,ij->i", turned, edge) / 8.0
            rise[k : k + BLOCK, j] = np.where(np.einsum("ij,ij->i", turned, turned) < SHARPEST**2, height, 0.0)
    return rise


def bulge_at(rise: FloatArray, shares: FloatArray) -> FloatArray:
    """Return the heights (k,) at barycentric shares (k, 3) of triangles whose edges rise by (k, 3)."""
    return 4.0 * np.einsum("ij,ij,ij->i", rise, shares, np.roll(shares, -1, axis=1))


def mean_bulge(rise: FloatArray) -> FloatArray:
    """Return the mean heights (m,) over triangles whose edges rise by (m, 3): a quadratic's are its edges' middles'."""
    return rise @ np.full(3, 1.0 / 3.0)
