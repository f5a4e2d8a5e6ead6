"""XLSX, XLS and ODS read as the CSV they were typed from; what they leave unsaid or lie about is refused."""

import datetime
import io
import random
import zipfile

import pytest

from portgeo.app.cli import main
from portgeo.core.errors import InputError, PortgeoError
from portgeo.files.bench import bench_from
from portgeo.files.sheets.sheet import sheet_from
from portgeo.files.sheets.tables import read_table
from portgeo.files.walls import walls_from
from tests.workbooks import WRITE, ods_cell, ods_of, packed

KINDS = (".xlsx", ".xls", ".ods")
HALF = datetime.date(2024, 2, 1)  # what a spreadsheet makes of 1/2
HALF_PAST = datetime.time(4, 30)
# A port's rows, as a person leaves them: a remark, a blank row, a fraction, a number, a blank cell, a round row.
ROWS = [
    ["# a port"],
    [],
    ["station_in", "height_in", "width_in", "shape", "corner_in", "turn_deg", "note"],
    [0, "1 5/8", 1.25, "rect", 0.375, 0, "entry"],
    [],
    [1.5, 1.625, "1,25", None, 0.375, 22.5, 3],
    [3, None, 1.6, "Round", None, 45, None],
]
TYPED = "\n".join(";".join("" if v is None else str(v) for v in row) for row in ROWS)


@pytest.mark.parametrize("kind", KINDS)
def test_a_workbook_reads_as_what_was_typed(tmp_path, kind):
    typed = sheet_from(TYPED.encode(), "port.csv", tmp_path)
    saved = sheet_from(WRITE[kind](ROWS), f"port{kind}", tmp_path)
    assert saved.readings == typed.readings and saved.warnings == typed.warnings and saved.unit == typed.unit
    assert [reading.row for reading in saved.readings] == [4, 6, 7]
    assert [reading.note for reading in saved.readings] == ["entry", "3", ""]


@pytest.mark.parametrize("kind", KINDS)
def test_a_command_takes_it(tmp_path, kind, capsys):
    (tmp_path / f"port{kind}").write_bytes(WRITE[kind](ROWS))
    assert main(["measure", str(tmp_path / f"port{kind}")]) == 0
    assert "min area" in capsys.readouterr().out


@pytest.mark.parametrize("kind", KINDS)
def test_a_fraction_that_became_a_date_and_an_error_are_told_each_at_its_cell(tmp_path, kind):
    rows = [[*row] for row in ROWS]
    rows[3][4], rows[5][1] = HALF, "#DIV/0!"
    with pytest.raises(InputError) as refusal:
        sheet_from(WRITE[kind](rows), f"port{kind}", tmp_path)
    date, error = refusal.value.problems
    assert (date.row, date.column) == (4, "corner_in") and "is a date" in date.what and "text" in date.hint
    assert (error.row, error.column) == (6, "height_in") and "#DIV/0!" in error.what


@pytest.mark.parametrize("kind", KINDS)
def test_half_past_four_is_a_clock_position_though_a_spreadsheet_makes_a_time_of_it(kind):
    rows = [["station_mm", "clock", "thickness_mm"], [10, HALF_PAST, 4.5], [20, 6, 5]]
    assert [reading.clock for reading in walls_from(WRITE[kind](rows), f"walls{kind}")] == [4.5, 6.0]


@pytest.mark.parametrize("kind", KINDS)
def test_bench_sheets_come_as_workbooks_too(kind):
    rows = [["lift_in", "flow_cfm", "depression_in_h2o"], [0.1, 58, 28], [0.2, 110, 28]]
    assert bench_from(WRITE[kind](rows), f"bench{kind}").runs[0].lift.tolist() == pytest.approx([2.54, 5.08])


def test_formulas_never_calculated_are_told_in_an_ods_and_those_with_an_empty_result_are_empty():
    never = '<table:table-cell table:formula="of:=3/8"/>'
    empty = '<table:table-cell table:formula="of:=&quot;&quot;" office:value-type="string" office:string-value=""/>'
    row = f"<table:table-row>{ods_cell('a')}{ods_cell('b')}{ods_cell('c')}</table:table-row>"
    table = read_table(ods_of(f"{row}<table:table-row>{ods_cell(1)}{never}{empty}</table:table-row>"), "a.ods")
    assert [(p.row, p.column) for p in table.problems] == [(2, "b")] and "no result" in table.problems[0].what
    assert table.rows[1] == (2, ("1",))


@pytest.mark.parametrize(
    "body",
    [
        f'<table:table-row table:number-rows-repeated="99999999">{ods_cell(1)}</table:table-row>',
        "<table:table-row>"
        + ods_cell(1).replace("<table:table-cell", '<table:table-cell table:number-columns-repeated="999999999"')
        + "</table:table-row>",
        f'<table:table-row table:number-rows-repeated="-5">{ods_cell(1)}</table:table-row>',
        f"<table:table-row>{ods_cell('a' * 20_000)}</table:table-row>",
        "<table:table-row>",
    ],
)
def test_an_ods_that_lies_about_its_size_is_refused(tmp_path, body):
    with pytest.raises(InputError):
        sheet_from(ods_of(body), "port.ods", tmp_path)


@pytest.mark.parametrize("kind", [".xls", ".ods"])
def test_no_damaged_workbook_gives_a_traceback(tmp_path, kind):
    whole, chance = WRITE[kind](ROWS), random.Random(16)
    for _ in range(150):
        data = bytearray(whole)
        if kind == ".ods":  # past the zip's checksums
            with zipfile.ZipFile(io.BytesIO(whole)) as archive:
                data = bytearray(archive.read("content.xml"))
        for _ in range(chance.randint(1, 4)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        try:
            sheet_from(bytes(data) if kind == ".xls" else packed({"content.xml": data}), f"port{kind}", tmp_path)
        except PortgeoError as refusal:
            assert refusal.file == f"port{kind}" and refusal.hint
