"""A comparison as text for the bench: the answer first, then what to look at, then the stations.

A Comparison, of one passage or of a port that splits, comes in; lines of text go out, in the user's unit.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence

import numpy as np

from portgeo.comparing.comparison import Comparison
from portgeo.comparing.depth_map import Spot
from portgeo.comparing.register import Alignment
from portgeo.comparing.split import SplitComparison
from portgeo.core.units import Display, clock_text
from portgeo.measuring.sides import like_radii
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.present.text.split import edge_text, with_doubt
from portgeo.results.changed import Changed
from portgeo.results.changed_split import ChangedSplit, DividerChanged

MOST_SPOTS = 6  # places listed; the JSON has all
BETWEEN_ROWS = (
    "Between the rows of a sheet the wall is a curve, not a reading: beside a row that changed it may swing a few "
    "thousandths the other way. Take a reading there to know."
)
LEAST_CC = 0.01  # the last decimal that is shown: less metal cannot be detected


def comparison_text(changed: Changed, title: str, metal: str) -> str:
    """Return a comparison as text. Each ± is twice the standard uncertainty: it holds 19 times in 20."""
    comparison = changed.computed
    d = comparison.before.display
    lines = [title, *figures_lines(changed, metal), f"  lined up       {lined_up(comparison.alignment, d)}", ""]
    lines += notices_lines(comparison.warnings, d, spots_of(comparison))
    detected = _is_detected(comparison)
    table = _table(comparison, d, detected=detected)
    lines += [*_walls(comparison, d), "", *table, ""]
    lines += table_notes([table], sheets=bool(comparison.before.readings and comparison.after.readings))
    return "\n".join(lines)


def figures_lines(changed: Changed, metal: str) -> list[str]:
    """Return what changed of a passage, the metal first."""
    comparison = changed.computed
    d, before, after = comparison.before.display, comparison.before_state, comparison.after_state
    return [
        *removed_lines(comparison, changed.removed_g, changed.density_g_cc, metal),
        f"  deepest cut    {_deepest(comparison, d, detected=_is_removed(comparison))}",
        f"  min area       {d.area(before.least_area, label=False)} -> {d.area(after.least_area)}, at station "
        f"{d.length(before.least_station, label=False)} -> {d.length(after.least_station)}",
        f"  short side     {_radius(comparison, d)}",
        *volume_lines(comparison),
    ]


def removed_lines(comparison: Comparison | SplitComparison, grams: float, density: float, metal: str) -> list[str]:
    """Return how much metal was removed."""
    error = comparison.removed_u / 1000.0
    removed = metal_text(comparison.removed / 1000.0, error)
    weight = f"{grams:.1f} g of {metal} at {density:g} g/cc (estimate)"
    return [f"  metal removed  {f'{removed}, {weight}' if removed else none_detected(error)}"]


def volume_lines(comparison: Comparison | SplitComparison) -> list[str]:
    """Return how the volume changed, and what metal was added."""
    error = comparison.added_u / 1000.0
    return [
        f"  volume         {comparison.before_volume / 1000.0:.2f} -> {comparison.after_volume / 1000.0:.2f} cc, net "
        f"{comparison.net / 1000.0:+.2f} ± {2 * comparison.net_u / 1000.0:.2f}",
        f"  metal added    {metal_text(comparison.added / 1000.0, error) or none_detected(error)}",
        *_in_neither(comparison.below_noise / 1000.0),
    ]


def none_detected(error: float) -> str:
    """Return that no metal was detected, and under how much (cc) none is."""
    return f"none detected, {least_text(error)}"


def _is_removed(comparison: Comparison) -> bool:
    return bool(metal_text(comparison.removed / 1000.0, comparison.removed_u / 1000.0))


def _is_detected(comparison: Comparison) -> bool:
    """Return whether any metal was detected, taken off or put on."""
    return _is_removed(comparison) or bool(metal_text(comparison.added / 1000.0, comparison.added_u / 1000.0))


def spots_of(comparison: Comparison) -> list[str]:
    """Return what to look at, the largest first."""
    spots = [spot_text(spot, comparison.before.display) for spot in comparison.spots[:MOST_SPOTS]]
    if len(comparison.spots) > MOST_SPOTS:
        spots.append(f"{len(comparison.spots) - MOST_SPOTS} more such places are in the JSON")
    return spots


def table_notes(tables: Sequence[Sequence[str]], *, sheets: bool) -> list[str]:
    """Return how tables of stations are to be read. sheets : both states are readings."""
    lines = [
        "Depths are positive where metal was removed. Stations run along BEFORE's centerline from the entry.",
        "Each corner is split between its two walls.",
        "In the table of stations a wall is read at its middle: 12, 3, 6 and 9 o'clock.",
    ]
    if any("(" in line for table in tables for line in table[2:]):
        lines.append("A depth in brackets is within the scatter of the two stages: no cut is detected there.")
    if sheets:
        lines += textwrap.wrap(BETWEEN_ROWS, WIDTH)
    return lines


def split_comparison_text(changed: ChangedSplit, title: str, metal: str) -> str:
    """Return a comparison of a port that splits as text: the whole, its dividers, then each passage."""
    found = changed.computed
    d = found.before.display
    lines = [title, *removed_lines(found, changed.removed_g, changed.density_g_cc, metal), *volume_lines(found)]
    if abs(changed.between_cc) >= LEAST_CC:
        lines.append(f"{'':<17}{changed.between_cc:+.2f} cc of the net is at the split, in no passage")
    for divider in changed.dividers:
        lines += _divider_lines(divider, d, several=len(changed.dividers) > 1)
    lines += [f"  lined up       {lined_up(found.alignment, d)}, trunk and legs together", ""]
    lines += notices_lines(found.warnings, d)
    tables = []
    for part in changed.passages:
        own = part.changed.computed
        lines += ["", part.name, *figures_lines(part.changed, metal), ""]
        lines += notices_lines(own.warnings, d, spots_of(own))
        tables.append(_table(own, d, detected=_is_detected(own)))
        lines += [*_walls(own, d), "", *tables[-1]]
    sheets = bool(found.before.trunk.readings and found.after.trunk.readings)
    return "\n".join([*lines, "", *table_notes(tables, sheets=sheets)])


def _divider_lines(divider: DividerChanged, d: Display, *, several: bool) -> Iterator[str]:
    """Yield how a divider was set back, and its edge before and after."""
    name = f"between {' and '.join(divider.between)}, " if several else ""
    if divider.before is None or divider.after is None or divider.set_back_mm is None:
        yield f"  divider        {name}not seen in both"
        return
    yield f"  divider        {name}{set_back_text(divider.set_back_mm, divider.set_back_u_mm or 0.0, d)}"
    yield f"{'':<17}{edge_text(divider.before, d)} -> {edge_text(divider.after, d)}"
    widths = (divider.before.width_mm, divider.after.width_mm)
    if widths[0] is not None and widths[1] is not None:
        behind = d.length(divider.before.width_behind_mm)
        yield f"{'':<17}{d.length(widths[0], label=False)} -> {d.length(widths[1])} wide {behind} behind the nose"


def set_back_text(length: float, u: float, d: Display) -> str:
    """Return how far a divider's nose was set back, or forward."""
    if abs(length) <= 2.0 * u or length == 0.0:
        return f"not set back{f', limit {d.length(2.0 * u)}' if u else ''}"
    way = "set back" if length > 0.0 else "brought forward"
    return f"{way} {with_doubt(abs(length), u, d)}"


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


def _deepest(comparison: Comparison, d: Display, *, detected: bool) -> str:
    """Return the deepest cut and where it is: nothing where no metal is detected, however deep the map scatters."""
    depth, sure, rows = comparison.depth, 2.0 * comparison.depth_u, comparison.rows
    if not detected:
        scatter = float(np.nanmax(np.abs([rows.roof, rows.floor, rows.left, rows.right])))
        return f"none detected, limit {d.length(max(sure, depth.deepest, scatter))}"
    place = f"at station {d.length(depth.deepest_station)}, {clock_text(depth.deepest_clock)}"
    return f"{d.length(depth.deepest, label=False)} ± {d.length(sure)} {place}"


def _radius(comparison: Comparison, d: Display) -> str:
    one, other = comparison.before_state.short_side, comparison.after_state.short_side
    if one is None or other is None:
        return "none: the port does not turn"
    name, (before, after), doubts = like_radii(one, other)
    change = after - before
    plus = "+" if change > 0.0 else ""
    step = f"change {plus}{signed(d.length(change, label=False))}"
    sure = 2.0 * math.hypot(*doubts)
    of_sheets = comparison.change and (comparison.change.radius if name == "radius" else comparison.change.least_radius)
    if of_sheets:
        little = ", too small to detect" if abs(change) <= 2.0 * of_sheets else ""
        radii = f"{d.length(before, label=False)} -> {d.length(after)}"
        return f"{name} {radii}, {step} ± {d.length(2.0 * of_sheets)}{little} (± of each: portgeo measure)"
    # What the readings' error makes of a sheet's radius is not worked out here, and a made mesh has none.
    if comparison.before.readings or comparison.after.readings or not d.length(sure, label=False).strip("0."):
        radii = f"{d.length(before, label=False)} -> {d.length(after)}"
        return f"{name} {radii}, {step} (± of each: portgeo measure)"
    ends = [
        f"{d.length(radius, label=False)} ± {d.length(2.0 * u, label=False)}"
        for radius, u in zip((before, after), doubts, strict=True)
    ]
    little = ", too small to detect" if abs(change) <= sure else ""
    return f"{name} {' -> '.join(ends)} {d.unit}, {step} ± {d.length(sure)}{little}"


def lined_up(fit: Alignment, d: Display) -> str:
    """Return how the two were laid together."""
    if fit.method == "none":
        return "by the files' own stations"
    surface = "named surface" if fit.method == "fixed" else "wall"
    return f"on {100 * fit.fixed_share:.0f} % of the {surface}, which agrees within {d.length(fit.rms)} rms"


def _walls(comparison: Comparison, d: Display) -> list[str]:
    lines = [f"{'wall':>12} {'mean depth':>16} {'deepest':>16} {'removed cc':>13}"]
    for name, wall in comparison.walls.items():
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


def _depth(depth: float, u: float, d: Display, *, detected: bool) -> str:
    """Return a depth, in brackets where it is within its ± or where no metal is detected at all."""
    shown = signed(d.length(depth, label=False))
    return shown if detected and abs(depth) >= 2.0 * u else f"({shown})"


def _table(comparison: Comparison, d: Display, *, detected: bool) -> list[str]:
    rows, unit, area = comparison.rows, d.unit, d.area_unit
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
                _depth(values[k], comparison.row_depth_u[k, wall], d, detected=detected)
                for wall, values in enumerate((rows.roof, rows.floor, rows.left, rows.right))
            ),
        ]
        lines.append(" ".join(f"{cell:>8}" for cell in cells))
    return lines
