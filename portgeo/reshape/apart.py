"""How far apart two states of a wall are, and how much of that is sure.

A wall grid and another port in its frame come in; the distance to the other wall at every place,
freed of a scan's noise, goes out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Section
from portgeo.reshape.grid import WallGrid, exits

ENDS_MM = (0.0, 1.0, 2.0)  # by which one port may end before another, tried in turn
AT_END_MM = 1e-6  # off the other's flat end, that a place is still on it: rows stand farther off their own end
QUIET_MM = 6.0  # of wall over which noise is averaged: under what a burr leaves, past a scan's facets


def wall_positions(grid: WallGrid, port: Port, other: Port) -> FloatArray:
    """Return how far (n, m) each place has to travel to the wall of another port in the same frame.

    Two runners, or two scans of a port, never end in quite the same plane: near an opening the nearest row at which
    both have wall stands, place by place, for those past it. Raises GeometryError where the other does not reach along
    all the rest.
    """
    rows, sections = _rows_of(grid, replace(port, mesh=other.mesh))
    spine = other.centreline
    travel = np.full(grid.lean.shape, np.nan)
    bare = np.ones(grid.lean.shape, dtype=bool)
    for row, section in zip(rows, sections, strict=True):
        travel[row] = exits(grid.outlines[row], grid.outward[row], section.outline)
        reached = section.in_space(grid.outlines[row] + travel[row][:, None] * grid.outward[row])
        inside = [sign * (reached - spine.points[k]) @ spine.frames[k, 0] for k, sign in ((0, 1.0), (-1, -1.0))]
        bare[row] = np.min(inside, axis=0) < AT_END_MM
    middle = len(travel) // 2
    for nearer_end, inward in ((range(middle - 1, -1, -1), 1), (range(middle + 1, len(travel)), -1)):
        for row in nearer_end:
            travel[row, bare[row]] = travel[row + inward, bare[row]]
    return np.nan_to_num(travel, nan=0.0)


def _rows_of(grid: WallGrid, other: Port) -> tuple[np.ndarray, list[Section]]:
    """Return the rows (k,) at which the other port has a section, and the sections."""
    stations = grid.stations
    from_end = np.minimum(stations - stations[0], stations[-1] - stations)
    for short in ENDS_MM:
        rows = np.flatnonzero(from_end >= short)
        try:
            return rows, sections_at(other, stations[rows])
        except GeometryError as refusal:
            told = refusal
    raise GeometryError(
        f"the other port does not reach all along this one: {told.what}",
        hint="Both must be the same port, from the same entry plane to the same exit plane",
    )


def quieted(grid: WallGrid, travel: FloatArray, noise: float) -> FloatArray:
    """Return travel (n, m) with a scan's noise averaged out, as it is where there is no noise.

    Parabolas along and round the wall over QUIET_MM keep the depth of a cut (Savitzky and Golay,
    Analytical Chemistry 36, 1964).
    """
    if noise == 0.0:
        return travel
    from scipy.signal import savgol_filter  # most of a second to import, and only scans need it

    steps = float(np.diff(grid.stations).mean()), float(grid.girth.mean()) / travel.shape[1]
    along, around = (max(2 * round(QUIET_MM / step / 2.0) + 1, 5) for step in steps)
    if len(travel) > along:
        travel = savgol_filter(travel, along, 2, axis=0, mode="interp")
    return savgol_filter(travel, around, 2, axis=1, mode="wrap")


def sure_cut(grid: WallGrid, travel: FloatArray, least: float, fade: float) -> FloatArray:
    """Return travel (n, m) where it is a cut, 0 elsewhere.

    A cut is where it is more than `least`, square to the wall, and runs out within `fade` of there.
    """
    if least == 0.0:
        return travel
    sure = (travel * grid.lean > least).ravel()
    if not sure.any():
        return np.zeros(travel.shape)
    points = grid.points.reshape(-1, 3)
    away, _ = cKDTree(points[sure]).query(points, distance_upper_bound=fade)
    return np.where(np.isfinite(away).reshape(travel.shape), travel, 0.0)
