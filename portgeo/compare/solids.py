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

from portgeo.compare.wedges import solid_of
from portgeo.plane import FloatArray, IntArray

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


def metal_solids(
    before: tuple[FloatArray, IntArray], after: tuple[FloatArray, IntArray], noise: float, thinnest: float
) -> MetalSolids:
    """Return the metal between two closed meshes (vertices, faces).

    noise : of the two together; over zero the skins are first thinned to what it leaves to tell.
    thinnest : pieces with a mean thickness (volume over half their skin) below it are slivers.
    Raises GeometryError where a mesh is open.
    """
    one, other = solid_of(*before, "BEFORE"), solid_of(*after, "AFTER")
    if noise > 0.0:
        one, other = one.simplify(SIMPLIFY_NOISES * noise), other.simplify(SIMPLIFY_NOISES * noise)
    removed, thin_removed = _without_slivers(other - one, thinnest)
    added, thin_added = _without_slivers(one - other, thinnest)
    return MetalSolids(removed, added, thin_removed - thin_added)


def _without_slivers(made: manifold3d.Manifold, thinnest: float) -> tuple[manifold3d.Manifold, float]:
    thick, thin = [], 0.0
    for piece in made.decompose():
        if 2.0 * piece.volume() < thinnest * piece.surface_area():
            thin += piece.volume()
        else:
            thick.append(piece)
    return manifold3d.Manifold.compose(thick), thin
