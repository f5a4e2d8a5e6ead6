"""Flow grids laid in a port that is being cut, and how their nodes follow the cut.

A wall grid and how far each of its places has moved come in; a flow grid goes out, and how its nodes move with more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from portgeo.core.centreline import at
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, layer_shares, sweep, wall_places
from portgeo.flow.run_on import end_of, run_on
from portgeo.flow.wall import Size
from portgeo.reshape.grid import WallGrid, moved


@dataclass(frozen=True)
class Laid:
    """A flow grid, gone on past both ends; its rings inside; first (n, p) and share (n, p): where each wall node
    stands on its ring's outline, between the first point of an edge and the next.
    """

    grid: Grid
    inside: slice
    first: IntArray
    share: FloatArray

    @property
    def wall(self) -> FloatArray:
        """Points of the port's wall (n, p, 3)."""
        return self.grid.wall[self.inside]


@dataclass(frozen=True)
class FlowGrids:
    """How flow grids of one size are laid in a cut port: rings between the wall grid's rows.

    row (n,), share (n,) : where each ring stands between two rows. origins (n, 3), frames (n, 3, 3) of the rings.
    """

    grid: WallGrid
    size: Size
    row: IntArray
    share: FloatArray
    origins: FloatArray
    frames: FloatArray

    def laid(self, travel: FloatArray) -> Laid:
        """Return the flow grid in the port with its wall moved (n, m). Raises GeometryError where none can be laid."""
        cut = moved(self.grid, travel)
        outlines = cut[self.row] + self.share[:, None, None] * (cut[self.row + 1] - cut[self.row])
        sections = [Section(o, x, f) for o, x, f in zip(outlines, self.origins, self.frames, strict=True)]
        made, rings = self.size.pattern, self.size.rings
        grid = sweep(sections, made, rings)
        places = [wall_places(o, made.across, made.down) for o in outlines]
        ends = end_of(grid, sections, rings, exit=False), end_of(grid, sections, rings, exit=True)
        whole, before = run_on(grid, ends)
        first, share = np.stack([place[0] for place in places]), np.stack([place[1] for place in places])
        return Laid(whole, slice(before, before + len(rings)), first, share)

    def ways(self, laid: Laid, spread: sparse.csr_matrix) -> sparse.csr_matrix:
        """Return how each node moves (3 nodes, w) with each bump; `spread` (n m, w) makes the bumps' travel."""
        first, share = laid.first, laid.share
        n, p = first.shape
        m = self.grid.outlines.shape[1]
        number = np.arange(n * p).reshape(n, p)
        rows, columns, values = [], [], []
        for row, by_row in ((self.row, 1.0 - self.share), (self.row + 1, self.share)):
            for point, by_point in ((first, 1.0 - share), ((first + 1) % m, share)):
                place = row[:, None] * m + point
                way = np.einsum("npi,nij->npj", self.grid.outward[row[:, None], point], self.frames[:, 1:])
                for axis in range(3):
                    rows.append(3 * number + axis)
                    columns.append(place)
                    values.append(by_row[:, None] * by_point * way[..., axis])
        joined = [np.concatenate([x.ravel() for x in each]) for each in (rows, columns, values)]
        wall = sparse.csr_matrix(
            (joined[2], (joined[0], joined[1])), shape=(3 * n * p, self.grid.outlines[..., 0].size)
        )
        return (self._carried(laid.grid, laid.inside) @ (wall @ spread)).tocsr()

    def _carried(self, grid: Grid, inside: slice) -> sparse.csr_matrix:
        """Return how all nodes follow the wall's (3 nodes, 3 n p): layers by share, rings past an end with its own."""
        rings, count = grid.nodes.shape[:2]
        made = grid.pattern
        p, n = len(made.wall), inside.stop - inside.start
        shares = layer_shares(made)
        ring = np.clip(np.arange(rings) - inside.start, 0, n - 1)
        node = made.count - p * made.layers + np.arange(p * made.layers).reshape(made.layers, p)
        to = 3 * (np.arange(rings)[:, None, None] * count + node[None])
        of = 3 * (ring[:, None, None] * p + np.arange(p)[None, None]) + np.zeros_like(node)[None]
        value = np.broadcast_to(shares[None, :, None], to.shape)
        rows = np.concatenate([(to + axis).ravel() for axis in range(3)])
        columns = np.concatenate([(of + axis).ravel() for axis in range(3)])
        return sparse.csr_matrix((np.tile(value.ravel(), 3), (rows, columns)), shape=(3 * rings * count, 3 * n * p))


def flow_grids(grid: WallGrid, port: Port, size: Size) -> FlowGrids:
    """Return how flow grids of a size are laid in a port, cut or not."""
    row = np.clip(np.searchsorted(grid.stations, size.rings, side="right") - 1, 0, len(grid.stations) - 2)
    share = (size.rings - grid.stations[row]) / np.diff(grid.stations)[row]
    return FlowGrids(grid, size, row, share, *at(port.centreline, size.rings))
