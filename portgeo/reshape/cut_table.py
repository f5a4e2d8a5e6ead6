"""The cut in figures for the bench: depth by station and clock, and what the micrometer should read.

A Plan, or the state of one, comes in; rows of numbers go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import sections_at
from portgeo.core.section import WALLS, Section, areas_of, measure_sections, walls_across
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.measuring.scan_uncertainty import facet_area
from portgeo.reshape.grid import WallGrid
from portgeo.reshape.plan import Plan
from portgeo.reshape.target import wanted_areas

HOURS = np.array([12.0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11])
MOST_ROWS = 24
HALFWAY = 1e-9  # of a quarter: a place so near to halfway between two walls is there
TOO_CLOSE_MM = 0.5  # rows nearer than this are one; a step is measured on both its sides, a little apart
# Steps of the stations between measured ones: a rule has marks there, so that they can be scribed in a port.
ROUND_STEPS = {"in": (0.125, 0.25, 0.5, 1.0), "mm": (2.0, 5.0, 10.0, 20.0, 50.0)}
BLENDED_MM = 0.127  # 0.005 in: *common practice, no source*; less is blended with a roll, no burr grinds to it
ROUND_ROWS = 16  # of one step, at most


@dataclass(frozen=True)
class CutTable:
    """Rows of a cut sheet, millimetres.

    stations (k,). tape (k, 2) : along the roof's and the floor's own line from the entry, as a tape laid in the port
    has them. depth : (k, 12), at HOURS, square to the wall. wall_unknown : (k, 12), where more than a blend is taken
    and nothing read says how thick the wall is; unknown_share : of all depth, what is there. area_before, wanted
    (nan where none is), area (k,). height, width, rise : (k, 2), today and as they should read; rise is of the middle
    of the height above the centreline, as a section sheet has it. wall_volume : mm3 to come out of each of WALLS;
    wall_stretch : (4, 2), the stations between which it does, nan for none.
    """

    stations: FloatArray
    tape: FloatArray
    depth: FloatArray
    wall_unknown: NDArray[np.bool_]
    unknown_share: float
    area_before: FloatArray
    wanted: FloatArray
    area: FloatArray
    height: FloatArray
    width: FloatArray
    rise: FloatArray
    wall_volume: FloatArray
    wall_stretch: FloatArray


def cut_table(plan: Plan, unit: LengthUnit) -> CutTable:
    """Return the rows of a plan's cut sheet; those between measured stations at round ones of a unit."""
    grid = plan.grid
    stations = table_stations(plan, unit)
    ports = plan.port, plan.after
    sections = [sections_at(port, stations) for port in ports]
    measures = [measure_sections(each) for each in sections]
    # As a survey of either port has them, so that no two tables tell one section with two areas.
    areas = [areas_of(each) + facet_area(p) for p, each in zip(ports, sections, strict=True)]
    volume, stretch = _by_wall(plan)
    depth = at_stations(grid, at_hours(grid, plan.depth), stations)
    unknown = at_stations(grid, at_hours(grid, plan.wall_unknown.astype(float)), stations) >= 0.5
    unknown &= depth >= BLENDED_MM
    return CutTable(
        stations=stations,
        tape=at_stations(grid, along_walls(grid), stations) + (0.0 if plan.whole is None else plan.whole.tape),
        depth=depth,
        wall_unknown=unknown,
        unknown_share=float(depth[unknown].sum() / max(np.maximum(depth, 0.0).sum(), 1e-12)),
        area_before=areas[0],
        wanted=wanted_areas(plan.target, stations, plan.throat_area),
        area=areas[1],
        height=np.array([[m.height for m in each] for each in measures]).T,
        width=np.array([[m.width for m in each] for each in measures]).T,
        rise=np.array([[_middle(section) for section in each] for each in sections]).T,
        wall_volume=volume,
        wall_stretch=stretch,
    )


def _middle(section: Section) -> float:
    """Return how far above the centreline the middle of a section's height is."""
    return float(walls_across(section.outline, moments(section.outline).centroid)[1].mean())


def along_walls(grid: WallGrid) -> FloatArray:
    """Return how far each of the grid's rows is from the first along the roof's and the floor's line (n, 2)."""
    lines = grid.points[:, [0, len(grid.share) // 2]]
    steps = np.linalg.norm(np.diff(lines, axis=0), axis=2)
    return np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])


def at_hours(grid: WallGrid, values: FloatArray) -> FloatArray:
    """Return values (n, m) of the wall at HOURS, (n, 12)."""
    found = np.empty((len(values), len(HOURS)))
    for k, (clock, row) in enumerate(zip(grid.clock, values, strict=True)):
        order = np.argsort(clock, kind="stable")
        found[k] = np.interp(HOURS % 12.0, clock[order], row[order], period=12.0)
    return found


def at_stations(grid: WallGrid, values: FloatArray, stations: FloatArray) -> FloatArray:
    """Return values (n, ...) of the grid's rows at stations (k,), in straight lines between: (k, ...)."""
    after = np.clip(np.searchsorted(grid.stations, stations), 1, len(grid.stations) - 1)
    low, high = grid.stations[after - 1], grid.stations[after]
    share = np.clip((stations - low) / (high - low), 0.0, 1.0).reshape(-1, *[1] * (values.ndim - 1))
    return (1.0 - share) * values[after - 1] + share * values[after]


def table_stations(plan: Plan, unit: LengthUnit) -> FloatArray:
    """Return the stations (k,) to tell: the wanted and the measured ones, both ends, and round ones between."""
    first, last = (float(s) for s in plan.grid.stations[[0, -1]])
    named = [s for w in plan.target.areas for s in (w.start, w.end)]
    measured = plan.port.rows.tolist() if len(plan.port.rows) <= MOST_ROWS else []
    chosen: list[float] = []
    for station in [*named, *measured, first, last]:
        if len(chosen) < MOST_ROWS and all(abs(station - other) > TOO_CLOSE_MM for other in chosen):
            chosen.append(station)
    even, step = round_stations(first, last, unit, ROUND_ROWS)
    for station in even.tolist():
        if len(chosen) < MOST_ROWS and all(abs(station - other) > step / 2.0 for other in chosen):
            chosen.append(station)
    return np.array(sorted(chosen))


def round_stations(first: float, last: float, unit: LengthUnit, most: int) -> tuple[FloatArray, float]:
    """Return about `most` stations (n,) at round ones of a unit, and the step from one to the next, mm."""
    steps = [step * MM_PER[unit] for step in ROUND_STEPS[unit]]
    step = next((one for one in steps if (last - first) / one <= most), steps[-1])
    return step * np.arange(np.ceil(first / step), np.floor(last / step) + 1), step


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
        # A place halfway between two walls is half of each: else a cut alike on both sides would not read so.
        halves = np.abs((grid.share - k + 2.0) % 4.0 - 2.0)
        volume[k] = scale * (share * np.where(np.abs(halves - 0.5) < HALFWAY, 0.5, halves < 0.5)).sum()
        cut = np.flatnonzero(plan.depth[:, grid.wall == k].max(axis=1) > 0.05 * max(float(plan.depth.max()), 1e-9))
        if len(cut):
            stretch[k] = grid.stations[cut[[0, -1]]]
    return volume, stretch
