"""The cut sheet: what to take where, what the micrometer and the burette should read, in which order.

A Planned comes in; text for the bench goes out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from portgeo.core.plane import FloatArray
from portgeo.core.section import WALLS, wall_name
from portgeo.core.units import Display, clock_text
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.reshape.cut_table import BLENDED_MM, HOURS, CutTable
from portgeo.reshape.limits import NEAR_MM
from portgeo.reshape.plan import CAUTIONS, Plan
from portgeo.reshape.shortside import ShortSideCut
from portgeo.reshape.stops import NOTHING_MM, OVER, SHORT, stop_notice
from portgeo.reshape.target import wanted_stations
from portgeo.results.planned import BetweenKept, Planned, deepest_place
from portgeo.results.work import volume_text, walls_to_cut

WALLS_UNKNOWN = "not known: the wall was not measured"
FILLED_WHOLE = ", all of the port filled"  # of what a burette holds, where one passage is cut
BLEND, UNREAD = "blend", "?"  # instead of a depth too small to grind to; after one where the wall is not known
LEGEND = 100  # letters: as wide as a table of depths
SHOWN_MM = NOTHING_MM  # less shows as a dot
STOPPED = ("area_missed", "short_side_missed")  # notices of what a limit kept from being cut
LEAST_MISSED = 0.05  # percent of area: less shows as 0.0
FAR_BLENDS = 2.0  # blends past a station that asks for metal: farther than one thinks a cut goes
CLEARLY_MOST = 0.3  # of the metal: with less of it on the first wall, four walls share it evenly


def plan_text(planned: Planned, title: str, metal: str) -> str:
    """Return a plan as text: the answer first, what to look at, the table, the order of work, cautions."""
    table, d, record = planned.rows, planned.display, planned.to_dict()
    lines = [title]
    for name, text in answer_lines(planned, metal):
        lines += textwrap.wrap(text, WIDTH, initial_indent=f"  {name:<12}", subsequent_indent=" " * 14)
    lines.append("")
    lines += notices_lines([notice for notice in planned.notices if notice.code not in STOPPED], d)
    stopped = stops_texts(record["areas"], record["limits"], record["warnings"], d)
    lines += ["what limits the cut"] if stopped else []
    for text in stopped:
        lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    lines += ["", "order of work"] if stopped else ["order of work"]
    for k, step in enumerate(planned.order_of_work, start=1):
        lines += textwrap.wrap(step, WIDTH, initial_indent=f"  {k}. ", subsequent_indent="     ")
    heading, beside = "cut depth, square to the wall", [each.name for each in planned.metal_between]
    lines += ["", *depth_lines(table.stations, table.depth, d, heading, table.wall_unknown, beside)]
    lines += ["", *_mic_lines(table, d), "", *caution_lines()]
    return "\n".join(lines)


def answer_lines(planned: Planned, metal: str) -> list[tuple[str, str]]:
    """Return what a plan comes to, a name and a sentence each. metal : what the grams are of."""
    plan, table, d = planned.computed, planned.rows, planned.display
    lines = [("take out", f"{volume_text(plan.removed)}, {planned.removed_g:.1f} g of {metal}")]
    if plan.added > 1.0:
        lines.append(("put back", f"{volume_text(plan.added)} of epoxy"))
    lines.append(("deepest", _deepest(plan, d)))
    if walls_to_cut(table):
        lines.append(("reaches", _reaches(plan, table, d)))
    if plan.target.areas or plan.solution is not None:
        lines.append(("areas", _areas(plan, d)))
    if plan.short_side is not None and plan.target.short_side is not None:
        lines.append(("short side", _short_side(plan, plan.short_side, d.length(plan.target.short_side.radius), d)))
    now, finished = (volume_text(volume) for volume in plan.burette)
    lines += [
        ("wall left", walls_left_text(planned.to_dict(), d)),
        *(("beside", between_text(between, d)) for between in planned.metal_between),
        ("burette", f"{now} now, {finished} when finished{'' if plan.whole is None else FILLED_WHOLE}"),
        ("do first", _first(plan, table, d)),
    ]
    missed = any(notice.code in STOPPED for notice in planned.notices)
    return lines if planned.optimum is None or missed else [*lines, ("smallest", planned.optimum.says)]


def between_text(between: BetweenKept, d: Display) -> str:
    """Return the least metal to another passage, now and when this port is cut, and what is to be kept of it."""
    metal = f"{d.length(between.now_mm, label=False)} now, {d.length(between.left_mm)} when this port is cut"
    place = f"at station {d.length(between.station_mm)}, {clock_text(between.clock_hours)}"
    return f"{between.name} {metal}, {place}; {d.length(between.least_mm)} to be kept when both are cut"


def _short_side(plan: Plan, cut: ShortSideCut, wanted: str, d: Display) -> str:
    if plan.radius_cut is not None:
        doubt = "" if np.isnan(plan.radius_u) else f" ± {d.length(2.0 * plan.radius_u, label=False)}"
        return (
            f"radius {d.length(plan.radius_cut, label=False)}{doubt} {d.unit} of {wanted} wanted; cut for it from "
            f"{d.length(cut.start)} to {d.length(cut.end)} (portgeo measure shows where the port turns)"
        )
    if cut.is_short:
        return f"stays as it is: nothing may be cut towards the {wanted} wanted, see below"
    return f"has the {wanted} wanted already"


def caution_lines() -> list[str]:
    lines = ["cautions"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return lines


def _deepest(plan: Plan, d: Display) -> str:
    if plan.depth.max() <= 0.0:
        return "no metal to take"
    row, column = deepest_place(plan)
    return (
        f"{d.length(float(plan.depth.max()))} at station {d.length(plan.grid.stations[row])}, "
        f"{clock_text(float(plan.grid.clock[row, column]))}"
    )


def _reaches(plan: Plan, table: CutTable, d: Display) -> str:
    """Return between which stations metal comes out, and what holds it closer where that is far."""
    first, last = float(np.nanmin(table.wall_stretch)), float(np.nanmax(table.wall_stretch))
    reach = f"station {d.length(first, label=False)} to {d.length(last)}"
    asked, far = wanted_stations(plan.target), FAR_BLENDS * plan.target.blend
    if len(asked) and plan.short_side is None and (first < asked[0] - far or last > asked[-1] + far):
        reach += ", as it fades out; a smaller blend, or cut_from and cut_to, hold it closer"
    return reach


def stops_texts(
    areas: Sequence[Mapping[str, Any]],
    limits: Sequence[Mapping[str, Any]],
    warnings: Sequence[Mapping[str, str]],
    d: Display,
) -> list[str]:
    """Return what stops a plan's cut, out of its record: what is missed and why, then the limits it only touches."""
    texts = [warning["message"].rstrip(".") for warning in warnings if warning["code"] in STOPPED]
    met = bool(areas) and all(area["missed_percent"] < LEAST_MISSED for area in areas)
    for stop in limits:
        if stop["area_missed_percent"] < LEAST_MISSED:
            stopped = stop_notice(stop["name"], stop["depth_mm"], not stop["measured"]).message(d)
            place = "all round" if stop["all_round"] else clock_text(stop["clock_hours"])
            text = f"station {d.length(stop['station_mm'])}, {place}: {stopped}"
            texts.append(f"{text}; the area targets are met anyway" if met else text)
    return texts


def walls_left_text(record: Mapping[str, Any], d: Display) -> str:
    """Return the minimum wall that a plan's record leaves where it was read, and how much is cut where it was not."""
    walls, unknown = record["walls_left"], record["wall_unknown_percent"]
    if not walls:
        return WALLS_UNKNOWN
    least = walls[0]
    place = f"station {d.length(least['station_mm'])}, {clock_text(least['clock_hours'])}"
    of = f"the thinnest of {len(walls)} readings; unmeasured between" if len(walls) > 1 else "at the one reading"
    text = f"{d.length(least['left_mm'])} at {place}, {of}"
    return (
        f"{text}; {max(unknown, 1.0):.0f}% of the cut is where no reading is near, marked {UNREAD}" if unknown else text
    )


def _areas(plan: Plan, d: Display) -> str:
    asked = plan.target.areas
    if not asked:
        return "no target"
    short = np.nan_to_num(1.0 - plan.area_after / plan.wanted, nan=0.0)
    stations = plan.grid.stations
    over = np.nan_to_num(np.minimum(plan.area_before, plan.area_after) / plan.wanted - 1.0, nan=0.0)
    places = [(stations >= each.start - 1e-6) & (stations <= each.end + 1e-6) for each in asked]
    met = sum(not (short[here] > SHORT).any() for here in places)
    least = f"minimum {d.area(float(plan.area_before.min()))} now, {d.area(float(plan.area_after.min()))} finished"
    every = {1: "the target", 2: "both targets"}.get(len(asked), f"all {len(asked)} targets")
    if all((over[here] > OVER).all() for here in places):
        return f"the area now is already more than {every}; {least}"
    if met == len(asked):
        return f"meets {every}; {least}"
    worst = int(np.argmax(short))
    place = f"station {d.length(stations[worst])} is {short[worst]:.1%} short"
    return f"meets {met} of {len(asked)} targets: {place}; {least}"


def _first(plan: Plan, table: CutTable, d: Display) -> str:
    """Return what to begin with, in a few words."""
    if any(stop.unmeasured and stop.short for stop in plan.stops):
        return "sonic-test the wall where no reading is near, and plan again: see below"
    walls = walls_to_cut(table)
    if not walls:
        stopped = plan.warnings or any(stop.short for stop in plan.stops)
        return "nothing: see below what limits it" if stopped else "nothing: the port is as wanted"
    first = walls[0]
    before = f"sonic-test where marked {UNREAD}, then " if table.wall_unknown.any() else ""
    if len(walls) == len(WALLS) and float(table.wall_volume[first]) < CLEARLY_MOST * plan.removed:
        return f"{before}any wall: all four share the metal evenly"
    return (
        f"{before}{wall_name(WALLS[first])}, {d.length(float(table.wall_stretch[first, 0]), label=False)} to "
        f"{d.length(float(table.wall_stretch[first, 1]))}: "
        f"{float(table.wall_volume[first]) / max(plan.removed, 1e-9):.0%} of the metal"
    )


def depth_text(depth: float, unread: bool, d: Display) -> str:
    """Return a depth as it is cut: nothing, a blend, or a figure, marked where the wall is not known there."""
    if abs(depth) < SHOWN_MM:
        return ""
    if 0.0 < depth < BLENDED_MM:
        return BLEND
    return d.length(depth, label=False) + UNREAD * unread


def blend_legend(d: Display, unread: bool, beside: Sequence[str] = ()) -> str:
    """Return what stands for a depth too small to grind to, and what marks one where the wall is not known.

    beside : what the metal to other passages is called: how thick it is follows from where they lie.
    """
    legend = f"{BLEND}: under {d.length(BLENDED_MM)}, with a roll"
    if not unread:
        return legend
    legend += f"; {UNREAD}: no wall reading within {d.length(NEAR_MM)}, sonic-test before you cut"
    return f"{legend}; without it where the {' or the '.join(beside)} is computed instead" if beside else legend


def depth_lines(
    stations: FloatArray,
    depth: FloatArray,
    d: Display,
    heading: str,
    unknown: NDArray[np.bool_] | None = None,
    beside: Sequence[str] = (),
) -> list[str]:
    """Return a table of depths (k, 12). unknown : where the wall is not known, (k, 12). beside : see blend_legend."""
    marked = np.zeros(depth.shape, dtype=bool) if unknown is None else unknown
    lines = [
        f"{heading} ({d.unit}), by station and clock; a dot is no cut",
        *textwrap.wrap(blend_legend(d, bool(marked.any()), beside), LEGEND),
        f"{'station':>8} " + "".join(f"{h:>7.0f}" for h in HOURS),
    ]
    for station, row, marks in zip(stations, depth, marked, strict=True):
        cells = [depth_text(float(v), bool(mark), d) or "." for v, mark in zip(row, marks, strict=True)]
        lines.append(f"{d.length(float(station), label=False):>8} " + "".join(f"{c:>7}" for c in cells))
    return lines


def _mic_lines(table: CutTable, d: Display) -> list[str]:
    columns = {
        "station": 8, "roof": 7, "floor": 7, "height": 8, "finished": 8, "width": 8, "finished ": 8, "area": 8,
        "finished  ": 8, "wanted": 7,
    }  # fmt: skip
    lines = [
        f"tape from the entry along roof and floor; micrometer and area, now and finished ({d.unit}, {d.area_unit})",
        " ".join(f"{name.strip():>{wide}}" for name, wide in columns.items()),
    ]
    for k, station in enumerate(table.stations):
        sizes = [*table.tape[k], *table.height[k], *table.width[k]]
        wanted = "" if np.isnan(table.wanted[k]) else d.area(float(table.wanted[k]), label=False)
        cells = [d.length(float(v), label=False) for v in (station, *sizes)]
        cells += [d.area(float(v), label=False) for v in (table.area_before[k], table.area[k])]
        lines.append(" ".join(f"{cell:>{wide}}" for cell, wide in zip((*cells, wanted), columns.values(), strict=True)))
    return lines
