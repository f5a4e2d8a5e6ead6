"""The section sheet: what a person reads with a micrometer, one row a station.

A CSV or XLSX file comes in; Readings in millimetres and radians go out, with the notices the person
should see, or a refusal that names the row, the column and the mend.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from portgeo.core.centreline import turn_and_swing
from portgeo.core.errors import GeometryError, InputError, PortgeoError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.section import HEADING_ERROR, MARKS, TOOLS, Mark, Reading, Shape, Tool, outline_of
from portgeo.core.units import LengthUnit
from portgeo.files.disk import read_bounded
from portgeo.files.drawings.outlines import read_outline
from portgeo.files.inside import kept_inside
from portgeo.files.sheets.columns import Column, named_columns
from portgeo.files.sheets.rows import SIZES_MM, Row, refuse_slipped_points
from portgeo.files.sheets.sense import (
    SAME_STATION_MM,
    check_headings,
    check_marks,
    check_neighbours,
    corner_notices,
    heading_notices,
    tool_notices,
    unit_notices,
)
from portgeo.files.sheets.tables import read_table
from portgeo.files.toml.tables import TOML, no_port

SHEET_LIMIT = 5_000_000  # bytes
ROUND_AGREES = 0.005  # two diameters of a round section, as a share
OUTLINE_AGREES = 0.05  # a trace and the micrometer, as a share: more is a wrong scale
LARGEST_ERROR = 0.1  # of the section's least size: more is a wrong unit
LARGEST_TURN_ERROR = np.radians(30.0)  # more is no reading
ASSUMED_TOOL: Tool = "micrometer"  # and the result says so
SHAPES: tuple[Shape, ...] = ("rect", "round", "oval", "outline")


@dataclass(frozen=True)
class Sheet:
    """A section sheet.

    readings : from entry to exit, stations rising. warnings : notices for the person. unit : the
    unit most of its columns are in, to print with. sha256 : of the file.
    """

    readings: tuple[Reading, ...]
    warnings: tuple[Notice, ...]
    unit: LengthUnit
    sha256: str


def read_sheet(path: str | Path, *, reading_error_mm: float | None = None) -> Sheet:
    """Return the section sheet in a CSV or XLSX file.

    reading_error_mm : standard uncertainty of rows that give none, what their tool reads to by default. Raises
    InputError and GeometryError, naming file, row as the spreadsheet counts it, and column.
    """
    if Path(path).suffix.lower() == TOML:
        raise no_port(path)
    return sheet_from(read_bounded(path, SHEET_LIMIT), str(path), Path(path).parent, reading_error_mm=reading_error_mm)


def sheet_from(data: bytes, file: str, folder: Path, *, reading_error_mm: float | None = None) -> Sheet:
    """Return the section sheet in bytes. file : its name, for refusals. folder : where its outlines are."""
    default_error = None if reading_error_mm is None else float(reading_error_mm)
    if default_error is not None and not 0.0 <= default_error < SIZES_MM[1]:
        raise InputError(
            f"a reading error of {default_error} mm makes no sense",
            mend="Give one such as 0.025 mm (0.001 in)",
        )
    try:
        table = read_table(data, file)
        if not table.rows:
            raise InputError("the sheet has no header and no rows", mend="Fill in a header and a row a station")
        columns = named_columns(table.rows[0][1], table.rows[0][0], table.rows[1:])
        if len(table.rows) < 3:
            raise InputError(
                f"the sheet has {len(table.rows) - 1} row(s) of readings, and a port needs two or more",
                mend="Type a row for each station under the header; lines that begin with # are not read",
            )
        unit = _unit_of(columns)
        outlines: dict[str, FloatArray] = {}
        rows = [
            Row(number, cells, columns, table.decimal_comma, folder, unit, outlines) for number, cells in table.rows[1:]
        ]
        if len(rows) > 2:
            refuse_slipped_points(rows)
        readings = tuple(_reading(row, default_error) for row in rows)
        readings = _with_own_headings(readings, columns)
        for before, after in pairwise(zip(rows, readings, strict=True)):
            check_neighbours(*before, *after)
        check_headings(rows)
        check_marks(rows, readings)
        notices = (
            *corner_notices(rows, readings),
            *unit_notices(readings, unit),
            *heading_notices(columns),
            *tool_notices(rows),
        )
    except PortgeoError as error:
        raise error.in_file(file) from error
    return Sheet(readings, notices, unit, hashlib.sha256(data).hexdigest())


def _with_own_headings(readings: tuple[Reading, ...], columns: dict[str, Column]) -> tuple[Reading, ...]:
    """Return readings whose places alone are given with the headings of a smooth curve through them.

    A cubic spline over the lengths of the chords (de Boor, A Practical Guide to Splines, 1978); given headings hold.
    """
    places = [r.place for r in readings if r.place is not None]
    if columns.keys() & {"turn", "swing"} or len(places) < len(readings):
        return readings
    points = np.array(places)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    if (np.diff(along) < SAME_STATION_MM).any():
        return readings  # two rows in one place: refused by what follows
    from scipy.interpolate import CubicSpline

    ways = CubicSpline(along, points)(along, 1)
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    return tuple(
        replace(r, turn=turn, swing=swing) for r, (turn, swing) in zip(readings, map(turn_and_swing, ways), strict=True)
    )


def _unit_of(columns: dict[str, Column]) -> LengthUnit:
    """Return the unit of most length columns; the station's where they are even."""
    count = Counter(column.unit for column in columns.values() if column.unit in ("in", "mm"))
    inches, millimetres = count["in"], count["mm"]
    if inches == millimetres:
        return "in" if columns["station"].unit == "in" else "mm"
    return "in" if inches > millimetres else "mm"


def _reading(row: Row, default_error: float | None) -> Reading:
    station = row.length("station")
    if station is None:
        row.refuse("station", "the station is empty", "Write the distance along the centreline from the entry")
    error, tool = row.length("reading_error"), _tool(row)
    reading = Reading(
        row=row.number,
        station=station,
        shape=_shape(row),
        turn=_angle(row, "turn"),
        swing=_angle(row, "swing"),
        rise=row.length("rise", None) or 0.0,
        shift=row.length("shift", None) or 0.0,
        place=_place(row),
        error=next(e for e in (error, default_error, TOOLS[tool][0]) if e is not None),
        tool=tool,
        turn_error=_turn_error(row),
        note=row.text("note"),
        mark=_marks(row),
    )
    reading = _OF_SHAPE[reading.shape](row, reading)
    if error is not None and error > LARGEST_ERROR * min(reading.height, reading.width):
        row.refuse(
            "reading_error",
            f"{row.own('reading_error', error)} is a large part of the section",
            row.unit_mend("reading_error"),
        )
    try:
        outline_of(reading)
    except GeometryError as refused:
        raise _corner_refusal(row, reading) from refused
    return reading


def _shape(row: Row) -> Shape:
    written = row.text("shape").lower()
    for shape in SHAPES:
        if written == shape:
            return shape
    if not written:
        return "rect"
    row.refuse("shape", f"{row.text('shape')[:40]!r} is no shape", "Write rect, round, oval or outline")


def _tool(row: Row) -> Tool:
    written = row.text("tool").lower()
    for tool in TOOLS:
        if written == tool:
            return tool
    if not written:
        return ASSUMED_TOOL
    row.refuse("tool", f"{row.text('tool')[:40]!r} is no tool", f"Write {', '.join([*TOOLS][:-1])} or {[*TOOLS][-1]}")


def _turn_error(row: Row) -> float:
    error = row.number_in("turn_error")
    if error is None:
        return HEADING_ERROR
    if not 0.0 <= error <= LARGEST_TURN_ERROR:
        row.refuse(
            "turn_error",
            f"a heading known to {row.text('turn_error')} degrees",
            f"Write what you trust the heading to, from 0 to {np.degrees(LARGEST_TURN_ERROR):.0f} degrees",
        )
    return error


def _marks(row: Row) -> tuple[Mark, ...]:
    """Return what a row is marked as, several words with a space or a comma between."""
    words = row.text("mark").casefold().replace(",", " ").split()
    for word in words:
        if word not in MARKS:
            row.refuse("mark", f"{word[:40]!r} is no mark", f"Write {', '.join(MARKS)}, or several with a space")
    return tuple(mark for mark in MARKS if mark in words)


def _angle(row: Row, name: str) -> float:
    angle = row.number_in(name) or 0.0
    if abs(angle) > 2.0 * np.pi:
        row.refuse(name, f"{row.text(name)} degrees is more than a full turn", "Write the heading turned so far")
    return angle


def _place(row: Row) -> FloatArray | None:
    given = {name: row.length(name, None) for name in ("x", "y", "z")}
    if all(value is None for value in given.values()):
        return None
    for name, value in given.items():
        if value is None:
            row.refuse(name, "a place needs x, y and z, and this one is empty", "Write all three or none")
    return np.array(list(given.values()), dtype=float)


def _rect(row: Row, reading: Reading) -> Reading:
    _refuse_given(row, ("diameter", "outline"), "rect")
    height, width = _required(row, "height"), _required(row, "width")
    both, roof, floor = (row.length(name) for name in ("corner", "corner_roof", "corner_floor"))
    if both is not None and (roof is not None or floor is not None):
        row.refuse("corner", "the row gives one corner radius and separate ones too", "Leave one or the other empty")
    roof = both if both is not None else roof or 0.0
    floor = both if both is not None else floor or 0.0
    # A full-radius end is often read a hair over half the width: the readings' own error forgives it.
    forgiven = 2.0 * reading.error
    if roof + floor > height and roof + floor <= height + forgiven:
        roof, floor = (radius * height / (roof + floor) for radius in (roof, floor))
    roof, floor = (width / 2.0 if width / 2.0 < r <= width / 2.0 + forgiven else r for r in (roof, floor))
    return replace(reading, height=height, width=width, corner_roof=roof, corner_floor=floor)


def _round(row: Row, reading: Reading) -> Reading:
    _refuse_given(row, ("corner", "corner_roof", "corner_floor", "outline"), "round")
    given = {name: row.size(name) for name in ("diameter", "height", "width")}
    sizes = {name: value for name, value in given.items() if value is not None}
    if not sizes:
        row.refuse("diameter", "a round section has no diameter", "Write its diameter, height or width")
    least, most = min(sizes, key=sizes.__getitem__), max(sizes, key=sizes.__getitem__)
    if sizes[most] > sizes[least] * (1.0 + ROUND_AGREES):
        row.refuse(
            most,
            f"the section is round, but its {most} is {row.own(most, sizes[most])} and its {least} "
            f"{row.own(least, sizes[least])}",
            "Write oval in the shape column, or mend the reading",
        )
    diameter = float(np.mean(list(sizes.values())))
    return replace(reading, height=diameter, width=diameter)


def _oval(row: Row, reading: Reading) -> Reading:
    _refuse_given(row, ("corner", "corner_roof", "corner_floor", "diameter", "outline"), "oval")
    return replace(reading, height=_required(row, "height"), width=_required(row, "width"))


def _traced(row: Row, reading: Reading) -> Reading:
    _refuse_given(row, ("corner", "corner_roof", "corner_floor", "diameter"), "outline")
    name = row.text("outline")
    if not name:
        row.refuse("outline", "the shape is outline, but no file is named", "Write the file with the traced outline")
    if name not in row.outlines:
        try:
            # A path typed on Windows works elsewhere too.
            path = kept_inside(row.folder, name.replace("\\", "/"))
        except InputError as error:
            row.refuse("outline", error.what, error.mend)
        try:
            row.outlines[name] = read_outline(path, row.unit)
        except PortgeoError as error:
            place = f"{name}, {error.where}" if error.where else name
            raise type(error)(f"{place}: {error.what}", where=row.where("outline"), mend=error.mend) from error
    outline = row.outlines[name]
    width, height = (float(extent) for extent in np.ptp(outline, axis=0))
    for side, traced in (("height", height), ("width", width)):
        read = row.size(side)
        if read is not None and abs(traced - read) > OUTLINE_AGREES * read:
            row.refuse(
                side,
                f"the trace has a {side} of {row.own(side, traced)}, but was read as {row.own(side, read)}",
                "Check the unit and scale of the drawing, or mend the reading",
            )
    return replace(reading, outline=outline, height=height, width=width)


_OF_SHAPE = {"rect": _rect, "round": _round, "oval": _oval, "outline": _traced}


def _required(row: Row, name: str) -> float:
    value = row.size(name)
    if value is None:
        row.refuse(name, f"the {name} is empty", f"Write the {name} that the micrometer read")
    return value


def _refuse_given(row: Row, names: Sequence[str], shape: Shape) -> None:
    """Refuse what a shape has no use for, rather than drop it in silence."""
    for name in names:
        if row.text(name) and not (name.startswith("corner") and row.length(name) == 0.0):
            row.refuse(
                name,
                f"a section of shape {shape} has no {name.replace('_', ' ')}",
                "Mend the shape or empty the cell",
            )


def _corner_refusal(row: Row, reading: Reading) -> GeometryError:
    length = row.display.length
    name = "corner" if row.text("corner") else "corner_roof" if row.text("corner_roof") else "corner_floor"
    return GeometryError(
        f"corner radii of {length(reading.corner_roof)} (roof) and {length(reading.corner_floor)} (floor) do "
        f"not fit into a section {length(reading.height)} high and {length(reading.width)} wide",
        where=row.where(name),
        mend="A corner radius is at most half the width, and roof and floor together at most the height",
    )
