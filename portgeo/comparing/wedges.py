"""Volume by place: how much of a port's air stands behind each triangle of its wall.

A wall mesh and a tube come in; triangles cut to a stretch of stations and no longer than asked, with
the volume between each and the middle of the section, go out. The sides of such a wedge run straight
to the middle in the planes of the sections, so the wedges of two walls fill the same part of space
exactly where they cover the same stations and clock positions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import manifold3d
import numpy as np
from scipy.sparse import csr_array

from portgeo.comparing.tube import Places, Tube, Walled, joined, places, wall_faces
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.triangles import BLOCK, Triangles, corners_of, cross, lengths, vector_areas, volume

END_SLACK_MM = 1e-4  # a flat opening's points are not cut off for their last digits
LONGEST_EDGE_MM = 1.0  # of the triangles that depth is measured on: a cut is many times as wide


@dataclass(frozen=True)
class Wedges:
    """Triangles of a wall and the volume behind each.

    vertices (n, 3), faces (m, 3), where : the vertices' places in the tube. volumes : (m,), mm^3.
    """

    vertices: FloatArray
    faces: IntArray
    where: Places
    volumes: FloatArray

    @cached_property
    def corners(self) -> csr_array:
        """Which triangle has which vertices (m, n), see triangles.corners_of."""
        return corners_of(self.faces, len(self.vertices))

    @cached_property
    def vector_areas(self) -> FloatArray:
        """Areas of the triangles times their unit normals (m, 3)."""
        return vector_areas(self.vertices, self.faces)

    @cached_property
    def normals(self) -> FloatArray:
        """Unit normals of the vertices (n, 3), by area."""
        normals = self.shared_out(self.vector_areas)
        return normals / np.maximum(lengths(normals), 1e-300)[:, None]

    @cached_property
    def areas(self) -> FloatArray:
        """Area that each vertex stands for (n,): a third of its triangles'."""
        return self.shared_out(lengths(self.vector_areas))

    def shared_out(self, amounts: FloatArray) -> FloatArray:
        """Return amounts (m, ...) of the triangles shared out evenly among their corners (n, ...)."""
        return self.corners.T @ amounts / 3.0

    @property
    def total(self) -> float:
        """Volume behind the whole wall: of the port, between its end planes."""
        return float(self.volumes.sum())


def solid_of(vertices: FloatArray, faces: IntArray, name: str) -> manifold3d.Manifold:
    """Return a closed mesh as a solid. Raises GeometryError, naming it, where it is open."""
    mesh = manifold3d.Mesh64(
        vert_properties=np.ascontiguousarray(vertices), tri_verts=np.ascontiguousarray(faces, dtype=np.uint64)
    )
    made = manifold3d.Manifold(mesh)
    if made.status() != manifold3d.Error.NoError or made.volume() <= 0.0:
        raise _open(name)
    return made


def _open(name: str) -> GeometryError:
    return GeometryError(
        f"the mesh of {name} is not closed, so it holds no volume to compare",
        hint="Close its holes in the program it came from, so that one skin is left, and export it again",
    )


def _closed(faces: IntArray, count: int) -> bool:
    """Return whether every edge of faces (m, 3) is met by as many faces one way as the other."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    return bool(np.array_equal(np.sort(start * count + end), np.sort(end * count + start)))


def arrays_of(made: manifold3d.Manifold) -> tuple[FloatArray, IntArray]:
    """Return vertices (n, 3) and faces (m, 3) of a solid."""
    mesh = made.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64)


def refuse_open(port: Port, name: str) -> None:
    """Raise GeometryError, naming a port, where its mesh is open."""
    if not _closed(port.faces, len(port.vertices)) or volume(port.vertices, port.faces) <= 0.0:
        raise _open(name)


def finely(part: Walled) -> Walled:
    """Return a port with no edge of its wall much longer than LONGEST_EDGE_MM, on the same surface."""
    port = part.port
    a, b, c = (port.vertices[port.faces[part.is_wall, k]] for k in range(3))
    longest = max(float(np.einsum("ij,ij->i", d, d).max()) for d in (b - a, c - b, a - c)) ** 0.5
    if longest <= 2.0 * LONGEST_EDGE_MM:
        return part
    solid = solid_of(port.vertices, port.faces, "the port")
    vertices, faces = arrays_of(solid.refine_to_length(LONGEST_EDGE_MM))
    fine = replace(port, mesh=Triangles(vertices, faces))
    return Walled(fine, part.tube, wall_faces(fine, part.tube))


def wedges(tube: Tube, vertices: FloatArray, faces: IntArray, stretch: tuple[float, float]) -> Wedges:
    """Return the wedges of wall faces (m, 3) between two stations; faces across an end are cut there."""
    where = places(tube, vertices)
    outside = (where.station < stretch[0] - END_SLACK_MM) | (where.station > stretch[1] + END_SLACK_MM)
    if outside.any():
        station = where.station
        for level, sign in ((stretch[0], 1.0), (stretch[1], -1.0)):
            old = len(vertices)
            vertices, faces = _above(vertices, faces, sign * (station - level))
            station = np.concatenate([station, np.full(len(vertices) - old, level)])
        where = joined([where, places(tube, vertices[len(where.station) :])])
    return Wedges(vertices, faces, where, _prisms(vertices, where.feet, faces))


def _above(vertices: FloatArray, faces: IntArray, height: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the part of a mesh where height (n,), linear on each face, is not negative."""
    over = height[faces] >= 0.0
    count = over.sum(axis=1)
    whole = faces[count == 3]
    parts, points, base = [whole], [vertices], len(vertices)
    for corners in (1, 2):
        cut, flags = faces[count == corners], over[count == corners]
        if len(cut) == 0:
            continue
        # Turn each face so that the corner that is alone on its side comes first.
        alone = np.argmax(flags == (corners == 1), axis=1)
        turned = np.take_along_axis(cut, (alone[:, None] + np.arange(3)) % 3, axis=1)
        a, b, c = turned.T
        new = []
        for other in (b, c):
            t = height[a] / (height[a] - height[other])
            new.append(vertices[a] + t[:, None] * (vertices[other] - vertices[a]))
        points += new
        ab = base + np.arange(len(cut))
        ac = ab + len(cut)
        base += 2 * len(cut)
        if corners == 1:
            parts.append(np.column_stack([a, ab, ac]))
        else:
            parts += [np.column_stack([ab, b, c]), np.column_stack([ab, c, ac])]
    return np.concatenate(points), np.concatenate(parts)


def _prisms(vertices: FloatArray, feet: FloatArray, faces: IntArray) -> FloatArray:
    """Return the volumes (m,) between faces and their corners' feet.

    By the divergence theorem over the prism's skin; a warped side counts as the mean of its two
    foldings, so what one wedge has there its neighbour lacks.
    """
    found = np.empty(len(faces))
    for k in range(0, len(faces), BLOCK):
        one, two, three = faces[k : k + BLOCK].T
        # From the first corner's foot, so that all that has this foot in it is nothing.
        origin = feet[one]
        a, b, c = vertices[one] - origin, vertices[two] - origin, vertices[three] - origin
        q, r = feet[two] - origin, feet[three] - origin
        over = cross(b, c)
        six = 2.0 * _dot(a, over) - _dot(q + r, over) + _dot(b + c, cross(q, r))
        found[k : k + BLOCK] = six + _dot(a, cross(q, b) + cross(c, r))
    return found / 12.0


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.einsum("ij,ij->i", a, b)
