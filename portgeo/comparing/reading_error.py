"""What the readings of two sheets leave uncertain in their comparison.

Two Ports come in, each lofted from readings or not; errors of the depth by station and clock position go out, one
map for each error that is on its own. Rows that both sheets have alike are one reading and cancel.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.comparing.depth_map import NO_AREA_MM2, DepthMap
from portgeo.comparing.tube import Tube
from portgeo.comparing.wedges import Wedges
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.section import TOOLS, row_key


def reading_depth_u(before: Port, after: Port) -> float:
    """Return the standard uncertainty, mm, of a depth between rows that only one of two sheets has."""
    one, other = (
        max((port.readings[k].error for k in _unlike(port, against)), default=0.0)
        for port, against in ((before, after), (after, before))
    )
    return float(np.hypot(one, other))


def reading_errors(ports: tuple[Port, Port], tube: Tube, map_: DepthMap, walls: tuple[Wedges, Wedges]) -> FloatArray:
    """Return standard errors of the depth (k, n, m), mm, in the cells of a map: k errors, each on its own.

    ports, walls : BEFORE and AFTER, and the wall of each, refined. tube : BEFORE's. First order (JCGM 100, 5.1.2):
    an error of the height moves roof and floor apart by half of it each, one of the width the sides, one of the rise
    or shift moves both alike; all as far as the wall looks that way, and to the next rows. One tool's zero moves
    both sheets' walls alike: in the difference only rows that one of the two lacks show it.
    """
    rows = [_unlike(*ports), _unlike(*ports[::-1])]
    if not any(map(len, rows)):
        return np.zeros((0, *map_.depth.shape))
    area = np.maximum(map_.spread(walls[1].areas, walls[1].where), NO_AREA_MM2)
    errors: list[FloatArray] = []
    zeros = {tool: np.zeros(map_.depth.shape) for tool in TOOLS}
    for sign, port, own, wall in zip((-1.0, 1.0), ports, rows, walls, strict=True):
        ways = {name: moved / area for name, moved in _moved(tube, map_, wall).items()}
        placed = [name for name in ("rise", "shift") if any(getattr(r, name) for r in port.readings)]
        for k in own:
            reading = port.readings[k]
            reach = np.interp(map_.stations, port.rows, np.arange(len(port.rows)) == k)[:, None]
            sizes = ["round"] if reading.shape == "round" else ["height", "width"]
            errors += [reading.error * reach * ways[name] for name in (*sizes, *placed)]
            for name in sizes:
                zeros[reading.tool] += sign * reading.zero * reach * ways[name]
    return np.array([*errors, *(zero for zero in zeros.values() if zero.any())])


def _moved(tube: Tube, map_: DepthMap, wall: Wedges) -> dict[str, FloatArray]:
    """Return the volume (n, m), mm2, that a unit of each measure of a wall's sections adds behind each cell."""
    row: IntArray = np.clip(np.searchsorted(tube.stations, wall.where.station), 0, len(tube.stations) - 1)
    frames = tube.frames[row[wall.faces[:, 0]]]
    left, up = (np.einsum("ij,ij->i", wall.vector_areas, frames[:, k]) for k in (1, 2))
    moves = {"height": np.abs(up) / 2.0, "width": np.abs(left) / 2.0, "rise": up, "shift": left}
    moves["round"] = np.hypot(left, up) / 2.0
    return {name: map_.spread(wall.shared_out(move), wall.where) for name, move in moves.items()}


def _unlike(port: Port, other: Port) -> Sequence[int]:
    """Return which of a port's readings the other port does not have."""
    known = {row_key(reading) for reading in other.readings}
    return [k for k, reading in enumerate(port.readings) if row_key(reading) not in known]
