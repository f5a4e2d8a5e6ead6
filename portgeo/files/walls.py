"""Wall readings of a sonic tester: a table of station, clock and thickness.

A CSV or XLSX file comes in; readings in millimetres go out, or a refusal that names row and column.
"""

from __future__ import annotations

import re
from pathlib import Path

from portgeo.core.errors import InputError
from portgeo.core.port import Port
from portgeo.core.units import MM_PER, Display
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.columns import plain_name
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.tables import read_table
from portgeo.reshape.limits import WallReading

FILE_LIMIT = 5_000_000  # bytes
THICKEST_MM = 25.4  # 1 in: *common practice, no source*, no port's wall is thicker; 3.5 is a slip for 0.35
THINNEST_MM = 0.5  # 0.020 in: *common practice, no source*, no casting's wall is thinner; 0.134 mm was read in inches
OPENING_MM = 2.0  # past an opening: where a port ends is known no better on an angled face
CLOCK = re.compile(r"(\d{1,2})\s*:\s*(\d{2})")
COLUMNS = {
    **{f"{name}_{unit}": (name, unit) for name in ("station", "thickness") for unit in ("in", "mm")},
    "clock": ("clock", ""),
    "note": ("note", ""),
}


def read_walls(path: str | Path) -> tuple[WallReading, ...]:
    """Return the wall readings in a CSV or XLSX file.

    Columns station_in (or _mm), clock (hours, 4.5 or 4:30) and thickness_in (or _mm). Raises
    InputError naming file, row, column and mend.
    """
    file = str(path)
    try:
        table = read_table(read_bounded(path, FILE_LIMIT), file)
        if len(table.rows) < 2:
            raise InputError(
                "there are no wall readings",
                mend="Type a header and under it a row a reading; lines with # are not read",
            )
        columns = _columns(*table.rows[0])
        return tuple(_reading(row, cells, columns, table.decimal_comma) for row, cells in table.rows[1:])
    except InputError as refusal:
        raise refusal.in_file(file) from None


def read_walls_of(path: str | Path, port: Port, display: Display) -> tuple[WallReading, ...]:
    """Return the wall readings in a CSV or XLSX file, all of them within a port.

    display : the unit that a refusal is in. Raises InputError naming file, row, column and mend.
    """
    readings = read_walls(path)
    first, last = port.centreline.stations[[0, -1]]
    for reading in readings:
        if not first - OPENING_MM <= reading.station <= last + OPENING_MM:
            raise InputError(
                f"station {display.length(reading.station)} is outside the port, which runs from "
                f"{display.length(first, label=False)} to {display.length(last)}",
                file=str(path),
                where=f"{reading.where}, column station",
                mend="Name a station along the centreline, from the entry; check its decimal point and unit",
            )
    return readings


def _columns(row: int, header: tuple[str, ...]) -> dict[str, tuple[int, str]]:
    found: dict[str, tuple[int, str]] = {}
    for index, written in enumerate(header):
        if not written:
            continue
        known = COLUMNS.get(plain_name(written))
        where = f"row {row}, column {written[:60]}"
        if known is None:
            raise InputError("there is no such column", where=where, mend="Known are " + ", ".join(sorted(COLUMNS)))
        if known[0] in found:
            raise InputError("the column comes twice", where=where, mend="Leave one of the two")
        found[known[0]] = index, known[1]
    for name, example in (("station", "station_in"), ("clock", "clock"), ("thickness", "thickness_in")):
        if name not in found:
            raise InputError(f"the header has no {name} column", where=f"row {row}", mend=f"Add {example}")
    return found


def _reading(row: int, cells: tuple[str, ...], columns: dict[str, tuple[int, str]], decimal_comma: bool) -> WallReading:
    def cell(name: str) -> tuple[str, str, str]:
        index, unit = columns[name]
        where = f"row {row}, column {name}{'_' + unit if unit else ''}"
        text = cells[index] if index < len(cells) else ""
        if not text:
            raise InputError("the cell is empty", where=where, mend="Fill it in, or take the row out")
        return text, unit, where

    def length(name: str) -> float:
        text, unit, where = cell(name)
        return read_number(text, unit=unit, decimal_comma=decimal_comma, where=where) * MM_PER[unit]

    thickness = length("thickness")
    if not THINNEST_MM <= thickness <= THICKEST_MM:
        text, unit, where = cell("thickness")
        least, most = (f"{limit / MM_PER[unit]:.{n}g} {unit}" for limit, n in ((THINNEST_MM, 1), (THICKEST_MM, 3)))
        if thickness <= 0.0:
            what = "is not more than zero"
        elif thickness < THINNEST_MM:
            what = f"is thinner than any port's wall, {least}"
        else:
            what = f"is thicker than any port's wall, {most}"
        mend = "Check its decimal point and unit; leave out a reading of solid metal"
        if unit == "mm" and THINNEST_MM <= thickness * MM_PER["in"] <= THICKEST_MM:
            mend = f"If it is in inches, write {thickness * MM_PER['in']:.2f}, or name the column thickness_in"
        raise InputError(f"'{text}' {what}", where=where, mend=mend)
    text, _, where = cell("clock")
    spoken = CLOCK.fullmatch(text.strip())
    if spoken and int(spoken[2]) < 60:
        clock = int(spoken[1]) + int(spoken[2]) / 60.0
    else:
        clock = read_number(text, unit="", decimal_comma=decimal_comma, where=where)
    if not 0.0 <= clock <= 12.99:
        raise InputError(
            f"'{text}' is no clock position",
            where=where,
            mend="Write hours from 0 to 12, such as 6, 4.5 or 4:30",
        )
    return WallReading(length("station"), clock % 12.0, thickness, f"row {row}")
