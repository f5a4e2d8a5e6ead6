"""The first sheet of a workbook that somebody has filled: XLSX, XLS or ODS.

A workbook's bytes come in; its rows go out as texts, each with its number. An error (#DIV/0!) is a text, a date is
written 2024-02-01, and a formula that was never calculated is None. Nothing is unfolded past the rows and columns
that are asked for, whatever the file says of its size.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
from collections.abc import Iterator
from typing import Any

from portgeo.core.errors import InputError
from portgeo.files.archives import members

ZIP, COMPOUND = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"  # how XLSX and ODS begin, and XLS
EXPANDED = 50_000_000  # bytes a workbook may expand to
ODS_CONTENT = "content.xml"
OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
SPACES = 100  # in a run of them
DURATION = re.compile(r"PT(\d{1,4})H(\d{1,2})M(\d{1,2})(?:[.,]\d*)?S")  # of a cell's time (ODF 1.3, 19.382)

Cells = list[str | None]


def filled_rows(data: bytes, file: str, rows: int, columns: int) -> Iterator[tuple[int, Cells]]:
    """Yield the first rows of a workbook's first sheet that are not blank: their numbers and cells.

    Raises InputError where the bytes are none, are damaged or expand past all measure.
    """
    try:
        if data.startswith(COMPOUND):
            filled = _xls_rows(data, rows, columns)
        else:
            parts = members(data, file, "a workbook", EXPANDED)
            filled = (
                _ods_rows(parts[ODS_CONTENT], rows, columns)
                if ODS_CONTENT in parts
                else _xlsx_rows(data, rows, columns)
            )
        for number, cells in filled:
            if any(cell != "" for cell in cells):
                yield number, cells
    except InputError:
        raise
    except Exception as error:  # the libraries raise whatever their parsers met
        raise InputError(
            "the workbook cannot be read: it is damaged, has a password or is not a workbook",
            file=file,
            hint="Open it in the spreadsheet and save it again without a password, or save it as CSV",
        ) from error


def text_of(value: object) -> str:
    """Return a cell's value as the text that a person would have typed."""
    if value is None:
        return ""
    if isinstance(value, datetime.datetime | datetime.date):
        return value.isoformat()[:10]
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(float(value))
    return str(value)


def _xlsx_rows(data: bytes, rows: int, columns: int) -> Iterator[tuple[int, Cells]]:
    """Yield the rows of an XLSX: the formulas' results, and None where a formula has none."""
    import openpyxl

    def sheet(results: bool) -> Iterator[tuple[object, ...]]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and extensions that do not concern the cells
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=results)
            try:
                yield from book.worksheets[0].iter_rows(max_row=rows, max_col=columns, values_only=True)
            finally:
                book.close()

    for number, (values, formulas) in enumerate(zip(sheet(True), sheet(False), strict=True), start=1):
        yield (
            number,
            [
                None if value is None and str(formula).startswith("=") else text_of(value)
                for value, formula in zip(values, formulas, strict=True)
            ],
        )


def _xls_rows(data: bytes, rows: int, columns: int) -> Iterator[tuple[int, Cells]]:
    """Yield the rows of an XLS, which keeps the results of its formulas."""
    import xlrd

    book = xlrd.open_workbook(file_contents=data, logfile=io.StringIO(), on_demand=True, ragged_rows=True)
    sheet = book.sheet_by_index(0)

    def text(kind: int, value: object) -> str:
        if kind == xlrd.XL_CELL_ERROR:
            return str(xlrd.error_text_from_code[value])
        if kind == xlrd.XL_CELL_DATE and isinstance(value, float):
            moment = xlrd.xldate_as_datetime(value, book.datemode)
            return text_of(moment.time() if value < 1.0 else moment)
        return text_of(bool(value) if kind == xlrd.XL_CELL_BOOLEAN else value)

    for row in range(min(sheet.nrows, rows)):
        yield row + 1, [text(cell.ctype, cell.value) for cell in sheet.row(row)[:columns]]


def _ods_rows(content: bytes, rows: int, columns: int) -> Iterator[tuple[int, Cells]]:
    """Yield the rows of the first table of an OpenDocument spreadsheet (ODF 1.3, part 3, section 9.1).

    A row or a cell may stand for many like it: those that are blank are passed over.
    """
    from lxml import etree

    names = (TABLE + "table-cell", TABLE + "covered-table-cell", TABLE + "table-row", TABLE + "table")
    number, cells = 0, Cells()
    column = 0  # where the next cell stands
    for _, element in etree.iterparse(io.BytesIO(content), tag=names, resolve_entities=False):
        if element.tag == names[3]:
            return
        if element.tag != names[2]:
            text = _ods_text(element)
            after = column + int(element.get(TABLE + "number-columns-repeated", "1"))
            if text != "" and column < columns:
                cells += [""] * (column - len(cells)) + [text] * (min(after, columns) - column)
            column = after
            continue
        after = number + int(element.get(TABLE + "number-rows-repeated", "1"))
        for k in range(number, min(after, rows)) if cells else ():
            yield k + 1, list(cells)
        number, cells, column = after, [], 0
        if number >= rows:
            return
        element.clear()


def _ods_text(cell: Any) -> str | None:
    """Return the text of a cell: of a number its value, not as it is shown; None of a formula without a result."""
    kind = cell.get(OFFICE + "value-type")
    if kind in ("float", "currency", "percentage"):
        return text_of(float(cell.get(OFFICE + "value")))
    if kind == "date":
        return str(cell.get(OFFICE + "date-value"))[:10]
    if kind == "time":
        duration = DURATION.fullmatch(cell.get(OFFICE + "time-value"))
        return "{:0>2}:{:0>2}:{:0>2}".format(*duration.groups()) if duration else str(cell.get(OFFICE + "time-value"))
    if kind == "boolean":
        return str(cell.get(OFFICE + "boolean-value"))
    for space in cell.iter(TEXT + "s"):
        space.text = " " * min(int(space.get(TEXT + "c", "1")), SPACES)
    text = "\n".join("".join(paragraph.itertext()) for paragraph in cell.iterfind(TEXT + "p"))
    return None if kind is None and not text and cell.get(TABLE + "formula") else text
