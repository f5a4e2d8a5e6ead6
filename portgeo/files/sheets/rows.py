"""One row of a section sheet: its cells by the name of their column, with places for messages.

Texts of cells come in; millimetres and radians go out, or a refusal that names row and column.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal, NoReturn

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.units import MM_PER, Display, LengthUnit
from portgeo.files.sheets.columns import Column
from portgeo.files.sheets.numbers import read_number

SLIPPED = (7.0, 14.0)  # times its neighbours: a decimal point is in the wrong place
OTHER_UNIT = (22.0, 29.0)  # times its neighbours: about 25.4, a number in inches among millimetres
ALIKE = 2.5  # times one another, at most, that the neighbours must be to be gone by
SIZES_MM = (1.0, 1000.0)  # no port's height or width is outside: the unit must be wrong
LONGEST_MM = 5000.0  # and no port or runner is longer


class Row:
    """One row's cells, read by the name of their column, in millimetres and radians."""

    def __init__(
        self,
        number: int,
        cells: Sequence[str],
        columns: dict[str, Column],
        decimal_comma: bool,
        folder: Path,
        unit: LengthUnit,
        outlines: dict[str, FloatArray],
    ) -> None:
        self.number, self.folder, self.unit, self.outlines = number, folder, unit, outlines
        self.display = Display(unit)
        self._cells, self._columns, self._decimal_comma = cells, columns, decimal_comma

    def where(self, name: str) -> str:
        """Return the place of a cell, with the column as the person wrote it."""
        column = self._columns.get(name)
        return f"row {self.number}, column {column.written if column else name}"

    def refuse(self, name: str, what: str, mend: str) -> NoReturn:
        raise InputError(what, where=self.where(name), mend=mend)

    def text(self, name: str) -> str:
        column = self._columns.get(name)
        return self._cells[column.index] if column and column.index < len(self._cells) else ""

    def number_in(self, name: str) -> float | None:
        """Return a number in millimetres or radians; None where the cell is empty."""
        text = self.text(name)
        if not text:
            return None
        unit = self._columns[name].unit
        where = self.where(name)
        value = read_number(text, unit=unit, decimal_comma=self._decimal_comma, where=where)
        return float(np.radians(value)) if unit == "deg" else value * MM_PER[unit]

    def length(self, name: str, least: float | None = 0.0) -> float | None:
        """Return a length in millimetres, at least `least`."""
        value = self.number_in(name)
        if value is not None and least is not None and value < least:
            self.refuse(name, f"{self.text(name)!r} is negative", "Write a length of zero or more")
        if value is not None and abs(value) > LONGEST_MM:
            self.refuse(name, f"{self.own(name, value)} is longer than any port", self.unit_mend(name))
        return value

    def size(self, name: str) -> float | None:
        """Return a height, width or diameter in millimetres."""
        value = self.number_in(name)
        if value is None:
            return None
        if value <= 0.0:
            self.refuse(name, f"{self.text(name)!r} is not more than zero", "Write what the micrometer read")
        if not SIZES_MM[0] <= value <= SIZES_MM[1]:
            kind = "smaller" if value < SIZES_MM[0] else "larger"
            self.refuse(name, f"{self.own(name, value)} is {kind} than any port", self.unit_mend(name))
        return value

    def own(self, name: str, value: float) -> str:
        """Return a length in its column's unit."""
        unit = self._columns[name].unit
        return f"{value / MM_PER[unit]:.6g} {unit}"

    def unit_slip(self, name: str, larger: bool) -> str:
        """Return the question whether one cell is in the other unit, of a number too large or too small."""
        unit = self._columns[name].unit
        if larger == (unit == "in"):
            other, value = ("mm", 1.0 / MM_PER["in"]) if unit == "in" else ("inches", MM_PER["in"])
            number = (self.number_in(name) or 0.0) / MM_PER[unit] * value
            return f"Is it in {other}? Then write {number:.4g}; else check what was typed"
        return "Check what was typed"

    def unit_mend(self, name: str) -> str:
        unit = self._columns[name].unit
        other = "mm" if unit == "in" else "in"
        return f"If it is in {other}, name the column {name}_{other}; else check what was typed"


def refuse_slipped_points(rows: Sequence[Row]) -> None:
    """Refuse a height, width or diameter that is ten or 25.4 times, or such a part of, what its neighbours are.

    Lofted, the fault would show elsewhere, and another row would be blamed. At the first and last
    row, where a port may open ten times as wide, only one size that is off while another is not is refused.
    """
    for k, row in enumerate(rows):
        beside = [rows[j] for j in ((k - 1, k + 1) if 0 < k < len(rows) - 1 else (1, 2) if k == 0 else (k - 1, k - 2))]
        slipped = {name: _slipped(row, beside, name) for name in ("height", "width", "diameter") if row.text(name)}
        at_end = k in (0, len(rows) - 1)
        if not any(slipped.values()) or (at_end and all(slip == "point" for slip in slipped.values())):
            continue
        name = next(name for name, slip in slipped.items() if slip)
        value, near = row.size(name), [other.size(name) for other in beside]
        assert value is not None and None not in near
        read = " and ".join(row.own(name, size) for size in near if size is not None)
        larger = value > (near[0] or 0.0)
        if slipped[name] == "unit":
            times, mend = "25.4 times" if larger else "1/25.4 of", row.unit_slip(name, larger)
        else:
            times, mend = "ten times" if larger else "a tenth of", "Look for a decimal point in the wrong place"
        row.refuse(name, f"{row.own(name, value)} is about {times} what the rows beside it read ({read})", mend)


def _slipped(row: Row, beside: Sequence[Row], name: str) -> Literal["point", "unit"] | None:
    """Return what slipped in a size that its neighbours, alike, are far from: the decimal point or the unit."""
    size, near = row.size(name), [other.size(name) for other in beside]
    if size is None or near[0] is None or near[1] is None or not 1.0 / ALIKE < near[0] / near[1] < ALIKE:
        return None
    ratio = size / float(np.sqrt(near[0] * near[1]))
    times = max(ratio, 1.0 / ratio)
    if OTHER_UNIT[0] < times < OTHER_UNIT[1]:
        return "unit"
    return "point" if SLIPPED[0] < times < SLIPPED[1] else None
