"""The flow grid in a port that is being cut, and how its nodes follow the cut.

A wall grid and how far each of its places has moved come in; the flow grid goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from portgeo.core.centreline import at
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, Pattern, layer_shares, least_jacobians, sweep, wall_places
from portgeo.flow.run_on import end_of, run_on
from portgeo.flow.wall import Size
from portgeo.reshape.grid import WallGrid


@dataclass(frozen=True)
class FlowGrids:
    """A flow grid laid in a port, and how its nodes follow the wall as that is cut.

    today : the grid in the uncut port, gone on past both ends; inside : its r rings in the port, at origins (r, 3) with
    frames (r, 3, 3). turns : whether the port still turns at its entry, at its exit. between (r, n) : the rings from
    the wall grid's n rows. follow (3 nodes, n m') : the nodes from its rows and m' places. The grid is moved and never
    laid anew: so what a cut does to the flow is known exactly, and changes evenly with the cut.
    """

    today: Grid
    inside: slice
    origins: FloatArray
    frames: FloatArray
    turns: tuple[bool, bool]
    between: sparse.csr_matrix
    follow: sparse.csr_matrix

    def at_rings(self, values: FloatArray) -> FloatArray:
        """Return what rows have (n, ...) at the rings (r, ...)."""
        return np.asarray((self.between @ values.reshape(len(values), -1)).reshape(-1, *values.shape[1:]))

    def laid(self, travel: FloatArray) -> Grid:
        """Return the flow grid with the wall moved (n, m'). Raises GeometryError where it would fold."""
        nodes = self.today.nodes + (self.follow @ travel.ravel()).reshape(self.today.nodes.shape)
        if least_jacobians(nodes, self.today.pattern).min() <= 0.0:
            raise GeometryError("the cut is too deep for a flow grid to follow it", hint="Ask for less depth")
        return Grid(nodes, self.today.pattern)


def flow_grids(grid: WallGrid, port: Port, size: Size) -> FlowGrids:
    """Return the flow grid of a size in a port: rings between the wall grid's rows, nodes by its outlines.

    Raises GeometryError where none can be laid.
    """
    n, m = grid.lean.shape
    row = np.clip(np.searchsorted(grid.stations, size.rings, side="right") - 1, 0, n - 2)
    share = (size.rings - grid.stations[row]) / np.diff(grid.stations)[row]
    between = sparse.csr_matrix(
        (
            np.concatenate([1.0 - share, share]),
            (np.tile(np.arange(len(row)), 2), np.concatenate([row, row + 1])),
        ),
        shape=(len(row), n),
    )
    rings = sparse.kron(between, sparse.identity(m), format="csr")
    outlines = (rings @ grid.outlines.reshape(-1, 2)).reshape(len(row), m, 2)
    places = [wall_places(outline, size.pattern.across, size.pattern.down) for outline in outlines]
    first, part = np.stack([place[0] for place in places]), np.stack([place[1] for place in places])
    begin = np.arange(len(row))[:, None] * m
    columns = np.concatenate([(begin + first).ravel(), (begin + (first + 1) % m).ravel()])
    values = np.concatenate([(1.0 - part).ravel(), part.ravel()])
    nodes = sparse.csr_matrix((values, (np.tile(np.arange(first.size), 2), columns)), shape=(first.size, len(row) * m))
    origins, frames = at(port.centreline, size.rings)
    walls = (nodes @ outlines.reshape(-1, 2)).reshape(len(row), -1, 2)
    sections = [Section(*each) for each in zip(outlines, origins, frames, strict=True)]
    within = sweep(sections, size.pattern, size.rings, walls)
    ends = end_of(within, sections, size.rings, exit=False), end_of(within, sections, size.rings, exit=True)
    today, before = run_on(within, ends)
    inside = slice(before, before + len(row))
    outward = grid.outward.reshape(-1, 2)
    across, up = (nodes @ rings @ sparse.diags(outward[:, k]) for k in range(2))
    axes = np.repeat(frames[:, 1:], len(size.pattern.wall), axis=0)  # of each wall node's ring
    carried = _carried(size.pattern, len(today.nodes), inside)
    by_axis = [carried @ (sparse.diags(axes[:, 0, k]) @ across + sparse.diags(axes[:, 1, k]) @ up) for k in range(3)]
    order = np.arange(today.nodes.size).reshape(3, -1).T.ravel()
    follow = sparse.vstack(by_axis, format="csr")[order]
    return FlowGrids(today, inside, origins, frames, (ends[0].turns, ends[1].turns), between, follow)


def _carried(made: Pattern, rings: int, inside: slice) -> sparse.csr_matrix:
    """Return how all nodes follow the wall's (nodes, n p): layers by share, rings past an end with its own."""
    p, n = len(made.wall), inside.stop - inside.start
    ring = np.clip(np.arange(rings) - inside.start, 0, n - 1)
    node = made.count - p * made.layers + np.arange(p * made.layers).reshape(made.layers, p)
    to = np.arange(rings)[:, None, None] * made.count + node[None]
    of = ring[:, None, None] * p + np.arange(p)[None, None] + np.zeros_like(node)[None]
    value = np.broadcast_to(layer_shares(made)[None, :, None], to.shape)
    return sparse.csr_matrix((value.ravel(), (to.ravel(), of.ravel())), shape=(rings * made.count, n * p))
