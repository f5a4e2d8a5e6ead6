"""Dams that a cut makes: a wall taken down before the turn, on its inside, leaves what lies after standing in the flow.

A Plan comes in; notices go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.section import WALLS, wall_name
from portgeo.core.units import Notice
from portgeo.measuring import survey
from portgeo.measuring.bends import inner_wall
from portgeo.measuring.sense import DAM_MM
from portgeo.reshape.plan import Plan


def dams_made(plan: Plan) -> tuple[Notice, ...]:
    """Return a notice for each dam of the planned port that the cut makes: it goes deeper before it than there."""
    grid = plan.grid
    wall = inner_wall(grid.bend)
    floor = plan.depth[:, int(np.argmin(np.abs(grid.share - WALLS.index(wall))))]
    if np.ptp(floor) <= DAM_MM:
        return ()
    found = []
    for dam in survey(plan.after, 2, readings_tried=False).warnings:
        at = dam.lengths.get("at", 0.0)
        there, before = float(np.interp(at, grid.stations, floor)), floor[grid.stations <= at]
        if dam.code == "dam" and before.max() - there > DAM_MM:
            text = (
                f"the cut makes a dam on the {wall_name(wall)} line at {{at}}: before it the {wall_name(wall)} is cut "
                "{step} deeper than there (limit {limit}); cut it there too, or let the other walls share the cut"
            )
            found.append(Notice("dam_made", text, {"at": at, "step": float(before.max()) - there, "limit": DAM_MM}))
    return tuple(found)
