"""A runner balance as text.

A Balanced comes in, with the names of its ports; text for the bench goes out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from portgeo.comparing.balance import Balance
from portgeo.comparing.evening import EVEN
from portgeo.core.units import Display
from portgeo.present.text.compare import signed
from portgeo.present.text.notices import notices_lines
from portgeo.results.balanced import Balanced, ChoiceOfCut, FlowsOfSet

SHOWN_HOURS = (12, 3, 6, 9)
NO_CUT = "no cut that the readings can tell brings the runners nearer"
LEAST_CC = 0.1  # of a runner: less is not worth a cut by itself
CUT_TO = {
    "median": "the middle one",
    "largest_but_odd": "the largest but for the odd one",
    "largest": "the largest",
}


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
    lines += ["", *against_lines(balanced), *edge_lines(balanced), *divider_lines(balanced), *cut_lines(balanced)]
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


def against_lines(balanced: Balanced) -> list[str]:
    """Return how far each runner is off the mean of the others, with what the readings can tell."""
    d = balanced.display
    lines = [
        "against the others' mean, the odd one not counted; inside its ± it may be no difference at all",
        f"{'runner':>8} {'volume cc':>10} {'±':>6} {f'least {d.area_unit}':>12} {'±':>7} {f'length {d.unit}':>11}",
    ]
    for runner in balanced.runners:
        off = runner.off_others
        cells = [
            f"{runner.runner:>8} {signed(f'{off.volume_cc:.2f}'):>10} {2.0 * off.volume_u_cc:>6.2f}",
            f"{signed(d.area(off.least_area_mm2, label=False)):>12}",
            f"{d.area(2.0 * off.least_area_u_mm2, label=False):>7} {signed(d.length(off.length_mm, label=False)):>11}",
        ]
        lines.append(" ".join(cells))
    return lines


def edge_lines(balanced: Balanced) -> list[str]:
    """Return the radius of each entry's edge by the clock; nothing where all are square."""
    d, edges = balanced.display, [(r.runner, r.entry_edge) for r in balanced.runners]
    if not any(edge for _, edge in edges):
        return []
    lines = ["", f"radius of the entry's edge by the clock ({d.unit}; - is square or not read)"]
    lines.append(f"{'runner':>8} " + " ".join(f"{hour:>8}" for hour in SHOWN_HOURS) + f" {'±':>8} {'sharpest':>14}")
    for runner, edge in edges:
        if edge is None:
            lines.append(f"{runner:>8} " + " ".join(f"{'-':>8}" for _ in SHOWN_HOURS))
            continue
        radii = [edge.radius_mm[hour % 12] for hour in SHOWN_HOURS]
        cells = [f"{d.length(r, label=False) if np.isfinite(r) else '-':>8}" for r in radii]
        u = float(np.nanmax(edge.radius_u_mm)) if np.isfinite(edge.radius_u_mm).any() else np.nan
        doubt = d.length(2.0 * u, label=False) if np.isfinite(u) else "-"
        least = f"{d.length(edge.least_mm, label=False)} at {edge.least_clock}"
        lines.append(f"{runner:>8} {' '.join(cells)} {doubt:>8} {least:>14}")
    return lines


def divider_lines(balanced: Balanced) -> list[str]:
    """Return the widths of the dividers between neighbors; nothing where it is not known how they lie."""
    d = balanced.display
    if not balanced.dividers:
        return []
    lines = ["", f"dividers ({d.unit})"]
    lines.append(f"{'between':>8} {'at plenum':>10} {'±':>6} {'past radius':>12} {'thinnest':>9} {'at station':>11}")
    for one in balanced.dividers:
        doubt = None if one.edge_u_mm is None else 2.0 * one.edge_u_mm
        widths = [None if w is None else d.length(w, label=False) for w in (one.edge_mm, doubt, one.past_edge_mm)]
        between = f"{one.runners[0]}-{one.runners[1]}"
        lines.append(
            f"{between:>8} {widths[0] or '-':>10} {widths[1] or '-':>6} {widths[2] or '-':>12} "
            f"{d.length(one.least_mm, label=False):>9} "
            f"{d.length(one.least_station_mm, label=False):>11}"
        )
    return lines


def cut_lines(balanced: Balanced) -> list[str]:
    """Return what to cut on which to bring the runners together, the least metal first."""
    if balanced.advised is None:
        return ["", f"to bring them together: {NO_CUT}"]
    lines = ["", "to bring them together (cutting only opens; the least metal first)"]
    for k, choice in enumerate(balanced.choices):
        mark = "*" if k == balanced.advised else " "
        lines.append(f" {mark} {choice_text(choice, balanced.display)}")
    best = balanced.choices[balanced.advised]
    is_even = best.spread_percent <= max(100.0 * EVEN, balanced.told_apart_percent)
    return [*lines, f"   * {'the least metal that leaves them even' if is_even else 'brings them nearest'}"]


def choice_text(choice: ChoiceOfCut, d: Display) -> str:
    """Return one choice of what to cut to, in a line: what, on which how much, and how even they are then."""
    cuts = [
        f"runner {cut.runner} {cut.removed_cc:.2f} cc, up to {d.length(cut.deepest_mm)} deep"
        for cut in choice.runners
        if cut.removed_cc >= LEAST_CC
    ]
    to = cut_to(choice.to, len(choice.runners))
    stays = f"; runner {choice.left_out[0]} is larger and stays: do not cut the others to it" if choice.left_out else ""
    if not cuts:
        return f"to {to}: nothing to cut that the readings can tell{stays}"
    return (
        f"to {to}: {choice.removed_cc:.2f} cc in all ({'; '.join(cuts)}); areas then differ by "
        f"{choice.spread_percent:.1f}% at most{stays}"
    )


def cut_to(to: str, count: int) -> str:
    """Return what so many runners are cut to, in words."""
    return "their mean" if count == 2 and to == "median" else CUT_TO[to]


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
    return [*lines, f"odd one     runner {found.odd + 1}, {off:.1f}% {side} the mean of the others"]


def set_lines(balanced: Balanced, names: Sequence[str]) -> list[str]:
    """Return what is to be said of a set beside its tables: the odd one out, the flows, what to look at."""
    lines = [_answer(balanced.computed, names, balanced.display)]
    if balanced.flows is not None:
        lines += ["Flows: " + line for line in flows_lines(balanced.flows)]
    return [*lines, *(remark.message for remark in balanced.warnings)]


def none_odd(count: int, codes: Iterable[str]) -> str:
    """Return why no runner of so many is the odd one. codes : of the set's warnings."""
    if count < 3:
        return "with two there is no odd one"
    return "too few rows to tell which is odd" if "set_few_rows" in codes else "none stands out"


def _answer(found: Balance, names: Sequence[str], d: Display) -> str:
    spread = (
        f"areas differ by {100 * found.spread[found.worst]:.1f} % at most, at station "
        f"{d.length(found.stations[found.worst])}; volumes by {np.ptp(found.volumes) / 1000.0:.2f} cc"
    )
    if found.odd is None:
        return f"{len(names)} runners: {spread}; {none_odd(len(names), (n.code for n in found.warnings))}"
    return f"{len(names)} runners: runner {found.odd + 1} is the odd one out ({names[found.odd]}); {spread}"
