"""Mathematics of plane figures: polygon moments, chords, circle fits, arcs as polylines.

Arrays of points come in, numbers and arrays go out; nothing here knows what a port is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

CIRCLE_STEPS = 8  # of Gauss and Newton's method from the algebraic circle, at most
SETTLED = 1e-10  # of the points' spread: a circle that moves by less is found
CHORD_MM = 0.002  # outlines of curves stay this close to the curve: a tenth of the loft's chord error


@dataclass(frozen=True)
class Moments:
    """Area moments of one closed polygon.

    area : signed, positive counterclockwise. centroid : (2,). second : (2, 2) about the centroid,
    entries [[int y'^2, int y'z'], [int y'z', int z'^2]]. perimeter : of the polygon's edges.
    """

    area: float
    centroid: FloatArray
    second: FloatArray
    perimeter: float


def moments(outline: FloatArray) -> Moments:
    """Return area, centroid, second moments and perimeter of a closed polygon (n, 2), exactly.

    Green's theorem edge by edge (any mensuration handbook), taken about the first vertex so that
    figures far from the origin lose no digits.
    """
    p, q, cross, area = _crossed(outline)
    if area == 0.0:
        return Moments(0.0, outline.mean(axis=0), np.zeros((2, 2)), _length(p, q))
    centroid = (cross @ (p + q)) / (6.0 * area)
    squares = cross @ (p * p + p * q + q * q) / 12.0
    mixed = cross @ (p[:, 0] * q[:, 1] + 2 * p[:, 0] * p[:, 1] + 2 * q[:, 0] * q[:, 1] + q[:, 0] * p[:, 1]) / 24.0
    second = np.array([[squares[0], mixed], [mixed, squares[1]]])
    second = second - area * np.outer(centroid, centroid)
    return Moments(float(area), centroid + outline[0], second, _length(p, q))


def area_and_centroid(outline: FloatArray) -> tuple[float, FloatArray]:
    """Return a closed polygon's signed area and centroid (2,), as its moments have them, without the rest of them."""
    p, q, cross, area = _crossed(outline)
    if area == 0.0:
        return 0.0, outline.mean(axis=0)
    return float(area), cross @ (p + q) / (6.0 * area) + outline[0]


def _crossed(outline: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Return a polygon's points from its first on (n, 2), the next ones, their cross products (n,), its signed area."""
    p = outline - outline[0]
    q = np.concatenate([p[1:], p[:1]])
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    return p, q, cross, float(cross.sum() / 2.0)


def _length(p: FloatArray, q: FloatArray) -> float:
    return float(np.linalg.norm(q - p, axis=1).sum())


def areas(outlines: FloatArray) -> FloatArray:
    """Return the signed areas (k,) of stacked polygons (k, m, 2)."""
    return _crosses(outlines).sum(axis=1) / 2.0


def areas_and_centroids(outlines: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the signed areas (k,) and centroids (k, 2) of stacked polygons (k, m, 2), none of area zero."""
    cross = _crosses(outlines)
    area = cross.sum(axis=1) / 2.0
    sums = np.einsum("km,kmi->ki", cross, outlines + np.roll(outlines, -1, axis=1))
    return area, sums / (6.0 * area[:, None])


def _crosses(outlines: FloatArray) -> FloatArray:
    x, y = outlines[..., 0], outlines[..., 1]
    crosses = np.empty(x.shape)
    np.multiply(x[:, :-1], y[:, 1:], out=crosses[:, :-1])
    crosses[:, :-1] -= x[:, 1:] * y[:, :-1]
    crosses[:, -1] = x[:, -1] * y[:, 0] - x[:, 0] * y[:, -1]
    return crosses


def chord(outline: FloatArray, through: FloatArray, axis: int) -> tuple[float, float]:
    """Return the outermost crossings (low, high) of a line along `axis` through a point.

    outline : (n, 2) closed. through : (2,). The pair is in coordinate `axis`; (nan, nan) where the
    line misses the outline.
    """
    other = 1 - axis
    p, q = outline, np.roll(outline, -1, axis=0)
    a, b = p[:, other] - through[other], q[:, other] - through[other]
    crosses = (a < 0) != (b < 0)
    if not crosses.any():
        return float("nan"), float("nan")
    t = a[crosses] / (a[crosses] - b[crosses])
    hits = p[crosses, axis] + t * (q[crosses, axis] - p[crosses, axis])
    return float(hits.min()), float(hits.max())


@dataclass(frozen=True)
class CircleFit:
    """A circle through plane points: centre (2,), radius, rms distance of the points from it."""

    centre: FloatArray
    radius: float
    rms: float


def fit_circle(points: FloatArray) -> CircleFit:
    """Return the geometric least-squares circle of points (n, 2), n >= 3.

    Gauss-Newton on the distances to the circle, from the algebraic fit (Gander, Golub and Strebel,
    "Least-squares fitting of circles and ellipses", BIT 34, 1994). Points on a line give an
    infinite radius.
    """
    middle = points.mean(axis=0)
    scale = float(np.abs(points - middle).max()) or 1.0
    p = (points - middle) / scale
    system = np.column_stack([2 * p, np.ones(len(p))])
    solution, _, rank, _ = np.linalg.lstsq(system, (p * p).sum(axis=1), rcond=1e-10)
    if rank < 3:
        return CircleFit(np.full(2, np.nan), float("inf"), 0.0)
    centre = solution[:2]
    radius = float(np.sqrt(max(solution[2] + centre @ centre, 0.0)))
    for _ in range(50):
        arm = p - centre
        distance = np.linalg.norm(arm, axis=1)
        distance[distance == 0.0] = 1e-300
        jacobian = np.column_stack([-arm / distance[:, None], -np.ones(len(p))])
        step, *_ = np.linalg.lstsq(jacobian, -(distance - radius), rcond=None)
        centre, radius = centre + step[:2], radius + float(step[2])
        if np.abs(step).max() < 1e-12 * max(1.0, radius):
            break
    residual = np.linalg.norm(p - centre, axis=1) - radius
    rms = float(np.sqrt(np.mean(residual**2)))
    return CircleFit(centre * scale + middle, radius * scale, rms * scale)


def fit_circles(lines: FloatArray, used: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return centres (t, 2), radii and rms distances (t,) of geometric least-squares circles.

    lines (t, n, 2), used (t, n) : which of a line's points are fitted. As `fit_circle`, for many
    lines at once. Points on a line give a radius of infinity.
    """
    weight = used / np.maximum(used.sum(axis=1, keepdims=True), 1)
    middle = np.einsum("tn,tni->ti", weight, lines)
    arm = lines - middle[:, None]
    scale = np.sqrt(np.einsum("tn,tni,tni->t", weight, arm, arm))[:, None]
    p = arm / np.maximum(scale, 1e-300)[:, None]
    square = np.einsum("tni,tni->tn", p, p)
    system = np.concatenate([2.0 * p, np.ones((*p.shape[:2], 1))], axis=2)
    solution = _least_squares(system, square, weight)
    # A line that is straight, at first or on the way, has no circle: it stays where it is.
    sound = np.isfinite(solution).all(axis=1)
    solution[~sound] = 0.0
    centre, radius = solution[:, :2], np.sqrt(np.maximum(solution[:, 2] + (solution[:, :2] ** 2).sum(axis=1), 0.0))
    for _ in range(CIRCLE_STEPS):
        out = p - centre[:, None]
        distance = np.maximum(np.linalg.norm(out, axis=2), 1e-300)
        jacobian = np.concatenate([out / distance[..., None], np.ones((*p.shape[:2], 1))], axis=2)
        move = _least_squares(jacobian, distance - radius[:, None], weight)
        sound &= np.isfinite(move).all(axis=1)
        move[~sound] = 0.0
        centre, radius = centre + move[:, :2], radius + move[:, 2]
        if np.abs(move).max() < SETTLED:
            break
    off = np.linalg.norm(p - centre[:, None], axis=2) - radius[:, None]
    rms = np.sqrt(np.einsum("tn,tn,tn->t", weight, off, off))
    scale = scale[:, 0]
    return (
        centre * scale[:, None] + middle,
        np.where(sound, np.abs(radius) * scale, np.inf),
        np.where(sound, rms * scale, 0.0),
    )


def _least_squares(rows: FloatArray, values: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the weighted least-squares solutions (t, 3) of rows (t, n, 3) and values (t, n)."""
    weighted = (rows * weight[..., None]).swapaxes(1, 2)
    normal = weighted @ rows
    straight = np.linalg.cond(normal) > 1.0 / np.finfo(float).eps
    normal[straight] = np.eye(3)
    found = np.linalg.solve(normal, weighted @ values[..., None])[..., 0]
    return np.where(straight[:, None], np.inf, found)


def arc_points(
    centre: FloatArray, radius: float, start: float, sweep: float, chord_error: float = CHORD_MM
) -> FloatArray:
    """Return points (n, 2) on an arc, ends included, whose chords stay within `chord_error`.

    The sagitta of a chord over an angle t is r (1 - cos(t / 2)).
    """
    if radius == 0.0:
        return np.asarray(centre, dtype=float)[None, :]
    count = segments_for_arc(radius, abs(sweep), chord_error)
    angle = start + sweep * np.linspace(0.0, 1.0, count + 1)
    return centre + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def segments_for_arc(radius: float, sweep: float, chord_error: float = CHORD_MM) -> int:
    """Return how many equal chords keep an arc of `sweep` radians within `chord_error`."""
    most = 2.0 * np.arccos(max(1.0 - chord_error / radius, 0.0))
    return max(int(np.ceil(sweep / most)), 1)


def resample(outline: FloatArray, count: int) -> FloatArray:
    """Return `count` points (count, 2) at equal arc length along a closed polygon (n, 2)."""
    closed = np.vstack([outline, outline[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    at = np.arange(count) * (length[-1] / count)
    return np.column_stack([np.interp(at, length, closed[:, k]) for k in range(2)])
