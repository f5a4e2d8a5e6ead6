"""The cut sheet: what to take where, what the micrometer and the burette should read, in which order.

A Plan comes in; text for the bench, a table and the record for JSON go out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.section import WALLS, wall_name
from portgeo.core.units import Display, clock_text
from portgeo.measuring.bends import inner_wall
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.reshape.cut_table import HOURS, CutTable, cut_table
from portgeo.reshape.grid import most_place
from portgeo.reshape.plan import CAUTIONS, Plan
from portgeo.reshape.stops import NOTHING_MM, OVER, SHORT, stop_notice
from portgeo.results.notices import notices_record

ROUGH_LEFT_MM = 0.25  # 0.010 in: *common practice, no source*, left by the burr for the blend
ROUGH_SHARE = 1.0 / 3.0  # of the deepest cut, where that is less: a shallow cut is roughed closer
ROLLS_ONLY_MM = 0.25  # 0.010 in: *common practice, no source*, a cut that needs no burr
NO_BETTER = 1e-3  # of the cost: what no tool could tell
SHOWN_MM = NOTHING_MM  # less shows as a dot
STOPPED = ("area_missed", "short_side_missed")  # notices of what a limit kept from being cut
LEAST_MISSED = 0.05  # percent of area: less shows as 0.0
CORNERS = "A wall reaches halfway round to the next, so the corners are shared."
CLEARLY_MOST = 0.3  # of the metal: with less of it on the first wall, four walls share it evenly
LITTLE_MM3 = 10.0  # a wall with less to come out is not named in the order of work


def plan_text(plan: Plan, title: str, metal: str, density: float, warnings: Sequence[Notice], display: Display) -> str:
    """Return a plan as text: the answer first, what to look at, the table, the order of work, cautions."""
    d, table = display, cut_table(plan, display.unit)
    lines = [title, f"  take out    {volume_text(plan.removed)}, {plan.removed / 1000 * density:.1f} g of {metal}"]
    if plan.added > 1.0:
        lines.append(f"  put back    {volume_text(plan.added)} of epoxy")
    lines.append(f"  deepest     {_deepest(plan, d)}")
    lines += _head("areas", _areas(plan, d))
    if plan.short_side is not None and plan.target.short_side is not None:
        cut = plan.short_side
        wanted = d.length(plan.target.short_side.radius)
        if plan.radius_cut is not None:
            told = (
                f"radius {d.length(plan.radius_cut)} of {wanted} wanted; cut for it from {d.length(cut.start)} to "
                f"{d.length(cut.end)} (where the port turns, portgeo measure tells)"
            )
        elif cut.is_short:
            told = f"stays as it is: nothing may be cut towards the {wanted} wanted, see below"
        else:
            told = f"has the {wanted} wanted already"
        lines += _head("short side", told)
    lines += _head("wall left", walls_left_text(_walls_left(plan), d))
    after = plan.volume_before + plan.removed - plan.added
    lines.append(f"  burette     {volume_text(plan.volume_before)} today, {volume_text(after)} when it is right")
    lines += [f"  do first    {_first(plan, table, d)}", f"  smallest    {_optimum(plan)}", ""]
    lines += notices_lines([notice for notice in warnings if notice.code not in STOPPED], d)
    stopped = stops_texts(_areas_record(plan), _limits_record(plan), notices_record(warnings, d), d)
    lines += ["what stops the cut"] if stopped else []
    for text in stopped:
        lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    lines += ["", "order of work"] if stopped else ["order of work"]
    for k, step in enumerate(order_of_work(plan, table, d), start=1):
        lines += textwrap.wrap(step, WIDTH, initial_indent=f"  {k}. ", subsequent_indent="     ")
    lines += ["", *depth_lines(table.stations, table.depth, d, "take, square to the wall")]
    lines += ["", *_mic_lines(table, d), "", *caution_lines()]
    return "\n".join(lines)


def _head(name: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"  {name:<12}", subsequent_indent=" " * 14)


def caution_lines() -> list[str]:
    lines = ["cautions"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return lines


def volume_text(mm3: float) -> str:
    return f"{mm3 / 1000.0:.2f} cc"


def _deepest(plan: Plan, d: Display) -> str:
    if plan.depth.max() <= 0.0:
        return "no metal to take"
    row, column = _deepest_place(plan)
    return (
        f"{d.length(float(plan.depth.max()))} at station {d.length(plan.grid.stations[row])}, "
        f"{clock_text(float(plan.grid.clock[row, column]))}"
    )


def _deepest_place(plan: Plan) -> tuple[int, int]:
    return most_place(plan.grid, plan.depth, ~np.isnan(plan.wanted))


def stops_texts(
    areas: Sequence[Mapping[str, Any]],
    limits: Sequence[Mapping[str, Any]],
    warnings: Sequence[Mapping[str, str]],
    d: Display,
) -> list[str]:
    """Return what stops a plan's cut, out of its record: what is missed and why, then the limits it only touches."""
    found = [warning["message"].rstrip(".") for warning in warnings if warning["code"] in STOPPED]
    met = bool(areas) and all(area["missed_percent"] < LEAST_MISSED for area in areas)
    for stop in limits:
        if stop["area_missed_percent"] < LEAST_MISSED:
            stopped = stop_notice(stop["name"], stop["depth_mm"], not stop["measured"]).message(d)
            place = "all round" if stop["all_round"] else clock_text(stop["clock_hours"])
            text = f"station {d.length(stop['station_mm'])}, {place}: {stopped}"
            found.append(f"{text}; the areas asked for are met all the same" if met else text)
    return found


def walls_left_text(walls: Sequence[dict[str, Any]], d: Display) -> str:
    """Return the least wall that is left where it was read, the record's first, or that nobody read it."""
    if not walls:
        return "not known: no reading of the wall is given (wall_readings under [limits])"
    least = walls[0]
    place = f"station {d.length(least['station_mm'])}, {clock_text(least['clock_hours'])}"
    of = f"the least of {len(walls)} readings; between them nobody knows" if len(walls) > 1 else "at the one reading"
    return f"{d.length(least['left_mm'])} at {place}, {of}"


def _walls_left(plan: Plan) -> list[dict[str, Any]]:
    return [
        {
            "station_mm": wall.reading.station,
            "clock_hours": wall.reading.clock,
            "read_mm": wall.reading.thickness,
            "left_mm": wall.left,
        }
        for wall in plan.walls_left
    ]


def _areas(plan: Plan, d: Display) -> str:
    asked = plan.target.areas
    if not asked:
        return "none asked for"
    short = np.nan_to_num(1.0 - plan.area_after / plan.wanted, nan=0.0)
    stations = plan.grid.stations
    over = np.nan_to_num(np.minimum(plan.area_before, plan.area_after) / plan.wanted - 1.0, nan=0.0)
    places = [(stations >= each.start - 1e-6) & (stations <= each.end + 1e-6) for each in asked]
    met = sum(not (short[here] > SHORT).any() for here in places)
    told = f"least {d.area(float(plan.area_before.min()))} today, {d.area(float(plan.area_after.min()))} then"
    every = {1: "the one", 2: "both"}.get(len(asked), f"all {len(asked)}")
    if all((over[here] > OVER).all() for here in places):
        return f"today's area is already more than {every} asked for; {told}"
    if met == len(asked):
        return f"{every} asked for will be met; {told}"
    worst = int(np.argmax(short))
    place = f"station {d.length(stations[worst])} is {short[worst]:.1%} short"
    return f"{met} of {len(asked)} asked for will be met, {place}; {told}"


def _first(plan: Plan, table: CutTable, d: Display) -> str:
    """Return what to begin with, in a few words."""
    if any(stop.unmeasured and stop.short for stop in plan.stops):
        return "sonic-test the wall where no reading is near, and plan again: see below"
    walls = _walls_to_cut(table)
    if not walls:
        stopped = plan.warnings or any(stop.short for stop in plan.stops)
        return "nothing: see below what stops it" if stopped else "nothing: the port is as wanted"
    first = walls[0]
    if len(walls) == len(WALLS) and float(table.wall_volume[first]) < CLEARLY_MOST * plan.removed:
        return "any wall: all four share the metal evenly"
    return (
        f"{wall_name(WALLS[first])}, {d.length(float(table.wall_stretch[first, 0]), label=False)} to "
        f"{d.length(float(table.wall_stretch[first, 1]))}: "
        f"{float(table.wall_volume[first]) / max(plan.removed, 1e-9):.0%} of the metal"
    )


def _walls_to_cut(table: CutTable) -> list[int]:
    """Return the walls with metal to come out, most first."""
    order = np.argsort(-table.wall_volume, kind="stable").tolist()
    return [k for k in order if table.wall_volume[k] > LITTLE_MM3]


def _optimum(plan: Plan) -> str:
    if plan.solution.passes == 0:
        return "the shape asked for, and no more"
    if plan.solution.gap < NO_BETTER:
        return "no other cut that fades as smoothly gets there with less; nothing left to save"
    return f"another cut that fades as smoothly could save {plan.solution.gap:.1%} at most"


def depth_lines(stations: FloatArray, depth: FloatArray, d: Display, heading: str) -> list[str]:
    lines = [
        f"{heading} ({d.unit}), by station and clock; a dot is nothing",
        f"{'station':>8} " + "".join(f"{h:>7.0f}" for h in HOURS),
    ]
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
    walls = _walls_to_cut(table)
    unmeasured = sorted({(stop.station, stop.place) for stop in plan.stops if stop.unmeasured and stop.short})
    steps = []
    if unmeasured:
        station, place = unmeasured[0]
        steps.append(
            f"Sonic-test the wall round station {d.length(station)}, {place} first, add the readings to the wall "
            "sheet and plan again: as it is, nobody knows what metal there is."
        )
    if not walls:
        return [*steps, "There is no metal to take: measure again after other work, with --check."]
    steps.append("Coat the wall with layout dye and scribe the stations of the table, measured from the entry.")
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
        steps.append(
            f"Blend with abrasive rolls to full depth, fading out over about {d.length(plan.target.blend)}; "
            "leave no step."
        )
    right = volume_text(plan.volume_before + plan.removed - plan.added)
    steps.append(
        f"Fill from a burette: it should take {right}. Measure the stations again and check the sheet against this "
        "plan with --check."
    )
    return steps


def plan_table(plan: Plan, display: Display) -> tuple[list[str], list[list[float]]]:
    """Return the header and rows of the cut sheet, in the user's unit."""
    table, u = cut_table(plan, display.unit), display.unit
    length, area = display.of_length, display.of_area
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
    grid, table, cut = plan.grid, cut_table(plan, display.unit), plan.short_side
    row, column = _deepest_place(plan)
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
        "areas": _areas_record(plan),
        "short_side": None
        if cut is None or plan.target.short_side is None
        else {
            "wanted_radius_mm": plan.target.short_side.radius,
            "radius_mm": cut.radius if plan.radius_cut is None else plan.radius_cut,
            "station_from_mm": cut.start,
            "station_to_mm": cut.end,
        },
        "walls_left": _walls_left(plan),
        "limits": _limits_record(plan),
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
            "says": _optimum(plan),
            "nodes": plan.solution.nodes,
        },
        "order_of_work": order_of_work(plan, table, display),
        "cautions": list(CAUTIONS),
    }


def _areas_record(plan: Plan) -> list[dict[str, Any]]:
    return [
        {
            "station_mm": plan.grid.stations[k],
            "before_mm2": plan.area_before[k],
            "wanted_mm2": plan.wanted[k],
            "after_mm2": plan.area_after[k],
            "missed_percent": max(100.0 * (1.0 - plan.area_after[k] / plan.wanted[k]), 0.0),
        }
        for k in np.flatnonzero(~np.isnan(plan.wanted))
    ]


def _limits_record(plan: Plan) -> list[dict[str, Any]]:
    return [
        {
            "name": stop.limit,
            "station_mm": stop.station,
            "clock_hours": stop.clock,
            "depth_mm": stop.depth,
            "area_missed_percent": 100.0 * stop.short,
            "costs_percent": 100.0 * stop.gain,
            "also": [{"name": name, "costs_percent": 100.0 * cost} for name, cost in stop.also],
            "all_round": stop.all_round,
            "measured": not stop.unmeasured,
        }
        for stop in plan.stops
    ]
