"""The port as it is now against the plan: what is left to take, what went too deep, spots missed.

A Plan and the port measured again come in, in one frame; the depth left at every place goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port
from portgeo.core.section import Section, read_across
from portgeo.core.units import LengthUnit
from portgeo.measuring import survey
from portgeo.measuring.sides import bend_of
from portgeo.reshape.apart import quieted, sure_cut, wall_positions
from portgeo.reshape.cut_table import TOO_CLOSE_MM, table_stations
from portgeo.reshape.grid import WallGrid, areas_after, most_place, moved, volume_after
from portgeo.reshape.plan import Plan

TOLERANCE_MM = 0.13  # 0.005 in: *common practice, no source*, what a careful hand with a burr holds
MISSED_SHARE = 0.2  # of the planned depth: a spot that has had less was missed
MOST_SPOTS = 3  # of a kind that get a row of their own
HAND_MM = 10.0  # spots nearer than this are one


@dataclass(frozen=True)
class Spot:
    """A place to look at: where, its depth over (positive) or left (negative), square to the wall."""

    station: float
    clock: float
    depth: float


@dataclass(frozen=True)
class Recheck:
    """The state of a cut.

    taken, left : (n, m) on the plan's grid, square to the wall; left is negative where it went too
    deep. area : (n,) now. height, width : (n, 2), now and when it is right. left_volume : mm3.
    too_deep, missed, past_limit : the worst spots of each, worst first. tolerance : within which a
    place counts as done.
    """

    plan: Plan
    taken: FloatArray
    left: FloatArray
    area: FloatArray
    height: FloatArray
    width: FloatArray
    short_radius: tuple[float, float] | None
    left_volume: float
    too_deep: tuple[Spot, ...]
    missed: tuple[Spot, ...]
    past_limit: tuple[Spot, ...]
    tolerance: float
    warnings: tuple[Notice, ...]


def stations_to_tell(found: Recheck, unit: LengthUnit) -> FloatArray:
    """Return the stations (k,) of the plan's cut sheet, and those of the worst spots."""
    spots = [spot for each in (found.past_limit, found.too_deep, found.missed) for spot in each[:MOST_SPOTS]]
    told = table_stations(found.plan, unit)
    return np.unique([*told, *(s.station for s in spots if np.abs(told - s.station).min() > TOO_CLOSE_MM)])


def recheck(
    plan: Plan,
    now: Port,
    tolerance: float = TOLERANCE_MM,
    *,
    as_measured: Port | None = None,
    finished_as_read: Port | None = None,
) -> Recheck:
    """Return how the port measured now stands against a plan.

    now : its mesh in the plan's port frame. as_measured : the same port in its own frame, along whose
    centreline its short side is measured; `now` without it. finished_as_read : the planned port as readings like
    those of `now` have it, in the plan's frame: the work is then held against it. A scan's noise widens the tolerance
    to twice itself. Raises GeometryError where it does not reach along all of the plan's port.
    """
    grid = plan.grid
    tolerance = max(tolerance, 2.0 * now.noise)
    noise = float(np.hypot(plan.port.noise, now.noise))
    travel = quieted(grid, wall_positions(grid, plan.port, now), noise)
    planned = plan.travel if finished_as_read is None else wall_positions(grid, plan.port, finished_as_read)
    left = (planned - travel) * grid.lean
    over = np.where(left < -tolerance, -left, 0.0)
    missed = np.where(
        (planned * grid.lean > tolerance)
        & (left > tolerance)
        & (travel * grid.lean < MISSED_SHARE * np.maximum(planned * grid.lean, 0.0)),
        left,
        0.0,
    )
    limit = plan.limit if finished_as_read is None else np.maximum(plan.limit, planned)
    past = np.where(travel > limit, (travel - limit) * grid.lean, 0.0)
    past[past < tolerance] = 0.0
    spots = tuple(_spots(plan, values) for values in (over, missed, past))
    # Too deep stays too deep, but for where epoxy is to go.
    finished = np.where(planned < 0.0, planned, np.maximum(planned, travel))
    sizes = [
        np.array([read_across(outline, moments(outline).centroid) for outline in moved(grid, each)])
        for each in (travel, finished)
    ]
    # What is left runs out past where it is more than the tolerance.
    rest = travel + np.maximum(sure_cut(grid, planned - travel, tolerance, plan.target.blend), 0.0)
    # Rows of height and width make more of a cut than it is, or less: what is left is its share of the plan.
    share = 1.0
    if finished_as_read is not None:
        whole = volume_after(grid, planned) - volume_after(grid, np.zeros_like(planned))
        share = (plan.removed - plan.added) / whole if whole > 0.0 else 1.0
    warnings = [Notice("past_limit", station=spot.station, clock=spot.clock, by=spot.depth) for spot in spots[2][:3]]
    return Recheck(
        plan=plan,
        taken=travel * grid.lean,
        left=left,
        area=np.column_stack([areas_after(grid, each) for each in (travel, finished)]),
        height=np.column_stack([size[:, 1] for size in sizes]),
        width=np.column_stack([size[:, 0] for size in sizes]),
        short_radius=_short_radius(grid, as_measured or now, finished),
        left_volume=share * (volume_after(grid, rest) - volume_after(grid, travel)),
        too_deep=spots[0],
        missed=spots[1],
        past_limit=spots[2],
        tolerance=tolerance,
        warnings=tuple(warnings),
    )


def _short_radius(grid: WallGrid, now: Port, finished: FloatArray) -> tuple[float, float] | None:
    """Return the short side's radius of the port as it is now and of the wall when it is right, mm."""
    side = survey(now, readings_tried=False).short_side
    if side is None or grid.bend is None:
        return None
    rings = zip(moved(grid, finished), grid.origins, grid.frames, strict=True)
    bend = bend_of(grid.stations, [Section(*parts) for parts in rings], grid.bend)
    return None if bend is None else (side.headline, bend.short.headline)


def _spots(plan: Plan, values: FloatArray) -> tuple[Spot, ...]:
    """Return the worst place of each patch where values (n, m) are over 0, none nearer than HAND_MM to a worse one."""
    grid, found = plan.grid, list[Spot]()
    points = grid.points
    patch, count = label(values > 0.0)
    # A patch may run on past 12 o'clock.
    for one, other in np.unique(np.column_stack([patch[:, 0], patch[:, -1]]), axis=0).tolist():
        if one and other:
            patch[patch == max(one, other)] = min(one, other)
    values = values.copy()
    while values.max() > 0.0 and len(found) < count:
        row, column = most_place(grid, values)
        found.append(Spot(float(grid.stations[row]), float(grid.clock[row, column]), float(values[row, column])))
        near = np.linalg.norm(points - points[row, column], axis=2) < HAND_MM
        values[near | (patch == patch[row, column])] = 0.0
    return tuple(found)
