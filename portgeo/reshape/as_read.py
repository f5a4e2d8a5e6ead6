"""A planned port as a person's readings will have it: what height, width and corner radii can say of it.

A plan that cuts a side wall low and not high has no height, width and corner radii that say just that. Who cuts it
right, reads it so and types it in must not read that it is wrong. A Plan and the readings typed of the port come in;
the port that the same rows make when the cut is finished goes out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Reading, Section, walls_across
from portgeo.core.split import begun_as
from portgeo.reshape.plan import Plan


def as_read(plan: Plan, now: Port) -> Port | None:
    """Return the finished port made of the rows of `now`, each with its own corners and the plan's height and width.

    A traced row has the plan's outline. The middle moves as the plan moves it. None where either port was not typed row
    by row, or its rows are placed in space.
    """
    rows, before = now.readings, plan.port.readings
    if not rows or not before or any(r.place is not None or r.points for r in (*rows, *before)):
        return None
    stations = np.clip(now.rows, *plan.grid.stations[[0, -1]])
    shift, rise = (
        np.interp(stations, plan.port.rows, [getattr(r, name) for r in before]) for name in ("shift", "rise")
    )
    was, will = (sections_at(port, stations) for port in (plan.port, plan.after))
    middles = np.column_stack([shift, rise])
    return begun_as(plan.port, [_finished(*parts) for parts in zip(rows, was, will, middles, strict=True)])


def _finished(reading: Reading, was: Section, will: Section, middle: FloatArray) -> Reading:
    """Return a reading as it will be. middle : of the section before, off the centreline (left, up)."""
    before, after = _walls(was, reading), _walls(will, reading)
    moved = middle + after.mean(axis=1) - before.mean(axis=1)
    outline = None if reading.outline is None else will.outline
    width, height = (after[:, 1] - after[:, 0]).tolist()
    return replace(reading, outline=outline, width=width, height=height, shift=float(moved[0]), rise=float(moved[1]))


def _walls(section: Section, reading: Reading) -> FloatArray:
    """Return where right and left, floor and roof are (2, 2), as a micrometer or a traced outline has them."""
    if reading.outline is not None:
        return np.stack([section.outline.min(axis=0), section.outline.max(axis=0)], axis=1)
    return walls_across(section.outline, moments(section.outline).centroid)
