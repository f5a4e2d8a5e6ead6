"""Removed and added metal as solids, by manifold3d's booleans.

Two closed meshes in one frame come in; the solid that was metal before and is air after, and the
reverse, go out.

Two noisy skins of one wall cross each other everywhere, and each boolean then holds half of that
froth: it is too large by area times noise times 0.4 (the mean of the positive half of a normal
error). So volumes are told from wedges, where such errors cancel, and these solids serve to be looked
at and as the second opinion on clean meshes.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from portgeo.centreline import at
from portgeo.compare.comparison import Comparison
from portgeo.compare.depth_map import FLOOR_MM
from portgeo.compare.wedges import arrays_of, solid_of
from portgeo.plane import FloatArray, IntArray
from portgeo.port import Port
from portgeo.triangles import face_areas

SIMPLIFY_MM = 0.0005  # flat walls lose the triangles they do not need
SIMPLIFY_NOISES = 2.0  # of the meshes' noise: triangles within it say nothing about the cut


@dataclass(frozen=True)
class MetalSolids:
    """What was removed and what was added, each of several pieces or empty, without slivers.

    slivers : volume, mm3, of the pieces left out, removed less added, so that removed - added +
    slivers is the difference of the two volumes.
    """

    removed: manifold3d.Manifold
    added: manifold3d.Manifold
    slivers: float


def removed_mesh(found: Comparison) -> tuple[FloatArray, IntArray]:
    """Return the removed metal of a comparison as a closed mesh in BEFORE's port frame; empty for none.

    Of the stretch both ports have; what one has beyond the other's opening is no cut.
    """
    noise = found.depth.noise
    one = solid_of(found.before.vertices, found.before.faces, "BEFORE")
    other = solid_of(found.vertices, found.faces, "AFTER")
    for plug in _plugs(found.before, found.stretch, np.vstack([found.before.vertices, found.vertices])):
        one, other = one - plug, other - plug
    thinnest = max(FLOOR_MM, noise)
    # Files in single precision weld points closer than a micrometre: none are left that close.
    removed = metal_solids(one, other, noise, thinnest).removed.simplify(thinnest)
    return arrays_of(_without_slivers(removed, thinnest)[0])


def _plugs(before: Port, stretch: tuple[float, float], points: FloatArray) -> list[manifold3d.Manifold]:
    """Return boxes that fill what lies beyond the two ends of a stretch, as wide as the port is there."""
    origins, frames = at(before.centreline, np.array(stretch))
    plugs = []
    for origin, frame, out in zip(origins, frames, (-1.0, 1.0), strict=True):
        beyond = ((points - origin) @ frame[0]) * out
        near = points[(beyond > 0.0) & (np.linalg.norm(points - origin, axis=1) < 0.5 * before.centreline.length)]
        if len(near) == 0:
            continue
        flat = (near - origin) @ frame.T
        low, high = flat.min(axis=0) - 1.0, flat.max(axis=0) + 1.0
        low[0], high[0] = (low[0], 0.0) if out < 0 else (0.0, high[0])
        box = manifold3d.Manifold.cube((high - low).tolist()).translate(low.tolist())
        plugs.append(box.transform(np.column_stack([frame.T, origin]).tolist()))
    return plugs


def metal_solids(before: manifold3d.Manifold, after: manifold3d.Manifold, noise: float, thinnest: float) -> MetalSolids:
    """Return the metal between two solids in one frame.

    noise : of the two skins together, which are first thinned to the triangles it leaves to tell.
    thinnest : pieces with a mean thickness (volume over half their skin) below it are slivers.
    """
    tolerance = max(SIMPLIFY_MM, SIMPLIFY_NOISES * noise)
    one, other = before.simplify(tolerance), after.simplify(tolerance)
    removed, thin_removed = _without_slivers(other - one, thinnest)
    added, thin_added = _without_slivers(one - other, thinnest)
    return MetalSolids(removed, added, thin_removed - thin_added)


def _without_slivers(made: manifold3d.Manifold, thinnest: float) -> tuple[manifold3d.Manifold, float]:
    """Return a solid without its thin pieces, and their volume; there may be thousands of them."""
    vertices, faces = arrays_of(made)
    if len(faces) == 0:
        return made, 0.0
    count = len(vertices)
    edges = coo_array((np.ones(2 * len(faces)), (faces[:, :2].ravel(), faces[:, 1:].ravel())), shape=(count, count))
    pieces, of_vertex = connected_components(edges, directed=False)
    piece = of_vertex[faces[:, 0]]
    a, b, c = (vertices[faces[:, k]] - vertices.mean(axis=0) for k in range(3))
    volumes = np.bincount(piece, np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0, minlength=pieces)
    skins = np.bincount(piece, face_areas(vertices, faces), minlength=pieces)
    thick = 2.0 * volumes >= thinnest * skins
    kept = faces[thick[piece]]
    used, renumbered = np.unique(kept, return_inverse=True)
    left = manifold3d.Manifold() if len(kept) == 0 else solid_of(vertices[used], renumbered.reshape(-1, 3), "a piece")
    return left, float(volumes[~thick].sum())
