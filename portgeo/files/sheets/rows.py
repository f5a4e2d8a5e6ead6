"""The rows of a sheet: every cell read as its column is declared, and what is wrong with any of them told at once.

A table and the layout of its kind of sheet come in; rows of values go out. A number that cannot be read is nan, with
which no comparison holds, so that nothing more is told of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Self

from portgeo.core.errors import InputError, PortgeoError, Problem, Problems
from portgeo.core.units import LengthUnit
from portgeo.files.sheets.columns import Cell, Column, Layout, Quantity, named_columns
from portgeo.files.sheets.tables import Table


class Row:
    """One row's cells by what their columns mean, numbers in the package's own units."""

    def __init__(self, number: int, cells: Sequence[str], sheet: Rows) -> None:
        self.number, self._cells, self._sheet = number, cells, sheet
        self._values: dict[str, Any] = {}
        self._told: set[str] = set()
        for name, column in sheet.columns.items():
            if sheet.lost(number, column):
                self._lose(name)
            elif self.text(name):
                try:
                    self._values[name] = sheet.layout.columns[name].read(self.cell(name))
                except InputError as refusal:
                    self.tell(name, refusal.what, refusal.hint)

    def cell(self, name: str) -> Cell:
        """Return a cell of a column that the sheet has."""
        return Cell(self._sheet.columns[name], self.text(name), self._sheet.decimal_comma)

    def text(self, name: str) -> str:
        """Return what stands in a cell, "" where there is none."""
        column = self._sheet.columns.get(name)
        return self._cells[column.index] if column and column.index < len(self._cells) else ""

    def written(self, name: str) -> str:
        """Return the name of a column as the person wrote it."""
        column = self._sheet.columns.get(name)
        return column.written if column else name

    def given(self, name: str) -> Any:
        """Return what a cell says, None where it is empty; of one that is told already nan, or None for words."""
        if name in self._values or not self.told(name):
            return self._values.get(name)
        return math.nan if isinstance(self._sheet.layout.columns[name], Quantity) else None

    def number_in(self, name: str, default: float) -> float:
        """Return the number in a cell, nan where it is told already and the default where it is empty."""
        value = self.given(name)
        return default if value is None else float(value)

    def told(self, name: str) -> bool:
        """Return whether something was told of a cell, or of the column that it may be in."""
        return name in self._told or (self._sheet.header_told and name not in self._sheet.columns)

    def tell(
        self, name: str, what: str, hint: str, where: str | None = None, kind: type[PortgeoError] = InputError
    ) -> None:
        """Tell what is wrong with a cell, and go on without it. where : in words, of more than the cell."""
        if not self.told(name):
            self._lose(name)
            self._sheet.problems.add(kind(what, hint=hint, where=where, row=self.number, column=self.written(name)))

    def tell_all(self, name: str, refusal: PortgeoError, place: Callable[[Problem], str]) -> None:
        """Tell all that is wrong with what a cell names. place : in words, of a problem."""
        row, column = self.number, self.written(name)
        for problem in () if self.told(name) else refusal.problems:
            what = f"{place(problem)}: {problem.what}"
            self._sheet.problems.add(type(refusal)(what, hint=problem.hint, row=row, column=column))
        self._lose(name)

    def tell_empty(self, name: str, what: str, hint: str) -> None:
        """Tell that a cell is empty; of a column that the sheet does not have, once."""
        if name in self._sheet.columns or name not in self._sheet.missed:
            self._sheet.missed.add(name)
            self.tell(name, what, hint)
        self._lose(name)

    def _lose(self, name: str) -> None:
        self._told.add(name)
        self._values.pop(name, None)


class Rows:
    """All rows of a sheet. Raises nothing: what is wrong is in `problems`, to be told when all has been looked at."""

    def __init__(self, table: Table, layout: Layout, unit: LengthUnit | None = None) -> None:
        """Read a table. unit : of lengths whose column says none."""
        self.layout, self.decimal_comma = layout, table.decimal_comma
        self.problems = Problems(columns=table.rows[0][1])
        self.columns = named_columns(layout, table.rows[0], table.rows[1:], self.problems, unit)
        self.header_told = len(self.problems) > 0
        self.missed: set[str] = set()
        self._bad = {(problem.row, problem.column) for problem in table.problems}
        for problem in table.problems:
            self.problems.add(InputError.of([problem]))
        self.rows = [Row(number, cells, self) for number, cells in table.rows[1:]]

    @classmethod
    def not_none(cls, table: Table, layout: Layout) -> Self:
        """Read a table that must have a row under its header. Raises InputError."""
        if len(table.rows) < 2:
            raise InputError(
                f"the {layout.kind.removeprefix('a ')} has no rows",
                hint="Type a header and under it a row a reading; lines that begin with # are not read",
            )
        return cls(table, layout)

    def lost(self, row: int, column: Column) -> bool:
        """Return whether a cell, or its whole row, could not be taken from the file."""
        return bool({(row, None), (row, column.written)} & self._bad)
