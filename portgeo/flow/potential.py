"""Ideal flow in a grid of hexahedra, between its first ring and its last: div (density grad phi) = 0.

A grid comes in, and how density falls with speed; the potential at its nodes for unit flow, the flux
through every layer and the speed along the wall go out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import LinearOperator, cg

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray
from portgeo.flow.grid import Grid, hexahedra

TOLERANCE = 1e-10  # of the residual: fluxes are then equal to some 1e-9
ON_THE_WAY = 1e-6  # of the residual, while the density is still being sought
SETTLED = 1e-5  # of density: what speeds still move by from there on is far less than a grid leaves open
MOST_DENSITIES = 30  # some 5 are usual; where air passes the speed of sound there need be no end
QUADRATURE = 3  # degree that is integrated exactly: two points each way
MOST_STEPS = 200  # of conjugate gradients; some 15 are usual
# Where a hexahedron's corners (a quad, then the same of the next ring) stand in the reference one.
REFERENCE_ORDER = [6, 2, 5, 7, 1, 3, 4, 0]

Density = Callable[[FloatArray], FloatArray]  # speeds of a unit flow (n,) -> density over that at rest (n,)


@dataclass(frozen=True)
class Potential:
    """The potential (n, k) at the nodes for unit flow, and the flux (n - 1,) through each layer.

    Flow goes from low to high: the speed is the gradient. Flow and flux are of mass, over density at rest.
    """

    values: FloatArray
    flux: FloatArray


def solve(grid: Grid, density: Density | None = None) -> Potential:
    """Return the potential between the grid's first ring and its last, each at one potential.

    density : over that at rest, of the speeds of unit flow; without it the air does not thin out.
    Trilinear finite elements; conjugate gradients with an algebraic multigrid preconditioner. Density is
    one number a hexahedron, of its mean square speed, and found by iteration: each is what the speed just
    solved gives (the full potential equation, whose density is isentropic; any textbook of gas dynamics).
    The flux through a layer of hexahedra is the mean of those through the surfaces between its two rings
    on which the layer's blending function is constant. Raises GeometryError where it does not converge.
    """
    from pyamg import smoothed_aggregation_solver

    elements = elements_of(grid)
    rings, count = grid.nodes.shape[:2]
    inside = slice(count, (rings - 1) * count)
    stiffness = stiffness_of(elements)
    # Local weights and Gauss-Seidel need no random vector: the same grid gives the same digits.
    levels = smoothed_aggregation_solver(
        stiffness[inside, inside].tocsr(),
        smooth=("jacobi", {"omega": 4.0 / 3.0, "weighting": "local"}),
        presmoother=("gauss_seidel", {"sweep": "symmetric"}),
        postsmoother=("gauss_seidel", {"sweep": "symmetric"}),
        improve_candidates=None,
    )
    # Density changes the matrix by less than half: the levels of the even one go on serving.
    cycle = levels.aspreconditioner(cycle="V")
    values = np.repeat(_way(grid), count)
    if density is not None:
        thinned = np.ones(len(elements.corners))
        for _ in range(MOST_DENSITIES):
            values = _solved(stiffness, values, count, cycle, ON_THE_WAY)
            flow = float(values @ (stiffness @ values))  # the potential's whole rise is one
            before, thinned = thinned, density(_speeds(elements, values / flow))
            stiffness = stiffness_of(elements, thinned)
            if np.abs(thinned - before).max() < SETTLED:
                break
    values = _solved(stiffness, values, count, cycle, TOLERANCE)
    through = -np.cumsum((stiffness @ values).reshape(rings, count).sum(axis=1))[:-1]
    flow = float(through.mean())
    return Potential(values.reshape(rings, count) / flow, through / flow)


def _solved(
    stiffness: csr_matrix, start: FloatArray, count: int, cycle: LinearOperator, tolerance: float
) -> FloatArray:
    """Return the potential (n,) that is 0 on the first `count` nodes and 1 on the last, from a start (n,)."""
    values = np.zeros_like(start)
    values[-count:] = 1.0
    inside = slice(count, len(start) - count)
    rows = stiffness[inside]
    load = -(rows @ values)
    answer, state = cg(rows[:, inside].tocsr(), load, start[inside], rtol=tolerance, maxiter=MOST_STEPS, M=cycle)
    if state != 0:
        raise GeometryError(
            "the flow through this shape could not be solved",
            mend="Look at the sections for one that is very thin or changes very fast",
        )
    values[inside] = answer
    return values


@dataclass(frozen=True)
class Elements:
    """A grid's hexahedra: corners (m, 8), the gradients (m, 8, 3, q) of their shape functions at points inside.

    part (m, q) : of the volume that each point stands for. nodes : of the grid.
    """

    corners: np.ndarray
    gradients: FloatArray
    part: FloatArray
    nodes: int

    @cached_property
    def local(self) -> FloatArray:
        """The matrices (m, 8, 8) of Laplace's equation: integrals of grad u . grad v over each."""
        scaled = (self.gradients * np.sqrt(self.part)[:, None, None]).reshape(len(self.corners), 8, -1)
        return np.asarray(scaled @ scaled.transpose(0, 2, 1))

    @cached_property
    def pattern(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where each number of `local` is added in the whole matrix, and that one's columns and where its rows start.

        Kept, since the pattern stays when the density changes: putting it in order is most of an assembly's work.
        """
        row, column = (np.ravel(k) for k in np.broadcast_arrays(self.corners[:, :, None], self.corners[:, None, :]))
        order = _in_order(column, self.nodes)
        order = order[_in_order(row[order], self.nodes)]
        row, column = row[order], column[order]
        fresh = np.r_[True, (np.diff(row) != 0) | (np.diff(column) != 0)]
        place = np.empty(len(order), np.intp)
        place[order] = np.cumsum(fresh) - 1
        return (
            place,
            column[fresh].astype(np.int32),
            np.searchsorted(row[fresh], np.arange(self.nodes + 1)).astype(np.int32),
        )

    @cached_property
    def volume(self) -> FloatArray:
        """Volumes (m,)."""
        return self.part.sum(axis=1)


def elements_of(grid: Grid) -> Elements:
    """Return a grid's hexahedra.

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
    part = np.abs(mapping.detDF(at)) * weight
    shape = np.stack([element.lbasis(at, i)[1] for i in range(8)])
    gradients = np.einsum("njhq,ijq->hniq", inverse.transpose(1, 0, 2, 3), shape, optimize=False)
    return Elements(corners.T, gradients.transpose(0, 2, 1, 3), part, points.shape[1])


def stiffness_of(elements: Elements, density: FloatArray | None = None) -> csr_matrix:
    """Return the matrix of div (density grad u) = 0, density (m,) of each hexahedron, one without."""
    local = elements.local if density is None else elements.local * density[:, None, None]
    place, columns, starts = elements.pattern
    sums = np.bincount(place, local.ravel(), len(columns))
    return csr_matrix((sums, columns, starts), shape=(elements.nodes, elements.nodes))


def _in_order(keys: np.ndarray, size: int) -> np.ndarray:
    """Return the stable order of keys, whole numbers below a size: buckets, as a sparse matrix has its rows."""
    number = np.arange(len(keys))
    return np.asarray(csr_matrix((np.ones(len(keys), bool), (keys, number)), shape=(size, len(keys))).indices)


def _speeds(elements: Elements, values: FloatArray) -> FloatArray:
    """Return the root mean square (m,) of the gradient of values (n,) in each hexahedron."""
    at = values[elements.corners]
    square = np.einsum("hi,hij,hj->h", at, elements.local, at, optimize=False) / elements.volume
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


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
