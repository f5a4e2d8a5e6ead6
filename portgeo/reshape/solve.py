"""The smallest cut that gives wanted areas: a convex programme in the depth at each place of the wall.

A fine wall grid, the depth that shapes asked for outright already take, limits and wanted areas come
in; the depth, and how far it can be from the best one, go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import clarabel
import numpy as np
from scipy import sparse
from scipy.interpolate import CubicSpline

from portgeo.core.plane import FloatArray, IntArray
from portgeo.reshape.grid import WallGrid, area_slopes, areas_after

MOST_PASSES = 12  # areas are nearly linear in depth: two or three passes settle them
SETTLED = 1e-4  # of the area: passes end when every wanted area is met, or missed as before, this closely
SHORT_PRICE = 1e5  # mm2 a share of area missed: past what any cut costs, so area is missed only where limits say
OVER_PRICE = 1e4  # mm2 a share of area over: less, so that no area is missed to keep another from being over
GAP_MM2 = 1e-11  # the solver goes on until the gap is this small, or 1e-8 of the cost
NO_COST = 1e-4  # mm2: a cut of a hundredth of a millimetre; gaps are shares of no less


@dataclass(frozen=True)
class Solution:
    """The cut found.

    depth : (n, m), on the fine grid. cost : the mean over the wall of half its square plus the
    bending, mm2. gap : how far the cost can be from the least one, as a share, for the areas as
    linear about the answer. passes : solved programmes. nodes : of the programme.
    """

    depth: FloatArray
    cost: float
    gap: float
    passes: int
    nodes: int


@dataclass(frozen=True)
class Blend:
    """Which rows and columns of the fine grid are unknowns, and the matrices that spread them over it."""

    rows: IntArray
    columns: IntArray
    along: FloatArray
    around: FloatArray


@dataclass(frozen=True)
class Fairness:
    """How the depth beyond `base` may bend: matrix (k, nodes) of the blend, times it at most `most` (k,)."""

    matrix: sparse.csr_matrix
    most: FloatArray


def blend_of(grid: WallGrid, rows: IntArray, columns: IntArray) -> Blend:
    """Return the cubic splines, natural along and periodic around, through depths at rows and columns."""
    along = CubicSpline(grid.stations[rows], np.eye(len(rows)), bc_type="natural")(grid.stations)
    share = np.append(grid.share[columns], 4.0)
    ends = np.vstack([np.eye(len(columns)), np.eye(len(columns))[:1]])
    around = CubicSpline(share, ends, bc_type="periodic")(grid.share)
    return Blend(rows, columns, along, around)


def solve(
    grid: WallGrid,
    blend: Blend,
    base: FloatArray,
    limit: FloatArray,
    lowest: FloatArray,
    wanted: FloatArray,
    fade: float,
    *,
    symmetric: bool = False,
    fair: Fairness | None = None,
) -> Solution:
    """Return the cut of least cost that meets wanted areas.

    base : (n, m), cut anyway. limit, lowest : (n, m), the whole depth stays between them (lowest is
    0, or below it where epoxy may go in). wanted : (n,), areas, nan where none is. fade : the blend
    length b. fair : what the cut may not do to the short side, all of which no cut beyond `base` keeps.

    The cost of the depth d beyond `base` is the mean over the wall of 1/2 d^2 + 1/2 b^4 |second
    derivatives of d|^2, so the cut is small, spread evenly and fades over about b: the energy of a
    thin plate on an elastic bed. It is strictly convex, so there is one best cut for linear areas;
    areas are quadratic in d and are made linear about the last answer until they settle. Area missed,
    and area over, is priced so high that it is only as far as limits, today's wall or `base` force it.
    """
    wanted_rows = np.flatnonzero(~np.isnan(wanted))
    at = np.searchsorted(blend.rows, wanted_rows)
    coarse = np.ix_(blend.rows, blend.columns)
    top = np.maximum(limit - base, 0.0)[coarse]
    bottom = np.where(lowest < 0.0, np.minimum(lowest - base, 0.0), 0.0)[coarse]
    fold = mirror_columns(len(blend.columns)) if symmetric else np.arange(len(blend.columns))
    if symmetric:
        top, bottom = np.minimum(top, top[:, fold]), np.maximum(bottom, bottom[:, fold])
    energy = plate_energy(grid, blend.rows, blend.columns, fade)
    index, spread = unknowns(top, bottom, fold)
    depth = np.clip(base, lowest, limit)
    if len(wanted_rows) == 0 or spread.shape[1] == 0:
        return Solution(depth, 0.0, 0.0, 0, top.size)

    # An area outside what the bounds allow can come no nearer than the bound; aimed at, it would only
    # add a price that no cut changes, and cost digits.
    lowest_depth = np.where(lowest < 0.0, lowest, depth)
    reachable = (
        areas_after(grid, each)[wanted_rows] for each in (np.minimum(lowest_depth, depth), np.maximum(limit, depth))
    )
    aim = np.clip(wanted[wanted_rows], *reachable)
    beyond = np.zeros(top.shape)
    hessian = (spread.T @ energy @ spread).tocsc()
    bounds = top.ravel()[index], bottom.ravel()[index]
    bends = None if fair is None else Fairness((fair.matrix @ spread).tocsr(), fair.most)
    missed = np.full(len(wanted_rows), np.inf)
    for passes in range(1, MOST_PASSES + 1):  # noqa: B007
        slope = area_slopes(grid, depth)[wanted_rows] @ blend.around
        rows = sparse.block_diag([s[None] for s in slope]).tocsr()
        place = sparse.csr_matrix(
            (
                np.ones(slope.size),
                (np.arange(slope.size), (at[:, None] * slope.shape[1] + np.arange(slope.shape[1])).ravel()),
            ),
            shape=(slope.size, beyond.size),
        )
        jacobian = sparse.diags(1.0 / aim) @ rows @ place
        area = areas_after(grid, depth)[wanted_rows]
        short = (aim - area) / aim + jacobian @ beyond.ravel()
        found, cost, gap = _programme(hessian, (jacobian @ spread).tocsr(), short, bounds, bends)
        beyond = (spread @ found).reshape(beyond.shape)
        depth = np.clip(base + blend.along @ beyond @ blend.around.T, lowest, limit)
        now = areas_after(grid, depth)[wanted_rows] / aim - 1.0
        if min(np.abs(now).max(), np.abs(now - missed).max()) < SETTLED:
            break
        missed = now
    return Solution(depth, cost, gap, passes, top.size)


def mirror_columns(count: int) -> IntArray:
    """Return the column on the other side of the port for each of `count` columns."""
    return (-np.arange(count)) % count


def mirrored(values: FloatArray) -> FloatArray:
    """Return values (n, m) of the wall, left and right changed over."""
    return values[:, mirror_columns(values.shape[1])]


def unknowns(top: FloatArray, bottom: FloatArray, fold: IntArray) -> tuple[IntArray, sparse.csr_matrix]:
    """Return the nodes that can move (k,) and the matrix that spreads their depths over all nodes.

    Nodes that no depth is allowed at are left out; a node and its mirror image are one.
    """
    n, m = top.shape
    node = np.arange(n * m).reshape(n, m)
    master = np.minimum(node, node[:, fold]).ravel()
    free = (top > 0.0).ravel() | (bottom < 0.0).ravel()
    index = np.unique(master[free])
    rows = np.flatnonzero(free)
    columns = np.searchsorted(index, master[rows])
    return index, sparse.csr_matrix((np.ones(len(rows)), (rows, columns)), shape=(n * m, len(index)))


def plate_energy(grid: WallGrid, rows: IntArray, columns: IntArray, fade: float) -> sparse.csc_matrix:
    """Return the matrix E with cost = 1/2 d' E d, for depths d at the nodes where rows and columns cross.

    Second differences along each wall line and round each section, at their own spacing on the
    wall, and the mixed one; each weighted with the wall it stands for.
    """
    points = grid.points[np.ix_(rows, columns)]
    n, m = points.shape[:2]
    ahead = np.maximum(np.linalg.norm(np.diff(points, axis=0), axis=2), 1e-3)
    aside = np.maximum(np.linalg.norm(np.roll(points, -1, axis=1) - points, axis=2), 1e-3)
    reach = np.zeros((n, m))
    reach[:-1] += ahead / 2.0
    reach[1:] += ahead / 2.0
    width = (aside + np.roll(aside, 1, axis=1)) / 2.0
    patch = reach * width / (reach * width).sum()

    node = np.arange(n * m).reshape(n, m)
    before, after = ahead[:-1], ahead[1:]
    whole = before + after
    along = _stencil(
        [node[:-2], node[1:-1], node[2:]], [2 / (before * whole), -2 / (before * after), 2 / (after * whole)]
    )
    before, after = np.roll(aside, 1, axis=1), aside
    whole = before + after
    around = _stencil(
        [np.roll(node, 1, axis=1), node, np.roll(node, -1, axis=1)],
        [2 / (before * whole), -2 / (before * after), 2 / (after * whole)],
    )
    cell = ahead * (aside[:-1] + aside[1:]) / 2.0
    right = np.roll(node, -1, axis=1)
    mixed = _stencil([node[:-1], right[:-1], node[1:], right[1:]], [1 / cell, -1 / cell, -1 / cell, 1 / cell])
    total = (reach * width).sum()
    parts = [(along, patch[1:-1]), (around, patch), (mixed, 2.0 * cell / total)]
    energy = sparse.diags(patch.ravel())
    for operator, weight in parts:
        energy = energy + fade**4 * operator.T @ sparse.diags(weight.ravel()) @ operator
    return energy.tocsc()


def _stencil(nodes: list[IntArray], weights: list[FloatArray]) -> sparse.csr_matrix:
    count = nodes[0].size
    rows = np.tile(np.arange(count), len(nodes))
    columns = np.concatenate([n.ravel() for n in nodes])
    values = np.concatenate([np.broadcast_to(w, n.shape).ravel() for n, w in zip(nodes, weights, strict=True)])
    return sparse.csr_matrix((values, (rows, columns)))


def quiet_settings() -> clarabel.DefaultSettings:
    """Return the solver's settings: no word, and the same sums in the same order on every machine."""
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.max_threads = 1
    return settings


def _programme(
    hessian: sparse.csc_matrix,
    jacobian: sparse.csr_matrix,
    short: FloatArray,
    bounds: tuple[FloatArray, FloatArray],
    bends: Fairness | None = None,
) -> tuple[FloatArray, float, float]:
    """Solve min 1/2 x' H x + the price of |J x - short| with bounds on x, and on how it bends.

    Returns x, its cost without the price, and the relative duality gap.
    """
    top, bottom = bounds
    k, count = jacobian.shape
    # The unknowns are x, what is missed and what is over; Clarabel wants A z + s = b with s >= 0.
    price = np.concatenate([np.zeros(count), np.full(k, SHORT_PRICE), np.full(k, OVER_PRICE)])
    slack = sparse.identity(k, format="csc")
    balance = sparse.hstack([jacobian, slack, -slack])
    x_only = sparse.hstack([sparse.identity(count, format="csc"), sparse.csc_matrix((count, 2 * k))])
    slacks_only = sparse.hstack([sparse.csc_matrix((2 * k, count)), sparse.identity(2 * k)])
    blocks, sides = [balance, x_only, -x_only, -slacks_only], [short, top, -bottom, np.zeros(2 * k)]
    if bends is not None:
        blocks.append(sparse.hstack([bends.matrix, sparse.csc_matrix((len(bends.most), 2 * k))]))
        sides.append(bends.most)
    matrix, right = sparse.vstack(blocks, format="csc"), np.concatenate(sides)
    cones = [clarabel.ZeroConeT(k), clarabel.NonnegativeConeT(len(right) - k)]
    settings = quiet_settings()
    settings.tol_gap_abs = GAP_MM2
    big = sparse.block_diag([sparse.triu(hessian), sparse.csc_matrix((2 * k, 2 * k))], format="csc")
    answer = clarabel.DefaultSolver(big, price, matrix, right, cones, settings).solve()
    x = np.clip(np.array(answer.x)[:count], bottom, top)
    cost = 0.5 * float(x @ (hessian @ x))
    gap = abs(answer.obj_val - answer.obj_val_dual) / max(abs(answer.obj_val), NO_COST)
    return x, cost, float(gap)
