"""Whether the rows of a section sheet go with one another, and what was taken for granted in them.

Rows, and the readings made of them, come in; what is wrong is told at its row, and notices go out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np

from portgeo.core.centreline import heading
from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.section import TOOLS, Reading
from portgeo.core.units import MM_PER, Display, LengthUnit
from portgeo.files.sheets.columns import Column
from portgeo.files.sheets.rows import Row
from portgeo.files.sheets.section_columns import LONGEST_MM

SLIPPED = (7.0, 14.0)  # times its neighbours: a decimal point is in the wrong place
OTHER_UNIT = (22.0, 29.0)  # times its neighbours: about 25.4, a number in inches among millimetres
MOST_OBLONG = 8.0  # times as high as wide, or as wide as high: past it two columns are in two units
ALIKE = 2.5  # times one another, at most, that the neighbours must be to be gone by
LIKELY_MM = (6.0, 300.0)  # a sheet whose largest size is outside is read, with a notice
SAME_STATION_MM = 0.001
SAME_HEADING = 1e-6  # radians
SHARPEST_TURN = np.radians(120.0)  # between two rows: past it one arc is no fair guess at the way


def mixes_units(rows: Sequence[Row], columns: Mapping[str, Column]) -> bool:
    """Tell, once, of heights and widths whose columns have two units and that are far apart all along."""
    if not columns.keys() >= {"height", "width"} or columns["height"].unit == columns["width"].unit:
        return False
    sizes = [[row.number_in(name, np.nan) for name in ("height", "width")] for row in rows]
    both = [k for k, size in enumerate(sizes) if np.isfinite(size).all()]
    if not both or 1.0 / MOST_OBLONG < np.median([sizes[k][0] / sizes[k][1] for k in both]) < MOST_OBLONG:
        return False
    row = rows[both[0]]
    height, width = (row.cell(name).own(size) for name, size in zip(("height", "width"), sizes[both[0]], strict=True))
    hint = f"Is {row.written('height')} in the unit of {row.written('width')}? Then name it so"
    row.tell("height", f"heights are {height} and such beside widths of {width}, all along", hint)
    return True


def check_sizes(rows: Sequence[Row]) -> None:
    """Tell of a height, width or diameter that is ten or 25.4 times, or such a part of, what its neighbours are.

    Lofted, the fault would show elsewhere, and another row would be blamed. At the first and last row, where a
    port may open ten times as wide, only one size that is off while another is not is told.
    """
    for k, row in enumerate(rows if len(rows) > 2 else ()):
        beside = [rows[j] for j in ((k - 1, k + 1) if 0 < k < len(rows) - 1 else (1, 2) if k == 0 else (k - 1, k - 2))]
        slips = {name: _slip(row, beside, name) for name in ("height", "width", "diameter") if row.given(name)}
        at_end = k in (0, len(rows) - 1)
        if at_end and all(slip == "point" for slip in slips.values()):
            continue
        for name, slip in slips.items():
            if slip is not None:
                _tell_slip(row, beside, name, slip)


def _slip(row: Row, beside: Sequence[Row], name: str) -> Literal["point", "unit"] | None:
    """Return what slipped in a size that its neighbours, alike, are far from: the decimal point or the unit."""
    size, *near = (each.number_in(name, np.nan) for each in (row, *beside))
    if not 1.0 / ALIKE < near[0] / near[1] < ALIKE:
        return None
    ratio = size / float(np.sqrt(near[0] * near[1]))
    times = max(ratio, 1.0 / ratio)
    if OTHER_UNIT[0] < times < OTHER_UNIT[1]:
        return "unit"
    return "point" if SLIPPED[0] < times < SLIPPED[1] else None


def _tell_slip(row: Row, beside: Sequence[Row], name: str, slip: Literal["point", "unit"]) -> None:
    cell, value = row.cell(name), row.given(name)
    near = [other.given(name) for other in beside]
    larger = value > near[0]
    if slip == "point":
        times, hint = "ten times" if larger else "a tenth of", "Look for a decimal point in the wrong place"
    else:
        times, hint = "25.4 times" if larger else "1/25.4 of", "Check what was typed"
        inches = cell.column.unit == "in"
        if larger == inches:
            other, scale = ("mm", 1.0 / MM_PER["in"]) if inches else ("inches", MM_PER["in"])
            hint = f"Is it in {other}? Then write {value / cell.size * scale:.4g}; else check what was typed"
    read = " and ".join(cell.own(size) for size in near)
    row.tell(name, f"{cell.own(value)} is about {times} what the rows beside it read ({read})", hint)


def check_headings(rows: Sequence[Row], trunk: Sequence[Row] | None = None) -> None:
    """Tell of a turn left empty past the first: taken for 0, the port would turn back there.

    trunk : of a leg, the trunk's rows: the leg's first row has the heading of their last.
    """
    turned = False
    if trunk:
        for name in ("turn", "swing"):
            ends, begins = trunk[-1].number_in(name, 0.0), rows[0].given(name)
            if begins is not None and abs(begins - ends) > SAME_HEADING:
                what = (
                    f"the leg begins at {np.degrees(begins):.4g} degrees, and the trunk ends at {np.degrees(ends):.4g}"
                )
                rows[0].tell(name, what, "Leave it empty: both rows lie in the plane of the split")
        turned = abs(trunk[-1].number_in("turn", 0.0)) > 0.0
        rows = rows[1:]
    for row in rows:
        turn = row.given("turn")
        if turned and turn is None:
            row.tell("turn", "this is empty, and the rows before it have turned", "Write the heading turned so far")
        turned = turned or (turn is not None and abs(turn) > 0.0)


def heading_notices(columns: dict[str, Column]) -> tuple[Notice, ...]:
    """Return a notice of a sheet that says nowhere how its port turns."""
    if columns.keys() & {"turn", "swing", "x", "floor_x"}:
        return ()
    return (Notice("no_heading"),)


def tool_notices(rows: Sequence[Row]) -> tuple[Notice, ...]:
    """Return a notice of rows that do not say what they were read with."""
    if all(row.text("tool") for row in rows):
        return ()
    case = "some" if any(row.text("tool") for row in rows) else "all"
    return (Notice("tool_rule", case=case, tools=tuple(TOOLS)),)


def check_marks(rows: Sequence[Row]) -> None:
    """Tell of a second throat: a port has one, and percentages are of it."""
    marked = [row for row in rows if "throat" in (row.given("mark") or ())]
    for row in marked[1:]:
        first = f"row {marked[0].number} is marked throat too"
        row.tell("mark", first, "Mark one row, the bore just under the valve seat")


def check_neighbours(rows: Sequence[Row], readings: Sequence[Reading], display: Display) -> None:
    """Tell of rows, one after the other, that no port passes through."""
    placed = [pair for pair in zip(rows, readings, strict=True) if np.isfinite(pair[1].station)]
    disordered = {
        id(row) for (_, before), (row, after) in pairwise(placed) if after.station < before.station + SAME_STATION_MM
    }
    for (row, before), (next_row, after) in pairwise(placed):
        if id(next_row) in disordered:
            same = abs(after.station - before.station) < SAME_STATION_MM
            there, here = display.length(before.station), display.length(after.station)
            next_row.tell(
                "station",
                f"both rows are at station {there}" if same else f"station {here} comes after {there}",
                "Leave one" if same else "Put the rows in order from entry to exit",
                where=f"rows {row.number} and {next_row.number}, column {next_row.written('station')}",
            )
    for (row, before), (next_row, after) in pairwise(zip(rows, readings, strict=True)):
        if not next_row.told("station"):
            _check_step(row, before, next_row, after, display)


def _check_step(row: Row, before: Reading, next_row: Row, after: Reading, display: Display) -> None:
    where = f"rows {row.number} and {next_row.number}"
    apart = heading(before.turn, before.swing) @ heading(after.turn, after.swing)
    angle = float(np.arccos(np.clip(apart, -1.0, 1.0)))
    turned = max(angle, abs(after.turn - before.turn), abs(after.swing - before.swing))
    if turned > SHARPEST_TURN:
        next_row.tell(
            "turn",
            f"the heading turns {np.degrees(turned):.0f} degrees between them",
            "Measure a section in between, or fix turn_deg (it is the heading turned so far)",
            where=where,
            kind=GeometryError,
        )
    if before.place is not None and after.place is not None:
        step = float(np.linalg.norm(after.place - before.place))
        if step < SAME_STATION_MM or step > LONGEST_MM:
            what = f"their places are {display.length(step)} apart"
            next_row.tell("x", what, "Check x, y and z and their units", where=where)


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
