"""Speed of an ideal flow at places off the wall, from the potential at the nodes of its hexahedra.

A grid with its potential and points come in; speeds go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from portgeo.core.plane import FloatArray
from portgeo.flow.grid import Grid, hexahedra

TRIED = 12  # hexahedra, by their middles, in which a point is looked for
STEPS = 20  # of Newton's method: the map of a hexahedron that is not folded is nearly linear
OUTSIDE = 1e-3  # of a hexahedron: a point so far past its faces is on them
# The corners of a hexahedron of `hexahedra`: a quad, then the same of the next ring.
CORNERS = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]]
)  # fmt: skip


@dataclass(frozen=True)
class Within:
    """An ideal flow in a grid: its potential (n, k) at the nodes, whose gradient is the speed of unit flow."""

    grid: Grid
    values: FloatArray

    def speeds(self, points: FloatArray) -> FloatArray:
        """Return the speeds (m,) of unit flow at points (m, 3), nan outside the grid."""
        corners = hexahedra(len(self.grid.nodes), self.grid.pattern)
        nodes, values = self.grid.nodes.reshape(-1, 3), self.values.ravel()
        _, near = cKDTree(nodes[corners].mean(axis=1)).query(points, k=TRIED)
        return np.array(
            [
                self._speed(point, nodes[corners[some]], values[corners[some]])
                for point, some in zip(points, near, strict=True)
            ]
        )

    def _speed(self, point: FloatArray, nodes: FloatArray, values: FloatArray) -> float:
        """Return the speed at a point in the first of hexahedra (h, 8, 3) that holds it."""
        for eight, potential in zip(nodes, values, strict=True):
            place = _place_in(eight, point)
            if np.abs(place).max() <= 1.0 + OUTSIDE:
                gradients = _gradients(place)
                return float(np.linalg.norm(np.linalg.solve((gradients.T @ eight), gradients.T @ potential)))
        return float("nan")


def _place_in(eight: FloatArray, point: FloatArray) -> FloatArray:
    """Return where a point stands in a hexahedron's own coordinates, each from -1 to 1, by Newton's method."""
    place = np.zeros(3)
    for _ in range(STEPS):
        shape = np.prod(1.0 + CORNERS * place, axis=1) / 8.0
        missed = point - shape @ eight
        step = np.linalg.solve((_gradients(place).T @ eight).T, missed)
        place = np.clip(place + step, -2.0, 2.0)
        if np.abs(step).max() < 1e-10:
            break
    return place


def _gradients(place: FloatArray) -> FloatArray:
    """Return the gradients (8, 3) of the trilinear shape functions in a hexahedron's own coordinates."""
    factors = 1.0 + CORNERS * place
    others = np.column_stack(
        [factors[:, 1] * factors[:, 2], factors[:, 0] * factors[:, 2], factors[:, 0] * factors[:, 1]]
    )
    return np.asarray(CORNERS * others / 8.0)
