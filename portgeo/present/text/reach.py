"""Where a burr gets to, as text for the bench. A Reached comes in."""

from __future__ import annotations

import textwrap

import numpy as np

from portgeo.core.units import Display, clock_text
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.reshape.cut_table import HOURS
from portgeo.reshape.reach import Reach
from portgeo.results.reached import CAUTIONS, Reached, everything

MARKS = (".", "E", "X", "B")  # neither, from the entry, from the exit, from both
MOST_ROWS = 25


def reach_text(reached: Reached, title: str) -> str:
    """Return a reach as text: how deep from each end, what is left over, the length for everything, the map."""
    found, d = reached.computed, reached.display
    tool = found.tool
    length, share = everything(found)
    ends = [f"  from {name:<6} {_deep(*found.deepest(k == 1), d)}" for k, name in enumerate(("entry", "exit"))]
    too_big = float(found.area[~found.head_fits].sum() / found.area.sum())
    lines = [
        title,
        f"  tool        head {d.length(tool.head)} by {d.length(tool.head_length)}, shank {d.length(tool.shank)}, "
        f"free length {d.length(tool.free_length)}, collet {d.length(tool.collet)}",
        *ends,
        f"  of the wall {found.share(3):.0%} from both ends, {found.share(1):.0%} from the entry only, "
        f"{found.share(2):.0%} from the exit only, {found.share(0):.0%} from neither",
    ]
    if found.share(0) > 0.005:
        row, column = found.farthest_missed()
        place = f"{d.length(float(found.grid.stations[row]))}, {clock_text(float(found.grid.clock[row, column]))}"
        lines.append(f"  missed      farthest from any wall it reaches: station {place}")
    if share > 0.0:
        lines.append(
            f"  length      {d.length(length)} free, from the nearer end, reaches all that a straight tool can: "
            f"{share:.0%} of the wall"
        )
    if too_big > 0.005:
        lines.append(f"  head        too large to lie on {too_big:.0%} of the wall: take a smaller one there")
    if share < 0.995 - too_big:
        lines.append(f"  no line     {1.0 - share - too_big:.0%} of the wall is round a corner for any straight tool")
    lines.append("")
    lines += notices_lines(reached.notices, d)
    lines += [
        "E reached from the entry, X from the exit, B from both, . from neither; by station and clock",
        f"{'station':>8} " + "".join(f"{hour:>4.0f}" for hour in HOURS),
    ]
    for k in _rows(found):
        marks = "".join(f"{MARKS[which]:>4}" for which in _at_hours(found)[k])
        lines.append(f"{d.length(float(found.grid.stations[k]), label=False):>8} {marks}")
    lines += ["", "cautions"]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(lines)


def _deep(whole: float, places: float, d: Display) -> str:
    if places == 0.0:
        return "nowhere"
    all_round = f"all round to a depth of {d.length(whole)}" if whole > 0.0 else "nowhere all round"
    return f"{all_round}, in places to {d.length(places)}"


def _rows(found: Reach) -> np.ndarray:
    count = len(found.grid.stations)
    return np.unique(np.linspace(0, count - 1, min(count, MOST_ROWS)).round().astype(int))


def _at_hours(found: Reach) -> np.ndarray:
    """Return `reached` at the place nearest to each hour (n, 12)."""
    off = np.abs((found.grid.clock[:, :, None] - HOURS + 6.0) % 12.0 - 6.0)
    return np.take_along_axis(found.reached, off.argmin(axis=1), axis=1)
