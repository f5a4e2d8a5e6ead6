"""How the speeds on the wall change as the wall moves: the solution differentiated, forward and back.

A grid comes in; the speeds along its wall at unit flow go out, their change with each of many ways to move the nodes,
and how a sum of them changes with every node.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve

from portgeo.core.plane import FloatArray
from portgeo.flow.grid import Grid
from portgeo.flow.potential import Elements, elements_of, stiffness_of


@dataclass(frozen=True)
class WallFlow:
    """The potential flow in a grid, and how the speeds along its wall change as the nodes move.

    The equations K u = 0 are differentiated as they stand, so that the changes are those of the solution that is
    computed, to the last digits: K du = -dK u, and dK by the derivative of the map of each hexahedron (Haslinger and
    Makinen, Introduction to Shape Optimization, SIAM 2003, chapter 3; from memory). values (nodes,) : the potential, of
    a rise of one; through : its flow. back : what solves for the nodes inside.
    """

    grid: Grid
    elements: Elements
    values: FloatArray
    through: float
    back: Callable[[FloatArray], FloatArray]

    @cached_property
    def speed(self) -> FloatArray:
        """Speeds (n, p) of unit flow along the wall."""
        return self._by_wall[0]

    def change(self, ways: sparse.csr_matrix) -> FloatArray:
        """Return how the speeds change (n, p, w). ways (3 nodes, w) : how far each node's x, y, z goes for one."""
        rings, count = self.grid.nodes.shape[:2]
        inside = slice(count, (rings - 1) * count)
        push = (self._moved @ ways).toarray()  # dK u of each way
        rise = np.zeros_like(push)
        rise[inside] = -self.back(push[inside])
        rise = (rise - np.outer(self.values, self.values @ push) / self.through) / self.through
        wall = self.grid.pattern.wall
        aside = ways[self._on_wall.ravel()].toarray().reshape(*self._on_wall.shape, -1)
        rises = rise.reshape(rings, count, -1)[:, wall]
        _, by_r, by_s, by_a, by_b = self._by_wall
        change = by_r[..., None] * _along(rises) + by_s[..., None] * _round_it(rises)
        change += np.einsum("npj,npjw->npw", by_a, _along(aside)) + np.einsum("npj,npjw->npw", by_b, _round_it(aside))
        return np.asarray(change)

    def slope(self, weights: FloatArray) -> FloatArray:
        """Return how the sum of weights (n, p) times the speeds changes with each node's x, y, z (3 nodes,).

        By the adjoint equation: one solution, however many ways the nodes may move.
        """
        rings, count = self.grid.nodes.shape[:2]
        inside = slice(count, (rings - 1) * count)
        _, by_r, by_s, by_a, by_b = self._by_wall
        found = np.zeros(self.grid.nodes.size)
        weight = weights[..., None]
        found[self._on_wall.ravel()] = (_along_back(weight * by_a) - _round_it(weight * by_b)).ravel()
        by_value = np.zeros((rings, count))
        by_value[:, self.grid.pattern.wall] = _along_back(weights * by_r) - _round_it(weights * by_s)
        pull = by_value.ravel()
        adjoint = -(pull @ self.values) / self.through * self.values
        adjoint[inside] -= self.back(pull[inside, None])[:, 0]
        return np.asarray(found + self._moved.T @ adjoint / self.through)

    @cached_property
    def _on_wall(self) -> np.ndarray:
        """Where the wall's x, y, z (n, p, 3) stand among the nodes'."""
        rings, count = self.grid.nodes.shape[:2]
        return np.asarray((np.arange(rings)[:, None] * count + self.grid.pattern.wall)[..., None] * 3 + np.arange(3))

    @cached_property
    def _by_wall(self) -> tuple[FloatArray, ...]:
        """`wall_speed` (n, p), and what it changes by with the steps along and round of potential and points."""
        rings, count = self.grid.nodes.shape[:2]
        return _speed(self.grid.wall, (self.values / self.through).reshape(rings, count)[:, self.grid.pattern.wall])

    @cached_property
    def _moved(self) -> sparse.csr_matrix:
        return _moved(self.elements, self.values)


def wall_flow(grid: Grid) -> WallFlow:
    """Return the flow in a grid: `solve`'s without thinning air.

    Solved ring by ring: a node hangs together only with its own ring and the two beside it.
    """
    elements = elements_of(grid)
    stiffness = stiffness_of(elements)
    rings, count = grid.nodes.shape[:2]
    inside = slice(count, (rings - 1) * count)
    back = _factored(stiffness, rings, count)
    values = np.zeros(rings * count)
    values[-count:] = 1.0
    values[inside] = -back((stiffness @ values)[inside, None])[:, 0]
    return WallFlow(grid, elements, values, float(values @ (stiffness @ values)), back)  # the whole rise is one


def _factored(stiffness: sparse.csr_matrix, rings: int, count: int) -> Callable[[FloatArray], FloatArray]:
    """Return what solves for the nodes inside, right sides (k, w), by the block Cholesky factors of a matrix."""
    blocks = range(1, rings - 1)
    place = [slice(k * count, (k + 1) * count) for k in range(rings)]
    own, above = list[Any](), list[FloatArray]()
    for k in blocks:
        block = stiffness[place[k], place[k]].toarray()
        if above:
            block -= above[-1].T @ cho_solve(own[-1], above[-1], check_finite=False)
        own.append(cho_factor(block, lower=True, overwrite_a=True, check_finite=False))
        if k < rings - 2:
            above.append(stiffness[place[k], place[k + 1]].toarray())

    def solved(right: FloatArray) -> FloatArray:
        parts = [right[:count]]
        for k, across in enumerate(above):
            parts.append(right[(k + 1) * count : (k + 2) * count] - across.T @ cho_solve(own[k], parts[k]))
        parts[-1] = cho_solve(own[-1], parts[-1])
        for k in range(len(above) - 1, -1, -1):
            parts[k] = cho_solve(own[k], parts[k] - above[k] @ parts[k + 1])
        return np.concatenate(parts)

    return solved


def _moved(elements: Elements, values: FloatArray) -> sparse.csr_matrix:
    """Return how K u changes (nodes, 3 nodes) as each node goes along x, y, z."""
    gradients, part = elements.gradients, elements.part  # (h, 8, 3, q), (h, q)
    h = len(part)
    flow = np.einsum("hi,hicq->hcq", values[elements.corners], gradients)
    weighted = (gradients * part[:, None, None]).reshape(h, 24, -1)
    across = np.einsum("hicq,hcq->hiq", gradients, flow)  # of each shape function's gradient with the flow's
    own = (across @ weighted.transpose(0, 2, 1)).reshape(h, 8, 8, 3)
    own -= (weighted @ across.transpose(0, 2, 1)).reshape(h, 8, 3, 8).transpose(0, 1, 3, 2)
    thrust = gradients.transpose(0, 2, 3, 1)[..., None] * (flow * part[:, None]).transpose(0, 2, 1)[:, None, :, None]
    own -= (gradients.reshape(h, 8, -1) @ thrust.reshape(h, -1, 24)).reshape(h, 8, 8, 3)
    rows = np.broadcast_to(elements.corners[:, :, None, None], own.shape)
    columns = np.broadcast_to(3 * elements.corners[:, None, :, None] + np.arange(3), own.shape)
    size = elements.nodes
    return sparse.coo_matrix((own.ravel(), (rows.ravel(), columns.ravel())), shape=(size, 3 * size)).tocsr()


def _along(values: FloatArray) -> FloatArray:
    return np.asarray(np.gradient(values, axis=0))


def _along_back(values: FloatArray) -> FloatArray:
    """Return what `_along`, transposed, makes of values (n, ...)."""
    return np.tensordot(np.gradient(np.eye(len(values)), axis=0), values, axes=(0, 0))


def _round_it(values: FloatArray) -> FloatArray:
    """Return the steps round: transposed they are their own opposite."""
    return (np.roll(values, -1, axis=1) - np.roll(values, 1, axis=1)) / 2.0


def _speed(wall: FloatArray, values: FloatArray) -> tuple[FloatArray, ...]:
    """Return `wall_speed` of points (n, p, 3) with a potential (n, p), and its derivatives.

    By the potential's steps along and round (n, p), and by the points' (n, p, 3).
    """
    a, b, r, s = _along(wall), _round_it(wall), _along(values), _round_it(values)
    aa, bb, ab = (np.einsum("npj,npj->np", x, y) for x, y in ((a, a), (b, b), (a, b)))
    over = aa * bb - ab**2
    square = (bb * r**2 - 2.0 * ab * r * s + aa * s**2) / over
    speed = np.sqrt(np.maximum(square, 0.0))
    twice = 2.0 * np.maximum(speed, 1e-12)
    by_r, by_s = 2.0 * (bb * r - ab * s) / over / twice, 2.0 * (aa * s - ab * r) / over / twice
    by_aa, by_bb, by_ab = (
        each / over / twice for each in (s**2 - square * bb, r**2 - square * aa, 2.0 * (square * ab - r * s))
    )
    by_a = 2.0 * by_aa[..., None] * a + by_ab[..., None] * b
    by_b = 2.0 * by_bb[..., None] * b + by_ab[..., None] * a
    return speed, by_r, by_s, by_a, by_b
