"""Tables as people save them: CSV with any usual separator and encoding, a workbook's first sheet, or rows in hand.

A file's bytes, or rows of mappings, come in; a header and rows of text go out, each row with the number the
spreadsheet gives it, and with them what could not be taken of some.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from portgeo.core.errors import InputError, Problem
from portgeo.files.sheets.spreadsheets import COMPOUND, ZIP, filled_rows, text_of

WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
SHEET_TYPES = (".csv", *WORKBOOKS)
ROWS = 10_000  # a sheet has tens of rows, a trace thousands of points
COLUMNS = 200
CELL = 10_000  # characters
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")

Source = bytes | Sequence[Mapping[str, Any]]  # what a table is read from


@dataclass(frozen=True)
class Table:
    """Rows of cells, blank and comment rows left out.

    rows : (number in the file, cells without trailing empty ones). decimal_comma : whether a comma
    in a cell can be a decimal mark. sha256 : of the file, or of the rows. problems : of whole rows, without
    a column, and of cells, by the name in the first row.
    """

    rows: tuple[tuple[int, tuple[str, ...]], ...]
    decimal_comma: bool
    sha256: str
    problems: tuple[Problem, ...] = ()


def read_table(source: Source, file: str, *, rows: int = ROWS) -> Table:
    """Return the table in a file's bytes (CSV or a workbook, by the file's name), or that rows in hand make.

    Rows in hand are numbered as a sheet's under its header: the first is row 2. At most `rows` rows. Raises
    InputError where the bytes are no table, or too large.
    """
    if not isinstance(source, bytes):
        return _in_hand(source, file, rows)
    workbook = Path(file).suffix.lower() in WORKBOOKS
    if workbook != source.startswith((ZIP, COMPOUND)):
        raise InputError(
            "the file is not a workbook" if workbook else "the file is binary, not text",
            file=file,
            hint="Save it from the spreadsheet as CSV (named .csv) or as a workbook (named .xlsx)",
        )
    rows_there, decimal_comma, problems = (
        _from_workbook(source, file, rows) if workbook else _from_text(source, file, rows)
    )
    return Table(_trimmed_rows(rows_there), decimal_comma, hashlib.sha256(source).hexdigest(), tuple(problems))


def _in_hand(source: Sequence[Mapping[str, Any]], file: str, most: int) -> Table:
    names = list(dict.fromkeys(name for row in source for name in row))
    numbered: list[tuple[int, list[str]]] = []
    for number, cells in enumerate([names, *([text_of(row.get(name)) for name in names] for row in source)], start=1):
        _take(numbered, number, cells, file, most)
    rows = _trimmed_rows(numbered)
    return Table(rows, True, hashlib.sha256(json.dumps(rows).encode("utf-8", "replace")).hexdigest())


def decoded(data: bytes, file: str) -> str:
    """Return text saved as UTF-8, UTF-16 with its mark, or Windows-1252. Raises InputError for binary."""
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeError:
            continue
        if not CONTROL.search(text):
            return text.replace("\r\n", "\n").replace("\r", "\n")
    raise InputError("the file is binary, not text", file=file, hint="Save it from the spreadsheet as CSV (UTF-8)")


def _from_text(data: bytes, file: str, most: int) -> tuple[list[tuple[int, list[str]]], bool, list[Problem]]:
    lines = decoded(data, file).split("\n")
    separator = ","
    for line in lines:
        declared = re.fullmatch(r'"?sep=(.)"?', line.strip(" \ufeff"), re.IGNORECASE)
        if declared or not _is_comment(line):
            # Semicolons and tabs come first: with them, commas are decimal marks.
            separator = declared[1] if declared else next((s for s in "\t;," if s in line), ",")
            break
    if separator not in "\t;,|":
        raise InputError(
            f"the file says that {separator!r} separates its columns", file=file, hint="Use , or ; or a tab"
        )
    numbered: list[tuple[int, list[str]]] = []
    # A comment is blanked before quotes are looked at, so that an inch mark in it does no harm.
    reader = csv.reader(
        (("" if line.lstrip().startswith("#") else line) + "\n" for line in lines),
        delimiter=separator,
        strict=True,
    )
    number = 0
    try:
        for cells in reader:
            number += 1
            if number > 1 or not re.fullmatch("sep=.?", ",".join(cells).strip(), re.IGNORECASE):
                _take(numbered, number, cells, file, most)
    except csv.Error as error:
        if "limit" in str(error):
            raise InputError(
                f"a cell has more than {CELL} characters",
                file=file,
                where=f"row {number + 1}",
                hint="Check that it is the right file",
            ) from error
        raise InputError(
            "a quotation mark opens a cell and is not closed, or stands where it cannot",
            file=file,
            where=f"row {number + 1}",
            hint='Write an inch mark after its number (1.625"), or leave it out',
        ) from error
    return numbered, separator != ",", _uneven(numbered) if separator == "," else []


def _is_comment(line: str) -> bool:
    """Tell whether a line is blank or a comment, quoted or not."""
    bare = line.strip(' \t,;"\u00a0\ufeff')
    return not bare or bare.startswith("#")


def _uneven(numbered: list[tuple[int, list[str]]]) -> list[Problem]:
    """Return the rows longer than their header, even by empty cells: a decimal comma has moved their columns.

    Spreadsheets pad all rows alike, so that none of theirs is one.
    """
    header = numbered[0][1] if numbered else []
    named = len(_trimmed(header))
    return [
        Problem(
            f"the row has {len(cells)} cells under a header of {named}: perhaps a decimal comma, in a "
            "file whose columns are separated by commas",
            "Write decimal points, or save with semicolons; put text with a comma in quotes",
            where=f"row {number}",
            row=number,
        )
        for number, cells in numbered[1:]
        if len(cells) > len(header) or len(_trimmed(cells)) > named
    ]


def _from_workbook(data: bytes, file: str, most: int) -> tuple[list[tuple[int, list[str]]], bool, list[Problem]]:
    numbered: list[tuple[int, list[str]]] = []
    blank: list[tuple[int, int]] = []
    for number, cells in filled_rows(data, file, most + 2, COLUMNS + 1):
        blank += [(number, column) for column, cell in enumerate(cells) if cell is None]
        _take(numbered, number, [cell or "" for cell in cells], file, most)
    header = numbered[0][1] if numbered else []
    problems = []
    for number, column in blank:
        name = header[column] if column < len(header) and header[column] else str(column + 1)
        hint = "Open the workbook in the spreadsheet, let it calculate, and save it"
        where = f"row {number}, column {name}"
        problems.append(Problem("a formula has no result yet", hint, where=where, row=number, column=name))
    return numbered, True, problems


def _take(numbered: list[tuple[int, list[str]]], number: int, cells: list[str], file: str, most: int) -> None:
    """Add a row unless it is blank or a comment; refuse a table without end."""
    cells = [cell.strip().strip("\ufeff").strip() for cell in cells]
    kept = _trimmed(cells)
    if not kept or next(cell for cell in kept if cell).startswith("#"):
        return
    if len(numbered) > most or len(kept) > COLUMNS or max(map(len, kept)) > CELL:
        raise InputError(
            f"the table is too large (at most {most} rows and {COLUMNS} columns)",
            file=file,
            where=f"row {number}",
            hint="Check that it is the right file",
        )
    numbered.append((number, cells))


def _trimmed(cells: list[str]) -> list[str]:
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return cells[:end]


def _trimmed_rows(numbered: list[tuple[int, list[str]]]) -> tuple[tuple[int, tuple[str, ...]], ...]:
    return tuple((number, tuple(_trimmed(cells))) for number, cells in numbered)
