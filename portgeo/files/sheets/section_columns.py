"""The columns of a section sheet, and what a cell of each may say."""

from __future__ import annotations

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.section import MARKS, TOOLS, Mark, Shape, Tool
from portgeo.core.split import TRUNK
from portgeo.files.sheets.columns import ANGLE, LENGTH, Cell, Layout, Quantity, Words

SIZES_MM = (1.0, 1000.0)  # no port's height or width is outside: the unit must be wrong
LONGEST_MM = 5000.0  # and no port or runner is longer
LONGEST_NAME = 20  # letters of a leg's name
LARGEST_TURN_ERROR = np.radians(30.0)  # more is no reading
SHAPES: tuple[Shape, ...] = ("rect", "round", "oval", "outline")
ALSO_CALLED = {"rectangle": "rect", "circle": "round", "ellipse": "oval"}


def _signed(cell: Cell, value: float) -> None:
    if abs(value) > LONGEST_MM:
        raise InputError(f"{cell.own(value)} is longer than any port", hint=cell.unit_mend)


def _length(cell: Cell, value: float) -> None:
    if value < 0.0:
        raise InputError(f"{cell.shown} is negative", hint="Write a length of zero or more")
    _signed(cell, value)


def _size(cell: Cell, value: float) -> None:
    if value <= 0.0:
        raise InputError(f"{cell.shown} is not more than zero", hint="Write what the micrometer read")
    if not SIZES_MM[0] <= value <= SIZES_MM[1]:
        kind = "smaller" if value < SIZES_MM[0] else "larger"
        raise InputError(f"{cell.own(value)} is {kind} than any port", hint=cell.unit_mend)


def _angle(cell: Cell, value: float) -> None:
    if abs(value) > 2.0 * np.pi:
        raise InputError(f"{cell.text} degrees is more than a full turn", hint="Write the heading turned so far")


def _turn_error(cell: Cell, value: float) -> None:
    if not 0.0 <= value <= LARGEST_TURN_ERROR:
        most = f"{np.degrees(LARGEST_TURN_ERROR):.0f} degrees"
        hint = f"Write what you trust the heading to, from 0 to {most}"
        raise InputError(f"a heading known to {cell.text} degrees", hint=hint)


def _shape(cell: Cell) -> Shape:
    word = cell.text.lower()
    for shape in SHAPES:
        if ALSO_CALLED.get(word, word) == shape:
            return shape
    raise InputError(f"{cell.shown} is not a shape", hint="Write rect, round, oval or outline")


def _tool(cell: Cell) -> Tool:
    for tool in TOOLS:
        if cell.text.lower() == tool:
            return tool
    raise InputError(f"{cell.shown} is not a tool", hint=f"Write {', '.join([*TOOLS][:-1])} or {[*TOOLS][-1]}")


def _marks(cell: Cell) -> tuple[Mark, ...]:
    """Return what a row is marked as, several words with a space or a comma between."""
    words = cell.text.casefold().replace(",", " ").split()
    for word in words:
        if word not in MARKS:
            hint = f"Write {', '.join(MARKS)}, or several with a space"
            raise InputError(f"{word[:40]!r} is not a mark", hint=hint)
    return tuple(mark for mark in MARKS if mark in words)


def _leg(cell: Cell) -> str:
    name = " ".join(cell.text.split())
    if len(name) > LONGEST_NAME or name.casefold() == TRUNK:
        hint = f"Write a short name such as left or right, of {LONGEST_NAME} letters at the most; leave it empty for "
        raise InputError(f"{cell.shown[:60]} is not the name of a leg", hint=hint + "the trunk")
    return name


SECTIONS = Layout(
    kind="a section sheet",
    columns={
        "station": Quantity(LENGTH, _length),
        **{name: Quantity(LENGTH, _size) for name in ("height", "width", "diameter")},
        **{name: Quantity(LENGTH, _length) for name in ("corner", "corner_roof", "corner_floor")},
        **{name: Quantity(LENGTH, _signed) for name in ("rise", "shift")},
        **{name: Quantity(LENGTH, _length) for name in ("reading_error", "zero_error")},
        **{name: Quantity(LENGTH, _signed) for name in ("x", "y", "z")},
        **{f"{end}_{axis}": Quantity(LENGTH, _signed) for end in ("floor", "roof") for axis in "xz"},
        **{f"{side}_y": Quantity(LENGTH, _signed) for side in ("left", "right")},
        **{name: Quantity(ANGLE, _angle) for name in ("turn", "swing")},
        "turn_error": Quantity(ANGLE, _turn_error),
        "nose_radius": Quantity(LENGTH, _length),
        "shape": Words(_shape),
        "outline": Words(),
        "tool": Words(_tool),
        "mark": Words(_marks),
        "leg": Words(_leg),
        "note": Words(),
    },
    needed={"station": "Add station_in or station_mm, the distance along the centerline from the entry"},
    instead={"station": "floor_x"},
    other_kinds={"a bench sheet": ("lift", "flow"), "a sheet of wall readings": ("clock", "thickness")},
    uses={"a sheet of wall readings": "this one goes into a target, as wall_readings under [limits]"},
    names="The first row that is not a # comment holds the names of the columns: station, height, width, "
    "diameter, corner, corner_roof, corner_floor, rise, shift, reading_error, zero_error, x, y, z, floor_x, "
    "floor_z, roof_x, roof_z, left_y, right_y, nose_radius (each with _in or _mm), "
    "turn_deg, swing_deg, turn_error_deg, shape, outline, tool, mark, leg and note",
)
