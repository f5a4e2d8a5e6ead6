"""Where a burr gets to, as text for the bench. A Reached comes in."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

import numpy as np

from portgeo.core.section import wall_name
from portgeo.core.units import Display
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.reshape.cut_table import HOURS
from portgeo.reshape.reach import Reach
from portgeo.results.reached import CAUTIONS, Reached, everything

MARKS = (".", "E", "X", "B")  # neither, from the entry, from the exit, from both
MOST_ROWS = 25


def reach_text(reached: Reached, title: str) -> str:
    """Return a reach as text: how deep from each end, what is left over, the length for everything, the map."""
    reach, d = reached.computed, reached.display
    tool = reach.tool
    length, share = everything(reach)
    ends = [f"  from {name:<6} {_deep(*reach.deepest(k == 1), d)}" for k, name in enumerate(("entry", "exit"))]
    lines = [
        title,
        f"  tool        head {d.length(tool.head)} by {d.length(tool.head_length)}, shank {d.length(tool.shank)}, "
        f"free length {d.length(tool.free_length)}, collet {d.length(tool.collet)}",
        *ends,
        f"  of the wall {reach.share(3):.0%} from both ends, {reach.share(1):.0%} from the entry only, "
        f"{reach.share(2):.0%} from the exit only, {reach.share(0):.0%} from neither",
    ]
    for k, text in enumerate(missed_texts(reached.to_dict(), d)):
        name = "" if k else "not reached"
        lines += textwrap.wrap(text, WIDTH, initial_indent=f"  {name:<12}", subsequent_indent=" " * 14)
    if share > 0.0:
        lines.append(
            f"  length      {d.length(length)} free, from the nearer end, reaches all that a straight tool can: "
            f"{share:.0%} of the wall"
        )
    lines.append("")
    lines += notices_lines(reached.notices, d)
    lines += [
        "E reached from the entry, X from the exit, B from both, . from neither; by station and clock",
        f"{'station':>8} " + "".join(f"{hour:>4.0f}" for hour in HOURS),
    ]
    for k in _rows(reach):
        marks = "".join(f"{MARKS[which]:>4}" for which in _at_hours(reach)[k])
        lines.append(f"{d.length(float(reach.grid.stations[k]), label=False):>8} {marks}")
    lines += ["", "cautions"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines)


def missed_texts(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return what a burr does not reach, out of its record: which wall between which stations, and what gets there."""
    return [
        f"{wall_name(each['wall'])} from {d.length(each['station_from_mm'], label=False)} to "
        f"{d.length(each['station_to_mm'])}: {_instead(each, d)}"
        for each in record["missed"]
    ]


def _instead(each: Mapping[str, Any], d: Display) -> str:
    """Return what would get to a stretch that is not reached."""
    if each["cause"] == "head":
        return "this head is too large to lie there; take a smaller one"
    if each["cause"] == "bend":
        return "out of sight of any straight burr from either end; use a bent or flexible shaft, or rolls"
    return f"needs {d.length(each['free_length_mm'])} of free length, from the {each['from']}"


def _deep(whole: float, places: float, d: Display) -> str:
    if places == 0.0:
        return "nowhere"
    all_round = f"all round to a depth of {d.length(whole)}" if whole > 0.0 else "nowhere all round"
    return f"{all_round}, in places to {d.length(places)}"


def _rows(reach: Reach) -> np.ndarray:
    count = len(reach.grid.stations)
    return np.unique(np.linspace(0, count - 1, min(count, MOST_ROWS)).round().astype(int))


def _at_hours(reach: Reach) -> np.ndarray:
    """Return `reached` at the place nearest to each hour (n, 12)."""
    off = np.abs((reach.grid.clock[:, :, None] - HOURS + 6.0) % 12.0 - 6.0)
    return np.take_along_axis(reach.reached, off.argmin(axis=1), axis=1)
