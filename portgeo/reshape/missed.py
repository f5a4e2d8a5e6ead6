"""What a burr does not reach, wall by wall: from which station to which, and what would get there.

A Reach comes in; stretches of each wall, with what keeps the burr from them, go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from portgeo.core.plane import IntArray
from portgeo.core.section import WALLS
from portgeo.reshape.reach import Reach

MISSED_SHARE = 0.25  # of a wall across one section: less is worked from beside it
Cause = Literal["length", "head", "bend"]


@dataclass(frozen=True)
class Missed:
    """A stretch of a wall that a burr does not reach from either end.

    start, end : stations. cause : the burr is too short, its head too large, or the wall is round a bend for any
    straight one. free_length : the one with which it is reached from the nearer end, `from_exit` or not; nan where no
    length does.
    """

    wall: str
    start: float
    end: float
    cause: Cause
    free_length: float
    from_exit: bool


def missed(reach: Reach) -> tuple[Missed, ...]:
    """Return the stretches of each wall that a burr does not reach, in the order of WALLS and of the stations."""
    not_reached = reach.reached == 0
    found = []
    for wall, name in enumerate(WALLS):
        columns = np.flatnonzero(reach.grid.wall == wall)
        share = (not_reached * reach.area)[:, columns].sum(axis=1) / reach.area[:, columns].sum(axis=1)
        rows = np.flatnonzero(share > MISSED_SHARE)
        for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1):
            if len(run):
                found.append(_stretch(reach, name, run, columns))
    return tuple(found)


def _stretch(reach: Reach, wall: str, rows: IntArray, columns: IntArray) -> Missed:
    here = np.ix_(rows, columns)
    out = reach.reached[here] == 0
    area, fits = reach.area[here][out], reach.head_fits[here][out]
    finite = np.isfinite(reach.needed[here][out])
    shares: dict[Cause, float] = {
        "length": area[finite].sum(),
        "head": area[~fits].sum(),
        "bend": area[fits & ~finite].sum(),
    }
    cause = max(shares, key=lambda each: shares[each])
    length, from_exit = float("nan"), False
    if cause == "length":
        ends = (reach.from_entry[here][out][finite], reach.from_exit[here][out][finite])
        from_exit = bool(np.median(ends[1]) < np.median(ends[0]))
        length = float(reach.needed[here][out][finite].max())
    first, last = reach.grid.stations[rows[[0, -1]]]
    return Missed(wall, float(first), float(last), cause, length, from_exit)
