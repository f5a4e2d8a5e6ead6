"""A workbook (XLSX) open for typing: only the cells that are typed over change in it.

A file's bytes come in; its header and rows go out, and after edits the file's bytes again, with every other part of
it (other sheets, formats, lists, pictures) byte for byte as it was (ECMA-376, part 1, section 18.3).
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from collections.abc import Iterable
from typing import Any

from lxml import etree

from portgeo.app.live.documents import BLANK_AT_END, checked_text, column_index, place_of_row, trimmed
from portgeo.core.errors import InputError
from portgeo.files.archives import members
from portgeo.files.sheets.spreadsheets import EXPANDED, filled_rows
from portgeo.files.sheets.tables import COLUMNS, ROWS

BOOK, BOOK_RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
STRICT_RELATION = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"
SPACE = "{http://www.w3.org/XML/1998/namespace}space"
PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
PLACE = re.compile(r"([A-Z]+)(\d+)")
BEFORE_CALCULATION = ("sheets", "functionGroups", "externalReferences", "definedNames")  # in their order of the format
CALCULATE = "There are formulas in this sheet: after typing, open and save it in the spreadsheet to count them again"


class XlsxSheet:
    """A workbook's first sheet, open for typing. Its rows are numbered from 1, the first under the header."""

    can_write = True

    def __init__(self, data: bytes, file: str) -> None:
        """Read a file's bytes. Raises InputError, naming the file, where they are no workbook."""
        self.file, self._data = file, data
        self._parts = members(data, file, "a workbook", EXPANDED)
        found = list(filled_rows(data, file, ROWS + 2, COLUMNS + 1))
        try:
            self._part = _first_sheet(self._parts)
            self._root = _parsed(self._parts[self._part])
        except (KeyError, etree.XMLSyntaxError, StopIteration) as error:
            raise InputError("the workbook cannot be typed into", file=file, hint="Save it as CSV") from error
        self._name = etree.QName(self._root).namespace
        typed, self._formulas, last = self._read()
        texts = {number: trimmed([(cell or "").strip() for cell in cells]) for number, cells in found}
        for (number, column), text in typed.items():
            cells = texts.get(number, [])
            if column < len(cells) and _same(cells[column], text):
                cells[column] = text  # 1.950, not 1.95
        read = [n for n, cells in texts.items() if not next(filter(None, cells), "").startswith("#")]
        remarks = set(texts) - set(read)
        self.header_number = read[0] if read else 1
        end = max([*read, min(last, max([*read, 0]) + BLANK_AT_END)])
        self._numbers = [n for n in range(self.header_number + 1, end + 1) if n not in remarks] if read else []
        self._remarks = remarks
        self._header = list(texts[read[0]]) if read else []
        width = max([len(self._header), *(len(texts.get(n, ())) for n in self._numbers)])
        self._cells = [(texts.get(n, []) + [""] * width)[:width] for n in self._numbers]
        self._were = {n: cells for n, cells in zip(self._numbers, map(list, self._cells), strict=True)}
        self._header_was = list(self._header)
        self.notes = (CALCULATE,) if self._formulas else ()

    def _read(self) -> tuple[dict[tuple[int, int], str], set[tuple[int, int]], int]:
        """Return the numbers of cells as they are written, the cells with a formula, and the last row that is there."""
        typed: dict[tuple[int, int], str] = {}
        formulas: set[tuple[int, int]] = set()
        last = 0
        for cell in self._root.iter(self._tag("c")):
            place = PLACE.fullmatch(cell.get("r", ""))
            if place is None:
                continue
            at = int(place[2]), _column_of(place[1])
            if cell.find(self._tag("f")) is not None:
                formulas.add(at)
            elif cell.get("t", "n") == "n":
                typed[at] = cell.findtext(self._tag("v"), "")
        for row in self._root.iter(self._tag("row")):
            last = max(last, int(row.get("r", "0")))
        return typed, formulas, last

    @property
    def header(self) -> list[str]:
        """The names of the columns as they are written."""
        return list(self._header)

    @property
    def rows(self) -> list[list[str]]:
        """The cells of every row, as many as the header has names."""
        width = len(self._header)
        return [(cells + [""] * width)[:width] for cells in self._cells]

    def row_of(self, number: int | None) -> int | None:
        """Return the row that a refusal's number means, None where it is of none."""
        return self._numbers.index(number) + 1 if number in self._numbers else None

    def is_formula(self, row: int, index: int) -> bool:
        """Return whether a cell is counted and not typed."""
        return (self._numbers[row - 1], index) in self._formulas

    def set_cell(self, row: int, column: str, text: str) -> None:
        """Write a cell as it was typed. Raises InputError where there is no such cell, or it holds a formula."""
        k, index = place_of_row(row, len(self._cells)) - 1, column_index(self._header, column)
        if self.is_formula(row, index):
            raise InputError("the cell holds a formula", hint="Change it in the spreadsheet")
        cells = self._cells[k]
        cells += [""] * (index + 1 - len(cells))
        cells[index] = checked_text(text)

    def insert(self, at: int, count: int) -> None:
        """Put empty rows before row `at`; one past the last appends them. Rows keep their place's format."""
        if not (1 <= at <= len(self._cells) + 1 and 1 <= count and len(self._cells) + count <= ROWS):
            raise InputError("there is no such place for rows", hint="Load the page again")
        self._check_moved(at)
        self._cells[at - 1 : at - 1] = [[""] * len(self._header) for _ in range(count)]
        number = self._numbers[-1] if self._numbers else self.header_number
        while len(self._numbers) < len(self._cells):
            number += 1
            if number not in self._remarks:
                self._numbers.append(number)

    def remove(self, rows: Iterable[int]) -> None:
        """Take rows out: those below move up."""
        taken = sorted({place_of_row(row, len(self._cells)) for row in rows}, reverse=True)
        self._check_moved(min(taken))
        for row in taken:
            del self._cells[row - 1]
            self._numbers.pop()

    def _check_moved(self, row: int) -> None:
        """Refuse to move a formula: what it counts with would be another cell."""
        if any(number in self._numbers[row - 1 :] for number, _ in self._formulas):
            raise InputError("there are formulas in the rows that would move", hint="Do it in the spreadsheet")

    def add_column(self, name: str) -> None:
        """Write another name at the end of the header."""
        if name in self._header:
            raise InputError(f"there is a column {name} already", hint="Type into it")
        if len(self._header) >= COLUMNS:
            raise InputError("the sheet has too many columns", hint="Take one out in the spreadsheet")
        self._header.append(checked_text(name))

    def data(self) -> bytes:
        """Return the file's bytes. Raises InputError where what was typed would not be read back as it was."""
        changed = self._write(self.header_number, self._header_was, self._header)
        now = dict(zip(self._numbers, self._cells, strict=True))
        for number in sorted({*self._were, *now}):
            changed |= self._write(number, self._were.get(number, []), now.get(number, []))
            self._row(number)  # a row that was added is there, though nothing stands in it yet
        self._clear_results()
        for dimension in self._root.findall(self._tag("dimension")):
            self._root.remove(dimension)  # it may be another now, and is not needed
        parts = {self._part: etree.tostring(self._root, xml_declaration=True, encoding="UTF-8", standalone=True)}
        if self._formulas:
            parts[BOOK] = _counted_anew(self._parts[BOOK])
        data = _zipped(self._data, parts)
        again = XlsxSheet(data, self.file)
        if again.header != self.header or not self._same_rows(again):
            raise InputError(
                "this would not be read back from the workbook as it was typed",
                file=self.file,
                hint="A row cannot begin with #",
            )
        return data

    def _same_rows(self, again: XlsxSheet) -> bool:
        """Return whether another reading of the file has these rows, whatever its formulas come to."""
        there = again.rows[: len(self.rows)]
        return len(there) == len(self.rows) and all(
            old == new or self.is_formula(row, index)
            for row, (cells, others) in enumerate(zip(self.rows, there, strict=True), start=1)
            for index, (old, new) in enumerate(zip(cells, others, strict=True))
        )

    def _write(self, number: int, were: list[str], cells: list[str]) -> bool:
        """Write the cells of a row that are others than they were."""
        width = max(len(were), len(cells))
        before, after = (each + [""] * (width - len(each)) for each in (were, cells))
        changed = False
        for column in range(width):
            if before[column] != after[column]:
                self._set(number, column, after[column])
                changed = True
        return changed

    def _set(self, number: int, column: int, text: str) -> None:
        cell = self._cell(number, column)
        for child in list(cell):
            cell.remove(child)
        cell.attrib.pop("t", None)
        if PLAIN_NUMBER.fullmatch(text):
            etree.SubElement(cell, self._tag("v")).text = text
        elif text:
            cell.set("t", "inlineStr")
            said = etree.SubElement(etree.SubElement(cell, self._tag("is")), self._tag("t"))
            said.text = text
            said.set(SPACE, "preserve")

    def _cell(self, number: int, column: int) -> Any:
        row, name = self._row(number), f"{_letters_of(column)}{number}"
        place = len(row)
        for k, cell in enumerate(row):
            found = PLACE.fullmatch(cell.get("r", ""))
            if found is None:
                continue
            if found[0] == name:
                return cell
            if _column_of(found[1]) > column:
                place = k
                break
        cell = etree.Element(self._tag("c"), r=name)
        row.insert(place, cell)
        return cell

    def _row(self, number: int) -> Any:
        rows = self._root.find(self._tag("sheetData"))
        place = len(rows)
        for k in range(len(rows) - 1, -1, -1):
            at = int(rows[k].get("r", "0"))
            if at == number:
                return rows[k]
            if at < number:
                break
            place = k
        row = etree.Element(self._tag("row"), r=str(number))
        rows.insert(place, row)
        return row

    def _clear_results(self) -> None:
        """Forget what formulas of the sheet came to: it may be another now, and an old one must not be measured."""
        for cell in self._root.iter(self._tag("c")):
            if cell.find(self._tag("f")) is not None:
                for value in cell.findall(self._tag("v")):
                    cell.remove(value)
                cell.attrib.pop("t", None)

    def _tag(self, name: str) -> str:
        return f"{{{self._name}}}{name}"


def _parsed(data: bytes) -> Any:
    return etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=False))


def _first_sheet(parts: dict[str, bytes]) -> str:
    """Return the part that holds the first worksheet. Raises KeyError or StopIteration where there is none."""
    targets = {
        relation.get("Id"): relation.get("Target", "")
        for relation in _parsed(parts[BOOK_RELATIONS])
        if relation.get("Type", "").endswith("/worksheet")
    }
    ids = (sheet.get(RELATION) or sheet.get(STRICT_RELATION) for sheet in _parsed(parts[BOOK]).iter("{*}sheet"))
    target = targets[next(each for each in ids if each in targets)]
    name = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}")
    return name if name in parts else next(part for part in parts if part.lower() == name.lower())


def _counted_anew(book: bytes) -> bytes:
    """Return the workbook's part so that a spreadsheet counts every formula when it opens it."""
    root = _parsed(book)
    name = f"{{{etree.QName(root).namespace}}}"
    found = root.find(name + "calcPr")
    if found is None:
        after = [child for child in root if etree.QName(child).localname in BEFORE_CALCULATION]
        found = etree.Element(name + "calcPr")
        after[-1].addnext(found)
    found.set("fullCalcOnLoad", "1")
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)


def _zipped(data: bytes, parts: dict[str, bytes]) -> bytes:
    """Return an archive with some of its parts replaced, the others as they were."""
    written = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as before, zipfile.ZipFile(written, "w") as after:
        for info in before.infolist():
            after.writestr(info, parts.get(info.filename, before.read(info)))
    return written.getvalue()


def _column_of(letters: str) -> int:
    index = 0
    for letter in letters:
        index = 26 * index + ord(letter) - 64
    return index - 1


def _letters_of(index: int) -> str:
    letters = ""
    while index >= 0:
        index, letter = index // 26 - 1, index % 26
        letters = chr(65 + letter) + letters
    return letters


def _same(shown: str, written: str) -> bool:
    """Return whether a number is the one that is written, with other zeros perhaps."""
    return bool(PLAIN_NUMBER.fullmatch(shown) and PLAIN_NUMBER.fullmatch(written)) and float(shown) == float(written)
