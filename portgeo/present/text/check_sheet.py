"""The cut checked: what is left to take, what was missed, what went too deep, as a new cut sheet.

A Checked comes in; text for the bench goes out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.section import WALLS, wall_name
from portgeo.core.units import Display, clock_text
from portgeo.present.text.cut_sheet import caution_lines, depth_lines
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.reshape.cut_table import at_stations
from portgeo.reshape.grid import most_place
from portgeo.reshape.recheck import Recheck, Spot
from portgeo.results.checked import Checked
from portgeo.results.work import volume_text

TOO_DEEP = "cut no more there, blend the wall around it into it, and plan the rest again from the port as it is"


def check_text(checked: Checked, title: str) -> str:
    """Return the state of a cut as text: what is left, what is too deep, what was missed, the new table."""
    recheck, d, rows = checked.computed, checked.display, checked.stations
    grid, stations = recheck.plan.grid, rows.station_mm
    lines = [title]
    for name, text in check_lines(checked):
        lines += textwrap.wrap(text, WIDTH, initial_indent=f"  {name:<12}", subsequent_indent=" " * 14)
    lines.append("")
    lines += notices_lines(checked.notices, d)
    lines += [*depth_lines(stations, rows.left_mm, d, "left to take, minus where too deep"), ""]
    lines += [
        f"micrometer and area, now and finished ({d.unit}, {d.area_unit})",
        f"{'station':>8} {'height':>8} {'finished':>8} {'width':>8} {'finished':>8} {'area':>8} {'finished':>8}",
    ]
    sizes = np.column_stack([recheck.height, recheck.width])
    for station, size, area in zip(
        stations, *(at_stations(grid, v, stations) for v in (sizes, recheck.area)), strict=True
    ):
        shown = [d.length(float(v), label=False) for v in (station, *size)]
        shown += [d.area(float(v), label=False) for v in area]
        lines.append(" ".join(f"{cell:>8}" for cell in shown))
    lines += ["", *caution_lines()]
    return "\n".join(lines)


def check_lines(checked: Checked) -> list[tuple[str, str]]:
    """Return how far a cut has got, a name and a sentence each."""
    recheck, d = checked.computed, checked.display
    done = "nothing is done yet"
    if (recheck.taken > recheck.tolerance).any():
        done = f"{volume_text(max(recheck.plan.removed - recheck.left_volume, 0.0))} is done"
    lines = [
        ("left", f"{volume_text(recheck.left_volume)} of {volume_text(recheck.plan.removed)} planned; {done}"),
        ("do next", _next(recheck, d)),
        ("most left", _spot(_worst(recheck, recheck.left), d)),
        ("missed", _spots(recheck.missed, d)),
        ("too deep", _spots(recheck.too_deep, d) + (f"; {TOO_DEEP}" if recheck.too_deep else "")),
        ("past limit", _spots(recheck.past_limit, d)),
    ]
    if recheck.short_radius is not None:
        now, finished = recheck.short_radius
        lines.append(("short side", f"radius {d.length(now)} now, {d.length(finished)} once what is left is cut"))
    return [*lines, ("done means", f"within {d.length(recheck.tolerance)} of the plan")]


def _next(recheck: Recheck, d: Display) -> str:
    """Return what to do next, in a few words."""
    if recheck.past_limit:
        return f"stop at station {d.length(recheck.past_limit[0].station)} and test the wall there"
    worst = _worst(recheck, recheck.left)
    if worst is None:
        return "nothing: every place is done"
    grid = recheck.plan.grid
    wall = int(grid.wall[int(np.argmin(np.abs(grid.clock[0] - worst.clock)))])
    rows = grid.stations[(recheck.left[:, grid.wall == wall] > recheck.tolerance).any(axis=1)]
    stretch = f"{d.length(float(rows[0]), label=False)} to {d.length(float(rows[-1]))}"
    alone = "; leave the places that are too deep alone" if recheck.too_deep else ""
    return f"{wall_name(WALLS[wall])}, {stretch}{alone}"


def _worst(recheck: Recheck, values: FloatArray) -> Spot | None:
    row, column = most_place(recheck.plan.grid, values)
    if values[row, column] <= recheck.tolerance:
        return None
    grid = recheck.plan.grid
    return Spot(float(grid.stations[row]), float(grid.clock[row, column]), float(values[row, column]))


def _spot(spot: Spot | None, d: Display) -> str:
    if spot is None:
        return "none"
    return f"{d.length(spot.depth)} at station {d.length(spot.station)}, {clock_text(spot.clock)}"


def _spots(spots: Sequence[Spot], d: Display) -> str:
    if not spots:
        return "none"
    more = f", and {len(spots) - 1} more {'place' if len(spots) == 2 else 'places'}" if len(spots) > 1 else ""
    return _spot(spots[0], d) + more
