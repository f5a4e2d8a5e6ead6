"""Ideal flow through a port that splits: the grids of trunk and legs joined where they meet, solved as one.

Tubes come in, and how the legs share the flow, or that it is to be found; the potential in each and the shares go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import block_diag, csr_matrix

from portgeo.core.plane import FloatArray
from portgeo.flow.potential import (
    MOST_DENSITIES,
    ON_THE_WAY,
    SETTLED,
    TOLERANCE,
    Density,
    conjugate_gradients,
    elements_of,
    multigrid,
    speeds_in,
    stiffness_of,
)
from portgeo.flow.seam import seam
from portgeo.flow.tube import Tube


@dataclass(frozen=True)
class Parted:
    """The flow of one that comes in: each leg's share (k,), and of trunk and legs, in this order, the potential (n, k)
    at their nodes and the flux (m,) through every layer."""

    shares: FloatArray
    values: tuple[FloatArray, ...]
    flux: tuple[FloatArray, ...]


def solve_parted(
    trunk: Tube, legs: Sequence[Tube], shares: FloatArray | None = None, density: Density | None = None
) -> Parted:
    """Return the flow of one through a trunk and its legs.

    shares (k,) : of the legs, 1 together; without them such that the legs' openings have one mean potential. density :
    as `potential.solve` has it.

    The potential of a leg's first ring, in the plane of the trunk's last, is what the trunk's quads have there, and
    what flows out of the trunk's nodes flows into the leg's (see `seam`). A leg's last ring has one potential, and its
    share of the flow leaves there. Raises GeometryError where the solution does not converge.
    """
    tubes = (trunk, *legs)
    elements = [elements_of(tube.grid) for tube in tubes]
    carry = _carry(trunk, legs)
    # The last unknowns are the potentials at the legs' ends. A column a solution: each leg's flow by itself, or all.
    leaving = np.zeros((carry.shape[1], len(legs)))
    leaving[-len(legs) :] = np.eye(len(legs))
    loads = leaving if shares is None else (leaving @ shares)[:, None]
    found = np.zeros_like(loads)
    thinned = [np.ones(len(each.corners)) for each in elements]
    cycle, settled = None, density is None
    for turn in range(MOST_DENSITIES + 1):
        last = settled or turn == MOST_DENSITIES
        parts = [stiffness_of(each, thin) for each, thin in zip(elements, thinned, strict=True)]
        whole = csr_matrix(carry.T @ block_diag(parts, format="csr") @ carry)
        cycle = cycle or multigrid(whole)
        tolerance = TOLERANCE if last else ON_THE_WAY
        solved = zip(loads.T, found.T, strict=True)
        found = np.column_stack([conjugate_gradients(whole, load, near, cycle, tolerance) for load, near in solved])
        each = np.split(carry @ found, np.cumsum([tube.count for tube in tubes])[:-1])
        own = _shares(legs, each[1:]) if shares is None else shares
        values = [at @ (own if shares is None else np.ones(1)) for at in each]
        if last or density is None:
            break
        before = thinned
        thinned = [
            density(speeds_in(own_elements, at) * tube.true_speed)
            for own_elements, at, tube in zip(elements, values, tubes, strict=True)
        ]
        moved = [np.abs(now - then).max() for now, then in zip(thinned, before, strict=True)]
        settled = turn > 0 and max(moved) < SETTLED
    shapes = [tube.grid.nodes.shape[:2] for tube in tubes]
    through = [
        -np.cumsum((part @ at).reshape(shape).sum(axis=1))[:-1]
        for part, at, shape in zip(parts, values, shapes, strict=True)
    ]
    return Parted(own, tuple(at.reshape(shape) for at, shape in zip(values, shapes, strict=True)), tuple(through))


def _shares(legs: Sequence[Tube], each: Sequence[FloatArray]) -> FloatArray:
    """Return the shares (k,) with which the legs' openings have one mean potential.

    each : the legs' potentials (n, k), a column for a flow of one out of each leg by itself.
    """
    count = len(legs)
    system = np.zeros((count + 1, count + 1))
    system[:-1, :-1] = [leg.mean_at(leg.inside.stop - 1, at) for leg, at in zip(legs, each, strict=True)]
    system[:-1, -1], system[-1, :-1] = -1.0, 1.0
    return np.asarray(np.linalg.solve(system, np.eye(count + 1)[-1])[:-1])


def _carry(trunk: Tube, legs: Sequence[Tube]) -> csr_matrix:
    """Return what makes of the unknowns the potential at all nodes, the trunk's first and then each leg's.

    The trunk's first ring has none. The unknowns of the legs' last rings come last.
    """
    tubes = (trunk, *legs)
    starts = np.cumsum([0, *(tube.count for tube in tubes)])
    total = int(starts[-1])
    unknown = np.full(total, True)
    unknown[trunk.ring(0)] = False
    for leg, start in zip(legs, starts[1:], strict=False):
        unknown[start + leg.ring(0)] = unknown[start + leg.ring(-1)] = False
    column = np.cumsum(unknown) - 1
    inner = int(unknown.sum())
    own = np.flatnonzero(unknown)
    rows, columns, weights = [own], [column[own]], [np.ones(inner)]
    end = trunk.sections[-1]
    under = (trunk.grid.nodes[-1] - end.origin) @ end.frame[1:].T
    for k, (leg, start) in enumerate(zip(legs, starts[1:], strict=False)):
        last = start + leg.ring(-1)
        rows.append(last)
        columns.append(np.full(len(last), inner + k))
        weights.append(np.ones(len(last)))
        port = trunk.path.ports[0]
        there = leg.to_source(leg.grid.nodes[0]) @ port.frame[:3, :3].T + port.frame[:3, 3]
        over = (there - end.origin) @ end.frame[1:].T
        joint = seam((under, trunk.grid.pattern.quads), (over, leg.grid.pattern.quads)).tocoo()
        rows.append(start + leg.ring(0)[joint.row])
        columns.append(column[trunk.ring(-1)[joint.col]])
        weights.append(joint.data)
    spots = (np.concatenate(rows), np.concatenate(columns))
    return csr_matrix((np.concatenate(weights), spots), shape=(total, inner + len(legs)))
