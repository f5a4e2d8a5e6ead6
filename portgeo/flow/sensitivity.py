"""How the speeds on the wall change as the wall moves: the solution differentiated, for many ways to move it at once.

A grid and ways to move its nodes come in; the speeds along the wall at unit flow, and their change with each way,
go out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve

from portgeo.core.plane import FloatArray
from portgeo.flow.grid import Grid
from portgeo.flow.potential import Elements, elements_of, stiffness_of


@dataclass(frozen=True)
class Speeds:
    """Speeds of unit flow (n, p) along the wall of a grid, and their change (n, p, w) with each way its nodes move."""

    speed: FloatArray
    change: FloatArray


def speeds(grid: Grid, ways: sparse.csr_matrix | None = None) -> Speeds:
    """Return the speeds along a grid's wall for unit flow, and how each changes with each way to move its nodes.

    ways : (3 nodes, w), how far each node's x, y, z goes for one of each; none without it. The flow is `solve`'s
    without thinning air. The equations K u = 0 are differentiated as they stand, so that the changes are those of
    the solution that is computed, to the last digits: K du = -dK u, and dK by the derivative of the map of each
    hexahedron (Haslinger and Makinen, Introduction to Shape Optimization, SIAM 2003, chapter 3; from memory). Solved
    ring by ring: a node hangs together only with its own ring and the two beside it.
    """
    elements = elements_of(grid)
    stiffness = stiffness_of(elements)
    rings, count = grid.nodes.shape[:2]
    inside = slice(count, (rings - 1) * count)
    back = _factored(stiffness, rings, count)
    values = np.zeros(rings * count)
    values[-count:] = 1.0
    values[inside] = -back((stiffness @ values)[inside, None])[:, 0]
    flow = float(values @ (stiffness @ values))  # the potential's whole rise is one
    wall = grid.wall
    at_wall = (values / flow).reshape(rings, count)[:, grid.pattern.wall]
    if ways is None:
        return Speeds(_speed(wall, at_wall)[0], np.zeros((*wall.shape[:2], 0)))
    push = (_moved(elements, values) @ ways).toarray()  # dK u of each way
    rise = np.zeros_like(push)
    rise[inside] = -back(push[inside])
    rise = (rise - np.outer(values, values @ push) / flow) / flow
    on_wall = (np.arange(rings)[:, None] * count + grid.pattern.wall)[..., None] * 3 + np.arange(3)
    aside = ways[on_wall.ravel()].toarray().reshape(*on_wall.shape, -1)
    speed, change = _speed(wall, at_wall, aside, rise.reshape(rings, count, -1)[:, grid.pattern.wall])
    return Speeds(speed, change)


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
    flow = np.einsum("hi,hicq->hcq", values[elements.corners], gradients)
    weighted = gradients * part[:, None, None]
    across = np.einsum("hicq,hcq->hiq", gradients, flow)  # of each shape function's gradient with the flow's
    own = np.einsum("hiq,hjcq->hijc", across, weighted) - np.einsum("hicq,hjq->hijc", weighted, across)
    both = np.einsum("hicq,hjcq->hijq", gradients, gradients)
    own -= np.einsum("hijq,hcq->hijc", both, flow * part[:, None])
    rows = np.broadcast_to(elements.corners[:, :, None, None], own.shape)
    columns = np.broadcast_to(3 * elements.corners[:, None, :, None] + np.arange(3), own.shape)
    size = elements.nodes
    return sparse.coo_matrix((own.ravel(), (rows.ravel(), columns.ravel())), shape=(size, 3 * size)).tocsr()


def _speed(
    wall: FloatArray, values: FloatArray, moves: FloatArray | None = None, rises: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Return `wall_speed` of points (n, p, 3) with a potential (n, p), and its change (n, p, w).

    moves (n, p, 3, w) : of the points; rises (n, p, w) : of the potential.
    """

    def along(a: FloatArray) -> FloatArray:
        return np.gradient(a, axis=0)

    def round_it(a: FloatArray) -> FloatArray:
        return (np.roll(a, -1, axis=1) - np.roll(a, 1, axis=1)) / 2.0

    a, b, r, s = along(wall), round_it(wall), along(values), round_it(values)
    aa, bb, ab = (np.einsum("npj,npj->np", x, y) for x, y in ((a, a), (b, b), (a, b)))
    over = aa * bb - ab**2
    square = (bb * r**2 - 2.0 * ab * r * s + aa * s**2) / over
    speed = np.sqrt(np.maximum(square, 0.0))
    if moves is None or rises is None:
        return speed, np.zeros((*speed.shape, 0))
    by_r, by_s = 2.0 * (bb * r - ab * s) / over, 2.0 * (aa * s - ab * r) / over
    by_aa, by_bb, by_ab = (s**2 - square * bb) / over, (r**2 - square * aa) / over, 2.0 * (square * ab - r * s) / over
    by_a = 2.0 * by_aa[..., None] * a + by_ab[..., None] * b
    by_b = 2.0 * by_bb[..., None] * b + by_ab[..., None] * a
    change = by_r[..., None] * along(rises) + by_s[..., None] * round_it(rises)
    change += np.einsum("npj,npjw->npw", by_a, along(moves)) + np.einsum("npj,npjw->npw", by_b, round_it(moves))
    return speed, change / (2.0 * np.maximum(speed, 1e-12))[..., None]
