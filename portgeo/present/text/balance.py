"""A runner balance as text.

A Balanced comes in, with the names of its ports; text for the bench goes out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.comparing.balance import Balance
from portgeo.core.units import Display
from portgeo.present.text.compare import signed
from portgeo.present.text.notices import notices_lines
from portgeo.results.balanced import Balanced, FlowsOfSet


def balance_text(balanced: Balanced, names: Sequence[str]) -> str:
    """Return a balance as text: the odd one out first, then the runners, then the stations."""
    found, d = balanced.computed, balanced.display
    lines = [_answer(found, names, d), ""]
    least = f"least {d.area_unit}"
    head = f"{'runner':>8} {'volume cc':>10} {least:>12} {'length':>8} {'off mean':>9} {'shape':>12}"
    lines.append(head + (f" {'flow':>8} {'per area':>9}" if found.flows is not None else ""))
    for k in range(len(names)):
        line = (
            f"{k + 1:>8} {found.volumes[k] / 1000.0:>10.2f} {d.area(found.least_areas[k], label=False):>12} "
            f"{d.length(found.lengths[k], label=False):>8} {100 * found.off[k]:>8.2f}% "
            f"{'mirror of 1' if found.mirrored[k] else 'like 1':>12}"
        )
        if found.flows is not None:
            line += f" {found.flows[k]:>8.1f} {found.flows[k] / d.of_area(found.least_areas[k]):>9.2f}"
        lines.append(line)
    how = "lined up by their own stations" if found.as_measured else "lined up by their walls"
    if balanced.flows is not None:
        lines += ["", "flows", *("  " + line for line in flows_lines(balanced.flows))]
    lines += [
        "",
        f"openings against the set's mean, {how} ({d.unit}; left and up of the first runner)",
    ]
    lines.append(
        f"{'runner':>8} {'entry left':>11} {'up':>8} {'tilt deg':>9} {'exit left':>11} {'up':>8} {'tilt deg':>9}"
    )
    for k in range(len(names)):
        cells = [
            f"{signed(d.length(opening.shift[0], label=False)):>11} "
            f"{signed(d.length(opening.shift[1], label=False)):>8} "
            f"{np.degrees(opening.tilt):>9.2f}"
            for opening in (found.entries[k], found.exits[k])
        ]
        lines.append(f"{k + 1:>8} " + " ".join(cells))
    if found.gasket_shifts is not None:
        lines += [
            "",
            f"{found.gasket_end} against the gasket's hole ({d.unit}; the opening's middle, in each file's own frame)",
        ]
        lines.append(f"{'runner':>8} {'left':>11} {'up':>8} {'off':>9}")
        for k, shift in enumerate(found.gasket_shifts):
            left, up, off = (signed(d.length(v, label=False)) for v in (*shift, float(np.hypot(*shift))))
            lines.append(f"{k + 1:>8} {left:>11} {up:>8} {off:>9}")
    lines.append("")
    lines += notices_lines(balanced.notices, d)
    lines.append(f"area by station, {d.area_unit}")
    lines.append(f"{'station':>8} " + " ".join(f"{k + 1:>8}" for k in range(len(names))) + f" {'spread':>8}")
    for j, station in enumerate(found.stations):
        row = " ".join(f"{d.area(a, label=False):>8}" for a in found.areas[:, j])
        lines.append(f"{d.length(station, label=False):>8} {row} {100 * found.spread[j]:>7.2f}%")
    lines += ["", *(f"runner {k + 1}: {name}" for k, name in enumerate(names))]
    return "\n".join(lines)


def flows_lines(flows: FlowsOfSet) -> list[str]:
    """Return the flows of a set as lines: mean, spread, the odd one out."""
    found = flows.computed
    lines = [
        f"mean        {found.mean:.1f}, as the bench gave them",
        f"spread      {found.flows.min():.1f} to {found.flows.max():.1f}, {flows.spread_percent:.1f}% of the mean",
    ]
    if found.odd is None:
        return [
            *lines,
            "odd one     none stands out" if len(found.flows) > 2 else "odd one     with two there is none",
        ]
    side = "under" if found.off[found.odd] < 0.0 else "over"
    off = abs(100.0 * found.off[found.odd])
    return [*lines, f"odd one     cylinder {found.odd + 1}, {off:.1f}% {side} the mean of the others"]


def set_lines(balanced: Balanced, names: Sequence[str]) -> list[str]:
    """Return what is to be said of a set beside its tables: the odd one out, the flows, what to look at."""
    lines = [_answer(balanced.computed, names, balanced.display)]
    if balanced.flows is not None:
        lines += ["Flows: " + line for line in flows_lines(balanced.flows)]
    return [*lines, *(remark.message for remark in balanced.warnings)]


def _answer(found: Balance, names: Sequence[str], d: Display) -> str:
    spread = (
        f"areas differ by {100 * found.spread[found.worst]:.1f} % at most, at station "
        f"{d.length(found.stations[found.worst])}; volumes by {np.ptp(found.volumes) / 1000.0:.2f} cc"
    )
    if found.odd is None:
        return f"{len(names)} runners: {spread}; none stands out"
    return f"{len(names)} runners: number {found.odd + 1} is the odd one out ({names[found.odd]}); {spread}"
