"""Dams that a cut makes: a floor taken down before the turn leaves what lies after it standing against the flow.

A Plan comes in; notices go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.reshape.grid import WALLS
from portgeo.reshape.plan import Plan
from portgeo.survey import survey
from portgeo.survey.sense import DAM_MM
from portgeo.units import Notice


def dams_made(plan: Plan) -> tuple[Notice, ...]:
    """Return a notice for each dam of the planned port that the cut makes: it goes deeper before it than there."""
    grid = plan.grid
    floor = plan.depth[:, int(np.argmin(np.abs(grid.share - WALLS.index("floor"))))]
    if np.ptp(floor) <= DAM_MM:
        return ()
    found = []
    for dam in survey(plan.after, 2, readings_tried=False).warnings:
        at = dam.lengths.get("at", 0.0)
        there, before = float(np.interp(at, grid.stations, floor)), floor[grid.stations <= at]
        if dam.code == "dam" and before.max() - there > DAM_MM:
            text = (
                "the cut makes a dam on the floor line at {at}: before it the floor goes down {step} more than there "
                "(limit {limit}); take it down there too, or let the other walls share the cut"
            )
            found.append(Notice("dam_made", text, {"at": at, "step": float(before.max()) - there, "limit": DAM_MM}))
    return tuple(found)
