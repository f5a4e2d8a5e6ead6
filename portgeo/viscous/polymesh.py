"""Hexahedra as the solver's own files hold them: points, and faces with the cells that they lie between.

A grid comes in; a PolyMesh goes out: faces inside first, each from the lower cell to the higher, then those of the
wall, the inlet and the outlet, turned outward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray, IntArray
from portgeo.flow.grid import Grid, Pattern

METRES = 1e-3  # the solver's unit


@dataclass(frozen=True)
class PolyMesh:
    """A grid's hexahedra: points (n, 3) in m, faces (f, 4), owner (f,), neighbour (i,) of the first i faces.

    wall, inlet, outlet : which faces are of these patches. between (r, q) : the faces between the cells of one layer
    and of the next, by ring from the second to the last but one, in the order of the pattern's quads. Cell j of layer i
    is number i * q + j.
    """

    points: FloatArray
    faces: IntArray
    owner: IntArray
    neighbour: IntArray
    wall: slice
    inlet: slice
    outlet: slice
    between: IntArray

    @property
    def cells(self) -> int:
        """How many there are."""
        return int(self.owner.max()) + 1

    @property
    def patches(self) -> dict[str, slice]:
        """The boundary, in the order of its faces."""
        return {"wall": self.wall, "inlet": self.inlet, "outlet": self.outlet}


def polymesh(grid: Grid) -> PolyMesh:
    """Return a grid's hexahedra as the solver holds them."""
    made, rings, count = grid.pattern, *grid.nodes.shape[:2]
    quads, layers = len(made.quads), rings - 1
    first, second, inside, rim, rim_owner = _edges(made)
    # Between the cells of a layer, layer by layer; an edge runs counterclockwise round the lower cell.
    at = np.arange(layers)[:, None]
    standing = _upright(inside, at, count)
    low, high = (first + at * quads).ravel(), (second + at * quads).ravel()
    crossing = (made.quads[None] + count * np.arange(1, rings - 1)[:, None, None]).reshape(-1, 4)
    before = np.arange((layers - 1) * quads)
    faces = np.vstack([standing, crossing])
    owner, neighbour = np.concatenate([low, before]), np.concatenate([high, before + quads])
    order = np.lexsort((neighbour, owner))
    place = np.empty(len(order), dtype=int)
    place[order] = np.arange(len(order))
    wall = _upright(rim, at, count)
    inlet, outlet = made.quads[:, ::-1], made.quads + count * (rings - 1)
    ends = np.cumsum([len(order), len(wall), quads, quads])
    return PolyMesh(
        points=grid.nodes.reshape(-1, 3) * METRES,
        faces=np.vstack([faces[order], wall, inlet, outlet]),
        owner=np.concatenate(
            [owner[order], (rim_owner + at * quads).ravel(), np.arange(quads), np.arange(quads) + (layers - 1) * quads]
        ),
        neighbour=neighbour[order],
        wall=slice(int(ends[0]), int(ends[1])),
        inlet=slice(int(ends[1]), int(ends[2])),
        outlet=slice(int(ends[2]), int(ends[3])),
        between=place[len(standing) :].reshape(layers - 1, quads),
    )


def _upright(edges: IntArray, at: IntArray, count: int) -> IntArray:
    """Return the faces (l e, 4) that edges (e, 2) sweep from each ring to the next, layer by layer."""
    start, end = edges[:, 0] + at * count, edges[:, 1] + at * count
    return np.stack([start, end, end + count, start + count], axis=2).reshape(-1, 4)


def _edges(made: Pattern) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:
    """Return the lower and the higher quad (e,) at each edge inside and its ends (e, 2); the wall's edges and quads.

    Ends run counterclockwise round the lower quad; the wall's are in the order of the pattern's wall nodes.
    """
    start, end = made.quads.ravel(), np.roll(made.quads, -1, axis=1).ravel()
    quad = np.repeat(np.arange(len(made.quads)), 4)
    key = np.minimum(start, end) * made.count + np.maximum(start, end)
    order = np.lexsort((quad, key))
    same = key[order][1:] == key[order][:-1]
    lower, higher = order[:-1][same], order[1:][same]
    alone = np.ones(len(order), dtype=bool)
    alone[:-1] &= ~same
    alone[1:] &= ~same
    rim = order[alone]
    turn = np.argsort(np.argsort(made.wall)[np.searchsorted(np.sort(made.wall), start[rim])])
    rim = rim[turn]
    inside = np.stack([start[lower], end[lower]], axis=1)
    return quad[lower], quad[higher], inside, np.stack([start[rim], end[rim]], axis=1), quad[rim]
