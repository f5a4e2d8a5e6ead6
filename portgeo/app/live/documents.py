"""A sheet as it lies on the disk, to be typed into: what is not typed over stays as it is.

A file's bytes come in; its header and rows go out, and after edits the file's bytes again: comments, blank lines,
separator, encoding and line ends as they were.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from portgeo.core.errors import InputError
from portgeo.files.sheets.tables import CELL, COLUMNS, CONTROL, ROWS, decoded

LINE = re.compile(r"([^\r\n]*)(\r\n|\n|\r|$)")
BLANK_AT_END = 20  # rows of nothing but separators after the last: so many stay, to be typed into
UTF16 = (b"\xff\xfe", b"\xfe\xff")
UTF8_MARK = b"\xef\xbb\xbf"


@dataclass
class Record:
    """A record of the file, of one line or, where a quoted cell holds line ends, of several.

    text : as it stands in the file with its line end. cells : None of what is not read, a comment or a blank line.
    """

    text: str
    cells: list[str] | None = None


class CsvSheet:
    """A CSV file open for typing. Its rows are numbered from 1, the first under the header."""

    can_write = True
    notes: tuple[str, ...] = ()

    def __init__(self, data: bytes, file: str) -> None:
        """Read a file's bytes. Raises InputError, naming the file, where they are no table."""
        decoded(data, file)  # refuses what is no text
        self.file = file
        self._encoding = _encoding_of(data)
        text = data.decode(self._encoding).removeprefix("\ufeff")
        self._marked = data.startswith((UTF8_MARK, *UTF16))
        lines = [found for found in LINE.findall(text) if any(found)]
        ends = [end for _, end in lines if end]
        self._end = max(set(ends), key=ends.count) if ends else "\n"
        self._separator = _separator_of([line for line, _ in lines])
        self._records = self._parsed(lines)
        self._find_rows()

    def _parsed(self, lines: Sequence[tuple[str, str]]) -> list[Record]:
        # As the reader of sheets does: a comment is blanked before quotes are looked at.
        reader = csv.reader(
            ("" if line.lstrip().startswith("#") else line + "\n" for line, _ in lines),
            delimiter=self._separator,
            strict=True,
        )
        records: list[Record] = []
        at = 0
        try:
            for cells in reader:
                text = "".join(line + end for line, end in lines[at : reader.line_num])
                at = reader.line_num
                declares = not records and re.fullmatch("sep=.?", self._separator.join(cells).strip(), re.IGNORECASE)
                first = next((cell.strip() for cell in cells if cell.strip()), "")
                read = bool(cells) and not declares and not first.startswith("#")
                records.append(Record(text, cells if read else None))
        except csv.Error as error:
            raise InputError(
                "a quotation mark opens a cell and is not closed, or stands where it cannot",
                file=self.file,
                row=len(records) + 1,
                hint='Write an inch mark after its number (1.625"), or leave it out',
            ) from error
        return records

    def _find_rows(self) -> None:
        """Find the header and the rows under it: those of nothing but separators too, but not all of a padded end."""
        filled = [k for k, record in enumerate(self._records) if record.cells and any(map(str.strip, record.cells))]
        self._header = filled[0] if filled else None
        after = [k for k, r in enumerate(self._records) if filled and k > filled[0] and r.cells is not None]
        padded = [k for k in after if k > filled[-1]] if filled else []
        self._rows = [k for k in after if k not in set(padded[BLANK_AT_END:])]

    @property
    def header(self) -> list[str]:
        """The names of the columns as they are written."""
        return [] if self._header is None else [cell.strip("\ufeff ").strip() for cell in self._cells(self._header)]

    @property
    def rows(self) -> list[list[str]]:
        """The cells of every row, as many as the header has names."""
        width = len(self.header)
        return [[cell.strip() for cell in (self._cells(k) + [""] * width)[:width]] for k in self._rows]

    @property
    def header_number(self) -> int:
        """The number that a refusal gives to the header."""
        return (self._header or 0) + 1

    def row_of(self, number: int | None) -> int | None:
        """Return the row that a refusal's number means, None where it is of none."""
        return None if number is None or number - 1 not in self._rows else self._rows.index(number - 1) + 1

    def is_formula(self, row: int, index: int) -> bool:
        """Return whether a cell is counted and not typed: never here."""
        return False

    def _cells(self, k: int) -> list[str]:
        return self._records[k].cells or []

    def set_cell(self, row: int, column: str, text: str) -> None:
        """Write a cell as it was typed. Raises InputError where there is no such cell, or it cannot hold the text."""
        k = self._rows[place_of_row(row, len(self._rows)) - 1]
        index = column_index(self.header, column)
        cells = list(self._cells(k))
        cells += [""] * (index + 1 - len(cells))
        cells[index] = checked_text(text)
        self._write(k, cells)

    def insert(self, at: int, count: int) -> None:
        """Put empty rows before row `at`; one past the last appends them."""
        if not (1 <= at <= len(self._rows) + 1 and 1 <= count and len(self._rows) + count <= ROWS):
            raise InputError("there is no such place for rows", hint="Load the page again")
        if self._header is None:
            raise InputError("the sheet has no header yet", hint="Add a column first")
        if at <= len(self._rows):
            place = self._rows[at - 1]
        else:
            place = (self._rows[-1] if self._rows else self._header) + 1
            self._end_line(place - 1)
        empty = [""] * max(len(self.header), 2)
        self._records[place:place] = [Record(self._line(empty), empty) for _ in range(count)]
        self._find_rows()

    def remove(self, rows: Iterable[int]) -> None:
        """Take rows out."""
        for k in sorted({self._rows[place_of_row(row, len(self._rows)) - 1] for row in rows}, reverse=True):
            del self._records[k]
        self._find_rows()

    def add_column(self, name: str) -> None:
        """Write another name at the end of the header."""
        header = trimmed(self.header)
        if name in header:
            raise InputError(f"there is a column {name} already", hint="Type into it")
        if len(header) >= COLUMNS:
            raise InputError("the sheet has too many columns", hint="Take one out in a spreadsheet")
        if self._header is None:
            self._end_line(len(self._records) - 1)
            self._records.append(Record(self._line([name]), [name]))
            self._find_rows()
            return
        self._write(self._header, [*self._cells(self._header)[: len(header)], checked_text(name)])

    def data(self) -> bytes:
        """Return the file's bytes. Raises InputError where what was typed would not be read back as it was."""
        text = "".join(record.text for record in self._records)
        encoding = self._encoding
        if encoding == "cp1252" and not _fits(text, encoding):
            encoding, self._marked = "utf-8", True  # what was typed is not in the old code page
        mark = "\ufeff" if self._marked else ""
        data = (mark + text).encode(encoding)
        again = CsvSheet(data, self.file)
        if again.header != self.header or again.rows != self.rows:
            raise InputError(
                "this would not be read back from the file as it was typed",
                file=self.file,
                hint="A row cannot begin with #, nor its text hold a quotation mark that opens it",
            )
        return data

    def _write(self, k: int, cells: list[str]) -> None:
        end = LINE_END.search(self._records[k].text)
        self._records[k] = Record(self._line(cells, end[0] if end else ""), cells)

    def _line(self, cells: Sequence[str], end: str | None = None) -> str:
        text = io.StringIO()
        csv.writer(text, delimiter=self._separator, lineterminator="").writerow(cells)
        return text.getvalue() + (self._end if end is None else end)

    def _end_line(self, k: int) -> None:
        """Give a line that is the file's last an end, before another comes after it."""
        if k >= 0 and not LINE_END.search(self._records[k].text):
            self._records[k].text += self._end


LINE_END = re.compile(r"(\r\n|\n|\r)\Z")


def _encoding_of(data: bytes) -> str:
    if data[:2] in UTF16:
        return "utf-16-le" if data[:2] == UTF16[0] else "utf-16-be"
    return "utf-8" if _decodes(data, "utf-8") else "cp1252"


def _decodes(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeError:
        return False
    return True


def _fits(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeError:
        return False
    return True


def _separator_of(lines: Sequence[str]) -> str:
    """Return what separates a file's cells, as the reader of sheets has it."""
    for line in lines:
        declared = re.fullmatch(r'"?sep=(.)"?', line.strip(" \ufeff"), re.IGNORECASE)
        bare = line.strip(' \t,;"\u00a0\ufeff')
        if declared or (bare and not bare.startswith("#")):
            found = declared[1] if declared else next((s for s in "\t;," if s in line), ",")
            return found if found in "\t;,|" else ","
    return ","


def checked_text(text: str) -> str:
    """Return what was typed into a cell. Raises InputError where no person types that."""
    if len(text) > CELL:
        raise InputError(f"a cell holds at most {CELL} characters", hint="Write less")
    if CONTROL.search(text) or any(sign in text for sign in "\r\n\t"):
        raise InputError("there are control characters in the text", hint="Type it again")
    return text.strip()


def column_index(header: Sequence[str], column: str) -> int:
    """Return where a column stands by its name as written. Raises InputError where there is none."""
    if column not in header or not column:
        raise InputError(f"there is no column {column[:60]!r}", hint="Load the page again")
    return header.index(column)


def place_of_row(row: int, count: int) -> int:
    """Return a row's number. Raises InputError where there is no such row."""
    if not 1 <= row <= count:
        raise InputError(f"there is no row {row}", hint="Load the page again")
    return row


def trimmed(cells: Sequence[str]) -> list[str]:
    """Return cells without the empty ones at the end."""
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return list(cells[:end])
