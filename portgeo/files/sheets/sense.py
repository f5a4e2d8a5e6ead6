"""Whether the rows of a section sheet go with one another, and what was taken for granted in them.

Rows, and the readings made of them, come in; refusals and notices go out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.core.centreline import heading
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.notices import Notice
from portgeo.core.section import TOOLS, Reading
from portgeo.core.units import LengthUnit
from portgeo.files.sheets.columns import Column
from portgeo.files.sheets.rows import LONGEST_MM, Row

LIKELY_MM = (6.0, 300.0)  # a sheet whose largest size is outside is read, with a notice
SAME_STATION_MM = 0.001
SHARPEST_TURN = np.radians(120.0)  # between two rows: past it one arc is no fair guess at the way


def check_headings(rows: Sequence[Row]) -> None:
    """Refuse a turn left empty past the first: taken for 0, the port would turn back there."""
    turned = False
    for row in rows:
        if turned and not row.text("turn"):
            row.refuse("turn", "this is empty, and the rows before it have turned", "Write the heading turned so far")
        turned = turned or bool(row.number_in("turn"))


def heading_notices(columns: dict[str, Column]) -> tuple[Notice, ...]:
    """Return a notice of a sheet that says nowhere how its port turns."""
    if columns.keys() & {"turn", "swing", "x"}:
        return ()
    return (Notice("no_heading"),)


def tool_notices(rows: Sequence[Row]) -> tuple[Notice, ...]:
    """Return a notice of rows that do not say what they were read with."""
    if all(row.text("tool") for row in rows):
        return ()
    case = "some" if any(row.text("tool") for row in rows) else "all"
    return (Notice("tool_rule", case=case, tools=tuple(TOOLS)),)


def check_marks(rows: Sequence[Row], readings: Sequence[Reading]) -> None:
    """Refuse a second throat: a port has one, and percentages are of it."""
    marked = [row for row, reading in zip(rows, readings, strict=True) if "throat" in reading.mark]
    if len(marked) > 1:
        marked[1].refuse(
            "mark", f"row {marked[0].number} is marked throat too", "Mark one row, the bore just under the valve seat"
        )


def check_neighbours(row: Row, before: Reading, next_row: Row, after: Reading) -> None:
    """Refuse two rows one after the other that no port passes through."""
    where = f"rows {row.number} and {next_row.number}"
    length = row.display.length
    if after.station < before.station + SAME_STATION_MM:
        same = abs(after.station - before.station) < SAME_STATION_MM
        raise InputError(
            f"both rows are at station {length(before.station)}"
            if same
            else f"station {length(after.station)} comes after {length(before.station)}",
            where=f"{where}, column {next_row.where('station').split('column ')[1]}",
            mend="Leave one" if same else "Put the rows in order from entry to exit",
        )
    apart = heading(before.turn, before.swing) @ heading(after.turn, after.swing)
    angle = float(np.arccos(np.clip(apart, -1.0, 1.0)))
    turned = max(abs(after.turn - before.turn), abs(after.swing - before.swing), angle)
    if turned > SHARPEST_TURN:
        raise GeometryError(
            f"the heading turns {np.degrees(turned):.0f} degrees between them",
            where=where,
            mend="Measure a section in between, or mend turn_deg (it is the heading turned so far)",
        )
    if before.place is not None and after.place is not None:
        step = float(np.linalg.norm(after.place - before.place))
        if not SAME_STATION_MM <= step <= LONGEST_MM:
            raise InputError(
                f"their places are {length(step)} apart", where=where, mend="Check x, y and z and their units"
            )


def corner_notices(rows: Sequence[Row], readings: Sequence[Reading]) -> tuple[Notice, ...]:
    """Return a notice that names rectangles without a corner radius."""
    sharp = [
        reading
        for row, reading in zip(rows, readings, strict=True)
        if reading.shape == "rect" and not any(row.text(c) for c in ("corner", "corner_roof", "corner_floor"))
    ]
    if not sharp:
        return ()
    return (Notice("corner_missing", rows=[r.row for r in sharp], stations=[r.station for r in sharp]),)


def unit_notices(readings: Sequence[Reading], unit: LengthUnit) -> tuple[Notice, ...]:
    """Return a notice where all sections are so small or large that the unit is in doubt."""
    largest = max(max(r.height, r.width) for r in readings)
    if LIKELY_MM[0] <= largest <= LIKELY_MM[1]:
        return ()
    return (Notice("unit_doubt", largest=largest, unit=unit),)
