"""The section sheet: what a person reads with a micrometer, one row a station.

A CSV file or a workbook, or rows in hand, come in; Readings in millimetres and radians go out, with the notices the
person should see, or a refusal that names the row, the column and the hint of all that is wrong.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from portgeo.core.centreline import turn_and_swing
from portgeo.core.errors import GeometryError, InputError, naming
from portgeo.core.headings import fit_heights
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.section import HEADING_ERROR, PLACE_ERROR_MM, TOOLS, Reading, Shape, Tool, outline_of
from portgeo.core.split import TRUNK
from portgeo.core.units import Display, LengthUnit
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.columns import Column
from portgeo.files.sheets.legs import begun_at_split, check_legs, passages_of, strays_in, swing_notices
from portgeo.files.sheets.named_outlines import Outlines
from portgeo.files.sheets.rows import Row, Rows
from portgeo.files.sheets.section_columns import SECTIONS, SIZES_MM
from portgeo.files.sheets.sense import (
    SAME_STATION_MM,
    check_headings,
    check_marks,
    check_neighbours,
    check_sizes,
    corner_notices,
    heading_notices,
    mixes_units,
    tool_notices,
    unit_notices,
)
from portgeo.files.sheets.side_points import DRAWN_ERROR_MM, Laid, has_points, laid_down
from portgeo.files.sheets.tables import Source, read_table
from portgeo.files.toml.tables import TOML, no_port

SHEET_LIMIT = 5_000_000  # bytes
ROUND_AGREES = 0.005  # two diameters of a round section, as a share
OUTLINE_AGREES = 0.05  # a trace and the micrometer, as a share: more is a wrong scale
LARGEST_ERROR = 0.1  # of the section's least size: more is a wrong unit
CORNERS = ("corner", "corner_roof", "corner_floor")
USELESS: dict[Shape, tuple[str, ...]] = {
    "rect": ("diameter", "outline"), "round": (*CORNERS, "outline"), "oval": (*CORNERS, "diameter", "outline"),
    "outline": (*CORNERS, "diameter"),
}  # fmt: skip
ASSUMED_TOOL: Tool = "micrometer"  # and the result says so


@dataclass(frozen=True)
class Sheet:
    """A section sheet.

    readings : from entry to exit, stations rising; of a port that splits, its trunk's. legs : the readings of each
    leg by its name, none where the port is one passage. warnings : notices for the person. unit : the
    unit most of its columns are in, to print with. sha256 : of the file.
    """

    readings: tuple[Reading, ...]
    warnings: tuple[Notice, ...]
    unit: LengthUnit
    sha256: str
    legs: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)


def read_sheet(path: str | Path, *, reading_error_mm: float | None = None) -> Sheet:
    """Return the section sheet in a CSV file or a workbook.

    reading_error_mm : standard uncertainty of rows that give none, what their tool reads to by default. Raises
    InputError and GeometryError, naming file, row as the spreadsheet counts it, and column.
    """
    if Path(path).suffix.lower() == TOML:
        raise no_port(path)
    return sheet_from(read_bounded(path, SHEET_LIMIT), str(path), Path(path).parent, reading_error_mm=reading_error_mm)


def sheet_from(
    source: Source, file: str, folder: Path, *, unit: LengthUnit | None = None, reading_error_mm: float | None = None
) -> Sheet:
    """Return the section sheet in a file's bytes, or that rows in hand make.

    file : its name, for refusals. folder : where its outlines are. unit : of lengths whose column says none. Raises
    InputError and GeometryError as `read_sheet` does.
    """
    default_error = None if reading_error_mm is None else float(reading_error_mm)
    if default_error is not None and not 0.0 <= default_error < SIZES_MM[1]:
        raise InputError(
            f"a reading error of {default_error} mm makes no sense",
            hint="Give one such as 0.025 mm (0.001 in)",
        )
    with naming(file):
        table = read_table(source, file)
        if not table.rows:
            raise InputError("the sheet has no header and no rows", hint="Fill in a header and a row a station")
        sheet = Rows(table, SECTIONS, unit)
        rows, columns, problems = sheet.rows, sheet.columns, sheet.problems
        if len(rows) < 2 and not problems:
            problems.add(
                InputError(
                    f"the sheet has {len(rows)} row(s) of readings, and a port needs two or more",
                    hint="Type a row for each station under the header; lines that begin with # are not read",
                )
            )
        shown = _unit_of(columns)
        passages = passages_of(rows)
        if strays_in(passages) or mixes_units(rows, columns):
            problems.refuse()  # all else that is wrong follows from it
        check_legs(passages, Display(shown))
        outlines = Outlines(folder, shown)
        read = {name: _passage(own, default_error, outlines, columns, Display(shown)) for name, own in passages.items()}
        read |= {name: begun_at_split(own, read[TRUNK]) for name, own in read.items() if name != TRUNK}
        if not problems:
            read |= {name: _evened(_with_own_headings(own, columns)) for name, own in read.items()}
        for name, own in passages.items():
            check_neighbours(own, read[name], Display(shown))
            check_headings(own, None if name == TRUNK else passages[TRUNK])
            check_marks(own)
        problems.refuse()
        readings = tuple(reading for own in read.values() for reading in own)
        rows = [row for own in passages.values() for row in own]
        legs = {name: own for name, own in read.items() if name != TRUNK}
        notices = (
            *corner_notices(rows, readings),
            *unit_notices(readings, shown),
            *heading_notices(columns),
            *tool_notices(rows),
            *swing_notices(read),
        )
    return Sheet(read[TRUNK], notices, shown, table.sha256, legs)


def _passage(
    rows: Sequence[Row], default_error: float | None, outlines: Outlines, columns: dict[str, Column], display: Display
) -> tuple[Reading, ...]:
    """Return the rows of one passage as readings, with nan for what is told to be wrong."""
    check_sizes(rows)
    laid = laid_down(rows, display)
    return tuple(_reading(row, lies, default_error, outlines, display) for row, lies in zip(rows, laid, strict=True))


def _with_own_headings(readings: tuple[Reading, ...], columns: dict[str, Column]) -> tuple[Reading, ...]:
    """Return readings whose places alone are given with the headings of a smooth curve through them.

    A cubic spline over the lengths of the chords (de Boor, A Practical Guide to Splines, 1978); given headings hold.
    How far each heading may be off against the entry's follows from how well places are read, unless it is given:
    a spline's slopes are sums of its places.
    """
    places = [r.place for r in readings if r.place is not None]
    if columns.keys() & {"turn", "swing"} or len(places) < len(readings):
        return readings
    points = np.array(places)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    if (np.diff(along) < SAME_STATION_MM).any():
        return readings  # two rows in one place: refused by what follows
    from scipy.interpolate import CubicSpline

    slopes = CubicSpline(along, np.eye(len(points)))(along, 1)
    ways = slopes @ points
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    errors = PLACE_ERROR_MM * np.linalg.norm(slopes - slopes[0], axis=1)
    return tuple(
        replace(r, turn=turn, swing=swing, turn_error=r.turn_error if "turn_error" in columns else float(error))
        for r, (turn, swing), error in zip(readings, map(turn_and_swing, ways), errors, strict=True)
    )


def _unit_of(columns: dict[str, Column]) -> LengthUnit:
    """Return the unit of most length columns; the station's where they are even."""
    count = Counter(column.unit for column in columns.values() if column.unit in ("in", "mm"))
    inches, millimetres = count["in"], count["mm"]
    if inches == millimetres:
        return "in" if "station" in columns and columns["station"].unit == "in" else "mm"
    return "in" if inches > millimetres else "mm"


def _reading(row: Row, laid: Laid | None, default_error: float | None, outlines: Outlines, display: Display) -> Reading:
    """Return a row as a reading, with nan for what is told to be wrong. laid : how its section lies by points."""
    if row.given("station") is None and not has_points(row):
        row.tell_empty("station", "the station is empty", "Write the distance along the centerline from the entry")
    tool = row.given("tool") or ASSUMED_TOOL
    error = row.given("reading_error")
    reading = Reading(
        row=row.number,
        station=row.number_in("station", np.nan),
        shape=row.given("shape") or "rect",
        turn=row.number_in("turn", 0.0),
        swing=row.number_in("swing", 0.0),
        rise=row.number_in("rise", 0.0),
        shift=row.number_in("shift", 0.0),
        place=_place(row),
        error=next(e for e in (error, default_error, TOOLS[tool][0]) if e is not None and not np.isnan(e)),
        tool=tool,
        zero_error=row.given("zero_error"),
        turn_error=row.number_in("turn_error", HEADING_ERROR),
        note=row.text("note"),
        mark=row.given("mark") or (),
        nose_radius=row.given("nose_radius"),
    )
    if laid is not None:
        reading = _with_lie(row, reading, laid)
    elif has_points(row):
        return reading  # how it lies hangs on a row that is told to be wrong
    if row.told("shape") or _tell_useless(row, reading.shape):
        return reading
    reading = _traced(row, reading, outlines) if reading.shape == "outline" else _OF_SHAPE[reading.shape](row, reading)
    for name, off in (("reading_error", error), ("zero_error", reading.zero_error)):
        if off is not None and off > LARGEST_ERROR * np.minimum(reading.height, reading.width):
            cell = row.cell(name)
            row.tell(name, f"{cell.own(off)} is a large part of the section", cell.unit_mend)
    if not np.isfinite((reading.height, reading.width, reading.corner_roof, reading.corner_floor)).all():
        return reading
    try:
        outline_of(reading)
    except GeometryError:
        _tell_corner(row, reading, display)
    return reading


def _with_lie(row: Row, reading: Reading, laid: Laid) -> Reading:
    """Return a row's reading at the place that its points give it, and with the sizes that they give it."""
    bore = reading.shape == "round" and any(row.given(name) is not None for name in ("diameter", "height", "width"))
    sizes = {
        name: size
        for name, size in (("height", laid.height), ("width", laid.width))
        if size is not None and row.given(name) is None and reading.shape != "outline" and not bore
    }
    return replace(
        reading,
        station=laid.station,
        turn=laid.turn,
        swing=laid.swing,
        turn_error=laid.turn_error,
        points=laid.points,
        height=sizes.get("height", 0.0),
        width=sizes.get("width", 0.0),
        drawn=(laid.height, DRAWN_ERROR_MM) if "height" in sizes else None,
        width_error=DRAWN_ERROR_MM / float(np.cos(laid.swing)) if "width" in sizes else None,
    )


def _evened(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Return readings with heights that were read off points evened out along the port, as far as they allow.

    Two points say a height to a fiftieth of it: as it is, the floor would waver from row to row.
    """
    if all(r.points is None for r in readings):
        return readings
    by_points = [r.drawn is not None for r in readings]
    known = tuple(r if r.drawn is not None else replace(r, drawn=(r.height, r.error)) for r in readings)
    fit = fit_heights(known)
    if fit is None:
        return readings
    told = fit.told(fit.readings.stations)
    return tuple(
        replace(r, height=float(h), width=float(h) if r.shape == "round" else r.width) if drawn else r
        for r, h, drawn in zip(known, told, by_points, strict=True)
    )


def _place(row: Row) -> FloatArray | None:
    given = {name: row.given(name) for name in ("x", "y", "z")}
    if all(value is None for value in given.values()):
        return None
    empty = next((name for name, value in given.items() if value is None), None)
    if empty is not None:
        row.tell(empty, "a place needs x, y and z, and this one is empty", "Write all three or none")
    return np.array([row.number_in(name, np.nan) for name in given])


def _rect(row: Row, reading: Reading) -> Reading:
    height, width = _required(row, "height", reading.height), _required(row, "width", reading.width)
    both, roof, floor = (row.given(name) for name in ("corner", "corner_roof", "corner_floor"))
    if row.text("corner") and (row.text("corner_roof") or row.text("corner_floor")):
        row.tell("corner", "the row gives one corner radius and separate ones too", "Leave one or the other empty")
    roof = both if both is not None else roof or 0.0
    floor = both if both is not None else floor or 0.0
    # A full-radius end is often read a hair over half the width: the readings' own error forgives it.
    forgiven = 2.0 * reading.error
    if roof + floor > height and roof + floor <= height + forgiven:
        roof, floor = (radius * height / (roof + floor) for radius in (roof, floor))
    roof, floor = (width / 2.0 if width / 2.0 < r <= width / 2.0 + forgiven else r for r in (roof, floor))
    return replace(reading, height=height, width=width, corner_roof=roof, corner_floor=floor)


def _round(row: Row, reading: Reading) -> Reading:
    given = {name: row.given(name) for name in ("diameter", "height", "width")}
    sizes = {name: value for name, value in given.items() if value is not None}
    if not sizes and reading.height:
        return replace(reading, width=reading.height)
    if not sizes:
        row.tell_empty("diameter", "a round section has no diameter", "Write its diameter, height or width")
        return replace(reading, height=np.nan, width=np.nan)
    read = {name: value for name, value in sizes.items() if not np.isnan(value)}
    if read:
        least, most = min(read, key=read.__getitem__), max(read, key=read.__getitem__)
        if read[most] > read[least] * (1.0 + ROUND_AGREES):
            row.tell(
                most,
                f"the section is round, but its {most} is {row.cell(most).own(read[most])} and its {least} "
                f"{row.cell(least).own(read[least])}",
                "Write oval in the shape column, or fix the reading",
            )
    diameter = float(np.mean(list(sizes.values())))
    return replace(reading, height=diameter, width=diameter)


def _oval(row: Row, reading: Reading) -> Reading:
    return replace(
        reading, height=_required(row, "height", reading.height), width=_required(row, "width", reading.width)
    )


_OF_SHAPE = {"rect": _rect, "round": _round, "oval": _oval}


def _traced(row: Row, reading: Reading, outlines: Outlines) -> Reading:
    lost = replace(reading, height=np.nan, width=np.nan)
    if not row.text("outline"):
        row.tell_empty(
            "outline", "the shape is outline, but no file is named", "Write the file with the traced outline"
        )
        return lost
    outline = outlines.named(row)
    if outline is None:
        return lost
    width, height = (float(extent) for extent in np.ptp(outline, axis=0))
    for side, traced in (("height", height), ("width", width)):
        read = row.number_in(side, np.nan)
        if abs(traced - read) > OUTLINE_AGREES * read:
            own = row.cell(side).own
            row.tell(
                side,
                f"the trace has a {side} of {own(traced)}, but was read as {own(read)}",
                "Check the unit and scale of the drawing, or fix the reading",
            )
    return replace(reading, outline=outline, height=height, width=width)


def _required(row: Row, name: str, drawn: float) -> float:
    """Return a size in mm, nan where there is none. drawn : what points of a side view make it, 0 without any."""
    if row.given(name) is None and not drawn:
        row.tell_empty(name, f"the {name} is empty", f"Write the {name} that the micrometer read")
    return row.number_in(name, drawn or np.nan)


def _tell_useless(row: Row, shape: Shape) -> bool:
    """Tell of what a shape has no use for, rather than drop it in silence; return whether there is any.

    Its shape may be the slip: nothing else is told of such a row's sizes.
    """
    useless = [
        name for name in USELESS[shape] if row.text(name) and not (name.startswith("corner") and row.given(name) == 0.0)
    ]
    for name in useless:
        what = f"a section of shape {shape} has no {name.replace('_', ' ')}"
        row.tell(name, what, "Fix the shape or empty the cell")
    return bool(useless)


def _tell_corner(row: Row, reading: Reading, display: Display) -> None:
    length = display.length
    name = "corner" if row.text("corner") else "corner_roof" if row.text("corner_roof") else "corner_floor"
    row.tell(
        name,
        f"corner radii of {length(reading.corner_roof)} (roof) and {length(reading.corner_floor)} (floor) do "
        f"not fit into a section {length(reading.height)} high and {length(reading.width)} wide",
        "A corner radius is at most half the width, and roof and floor together at most the height",
        kind=GeometryError,
    )
