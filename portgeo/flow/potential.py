"""Ideal flow in a grid of hexahedra, between its first ring and its last: div (density grad phi) = 0.

A grid comes in, and how density falls with speed; the potential at its nodes for unit flow, the flux
through every layer and the speed along the wall go out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import LinearOperator, cg

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.flow.grid import Grid, hexahedra, pattern

TOLERANCE = 1e-10  # of the residual: fluxes are then equal to some 1e-9
ON_THE_WAY = 1e-6  # of the residual, while the density is still being sought
SETTLED = 1e-5  # of density: what speeds still move by from there on is far less than a grid leaves open
MOST_DENSITIES = 30  # some 5 are usual; where air passes the speed of sound there need be no end
QUADRATURE = 3  # degree that is integrated exactly: two points each way
KEPT = 4  # grids whose nodes' neighbours are kept: two of an answer and the search's, and one to spare
MOST_STEPS = 200  # of conjugate gradients; some 15 are usual
# Where a hexahedron's corners (a quad, then the same of the next ring) stand in the reference one.
REFERENCE_ORDER = [6, 2, 5, 7, 1, 3, 4, 0]

Density = Callable[[FloatArray], FloatArray]  # speeds of a unit flow (n,) -> density over that at rest (n,)


@dataclass(frozen=True)
class Potential:
    """The potential (n, k) at the nodes for unit flow, and the flux (n - 1,) through each layer.

    Flow goes from low to high: the speed is the gradient. Flow and flux are of mass, over density at rest. reached :
    what a solution in the same grid, its nodes moved a little, may start from.
    """

    values: FloatArray
    flux: FloatArray
    reached: Reached


@dataclass(frozen=True)
class Reached:
    """Where a solution ended: potential (n,) of a rise of one, density (m,), and the multigrid cycle that led there."""

    values: FloatArray
    density: FloatArray | None
    cycle: LinearOperator


def solve(grid: Grid, density: Density | None = None, near: Potential | None = None) -> Potential:
    """Return the potential between the grid's first ring and its last, each at one potential.

    density : over that at rest, of the speeds of unit flow; without it the air does not thin out. near : of the same
    grid before its nodes moved a little, to start from.
    Trilinear finite elements; conjugate gradients with an algebraic multigrid preconditioner. Density is
    one number a hexahedron, of its mean square speed, and found by iteration: each is what the speed just
    solved gives (the full potential equation, whose density is isentropic; any textbook of gas dynamics).
    The flux through a layer of hexahedra is the mean of those through the surfaces between its two rings
    on which the layer's blending function is constant. Raises GeometryError where it does not converge.
    """
    elements = elements_of(grid)
    rings, count = grid.nodes.shape[:2]
    thinned = None if near is None or density is None else near.reached.density
    stiffness = stiffness_of(elements, thinned)
    inside = slice(count, stiffness.shape[0] - count)
    cycle = multigrid(stiffness[inside, inside].tocsr()) if near is None else near.reached.cycle
    values = np.repeat(_way(grid), count) if near is None else near.reached.values
    if density is not None:
        for _ in range(MOST_DENSITIES):
            values = _solved(stiffness, values, count, cycle, ON_THE_WAY)
            flow = float(values @ (stiffness @ values))  # the potential's whole rise is one
            before, thinned = thinned, density(speeds_in(elements, values / flow))
            stiffness = stiffness_of(elements, thinned)
            if np.abs(thinned - (1.0 if before is None else before)).max() < SETTLED:
                break
    values = _solved(stiffness, values, count, cycle, TOLERANCE)
    through = -np.cumsum((stiffness @ values).reshape(rings, count).sum(axis=1))[:-1]
    flow = float(through.mean())
    return Potential(values.reshape(rings, count) / flow, through / flow, Reached(values, thinned, cycle))


def multigrid(stiffness: csr_matrix) -> LinearOperator:
    """Return one multigrid cycle for the matrix of the nodes whose potential is sought.

    It serves on where the density changes, or nodes move a little: the matrix changes by less than half.
    """
    from pyamg import smoothed_aggregation_solver

    # Local weights and Gauss-Seidel need no random vector: the same grid gives the same digits.
    levels = smoothed_aggregation_solver(
        stiffness,
        smooth=("jacobi", {"omega": 4.0 / 3.0, "weighting": "local"}),
        presmoother=("gauss_seidel", {"sweep": "symmetric"}),
        postsmoother=("gauss_seidel", {"sweep": "symmetric"}),
        improve_candidates=None,
    )
    return levels.aspreconditioner(cycle="V")


def _solved(
    stiffness: csr_matrix, start: FloatArray, count: int, cycle: LinearOperator, tolerance: float
) -> FloatArray:
    """Return the potential (n,) that is 0 on the first `count` nodes and 1 on the last, from a start (n,)."""
    values = np.zeros_like(start)
    values[-count:] = 1.0
    inside = slice(count, len(start) - count)
    rows = stiffness[inside]
    load = -(rows @ values)
    values[inside] = conjugate_gradients(rows[:, inside].tocsr(), load, start[inside], cycle, tolerance)
    return values


def conjugate_gradients(
    stiffness: csr_matrix, load: FloatArray, start: FloatArray, cycle: LinearOperator, tolerance: float
) -> FloatArray:
    """Return what a matrix takes to a load, from a start (n,). Raises GeometryError where it does not converge."""
    answer, state = cg(stiffness, load, start, rtol=tolerance, maxiter=MOST_STEPS, M=cycle)
    if state != 0:
        raise GeometryError(
            "the flow through this shape could not be solved",
            hint="Look at the sections for one that is very thin or changes very fast",
        )
    return np.asarray(answer)


@dataclass(frozen=True)
class Joined:
    """How nodes hang together, whatever places they have.

    corners (m, c) of the elements: of hexahedra 8, in the reference one's order. place (m c c,) : where each number of
    their own matrices is added in the whole one; that one's columns, and where its rows start.
    """

    corners: IntArray
    place: IntArray
    columns: np.ndarray
    starts: np.ndarray


@lru_cache(maxsize=KEPT)
def joined(rings: int, across: int, down: int, layers: int) -> Joined:
    """Return how the nodes of a grid of so many rings hang together.

    Kept: putting the matrix in order is most of an assembly's work, and it stays when density changes or nodes move.
    """
    made = pattern(across, down, layers)
    return joined_by(np.ascontiguousarray(hexahedra(rings, made)[:, REFERENCE_ORDER]), rings * made.count)


def joined_by(corners: IntArray, count: int) -> Joined:
    """Return how so many nodes hang together by elements with corners (m, c)."""
    row, column = (np.ravel(k) for k in np.broadcast_arrays(corners[:, :, None], corners[:, None, :]))
    order = _in_order(column, count)
    order = order[_in_order(row[order], count)]
    row, column = row[order], column[order]
    fresh = np.r_[True, (np.diff(row) != 0) | (np.diff(column) != 0)]
    place = np.empty(len(order), np.intp)
    place[order] = np.cumsum(fresh) - 1
    starts = np.searchsorted(row[fresh], np.arange(count + 1))
    return Joined(corners, place, column[fresh].astype(np.int32), starts.astype(np.int32))


@dataclass(frozen=True)
class Elements:
    """Elements, c corners each: the gradients (m, c, 3, q) of their shape functions at points inside.

    part (m, q) : of the volume that each point stands for. nodes : of the grid.
    """

    joined: Joined
    gradients: FloatArray
    part: FloatArray
    nodes: int

    @property
    def corners(self) -> IntArray:
        """Their nodes (m, c)."""
        return self.joined.corners

    @cached_property
    def local(self) -> FloatArray:
        """The matrices (m, c, c) of Laplace's equation: integrals of grad u . grad v over each."""
        scaled = (self.gradients * np.sqrt(self.part)[:, None, None]).reshape(*self.corners.shape, -1)
        return np.asarray(scaled @ scaled.transpose(0, 2, 1))

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

    made = grid.pattern
    own = joined(len(grid.nodes), made.across, made.down, made.layers)
    points = np.ascontiguousarray(grid.nodes.reshape(-1, 3).T)
    element = ElementHex1()
    at, weight = get_quadrature(element, QUADRATURE)
    mapping = MeshHex(points, np.ascontiguousarray(own.corners.T)).mapping()
    inverse = mapping.invDF(at)  # (reference axis, axis, hexahedron, point)
    part = np.abs(mapping.detDF(at)) * weight
    shape = np.stack([element.lbasis(at, i)[1] for i in range(8)])
    gradients = np.einsum("njhq,ijq->hniq", inverse.transpose(1, 0, 2, 3), shape, optimize=False)
    return Elements(own, gradients.transpose(0, 2, 1, 3), part, points.shape[1])


def stiffness_of(elements: Elements, density: FloatArray | None = None) -> csr_matrix:
    """Return the matrix of div (density grad u) = 0, density (m,) of each element, one without."""
    local = elements.local if density is None else elements.local * density[:, None, None]
    own = elements.joined
    sums = np.bincount(own.place, local.ravel(), len(own.columns))
    return csr_matrix((sums, own.columns, own.starts), shape=(elements.nodes, elements.nodes))


def _in_order(keys: np.ndarray, size: int) -> np.ndarray:
    """Return the stable order of keys, whole numbers below a size: buckets, as a sparse matrix has its rows."""
    number = np.arange(len(keys))
    return np.asarray(csr_matrix((np.ones(len(keys), bool), (keys, number)), shape=(size, len(keys))).indices)


def speeds_in(elements: Elements, values: FloatArray) -> FloatArray:
    """Return the root mean square (m,) of the gradient of values (n,) in each element."""
    at = values[elements.corners]
    square = np.einsum("hi,hij,hj->h", at, elements.local, at, optimize=False) / elements.volume
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _way(grid: Grid) -> FloatArray:
    """Return how far along each ring stands (n,), 0 to 1."""
    middle = grid.nodes.mean(axis=1)
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(middle, axis=0), axis=1))])
    return way / way[-1]


def wall_speed(wall: FloatArray, values: FloatArray, *, ends: Literal[1, 2] = 1) -> FloatArray:
    """Return the speed (n, p) along a wall of points (n, p, 3) with a potential (n, p).

    The gradient along the surface from central differences along and round the port, which at the
    nodes are as good as the potential itself. The first and last ring take one-sided ones, as good
    where `ends` is 2.
    """
    along, round_it = (
        np.gradient(wall, axis=0, edge_order=ends),
        (np.roll(wall, -1, axis=1) - np.roll(wall, 1, axis=1)) / 2.0,
    )
    rise = np.gradient(values, axis=0, edge_order=ends)
    aside = (np.roll(values, -1, axis=1) - np.roll(values, 1, axis=1)) / 2.0
    aa, bb, ab = (np.einsum("npj,npj->np", x, y) for x, y in ((along, along), (round_it, round_it), (along, round_it)))
    square = (bb * rise**2 - 2.0 * ab * rise * aside + aa * aside**2) / (aa * bb - ab**2)
    return np.sqrt(np.maximum(square, 0.0))
