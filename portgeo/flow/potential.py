"""Laplace's equation in a grid of hexahedra: the ideal flow between its first ring and its last.

A grid comes in; the potential at its nodes for unit flow, the flux through every layer and the speed
along the wall go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import cg

from portgeo.errors import GeometryError
from portgeo.flow.grid import Grid, hexahedra
from portgeo.plane import FloatArray

TOLERANCE = 1e-10  # of the residual: fluxes are then equal to some 1e-9
QUADRATURE = 3  # degree that is integrated exactly: two points each way
MOST_STEPS = 200  # of conjugate gradients; some 15 are usual
# Where a hexahedron's corners (a quad, then the same of the next ring) stand in the reference one.
REFERENCE_ORDER = [6, 2, 5, 7, 1, 3, 4, 0]


@dataclass(frozen=True)
class Potential:
    """The potential (n, k) at the nodes for unit flow, and the flux (n - 1,) through each layer.

    Flow goes from low to high: the speed is the gradient.
    """

    values: FloatArray
    flux: FloatArray


def solve(grid: Grid) -> Potential:
    """Return the potential between the grid's first ring and its last, each at one potential.

    Trilinear finite elements; conjugate gradients with an algebraic multigrid preconditioner. The
    flux through a layer of hexahedra is the mean of those through the surfaces between its two rings
    on which the layer's blending function is constant. Raises GeometryError where it does not converge.
    """
    from pyamg import smoothed_aggregation_solver

    stiffness = _stiffness(grid)
    rings, count = grid.nodes.shape[:2]
    values = np.zeros(rings * count)
    values[-count:] = 1.0
    free = slice(count, (rings - 1) * count)
    inside = stiffness[free, free].tocsr()
    load = -(stiffness[free] @ values)
    # Local weights and Gauss-Seidel need no random vector: the same grid gives the same digits.
    levels = smoothed_aggregation_solver(
        inside,
        smooth=("jacobi", {"omega": 4.0 / 3.0, "weighting": "local"}),
        presmoother=("gauss_seidel", {"sweep": "symmetric"}),
        postsmoother=("gauss_seidel", {"sweep": "symmetric"}),
        improve_candidates=None,
    )
    start = np.repeat(_way(grid)[1:-1], count)
    answer, state = cg(inside, load, start, rtol=TOLERANCE, maxiter=MOST_STEPS, M=levels.aspreconditioner(cycle="V"))
    if state != 0:
        raise GeometryError(
            "the flow through this shape could not be solved",
            mend="Look at the sections for one that is very thin or changes very fast",
        )
    values[free] = answer
    through = -np.cumsum((stiffness @ values).reshape(rings, count).sum(axis=1))[:-1]
    flow = float(through.mean())
    return Potential(values.reshape(rings, count) / flow, through / flow)


def _stiffness(grid: Grid) -> csr_matrix:
    """Return the matrix of Laplace's equation on a grid: the integral of grad u . grad v.

    The hexahedra's map, shape functions and quadrature are scikit-fem's; the products of the gradients
    are made for all pairs of shape functions at once, twice as fast as one by one.
    """
    from skfem import ElementHex1, MeshHex
    from skfem.quadrature import get_quadrature

    points = np.ascontiguousarray(grid.nodes.reshape(-1, 3).T)
    corners = np.ascontiguousarray(hexahedra(grid)[:, REFERENCE_ORDER].T)
    element = ElementHex1()
    at, weight = get_quadrature(element, QUADRATURE)
    mapping = MeshHex(points, corners).mapping()
    inverse = mapping.invDF(at)  # (reference axis, axis, hexahedron, point)
    inverse *= np.sqrt(np.abs(mapping.detDF(at)) * weight)
    count = corners.shape[1]
    shape = np.stack([element.lbasis(at, i)[1] for i in range(8)])
    gradients = np.einsum("njhq,ijq->hniq", inverse.transpose(1, 0, 2, 3), shape, optimize=False)
    gradients = gradients.transpose(0, 2, 1, 3).reshape(count, 8, -1)
    local = gradients @ gradients.transpose(0, 2, 1)
    rows, columns = np.broadcast_arrays(corners.T[:, :, None], corners.T[:, None, :])
    size = points.shape[1]
    return coo_matrix((local.ravel(), (rows.ravel(), columns.ravel())), shape=(size, size)).tocsr()


def _way(grid: Grid) -> FloatArray:
    """Return how far along each ring stands (n,), 0 to 1."""
    middle = grid.nodes.mean(axis=1)
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(middle, axis=0), axis=1))])
    return way / way[-1]


def wall_speed(wall: FloatArray, values: FloatArray) -> FloatArray:
    """Return the speed (n, p) along a wall of points (n, p, 3) with a potential (n, p).

    The gradient along the surface from central differences along and round the port, which at the
    nodes are as good as the potential itself. The first and last ring take one-sided ones.
    """
    along, round_it = np.gradient(wall, axis=0), (np.roll(wall, -1, axis=1) - np.roll(wall, 1, axis=1)) / 2.0
    rise = np.gradient(values, axis=0)
    aside = (np.roll(values, -1, axis=1) - np.roll(values, 1, axis=1)) / 2.0
    aa, bb, ab = (np.einsum("npj,npj->np", x, y) for x, y in ((along, along), (round_it, round_it), (along, round_it)))
    square = (bb * rise**2 - 2.0 * ab * rise * aside + aa * aside**2) / (aa * bb - ab**2)
    return np.sqrt(np.maximum(square, 0.0))
