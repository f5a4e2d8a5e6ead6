"""What a plan says of its work: in which order it goes, and whether another cut could be smaller and smoother.

A Plan and its rows come in; sentences for the bench go out, in the user's unit.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.section import WALLS, wall_name
from portgeo.core.units import Display
from portgeo.measuring.bends import inner_wall
from portgeo.reshape.cut_table import HOURS, CutTable
from portgeo.reshape.limits import NEAR_MM
from portgeo.reshape.plan import Plan

ROUGH_LEFT_MM = 0.25  # 0.010 in: *common practice, no source*, left by the burr for the blend
ROUGH_SHARE = 1.0 / 3.0  # of the deepest cut, where that is less: a shallow cut is roughed closer
ROLLS_ONLY_MM = 0.25  # 0.010 in: *common practice, no source*, a cut that needs no burr
NO_BETTER = 1e-3  # of the cost: what no tool could tell
CORNERS = "Each corner is split between its two walls."
NO_WALL = "No wall was read. Sonic-test it wherever a depth is marked ?, the deepest first, before you cut there."
CLOCKS_NAMED = 3  # hours of the clock to sonic-test first
LITTLE_MM3 = 10.0  # a wall with less to come out is not named in the order of work


def order_of_work(plan: Plan, table: CutTable, d: Display) -> list[str]:
    """Return the steps of the work, rough to blend. *Common practice, no source.*"""
    walls = walls_to_cut(table)
    unmeasured = sorted({(stop.station, stop.place) for stop in plan.stops if stop.unmeasured and stop.short})
    steps = []
    if unmeasured:
        station, place = unmeasured[0]
        steps.append(
            f"Sonic-test the wall round station {d.length(station)}, {place} first, add the readings to the wall "
            "sheet and plan again: nobody knows how thick it is there."
        )
    if not walls:
        return [*steps, "There is no metal to take: measure again after other work, with --check."]
    if table.wall_unknown.any():
        steps.append(_sonic_test(plan, table, d) if plan.walls_left else NO_WALL)
    steps.append(
        "Coat the wall with layout dye and scribe the stations of the table. A tape from the entry along the roof and "
        "along the floor gives the two ends of each line."
    )
    parts = [
        f"{wall_name(WALLS[k])} {volume_text(float(table.wall_volume[k]))} "
        f"({d.length(float(table.wall_stretch[k, 0]), label=False)} to {d.length(float(table.wall_stretch[k, 1]))})"
        for k in walls
    ]
    deepest = float(plan.depth.max())
    if deepest > ROLLS_ONLY_MM:
        left = min(ROUGH_LEFT_MM, deepest * ROUGH_SHARE)
        steps.append(
            f"Rough with a burr where more than {d.length(left)} is to come out, and stop {d.length(left)} short of "
            f"the depth; most metal first: {', '.join(parts)}. {CORNERS}"
        )
    else:
        steps.append(
            f"The cut is shallow, {d.length(deepest)} at most: take it with abrasive rolls, no burr; most metal first: "
            f"{', '.join(parts)}. {CORNERS}"
        )
    steps.append(
        "Check height and width with the micrometer or the printed gauges at each station; go on only "
        "where they are short."
    )
    if plan.radius_cut is not None:
        wall = inner_wall(plan.grid.bend)
        beside = "the side walls" if wall in ("roof", "floor") else "roof and floor"
        steps.append(
            f"Bring the short side to its {d.length(plan.radius_cut)} radius with the printed gauge, "
            f"from the middle of the {wall_name(wall)} out to {beside}."
        )
    if deepest > ROLLS_ONLY_MM:
        steps.append("Blend with abrasive rolls to full depth, fading out as the table has it; leave no step.")
    filled = "" if plan.whole is None else "all of the port "
    steps.append(
        f"Fill {filled}from a burette: it should take {volume_text(plan.burette[1])}. Measure the stations again and "
        "check the sheet against this plan with --check."
    )
    return steps


def _sonic_test(plan: Plan, table: CutTable, d: Display) -> str:
    """Return where the wall is to be read before it is cut, since no reading is near."""
    hours = np.flatnonzero(table.wall_unknown.any(axis=0))
    rows = np.flatnonzero(table.wall_unknown.any(axis=1))
    deepest = np.where(table.wall_unknown, table.depth, 0.0).max(axis=0)
    clocks = ", ".join(f"{HOURS[k]:.0f}" for k in sorted(hours, key=lambda k: -deepest[k])[:CLOCKS_NAMED])
    first, last = table.stations[rows[[0, -1]]]
    return (
        f"Do not cut yet where a depth is marked ?: no wall reading within {d.length(NEAR_MM)}. Sonic-test there, "
        f"stations {d.length(first, label=False)} to {d.length(last)}, first at {clocks} o'clock, and plan again."
    )


def optimum_text(passes: int, gap: float, *, rounds: bool) -> str:
    """Return whether another cut could be smaller. rounds : a short side is cut too.

    What is least is the cost: depth squared and bending, and not metal: a cut as smooth has been 2 % less.
    Beside a short side it is least only for what the areas want after the short side is cut.
    """
    if passes == 0:
        return "the target shape, no more"
    if rounds:
        return (
            "the short side is cut first, then what the areas still want; a cut that does both at once may be smaller"
        )
    if gap < NO_BETTER:
        return "no cut that meets the target at this blend is both shallower and smoother, on average"
    return f"depth and bending together could be {gap:.1%} less at most, at this blend"


def walls_to_cut(table: CutTable) -> list[int]:
    """Return the walls with metal to come out, most first."""
    order = np.argsort(-table.wall_volume, kind="stable").tolist()
    return [k for k in order if table.wall_volume[k] > LITTLE_MM3]


def volume_text(mm3: float) -> str:
    """Return a volume in cc to two decimals."""
    return f"{mm3 / 1000.0:.2f} cc"
