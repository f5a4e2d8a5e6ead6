"""The cuts to choose from: sums of smooth bumps over the wall, none deeper anywhere than limits allow.

A wall grid and how deep a cut may go come in; for each amount of every bump the depth at every place, the metal that
comes out and the flow grid in the cut port go out, and how each changes with each bump.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.interpolate import BSpline

from portgeo.core.plane import FloatArray
from portgeo.core.skin import skin
from portgeo.reshape.grid import WallGrid, moved, volume_after
from portgeo.reshape.solve import mirror_columns, unknowns

BUMPS_IN_BLEND = 2.0  # a cubic B-spline falls from its top to nothing over two of its steps
LEAST_AROUND = 8
ROUNDING_MM = 1e-9  # of a sum of bumps
TOP = 0.3  # of a bump's height: over what is less the next ones reach as high


@dataclass(frozen=True)
class Cuts:
    """Bumps on a wall grid of n stations and m places.

    most (w,) : of each that can be cut at all, mm along the way a cut goes. limit (n, m) : of a place. spread
    (n m, w) : the bumps; all together are one, so that no sum is deeper at a place than the greatest amount there.
    held (n m, h) : bumps that cannot be cut, for some of the wall beneath each is held.
    """

    grid: WallGrid
    most: FloatArray
    limit: FloatArray
    spread: sparse.csr_matrix
    held: sparse.csr_matrix

    def travel(self, amount: FloatArray) -> FloatArray:
        """Return how far each place moves (n, m) for amounts (w,). Over the limit it may be by a solver's rounding."""
        return np.minimum((self.spread @ amount).reshape(self.limit.shape), self.limit)

    def near(self, amount: FloatArray) -> np.ndarray:
        """Return the places (k,) whose limit amounts (w,) would pass."""
        return np.flatnonzero(self.spread @ amount > self.limit.ravel() + ROUNDING_MM)

    def under(self, spread: sparse.csr_matrix, bump: int) -> np.ndarray:
        """Return the places (k,) under the top of a bump of `spread`."""
        column = spread[:, [bump]].tocoo()
        return np.asarray(column.row[column.data > TOP * column.data.max()])

    def metal(self, travel: FloatArray) -> tuple[float, FloatArray]:
        """Return the metal (mm3) a cut (n, m) takes, and its slope (w,) with each bump's amount, of the mesh."""
        return volume_after(self.grid, travel) - self._uncut, self.metal_slope(travel).ravel() @ self.spread

    def metal_slope(self, travel: FloatArray) -> FloatArray:
        """Return how the metal of a cut (n, m) changes with the travel of each place (n, m): the mesh's, exactly."""
        n, m = travel.shape
        vertices, faces = skin(self.grid.in_space(moved(self.grid, travel)), self.grid.frames)
        corners = [vertices[faces[:, k]] for k in range(3)]
        push = np.zeros((len(vertices), 3))
        for k in range(3):
            np.add.at(push, faces[:, k], np.cross(corners[(k + 1) % 3], corners[(k + 2) % 3]) / 6.0)
        return np.einsum("nmj,nmj->nm", push[: n * m].reshape(n, m, 3), self.grid.directions)

    @cached_property
    def _uncut(self) -> float:
        return volume_after(self.grid, np.zeros(self.limit.shape))


def cuts_within(
    grid: WallGrid, limit: FloatArray, blend: float, most_around: float = np.inf, symmetric: bool = False
) -> Cuts:
    """Return the bumps that fade over `blend`, each at most as high as the limit (n, m) under it.

    most_around : of bumps round the port, whatever the blend.
    """
    by_line = _bumps_along(grid.stations, along_lines(grid), limit.max(axis=1) > 0.0, blend / BUMPS_IN_BLEND)
    along = by_line.mean(axis=1)
    wanted = min(float(grid.girth.mean()) * BUMPS_IN_BLEND / blend, most_around)
    count = max(4 * round(wanted / 4.0), LEAST_AROUND)
    around = _bumps_around(grid.share, count)
    most = np.empty((along.shape[1], count))
    for j, a in enumerate(along.T):
        for k, b in enumerate(around.T):
            under = limit[np.ix_(a > 0.0, b > 0.0)]
            top = limit[np.ix_(a > TOP * a.max(), b > TOP * b.max())]
            most[j, k] = top.min() if under.min() > 0.0 else 0.0
    fold = mirror_columns(count) if symmetric else np.arange(count)
    most = np.minimum(most, most[:, fold])
    lines = sparse.csr_matrix(by_line.reshape(limit.size, -1))
    order = np.arange(most.size).reshape(count, -1).T.ravel()
    bumps = sparse.hstack([sparse.diags(np.tile(each, len(limit))) @ lines for each in around.T], format="csc")[
        :, order
    ]
    (index, free), (_, held) = (
        unknowns(each, np.zeros_like(most), fold) for each in (most, np.where(most > 0.0, 0.0, 1.0))
    )
    return Cuts(grid, most.ravel()[index], limit, (bumps @ free).tocsr(), (bumps @ held).tocsr())


def along_lines(grid: WallGrid) -> FloatArray:
    """Return the length (n, m) along each wall line up to each place."""
    step = np.linalg.norm(np.diff(grid.points, axis=0), axis=2)
    return np.vstack([np.zeros(step.shape[1]), np.cumsum(step, axis=0)])


def _bumps_along(stations: FloatArray, length: FloatArray, free: np.ndarray, step: float) -> FloatArray:
    """Return cubic B-splines (n, m, a) over each run of free rows, about `step` of stations from one to the next.

    length (n, m) : along each wall line. free (n,) : rows in which anything may be cut.
    Towards a row that is held all bumps come to nothing at it; at an
    opening they go on. Knots stand at the same stations on all wall lines, and each line's splines are smooth in its
    own length: where a turn begins, the inside's stations draw together at once, and a bump smooth in stations would
    leave a corner on the wall.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], free, [False]]).astype(int))).reshape(-1, 2)
    found = []
    for start, end in edges:
        held = bool(start > 0), bool(end < len(stations))
        rows = slice(start - held[0], end + held[1])
        here = stations[rows]
        pieces = max(round(float(np.ptp(here)) / step), 1)
        inner = np.linspace(here[0], here[-1], pieces + 1)
        whole = np.zeros((*length.shape, pieces + 3 - 2 * sum(held)))
        for line, own in enumerate(length[rows].T):
            knots = np.interp(inner, here, own)  # the ends to the last digit: no row lies past them
            beyond = np.arange(1.0, 4.0)
            first = np.zeros(3) if held[0] else -beyond[::-1] * (knots[1] - knots[0])
            last = np.zeros(3) if held[1] else beyond * (knots[-1] - knots[-2])
            knots = np.concatenate([knots[0] + first, knots, knots[-1] + last])
            bumps = BSpline.design_matrix(own, knots, 3).toarray()
            whole[rows, line] = bumps[:, 2 * held[0] : -2 if held[1] else None]
        found.append(whole)
    return np.concatenate(found, axis=2) if found else np.zeros((*length.shape, 0))


def _bumps_around(share: FloatArray, count: int) -> FloatArray:
    """Return `count` periodic cubic B-splines (m, count) over a turn, shares 0 to 4; the first has its top at 12."""
    knots = np.arange(-3.0, count + 4.0) * (4.0 / count)
    open_ended = BSpline.design_matrix(share, knots, 3).toarray()  # count + 3, the last three the first anew
    closed = open_ended[:, :count].copy()
    closed[:, :3] += open_ended[:, count:]
    return np.roll(closed, -1, axis=1)  # spline k has its top at knot k - 1
