"""Ideal flow through a port that splits: the grids of trunk and legs, and of a junction, joined and solved as one.

Tubes come in, and how the legs share the flow, or that it is to be found; the potential in each and the shares go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import block_diag, csr_matrix

from portgeo.core.plane import FloatArray, IntArray
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
from portgeo.flow.room import Room
from portgeo.flow.seam import seam
from portgeo.flow.tube import Tube


@dataclass(frozen=True)
class Parted:
    """The flow of one that comes in: each leg's share (k,), and of trunk and legs, in this order, the potential (n, k)
    at their nodes and the flux (m,) through every layer. in_room (n,) : the potential in a junction."""

    shares: FloatArray
    values: tuple[FloatArray, ...]
    flux: tuple[FloatArray, ...]
    in_room: FloatArray | None


def solve_parted(
    trunk: Tube,
    legs: Sequence[Tube],
    shares: FloatArray | None = None,
    density: Density | None = None,
    room: Room | None = None,
) -> Parted:
    """Return the flow of one through a trunk and its legs.

    shares (k,) : of the legs, 1 together; without them such that the legs' openings have one mean potential. density :
    as `potential.solve` has it. room : of the junction between them; without one the legs begin in the trunk's end.

    The potential of a leg's first ring, in the plane of the trunk's last, is what the trunk's quads have there, and
    what flows out of the trunk's nodes flows into the leg's (see `seam`); the room's nodes in the planes of trunk and
    legs go by these in the same way. A leg's last ring has one potential, and its
    share of the flow leaves there. Raises GeometryError where the solution does not converge.
    """
    tubes = (trunk, *legs)
    pieces: list[Tube | Room] = [*tubes] if room is None else [*tubes, room]
    elements = [elements_of(tube.grid) for tube in tubes] + ([] if room is None else [room.elements])
    true_speeds = [tube.true_speed for tube in tubes] + ([] if room is None else [1.0])
    carry = _carry(trunk, legs, room)
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
        each = np.split(carry @ found, np.cumsum([piece.count for piece in pieces])[:-1])
        own = _shares(legs, each[1 : len(tubes)]) if shares is None else shares
        values = [at @ (own if shares is None else np.ones(1)) for at in each]
        if last or density is None:
            break
        before = thinned
        thinned = [
            density(speeds_in(each_own, at) * true_speed)
            for each_own, at, true_speed in zip(elements, values, true_speeds, strict=True)
        ]
        moved = [np.abs(now - then).max() for now, then in zip(thinned, before, strict=True)]
        settled = turn > 0 and max(moved) < SETTLED
    in_tubes = [at.reshape(tube.grid.nodes.shape[:2]) for at, tube in zip(values, tubes, strict=False)]
    through = [
        -np.cumsum((part @ at.ravel()).reshape(at.shape).sum(axis=1))[:-1]
        for part, at in zip(parts, in_tubes, strict=False)
    ]
    return Parted(own, tuple(in_tubes), tuple(through), None if room is None else values[-1])


def _shares(legs: Sequence[Tube], each: Sequence[FloatArray]) -> FloatArray:
    """Return the shares (k,) with which the legs' openings have one mean potential.

    each : the legs' potentials (n, k), a column for a flow of one out of each leg by itself.
    """
    count = len(legs)
    system = np.zeros((count + 1, count + 1))
    system[:-1, :-1] = [leg.mean_at(leg.inside.stop - 1, at) for leg, at in zip(legs, each, strict=True)]
    system[:-1, -1], system[-1, :-1] = -1.0, 1.0
    return np.asarray(np.linalg.solve(system, np.eye(count + 1)[-1])[:-1])


def _carry(trunk: Tube, legs: Sequence[Tube], room: Room | None) -> csr_matrix:
    """Return what makes of the unknowns the potential at all nodes: the trunk's, then each leg's, then the room's.

    The trunk's first ring has none. The unknowns of the legs' last rings come last.
    """
    tubes = (trunk, *legs)
    starts = np.cumsum([0, *(tube.count for tube in tubes), 0 if room is None else room.count])
    total = int(starts[-1])
    seams = _on_trunk(trunk, legs, starts) if room is None else _in_room(tubes, room, starts)
    ties = [start + leg.ring(-1) for leg, start in zip(legs, starts[1:], strict=False)]
    unknown = np.full(total, True)
    for nodes in (trunk.ring(0), *ties, *(over for over, _, _ in seams)):
        unknown[nodes] = False
    column = np.cumsum(unknown) - 1
    own, inner = np.flatnonzero(unknown), int(unknown.sum())
    rows, columns, weights = [own], [column[own]], [np.ones(inner)]
    for k, nodes in enumerate(ties):
        rows.append(nodes)
        columns.append(np.full(len(nodes), inner + k))
        weights.append(np.ones(len(nodes)))
    for over, under, joint in seams:
        spots = joint.tocoo()
        rows.append(over[spots.row])
        columns.append(column[under[spots.col]])
        weights.append(spots.data)
    where = (np.concatenate(rows), np.concatenate(columns))
    return csr_matrix((np.concatenate(weights), where), shape=(total, inner + len(legs)))


Joint = tuple[IntArray, IntArray, csr_matrix]  # nodes (m,) that go by nodes (k,), and the weights (m, k)


def _on_trunk(trunk: Tube, legs: Sequence[Tube], starts: IntArray) -> list[Joint]:
    """Return how each leg's first ring goes by the trunk's last."""
    end = trunk.sections[-1]
    under = ((trunk.grid.nodes[-1] - end.origin) @ end.frame[1:].T, trunk.grid.pattern.quads)
    joints = []
    for leg, start in zip(legs, starts[1:], strict=False):
        there = trunk.from_source(leg.to_source(leg.grid.nodes[0]))
        over = ((there - end.origin) @ end.frame[1:].T, leg.grid.pattern.quads)
        joints.append((start + leg.ring(0), trunk.ring(-1), seam(under, over)))
    return joints


def _in_room(tubes: Sequence[Tube], room: Room, starts: IntArray) -> list[Joint]:
    """Return how the room's nodes in the planes of trunk and legs go by their rings there."""
    joints = []
    for k, (tube, cap, start) in enumerate(zip(tubes, room.caps, starts, strict=False)):
        place = -1 if k == 0 else 0
        section = tube.sections[place]
        under = ((tube.grid.nodes[place] - section.origin) @ section.frame[1:].T, tube.grid.pattern.quads)
        joints.append((starts[-2] + cap.nodes, start + tube.ring(place), seam(under, (cap.places, cap.faces))))
    return joints
