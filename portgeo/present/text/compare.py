"""A comparison as text for the bench: the answer first, then what to look at, then the stations.

A Comparison comes in; lines of text go out, in the user's unit.
"""

from __future__ import annotations

import math

import numpy as np

from portgeo.comparing.comparison import Comparison
from portgeo.comparing.depth_map import Spot
from portgeo.core.units import Display, clock_text
from portgeo.measuring.sides import like_radii
from portgeo.present.text.notices import notices_lines
from portgeo.results.changed import Changed

MOST_SPOTS = 6  # places listed; the JSON has all
LEAST_CC = 0.01  # the last decimal that is shown: less metal cannot be told


def comparison_text(changed: Changed, title: str, metal: str) -> str:
    """Return a comparison as text. Each ± is twice the standard uncertainty: it holds 19 times in 20."""
    found = changed.computed
    d, one, other = found.before.display, found.before_state, found.after_state
    error, added_error = found.removed_u / 1000.0, found.added_u / 1000.0
    removed, added = metal_text(found.removed / 1000.0, error), metal_text(found.added / 1000.0, added_error)
    grams = f"{changed.removed_g:.1f} g of {metal} at {changed.density_g_cc:g} g/cc (estimate)"
    none = "none detected, {}".format
    lines = [
        title,
        f"  metal removed  {f'{removed}, {grams}' if removed else none(least_text(error))}",
        f"  deepest cut    {_deepest(found, d, told=bool(removed))}",
        f"  min area       {d.area(one.least_area, label=False)} -> {d.area(other.least_area)}, at station "
        f"{d.length(one.least_station, label=False)} -> {d.length(other.least_station)}",
        f"  short side     {_radius(found, d)}",
        f"  volume         {found.before_volume / 1000.0:.2f} -> {found.after_volume / 1000.0:.2f} cc, net "
        f"{found.net / 1000.0:+.2f} ± {2 * found.net_u / 1000.0:.2f}",
        f"  metal added    {added or none(least_text(added_error))}",
        *_in_neither(found.below_noise / 1000.0),
        f"  lined up       {_alignment(found, d)}",
        "",
    ]
    spots = [spot_text(spot, d) for spot in found.spots[:MOST_SPOTS]]
    if len(found.spots) > MOST_SPOTS:
        spots.append(f"{len(found.spots) - MOST_SPOTS} more such places are in the JSON")
    lines += notices_lines(found.warnings, d, spots)
    table = _table(found, d, told=bool(removed or added))
    lines += [*_walls(found, d), "", *table, ""]
    lines.append("Depths are positive where metal was removed. Stations run along BEFORE's centerline from the entry.")
    lines.append("Each corner is split between its two walls.")
    lines.append("In the table of stations a wall is read at its middle: 12, 3, 6 and 9 o'clock.")
    if any("(" in line for line in table[2:]):
        lines.append("A depth in brackets is within the scatter of the two stages: no cut is detected there.")
    if found.before.readings and found.after.readings:
        lines.append("Between the rows of a sheet the wall is a curve, not a reading: beside a row that changed it may")
        lines.append("swing a few thousandths the other way. Take a reading there to know.")
    return "\n".join(lines)


def signed(number: str) -> str:
    """Return a number's text without the minus sign of a zero."""
    return number.removeprefix("-") if number.strip("-0.") == "" else number


def spot_text(spot: Spot, d: Display) -> str:
    """Return what a spot is, where, and how large."""
    place = f"at station {d.length(spot.station)}, {clock_text(spot.clock)}"
    if spot.kind == "missed":
        deeper = d.length(spot.height)
        return f"missed: {d.area(spot.size)} left as it was {place}, the wall round it {deeper} deeper"
    if spot.kind == "step":
        return f"step: {d.length(spot.height)} high over {d.length(spot.size)} of edge, worst {place}"
    return f"ridge: {d.length(spot.height)} high on {d.area(spot.size)}, highest {place}"


def metal_text(volume: float, error: float) -> str:
    """Return how much metal went or came (cc), nothing where it is within twice the error of such a volume."""
    return f"{volume:.2f} ± {2.0 * error:.2f} cc" if volume > max(2.0 * error, LEAST_CC) else ""


def least_text(error: float) -> str:
    """Return under how much (cc) metal is not detected."""
    return f"limit {max(2.0 * error, LEAST_CC):.2f} cc"


def wall_removed(removed: float, error: float) -> float:
    """Return what came off one wall (cc): less than nothing, by less than the error of such a volume, is nothing."""
    return removed if removed < -2.0 * error else max(removed, 0.0)


def _in_neither(below_noise: float) -> list[str]:
    """Return what (cc) the net has beyond metal removed and added; nothing where it rounds to none."""
    size = round(abs(below_noise), 2)
    if size == 0.0:
        return []
    more = "more" if below_noise > 0.0 else "less"
    return [
        f"  in neither     {size:.2f} cc {more} room, by wall that moved too little to be called cut or filled: only "
        "the net has it"
    ]


def _deepest(found: Comparison, d: Display, *, told: bool) -> str:
    """Return the deepest cut and where it is: nothing where no metal is told, however deep the map scatters."""
    depth, sure, rows = found.depth, 2.0 * found.depth_u, found.rows
    if not told:
        scatter = float(np.nanmax(np.abs([rows.roof, rows.floor, rows.left, rows.right])))
        return f"none detected, limit {d.length(max(sure, depth.deepest, scatter))}"
    place = f"at station {d.length(depth.deepest_station)}, {clock_text(depth.deepest_clock)}"
    return f"{d.length(depth.deepest, label=False)} ± {d.length(sure)} {place}"


def _radius(found: Comparison, d: Display) -> str:
    one, other = found.before_state.short_side, found.after_state.short_side
    if one is None or other is None:
        return "none: the port does not turn"
    name, (before, after), doubts = like_radii(one, other)
    change = after - before
    plus = "+" if change > 0.0 else ""
    told = f"change {plus}{signed(d.length(change, label=False))}"
    sure = 2.0 * math.hypot(*doubts)
    of_sheets = found.change and (found.change.radius if name == "radius" else found.change.least_radius)
    if of_sheets:
        little = ", too small to detect" if abs(change) <= 2.0 * of_sheets else ""
        radii = f"{d.length(before, label=False)} -> {d.length(after)}"
        return f"{name} {radii}, {told} ± {d.length(2.0 * of_sheets)}{little} (± of each: portgeo measure)"
    # What the readings' error makes of a sheet's radius is not worked out here, and a made mesh has none.
    if found.before.readings or found.after.readings or not d.length(sure, label=False).strip("0."):
        radii = f"{d.length(before, label=False)} -> {d.length(after)}"
        return f"{name} {radii}, {told} (± of each: portgeo measure)"
    ends = [
        f"{d.length(radius, label=False)} ± {d.length(2.0 * u, label=False)}"
        for radius, u in zip((before, after), doubts, strict=True)
    ]
    little = ", too small to detect" if abs(change) <= sure else ""
    return f"{name} {' -> '.join(ends)} {d.unit}, {told} ± {d.length(sure)}{little}"


def _alignment(found: Comparison, d: Display) -> str:
    fit = found.alignment
    if fit.method == "none":
        return "by the files' own stations"
    surface = "named surface" if fit.method == "fixed" else "wall"
    return f"on {100 * fit.fixed_share:.0f} % of the {surface}, which agrees within {d.length(fit.rms)} rms"


def _walls(found: Comparison, d: Display) -> list[str]:
    lines = [f"{'wall':>12} {'mean depth':>16} {'deepest':>16} {'removed cc':>13}"]
    for name, wall in found.walls.items():
        removed = wall_removed(wall.removed / 1000.0, wall.removed_u / 1000.0)
        mean, deepest = (
            f"{signed(d.length(depth, label=False))} ± {d.length(2.0 * u, label=False)}"
            for depth, u in ((wall.mean, wall.mean_u), (wall.deepest, wall.deepest_u))
        )
        lines.append(
            f"{name.replace('_', ' '):>12} {mean:>16} {deepest:>16} "
            f"{signed(f'{removed:.2f}') + f' ± {2.0 * wall.removed_u / 1000.0:.2f}':>13}"
        )
    return lines


def _depth(depth: float, u: float, d: Display, *, told: bool) -> str:
    """Return a depth, in brackets where it is within its ± or where no metal is told at all."""
    shown = signed(d.length(depth, label=False))
    return shown if told and abs(depth) >= 2.0 * u else f"({shown})"


def _table(found: Comparison, d: Display, *, told: bool) -> list[str]:
    rows, unit, area = found.rows, d.unit, d.area_unit
    names = ("station", "before", "after", "change", "%", "roof", "floor", "left", "right")
    units = (unit, area, area, area, "", unit, unit, unit, unit)
    lines = [" ".join(f"{text:>8}" for text in line) for line in (names, units)]
    for k in range(len(rows.stations)):
        cells = [
            d.length(rows.stations[k], label=False),
            d.area(rows.before[k], label=False),
            d.area(rows.after[k], label=False),
            signed(d.area(rows.change[k], label=False)),
            signed(f"{100.0 * rows.change[k] / rows.before[k]:.1f}"),
            *(
                _depth(values[k], found.row_depth_u[k, wall], d, told=told)
                for wall, values in enumerate((rows.roof, rows.floor, rows.left, rows.right))
            ),
        ]
        lines.append(" ".join(f"{cell:>8}" for cell in cells))
    return lines
