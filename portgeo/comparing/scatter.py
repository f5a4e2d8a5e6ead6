"""What two scans of one wall differ by where nobody cut: how much, and over what distance it is alike.

A map of depths comes in; the standard deviation of its uncut cells, their covariance by distance and
what both make of a volume go out. A scanner's noise is waves of some millimetres as much as it is white, and
waves look like wall to whatever is fitted to a few points: only the two walls laid together show them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import pdist

from portgeo.core.plane import FloatArray

FARTHEST_MM = 40.0  # noise is taken to have nothing in common beyond this: the fit takes up what has
LAG_MM = 1.0  # width of a step of distance: a cell's
CLIP = 2.5  # standard deviations: what lies farther off may be metal
CLIPPED_VARIANCE = 0.9113  # of a standard normal cut off at CLIP: 1 - 2 c phi(c) / (2 Phi(c) - 1)
CLIPPINGS = 20  # rounds, by when the share that is clipped has settled
MEDIAN_TO_SIGMA = 0.67449  # median of a standard normal's size
LEAST_UNCUT = 0.05  # of the map: less tells no covariance, and all of it that is not deep is taken


@dataclass(frozen=True)
class Scatter:
    """Scatter of a map's cells on the wall that nobody cut.

    sigma : standard deviation of one cell, mm. covariance : (k,), mm2, at distances 0, LAG_MM, ... mm, down to
    where it first falls to nothing.
    """

    sigma: float
    covariance: FloatArray

    def covariance_at(self, distance: FloatArray) -> FloatArray:
        """Return the covariance at distances (...), mm."""
        lags = LAG_MM * np.arange(len(self.covariance))
        return np.interp(distance, lags, self.covariance, right=0.0)

    def variance(self, areas: FloatArray, cell: tuple[float, float]) -> float:
        """Return the variance of the sum of depths times areas (n, m), mm6. cell : its height and width, mm."""
        around = _autocorrelation(areas)
        return max(float((around * self.covariance_at(_distances(areas.shape, cell))).sum()), 0.0)


NONE = Scatter(0.0, np.zeros(1))


def robust_sigma(depth: FloatArray, area: FloatArray | None = None) -> float:
    """Return the standard deviation of depths (...), by area, where the wall is as it was.

    Metal is taken off on the one side of nothing and put on on the other, so each side by itself tells the
    noise, and the quieter one has less of a cut in it. What lies over CLIP of it is left out, round by round.
    """
    area = np.ones_like(depth) if area is None else area
    sides = [_half_sigma(np.abs(depth[here]), area[here]) for here in (depth < 0.0, depth > 0.0) if here.any()]
    return min(sides, default=0.0)


def _half_sigma(size: FloatArray, area: FloatArray) -> float:
    if area.sum() <= 0.0:
        return np.inf
    order = np.argsort(size, kind="stable")
    half = np.searchsorted(np.cumsum(area[order]), area.sum() / 2.0)
    sigma = float(size[order[min(half, len(size) - 1)]]) / MEDIAN_TO_SIGMA
    for _ in range(CLIPPINGS):
        kept = size <= CLIP * sigma
        if not area[kept].sum() > 0.0:
            break
        sigma = float(np.sqrt(np.average(size[kept] ** 2, weights=area[kept]) / CLIPPED_VARIANCE))
    return sigma


def scatter_of(depth: FloatArray, uncut: np.ndarray, sigma: float, cell: tuple[float, float]) -> Scatter:
    """Return the scatter of the uncut cells (n, m) of a map of depths (n, m); their standard deviation is known."""
    if sigma == 0.0:
        return NONE
    quiet = np.abs(depth) < 2.0 * CLIP * sigma
    mask = (uncut & quiet if (uncut & quiet).mean() > LEAST_UNCUT else quiet).astype(float)
    products, pairs = _autocorrelation(np.where(mask > 0.0, depth, 0.0)), _autocorrelation(mask)
    step = np.rint(_distances(depth.shape, cell) / LAG_MM).astype(np.int64).ravel()
    near = step <= round(FARTHEST_MM / LAG_MM)
    total, count = (np.bincount(step[near], part.ravel()[near]) for part in (products, pairs))
    profile = _down_to_nothing(total / np.maximum(count, 1.0))
    if len(profile) == 0:
        return Scatter(sigma, np.array([sigma**2]))
    return Scatter(sigma, np.append(profile * sigma**2 / profile[0], 0.0))


def scatter_of_points(points: FloatArray, depth: FloatArray) -> Scatter:
    """Return the scatter of depths (n,) at points (n, 3) that nobody cut: its sigma is of one point, white part too."""
    sigma = float(np.median(np.abs(depth))) / MEDIAN_TO_SIGMA
    depth = np.clip(depth, -CLIP * sigma, CLIP * sigma)
    one, other = np.triu_indices(len(depth), 1)
    apart = pdist(points)
    near = apart < FARTHEST_MM
    # The nearest are as alike as those a step away: too few pairs are nearer to tell more.
    step = np.maximum(np.rint(apart[near] / LAG_MM).astype(np.int64), 1)
    total = np.bincount(step, (depth[one] * depth[other])[near])
    profile = _down_to_nothing((total / np.maximum(np.bincount(step), 1))[1:])
    return Scatter(sigma, np.concatenate([profile[:1], profile, [0.0]]))


def _down_to_nothing(profile: FloatArray) -> FloatArray:
    """Return a covariance by distance (k,) as far as it is more than nothing."""
    ends = np.flatnonzero(profile <= 0.0)
    return profile[: ends[0]] if len(ends) else profile


def _autocorrelation(values: FloatArray) -> FloatArray:
    """Return the sums of products (2 n, m) of a map's cells with those so many rows and columns on, round the tube."""
    seen = np.fft.rfft2(values, (2 * values.shape[0], values.shape[1]))
    return np.fft.irfft2(np.abs(seen) ** 2, (2 * values.shape[0], values.shape[1]))


def _distances(shape: tuple[int, ...], cell: tuple[float, float]) -> FloatArray:
    """Return how far apart (2 n, m) such cells are, mm."""
    rows, columns = np.arange(2 * shape[0]), np.arange(shape[1])
    along = cell[0] * np.minimum(rows, 2 * shape[0] - rows)
    across = cell[1] * np.minimum(columns, shape[1] - columns)
    return np.hypot(along[:, None], across)
