"""Sections along a mold's side view: planes square to the line that runs midway between its floor and its roof.

The two lines come in as curves; sections, each from floor to roof, go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray

SECTIONS = 61  # along the medial line: every 2 mm of a port
DENSE = 800  # points of floor and roof, which sections end between
KNOT_MM = 3.5  # between a wall's knots: its noise goes, the turn of a tight short side stays
END_KNOT_MM = 12.0  # of the first and last stretch, from which the wall is carried on to its end
PASSES = 80
STEP = 0.5  # of what a pass finds: the whole of it swings from side to side
CONVERGED_MM = 0.01
LEAST_BETWEEN = 3  # values between two knots
REACH = 0.5  # of a wall's length, that it is carried on straight at either end to meet the end's line


@dataclass(frozen=True)
class Medial:
    """Sections from the entry's face to the exit's. floor, roof, middle (n, 2) : along the paper and up, mm.

    heading (n,) : towards the floor from the first axis, radians. station (n,) : along the middles.
    """

    floor: FloatArray
    roof: FloatArray
    heading: FloatArray

    @property
    def middle(self) -> FloatArray:
        """Middles (n, 2) of the sections."""
        return (self.floor + self.roof) / 2.0

    @property
    def station(self) -> FloatArray:
        """Distance (n,) along the middles from the entry."""
        return along(self.middle)

    @property
    def height(self) -> FloatArray:
        """Distance (n,) from floor to roof."""
        return np.asarray(np.linalg.norm(self.roof - self.floor, axis=1))


def along(line: FloatArray) -> FloatArray:
    """Return the distance (n,) along a line (n, d) from its first point."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def smooth_values(at: FloatArray, values: FloatArray, there: FloatArray, knot: float = KNOT_MM) -> FloatArray:
    """Return values (n, ...) as a least-squares cubic spline has them at `there`, straight past its ends."""
    from scipy.interpolate import make_lsq_spline

    start, end = float(at[0]), float(at[-1])
    count = max(int((end - start - 2.0 * END_KNOT_MM) / knot), 0) + 1
    inner: list[float] = []
    for place in np.linspace(start + END_KNOT_MM, end - END_KNOT_MM, count):
        before = inner[-1] if inner else start
        if min(np.sum((at > before) & (at < place)), np.sum(at > place)) >= LEAST_BETWEEN:
            inner.append(float(place))
    spline = make_lsq_spline(at, values, np.concatenate([[start] * 4, inner, [end] * 4]), 3)
    inside = np.clip(there, start, end)
    over = (there - inside).reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(spline(inside) + over * spline.derivative()(inside))


def carried_to(s: FloatArray, line: FloatArray, first: FloatArray, last: FloatArray) -> FloatArray:
    """Return a wall (DENSE, 2) smoothed, from one end's line (2, 2) to the other's; a line is two points on it.

    s (n,) : where along the wall its places (n, 2) lie, in order.
    """
    s = s - s[0]
    reach = REACH * s[-1]
    there = np.linspace(-reach, s[-1] + reach, 5 * DENSE)
    wall = smooth_values(s, line, there)
    cut = []
    for end, where in ((first, there < s[-1] / 2.0), (last, there > s[-1] / 2.0)):
        way = end[1] - end[0]
        side = (wall - end[0]) @ np.array([-way[1], way[0]])
        changes = np.flatnonzero((side[:-1] * side[1:] <= 0.0) & where[:-1])
        if not len(changes):
            raise GeometryError(
                "a wall of the mold does not run to its ends in the side view",
                hint="Cut both ends flat and square, and lay the mold on its left wall with the entry to the left",
            )
        near = changes[np.argmin(np.abs(there[changes] - (0.0 if end is first else s[-1])))]
        share = side[near] / (side[near] - side[near + 1])
        cut.append(there[near] + share * (there[near + 1] - there[near]))
    return np.column_stack([np.interp(np.linspace(cut[0], cut[1], DENSE), there, wall[:, k]) for k in range(2)])


def medial(floor: FloatArray, roof: FloatArray) -> Medial:
    """Return sections between a floor and a roof (DENSE, 2) that both run from the entry's face to the exit's.

    A fixed point: each section stands square, in its middle, to the line through the middles of all. The first and
    the last are the faces themselves.
    """
    low = high = np.linspace(0.0, 1.0, SECTIONS)
    index = np.linspace(0.0, 1.0, len(floor))
    heading = np.zeros(SECTIONS)
    for _ in range(PASSES):
        ends = _at(floor, index, low), _at(roof, index, high)
        middle = (ends[0] + ends[1]) / 2.0
        heading = _headings(middle, ends)
        ahead = np.column_stack([np.cos(heading), -np.sin(heading)])
        found = [_crossing(wall, index, middle, ahead, at) for wall, at in ((floor, low), (roof, high))]
        step = [STEP * (new - old) for new, old in zip(found, (low, high), strict=True)]
        low, high = low + step[0], high + step[1]
        # Even distances along the middle again.
        s = along((_at(floor, index, low) + _at(roof, index, high)) / 2.0)
        even = np.linspace(0.0, s[-1], SECTIONS)
        low, high = np.interp(even, s, low), np.interp(even, s, high)
        if max(np.abs(part).max() for part in step) * s[-1] < CONVERGED_MM:
            break
    return Medial(_at(floor, index, low), _at(roof, index, high), heading)


def _at(line: FloatArray, index: FloatArray, at: FloatArray) -> FloatArray:
    return np.column_stack([np.interp(at, index, line[:, k]) for k in range(2)])


def _headings(middle: FloatArray, ends: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Return the headings (n,) of the middle line; at the two ends what is square to the faces."""
    s = along(middle)
    calm = smooth_values(s, middle, s)
    step = np.gradient(calm, s, axis=0)
    face = (ends[1] - ends[0])[[0, -1]]
    step[[0, -1]] = np.column_stack([face[:, 1], -face[:, 0]])
    return np.unwrap(np.arctan2(-step[:, 1], step[:, 0]))


def _crossing(wall: FloatArray, index: FloatArray, middle: FloatArray, ahead: FloatArray, at: FloatArray) -> FloatArray:
    """Return where (n,) on a wall each section's line meets it, the crossing nearest to where it met it before."""
    side = wall @ ahead.T - (middle * ahead).sum(axis=1)
    up = (side[:-1] <= 0.0) & (side[1:] > 0.0)
    off = np.where(up, np.abs(index[:-1, None] - at), np.inf)
    near, every = np.argmin(off, axis=0), np.arange(len(at))
    before, after = side[near, every], side[near + 1, every]
    met = index[near] + before / (before - after) * (index[1] - index[0])
    met = np.where(np.isfinite(off[near, every]), met, at)
    met[0], met[-1] = 0.0, 1.0
    return np.asarray(met)
