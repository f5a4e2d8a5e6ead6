"""The cut sheet: what to take where, what the micrometer and the burette should read, in which order.

A Plan or a Recheck comes in; text for the bench, a table and the record for JSON go out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np

from portgeo.plane import FloatArray
from portgeo.report.notices import WIDTH, notices_lines, notices_record
from portgeo.reshape.cut_table import HOURS, CutTable, at_hours, cut_table
from portgeo.reshape.grid import WALLS
from portgeo.reshape.plan import CAUTIONS, Plan
from portgeo.reshape.recheck import Recheck, Spot
from portgeo.reshape.stops import SHORT, oclock
from portgeo.units import Display, Notice

ROUGH_LEFT_MM = 0.25  # 0.010 in: *common practice, no source*, left by the burr for the blend
SHOWN_MM = 0.0127  # half a thousandth of an inch: less shows as a dot
LITTLE_MM3 = 10.0  # a wall with less to come out is not named in the order of work


def plan_text(plan: Plan, title: str, metal: str, density: float, warnings: Sequence[Notice], display: Display) -> str:
    """Return a plan as text: the answer first, what to look at, the table, the order of work, cautions."""
    d, table = display, cut_table(plan)
    lines = [title, f"  take out    {_volume(plan.removed)}, {plan.removed / 1000 * density:.1f} g of {metal}"]
    if plan.added > 1.0:
        lines.append(f"  put back    {_volume(plan.added)} of epoxy")
    lines.append(f"  deepest     {_deepest(plan, d)}")
    lines.append(f"  areas       {_areas(plan, d)}")
    if plan.short_side is not None and plan.target.short_side is not None:
        cut = plan.short_side
        where = (
            f", cut from {d.length(cut.start)} to {d.length(cut.end)}" if np.isfinite(cut.start) else ", nothing to cut"
        )
        lines.append(
            f"  short side  radius {d.length(cut.radius)} of {d.length(plan.target.short_side.radius)} wanted{where}"
        )
    after = plan.volume_before + plan.removed - plan.added
    lines.append(f"  burette     {_volume(plan.volume_before)} today, {_volume(after)} when it is right")
    lines += [f"  smallest    {_optimum(plan)}", ""]
    lines += notices_lines(warnings, d)
    lines += [*_depth_lines(table.stations, table.depth, d, "take, square to the wall"), ""]
    lines += [*_mic_lines(table, d), "", "order of work"]
    for k, step in enumerate(order_of_work(plan, table, d), start=1):
        lines += textwrap.wrap(step, WIDTH, initial_indent=f"  {k}. ", subsequent_indent="     ")
    lines += ["", "cautions"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines)


def _volume(mm3: float) -> str:
    return f"{mm3 / 1000.0:.2f} cc"


def _deepest(plan: Plan, d: Display) -> str:
    row, column = divmod(int(np.argmax(plan.depth)), plan.depth.shape[1])
    if plan.depth[row, column] <= 0.0:
        return "no metal to take"
    return (
        f"{d.length(plan.depth[row, column])} at station {d.length(plan.grid.stations[row])}, "
        f"{oclock(float(plan.grid.clock[row, column]))}"
    )


def _areas(plan: Plan, d: Display) -> str:
    asked = ~np.isnan(plan.wanted)
    if not asked.any():
        return "none asked for"
    short = plan.wanted[asked] - plan.area_after[asked] > SHORT * plan.wanted[asked]
    least = int(np.argmin(plan.area_after))
    told = f"least {d.area(float(plan.area_before.min()))} today, {d.area(float(plan.area_after[least]))} then"
    return (
        f"{'all' if not short.any() else f'{int((~short).sum())} of {len(short)}'} stations asked for are met; {told}"
    )


def _optimum(plan: Plan) -> str:
    if plan.solution.passes == 0:
        return "the shape asked for, and no more"
    return (
        f"no cut that meets these areas is smaller and as smooth, to {max(plan.solution.gap, 1e-6):.1g} "
        f"of its cost ({plan.solution.passes} passes)"
    )


def _depth_lines(stations: FloatArray, depth: FloatArray, d: Display, heading: str) -> list[str]:
    lines = [f"{heading} ({d.unit}), by station and clock", f"{'station':>8} " + "".join(f"{h:>7.0f}" for h in HOURS)]
    for station, row in zip(stations, depth, strict=True):
        cells = [d.length(float(v), label=False) if abs(v) >= SHOWN_MM else "." for v in row]
        lines.append(f"{d.length(float(station), label=False):>8} " + "".join(f"{c:>7}" for c in cells))
    return lines


def _mic_lines(table: CutTable, d: Display) -> list[str]:
    lines = [
        f"micrometer and area, today and when it is right ({d.unit}, {d.area_unit})",
        f"{'station':>8} {'height':>8} {'then':>8} {'width':>8} {'then':>8} {'area':>8} {'then':>8} {'wanted':>8}",
    ]
    for k, station in enumerate(table.stations):
        sizes = [*table.height[k], *table.width[k]]
        wanted = "" if np.isnan(table.wanted[k]) else d.area(float(table.wanted[k]), label=False)
        cells = [d.length(float(v), label=False) for v in (station, *sizes)]
        cells += [d.area(float(v), label=False) for v in (table.area_before[k], table.area[k])]
        lines.append(" ".join(f"{cell:>8}" for cell in (*cells, wanted)))
    return lines


def order_of_work(plan: Plan, table: CutTable, d: Display) -> list[str]:
    """Return the steps of the work, rough to blend. *Common practice, no source.*"""
    steps = ["Coat the wall with layout dye and scribe the stations of the table, measured from the entry."]
    walls = [k for k in np.argsort(-table.wall_volume, kind="stable") if table.wall_volume[k] > LITTLE_MM3]
    if walls:
        parts = [
            f"{WALLS[k]} {_volume(float(table.wall_volume[k]))} "
            f"({d.length(float(table.wall_stretch[k, 0]), label=False)} to {d.length(float(table.wall_stretch[k, 1]))})"
            for k in walls
        ]
        steps.append(
            f"Rough with a burr to within {d.length(ROUGH_LEFT_MM)} of the depths, most metal first: "
            f"{', '.join(parts)}."
        )
    steps.append(
        "Check height and width with the micrometer or the printed gauges at each station; go on only "
        "where they are short."
    )
    if plan.short_side is not None and plan.short_side.depth.any():
        steps.append(
            f"Bring the short side to its {d.length(plan.short_side.radius)} radius with the printed gauge, "
            "from the middle of the floor out to the side walls."
        )
    steps.append(
        f"Blend with abrasive rolls to full depth, fading out over about {d.length(plan.target.blend)}; leave no step."
    )
    steps.append("Fill from a burette and measure again; check against this plan with --check.")
    return steps


def plan_table(plan: Plan, display: Display) -> tuple[list[str], list[list[float]]]:
    """Return the header and rows of the cut sheet, in the user's unit."""
    table, u, length, area = cut_table(plan), display.unit, display.of_length, display.of_area
    header = [f"station_{u}", *(f"take_{h:.0f}_oclock_{u}" for h in HOURS)]
    header += [f"{name}_{when}_{u}" for name in ("height", "width") for when in ("today", "then")]
    header += [f"area_today_{u}2", f"area_then_{u}2", f"area_wanted_{u}2"]
    rows = [
        [
            *(length(float(v)) for v in (table.stations[k], *table.depth[k], *table.height[k], *table.width[k])),
            *(area(float(v[k])) for v in (table.area_before, table.area, table.wanted)),
        ]
        for k in range(len(table.stations))
    ]
    return header, rows


def plan_record(
    plan: Plan,
    source: dict[str, Any],
    target: dict[str, Any],
    density: float,
    warnings: Sequence[Notice],
    display: Display,
) -> dict[str, Any]:
    """Return the full result of `reshape`."""
    grid, table, cut = plan.grid, cut_table(plan), plan.short_side
    row, column = divmod(int(np.argmax(plan.depth)), plan.depth.shape[1])
    asked = np.flatnonzero(~np.isnan(plan.wanted))
    after = plan.volume_before + plan.removed - plan.added
    return {
        "schema": "portgeo.reshape/1",
        "source": source,
        "target": target,
        "warnings": notices_record(warnings, display),
        "removed_cc": plan.removed / 1000.0,
        "removed_g": plan.removed / 1000.0 * density,
        "density_g_cc": density,
        "added_cc": plan.added / 1000.0,
        "volume_before_cc": plan.volume_before / 1000.0,
        "volume_after_cc": after / 1000.0,
        "deepest": {
            "depth_mm": plan.depth[row, column],
            "station_mm": grid.stations[row],
            "clock_hours": grid.clock[row, column],
        },
        "areas": [
            {
                "station_mm": grid.stations[k],
                "before_mm2": plan.area_before[k],
                "wanted_mm2": plan.wanted[k],
                "after_mm2": plan.area_after[k],
                "missed_percent": max(100.0 * (1.0 - plan.area_after[k] / plan.wanted[k]), 0.0),
            }
            for k in asked
        ],
        "short_side": None
        if cut is None or plan.target.short_side is None
        else {
            "wanted_radius_mm": plan.target.short_side.radius,
            "radius_mm": cut.radius,
            "station_from_mm": cut.start,
            "station_to_mm": cut.end,
        },
        "limits": [
            {
                "name": stop.limit,
                "station_mm": stop.station,
                "clock_hours": stop.clock,
                "depth_mm": stop.depth,
                "area_missed_percent": 100.0 * stop.short,
                "costs_percent": 100.0 * stop.gain,
            }
            for stop in plan.stops
        ],
        "clock_hours": HOURS,
        "stations": [
            {
                "station_mm": table.stations[k],
                "take_mm": table.depth[k],
                "height_before_mm": table.height[k, 0],
                "height_after_mm": table.height[k, 1],
                "width_before_mm": table.width[k, 0],
                "width_after_mm": table.width[k, 1],
                "area_before_mm2": table.area_before[k],
                "area_after_mm2": table.area[k],
                "area_wanted_mm2": table.wanted[k],
            }
            for k in range(len(table.stations))
        ],
        "walls": {wall: {"removed_cc": table.wall_volume[k] / 1000.0} for k, wall in enumerate(WALLS)},
        "optimum": {
            "cost_mm2": plan.solution.cost,
            "gap_share": plan.solution.gap,
            "passes": plan.solution.passes,
            "nodes": plan.solution.nodes,
        },
        "order_of_work": order_of_work(plan, table, display),
        "cautions": list(CAUTIONS),
    }


def recheck_text(found: Recheck, title: str, warnings: Sequence[Notice], display: Display) -> str:
    """Return the state of a cut as text: what is left, what is too deep, what was missed, the new table."""
    d, grid = display, found.plan.grid
    done = _volume(max(found.plan.removed - found.left_volume, 0.0))
    lines = [
        title,
        f"  left        {_volume(found.left_volume)} of {_volume(found.plan.removed)} planned; {done} is done",
        f"  most left   {_spot(_worst(found, found.left), d)}",
        f"  too deep    {_spots(found.too_deep, d)}",
        f"  missed      {_spots(found.missed, d)}",
        f"  past limit  {_spots(found.past_limit, d)}",
        f"  within {d.length(found.tolerance)} counts as done",
        "",
    ]
    lines += notices_lines(warnings, d)
    rows = np.searchsorted(grid.stations, cut_table(found.plan).stations - 1e-9)
    depth = at_hours(grid, found.left)[rows]
    lines += _depth_lines(grid.stations[rows], depth, d, "left to take, minus is too deep,")
    lines += ["", "cautions"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines)


def _worst(found: Recheck, values: FloatArray) -> Spot | None:
    row, column = divmod(int(np.argmax(values)), values.shape[1])
    if values[row, column] <= found.tolerance:
        return None
    grid = found.plan.grid
    return Spot(float(grid.stations[row]), float(grid.clock[row, column]), float(values[row, column]))


def _spot(spot: Spot | None, d: Display) -> str:
    if spot is None:
        return "none"
    return f"{d.length(spot.depth)} at station {d.length(spot.station)}, {oclock(spot.clock)}"


def _spots(spots: Sequence[Spot], d: Display) -> str:
    if not spots:
        return "none"
    more = f", and {len(spots) - 1} more {'place' if len(spots) == 2 else 'places'}" if len(spots) > 1 else ""
    return _spot(spots[0], d) + more


def recheck_table(found: Recheck, display: Display) -> tuple[list[str], list[list[float]]]:
    """Return the header and rows of what is left to take, in the user's unit."""
    grid, u = found.plan.grid, display.unit
    rows = np.searchsorted(grid.stations, cut_table(found.plan).stations - 1e-9)
    depth = at_hours(grid, found.left)[rows]
    header = [f"station_{u}", *(f"left_{h:.0f}_oclock_{u}" for h in HOURS), f"area_now_{u}2", f"area_then_{u}2"]
    return header, [
        [
            *(display.of_length(float(v)) for v in (grid.stations[row], *depth[k])),
            display.of_area(float(found.area[row])),
            display.of_area(float(found.plan.area_after[row])),
        ]
        for k, row in enumerate(rows)
    ]


def recheck_record(
    found: Recheck, source: dict[str, Any], target: dict[str, Any], warnings: Sequence[Notice], display: Display
) -> dict[str, Any]:
    """Return the full result of `reshape --check`."""
    grid = found.plan.grid
    header, rows = recheck_table(found, Display("mm"))
    return {
        "schema": "portgeo.reshape/1",
        "source": source,
        "target": target,
        "warnings": notices_record(warnings, display),
        "planned_cc": found.plan.removed / 1000.0,
        "left_cc": found.left_volume / 1000.0,
        "tolerance_mm": found.tolerance,
        "most_left_mm": float(found.left.max()),
        **{
            name: [{"station_mm": s.station, "clock_hours": s.clock, "depth_mm": s.depth} for s in spots]
            for name, spots in (
                ("too_deep", found.too_deep),
                ("missed", found.missed),
                ("past_limit", found.past_limit),
            )
        },
        "length_mm": float(grid.stations[-1] - grid.stations[0]),
        "stations": [dict(zip(header, row, strict=True)) for row in rows],
        "cautions": list(CAUTIONS),
    }
