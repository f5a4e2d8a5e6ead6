"""Workbooks (XLSX) as bytes, the same for the same content.

Tables, or a workbook that somebody has filled, come in; the file's bytes go out.
"""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Sequence
from typing import Any

import openpyxl
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

MOMENT = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip archive can name
TITLE_LETTERS = 31  # of a sheet, as the format allows
FORBIDDEN = re.compile(r"[\[\]:*?/\\]")  # in a sheet's title
WIDEST = 60  # characters of a column


def workbook_of(tables: Sequence[tuple[str, Sequence[str], Sequence[Sequence[Any]]]]) -> bytes:
    """Return a workbook with a sheet for each table: its name, header and rows. Text stays text."""
    book = openpyxl.Workbook()
    del book["Sheet"]
    taken: set[str] = set()
    for name, header, rows in tables:
        sheet = book.create_sheet(_title(name, taken))
        for row in (header, *rows):
            sheet.append([_cell(sheet, value) for value in row])
        for cell in sheet[1]:
            cell.font = Font(bold=True)
        sheet.freeze_panes = "A2"
        for k, column in enumerate(sheet.columns, start=1):
            texts = [f"{cell.value:.4g}" if isinstance(cell.value, float) else str(cell.value) for cell in column]
            longest = max(len(text) for text in texts)
            sheet.column_dimensions[get_column_letter(k)].width = min(longest + 2, WIDEST)
    return saved(book)


def _title(name: str, taken: set[str]) -> str:
    base = FORBIDDEN.sub(" ", name)[:TITLE_LETTERS] or "table"
    title, k = base, 2
    while title.casefold() in taken:
        tail = f"-{k}"
        title, k = base[: TITLE_LETTERS - len(tail)] + tail, k + 1
    taken.add(title.casefold())
    return title


def _cell(sheet: Any, value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if not isinstance(value, str):
        return value
    cell = openpyxl.cell.WriteOnlyCell(sheet, value=ILLEGAL.sub(" ", value))
    cell.data_type = "s"  # never a formula, whatever it begins with
    return cell


ILLEGAL = openpyxl.cell.cell.ILLEGAL_CHARACTERS_RE


def saved(book: Any) -> bytes:
    """Return a workbook's bytes without the time at which it was made."""
    book.properties.creator, book.properties.lastModifiedBy = "portgeo", None
    stream = io.BytesIO()
    book.save(stream)
    found = io.BytesIO()
    with zipfile.ZipFile(stream) as made, zipfile.ZipFile(found, "w", zipfile.ZIP_DEFLATED) as kept:
        for name in made.namelist():
            data = made.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"\d{4}-\d\d-\d\dT[\d:.]+Z", b"1980-01-01T00:00:00Z", data)
            kept.writestr(zipfile.ZipInfo(name, MOMENT), data, zipfile.ZIP_DEFLATED)
    return found.getvalue()
