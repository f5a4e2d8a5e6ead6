"""The deepest cut between two rough walls: how deep it is with the noise taken off, and how sure.

Depths at AFTER's own points come in; the deepest, its standard uncertainty and its place go out.

A quadratic through the depths round a place evens out most of the noise, does not flatten a
round-bottomed cut, and lies smoothly over a corner, since a cut does. What noise is left still makes the
greatest of many such depths too great, most where a cut is evenly deep. So noise of the same kind is
drawn many times, for both walls, and what it adds to the greatest is taken off. AFTER's points are
held to stand on its wall; how far BEFORE's bulges over its triangles is taken off as well.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from portgeo.compare.bulge import bulge_at
from portgeo.compare.depth_map import FLOOR_MM
from portgeo.compare.distance import Wall, barycentric, closest
from portgeo.plane import FloatArray, IntArray

FITTED_POINTS = 160  # at most, that a quadratic is fitted to
FITTED_RADIUS_MM = 2.5  # and no farther than this, so that a burr's mark stays one
WIDER = 1.5  # times the reach: how the fitted depth changes tells what a quadratic misses
LEAST_FITTED = 14  # but never fewer than these: twice a quadratic's six terms, and the point's own ring
MARGIN_NOISES = 3.0  # calmed depths this close to the greatest may be the deepest
CANDIDATES = 300  # places tried, evenly among those that may be it
DRAWS = 400  # of the noise: the mean of the greatest is then known to a twentieth of its spread
SEED = 1  # the same draws each time
CHORDS_MM = 0.1  # no clean mesh lies farther under its wall
ALIKE_MM = 0.005  # depths of clean meshes this close are equal: their chord error


def deepest_cut(
    before: Wall, points: FloatArray, depth: FloatArray, calm: FloatArray, noises: tuple[float, float]
) -> tuple[float, float, int]:
    """Return the deepest cut, its standard uncertainty, and at which point it is.

    points : (n, 3), AFTER's own, with depths (n,) under BEFORE and the same calmed (n,). noises : of one
    point of BEFORE and of AFTER.
    """
    places = np.flatnonzero(calm >= calm.max() - MARGIN_NOISES * float(np.hypot(*noises)))
    places = places[:: -(-len(places) // CANDIDATES)]
    shares = _shares(before, points, places)
    # BEFORE's noise lies under all points whose feet are in triangles of one vertex.
    used = np.unique(shares.indices)
    face, lies, over = _under(before, points[used])
    corners = before.faces[face]
    bulge = np.zeros(len(points))
    bulge[used] = over
    # The way to a rough wall ends on a slope that comes towards it: shorter by half the slope squared, or where
    # triangles are so small that many lie in its reach, by about a bump's height.
    slope = float(((before.normals[face] - before.calm[face]) ** 2).sum(axis=1).mean())
    short = np.clip(depth * slope / 2.0, 0.0, noises[0])
    fitted = shares @ (depth + short - bulge)
    columns, numbered = np.unique(corners, return_inverse=True)
    under = csr_array(
        (lies.ravel(), (np.repeat(np.arange(len(used)), 3), numbered.ravel())),
        shape=(len(used), len(columns)),
    )
    rng = np.random.default_rng(SEED)
    own = shares[:, used]
    drawn = noises[1] * (own @ rng.standard_normal((len(used), DRAWS)))
    drawn += noises[0] * (own @ (under @ rng.standard_normal((len(columns), DRAWS))))
    # The fitted depths differ by the cut and by the noise: shrunk by what the noise explains.
    mean = fitted.mean()
    by_noise = float((drawn - drawn.mean(axis=0)).var())
    by_cut = float(np.sqrt(max(1.0 - by_noise / max(float(fitted.var()), 1e-300), 0.0)))
    true = mean + by_cut * (fitted - mean)
    greatest = (true[:, None] + drawn).max(axis=0)
    best = int(np.argmax(fitted))
    added = float(greatest.mean() - true.max())
    # What a quadratic misses of a round bottom grows with the fourth power of its reach.
    wide = _shares(before, points, places[[best]], WIDER) @ depth
    missed = by_cut * float(wide[0] - (shares @ depth)[best]) / (WIDER**4 - 1.0)
    # How evenly deep the cut is, and how BEFORE is curved and sloped there, is told from rough walls: what is
    # put right for each is as unsure as it is large (rectangular: JCGM 100, 4.3.7).
    unsure = (added**2 + sum(float((shares @ part)[best]) ** 2 for part in (bulge, short))) / 3.0
    u = float(np.sqrt(greatest.var() + unsure + missed**2))
    return float(fitted[best] - added - missed), u, int(places[best])


def deepest_of_clean(before: Wall, points: FloatArray, depth: FloatArray, noise: float) -> tuple[float, float, int]:
    """Return the deepest cut between clean walls, its standard uncertainty, and at which point (n, 3) it is.

    BEFORE's mesh may lie under its wall by all that this bulges over a triangle, or by none of it: half is taken
    off and is as unsure as it is large. Each mesh may lie off its wall by its chords' error besides (both
    rectangular: JCGM 100, 4.3.7).
    """
    may_be = np.flatnonzero(depth > depth.max() - CHORDS_MM)
    half = _under(before, points[may_be])[2] / 2.0
    true = depth[may_be] - half
    k = int(np.argmax(true))
    # Along an even cut many points are equally deep: the one in their middle is where it is.
    alike = may_be[true > true[k] - ALIKE_MM]
    best = alike[np.argmin(np.linalg.norm(points[alike] - points[alike].mean(axis=0), axis=1))]
    u = np.sqrt(noise**2 + (FLOOR_MM**2 + half[k] ** 2) / 3.0)
    return float(true[k]), float(u), int(best)


def _under(before: Wall, points: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return BEFORE's faces (k,) under points (k, 3), where in them (k, 3), and how far the wall bulges there (k,)."""
    foot, face = closest(before, points)
    lies = barycentric(before.vertices[before.faces[face]], foot)
    return face, lies, bulge_at(before.rise[face], lies)


def _shares(before: Wall, points: FloatArray, places: IntArray, wider: float = 1.0) -> csr_array:
    """Return how much each point's depth counts in the depth fitted at places (k,): (k, n)."""
    count = min(FITTED_POINTS, len(points))
    distance, near = cKDTree(points).query(points[places], k=count)
    reach = wider * np.maximum(FITTED_RADIUS_MM, distance[:, min(LEAST_FITTED, count) - 1])
    weight = (distance <= reach[:, None]) * 1.0
    _, face = closest(before, points[places])
    out = before.calm[face]
    across = np.cross(out, np.eye(3)[np.argmin(np.abs(out), axis=1)])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    axes = np.stack([across, np.cross(out, across)], axis=1)
    u, v = np.einsum("nkj,nij->ink", points[near] - points[places][:, None], axes) / reach[:, None]
    rows = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1) * weight[..., None]
    inverse = np.linalg.pinv(np.einsum("nki,nkj->nij", rows, rows), hermitian=True, rcond=1e-9)
    each = np.einsum("ni,nki->nk", inverse[:, 0], rows)
    return csr_array(
        (each.ravel(), (np.repeat(np.arange(len(places)), count), near.ravel())), shape=(len(places), len(points))
    )
