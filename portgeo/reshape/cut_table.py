"""The cut in figures for the bench: depth by station and clock, and what the micrometer should read.

A Plan, or the state of one, comes in; rows of numbers go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.plane import FloatArray, IntArray
from portgeo.port import sections_at
from portgeo.reshape.grid import WALLS, WallGrid
from portgeo.reshape.plan import Plan
from portgeo.reshape.target import wanted_areas
from portgeo.section import measure_section

HOURS = np.array([12.0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11])
MOST_ROWS = 24
EVEN_ROWS = 9  # where nothing was measured and little is wanted
TOO_CLOSE_MM = 2.0  # rows nearer than this are one


@dataclass(frozen=True)
class CutTable:
    """Rows of a cut sheet, millimetres.

    stations (k,). depth : (k, 12), at HOURS, square to the wall. area_before, wanted (nan where none
    is), area (k,). height, width : (k, 2), today and as they should read. wall_volume : mm3 to come
    out of each of WALLS; wall_stretch : (4, 2), the stations between which it does, nan for none.
    """

    stations: FloatArray
    depth: FloatArray
    area_before: FloatArray
    wanted: FloatArray
    area: FloatArray
    height: FloatArray
    width: FloatArray
    wall_volume: FloatArray
    wall_stretch: FloatArray


def cut_table(plan: Plan) -> CutTable:
    """Return the rows of a plan's cut sheet."""
    grid = plan.grid
    rows = table_rows(plan)
    stations = grid.stations[rows]
    measures = [
        [measure_section(section) for section in sections_at(port, stations)] for port in (plan.port, plan.after)
    ]
    volume, stretch = _by_wall(plan)
    return CutTable(
        stations=stations,
        depth=at_hours(grid, plan.depth)[rows],
        area_before=plan.area_before[rows],
        wanted=wanted_areas(plan.target, stations, plan.target.throat_area or float(plan.area_before[-1])),
        area=plan.area_after[rows],
        height=np.array([[m.height for m in each] for each in measures]).T,
        width=np.array([[m.width for m in each] for each in measures]).T,
        wall_volume=volume,
        wall_stretch=stretch,
    )


def at_hours(grid: WallGrid, values: FloatArray) -> FloatArray:
    """Return values (n, m) of the wall at HOURS, (n, 12)."""
    found = np.empty((len(values), len(HOURS)))
    for k, (clock, row) in enumerate(zip(grid.clock, values, strict=True)):
        order = np.argsort(clock, kind="stable")
        found[k] = np.interp(HOURS % 12.0, clock[order], row[order], period=12.0)
    return found


def table_rows(plan: Plan) -> IntArray:
    """Return the rows of the grid to tell: measured and wanted stations, the deepest cut, and even ones."""
    grid = plan.grid
    first, last = grid.stations[[0, -1]]
    named = [s for w in plan.target.areas for s in (w.start, w.end)]
    deepest = float(grid.stations[int(np.argmax(plan.depth.max(axis=1)))])
    if plan.short_side is not None and np.isfinite(plan.short_side.start):
        named += [plan.short_side.start, plan.short_side.end]
    measured = plan.port.rows.tolist() if len(plan.port.rows) <= MOST_ROWS else []
    chosen: list[float] = []
    for station in [*named, *measured, deepest, *np.linspace(first, last, EVEN_ROWS).tolist()]:
        if len(chosen) < MOST_ROWS and all(abs(station - other) > TOO_CLOSE_MM for other in chosen):
            chosen.append(float(station))
    return np.unique([int(np.argmin(np.abs(grid.stations - s))) for s in chosen])


def _by_wall(plan: Plan) -> tuple[FloatArray, FloatArray]:
    grid = plan.grid
    points = grid.points
    ahead = np.linalg.norm(np.gradient(points, axis=0), axis=2)
    aside = np.linalg.norm(np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1), axis=2) / 2.0
    share = np.maximum(plan.depth, 0.0) * ahead * aside
    # Depth times wall is a little short of the volume where the wall curves; shares of it are not.
    scale = plan.removed / share.sum() if share.sum() > 0 else 0.0
    volume, stretch = np.zeros(len(WALLS)), np.full((len(WALLS), 2), np.nan)
    for k in range(len(WALLS)):
        here = share[:, grid.wall == k]
        volume[k] = scale * here.sum()
        cut = np.flatnonzero(plan.depth[:, grid.wall == k].max(axis=1) > 0.05 * max(float(plan.depth.max()), 1e-9))
        if len(cut):
            stretch[k] = grid.stations[cut[[0, -1]]]
    return volume, stretch
