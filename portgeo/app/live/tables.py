"""A sheet as the page shows it: its columns with their labels, its rows, and what is wrong with which cell.

A sheet's file comes in; plain values for JSON go out, with the rows that a port can be made of.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from portgeo.app.live.outline import POINTS
from portgeo.app.live.row_numbers import HEADER, renumbered
from portgeo.app.live.sheets import Sheet
from portgeo.core.errors import PortgeoError, Problem
from portgeo.core.section import MARKS, TOOLS
from portgeo.core.units import LengthUnit
from portgeo.files.drawings.outlines import NOT_CLOSED
from portgeo.files.sheets.columns import Layout, Quantity, plain_name
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.section_columns import SECTIONS, SHAPES
from portgeo.files.sheets.sheet import sheet_from
from portgeo.files.sheets.side_points import SIDE_VIEW

Kind = Literal["sections", "bench", "walls", "points"]
CHOICES: Mapping[str, tuple[str, ...]] = {"shape": SHAPES, "tool": tuple(TOOLS), "mark": MARKS}
IN_PLACE = {"diameter": ("height", "width")}  # columns that do as well, where a sheet lacks one

# What a column is called, and what belongs into it.
LABELS: Mapping[str, tuple[str, str]] = {
    "station": ("Station", "Distance along the middle of the port from the entry"),
    "height": ("Height", "Inside micrometer, roof to floor, across the middle"),
    "width": ("Width", "Inside micrometer, wall to wall, across the middle"),
    "diameter": ("Diameter", "Inside micrometer across a round section"),
    "corner": ("Corners", "Radius of all four corners, by template"),
    "corner_roof": ("Roof corners", "Radius of the corners at the roof, by template"),
    "corner_floor": ("Floor corners", "Radius of the corners at the floor, by template"),
    "rise": ("Rise", "How far the section's middle lies above the line; below is minus"),
    "shift": ("Shift", "How far the section's middle lies left of the line; right is minus"),
    "reading_error": ("Reading ±", "What one reading is trusted to"),
    "zero_error": ("Zero ±", "What the zero is trusted to that all readings share"),
    "x": ("x", "Place of the section's middle, into the port"),
    "y": ("y", "Place of the section's middle, to the left"),
    "z": ("z", "Place of the section's middle, up"),
    "floor_x": ("Floor x", "Floor end of the section on squared paper: into the port from the entry's face"),
    "floor_z": ("Floor z", "Its height over any one level line"),
    "roof_x": ("Roof x", "Roof end of the section on squared paper: into the port from the entry's face"),
    "roof_z": ("Roof z", "Its height over the same level line"),
    "left_y": ("Left y", "Left end of the section in plan: to the left of any one straight line"),
    "right_y": ("Right y", "Its right end, from the same line"),
    "turn": ("Turn", "Heading turned towards the floor, from the way the port started"),
    "swing": ("Swing", "Heading turned towards the right wall, from the way the port started"),
    "turn_error": ("Turn ±", "What a heading is trusted to"),
    "shape": ("Shape", "rect: rounded rectangle; round; oval: an ellipse; outline: a traced file"),
    "outline": ("Outline", "File with the traced outline"),
    "tool": ("Tool", "What the row was read with"),
    "mark": ("Mark", "What stands here; several with a space"),
    "leg": ("Leg", "Name of the leg of a port that splits; blank: the trunk"),
    "nose_radius": ("Nose radius", "Of the divider's edge, by template, in the trunk's last row; blank: it is flat"),
    "note": ("Note", "Any remark"),
    "lift": ("Lift", "Valve lift"),
    "flow": ("Flow", "What the bench read"),
    "depression": ("Depression", "Test pressure of the bench"),
    "swirl": ("Swirl", "What the swirl meter read"),
    "swirl_unit": ("Swirl unit", "What its dial says, such as rpm or ratio; once for the run"),
    "stage": ("Stage", "Which stage of the port the run is of; blank: as the row above"),
    "state": ("Stage", "Which stage of the port the run is of; blank: as the row above"),
    "setup": ("Set-up", "Clay entry, manifold bolted on; blank: as the row above"),
    "clock": ("Clock", "12 the roof, 3 the right wall, 6 the floor, looking in"),
    "thickness": ("Thickness", "Wall, by the sonic tester"),
}  # fmt: skip


POINT_LABELS: Mapping[str, tuple[str, str]] = {
    "x": ("x, right", "To the right of any one upright line, looking into the entry; left is minus"),
    "y": ("y, up", "Over any one level line; below is minus"),
}

# Columns that hold no reading: a row with these alone is not begun, and is as good as blank.
ASIDE = ("station", "shape", "tool", "mark", "note", "reading_error", "zero_error", "turn_error", "leg")
FEWEST_POINTS = 3  # of an outline
SIZES = ("station", "height", "width")  # that a row of the usual shape must have
POINT_SIZES = (*SIDE_VIEW, "width")  # where its ends are read off squared paper


def layout_of(kind: Kind) -> Layout:
    """Return what a kind of sheet may hold. Those of the bench and of walls load much that a port's does not need."""
    if kind == "bench":
        from portgeo.files.bench import BENCH

        return BENCH
    if kind == "walls":
        from portgeo.files.walls import WALLS

        return WALLS
    return POINTS if kind == "points" else SECTIONS


def _read(kind: Kind, data: bytes, file: str, folder: Path) -> None:
    """Read a sheet as the commands do. Raises PortgeoError with all that is wrong in it."""
    if kind == "bench":
        from portgeo.files.bench import bench_from

        bench_from(data, file)
    elif kind == "walls":
        from portgeo.files.walls import walls_from

        walls_from(data, file)
    elif kind == "points":
        from portgeo.files.drawings.outlines import outline_from

        outline_from(data, file, "mm")
    else:
        sheet_from(data, file, folder)


@dataclass(frozen=True)
class Meaning:
    """A column of a sheet: its name as written, what it means and its unit; both "" where it means nothing."""

    written: str
    column: str
    unit: str


@dataclass(frozen=True)
class Looked:
    """A sheet looked through.

    problems : what is wrong, by row and column as the page counts them. missing : readings that are not there yet,
    row and written column, in the order in which they are taken. unit : most of its lengths' own.
    """

    sheet: Sheet
    kind: Kind
    meanings: tuple[Meaning, ...]
    problems: tuple[dict[str, Any], ...]
    missing: tuple[tuple[int, str], ...]

    @property
    def unit(self) -> LengthUnit:
        """The unit of most length columns; the station's where they are even."""
        units = [meaning.unit for meaning in self.meanings if meaning.unit in ("in", "mm")]
        inches, millimetres = units.count("in"), units.count("mm")
        if inches == millimetres:
            station = next((meaning.unit for meaning in self.meanings if meaning.column == "station"), "in")
            return "mm" if station == "mm" else "in"
        return "in" if inches > millimetres else "mm"

    @property
    def bad_rows(self) -> set[int]:
        """Rows that no port is made of: refused, or without a reading that their shape needs."""
        return {p["row"] for p in self.problems if p["row"]} | {row for row, _ in self.missing}

    @property
    def outlines(self) -> tuple[str, ...]:
        """The files with traced outlines that the rows name."""
        at = next((k for k, meaning in enumerate(self.meanings) if meaning.column == "outline"), None)
        return () if at is None else tuple(sorted({cells[at] for cells in self.sheet.rows if cells[at]}))

    def readings(self) -> list[tuple[int, dict[str, str]]]:
        """Return the rows that are neither blank nor bad: their numbers and their cells by column."""
        named = [(k, m.written) for k, m in enumerate(self.meanings) if m.column]
        found = []
        for row, cells in enumerate(self.sheet.rows, start=1):
            said = {name: cells[k] for k, name in named if cells[k]}
            if said and row not in self.bad_rows:
                found.append((row, said))
        return found

    def record(self) -> dict[str, Any]:
        """Return the table for JSON."""
        shown = [k for k, m in enumerate(self.meanings) if m.written]
        return {
            "file": self.sheet.file,
            "kind": self.kind,
            "can_write": self.sheet.can_write,
            "columns": [self._column(self.meanings[k]) for k in shown],
            "rows": [
                {"row": row, "cells": [cells[k] for k in shown]} for row, cells in enumerate(self.sheet.rows, start=1)
            ],
            "problems": list(self.problems),
            "missing": [list(place) for place in self.missing],
            "addable": self._addable(),
            "notes": list(self.sheet.notes),
        }

    def _column(self, meaning: Meaning) -> dict[str, Any]:
        of = layout_of(self.kind).columns.get(meaning.column)
        labels = POINT_LABELS if self.kind == "points" else LABELS
        label, says = labels.get(meaning.column, (meaning.written, ""))
        choices = CHOICES.get(meaning.column)
        return {
            "name": meaning.written,
            "column": meaning.column or meaning.written,
            "unit": meaning.unit,
            "label": label,
            "choices": list(choices) if choices else None,
            "numeric": isinstance(of, Quantity) or meaning.column == "clock",
            "help": says,
            "required": meaning.column in self._required(),
        }

    def _required(self) -> tuple[str, ...]:
        if self.kind != "sections":
            return tuple(layout_of(self.kind).needed)
        return POINT_SIZES if _by_points(self.meanings) else SIZES

    def _addable(self) -> list[dict[str, str]]:
        """Return the columns that the sheet does not have and could: the name to write and the label."""
        there = {meaning.column for meaning in self.meanings}
        found = []
        for name, of in layout_of(self.kind).columns.items():
            unit = next((u for u in (self.unit, *of.units) if u in of.units), "")
            if name not in there:
                found.append({"name": f"{name}_{unit}" if unit else name, "label": LABELS[name][0]})
        return found


def look(sheet: Sheet, data: bytes, kind: Kind, folder: Path) -> Looked:
    """Look a sheet through. data : its file's bytes. folder : where the outlines it names are."""
    layout = layout_of(kind)
    meanings = tuple(
        Meaning(written, *layout.known.get(layout.alike.get(plain_name(written), plain_name(written)), ("", "")))
        for written in sheet.header
    )
    problems: list[dict[str, Any]] = []
    missing: list[tuple[int, str]] = []
    try:
        _read(kind, data, sheet.file, folder)
    except PortgeoError as refusal:
        for problem in refusal.problems:
            _sort(problem, sheet, meanings, problems, missing)
    if kind == "sections":
        problems = _of_begun(problems, sheet, meanings, folder)
        if _by_points(meanings):
            problems, missing = _points_asked_for(problems, missing, sheet, meanings)
    if kind == "points":
        problems, missing = _half_points(problems, sheet, meanings)
    order = {meaning.written: k for k, meaning in enumerate(meanings)}
    missing = sorted(dict.fromkeys(missing), key=lambda place: (place[0], order[place[1]]))
    return Looked(sheet, kind, meanings, tuple(problems), tuple(missing))


def _of_begun(
    problems: list[dict[str, Any]], sheet: Sheet, meanings: tuple[Meaning, ...], folder: Path
) -> list[dict[str, Any]]:
    """Return a sheet's problems as they are without the rows that hold no reading yet.

    Such a row refuses nothing, itself or a neighbour; only a station in it that is no number is told.
    """
    named = [(k, m) for k, m in enumerate(meanings) if m.column]
    said = [{m.written: cells[k] for k, m in named if cells[k]} for cells in sheet.rows]
    read = {m.written for _, m in named if m.column not in ASIDE}
    begun = [row for row, cells in enumerate(said, start=1) if cells.keys() & read]
    if len(begun) == sum(map(bool, said)) or not any(problem["row"] for problem in problems):
        return problems
    station = next((m for _, m in named if m.column == "station"), None)
    kept = [
        problem
        for problem in problems
        if problem["row"] is None or (problem["row"] not in begun and _no_number(said[problem["row"] - 1], station))
    ]

    def page_row(number: int) -> int | None:
        return begun[number - HEADER] if 0 <= number - HEADER < len(begun) else None

    try:
        sheet_from([said[row - 1] for row in begun], sheet.file, folder)
    except PortgeoError as refusal:
        for found in refusal.problems:
            row = None if found.row is None else page_row(found.row)
            if row is not None and (found.column is None or found.column in said[row - 1]):
                kept.append(_shown(found, row, found.column, page_row))
    return kept


def _half_points(
    problems: list[dict[str, Any]], sheet: Sheet, meanings: Sequence[Meaning]
) -> tuple[list[dict[str, Any]], list[tuple[int, str]]]:
    """Take a point of which one number is typed for one that is still to be read. Of a few points nothing is wrong."""
    missing = [
        (row, meaning.written)
        for row, cells in enumerate(sheet.rows, start=1)
        for k, meaning in enumerate(meanings)
        if any(cells) and not cells[k]
    ]
    half = {row for row, _ in missing}
    few = sum(map(any, sheet.rows)) - len(half) < FEWEST_POINTS
    written = {meaning.column: meaning.written for meaning in meanings}
    told = [
        problem | {"column": written.get(problem["column"], problem["column"])}
        for problem in problems
        if problem["row"] not in half and not (few and problem["row"] is None)
    ]
    return told, missing


def _by_points(meanings: Sequence[Meaning]) -> bool:
    """Return whether a sheet is laid out for both ends of each section, read off squared paper."""
    columns = {meaning.column for meaning in meanings}
    return columns >= set(SIDE_VIEW) and "station" not in columns


def _points_asked_for(
    problems: list[dict[str, Any]], missing: list[tuple[int, str]], sheet: Sheet, meanings: Sequence[Meaning]
) -> tuple[list[dict[str, Any]], list[tuple[int, str]]]:
    """Ask for the points where the reader, that saw none yet, asks for what follows from them."""
    ends = [(k, meaning.written) for k, meaning in enumerate(meanings) if meaning.column in SIDE_VIEW]
    asked = [
        (row, written)
        for row, cells in enumerate(sheet.rows, start=1)
        for k, written in ends
        if any(cells) and not cells[k]
    ]
    return [problem for problem in problems if problem["column"] not in ("station", "height")], missing + asked


def _no_number(said: Mapping[str, str], station: Meaning | None) -> bool:
    if station is None or station.written not in said:
        return False
    try:
        read_number(said[station.written], unit=station.unit, decimal_comma=True)
    except PortgeoError:
        return True
    return False


def _sort(
    problem: Problem, sheet: Sheet, meanings: tuple[Meaning, ...], problems: list[dict[str, Any]], missing: list[Any]
) -> None:
    """Put a problem where it belongs: a reading that is not there yet is no fault."""
    row = sheet.row_of(problem.row)
    at = next((k for k, m in enumerate(meanings) if m.written == problem.column), None)
    if row is not None and at is None and problem.column is not None:
        # A column that the sheet lacks: another that does as well is asked for in its place.
        other = IN_PLACE.get(problem.column, ())
        at = next((k for k, m in enumerate(meanings) if m.column in other), None)
    if row is not None and at is not None and not sheet.rows[row - 1][at] and not sheet.is_formula(row, at):
        missing.append((row, meanings[at].written))
        return
    if row is None and problem.row is None and "row(s) of readings" in problem.what:
        return  # an unfinished sheet: told by what is left to read
    problems.append(_shown(problem, row, meanings[at].written if at is not None else problem.column, sheet.row_of))


def _shown(
    problem: Problem, row: int | None, column: str | None, page_row: Callable[[int], int | None]
) -> dict[str, Any]:
    """Return a problem for the page, with the page's own numbers of rows.

    unfinished : of an outline that is no fault while its points are being typed.
    """
    texts = {"what": renumbered(problem.what, page_row), "hint": renumbered(problem.hint, page_row)}
    return {"row": row, "column": column, **texts, "unfinished": NOT_CLOSED in problem.what}
