"""Distance to a wall: the exact distance from any point to a port's wall, signed by which side it is on.

A triangle mesh without its openings comes in; closest points and signed distances go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import igl
import numpy as np

from portgeo.comparing.bulge import edge_bulges, vertex_normals
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.triangles import corners_of, lengths, vector_areas

CALM_ROUNDS = 4  # a normal then averages over about four edges each way
ON_EDGE = 1e-7  # barycentric: a closest point nearer than this to an edge is on it


@dataclass(frozen=True)
class Wall:
    """A port's wall, ready to be asked for distances.

    vertices : (n, 3). faces : (m, 3), outward, the two openings left open. normals : (m, 3) unit.
    tree : the boxes round its triangles. calm : (m, 3) the normals averaged over the faces round
    each, where the wall is noisy; else the normals themselves.
    """

    vertices: FloatArray
    faces: IntArray
    normals: FloatArray
    tree: igl.AABB
    calm: FloatArray

    @cached_property
    def rise(self) -> FloatArray:
        """How far the wall bulges over the middles of the edges (m, 3), see bulge."""
        return edge_bulges(self.vertices, self.faces, vertex_normals(self.vertices, self.faces, 1))

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """The angle-weighted normals (n, 3) of the vertices, not of unit length."""
        normals = np.zeros_like(self.vertices)
        for k in range(3):
            at = self.vertices[self.faces[:, k]]
            u = self.vertices[self.faces[:, (k + 1) % 3]] - at
            v = self.vertices[self.faces[:, (k + 2) % 3]] - at
            angle = np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.einsum("ij,ij->i", u, v))
            for axis in range(3):
                weight = angle * self.normals[:, axis]
                normals[:, axis] += np.bincount(self.faces[:, k], weight, minlength=len(normals))
        return normals

    @cached_property
    def edge_normals(self) -> FloatArray:
        """For each face (m, 3, 3) the normals of the edges opposite its corners, not of unit length."""
        ends = np.sort(np.stack([np.roll(self.faces, -k - 1, axis=1)[:, :2] for k in range(3)], axis=1), axis=2)
        key = (ends[..., 0] * len(self.vertices) + ends[..., 1]).ravel()
        _, edge = np.unique(key, return_inverse=True)
        of_face = np.repeat(self.normals, 3, axis=0)
        total = np.column_stack([np.bincount(edge, of_face[:, axis]) for axis in range(3)])
        return np.asarray(total[edge].reshape(-1, 3, 3), dtype=np.float64)


def wall_from(vertices: FloatArray, faces: IntArray, noise: float = 0.0) -> Wall:
    """Return the wall of outward faces (m, 3); of a noisy one the side is told by calmer normals."""
    vertices, faces = np.ascontiguousarray(vertices), np.ascontiguousarray(faces, dtype=np.int64)
    normals = vector_areas(vertices, faces)
    size = lengths(normals)
    whole = size > 0  # a face without area has no side
    faces, normals = faces[whole], normals[whole] / size[whole, None]
    tree = igl.AABB()
    tree.init(vertices, faces)
    calm = normals
    if noise > 0.0:
        at_points = vertex_normals(vertices, faces, CALM_ROUNDS)
        calm = corners_of(faces, len(vertices)) @ at_points
        calm /= np.maximum(lengths(calm), 1e-300)[:, None]
    return Wall(vertices, faces, normals, tree, calm)


def closest(wall: Wall, points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the closest points (k, 3) of a wall to points (k, 3), and the faces (k,) they lie on."""
    _, face, foot = wall.tree.squared_distance(wall.vertices, wall.faces, np.ascontiguousarray(points))
    return foot, face


def signed_distance(wall: Wall, points: FloatArray) -> FloatArray:
    """Return the distances (k,) of points (k, 3) from a wall, positive outside it (in the metal).

    The side is told by the pseudonormal of the face, edge or vertex that is closest, which is right
    for every closed manifold mesh (J. A. Baerentzen and H. Aanaes, "Signed distance computation using
    the angle weighted pseudonormal", IEEE Trans. Vis. Comput. Graph. 11, 2005). A scan's noise may
    fold its triangles over, so there the side is that of the normals averaged round about.
    """
    foot, face = closest(wall, points)
    arm = points - foot
    if wall.calm is not wall.normals:
        side = np.einsum("ij,ij->i", arm, wall.calm[face])
        return np.copysign(lengths(arm), side)
    corners = wall.vertices[wall.faces[face]]
    normal = wall.normals[face].copy()
    shares = barycentric(corners, foot)
    near = shares < ON_EDGE
    on_vertex, on_edge = near.sum(axis=1) >= 2, near.sum(axis=1) == 1
    if on_vertex.any():
        corner = np.argmax(shares[on_vertex], axis=1)
        normal[on_vertex] = wall.vertex_normals[wall.faces[face[on_vertex], corner]]
    if on_edge.any():
        normal[on_edge] = wall.edge_normals[face[on_edge], np.argmax(near[on_edge], axis=1)]
    side = np.einsum("ij,ij->i", arm, normal)
    return np.copysign(lengths(arm), side)


def barycentric(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Return the barycentric coordinates (k, 3) of points (k, 3) in triangles (k, 3, 3)."""
    u, v, w = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    uu, uv, vv = (np.einsum("ij,ij->i", a, b) for a, b in ((u, u), (u, v), (v, v)))
    wu, wv = np.einsum("ij,ij->i", w, u), np.einsum("ij,ij->i", w, v)
    det = np.maximum(uu * vv - uv * uv, 1e-300)
    second, third = (vv * wu - uv * wv) / det, (uu * wv - uv * wu) / det
    return np.column_stack([1.0 - second - third, second, third])
