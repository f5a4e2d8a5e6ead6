"""Legs of a section sheet: the rows of each passage of a port that splits, and whether they go with one another.

Rows come in; the rows of each passage go out, and what is wrong with a leg is told at its first row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.section import Reading
from portgeo.core.split import TRUNK
from portgeo.core.units import Display
from portgeo.files.sheets.rows import Row
from portgeo.files.sheets.sense import SAME_STATION_MM

CROSSED = np.radians(2.0)  # of swing: angles are read to a degree
PLACED = ("x", "y", "z", "floor_x", "floor_z", "roof_x", "roof_z", "left_y", "right_y")


def passages_of(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """Return the rows of each passage by its name, the trunk first, each in the sheet's order."""
    passages: dict[str, list[Row]] = {TRUNK: []}
    for row in rows:
        passages.setdefault(row.given("leg") or TRUNK, []).append(row)
    return passages


def strays_in(passages: Mapping[str, Sequence[Row]]) -> bool:
    """Tell of rows whose leg was left out or misspelt, and return whether there are any."""
    legs = {name: rows for name, rows in passages.items() if name != TRUNK}
    begun = min((rows[0].number for rows in legs.values()), default=0)
    split = min((rows[0].number_in("station", np.nan) for rows in legs.values()), default=np.inf)
    nameless = [
        row
        for row in passages[TRUNK]
        if row.number > begun > 0 and row.number_in("station", np.nan) > split + SAME_STATION_MM
    ]
    names = ", ".join(legs)
    for row in nameless:
        row.tell("leg", "this row is past the split and names no leg", f"The legs here are {names}")
    misspelt = []
    for name, rows in legs.items():
        # Of two names alike, such as upper and lower, both legs begin at the split.
        if abs(rows[0].number_in("station", np.nan) - split) > SAME_STATION_MM:
            near = get_close_matches(name, [other for other in legs if other != name], 1)
            if near:
                misspelt.append(name)
                rows[0].tell("leg", f"leg {name} does not begin at the split", f"Did you mean {near[0]}?")
    return bool(nameless or misspelt)


def check_legs(passages: Mapping[str, Sequence[Row]], display: Display) -> None:
    """Tell of legs that do not begin where the trunk ends, or are too short, or stand alone."""
    trunk = passages[TRUNK]
    legs = {name: rows for name, rows in passages.items() if name != TRUNK}
    _check_nose(passages, at_split=trunk[-1] if legs and trunk else None)
    for name, rows in legs.items():
        first = rows[0]
        if len(trunk) < 2:
            hint = "Leave the leg empty in the rows before the split, two or more of them"
            first.tell("leg", "the port splits, and its trunk has no two rows", hint)
            return
        if len(legs) < 2:
            hint = "Give each leg its rows; of a port that does not split leave the column empty"
            first.tell("leg", f"{name} is the only leg", hint)
        if len(rows) < 2:
            first.tell("leg", f"leg {name} has one row", "Give it two or more, the first in the plane of the split")
        split, begins = (row.number_in("station", np.nan) for row in (trunk[-1], first))
        if abs(begins - split) > SAME_STATION_MM:
            ends, begin = display.length(split), display.length(begins)
            hint = f"Begin each leg with a row at {ends}: its outline in the plane of the split"
            first.tell("station", f"leg {name} begins at station {begin}, and the trunk ends at {ends}", hint)
        for row in (*trunk, *rows):
            drawn = next((column for column in PLACED if row.given(column) is not None), None)
            if drawn is not None:
                hint = "Give station, turn_deg and swing_deg instead"
                row.tell(drawn, "a port that splits cannot be given by places or points", hint)


def _check_nose(passages: Mapping[str, Sequence[Row]], at_split: Row | None) -> None:
    """Tell of a divider's edge that is not read at the split, or is larger than a divider can have."""
    for row in (row for rows in passages.values() for row in rows if row.given("nose_radius") is not None):
        if row is not at_split:
            hint = "Write it in the trunk's last row, the plane of the split; empty: the nose is flat, as it comes"
            row.tell("nose_radius", "the divider's nose does not stand here", hint)
        elif row.number_in("nose_radius", 0.0) > row.number_in("width", np.inf) / 2.0:
            hint = "Write the radius of the divider's edge, by template"
            row.tell("nose_radius", "the divider's edge is as wide as the port", hint)


def begun_at_split(leg: tuple[Reading, ...], trunk: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Return a leg's readings, the first of which turns as the trunk's last does: they are of one plane."""
    if not trunk:
        return leg
    return (replace(leg[0], turn=trunk[-1].turn, swing=trunk[-1].swing), *leg[1:])


def swing_notices(read: Mapping[str, Sequence[Reading]]) -> tuple[Notice, ...]:
    """Return a notice of each leg that lies on one side at the split and ends swung to the other.

    Where the trunk swings so already all of the port does, and nothing is asked.
    """
    notices = []
    for name, leg in read.items():
        side, trunk = np.sign(leg[0].shift), read[TRUNK][-1].swing  # shift counts to the left, swing to the right
        swing = leg[-1].swing - trunk
        if name != TRUNK and side * swing > CROSSED and side * trunk < CROSSED:
            case = "left" if side > 0.0 else "right"
            notices.append(Notice("leg_swing", case=case, leg=name, angle=float(abs(swing))))
    return tuple(notices)
