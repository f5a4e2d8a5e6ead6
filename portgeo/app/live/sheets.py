"""A sheet of any kind, by its file's name: a CSV file or an XLSX to type into, an XLS or ODS to read.

A file's bytes come in; the sheet goes out.
"""

from __future__ import annotations

from pathlib import Path

from portgeo.app.live.documents import CsvSheet
from portgeo.app.live.workbook import XlsxSheet
from portgeo.files.sheets.tables import WORKBOOKS, read_table

TYPED_INTO = (".xlsx", ".xlsm")  # of the workbooks


class ReadSheet:
    """A workbook of a kind that is read and not written: its rows, and a refusal of every edit."""

    can_write = False
    notes = ("This kind of workbook can be read but not written: save it beside as .csv to type into it",)

    def __init__(self, data: bytes, file: str) -> None:
        """Read a file's bytes. Raises InputError, naming the file, where they are no table."""
        table = read_table(data, file)
        self.file = file
        self._numbers = [number for number, _ in table.rows]
        self.header = list(table.rows[0][1]) if table.rows else []
        width = len(self.header)
        self.rows = [[*cells, *[""] * width][:width] for _, cells in table.rows[1:]]

    @property
    def header_number(self) -> int:
        """The number that a refusal gives to the header."""
        return self._numbers[0] if self._numbers else 1

    def is_formula(self, row: int, index: int) -> bool:
        """Return whether a cell is counted and not typed: nobody types here."""
        return False

    def row_of(self, number: int | None) -> int | None:
        """Return the row that a refusal's number means, None where it is of none."""
        return self._numbers.index(number) if number in self._numbers[1:] else None


Sheet = CsvSheet | XlsxSheet | ReadSheet


def sheet_of(data: bytes, file: str) -> Sheet:
    """Return a sheet by its file's name. Raises InputError where it is none."""
    kind = Path(file).suffix.lower()
    if kind in TYPED_INTO:
        return XlsxSheet(data, file)
    return ReadSheet(data, file) if kind in WORKBOOKS else CsvSheet(data, file)
