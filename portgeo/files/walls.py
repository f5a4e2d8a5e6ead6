"""Wall readings of a sonic tester: a table of station, clock and thickness.

A CSV file or a workbook, or rows in hand, come in; readings in millimetres go out, or a refusal that names row and
column of all that is wrong.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError, naming
from portgeo.core.port import Port
from portgeo.core.units import MM_PER, Display
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.columns import LENGTH, Cell, Layout, Quantity, Words
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.rows import Row, Rows
from portgeo.files.sheets.tables import Source, read_table
from portgeo.reshape.limits import WallReading

FILE_LIMIT = 5_000_000  # bytes
THICKEST_MM = 25.4  # 1 in: *common practice, no source*, no port's wall is thicker; 3.5 is a slip for 0.35
THINNEST_MM = 0.5  # 0.020 in: *common practice, no source*, no casting's wall is thinner; 0.134 mm was read in inches
OPENING_MM = 2.0  # past an opening: where a port ends is known no better on an angled face
CLOCK = re.compile(r"(\d{1,2})\s*:\s*([0-5]\d)(?::00)?")  # a spreadsheet makes a time of 4:30, with seconds


def _thickness(cell: Cell, value: float) -> None:
    if THINNEST_MM <= value <= THICKEST_MM:
        return
    unit = cell.column.unit
    least, most = (f"{limit / cell.size:.{n}g} {unit}" for limit, n in ((THINNEST_MM, 1), (THICKEST_MM, 3)))
    if value <= 0.0:
        what = "is not more than zero"
    elif value < THINNEST_MM:
        what = f"is thinner than any port's wall, {least}"
    else:
        what = f"is thicker than any port's wall, {most}"
    hint = "Check its decimal point and unit; leave out a reading of solid metal"
    if unit == "mm" and THINNEST_MM <= value * MM_PER["in"] <= THICKEST_MM:
        hint = f"If it is in inches, write {value * MM_PER['in']:.2f}, or name the column thickness_in"
    raise InputError(f"'{cell.text}' {what}", hint=hint)


def read_clock(cell: Cell) -> float:
    """Return a clock position in hours, from 0 to 12."""
    spoken = CLOCK.fullmatch(cell.text)
    if spoken:
        clock = int(spoken[1]) + int(spoken[2]) / 60.0
    else:
        clock = read_number(cell.text, unit="", decimal_comma=cell.decimal_comma)
    if not 0.0 <= clock <= 12.99:
        raise InputError(
            f"'{cell.text}' is not a clock position", hint="Write hours from 0 to 12, such as 6, 4.5 or 4:30"
        )
    return clock % 12.0


WALLS = Layout(
    kind="a sheet of wall readings",
    columns={
        "station": Quantity(LENGTH),
        "thickness": Quantity(LENGTH, _thickness),
        "clock": Words(read_clock),
        "note": Words(),
    },
    needed={"station": "Add station_in", "clock": "Add clock", "thickness": "Add thickness_in"},
    names="Known are station and thickness (each with _in or _mm), clock and note",
)


def read_walls(path: str | Path, port: Port | None = None, display: Display | None = None) -> tuple[WallReading, ...]:
    """Return the wall readings in a CSV file or a workbook.

    Columns station_in (or _mm), clock (hours, 4.5 or 4:30) and thickness_in (or _mm). port : that all of them must be
    of. display : the unit that a refusal is in. Raises InputError naming file, row, column and hint of all that is
    wrong.
    """
    return walls_from(read_bounded(path, FILE_LIMIT), str(path), port, display)


def walls_from(
    source: Source, file: str, port: Port | None = None, display: Display | None = None
) -> tuple[WallReading, ...]:
    """Return the wall readings in a file's bytes, or that rows in hand make. Raises InputError as `read_walls` does."""
    with naming(file):
        table = read_table(source, file)
        sheet = Rows.not_none(table, WALLS)
        readings = tuple(_reading(row) for row in sheet.rows)
        if port is not None:
            for row in sheet.rows:
                tell_outside(row, port, display or port.display)
        sheet.problems.refuse()
    return readings


def _reading(row: Row) -> WallReading:
    for name in WALLS.needed:
        if row.given(name) is None:
            row.tell_empty(name, "the cell is empty", "Fill it in, or take the row out")
    station, thickness = (row.number_in(name, np.nan) for name in ("station", "thickness"))
    return WallReading(station, row.number_in("clock", np.nan), thickness, f"row {row.number}")


def tell_outside(row: Row, port: Port, display: Display) -> None:
    """Tell of a reading past either opening of its port."""
    first, last = port.centreline.stations[[0, -1]]
    station = row.number_in("station", np.nan)
    if station < first - OPENING_MM or station > last + OPENING_MM:
        row.tell(
            "station",
            f"station {display.length(station)} is outside the port, which runs from "
            f"{display.length(first, label=False)} to {display.length(last)}",
            "Name a station along the centerline, from the entry; check its decimal point and unit",
        )
