"""Skin: rings of corresponding points become a closed mesh; and whether its strips fold over.

Rings in space come in; vertices and outward faces go out, and what can be told of them without making any.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import manifold3d
import numpy as np
from numpy.typing import NDArray

from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WELD_MM
from portgeo.core.surface import Surface
from portgeo.core.triangles import cross, pairs_meet

FOLD_REACH = 16  # faces to each side along a strip: a fold is a matter of neighbours, thin as they may be
SURELY_FLAT = np.pi / 2.0 - 1e-6  # radians: a run of faces that turns by less, face by face, does not turn back


@dataclass(frozen=True, eq=False)
class Rings:
    """A tube with flat ends: rings of corresponding points, and its closed mesh, made when it is first asked for.

    surface : that they stand on. stations : (k,), rising. coordinates : (k, 3, m) of the rings' points, each for
    itself in memory. frames : (k, 3, 3) of their planes.
    """

    surface: Surface
    stations: FloatArray
    coordinates: FloatArray
    frames: FloatArray

    @property
    def space(self) -> FloatArray:
        """The rings' points (k, m, 3)."""
        return self.coordinates.swapaxes(1, 2)

    @cached_property
    def _mesh(self) -> tuple[FloatArray, IntArray]:
        return skin(self.space, self.frames)

    @property
    def vertices(self) -> FloatArray:
        """The mesh's vertices (n, 3)."""
        return self._mesh[0]

    @property
    def faces(self) -> IntArray:
        """The mesh's faces (n, 3), outward."""
        return self._mesh[1]

    @cached_property
    def _edges(self) -> FloatArray:
        """From each point of a ring to the next one (k, 3, m)."""
        return np.roll(self.coordinates, -1, axis=2) - self.coordinates

    @cached_property
    def _kept(self) -> NDArray[np.bool_]:
        """Which points are apart from the point before them (k, m)."""
        return np.roll(_along(self._edges, 1) > WELD_MM, 1, axis=1)

    @cached_property
    def face_count(self) -> int:
        """How many faces the mesh has: one for each side of a ring in each strip beside it, and two flat ends."""
        sides = self._kept.sum(axis=1)
        return int(2 * sides.sum() - 4)

    @cached_property
    def normals(self) -> FloatArray:
        """Vector areas, twice, of each patch's two faces (k - 1, 3, 2 m) in order round their strips."""
        here, on, rungs = self._edges[:-1], self._edges[1:], np.diff(self.coordinates, axis=0)
        # A patch is parted the shorter way; a tie goes one way, whatever the rounding.
        onward = (_along(rungs + on, 1) <= _along(rungs - here, 1) + WELD_MM)[:, None]
        normals = np.empty((*rungs.shape, 2))
        for face, edge in enumerate((np.where(onward, on, here), np.where(onward, here, on))):
            rung = np.roll(rungs, -face, axis=2)
            for k in range(3):
                i, j = (k + 1) % 3, (k + 2) % 3
                normals[:, k, :, face] = edge[:, i] * rung[:, j] - edge[:, j] * rung[:, i]
        return normals.reshape(len(rungs), 3, -1)

    @cached_property
    def _sizes(self) -> FloatArray:
        """Lengths (k - 1, 2 m) of the normals."""
        return _along(self.normals, 1)

    @cached_property
    def _ends(self) -> tuple[FloatArray, FloatArray]:
        """Vector areas, twice, of the two flat ends, outward (2, 3), and a point of each (2, 3)."""
        points = self.space[[0, -1]]
        arm = points - points[:, :1]
        return cross(arm, np.roll(arm, -1, axis=1)).sum(axis=1) * [[-1.0], [1.0]], points[:, 0]

    @cached_property
    def volume(self) -> float:
        """Volume of the mesh (divergence theorem, as triangles.volume)."""
        middle = self.coordinates.mean(axis=(0, 2))[:, None]
        a = self.coordinates[:-1] - middle
        # The first face of a patch has its first point, the second one the next: any point of a face does.
        normals = self.normals.reshape(*a.shape, 2)
        walls = np.vdot(a, normals[..., 0]) + np.vdot(np.roll(a, -1, axis=2), normals[..., 1])
        ends, points = self._ends
        return float((walls + np.vdot(points - middle[:, 0], ends)) / 6.0)

    @cached_property
    def area(self) -> float:
        """Area of the mesh, its two ends among it."""
        return float((self._sizes.sum() + np.linalg.norm(self._ends[0], axis=1).sum()) / 2.0)

    @cached_property
    def folds(self) -> NDArray[np.bool_]:
        """Whether the strip after each ring but the last cuts itself, (k - 1,).

        Where a strip's faces turn by less than 90 degrees from any to those FOLD_REACH beyond it none can.
        """
        kept, normals, size = self._kept, self.normals, self._sizes
        following, its_size = (np.roll(part, -1, axis=-1) for part in (normals, size))
        with np.errstate(divide="ignore", invalid="ignore"):
            cosine = np.einsum("kin,kin->kn", normals, following) / (size * its_size)
        turn = np.arccos(np.clip(np.nan_to_num(cosine, nan=-1.0), -1.0, 1.0))
        reach = min(FOLD_REACH, turn.shape[1])
        total = np.cumsum(np.concatenate([np.zeros((len(turn), 1)), turn, turn[:, :reach]], axis=1), axis=1)
        # Points that are one make faces of nothing, which turn to nowhere.
        doubtful = ~(kept[:-1] & kept[1:]).all(axis=1)
        doubtful |= (total[:, reach:] - total[:, :-reach]).max(axis=1) > SURELY_FLAT
        folded = np.zeros(len(turn), dtype=bool)
        tried = np.flatnonzero(doubtful)
        for run in np.split(tried, np.flatnonzero(np.diff(tried) > 1) + 1) if len(tried) else ():
            folded[run] = folds(self.space[run[0] : run[-1] + 2, kept.any(axis=0)])
        return folded


def skin(space: FloatArray, frames: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return vertices and outward faces of rings (k, m, 3) joined to a tube with flat ends.

    frames (k, 3, 3) are those of the rings' planes. Points of a ring closer than WELD_MM are one.
    """
    vertices, first, faces = tube_strips(space)
    caps = []
    for k, outward in ((0, -1), (len(space) - 1, 1)):
        ring = vertices[first[k] : first[k + 1]]
        triangles = manifold3d.triangulate([(ring - ring[0]) @ frames[k, 1:].T])
        caps.append(np.asarray(triangles, dtype=np.int64)[:, ::outward] + first[k])
    return vertices, np.concatenate([faces, *caps])


def tube_strips(space: FloatArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Return vertices (n, 3) of rings (k, m, 3), where each ring's begin (k + 1,), and the faces between the rings.

    Both ends are open. Points of a ring closer than WELD_MM are one.
    """
    vertices, first, strips = _strips(space)
    faces = strips.reshape(-1, 3)
    return vertices, first, faces[_sound(faces)]


def net(rings: int, places: int) -> IntArray:
    """Return the faces (2 (rings - 1) places, 3) between rings of `places` points each, open at both ends.

    Points are numbered ring by ring, round each counterclockwise as the rings' own frames see them;
    faces are then outward.
    """
    ring, place = (part.ravel() for part in np.meshgrid(np.arange(rings - 1), np.arange(places), indexing="ij"))
    a, b = ring * places + place, ring * places + (place + 1) % places
    c, d = a + places, b + places
    return np.stack([np.column_stack([a, b, d]), np.column_stack([a, d, c])], axis=1).reshape(-1, 3)


def _strips(space: FloatArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Return vertices (n, 3), where each ring's begin (k + 1,), and faces (k - 1, 2 m, 3) by strip.

    Faces follow each other round their strip; where points are one, some have no area.
    """
    keep = _along(space - np.roll(space, 1, axis=1), 2) > WELD_MM
    count = keep.sum(axis=1)
    first = np.concatenate([[0], np.cumsum(count)])
    index = first[:-1, None] + (np.cumsum(keep, axis=1) - 1) % count[:, None]
    vertices = space[keep]
    a, d = index[:-1], index[1:]
    b, c = np.roll(a, -1, axis=1), np.roll(d, -1, axis=1)
    ac = np.linalg.norm(vertices[c] - vertices[a], axis=2)
    bd = np.linalg.norm(vertices[d] - vertices[b], axis=2)
    by_ac = (ac <= bd + WELD_MM)[..., None]  # a tie goes one way, whatever the rounding
    one = np.where(by_ac, np.stack([a, c, d], axis=2), np.stack([a, b, d], axis=2))
    other = np.where(by_ac, np.stack([a, b, c], axis=2), np.stack([b, c, d], axis=2))
    return vertices, first, np.stack([one, other], axis=2).reshape(len(space) - 1, -1, 3)


def _along(vectors: FloatArray, axis: int) -> FloatArray:
    """Return the lengths of vectors whose three coordinates lie along an axis."""
    return np.asarray(np.sqrt((vectors * vectors).sum(axis=axis)))


def _sound(faces: IntArray) -> NDArray[np.bool_]:
    """Return which faces (..., 3) have three corners."""
    a, b, c = (faces[..., k] for k in range(3))
    return (a != b) & (b != c) & (c != a)


def folds(space: FloatArray) -> NDArray[np.bool_]:
    """Return whether the strip after each ring but the last cuts itself, (k - 1,).

    Faces near each other round a strip can only meet where the skin turns back on itself: where the
    normals of two of them point more than 90 degrees apart. There all near pairs are tried.
    """
    vertices, _, strips = _strips(space)
    corners = vertices[strips]
    low, high = corners.min(axis=2), corners.max(axis=2)
    normal = cross(corners[:, :, 1] - corners[:, :, 0], corners[:, :, 2] - corners[:, :, 0])
    near = np.zeros(strips.shape[:2], dtype=bool)
    count = strips.shape[1]
    onward = normal[:, np.arange(count + FOLD_REACH) % count]
    for step in range(1, FOLD_REACH + 1):
        turned = np.einsum("ijk,ijk->ij", normal, onward[:, step : step + count]) < 0
        if turned.any():
            near |= turned | np.roll(turned, step, axis=1)
    if not near.any():
        return np.zeros(len(strips), dtype=bool)
    for step in (1, 2, 4, 8):  # dilated by 15 faces to each side
        near = near | np.roll(near, step, axis=1) | np.roll(near, -step, axis=1)
    folded = np.zeros(len(strips), dtype=bool)
    sound = _sound(strips)
    for step in range(2, 2 * FOLD_REACH + 1):
        strip, face = np.nonzero(near & np.roll(near, -step, axis=1) & sound & np.roll(sound, -step, axis=1))
        other = (face + step) % strips.shape[1]
        touching = (low[strip, face] <= high[strip, other]) & (high[strip, face] >= low[strip, other])
        apart = ~(strips[strip, face][:, :, None] == strips[strip, other][:, None, :]).any(axis=(1, 2))
        keep = touching.all(axis=1) & apart
        strip, face, other = strip[keep], face[keep], other[keep]
        folded[strip[pairs_meet(corners[strip, face], corners[strip, other])]] = True
    return folded
