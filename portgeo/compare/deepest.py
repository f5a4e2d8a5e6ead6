"""The deepest cut between two rough walls: how deep it is with the noise taken off, and how sure.

Depths at AFTER's own points come in; the deepest, its standard uncertainty and its place go out.

A quadratic through the depths round a place evens out noise, does not flatten a round-bottomed cut, and lies
smoothly over a corner, since a cut does. How wide it should be is a matter of the noise and of the cut: of a
few reaches the widest is taken that flattens the cut by no more than noise may, as it is fitted where nobody cut.
What noise is left still makes the greatest of many such depths too great, most where a cut is evenly deep. So
noise of the same size, alike over the same distances, is drawn many times, and what it adds to the greatest is
taken off. AFTER's points are held to stand on its wall; how far BEFORE's bulges over its triangles is taken off
as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from portgeo.compare.bulge import bulge_at
from portgeo.compare.depth_map import FLOOR_MM
from portgeo.compare.distance import Wall, barycentric, closest
from portgeo.compare.scatter import MEDIAN_TO_SIGMA, Scatter
from portgeo.plane import FloatArray, IntArray
from portgeo.triangles import lengths, vector_areas

FITTED_POINTS = 160  # at most, that a quadratic is fitted to
REACHES_MM = (2.5, 4.0, 6.0)  # from a burr's mark to half of a hollow
FEWEST_UNCUT = 50  # places that tell the noise of a fit; with fewer a map's cell must do
NOISE_CALMED = 3.0  # white noise is about so much less in calmed depths
AGREEING = 2.0  # standard deviations: two fits that differ by more differ by what the wider flattens
WIDER = 1.5  # times the reach: how the fitted depth changes tells what a quadratic misses
LEAST_FITTED = 14  # but never fewer than these: twice a quadratic's six terms, and the point's own ring
MARGIN_NOISES = 3.0  # calmed depths this close to the greatest may be the deepest
CANDIDATES = 300  # places tried, evenly among those that may be it
DRAWS = 400  # of the noise: the mean of the greatest is then known to a twentieth of its spread
SEED = 1  # the same draws each time
CHORDS_MM = 0.1  # no clean mesh lies farther under its wall
ALIKE_MM = 0.005  # depths of clean meshes this close are equal: their chord error


@dataclass(frozen=True)
class _Fitted:
    """Quadratics of one reach at the candidates: depths (k,), the noise of one, what they miss, what was put right."""

    depths: FloatArray
    noise: float
    missed: float
    put_right: tuple[float, float]

    @property
    def best(self) -> int:
        return int(np.argmax(self.depths))


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
    margin = MARGIN_NOISES * max(scatter.sigma, float(np.hypot(*noises)) / NOISE_CALMED)
    places = np.flatnonzero(calm >= calm.max() - margin)
    places = places[:: -(-len(places) // CANDIDATES)]
    tried = [_fitted(before, points, depth, places, reach, noises, scatter, uncut) for reach in REACHES_MM]
    fitted = _widest_that_agrees(tried)
    # The fitted depths scatter alike over the same distances as the map's cells do.
    apart = np.linalg.norm(points[places][:, None] - points[places][None], axis=2)
    alike = scatter.covariance_at(apart) / max(float(scatter.covariance[0]), 1e-300)
    alike[np.diag_indices(len(places))] = 1.0
    values, vectors = np.linalg.eigh(alike)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = fitted.noise * (root @ np.random.default_rng(SEED).standard_normal((len(places), DRAWS)))
    # The fitted depths differ by the cut and by the noise: shrunk by what the noise explains.
    mean = fitted.depths.mean()
    by_noise = float((drawn - drawn.mean(axis=0)).var())
    by_cut = float(np.sqrt(max(1.0 - by_noise / max(float(fitted.depths.var()), 1e-300), 0.0)))
    true = mean + by_cut * (fitted.depths - mean)
    greatest = (true[:, None] + drawn).max(axis=0)
    added = float(greatest.mean() - true.max())
    missed = by_cut * fitted.missed
    # How evenly deep the cut is, and how BEFORE is curved and sloped there, is told from rough walls: what is
    # put right for each is as unsure as it is large (rectangular: JCGM 100, 4.3.7).
    unsure = (added**2 + sum(part**2 for part in fitted.put_right)) / 3.0
    u = float(np.sqrt(greatest.var() + unsure + missed**2))
    return float(fitted.depths[fitted.best] - added - missed), u, int(places[fitted.best])


def _widest_that_agrees(tried: Sequence[_Fitted]) -> _Fitted:
    """Return the widest of fits, narrowest first, that differs from no narrower one by more than noise does.

    (O. V. Lepskii, Theory Probab. Appl. 35, 1991; from memory. Noise of a wide fit is in a narrow one as well.)
    """
    chosen = tried[0]
    for count, wide in enumerate(tried[1:], 1):
        for narrow in tried[:count]:
            apart = abs(float(wide.depths[wide.best] - narrow.depths[wide.best]))
            if apart > AGREEING * np.sqrt(max(narrow.noise**2 - wide.noise**2, 0.0)):
                return chosen
        chosen = wide
    return chosen


def _fitted(
    before: Wall,
    points: FloatArray,
    depth: FloatArray,
    places: IntArray,
    reach: float,
    noises: tuple[float, float],
    scatter: Scatter,
    uncut: IntArray,
) -> _Fitted:
    """Return the quadratics of one reach at places (k,) among points (n, 3) with depths (n,), see deepest_cut."""
    shares = _shares(before, points, places, reach)
    # BEFORE's noise lies under all points whose feet are in triangles of one vertex.
    used = np.unique(shares.indices)
    face, _, over = _under(before, points[used])
    bulge, short = np.zeros(len(points)), np.zeros(len(points))
    bulge[used] = over
    # The way to a rough wall ends on a slope that comes towards it: shorter by half the slope squared, or where
    # triangles are so small that many lie in its reach, by about a bump's height.
    slope = float(((before.normals[face] - before.calm[face]) ** 2).sum(axis=1).mean())
    short[used] = np.clip(depth[used] * slope / 2.0, 0.0, noises[0])
    fitted = shares @ (depth + short - bulge)
    best = int(np.argmax(fitted))
    # What a quadratic misses of a round bottom grows with the fourth power of its reach.
    wide = _shares(before, points, places[[best]], WIDER * reach) @ depth
    missed = float(wide[0] - (shares @ depth)[best]) / (WIDER**4 - 1.0)
    noise = scatter.sigma
    if len(uncut) >= FEWEST_UNCUT:
        noise = float(np.median(np.abs(_shares(before, points, uncut, reach) @ depth))) / MEDIAN_TO_SIGMA
    return _Fitted(fitted, noise, missed, (float((shares @ bulge)[best]), float((shares @ short)[best])))


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
    thin = max(int(per_area * np.pi * reach**2 / FITTED_POINTS), 1)
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
    return csr_array(
        (each.ravel(), (np.repeat(np.arange(len(places)), count), (near * thin).ravel())),
        shape=(len(places), len(points)),
    )
