"""Tables as people save them: CSV with any usual separator and encoding, or the first sheet of an XLSX.

A file's bytes come in; a header and rows of text go out, each row with the number the spreadsheet gives it.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from portgeo.core.errors import InputError
from portgeo.files.archives import members

ROWS = 10_000  # a sheet has tens of rows, a trace thousands of points
COLUMNS = 200
CELL = 10_000  # characters
WORKBOOK_LIMIT = 50_000_000  # bytes a workbook may expand to
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")
ZIP, OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"


@dataclass(frozen=True)
class Table:
    """Rows of cells, blank and comment rows left out.

    rows : (number in the file, cells without trailing empty ones). decimal_comma : whether a comma
    in a cell can be a decimal mark.
    """

    rows: tuple[tuple[int, tuple[str, ...]], ...]
    decimal_comma: bool


def read_table(data: bytes, file: str, *, rows: int = ROWS) -> Table:
    """Return the table in a CSV or XLSX file's bytes, with at most `rows` rows.

    Raises InputError where it is neither, or too large.
    """
    named_workbook = Path(file).suffix.lower() in (".xlsx", ".xlsm")
    if data.startswith(OLD_WORKBOOK):
        raise InputError(
            "this is an old or password-protected workbook",
            file=file,
            mend="Save it as .xlsx without a password, or as CSV",
        )
    if named_workbook != data.startswith(ZIP):
        raise InputError(
            "the file is not a workbook" if named_workbook else "the file is binary, not text",
            file=file,
            mend="Save it from the spreadsheet as CSV (named .csv) or as a workbook (named .xlsx)",
        )
    return _from_workbook(data, file, rows) if named_workbook else _from_text(data, file, rows)


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
    raise InputError("the file is binary, not text", file=file, mend="Save it from the spreadsheet as CSV (UTF-8)")


def _from_text(data: bytes, file: str, most: int) -> Table:
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
            f"the file says that {separator!r} separates its columns", file=file, mend="Use , or ; or a tab"
        )
    found: list[tuple[int, list[str]]] = []
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
                _take(found, number, cells, file, most)
    except csv.Error as error:
        if "limit" in str(error):
            raise InputError(
                f"a cell has more than {CELL} characters",
                file=file,
                where=f"row {number + 1}",
                mend="Check that it is the right file",
            ) from error
        raise InputError(
            "a quotation mark opens a cell and is not closed, or stands where it cannot",
            file=file,
            where=f"row {number + 1}",
            mend='Write an inch mark after its number (1.625"), or leave it out',
        ) from error
    if separator == ",":
        _check_even(found, file)
    return _table(found, separator != ",")


def _is_comment(line: str) -> bool:
    """Tell whether a line is blank or a comment, quoted or not."""
    bare = line.strip(' \t,;"\u00a0\ufeff')
    return not bare or bare.startswith("#")


def _check_even(found: list[tuple[int, list[str]]], file: str) -> None:
    """Refuse a row longer than its header, even by empty cells: a decimal comma has moved its columns.

    Spreadsheets pad all rows alike, so that none of theirs is refused.
    """
    if not found:
        return
    header = found[0][1]
    named = len(_trimmed(header))
    for number, cells in found[1:]:
        if len(cells) > len(header) or len(_trimmed(cells)) > named:
            raise InputError(
                f"the row has {len(cells)} cells under a header of {named}: perhaps a decimal comma, in a "
                "file whose columns are separated by commas",
                file=file,
                where=f"row {number}",
                mend="Write decimal points, or save with semicolons; put text with a comma in quotes",
            )


def _from_workbook(data: bytes, file: str, most: int) -> Table:
    members(data, file, "an XLSX workbook", WORKBOOK_LIMIT)
    found: list[tuple[int, list[str]]] = []
    try:
        for number, (values, formulas) in enumerate(
            zip(_workbook_rows(data, most, True), _workbook_rows(data, most, False), strict=True), start=1
        ):
            cells = [_cell_text(value) for value in values]
            for column, (cell, formula) in enumerate(zip(cells, formulas, strict=True)):
                if not cell and str(formula if formula is not None else "").startswith("="):
                    raise InputError(
                        "a formula has no result yet",
                        file=file,
                        where=f"row {number}, column {column + 1}",
                        mend="Open the workbook in the spreadsheet, let it calculate, and save it",
                    )
            _take(found, number, cells, file, most)
    except InputError:
        raise
    except Exception as error:  # the library raises whatever its parser met
        raise InputError(
            "the workbook cannot be read: it is damaged or not a workbook",
            file=file,
            mend="Open it in the spreadsheet and save it again, or save it as CSV",
        ) from error
    return _table(found, True)


def _workbook_rows(data: bytes, most: int, results: bool) -> Iterator[tuple[object, ...]]:
    """Return the values of the first sheet's rows: the formulas' results, or the formulas."""
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about styles and extensions that do not concern the cells
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=results)
        try:
            yield from book.worksheets[0].iter_rows(max_row=most + 2, max_col=COLUMNS + 1, values_only=True)
        finally:
            book.close()


def _cell_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime.datetime | datetime.date):
        return value.isoformat()[:10]
    if isinstance(value, float):
        return repr(value)
    return str(value)


def _take(found: list[tuple[int, list[str]]], number: int, cells: list[str], file: str, most: int) -> None:
    """Add a row unless it is blank or a comment; refuse a table without end."""
    cells = [cell.strip().strip("\ufeff").strip() for cell in cells]
    kept = _trimmed(cells)
    if not kept or next(cell for cell in kept if cell).startswith("#"):
        return
    if len(found) > most or len(kept) > COLUMNS or max(map(len, kept)) > CELL:
        raise InputError(
            f"the table is too large (at most {most} rows and {COLUMNS} columns)",
            file=file,
            where=f"row {number}",
            mend="Check that it is the right file",
        )
    found.append((number, cells))


def _trimmed(cells: list[str]) -> list[str]:
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return cells[:end]


def _table(found: list[tuple[int, list[str]]], decimal_comma: bool) -> Table:
    return Table(tuple((number, tuple(_trimmed(cells))) for number, cells in found), decimal_comma)
