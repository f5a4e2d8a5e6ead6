"""A new job folder: a job file and blank sheets, an invented example in their comments.

A unit and a place come in; the folder goes out, whole or not at all.
"""

from __future__ import annotations

import io
import os
import secrets
import shutil
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.drawing.image import Image
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from portgeo.app.job.blanks import (
    LIKE_THIS,
    TYPE_BELOW,
    bench_sheet,
    blank_job,
    blank_target,
    section_rows,
    section_sheet,
    wall_sheet,
)
from portgeo.core.errors import OutputError
from portgeo.core.units import LengthUnit
from portgeo.files.disk import atomic_write, no_folder
from portgeo.files.sheets.section_columns import SHAPES
from portgeo.files.sheets.workbooks import saved
from portgeo.present.pictures.mic import mic_picture

ROWS = 60  # of the workbook that are made ready
WIDE = 14  # characters of a column
PICTURE_WIDTH = 900  # pixels in the workbook
# What each column of the sheet is; with the picture in the workbook, and nowhere else.
COLUMNS = (
    ("station", "distance along the middle of the port from the entry"),
    ("height, width", "inside micrometer across the middle, square to that line; a round section needs height alone"),
    ("shape", "rect (rounded rectangle), round, oval (an ellipse), or outline (a traced file: add a column outline)"),
    ("corner_roof, corner_floor", "radius of the corners at the roof and at the floor"),
    (
        "floor_x, floor_z, roof_x, roof_z",
        "where both ends of the section lie on squared paper, in place of station, height, turn and rise",
    ),
    ("turn_deg", "how far the port has turned, towards the floor, from the way it started"),
    ("rise", "how far the section's middle lies above the line; below is minus"),
    ("reading_error", "what you trust a reading to"),
    ("more columns", "swing_deg (turn towards the right wall), shift (middle to the left of the line), outline"),
    ("lengths", "each column names its unit, _in or _mm; fractions such as 1 5/8 are read in inches"),
)


def folder_files(unit: LengthUnit, title: str, *, workbook: bool = False, points: bool = False) -> dict[str, bytes]:
    """Return the files of a new job by name, the job file last. title : heads its pages.

    points : the section sheet is for points off squared paper. workbook : it is one.
    There is never a second beside it, which somebody would fill in for
    nothing: the job reads one.
    """
    picture = mic_picture()
    kind = "xlsx" if workbook else "csv"
    return {
        "where-to-measure.png": picture,
        f"as-cast.{kind}": section_workbook(unit, picture, points)
        if workbook
        else section_sheet(unit, points=points).encode(),
        "bench.csv": bench_sheet(unit).encode(),
        "walls.csv": wall_sheet(unit).encode(),
        "target.toml": blank_target(unit).encode(),
        "job.toml": blank_job(unit, title, kind).encode(),
    }


def section_workbook(unit: LengthUnit, picture: bytes, points: bool = False) -> bytes:
    """Return the section sheet as a workbook: shapes to choose from a list, then sheets with example and picture."""
    header, rows = section_rows(unit, points=points)
    book = openpyxl.Workbook()
    sheet = book["Sheet"]
    sheet.title = "section sheet"
    sheet.append([TYPE_BELOW])
    sheet.append(header)
    _ready(sheet, header, unit)
    shapes = DataValidation("list", formula1=f'"{",".join(SHAPES)}"', allow_blank=True)
    shapes.error, shapes.errorTitle = "Choose " + ", ".join(SHAPES), "shape"
    letter = get_column_letter(header.index("shape") + 1)
    shapes.add(f"{letter}3:{letter}{ROWS}")
    sheet.add_data_validation(shapes)
    # A sheet of its own: a port is read from the first alone.
    example = book.create_sheet("example")
    example.append([LIKE_THIS])
    example.append(header)
    for row in rows:
        example.append([_number(cell) for cell in row])
    _ready(example, header, unit)
    _explained(book.create_sheet("where to measure"), picture)
    return saved(book)


def _ready(sheet: Any, header: list[str], unit: LengthUnit) -> None:
    """Dress a sheet's first line and header, and give its lengths their decimals."""
    sheet["A1"].font = Font(bold=True, color="B00020")
    for column, name in enumerate(header, start=1):
        cell = sheet.cell(2, column)
        cell.font, cell.fill = Font(bold=True), PatternFill("solid", fgColor="E4E0D8")
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[get_column_letter(column)].width = WIDE
        for number in range(3, ROWS + 1) if name.endswith(("_in", "_mm")) else ():
            sheet.cell(number, column).number_format = "0.000" if unit == "in" else "0.00"
    sheet.freeze_panes = "A3"


def _number(cell: str) -> Any:
    try:
        return float(cell)
    except ValueError:
        return cell or None


def _explained(sheet: Any, picture: bytes) -> None:
    for name, says in COLUMNS:
        sheet.append([name, says])
        sheet.cell(sheet.max_row, 1).font = Font(bold=True)
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 28, 100
    image = Image(io.BytesIO(picture))
    image.width, image.height = PICTURE_WIDTH, round(PICTURE_WIDTH * image.height / image.width)
    sheet.add_image(image, f"A{len(COLUMNS) + 2}")


def make_folder(folder: Path, unit: LengthUnit, *, workbook: bool = False, points: bool = False) -> list[str]:
    """Make a job folder and return the names of its files.

    A file that is there is never replaced: somebody's readings may stand in it. Raises OutputError for
    one, and where the system refuses; nothing is then half made.
    """
    files = folder_files(unit, folder.resolve().name, workbook=workbook, points=points)
    if folder.is_dir():
        there = [name for name in files if os.path.lexists(folder / name)]
        if there:
            raise OutputError(
                f"a job's files are there already ({there[-1]}), and your readings may stand in them",
                file=str(folder),
                hint="Choose another folder: a new job never replaces a file",
            )
        for name, data in files.items():
            atomic_write(folder / name, data, force=False)
        return list(files)
    if os.path.lexists(folder):
        raise OutputError("this is there already and is not a folder", file=str(folder), hint="Choose another name")
    part = folder.with_name(f".{secrets.token_hex(8)}")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part.mkdir()
        for name, data in files.items():
            atomic_write(part / name, data, force=False)
        part.rename(folder)
    except (OSError, ValueError) as error:
        raise no_folder(folder, error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return list(files)
