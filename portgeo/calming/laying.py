"""Flow grids laid in a port that is being cut, and how their nodes follow the cut.

A wall grid and how far each of its places has moved come in; a flow grid goes out, and how its nodes move with more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from portgeo.core.centreline import at
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, Pattern, layer_shares, sweep, wall_places
from portgeo.flow.run_on import end_of, run_on
from portgeo.flow.wall import Size
from portgeo.reshape.grid import WallGrid, moved


@dataclass(frozen=True)
class FlowGrids:
    """How flow grids of one size are laid in a port, cut or not.

    origins (n, 3), frames (n, 3, 3) : of the grids' rings. rings (n m', n0 m') : the rings' outlines, of m' points,
    from the wall grid's n0. nodes (n p, n m') : the wall's nodes from those. A node stays at its place of the wall as
    that is cut, so that what a cut does to it is known exactly.
    """

    grid: WallGrid
    size: Size
    origins: FloatArray
    frames: FloatArray
    rings: sparse.csr_matrix
    nodes: sparse.csr_matrix

    def laid(self, travel: FloatArray) -> tuple[Grid, slice]:
        """Return the flow grid in the port with its wall moved (n0, m'), gone on past both ends, and its rings inside.

        Raises GeometryError where none can be laid.
        """
        made, stations = self.size.pattern, self.size.rings
        outlines = self.rings @ moved(self.grid, travel).reshape(-1, 2)
        walls = (self.nodes @ outlines).reshape(len(stations), -1, 2)
        sections = [
            Section(outline, origin, frame)
            for outline, origin, frame in zip(
                outlines.reshape(len(stations), -1, 2), self.origins, self.frames, strict=True
            )
        ]
        grid = sweep(sections, made, stations, walls)
        ends = end_of(grid, sections, stations, exit=False), end_of(grid, sections, stations, exit=True)
        whole, before = run_on(grid, ends)
        return whole, slice(before, before + len(stations))

    def ways(self, grid: Grid, inside: slice, spread: sparse.csr_matrix) -> sparse.csr_matrix:
        """Return how each node moves (3 nodes, w) with each bump; `spread` (n0 m', w) makes the bumps' travel."""
        outward = self.grid.outward.reshape(-1, 2)
        p = len(self.size.pattern.wall)
        across, up = (self.nodes @ self.rings @ sparse.diags(outward[:, k]) @ spread for k in range(2))
        axes = np.repeat(self.frames[:, 1:], p, axis=0)  # of each wall node's ring
        moves = [sparse.diags(axes[:, 0, k]) @ across + sparse.diags(axes[:, 1, k]) @ up for k in range(3)]
        carried = _carried(self.size.pattern, len(grid.nodes), inside)
        by_axis = [carried @ each for each in moves]
        order = np.arange(3 * grid.nodes[..., 0].size).reshape(3, -1).T.ravel()
        return sparse.vstack(by_axis, format="csr")[order]


def flow_grids(grid: WallGrid, port: Port, size: Size) -> FlowGrids:
    """Return how flow grids of a size are laid in a port: rings between the wall grid's rows, nodes by its outlines."""
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
    return FlowGrids(grid, size, *at(port.centreline, size.rings), rings, nodes)


def _carried(made: Pattern, rings: int, inside: slice) -> sparse.csr_matrix:
    """Return how all nodes follow the wall's (nodes, n p): layers by share, rings past an end with its own."""
    p, n = len(made.wall), inside.stop - inside.start
    ring = np.clip(np.arange(rings) - inside.start, 0, n - 1)
    node = made.count - p * made.layers + np.arange(p * made.layers).reshape(made.layers, p)
    to = np.arange(rings)[:, None, None] * made.count + node[None]
    of = ring[:, None, None] * p + np.arange(p)[None, None] + np.zeros_like(node)[None]
    value = np.broadcast_to(layer_shares(made)[None, :, None], to.shape)
    return sparse.csr_matrix((value.ravel(), (to.ravel(), of.ravel())), shape=(rings * made.count, n * p))
