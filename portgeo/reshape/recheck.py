"""The port as it is now against the plan: what is left to take, what went too deep, spots missed.

A Plan and the port measured again come in, in one frame; the depth left at every place goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.plane import FloatArray
from portgeo.port import Port
from portgeo.reshape.grid import areas_after, volume_after
from portgeo.reshape.plan import Plan, wall_positions
from portgeo.reshape.stops import oclock
from portgeo.units import Notice

TOLERANCE_MM = 0.13  # 0.005 in: *common practice, no source*, what a careful hand with a burr holds
MISSED_SHARE = 0.2  # of the planned depth: a spot that has had less was missed
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
    deep. area : (n,) now. left_volume : mm3. too_deep, missed, past_limit : the worst spots of each,
    worst first. tolerance : within which a place counts as done.
    """

    plan: Plan
    taken: FloatArray
    left: FloatArray
    area: FloatArray
    left_volume: float
    too_deep: tuple[Spot, ...]
    missed: tuple[Spot, ...]
    past_limit: tuple[Spot, ...]
    tolerance: float
    warnings: tuple[Notice, ...]


def recheck(plan: Plan, now: Port, tolerance: float = TOLERANCE_MM) -> Recheck:
    """Return how the port measured now stands against a plan.

    now : in the plan's port frame. A scan's noise widens the tolerance to twice itself. Raises
    GeometryError where it does not reach along all of the plan's port.
    """
    grid = plan.grid
    tolerance = max(tolerance, 2.0 * now.noise)
    travel = np.nan_to_num(wall_positions(grid, plan.port, now), nan=0.0)
    left = (plan.travel - travel) * grid.lean
    over = np.where(left < -tolerance, -left, 0.0)
    missed = np.where(
        (plan.depth > tolerance)
        & (left > tolerance)
        & (travel * grid.lean < MISSED_SHARE * np.maximum(plan.depth, 0.0)),
        left,
        0.0,
    )
    past = np.where(travel > plan.limit, (travel - plan.limit) * grid.lean, 0.0)
    past[past < tolerance] = 0.0
    spots = tuple(_spots(plan, values) for values in (over, missed, past))
    area = areas_after(grid, travel)
    rest = np.where(left > tolerance, plan.travel, travel)
    warnings = [
        Notice(
            "past_limit",
            f"station {{at}}, {oclock(spot.clock)}: {{by}} past its limit; stop there and test the wall",
            {"at": spot.station, "by": spot.depth},
        )
        for spot in spots[2][:3]
    ]
    return Recheck(
        plan=plan,
        taken=travel * grid.lean,
        left=left,
        area=area,
        left_volume=volume_after(grid, rest) - volume_after(grid, travel),
        too_deep=spots[0],
        missed=spots[1],
        past_limit=spots[2],
        tolerance=tolerance,
        warnings=tuple(warnings),
    )


def _spots(plan: Plan, values: FloatArray) -> tuple[Spot, ...]:
    """Return the places where values (n, m) are greatest, none nearer than HAND_MM to another."""
    grid, found = plan.grid, list[Spot]()
    points = grid.points
    values = values.copy()
    while values.max() > 0.0:
        row, column = divmod(int(np.argmax(values)), values.shape[1])
        found.append(Spot(float(grid.stations[row]), float(grid.clock[row, column]), float(values[row, column])))
        values[np.linalg.norm(points - points[row, column], axis=2) < HAND_MM] = 0.0
    return tuple(found)
