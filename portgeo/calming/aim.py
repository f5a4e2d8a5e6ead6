"""What a cut is to lower: how fast the air goes on the wall, and how quickly it must slow past the fastest place.

Speeds along the wall come in, with their changes; terms of one smooth measure, and its value, go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.flow.separation import EASING, HIGHEST_CP

# A soft maximum, log of the mean of exp(SHARP x) over the wall, over SHARP: smooth, convex in x and rising with each,
# so that no place is forgotten; of area and not of nodes, so that a finer grid has the same one; and within some 5 % of
# the maximum itself. A norm of high power does as well, and has no such plain programme (an exponential cone each).
SHARP = 60.0
SHARP_SLOWING = 4.0  # of the load, squared: it is some ten times as wide
NEGLIGIBLE = 1e-5  # of the sum of exponentials: places that make less all together count for nothing in the programme
EVENED = (
    0.12  # of the throat's size: a rise in pressure is averaged over so much wall; from node to node it is the grid's
)
FADES = 0.03  # of Cp: the rule ends at HIGHEST_CP, and here not all at once
LEAST_LOAD = 0.02  # a load that falls under it goes to nothing smoothly: no wall is made to speed the air up again
COMPLEX = 1e-30  # step of the load's derivative: a complex one has no difference to lose digits in


@dataclass(frozen=True)
class Term:
    """One soft maximum: share of it in the aim, its value, and the values (k,) that make it, with weights and slopes.

    weights (k,), slopes (k, w) : of those values that count; the others are some 1e-5 of it.
    """

    share: float
    sharp: float
    soft_maximum: float
    values: FloatArray
    weights: FloatArray
    slopes: FloatArray


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

    def value(self, speed: FloatArray) -> float:
        """Return the aim of speeds (n, p) of unit flow."""
        over, found = speed * self.per_speed, 0.0
        if self.slowing < 1.0:
            found += (1.0 - self.slowing) * _soft_maximum(SHARP, over, self.weights)
        if self.slowing > 0.0:
            found += self.slowing * _soft_maximum(
                SHARP_SLOWING, self._load_past(over.astype(complex)).real, self.weights
            )
        return found

    def by_speed(self, speed: FloatArray) -> FloatArray:
        """Return how the aim changes with each of the speeds (n, p) of unit flow."""
        over, found = speed * self.per_speed, np.zeros(speed.shape)
        if self.slowing < 1.0:
            found += (1.0 - self.slowing) * _parts(SHARP, over, self.weights)
        if self.slowing > 0.0:
            load, by_speed = self._load(over)
            found += self.slowing * np.einsum("np,nmp->mp", _parts(SHARP_SLOWING, load, self.weights), by_speed)
        return found * self.per_speed

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
        """Return the squared load (n, p) along each wall line, and its change (n, n, p) with each speed on it.

        The derivative by a complex step (Squire and Trapp, SIAM Review 40, 1998): exact, for `_load_past` is analytic.
        """
        change = np.empty((len(speed), *speed.shape))
        off = speed.astype(complex)
        for k in range(len(speed)):
            off[k] += 1j * COMPLEX
            change[:, k] = self._load_past(off).imag / COMPLEX
            off[k] = speed[k]
        return self._load_past(off).real, change

    def _load_past(self, speed: np.ndarray) -> np.ndarray:
        """Return the square of Stratford's load (n, p), complex: 1 where the layer on the wall is about to part.

        As `flow.separation` has it, made smooth, for a search can end nowhere in a measure that jumps. The peak that
        lies ahead of a place is the mean of the speeds ahead of it, weighed by exp(SHARP speed): where two peaks of a
        line are alike it goes from one to the other evenly. The limit is always the lower of the rule's two. A rise
        in pressure is that of a mean over some length of wall, the same on any grid.
        """
        weight = self._step * np.exp(SHARP * (speed - speed.real.max(axis=0)))
        whole = np.cumsum(weight, axis=0)
        peak = np.cumsum(weight * speed, axis=0) / whole
        before = np.cumsum(speed**3 * self._step, axis=0) - 0.5 * speed**3 * self._step
        even = np.cumsum(weight * before, axis=0) / whole / peak**3
        x = self.along - np.cumsum(weight * self.along, axis=0) / whole + even
        cp = 1.0 - (speed / peak) ** 2
        cube = np.where(cp.real > 0.0, cp, 0.0) ** 3
        rise = np.gradient(np.einsum("nmp,mp->np", self._evening, cube), axis=0) / np.gradient(self.along, axis=0)
        limit = EASING**2 * (1e-6 * self.reynolds * peak * x) ** 0.2
        load = x * rise / 3.0 / limit / (1.0 + np.exp((cp - HIGHEST_CP) / FADES))
        return np.asarray((load + np.sqrt(load**2 + LEAST_LOAD**2) - LEAST_LOAD) / 2.0)

    @cached_property
    def _step(self) -> FloatArray:
        """The length of wall line (n, p) that each place stands for, m."""
        return np.asarray(np.gradient(self.along, axis=0))

    @cached_property
    def _evening(self) -> FloatArray:
        """What makes means (n, m, p) over EVENED of the throat's size along each wall line."""
        size = EVENED * np.sqrt(self.per_speed) * 1e-3
        part = np.exp(-0.5 * ((self.along[:, None] - self.along[None]) / size) ** 2) * self._step[None]
        return np.asarray(part / part.sum(axis=1, keepdims=True))


def _soft_maximum(sharp: float, values: FloatArray, weights: FloatArray) -> float:
    top = float(values.max())
    return top + float(np.log((weights * np.exp(sharp * (values - top))).sum())) / sharp


def _parts(sharp: float, values: FloatArray, weights: FloatArray) -> FloatArray:
    """Return what a soft maximum changes by with each of its values."""
    worth = weights * np.exp(sharp * (values - values.max()))
    return np.asarray(worth / worth.sum())


def _term(share: float, sharp: float, values: FloatArray, weights: FloatArray, slopes: FloatArray) -> Term:
    """Return a term of those values (n, p) that count."""
    top = float(values.max())
    worth = weights * np.exp(sharp * (values - top))
    order = np.argsort(worth, axis=None, kind="stable")
    sums = np.cumsum(worth.ravel()[order])
    counts = np.zeros(values.shape, bool)
    counts.flat[order[sums > NEGLIGIBLE * sums[-1]]] = True
    return Term(share, sharp, _soft_maximum(sharp, values, weights), values[counts], weights[counts], slopes[counts])


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
