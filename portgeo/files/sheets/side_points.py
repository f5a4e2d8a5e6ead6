"""Points of a side view in a section sheet: the two ends of each section as they lie on squared paper, and in plan.

Rows come in; how their sections lie goes out: stations, headings and the sizes that follow from the points. What is
wrong with a row is told at its cells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.angle_readings import ANGLES
from portgeo.core.headings import fit_points
from portgeo.core.section import POINT_ERROR_MM, Points
from portgeo.core.side_view import lie_of
from portgeo.core.units import Display
from portgeo.files.sheets.rows import Row
from portgeo.files.sheets.sense import SAME_STATION_MM

SIDE_VIEW = ("floor_x", "floor_z", "roof_x", "roof_z")
PLAN = ("left_y", "right_y")
FOLLOW = ("station", "turn", "swing", "rise", "shift", "x", "y", "z")  # from the points, and so not given beside them
LEANS = float(np.radians(50.0))  # of a section off the way through the port: no scribed line stands so far askew
LEAST_ROWS = 2
DRAWN_ERROR_MM = float(np.sqrt(2.0)) * POINT_ERROR_MM  # of the distance of two points
MOST_SWING = float(np.radians(45.0))  # of a section whose width is taken from its plan
POINTS_AGREE = 4.0  # standard uncertainties between two points' distance and the height that was read


@dataclass(frozen=True)
class Laid:
    """How a row's section lies: station, turn and swing with their standard uncertainty, and its sizes by points.

    width : None where the plan was not read, or shows too little of it.
    """

    points: Points
    station: float
    turn: float
    swing: float
    turn_error: float
    height: float
    width: float | None


def has_points(row: Row) -> bool:
    """Return whether a row's sheet gives points in place of stations."""
    return any(row.text(name) for name in (*SIDE_VIEW, *PLAN))


def _points_of(rows: Sequence[Row]) -> list[Points | None]:
    """Return the points that each row gives, None where it gives none or something is told to be wrong with them.

    A sheet gives them in all its rows or in none.
    """
    if not any(has_points(row) for row in rows):
        return [None] * len(rows)
    plan = any(row.text(name) for row in rows for name in PLAN)
    return [_points(row, plan) for row in rows]


def _height(points: Points) -> float:
    """Return how far a section's two ends are apart."""
    return float(np.hypot(*np.subtract(points.roof, points.floor)))


def _points(row: Row, plan: bool) -> Points | None:
    names = (*SIDE_VIEW, *PLAN) if plan else SIDE_VIEW
    for name in names:
        if row.given(name) is None:
            what = f"the row gives no {name.replace('_', ' ')}, and other rows or its other points do"
            row.tell_empty(name, what, "Write both ends of every section as they lie on the paper")
    for name in FOLLOW:
        if row.text(name):
            what = f"the row gives floor and roof points, and its {name} follows from them"
            row.tell(name, what, f"Empty the {name} cells, or the points of all rows")
    values = [row.number_in(name, np.nan) for name in names]
    if not np.isfinite(values).all():
        return None
    floor_x, floor_z, roof_x, roof_z, *sides = values
    if np.hypot(roof_x - floor_x, roof_z - floor_z) < SAME_STATION_MM:
        row.tell("roof_z", "floor and roof are one point", "Write both ends of the section")
        return None
    if plan and sides[0] <= sides[1]:
        row.tell("left_y", "the left wall is not left of the right one", "y counts towards the left wall: swap the two")
        return None
    return Points((floor_x, floor_z), (roof_x, roof_z), (sides[0], sides[1]) if plan else None)


def _tell_askew(rows: Sequence[Row], points: Sequence[Points], display: Display) -> None:
    """Tell of sections that do not stand across the way from one to the next, and of heights that do not agree."""
    lie = lie_of(points)
    steps = np.linalg.norm(np.diff(lie.middles, axis=0), axis=1)
    for k in np.flatnonzero(steps < SAME_STATION_MM):
        rows[int(k) + 1].tell("floor_x", "the section lies where the one before it does", "Leave one of the two")
    chords = lie.chords[:, 0]
    way = np.concatenate([chords[:1], (chords[1:] + chords[:-1]) / 2.0, chords[-1:]])
    for k in np.flatnonzero(np.abs(np.angle(np.exp(1j * (lie.across - way)))) > LEANS):
        rows[int(k)].tell(
            "floor_x",
            "the section does not stand across the port: the way to the sections beside it runs along it",
            "Check that floor and roof are not swapped, that x runs into the port and z up, and the order of the rows",
        )
    for row, each in zip(rows, points, strict=True):
        read, drawn = row.given("height"), _height(each)
        if read is not None and abs(read - drawn) > POINTS_AGREE * DRAWN_ERROR_MM:
            length = display.length
            what = f"the height reads {length(read)}, but floor and roof points are {length(drawn)} apart"
            row.tell("height", what, "Fix the height or the points")


def laid_down(rows: Sequence[Row], display: Display) -> list[Laid | None]:
    """Return how each row's section lies by the points of all, None where they give none or something is wrong.

    A line that leans off the port's own section is as much longer than the height as the lean says.
    """
    points = _points_of(rows)
    known = [p for p in points if p is not None]
    if len(known) < len(rows) or len(known) < LEAST_ROWS:
        return [None] * len(rows)
    _tell_askew(rows, known, display)
    lie, fits = lie_of(known), fit_points(known)
    turn, swing = (fits[name].told(lie.stations) if name in fits else 0.0 * lie.stations for name in ANGLES)
    errors = np.max([np.linalg.norm(fit.effects_at(lie.stations), axis=0) for fit in fits.values()], axis=0)
    height = np.array([_height(p) for p in known]) * np.cos(lie.across - turn)
    # In plan a section that has swung away shows less and less of its width.
    aside = [
        p.sides[0] - p.sides[1] if p.sides is not None and abs(angle) < MOST_SWING else None
        for p, angle in zip(known, swing, strict=True)
    ]
    return [
        Laid(p, float(s), float(t), float(g), float(e), float(h), None if w is None else float(w / np.cos(g)))
        for p, w, s, t, g, e, h in zip(known, aside, lie.stations, turn, swing, errors, height, strict=True)
    ]
