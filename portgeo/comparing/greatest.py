"""The greatest of a smooth surface that is read with noise: how great it is without it, and how sure.

Readings at places with the covariance of their noise come in; the greatest, its standard uncertainty and where it
may be go out.

The greatest of many readings is too great: it is where noise added most. A wide fit calms noise and flattens
hollows; how wide it may be is told by the readings themselves. So the surface is taken as a smooth random one
about an unknown level, of many sizes and widths, each as likely as the readings make it (kriging with an unknown
mean: N. Cressie, Statistics for Spatial Data, rev. ed. 1993, 3.2 and 3.4; restricted likelihood: 2.6; from
memory). Surfaces are drawn that agree with the readings, and the greatest of each is what is told of. Waves of
noise as wide as a hollow cannot be told from it: they stay in what the drawn surfaces differ by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

from portgeo.core.plane import FloatArray

WIDTHS_MM = (3.0, 4.5, 6.5, 10.0, 15.0, 22.0, 33.0)  # over which it is alike, from a burr's mark to a wall
SIZES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)  # of its rise and fall, times the noise of a reading
EVEN = 0.5  # chance, before anything is read, that it is level: a cut is as often even as not (no source)
DRAWS = 1000  # surfaces: the mean of the greatest is then known to a thirtieth of its spread
SEED = 1  # the same draws each time
LEAST_VARIANCE = 1e-4  # of the greatest: a covariance put together from distances may have less than none


@dataclass(frozen=True)
class Greatest:
    """The greatest value and its standard uncertainty.

    added : what the surfaces' unevenness that may be or not makes of it, in value. chances (k,) : that it is
    at each place.
    """

    value: float
    u: float
    added: float
    chances: FloatArray


def greatest_of(places: FloatArray, read: FloatArray, noise: FloatArray) -> Greatest:
    """Return the greatest of a surface at places (k, 3), mm, read (k,) with noise of covariance (k, k)."""
    values, vectors = np.linalg.eigh((noise + noise.T) / 2.0)
    noise = (vectors * np.maximum(values, LEAST_VARIANCE * values.max())) @ vectors.T
    size = float(np.sqrt(np.diag(noise).mean()))
    apart = cdist(places, places, "sqeuclidean")
    alike = {width: np.exp(-apart / (2.0 * width**2)) for width in WIDTHS_MM}
    share = (1.0 - EVEN) / (len(WIDTHS_MM) * len(SIZES))
    kinds = [(np.zeros_like(apart), EVEN)]
    kinds += [((rise * size) ** 2 * alike[width], share) for width in WIDTHS_MM for rise in SIZES]
    likely = np.array([np.log(chance) + _log_likelihood(read, surface + noise) for surface, chance in kinds])
    weights = np.exp(likely - likely.max())
    weights /= weights.sum()
    rng = np.random.default_rng(SEED)
    drawn, mean = [], np.zeros(len(read))
    # Each kind is drawn as often as it is likely, to the nearest draw of all so far.
    ends = np.rint(DRAWS * np.cumsum(weights)).astype(np.int64)
    for (surface, _), count in zip(kinds, np.diff(ends, prepend=0), strict=True):
        if count:
            level, root = _agreeing(read, surface, noise)
            drawn.append(level[:, None] + root @ rng.standard_normal((len(read), count)))
            mean += level * count / DRAWS
    surfaces = np.concatenate(drawn, axis=1)
    tops = surfaces.max(axis=0)
    return Greatest(
        value=float(tops.mean()),
        u=float(tops.std()),
        added=float(tops.mean() - mean.max()),
        chances=np.bincount(surfaces.argmax(axis=0), minlength=len(read)) / surfaces.shape[1],
    )


def _log_likelihood(read: FloatArray, covariance: FloatArray) -> float:
    """Return the logarithm of the likelihood of readings (k,) about any level, but for a constant."""
    factor = cho_factor(covariance, lower=True)
    level = cho_solve(factor, np.ones(len(read)))
    off = read - (level @ read) / level.sum()
    half = np.log(np.diag(factor[0])).sum()
    return float(-0.5 * off @ cho_solve(factor, off) - half - 0.5 * np.log(level.sum()))


def _agreeing(read: FloatArray, surface: FloatArray, noise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the mean (k,) of surfaces of one covariance (k, k) that agree with readings, and a root of theirs."""
    factor = cho_factor(surface + noise, lower=True)
    level = cho_solve(factor, np.ones(len(read)))
    at = (level @ read) / level.sum()
    mean = at + surface @ cho_solve(factor, read - at)
    by_level = 1.0 - surface @ level
    left = surface - surface @ cho_solve(factor, surface) + np.outer(by_level, by_level) / level.sum()
    values, vectors = np.linalg.eigh((left + left.T) / 2.0)
    return mean, vectors * np.sqrt(np.maximum(values, 0.0))
