"""A sheet that is typed into: what is not typed over stays byte for byte, whatever wrote the file."""

import csv
import io
import random
import re
import warnings
import zipfile

import openpyxl
import pytest
from openpyxl.drawing.image import Image
from openpyxl.styles import PatternFill
from openpyxl.worksheet.datavalidation import DataValidation

from portgeo.app.live.documents import CsvSheet
from portgeo.app.live.sheets import sheet_of
from portgeo.app.live.tables import look
from portgeo.core.errors import InputError
from portgeo.files.sheets.tables import read_table

LINES = [
    "# readings of a bench in another country",
    "station_mm;height_mm;width_mm;note",
    "",
    "0,0;41,3;30,0;gegenüber",
    ' 10,0 ; 41,30;30;"a; b"',
    "# a remark between rows",
    "20,0;41,3;30,0;",
    ";;;",
    "30;41;30;last",
]


def written(encoding, end, last=True):
    return (end.join(LINES) + (end if last else "")).encode(encoding)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("last", [True, False])
def test_one_cell_changes_its_own_line_alone(encoding, end, last):
    data = written(encoding, end, last)
    sheet = CsvSheet(data, "a.csv")
    assert sheet.data() == data
    assert [row[0] for row in sheet.rows] == ["0,0", "10,0", "20,0", "", "30"]
    sheet.set_cell(3, "height_mm", "41,25")
    before, after = data.decode(encoding).split(end), sheet.data().decode(encoding).split(end)
    assert [k for k in range(len(before)) if before[k] != after[k]] == [6]
    assert after[6] == "20,0;41,25;30,0;"


def test_rows_go_in_and_out_and_remarks_stay_where_they_are():
    sheet = CsvSheet(written("utf-8", "\r\n"), "a.csv")
    sheet.insert(3, 2)
    sheet.set_cell(3, "station_mm", "15")
    sheet.insert(len(sheet.rows) + 1, 1)
    sheet.set_cell(len(sheet.rows), "station_mm", "40")
    sheet.remove([1, 6])
    lines = sheet.data().decode().split("\r\n")
    assert [line.split(";")[0].strip() for line in lines[2:]] == [
        "", "10,0", "# a remark between rows", "15", "", "20,0", "30", "40", "",
    ]  # fmt: skip
    assert sheet.data().count(b"\n") == sheet.data().count(b"\r\n")


def test_what_the_old_code_page_lacks_makes_the_file_unicode_and_nothing_is_lost():
    sheet = CsvSheet(written("cp1252", "\r\n"), "a.csv")
    sheet.set_cell(1, "note", "41⅜″ gegenüber")
    again = CsvSheet(sheet.data(), "a.csv")
    assert again.rows[0][3] == "41⅜″ gegenüber" and again.rows[1][3] == "a; b"


@pytest.mark.parametrize("text", ['1.625"', "1 5/8", "a, b", 'said "so"', "ü ½ 中", "=1+1", "-", "'x"])
def test_a_cell_is_read_back_as_it_was_typed_by_the_reader_of_the_commands(text):
    sheet = CsvSheet(b"station_in,height_in,width_in,note\n0,1,1,\n1,1,1,\n", "a.csv")
    sheet.set_cell(2, "note", text)
    sheet.set_cell(1, "height_in", text)
    rows = read_table(sheet.data(), "a.csv").rows
    assert rows[1][1][1] == text and rows[2][1][3] == text


@pytest.mark.parametrize("text", ["# first", " #"])
def test_what_would_make_the_row_a_remark_is_refused(text):
    sheet = CsvSheet(b"station_in,height_in\n0,1\n", "a.csv")
    sheet.set_cell(1, "station_in", text)
    with pytest.raises(InputError):
        sheet.data()


def test_random_edits_of_a_csv_are_those_of_a_plain_table():
    chance = random.Random(3)
    header = ["station_in", "height_in", "width_in", "note"]
    table = [[str(k), "1.9", "1.1", f"n{k}"] for k in range(8)]
    text = io.StringIO()
    csv.writer(text).writerows([["# remark"], header, *table])
    data = text.getvalue().encode()
    for _ in range(300):
        sheet = CsvSheet(data, "a.csv")
        kind = chance.random()
        if kind < 0.6:
            row, column = chance.randint(1, len(table)), chance.randint(1, 3)
            table[row - 1][column] = chance.choice(['1"', "a,b", "1 1/2", "x", "é"])
            sheet.set_cell(row, header[column], table[row - 1][column])
        elif kind < 0.8 or len(table) < 3:
            at = chance.randint(1, len(table))
            table.insert(at - 1, [f"s{len(table)}", "", "", ""])
            sheet.insert(at, 1)
            sheet.set_cell(at, "station_in", table[at - 1][0])
        else:
            row = chance.randint(1, len(table))
            del table[row - 1]
            sheet.remove([row])
        data = sheet.data()
        assert CsvSheet(data, "a.csv").rows == table
    assert data.startswith(b"# remark\r\n")


@pytest.fixture
def workbook():
    """A workbook as a shop has it: formats, a list, another sheet with a formula, a picture."""
    from PIL import Image as Picture

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["# fill in"])
    sheet.append(["station_in", "height_in", "width_in", "shape", "note"])
    for k in range(5):
        sheet.append([0.5 * k, 1.95, 1.15, "rect", f"row {k}"])
    for row in sheet.iter_rows(min_row=3, max_row=30, min_col=1, max_col=3):
        for cell in row:
            cell.number_format, cell.fill = "0.000", PatternFill("solid", fgColor="FFEE00")
    shapes = DataValidation("list", formula1='"rect,round"')
    shapes.add("D3:D30")
    sheet.add_data_validation(shapes)
    picture = io.BytesIO()
    Picture.new("RGB", (8, 8), "red").save(picture, "png")
    picture.seek(0)
    other = book.create_sheet("bench")
    other["A1"], other["A2"] = 2.0, "=A1*2"
    other.add_image(Image(picture), "C3")
    found = io.BytesIO()
    book.save(found)
    return found.getvalue()


def test_a_workbook_keeps_all_else_byte_for_byte(workbook):
    sheet = sheet_of(workbook, "a.xlsx")
    sheet.set_cell(2, "height_in", "1.900")
    sheet.set_cell(3, "width_in", "1 1/8")
    sheet.set_cell(3, "note", "=danger()")
    sheet.insert(2, 1)
    sheet.set_cell(2, "station_in", "0.25")
    sheet.add_column("mark")
    sheet.set_cell(6, "mark", "throat")
    data = sheet.data()
    with zipfile.ZipFile(io.BytesIO(workbook)) as before, zipfile.ZipFile(io.BytesIO(data)) as after:
        assert before.namelist() == after.namelist()
        assert [n for n in before.namelist() if before.read(n) != after.read(n)] == ["xl/worksheets/sheet1.xml"]
    again = sheet_of(data, "a.xlsx")
    assert again.rows[1][0] == "0.25" and again.rows[2][1] == "1.900" and again.rows[5][5] == "throat"
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        book = openpyxl.load_workbook(io.BytesIO(data))
    cells = book.worksheets[0]
    assert (cells["B5"].value, cells["B5"].number_format, cells["B5"].fill.fgColor.rgb) == (1.9, "0.000", "00FFEE00")
    assert cells["C6"].value == "1 1/8" and cells["E6"].value == "=danger()" and cells["E6"].data_type == "s"
    assert str(cells.data_validations.dataValidation[0].sqref) == "D3:D30"
    assert book["bench"]["A2"].value == "=A1*2" and len(book["bench"]._images) == 1


def test_a_formula_of_a_workbook_is_never_measured_with_an_old_result(workbook, tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(workbook))
    book.worksheets[0]["C4"] = "=B4-0.8"
    found = io.BytesIO()
    book.save(found)
    written, calculated = zipfile.ZipFile(found), io.BytesIO()
    with zipfile.ZipFile(calculated, "w") as made:  # as a spreadsheet saves it, with the formula's result
        for name in written.namelist():
            made.writestr(name, re.sub(rb"(<f>B4-0.8</f>)<v ?/?>(</v>)?", rb"\1<v>1.15</v>", written.read(name)))
    sheet = sheet_of(calculated.getvalue(), "a.xlsx")
    assert sheet.rows[1][2] == "1.15"
    with pytest.raises(InputError, match="formula"):
        sheet.set_cell(2, "width_in", "1.1")
    with pytest.raises(InputError, match="formulas"):
        sheet.insert(1, 1)
    sheet.set_cell(2, "height_in", "1.8")
    data = sheet.data()
    looked = look(sheet_of(data, "a.xlsx"), data, "sections", tmp_path)
    assert [(problem["row"], problem["column"]) for problem in looked.problems] == [(2, "width_in")]
    assert "formula" in looked.problems[0]["what"]


def test_an_old_workbook_is_read_and_saved_beside_when_it_is_typed_into(tmp_path):
    import xlwt

    from tests.live.conftest import served

    book = xlwt.Workbook()
    cells = book.add_sheet("one")
    for k, row in enumerate([["station_in", "height_in", "width_in"], [0, 1.9, 1.1], [1, 1.8, 1.1], [2, 1.7, 1.1]]):
        for column, value in enumerate(row):
            cells.write(k, column, value)
    book.save(str(tmp_path / "old.xls"))
    before = (tmp_path / "old.xls").read_bytes()
    with served(tmp_path / "old.xls") as browser:
        cell = {"op": "cells", "file": "old.xls", "cells": [[1, "height_in", "1.95"]]}
        refused = browser.edit(cell)
        assert refused.status_code == 400 and "old.csv" in refused.json()["hint"]
        assert browser.edit({"op": "beside", "file": "old.xls"}).status_code == 200
        browser.type("old.csv", 1, "height_in", "1.95")
        assert list(browser.get("state").json()["tables"]) == ["old.csv"]
    assert (tmp_path / "old.xls").read_bytes() == before
    assert (tmp_path / "old.csv").read_text().split("\n")[1] == "0,1.95,1.1"


def test_a_reading_not_taken_is_no_fault_and_the_next_is_the_first_in_order(tmp_path):
    rows = ["0,1.9,1.1,", "1,,1.1,", "2,1.7,,", "3,1.6,1.1,square", "4,,,round", ",,,", "5,1.5,1.1,"]
    data = "\n".join(["station_in,height_in,width_in,shape", *rows, ""]).encode()
    looked = look(sheet_of(data, "a.csv"), data, "sections", tmp_path)
    assert looked.missing == ((2, "height_in"), (3, "width_in"), (5, "height_in"))
    assert [(problem["row"], problem["column"]) for problem in looked.problems] == [(4, "shape")]
    assert [row for row, _ in looked.readings()] == [1, 7]
