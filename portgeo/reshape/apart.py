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
from portgeo.core.section import area_of
from portgeo.reshape.grid import WallGrid, exits

ENDS_MM = (1.0, 2.0)  # by which one scan of a port may end before another, tried in turn
END_ZONE_MM = 4.0  # near an opening in which a plane may graze the other scan's end
GRAZED = 0.05  # of an area: a section so much off what those farther in are has been grazed
QUIET_MM = 6.0  # of wall over which noise is averaged: under what a burr leaves, past a scan's facets


def wall_positions(grid: WallGrid, port: Port, other: Port) -> FloatArray:
    """Return how far (n, m) each place has to travel to the wall of another port in the same frame.

    Two scans of a port never end in quite the same plane: near an opening the nearest row that both
    have whole stands for those past it. Raises GeometryError where the other does not reach along
    all the rest.
    """
    travel = np.empty(grid.lean.shape)
    rows, sections = _rows_of(grid, replace(port, mesh=other.mesh), bool(port.noise or other.noise))
    for row, section in zip(rows, sections, strict=True):
        travel[row] = exits(grid.outlines[row], grid.outward[row], section.outline)
    travel[: rows[0]], travel[rows[-1] + 1 :] = travel[rows[0]], travel[rows[-1]]
    return np.nan_to_num(travel, nan=0.0)


def _rows_of(grid: WallGrid, other: Port, scanned: bool) -> tuple[np.ndarray, list]:
    """Return the rows (k,) at which the other port has a whole section, and the sections."""
    stations = grid.stations
    from_end = np.minimum(stations - stations[0], stations[-1] - stations)
    for short in ENDS_MM if scanned else (0.0,):
        rows = np.flatnonzero(from_end >= short)
        try:
            sections = sections_at(other, stations[rows])
            break
        except GeometryError as refusal:
            told = refusal
    else:
        raise GeometryError(
            f"the other port does not reach all along this one: {told.what}",
            hint="Both must be the same port, from the same entry plane to the same exit plane",
        )
    if not scanned:
        return rows, sections
    grown = np.array([area_of(section) for section in sections]) / grid.areas[rows]
    whole = np.ones(len(rows), dtype=bool)
    for half in (rows < len(stations) / 2, rows >= len(stations) / 2):
        inner = half & (from_end[rows] >= END_ZONE_MM)
        nearest = np.flatnonzero(inner)[np.argmin(from_end[rows][inner])]
        whole &= ~half | inner | (np.abs(grown / grown[nearest] - 1.0) < GRAZED)
    return rows[whole], [section for section, keep in zip(sections, whole, strict=True) if keep]


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
