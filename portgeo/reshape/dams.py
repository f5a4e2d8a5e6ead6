"""Dams that a cut makes: a wall taken down before the turn, on its inside, leaves what lies after standing in the flow.

A Plan comes in; notices go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.section import WALLS
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
        if dam.code != "dam":
            continue
        at = dam.values["station"]
        step = floor[grid.stations <= at].max() - np.interp(at, grid.stations, floor)
        if step > DAM_MM:
            found.append(Notice("dam_made", wall=wall, station=at, step=step, limit=DAM_MM))
    return tuple(found)
