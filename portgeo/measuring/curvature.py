"""How tightly plane lines bend: curvature, the part that is really bent, the circles fitted to it.

Lines of points at equal steps, any number of them at once, come in; radii and places go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from portgeo.core.plane import FloatArray, IntArray, fit_circles

LEAST_CURVATURE = 0.5  # of the greatest: less is a lead-in
LEAST_WINDOW = np.radians(30.0)  # turning over which the least radius is fitted
# Of the window and of the curvature: by how much a parabola's heading at an arc's end is short of the arc's.
SMEAR = 5.0 / 64.0
BAND = 50  # places whose parabolas are worked out together: of all others' points most have no part in them
LEAST_POINTS = 5  # of a circle, and of a parabola


@dataclass(frozen=True)
class BentLines:
    """What t lines of n points are: heading and curvature (t, n), the bent part's ends and its circle (t,).

    first, last : places of the first and last point of the bent part. centre (t, 2), radius, rms (t,) :
    of its circle. least_radius (t,) : of the tightest over LEAST_WINDOW of turning.
    """

    heading: FloatArray
    curvature: FloatArray
    first: IntArray
    last: IntArray
    centre: FloatArray
    radius: FloatArray
    rms: FloatArray
    least_radius: FloatArray


def bent_lines(lines: FloatArray, window: int, turning: slice) -> BentLines:
    """Return how lines (t, n, 2) of points at equal steps, which turn to the left, bend.

    window : points, an odd number, that a parabola about each point is fitted to (Savitzky and Golay,
    Anal. Chem. 36, 1964); its curvature is what the line's own is on the average there, weighted by
    (1 - x^2)^2 across the window. The bent part is the stretch about the greatest curvature over
    LEAST_CURVATURE of it: an arc between straight lines comes out at its own ends, whatever the window
    up to its length. It holds LEAST_WINDOW of turning, where the line turns so far. turning : points among
    which the greatest curvature, and the stretch that turns by LEAST_WINDOW, are looked for: a hump before a
    bend is no part of it. All circles are geometric least
    squares of the points themselves.
    """
    heading, curvature = headings_and_curvatures(lines, window)
    (a, b), (c, d), more = _parts(lines, heading, curvature, window, turning)
    place = np.arange(lines.shape[1])
    centre, radius, rms = fit_circles(lines, (place >= a[:, None]) & (place <= b[:, None]))
    least = radius.copy()
    if len(more):
        least[more] = fit_circles(lines[more], (place >= c[:, None]) & (place <= d[:, None]))[1]
    return BentLines(heading, curvature, a, b, centre, radius, rms, least)


def headings_and_curvatures(lines: FloatArray, window: int) -> tuple[FloatArray, FloatArray]:
    """Return the headings and curvatures (t, n) of lines (t, n, 2), as `bent_lines` takes them."""
    _, *parts = _parabolas(lines.shape[1], window)
    first, bend = (_applied(part, lines, window) for part in parts)
    across = first[..., 0] * bend[..., 1] - first[..., 1] * bend[..., 0]
    curvature = across / np.maximum(np.linalg.norm(first, axis=2), 1e-300) ** 3
    return np.unwrap(np.arctan2(first[..., 1], first[..., 0]), axis=1), curvature


def _applied(parabolas: FloatArray, lines: FloatArray, window: int) -> FloatArray:
    """Return the product of one of `_parabolas` (n, n) and lines (t, n, 2), all lines at once, its zeros left out."""
    count, half = len(parabolas), window // 2
    side_by_side = lines.swapaxes(0, 1).reshape(count, -1)
    found = np.empty_like(side_by_side)
    for a in range(0, count, BAND):
        b = min(a + BAND, count)
        band = slice(max(min(a - half, count - window), 0), min(max(b + half, window), count))
        found[a:b] = parabolas[a:b, band] @ side_by_side[band]
    return found.reshape(count, -1, 2).swapaxes(0, 1)


def quick_radii_of(lines: FloatArray, window: int, turning: slice) -> tuple[FloatArray, FloatArray]:
    """Return the radii and the tightest radii (t,) of lines (t, n, 2), as `bent_lines` but with algebraic circles.

    On a smooth line the algebraic circle (Kasa, IEEE Trans. Instrum. Meas. 25, 1976), in closed form from
    running sums, is the geometric one to within what trials by the hundred can show.
    """
    heading, curvature = headings_and_curvatures(lines, window)
    x, y = np.moveaxis(lines - lines.mean(axis=1, keepdims=True), 2, 0)
    square = x * x + y * y
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, square * x, square * y, square])
    sums = np.concatenate([np.zeros((9, len(lines), 1)), np.cumsum(terms, axis=2)], axis=2)
    (a, b), (c, d), more = _parts(lines, heading, curvature, window, turning)
    radius = _algebraic_radii(sums, a, b)
    least = radius.copy()
    if len(more):
        least[more] = _algebraic_radii(sums[:, more], c, d)
        least = np.where(_turned(heading, a, b) >= LEAST_WINDOW, np.minimum(least, radius), least)
    return radius, least


def _algebraic_radii(sums: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Return the radii (t,) of circles through the points first to last of t lines, from their running sums."""
    each = np.arange(len(first))
    n, x, y, xx, xy, yy, qx, qy, q = sums[:, each, last + 1] - sums[:, each, first]
    mx, my, mq = x / n, y / n, q / n
    cxx, cxy, cyy = xx / n - mx * mx, xy / n - mx * my, yy / n - my * my
    bx, by = (qx / n - mq * mx) / 2.0, (qy / n - mq * my) / 2.0
    determinant = cxx * cyy - cxy * cxy
    straight = determinant <= np.finfo(float).eps * (cxx + cyy) ** 2
    determinant[straight] = 1.0
    cx, cy = (bx * cyy - by * cxy) / determinant, (by * cxx - bx * cxy) / determinant
    square = np.maximum(mq - 2.0 * (cx * mx + cy * my) + cx * cx + cy * cy, 0.0)
    return np.where(straight, np.inf, np.sqrt(square))


def smoothed(lines: FloatArray, window: int) -> FloatArray:
    """Return lines (t, n, 2) with each point on the parabola about it."""
    return np.asarray(_parabolas(lines.shape[1], window)[0] @ lines)


@lru_cache(maxsize=16)
def _parabolas(count: int, window: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the matrices (n, n) that give value, slope and second derivative, per step, of a row of n points.

    The first and last half windows are read off the first and last whole window's parabola.
    """
    half = window // 2
    x = np.arange(-half, half + 1.0)
    fit = np.linalg.pinv(np.vander(x / half, 3, increasing=True)) / half ** np.arange(3.0)[:, None]
    value, slope, second = (np.zeros((count, count)) for _ in range(3))
    for k in range(count):
        middle = min(max(k, half), count - 1 - half)
        off, columns = float(k - middle), slice(middle - half, middle + half + 1)
        value[k, columns] = fit[0] + off * fit[1] + off * off * fit[2]
        slope[k, columns] = fit[1] + 2.0 * off * fit[2]
        second[k, columns] = 2.0 * fit[2]
    return value, slope, second


def _bent_part(curvature: FloatArray, turning: slice) -> tuple[IntArray, IntArray]:
    """Return the first and last place (t,) of the stretch about the greatest `turning` one of t curvatures (t, n)."""
    count = curvature.shape[1]
    place, top = np.arange(count), turning.start + np.argmax(curvature[:, turning], axis=1)[:, None]
    slack = curvature < LEAST_CURVATURE * np.take_along_axis(curvature, top, axis=1)
    first = np.where(slack & (place < top), place, -1).max(axis=1) + 1
    last = np.where(slack & (place > top), place, count).min(axis=1) - 1
    short = last - first + 1 < LEAST_POINTS
    first = np.where(short, np.clip(first - LEAST_POINTS // 2, 0, count - LEAST_POINTS), first)
    return first, np.where(short, first + LEAST_POINTS - 1, last)


def _turned(heading: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Return what t lines turn by (t,) from their first place to their last."""
    at_first, at_last = (np.take_along_axis(heading, place[:, None], 1)[:, 0] for place in (first, last))
    return np.asarray(at_last - at_first)


def _parts(
    lines: FloatArray, heading: FloatArray, curvature: FloatArray, window: int, turning: slice
) -> tuple[tuple[IntArray, IntArray], IntArray, IntArray]:
    """Return the ends (t,) of the bent part of t lines, those (2, k) of the tightest LEAST_WINDOW of turning of the k
    that turn so far, and which these are.

    Of these the bent part turns no less: where one place is bent twice as much as what is beside it, no circle lies on
    so short a part that a gauge would.
    """
    first, last = _bent_part(curvature, turning)
    step = np.linalg.norm(np.diff(lines, axis=1), axis=2).mean(axis=1)
    smear = 2.0 * SMEAR * window * step * curvature[:, turning].max(axis=1)
    own = heading[:, turning]
    more = np.flatnonzero(own.max(axis=1) - own[:, 0] > LEAST_WINDOW + smear)
    tightest = _tightest(own[more]) + turning.start
    short = _turned(heading, first, last)[more] < LEAST_WINDOW
    first[more[short]], last[more[short]] = tightest[:, short]
    return (first, last), tightest, more


def _tightest(heading: FloatArray) -> IntArray:
    """Return the ends (2, t) of the shortest stretch that turns by LEAST_WINDOW; each line (t, n) turns more."""
    ends: list[tuple[int, int]] = []
    place = np.arange(heading.shape[1], dtype=float)
    turned = np.maximum.accumulate(heading, axis=1)
    turns = np.diff(turned, axis=1, prepend=-np.inf) > 0.0
    for each, rising in zip(turned, turns, strict=True):
        if rising.all():
            beyond = np.interp(each + LEAST_WINDOW, each, place, right=np.inf)
            start = int(np.argmin(beyond - place))
        else:
            beyond = np.interp(each + LEAST_WINDOW, each[rising], place[rising], right=np.inf)
            # Where a line does not turn for a while its turn begins after that.
            start = int(np.argmin(beyond - (np.searchsorted(each, each, side="right") - 1.0)))
        ends.append((start, max(int(np.ceil(beyond[start])), start + LEAST_POINTS - 1)))
    return np.array(ends, dtype=np.int64).reshape(-1, 2).T
