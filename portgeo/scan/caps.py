"""Caps: where a mold was cut or poured flat, or was left open: what its ends look like from outside.

A coarse mesh and its open edges come in; the patches that can be ends of the tube go out. They only
say where to look: the openings are found on the full mesh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.core.plane import BoolArray, FloatArray, IntArray, moments
from portgeo.core.slicing import slice_mesh
from portgeo.core.triangles import face_areas
from portgeo.scan.course import plane_frame
from portgeo.scan.repair import bodies

PLANES = 160  # that are tried on the mesh
SAMPLES = 2000  # faces that each is tried on
MOST_FLAT = 10  # flat patches that are looked at
NEAR = 0.004  # of the size: how far off its plane a face of a flat patch may be
FACING = 0.85  # cosine between a face's normal and its patch's
LEAST = 0.02  # of the surface: a smaller flat patch is no end
WHOLE = (0.92, 1.08)  # a section just inside an end, of the end: a wall's flat part is wider beneath
DEPTH = 0.1  # of the square root of its area, at which that section is taken
THIRD = 0.15  # of the second largest: a smaller patch (a stem's tip) is no end beside it


@dataclass(frozen=True)
class Cap:
    """A patch that can be an end: points (n, 3) of it and its area."""

    points: FloatArray
    area: float


def caps_of(vertices: FloatArray, faces: IntArray, rims: list[FloatArray]) -> list[Cap]:
    """Return the patches of a coarse mesh that can be ends of a tube, largest first.

    rims : (k, 3) points of each open edge. A flat patch is an end where a section just beneath it is
    as large as it is: it meets the walls at an edge all round, as no flat part of a rounded wall does.
    """
    found = [Cap(_filled(rim), _spanned(rim)) for rim in rims]
    area = face_areas(vertices, faces)
    total = float(area.sum())
    middles = vertices[faces].mean(axis=1)
    normals = np.cross(vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    near = NEAR * float(np.linalg.norm(np.ptp(vertices, axis=0)))
    left = area > 0.0
    draw = np.random.default_rng(0)
    for _ in range(MOST_FLAT):
        patch = _flattest(middles, normals, np.where(left, area, 0.0), near, draw)
        if patch is None:
            break
        left &= ~patch
        if area[patch].sum() < LEAST * total:
            continue  # a plane that was drawn by chance may shrink to a scrap: the next may be an end
        for part in _parts(faces, area, patch, LEAST * total):
            cap = _end_at(vertices, faces, middles, normals, area, part, near)
            if cap is not None:
                found.append(cap)
    found.sort(key=lambda cap: -cap.area)
    return [cap for k, cap in enumerate(found) if k < 2 or cap.area > THIRD * found[1].area]


def _flattest(
    middles: FloatArray, normals: FloatArray, area: FloatArray, near: float, draw: np.random.Generator
) -> BoolArray | None:
    """Return which faces lie in the plane that most area lies in, (m,), None where none is left."""
    share = area / max(area.sum(), 1e-300)
    if not share.any():
        return None
    some = draw.choice(len(area), SAMPLES, p=share)
    seeds = some[:PLANES]
    # A seed's normal is evened over the faces about it that look its way: one face's own is rough.
    arm = middles[some][None] - middles[seeds][:, None]
    close = (np.einsum("ijk,ijk->ij", arm, arm) < (6.0 * near) ** 2) & (normals[seeds] @ normals[some].T > FACING)
    even = close.astype(float) @ normals[some]
    even /= np.maximum(np.linalg.norm(even, axis=1, keepdims=True), 1e-300)
    count = ((np.abs(np.einsum("ijk,ik->ij", arm, even)) < near) & (even @ normals[some].T > FACING)).sum(axis=1)
    best = int(np.argmax(count))
    origin, normal = middles[seeds[best]], even[best]
    for _ in range(3):
        patch = (np.abs((middles - origin) @ normal) < near) & (normals @ normal > FACING) & (area > 0.0)
        if patch.sum() < 3:
            return None
        origin = np.average(middles[patch], axis=0, weights=area[patch])
        normal = (normals[patch] * area[patch, None]).sum(axis=0)
        normal /= np.linalg.norm(normal)
    return patch


def _parts(faces: IntArray, area: FloatArray, patch: BoolArray, least: float) -> list[BoolArray]:
    """Return a flat patch (m,) of faces, in its parts where more than one is as large as an end.

    Two legs may end in one plane.
    """
    at = np.flatnonzero(patch)
    label = bodies(faces[at], int(faces[at].max()) + 1)[faces[at, 0]]
    large = np.flatnonzero(np.bincount(label, area[at]) > least)
    if len(large) < 2:
        return [patch]
    parts = np.zeros((len(large), len(faces)), dtype=bool)
    for part, number in zip(parts, large, strict=True):
        part[at[label == number]] = True
    return list(parts)


def _end_at(
    vertices: FloatArray,
    faces: IntArray,
    middles: FloatArray,
    normals: FloatArray,
    area: FloatArray,
    patch: BoolArray,
    near: float,
) -> Cap | None:
    """Return a flat patch as a Cap, None where the section just beneath it is another than it is."""
    normal = (normals[patch] * area[patch, None]).sum(axis=0)
    normal /= np.linalg.norm(normal)
    origin = np.average(middles[patch], axis=0, weights=area[patch])
    # What faces the other way is counted off: the folds of a coarse mesh would else count twice.
    off = np.linalg.norm(middles - origin, axis=1)
    on = (np.abs((middles - origin) @ normal) < near) & (off <= off[patch].max())
    size = float(area[on] @ (normals[on] @ normal))
    if size <= 0.0:
        return None
    depth = DEPTH * float(np.sqrt(size))
    frame = plane_frame(normal)
    loops = slice_mesh(vertices, faces, (origin - depth * normal)[None], normal[None])
    beneath = 0.0
    for k in range(len(loops.plane)):
        outline = (loops.loop(k) - origin) @ frame[1:].T
        if len(outline) > 2 and moments(outline).area > 0 and shapely.contains_xy(shapely.Polygon(outline), 0.0, 0.0):
            beneath = max(beneath, moments(outline).area)
    if not WHOLE[0] * beneath < size < WHOLE[1] * beneath:
        return None
    return Cap(middles[patch], size)


def _spanned(rim: FloatArray) -> float:
    arm = rim - rim.mean(axis=0)
    return float(np.linalg.norm(np.cross(arm, np.roll(arm, -1, axis=0)).sum(axis=0))) / 2.0


def _filled(rim: FloatArray) -> FloatArray:
    """Return points (n, 3) of the disc that a rim bounds."""
    middle = rim.mean(axis=0)
    return np.vstack([middle + share * (rim - middle) for share in (0.0, 0.25, 0.5, 0.75)])
