"""Outlines that are typed: a gasket's opening by what is stamped on its box, a traced section by its points.

Lengths as they are typed, or a sheet and its row, come in; an outline as CSV, as the readers of drawings take it, goes
out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

import numpy as np

from portgeo.app.live.sheets import Sheet, sheet_of
from portgeo.app.live.stages import Named
from portgeo.core.errors import InputError, PortgeoError
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.sheets.columns import LENGTH, Layout, Quantity, plain_name
from portgeo.files.sheets.numbers import read_number

if TYPE_CHECKING:
    from portgeo.app.live.draft import Draft

# A traced section as a table to type into.
POINTS = Layout(
    kind="an outline", columns={"x": Quantity(LENGTH), "y": Quantity(LENGTH)}, needed={"x": "", "y": ""},
    names="An outline has x, to the right, and y, up",
)  # fmt: skip
TRACES = (".csv", ".txt")  # of the kinds of outline: those that can be typed
STEPS = 24  # of a corner's quarter: its chords lie within a thousandth of its radius


def rectangle_csv(height: str, width: str, corner: str, unit: LengthUnit) -> bytes:
    """Return a rounded rectangle about its own middle. Raises InputError where the three do not make one."""
    sizes = []
    for name, text in (("height", height), ("width", width), ("corner", corner or "0")):
        try:
            sizes.append(read_number(text, unit=unit, decimal_comma=True))
        except InputError as refusal:
            raise InputError(f"the {name}: {refusal.what}", hint=refusal.hint) from None
    high, wide, radius = sizes
    if not (min(high, wide) * MM_PER[unit] >= 1.0 and max(high, wide) * MM_PER[unit] <= 1000.0):
        raise InputError("no gasket has such an opening", hint=f"Check the sizes: they are in {unit}")
    if not 0.0 <= radius <= min(high, wide) / 2.0:
        raise InputError("the corner is more than half the opening", hint="Check the radius")
    turn = np.linspace(0.0, np.pi / 2.0, STEPS + 1) if radius > 0.0 else np.zeros(1)
    points = []
    for quarter, (x, y) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        at = np.array([x * (wide / 2.0 - radius), y * (high / 2.0 - radius)])
        angle = turn + quarter * np.pi / 2.0
        points.append(at + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    lines = [f"x_{unit},y_{unit}", *(f"{x:.5f},{y:.5f}" for x, y in np.concatenate(points))]
    return ("\n".join(lines) + "\n").encode()


@lru_cache(maxsize=16)
def traces_named(sheet: bytes, file: str) -> list[Named]:
    """Return the outlines that a section sheet names and that may be typed. sheet : its file's bytes."""
    try:
        table = sheet_of(sheet, file)
    except PortgeoError:
        return []
    at = next((k for k, written in enumerate(table.header) if plain_name(written) == "outline"), None)
    names = [] if at is None else [cells[at] for cells in table.rows if cells[at]]
    beside = PurePosixPath(file).parent
    return [
        Named("outline", 0, "", str(beside / name), "points")
        for name in dict.fromkeys(names)
        if PurePosixPath(name).suffix.lower() in TRACES
    ]


@lru_cache(maxsize=64)
def is_trace(data: bytes) -> bool:
    """Return whether a file's first row names x and y: without one its first point would be taken for it."""
    try:
        header = sheet_of(data, "outline.csv").header
    except PortgeoError:
        return False
    return sorted(plain_name(name)[:1] for name in header) == ["x", "y"] and all(
        plain_name(name) in POINTS.known or plain_name(name) in POINTS.columns for name in header
    )


def draw_gasket(draft: Draft, edit: Mapping[str, Any]) -> str:
    """Draw the gasket's opening from its height, width and corner radius, and name it in the job."""
    draft.need_job()
    said = [str(edit[key]) for key in ("height", "width", "corner")]
    name = draft.free_name("gasket.csv")
    draft.add_file(name, rectangle_csv(said[0], said[1], said[2], draft.units))
    draft.key({"table": "gasket", "key": "file", "text": name})
    return f"gasket {said[0]} x {said[1]} x {said[2]}"


def begin_trace(draft: Draft, edit: Mapping[str, Any]) -> str:
    """Lay out the outline of a row to be typed, and name it in the row; with a `name` take a drawing that is there."""
    file, row = str(edit["file"]), int(edit["row"])
    sheet = draft.typed(edit)
    named = named_columns(sheet.header)
    for column in ("shape", "outline"):
        if column not in named:
            draft.column({"file": file, "name": column})
            named[column] = column
    name = edit.get("name")
    if name is None:
        unit = draft.units
        path = draft.free_name(str(PurePosixPath(file).parent / f"{outline_stem(sheet, row)}.csv"))
        draft.add_file(path, f"x_{unit},y_{unit}\n".encode())
        name = PurePosixPath(path).name
    cells = [[row, named["shape"], "outline"], [row, named["outline"], str(name)]]
    cells += [[row, named[corner], ""] for corner in named if corner.startswith("corner")]  # are in the trace
    draft.cells({"file": file, "cells": cells})
    return f"row {row}: outline {name}"


def named_columns(header: Sequence[str]) -> dict[str, str]:
    """Return a sheet's columns as they are written, by their plain names."""
    return {plain_name(written): written for written in header}


def outline_stem(sheet: Sheet, row: int) -> str:
    """Return what the outline of a row is called: by its station, or by its number where it has none."""
    station = next((k for k, name in enumerate(sheet.header) if plain_name(name).startswith("station")), None)
    place = "" if station is None else re.sub(r"[^0-9]+", "-", sheet.rows[row - 1][station]).strip("-")
    return f"outline-{place or f'row-{row}'}"
