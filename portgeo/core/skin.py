"""Skin: rings of corresponding points become a closed mesh; and whether its strips fold over.

Rings in space come in; vertices and outward faces go out.
"""

from __future__ import annotations

import manifold3d
import numpy as np
from numpy.typing import NDArray

from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WELD_MM
from portgeo.core.triangles import cross, pairs_meet

FOLD_REACH = 16  # faces to each side along a strip: a fold is a matter of neighbours, thin as they may be


def skin(space: FloatArray, frames: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return vertices and outward faces of rings (k, m, 3) joined to a tube with flat ends.

    frames (k, 3, 3) are those of the rings' planes. Points of a ring closer than WELD_MM are one.
    """
    vertices, first, strips = _strips(space)
    faces = strips.reshape(-1, 3)
    caps = []
    for k, outward in ((0, -1), (len(space) - 1, 1)):
        ring = vertices[first[k] : first[k + 1]]
        triangles = manifold3d.triangulate([(ring - ring[0]) @ frames[k, 1:].T])
        caps.append(np.asarray(triangles, dtype=np.int64)[:, ::outward] + first[k])
    return vertices, np.concatenate([faces[_sound(faces)], *caps])


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
    keep = np.linalg.norm(space - np.roll(space, 1, axis=1), axis=2) > WELD_MM
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
