"""What a cut is to lower: how fast the air goes on the wall, and how quickly it must slow past the fastest place.

Speeds along the wall come in, with their changes; terms of one smooth measure, and its value, go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from portgeo.core.plane import FloatArray
from portgeo.flow.separation import EASING, HIGHEST_CP

# A soft maximum, log of the mean of exp(SHARP x) over the wall, over SHARP: smooth, convex in x and rising with each,
# so that no place is forgotten; of area and not of nodes, so that a finer grid has the same one; and within some 5 % of
# the maximum itself. A norm of high power does as well, and has no such plain programme (an exponential cone each).
SHARP = 60.0
SHARP_SLOWING = 4.0  # of the load, squared: it is some ten times as wide
NEGLIGIBLE = 12.0  # powers of e under the greatest: a place that much less counts for nothing in the maximum
REACH = 2  # rings to each side over which a rise in pressure is averaged: from node to node it is the grid's
FADES = 0.1  # of Cp: the rule ends at HIGHEST_CP, and here not all at once
STEP = 1e-6  # of the speed, for differences of the load


@dataclass(frozen=True)
class Term:
    """One soft maximum: share of it in the aim, and its values (k,) with weights (k,) and slopes (k, w)."""

    share: float
    sharp: float
    values: FloatArray
    weights: FloatArray
    slopes: FloatArray

    @property
    def soft_maximum(self) -> float:
        """The soft maximum of the values."""
        top = float(self.values.max())
        return top + float(np.log(self.weights @ np.exp(self.sharp * (self.values - top)))) / self.sharp


@dataclass(frozen=True)
class Aim:
    """What is lowered: (1 - slowing) of the speed's soft maximum, over the throat's mean, and `slowing` of the load's.

    weights (n, p) : share of the wall's area at each place; along (n, p) : metres along each wall line from the
    entry; both today's. per_speed : what turns speeds of unit flow into those over the throat's mean today. reynolds :
    the throat's mean speed over the air's kinematic viscosity, 1/m.
    """

    slowing: float
    weights: FloatArray
    along: FloatArray
    per_speed: float
    reynolds: float

    def terms(self, speed: FloatArray, change: FloatArray) -> list[Term]:
        """Return the aim's terms for speeds (n, p) of unit flow and their change (n, p, w)."""
        over, slope = speed * self.per_speed, change * self.per_speed
        found = []
        if self.slowing < 1.0:
            found.append(_term(1.0 - self.slowing, SHARP, over, self.weights, slope))
        if self.slowing > 0.0:
            load, by_speed = self._load(over)
            found.append(_term(self.slowing, SHARP_SLOWING, load, self.weights, _through(by_speed, slope)))
        return found

    def _load(self, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the squared load (n, p) along each wall line, and its change (n, n, p) with each speed on it."""
        top = np.argmax(speed, axis=0)
        load = self._load_past(speed, top)
        change = np.empty((len(speed), *speed.shape))
        for k in range(len(speed)):
            off = speed.copy()
            off[k] *= 1.0 + STEP
            change[:, k] = (self._load_past(off, top) - load) / (STEP * speed[k])
        return load, change

    def _load_past(self, speed: FloatArray, top: np.ndarray) -> FloatArray:
        """Return the square of Stratford's load (n, p) past the fastest place of each wall line, nothing before it.

        1 where the layer on the wall is about to part (`flow.separation`), always by the lower of its two limits:
        which of the two holds changes at once.
        """
        lines = np.arange(speed.shape[1])
        peak = speed[top, lines]
        ring = np.arange(len(speed))[:, None]
        ahead = np.where(ring < len(speed) - 1, np.diff(self.along, axis=0, append=self.along[-1:]), 0.0)
        before = np.cumsum((speed / peak) ** 3 * ahead, axis=0) - (speed / peak) ** 3 * ahead
        x = np.maximum(self.along - self.along[top, lines] + before[top, lines], 1e-9)
        cp = 1.0 - (speed / peak) ** 2
        cube = np.maximum(cp, 0.0) ** 3
        even = uniform_filter1d(cube, 2 * REACH + 1, axis=0, mode="nearest")
        rise = np.gradient(even, axis=0) / np.maximum(np.gradient(x, axis=0), 1e-9)
        limit = EASING * (1e-6 * self.reynolds * peak * x) ** 0.1
        holds = np.clip((HIGHEST_CP - cp) / FADES, 0.0, 1.0)
        return np.where(ring > top, np.maximum(x * rise, 0.0) / 3.0 / limit**2 * holds, 0.0)


def value_of(terms: list[Term]) -> float:
    """Return the aim that terms make."""
    return sum(term.share * term.soft_maximum for term in terms)


def _term(share: float, sharp: float, values: FloatArray, weights: FloatArray, slopes: FloatArray) -> Term:
    """Return a term of those values (n, p) that count."""
    worth = sharp * values + np.log(weights)
    counts = worth > worth.max() - NEGLIGIBLE
    return Term(share, sharp, values[counts], weights[counts], slopes[counts])


def _through(outer: FloatArray, inner: FloatArray) -> FloatArray:
    """Return d load / d amount (n, p, w) from d load / d speed (n, m, p) and d speed / d amount (m, p, w)."""
    return np.einsum("nmp,mpw->npw", outer, inner, optimize=True)


def wall_weights(wall: FloatArray) -> FloatArray:
    """Return the share of a wall's area (n, p) that each of its points (n, p, 3) stands for."""
    along, round_it = np.gradient(wall, axis=0), (np.roll(wall, -1, axis=1) - np.roll(wall, 1, axis=1)) / 2.0
    patch = np.linalg.norm(np.cross(along, round_it), axis=2)
    patch[[0, -1]] /= 2.0
    return np.asarray(patch / patch.sum())


def along_wall(wall: FloatArray) -> FloatArray:
    """Return the distance (n, p) in metres along each wall line of points (n, p, 3) in mm."""
    step = np.linalg.norm(np.diff(wall, axis=0), axis=2)
    return np.vstack([np.zeros(wall.shape[1]), np.cumsum(step, axis=0)]) * 1e-3
