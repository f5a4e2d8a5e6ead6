"""Edge: the circle that a divider's nose is rounded by, between its two flanks, in one plane.

A line of points over the nose comes in; the fitted tip, radius and flanks go out, each with how sure it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray

FIRST = 0.35  # of a leg's radius, either way along the wall, that the first fit looks at
FLANK = 0.75  # of the edge's radius, of flank beyond the arc that a fit looks at: enough to tell where the arc ends
LEAST_POINTS = 6.0  # of the usual step between points, either way: fewer tell no circle
ROUNDS, AGREED = 5, 0.02  # of window and fit; a radius that changes by a smaller share is settled
FEWEST = 7  # points in a window
STEEPEST = np.radians(80.0)  # half angle between the flanks: a blunter nose has none to tell
LEAST_SPREAD_MM = 1e-3  # of points off a wedge: a clean mesh has no less
STARTS = (0.05, 0.3)  # of a leg's radius: the edge's, that fits begin from


@dataclass(frozen=True)
class EdgeFit:
    """A rounded wedge: tip (2,), the foremost place of it; radius of its edge; half angle between its flanks.

    radius_u, tip_u : standard uncertainties by what the points scatter. rms : of the points off the wedge, mm.
    """

    tip: FloatArray
    radius: float
    half_angle: float
    radius_u: float
    tip_u: float
    rms: float


def fit_edge(points: FloatArray, tip: int, size: float) -> EdgeFit | None:
    """Return the rounded wedge that fits a line of points (n, 2) best about its foremost, points[tip].

    The first coordinate runs with the flow, from the tip into the metal. size : radius of a leg. Least squares of the
    distances square to the wedge, each point by the length of line that it stands for. None where too few are seen.
    """
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    along -= along[tip]
    least = LEAST_POINTS * float(np.median(step[np.abs(along[1:]) < size])) if (np.abs(along[1:]) < size).any() else 0.0
    stands_for = (np.concatenate([step[:1], step]) + np.concatenate([step, step[-1:]])) / 2.0
    reach = max(FIRST * size, least)
    best: tuple[float, FloatArray] | None = None
    found: EdgeFit | None = None
    for turn in range(ROUNDS):
        own = np.abs(along) <= reach
        if own.sum() < FEWEST:
            return found
        begins = [] if best is None else [best[1]]
        if turn < 2:
            begins += [np.array([*points[tip], 0.0, 0.6, share * size]) for share in STARTS]
        fits = [_least_squares(points[own], np.sqrt(stands_for[own]), begin, size) for begin in begins]
        best = min(fits, key=lambda each: each[0])
        before, found = found, _told(points[own], np.sqrt(stands_for[own]), best[1], size)
        # The first window may hold no flank: what it finds only says where to look.
        if turn > 1 and before is not None and abs(found.radius - before.radius) < AGREED * before.radius:
            return found
        reach = max(found.radius * (np.pi / 2.0 - found.half_angle + FLANK), least)
    return found


def _off(values: FloatArray, points: FloatArray) -> FloatArray:
    """Return how far points (n, 2) lie off a rounded wedge, outside positive.

    values : its tip's two places, the turn of its axis, half angle and radius.
    """
    x, y, turn, half, radius = values
    cosine, sine = np.cos(turn), np.sin(turn)
    arm = points - (x, y)
    ahead = arm @ (cosine, sine) - radius
    aside = np.abs(arm @ (-sine, cosine))
    on_arc = ahead * np.cos(half) + aside * np.sin(half) < 0.0
    flank = aside * np.cos(half) - ahead * np.sin(half)
    return np.where(on_arc, np.hypot(ahead, aside), flank) - radius


def _least_squares(points: FloatArray, weight: FloatArray, begin: FloatArray, size: float) -> tuple[float, FloatArray]:
    from scipy.optimize import least_squares

    low = [-np.inf, -np.inf, -1.2, -STEEPEST / 2.0, 0.0]
    high = [np.inf, np.inf, 1.2, STEEPEST, 4.0 * size]
    start = np.clip(begin, np.add(low, 1e-6), np.subtract(high, 1e-6))
    fit = least_squares(
        lambda values: _off(values, points) * weight, start, bounds=(low, high), x_scale=[1, 1, 0.3, 0.3, 1]
    )
    return float(fit.cost), fit.x


def _told(points: FloatArray, weight: FloatArray, values: FloatArray, size: float) -> EdgeFit:
    """Return a fit with what the points' scatter leaves unsure of it (first order, JCGM 102)."""
    off = _off(values, points)
    step = 1e-5
    slopes = np.array([(_off(values + step * way, points) - off) / step for way in np.eye(5)]).T
    rms = float(np.sqrt(np.average(off**2, weights=weight**2)))
    spread = rms**2 * len(points) / max(len(points) - 5, 1)
    rows = slopes * weight[:, None]
    # No fit is less sure than what is known before it is made: where no flank shows, nothing else holds its angles.
    known = np.diag([1.0 / size, 1.0 / size, 1.0, 1.0, 1.0 / size]) ** 2
    inverse = np.linalg.inv(rows.T @ rows + max(spread, LEAST_SPREAD_MM**2) * known)
    covariance = inverse @ (rows.T @ (rows * (weight**2)[:, None])) @ inverse * spread
    tip = values[:2]
    return EdgeFit(
        tip, float(values[4]), float(values[3]), float(np.sqrt(covariance[4, 4])), float(np.sqrt(covariance[0, 0])), rms
    )
