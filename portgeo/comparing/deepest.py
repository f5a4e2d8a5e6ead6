"""The deepest cut between two rough walls: how deep it is with the noise taken off, and how sure.

Depths at AFTER's own points come in; the deepest, its standard uncertainty and its place go out.

Small quadratics through the depths round places even out the white part of the noise and do not flatten a cut. What
noise is left, and is alike between places, is told from the wall that nobody cut; see greatest for what is then
made of the depths. AFTER's points are held to stand on its wall; how far BEFORE's bulges over its triangles is taken
off.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from portgeo.comparing.bulge import bulge_at
from portgeo.comparing.depth_map import FLOOR_MM
from portgeo.comparing.distance import Wall, barycentric, closest
from portgeo.comparing.greatest import greatest_of
from portgeo.comparing.scatter import Scatter, scatter_of_points
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.triangles import lengths, vector_areas

FITTED_POINTS = 48  # at most, that a quadratic is fitted to: eight times its terms
REACH_MM = 2.5  # of a quadratic: no wider than a burr's mark
FEWEST_UNCUT = 50  # points that tell the noise; with fewer the map's must do
NOISE_CALMED = 3.0  # white noise is about so much less in calmed depths
WIDER = 1.5  # times the reach: how the fitted depth changes tells what a quadratic misses
LEAST_FITTED = 14  # but never fewer than these: twice a quadratic's six terms, and the point's own ring
MARGIN_NOISES = 6.0  # from the greatest calmed depth: an even cut's own scatter up and down lies within it
PLACES = 120  # evenly among those within the margin: what they tell is alike beyond that
TRIED = 3 * PLACES  # before those on a shoulder are left out
EVEN_GROWTH = 1.5  # a cut is even if twice the margin takes in less than so much of it: a round one's doubles
LEAST_EVEN = 20  # places clear of the shoulder that tell of an even cut
ROWS = 500  # of a covariance at a time
CHORDS_MM = 0.1  # no clean mesh lies farther under its wall
ALIKE_MM = 0.005  # depths of clean meshes this close are equal: their chord error


def deepest_cut(
    before: Wall,
    points: FloatArray,
    depth: FloatArray,
    calm: FloatArray,
    noises: tuple[float, float],
    scatter: Scatter,
    uncut: IntArray,
) -> tuple[float, float, int]:
    """Return the deepest cut, its standard uncertainty, and at which point it is.

    points : (n, 3), AFTER's own, with depths (n,) under BEFORE and the same calmed (n,). noises : of one
    point of BEFORE and of AFTER. scatter : of the map. uncut : (u,), some of the points where nobody cut.
    """
    noise = float(np.hypot(*noises))
    margin = MARGIN_NOISES * max(scatter.sigma, noise / NOISE_CALMED)
    deep = calm >= calm.max() - margin
    even = bool((calm >= calm.max() - 2.0 * margin).sum() < EVEN_GROWTH * deep.sum())
    places, shares = _places(before, points, deep, even)
    # BEFORE's noise lies under all points whose feet are in triangles of one vertex.
    used = np.unique(shares.indices)
    face, _, over = _under(before, points[used])
    bulge, short = np.zeros(len(points)), np.zeros(len(points))
    bulge[used] = over
    # The way to a rough wall ends on a slope that comes towards it: shorter by half the slope squared, or where
    # triangles are so small that many lie in its reach, by about a bump's height.
    slope = float(((before.normals[face] - before.calm[face]) ** 2).sum(axis=1).mean())
    short[used] = np.clip(depth[used] * slope / 2.0, 0.0, noises[0])

    # The map's depths are averaged, so of its scatter only what is alike from point to point is to be had.
    waves, of_one = scatter, max(scatter.sigma, noise)
    if len(uncut) >= FEWEST_UNCUT:
        waves = scatter_of_points(points[uncut], depth[uncut])
        of_one = waves.sigma
    covariance = _covariance(shares[:, used], points[used], waves, of_one)
    found = greatest_of(points[places], shares @ (depth + short - bulge), covariance)
    chances = found.chances
    # What a quadratic misses of a round bottom grows with the fourth power of its reach.
    likely = np.flatnonzero(chances)
    wide = _shares(before, points, places[likely], WIDER * REACH_MM) @ depth
    missed = float(chances[likely] @ (wide - (shares @ depth)[likely])) / (WIDER**4 - 1.0)
    # How evenly deep the cut is, and how BEFORE is curved and sloped there, is told from rough walls: what is
    # put right for each is as unsure as it is large (rectangular: JCGM 100, 4.3.7).
    put_right = (found.added, *(float(chances @ (shares @ part)) for part in (bulge, short)))
    u = float(np.sqrt(found.u**2 + sum(part**2 for part in put_right) / 3.0 + missed**2))
    return found.value - missed, u, int(places[np.argmax(chances)])


def _places(before: Wall, points: FloatArray, deep: np.ndarray, even: bool) -> tuple[IntArray, csr_array]:
    """Return places (k,) among those of points (n, 3) that are deep (n,), and their quadratics' shares (k, n).

    Where a cut is even its shoulder is no part of what is even: it would make of noise what is sharp there.
    Where a cut is round its flanks tell how round.
    """
    places = np.flatnonzero(deep)
    places = places[:: -(-len(places) // TRIED)]
    shares = _shares(before, points, places, REACH_MM)
    clear = np.flatnonzero((abs(shares) @ (~deep).astype(float)) == 0.0)
    kept = clear if even and len(clear) >= LEAST_EVEN else np.arange(len(places))
    kept = kept[:: -(-len(kept) // PLACES)]
    return places[kept], shares[kept]


def _covariance(shares: csr_array, points: FloatArray, scatter: Scatter, of_one: float) -> FloatArray:
    """Return the covariance (k, k) of sums by shares (k, n) of depths at points (n, 3), each by itself `of_one`."""
    found = np.zeros((shares.shape[0],) * 2)
    for first in range(0, len(points), ROWS):
        rows = np.arange(first, min(first + ROWS, len(points)))
        block = scatter.covariance_at(cdist(points[rows], points))
        block[np.arange(len(rows)), rows] = max(of_one**2, float(scatter.covariance[0]))
        found += shares[:, rows] @ (shares @ block.T).T
    return found


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


def _shares(before: Wall, points: FloatArray, places: IntArray, reach: float) -> csr_array:
    """Return how much each point's depth counts in the depth fitted within `reach` of places (k,): (k, n)."""
    # Of a dense mesh no more points are taken than a quadratic needs: neighbours say the same.
    per_area = len(points) / max(float(lengths(vector_areas(before.vertices, before.faces)).sum()), 1e-9)
    thin = max(int(np.ceil(per_area * np.pi * reach**2 / FITTED_POINTS)), 1)
    some = points[::thin]
    count = min(FITTED_POINTS, len(some))
    distance, near = cKDTree(some).query(points[places], k=count)
    least = np.maximum(reach, distance[:, min(LEAST_FITTED, count) - 1])
    weight = (distance <= least[:, None]) * 1.0
    _, face = closest(before, points[places])
    out = before.calm[face]
    across = np.cross(out, np.eye(3)[np.argmin(np.abs(out), axis=1)])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    axes = np.stack([across, np.cross(out, across)], axis=1)
    u, v = np.einsum("nkj,nij->ink", some[near] - points[places][:, None], axes) / least[:, None]
    rows = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1) * weight[..., None]
    inverse = np.linalg.pinv(np.einsum("nki,nkj->nij", rows, rows), hermitian=True, rcond=1e-9)
    each = np.einsum("ni,nki->nk", inverse[:, 0], rows)
    found = csr_array(
        (each.ravel(), (np.repeat(np.arange(len(places)), count), (near * thin).ravel())),
        shape=(len(places), len(points)),
    )
    found.eliminate_zeros()
    return found
