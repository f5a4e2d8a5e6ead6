"""The traced outlines that a section sheet names, in files beside it.

A row comes in; the outline that its cell names goes out, and what is wrong with the file is told at the row.
"""

from __future__ import annotations

from pathlib import Path

from portgeo.core.errors import InputError, PortgeoError
from portgeo.core.plane import FloatArray
from portgeo.core.units import LengthUnit
from portgeo.files.drawings.outlines import read_outline
from portgeo.files.inside import kept_inside
from portgeo.files.sheets.rows import Row


class Outlines:
    """The traced outlines that a sheet names, each read once."""

    def __init__(self, folder: Path, unit: LengthUnit) -> None:
        """folder : where they are. unit : of those that do not say."""
        self._folder, self._unit = folder, unit
        self._read: dict[str, FloatArray | None] = {}

    def named(self, row: Row) -> FloatArray | None:
        """Return the outline that a row names; None, and its faults are told once, where it cannot be read."""
        name = row.text("outline")
        if name not in self._read:
            self._read[name] = None
            try:
                # A path typed on Windows works elsewhere too.
                path = kept_inside(self._folder, name.replace("\\", "/"))
            except InputError as refusal:
                row.tell("outline", refusal.what, refusal.hint)
                return None
            try:
                self._read[name] = read_outline(path, self._unit)
            except PortgeoError as refusal:
                row.tell_all(
                    "outline", refusal, lambda problem: f"{name}{', ' + problem.where if problem.where else ''}"
                )
        return self._read[name]
