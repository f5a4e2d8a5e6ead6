"""A sheet saved by a person reads right; a sheet with a fault is refused at its row and column."""

import hashlib
import io
import re
import zipfile
from datetime import datetime
from fractions import Fraction

import numpy as np
import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from portgeo.app.cli import main
from portgeo.core.errors import InputError, PortgeoError
from portgeo.core.plane import CHORD_MM, moments
from portgeo.core.section import TOOLS, outline_of
from portgeo.core.units import Display
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.sheet import read_sheet

INCH = 25.4  # NIST SP 811, exact
HEADER = "station_in,height_in,width_in,shape,corner_in,turn_deg,note"
ROWS = ["0,1 5/8,1.25,rect,3/8,0,entry", '1.5,"1.625""",1-1/4,,0.375,22.5,', "3,1.6,1.3,rect,0.4,45,throat"]


def save(folder, text, name="sheet.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def refusal(folder, text, **options):
    path = save(folder, text, **options)
    with pytest.raises(PortgeoError) as caught:
        read_sheet(path)
    assert caught.value.file == str(path) and caught.value.hint
    return caught.value


def codes(sheet):
    return [notice.code for notice in sheet.warnings]


def check_three(sheet):
    """Check that a sheet is ROWS."""
    heights = [r.height for r in sheet.readings]
    assert heights == pytest.approx([1.625 * INCH, 1.625 * INCH, 1.6 * INCH])
    assert [r.width for r in sheet.readings] == pytest.approx([1.25 * INCH, 1.25 * INCH, 1.3 * INCH])
    assert [r.station for r in sheet.readings] == pytest.approx([0.0, 1.5 * INCH, 3 * INCH])
    assert [r.corner_roof for r in sheet.readings] == pytest.approx([0.375 * INCH] * 2 + [0.4 * INCH])
    assert [r.turn for r in sheet.readings] == pytest.approx(np.radians([0, 22.5, 45]))
    assert sheet.unit == "in" and codes(sheet) == ["tool_rule"]


def test_a_sheet_in_inches_with_fractions(tmp_path):
    path = save(tmp_path, "\n".join([HEADER, *ROWS]))
    sheet = read_sheet(path)
    check_three(sheet)
    assert [r.row for r in sheet.readings] == [2, 3, 4]
    assert [r.error for r in sheet.readings] == [0.025] * 3
    assert [r.note for r in sheet.readings] == ["entry", "", "throat"]
    assert sheet.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert read_sheet(path, reading_error_mm=0.05).readings[0].error == 0.05


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_what_spreadsheets_save_reads_right(tmp_path, separator, encoding, end):
    lines = ['# Messung, Öffnung 1 5/8"', "", HEADER.replace("height_in", " Height (in) ").upper()]
    lines += [*ROWS, "", ",,,,,,,"]
    rows = [
        lines[0],
        lines[1],
        *(line.replace(",", separator).replace(".", ",") + separator * 2 for line in lines[2:]),
    ]
    sheet = read_sheet(save(tmp_path, end.join(rows), encoding=encoding))
    check_three(sheet)
    assert [r.row for r in sheet.readings] == [4, 5, 6]


def workbook(folder, rows, name="sheet.xlsx"):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.create_sheet("other").append(["nothing"])
    book.save(folder / name)
    return folder / name


BOOK = [
    ["# a port"],
    [],
    ["Station_in", "height_in", "width_in", "shape", "corner_in", "turn_deg", "note", None],
    [0, "1 5/8", 1.25, "rect", 0.375, 0, "entry"],
    [1.5, 1.625, "1,25", None, 0.375, 22.5],
    [],
    [3, 1.6, 1.3, "RECT", 0.4, 45, datetime(2024, 5, 8)],
    [None, " ", None],
]


@pytest.fixture(scope="module")
def saved_book(tmp_path_factory):
    """Return the bytes of one saved workbook: saved again, it has another time in it."""
    return workbook(tmp_path_factory.mktemp("book"), BOOK).read_bytes()


def test_a_workbook_reads_as_its_csv(tmp_path):
    sheet = read_sheet(workbook(tmp_path, BOOK))
    check_three(sheet)
    assert [r.row for r in sheet.readings] == [4, 5, 7]
    assert sheet.readings[2].note == "2024-05-08"


def test_dates_and_formulas_without_a_result_are_refused(tmp_path):
    dated = [*BOOK[:3], [0, datetime(2024, 5, 8), 1.25], [1, 1.5, 1.25]]
    formula = [*BOOK[:3], [0, 1.5, 1.25, None, "=3/8"], [1, 1.5, 1.25]]
    for rows, word, place in (
        (dated, "date", "row 4, column height_in"),
        (formula, "formula", "row 4, column corner_in"),
    ):
        with pytest.raises(InputError, match=word) as caught:
            read_sheet(workbook(tmp_path, rows))
        assert caught.value.where == place


def test_shapes_and_places(tmp_path):
    text = (
        "note,shape,station_mm,diameter_mm,height_mm,width_mm,corner_roof_mm,corner_floor_mm,rise_mm,shift_in,"
        "x_mm,y_mm,z_mm,swing_deg,reading_error_mm\n"
        ",round,0,40,,,,,,,0,0,0,,\n"
        ",round,20,,40,40.1,,,,,20,1,-2,5,0.01\n"
        ",oval,40,,40,50,,,-1.5,0.1,,,,,\n"
        ",rect,60,,40,50,5,0,,,,,,,\n"
    )
    sheet = read_sheet(save(tmp_path, text))
    first, second, oval, rect = sheet.readings
    assert (first.height, first.width) == (40.0, 40.0) and second.height == second.width == pytest.approx(40.05)
    assert second.place == pytest.approx([20, 1, -2]) and oval.place is None
    assert second.error == 0.01 and second.swing == pytest.approx(np.radians(5))
    assert moments(outline_of(oval)).area == pytest.approx(np.pi * 20 * 25, rel=1e-3)
    assert (oval.rise, oval.shift) == pytest.approx((-1.5, 2.54))
    # Rounded rectangle, two corners sharp and two of radius r (mensuration): w h - (4 - pi) r^2 / 2.
    # Its arcs are drawn with chords within CHORD_MM: the area lacks at most that times their length.
    lacking = 2000 - (4 - np.pi) / 2 * 25 - moments(outline_of(rect)).area
    assert 0.0 <= lacking <= CHORD_MM * np.pi * 5
    assert sheet.unit == "mm" and codes(sheet) == ["tool_rule"]


def test_a_missing_corner_is_told_with_row_and_station(tmp_path):
    sheet = read_sheet(
        save(tmp_path, "station_in,height_in,width_in,turn_deg,corner_in\n0,1,1,0,0\n1,1,1,0,\n2,1,1,0,1/4\n")
    )
    assert codes(sheet) == ["corner_missing", "tool_rule"]
    message = sheet.warnings[0].message(Display("in"))
    assert "row 3" in message and "1.000 in" in message and "row 2" not in message


def test_a_doubtful_unit_is_told(tmp_path):
    sheet = read_sheet(
        save(tmp_path, "station_mm,height_mm,width_mm,corner_mm,turn_deg\n0,1.6,1.2,0,0\n1,1.6,1.2,0,0\n")
    )
    assert codes(sheet) == ["unit_doubt", "tool_rule"]


def test_a_full_radius_end_read_a_hair_large_is_forgiven(tmp_path):
    sheet = read_sheet(save(tmp_path, "station_in,height_in,width_in,corner_in\n0,2,1.625,0.813\n1,2,1.625,.8\n"))
    assert sheet.readings[0].corner_roof == pytest.approx(0.8125 * INCH)


@pytest.mark.parametrize(
    "name", ["../secret.csv", "traces/../../secret.csv", "/etc/passwd", "c:\\secret.csv", "..\\s.csv"]
)
def test_an_outline_may_not_leave_the_sheets_folder(tmp_path, name, capsys):
    (tmp_path / "secret.csv").write_text("x_in,y_in\n0,0\n1,0\n1,1\n0,1\n0,0\n")
    (tmp_path / "mine").mkdir()
    sheet = tmp_path / "mine" / "sheet.csv"
    sheet.write_text(f"station_in,shape,outline\n0,outline,{name}\n1,outline,{name}\n")
    for words in (["measure", str(sheet)], ["loft", str(sheet), "-o", str(tmp_path / "p.stl")]):
        assert main(words) == 2
        told = capsys.readouterr().err
        assert "row 2, column outline" in told and "this file's folder" in told


def test_a_traced_outline_beside_the_sheet(tmp_path):
    (tmp_path / "traces").mkdir()
    trace = "\n".join(f"{x},{y}" for x, y in [(0, 0), (2, 0), (2, 1), (0, 1), (0, 0)])
    (tmp_path / "traces" / "a.csv").write_text(trace)
    text = "station_in,shape,outline,height_in\n0,outline,traces/a.csv,1\n1,outline,traces\\a.csv,\n"
    sheet = read_sheet(save(tmp_path, text))
    for reading in sheet.readings:
        assert moments(reading.outline).area == pytest.approx(2 * INCH**2)
        assert (reading.height, reading.width) == pytest.approx((INCH, 2 * INCH))
    wrong = refusal(tmp_path, text.replace("a.csv,1", "a.csv,1.2"))
    assert wrong.where == "row 2, column height_in"
    gone = refusal(tmp_path, text.replace("traces/a", "traces/b"))
    assert gone.where == "row 2, column outline" and "there is no file" in str(gone)


GOOD = [
    "station_mm,height_mm,width_mm,corner_mm,shape,turn_deg,x_mm,y_mm,z_mm",
    "0,40,30,5,,0,,,",
    "20,40,30,5,,10,,,",
]


def with_row(row, after=()):
    return "\n".join([*GOOD, row, *after])


# What is typed in the third row, the place named, and a word of the reason.
BAD_ROWS = [
    ("40,abc,30,5", "row 4, column height_mm", "not a number"),
    ("40,,30,5", "row 4, column height_mm", "empty"),
    (",40,30,5", "row 4, column station_mm", "empty"),
    ("40,-40,30,5", "row 4, column height_mm", "not more than zero"),
    ("40,0,30,5", "row 4, column height_mm", "not more than zero"),
    ("40,nan,30,5", "row 4, column height_mm", "not a number"),
    ("40,inf,30,5", "row 4, column height_mm", "not a number"),
    ("40,1e999,30,5", "row 4, column height_mm", "too large"),
    ("40,40,0.5,5", "row 4, column width_mm", "smaller"),
    ("40,40,1200,5", "row 4, column width_mm", "larger"),
    ("40,40,30,-1", "row 4, column corner_mm", "negative"),
    ("40,40,30,16", "row 4, column corner_mm", "do not fit"),
    ("40,1 5/8,30,5", "row 4, column height_mm", "fraction"),
    ("40,1.6 in,30,5", "row 4, column height_mm", "inches"),
    ("40,8-May,30,5", "row 4, column height_mm", "date"),
    ("40,40,30,5,square", "row 4, column shape", "not a shape"),
    ("40,40,30,5,round", "row 4, column corner_mm", "has no corner"),
    ("40,40,30,,round", "row 4, column height_mm", "round"),
    ("40,40,30,5,,140", "rows 3 and 4", "130 degrees"),
    ("40,40,30,5,,400", "row 4, column turn_deg", "full turn"),
    ("40,40,30,5,,0,1,2,", "row 4, column z_mm", "x, y and z"),
    ("20,40,30,5", "rows 3 and 4, column station_mm", "both rows"),
    ("10,40,30,5", "rows 3 and 4, column station_mm", "comes after"),
    ("-1,40,30,5", "row 4, column station_mm", "negative"),
    ("9000,40,30,5", "row 4, column station_mm", "longer"),
    ("40,41,3,30,5,,0,0,0,0", "row 4", "decimal comma"),
    ('40,"41,3",30,5', "row 4, column height_mm", "comma"),
    ('40,"41,30,5', "row 4", "quotation mark"),
    ("40,,30,5,outline", "row 4, column corner_mm", "has no corner"),
    ("40,,,,outline", "row 4, column outline", "no file"),
    ("40,40,,,oval", "row 4, column width_mm", "empty"),
    ("40,,,,round", "row 4, column diameter", "no diameter"),
]


def test_decimal_commas_in_every_row_are_seen_though_the_cells_fit(tmp_path):
    wrong = refusal(tmp_path, "station_mm,height_mm,width_mm,note\n0,41,3,30,\n20,42,3,30,\n")
    assert wrong.where == "row 2" and "decimal comma" in wrong.what


@pytest.mark.parametrize(("row", "where", "reason"), BAD_ROWS)
def test_a_fault_in_a_row_is_named(tmp_path, row, where, reason):
    problems = refusal(tmp_path, with_row(row)).problems
    assert reason in next(problem.what for problem in problems if problem.where == where)
    # The row before it has turned, and most of these say nothing of their turn.
    assert {problem.where for problem in problems} <= {where, "row 4, column turn_deg"}


@pytest.mark.parametrize(
    ("header", "where", "hint"),
    [
        ("station_mm,hieght_mm,width_mm", "row 1, column hieght_mm", "height_mm"),
        ("station_mm,Hight (mm),width_mm", "row 1, column Hight (mm)", "height_mm"),
        ("station_mm,height,width_mm", "row 1, column height", "height_in or height_mm"),
        ("station_mm,height_in,height_mm", "row 1, column height_mm", "Leave one"),
        ("station_mm,height_mm,height mm", "row 1, column height mm", "Leave one"),
        ("height_mm,width_mm,corner_mm", "row 1", "station_mm"),
        ("station_mm,height_mm,,width_mm", "row 1, column 3", "Name the column"),
        ("station_mm,height_mm,zzzzqq", "row 1, column zzzzqq", "names of the columns: station"),
    ],
)
def test_a_fault_in_the_header_is_named(tmp_path, header, where, hint):
    cells = ",5" if header.count(",") > 2 else ""
    wrong = refusal(tmp_path, f"{header}\n0,40,30{cells}\n20,40,30{cells}\n")
    assert wrong.where == where
    assert hint in wrong.hint


def test_lengths_in_messages_are_in_the_users_own_unit(tmp_path):
    wrong = refusal(tmp_path, "station_in,Height in,width_in\n0,41.3,30\n1,1,1\n")
    assert wrong.where == "row 2, column Height in" and "41.3 in" in wrong.what and "mm" in wrong.hint
    corner = refusal(tmp_path, "station_in,height_in,width_in,corner_in\n0,1,1,0.6\n1,1,1,0\n")
    assert "0.600 in" in corner.what and corner.where == "row 2, column corner_in"


def test_files_that_are_no_sheets_are_refused(tmp_path):
    for data in (
        b"",
        b"\n\n",
        b"# only a remark\n",
        b"station_mm,height_mm,width_mm\n",
        b"station_mm,height_mm,width_mm\n0,40,30\n",
        b"\x89PNG\r\n\x1a\n\0\0",
        b"PK\x03\x04 and more",
        b"\xd0\xcf\x11\xe0 old",
    ):
        (tmp_path / "a.csv").write_bytes(data)
        (tmp_path / "a.xlsx").write_bytes(data)
        for name in ("a.csv", "a.xlsx"):
            with pytest.raises(InputError) as caught:
                read_sheet(tmp_path / name)
            assert caught.value.file == str(tmp_path / name)
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(InputError):
            read_sheet(path)


def test_a_workbook_that_expands_without_end_is_refused(tmp_path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", "<row/>" * 10_000_000)
    (tmp_path / "bomb.xlsx").write_bytes(out.getvalue())
    with pytest.raises(InputError, match="expands"):
        read_sheet(tmp_path / "bomb.xlsx")
    wide = openpyxl.Workbook()
    wide.active.cell(1, 16_000, "far")
    wide.save(tmp_path / "wide.xlsx")
    with pytest.raises(InputError):
        read_sheet(tmp_path / "wide.xlsx")


@given(st.integers(0, 40), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]), st.sampled_from(" -"))
def test_inch_fractions_are_their_value(whole, top, bottom, joint):
    top %= bottom
    for text in (
        f"{whole}{joint}{top}/{bottom}",
        f' {whole} {top}/{bottom}" ',
        f"{whole} {top} / {bottom} in",
    ):
        assert read_number(text, unit="in", decimal_comma=False) == float(whole + Fraction(top, bottom))
    assert read_number(f"{top}/{bottom}", unit="in", decimal_comma=False) == top / bottom


def test_odd_ways_of_writing_numbers():
    good = {"1½": 1.5, "−3": -3.0, "22,5°": 22.5, ".5": 0.5, "1⁄2": 0.5, "1e2": 100.0, "7.": 7.0}
    for text, value in good.items():
        assert read_number(text, unit="deg", decimal_comma=True) == value
    for text in ("1.234,5", "1,2,3", "1_0", "0x10", "٣", "1 9/8", "1/0", "--1", "1.5.2", "5 mm", "", "1 2"):
        with pytest.raises(InputError):
            read_number(text, unit="in", decimal_comma=True)


def test_a_fraction_that_no_rule_has_is_refused_with_its_cell(tmp_path):
    wrong = refusal(tmp_path, "station_in,height_in,width_in\n0,1 34/46,1\n1,1.7,1\n")
    assert wrong.where == "row 2, column height_in" and "'1 34/46'" in wrong.what and "46 parts" in wrong.what
    assert read_number("4 1/3", unit="deg", decimal_comma=False) == pytest.approx(4.0 + 1.0 / 3.0)


WORDS = st.sampled_from(["", "40", "0", "1 5/8", "rect", "round", "#", '"', "nan"])
CELLS = st.floats(-5, 200).map(lambda x: f"{x:.3f}") | WORDS | st.text(max_size=5)
NAMES = st.sampled_from([*GOOD[0].split(","), "diameter_mm", "outline", "note", "swing_deg", "rise_in", "oops"])


@st.composite
def likely_sheets(draw):
    """Draw the text of something like a sheet."""
    header = ["station_mm", *draw(st.lists(NAMES, min_size=1, max_size=8, unique=True))]
    rows = draw(st.lists(st.lists(CELLS, max_size=9), max_size=5))
    separator = draw(st.sampled_from(",;\t"))
    return "\n".join(separator.join(row) for row in [header, *rows])


TEXTS = (likely_sheets() | st.text(max_size=200)).map(lambda text: text.encode("utf-8", "replace"))


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200) | TEXTS, st.sampled_from([".csv", ".xlsx"]))
def test_no_bytes_give_a_traceback(tmp_path, data, suffix):
    check_promise(tmp_path / f"fuzz{suffix}", data)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_damaged_sheet_gives_a_traceback(tmp_path, saved_book, data):
    suffix = data.draw(st.sampled_from(["csv", "xlsx"]))
    content = bytearray("\n".join([HEADER, *ROWS]).encode() if suffix == "csv" else saved_book)
    for _ in range(data.draw(st.integers(1, 5))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    check_promise(tmp_path / f"damaged.{suffix}", bytes(content[: data.draw(st.integers(1, len(content)))]))


def check_promise(path, data):
    """Check that bytes are refused with their file named, or give readings that can be used."""
    path.write_bytes(data)
    try:
        sheet = read_sheet(path)
    except PortgeoError as refused:
        assert refused.file == str(path) and refused.what and refused.hint
        return
    stations = [r.station for r in sheet.readings]
    assert len(stations) >= 2 and (np.diff(stations) > 0).all()
    for reading in sheet.readings:
        assert moments(outline_of(reading)).area > 0


def test_a_heading_left_empty_past_the_turn_is_refused_and_before_it_is_none(tmp_path):
    rows = "station_mm,diameter_mm,shape,turn_deg\n0,40,round,\n30,40,round,{}\n60,40,round,{}\n"
    sheet = tmp_path / "port.csv"
    sheet.write_text(rows.format("", "20"))
    assert [round(float(np.degrees(r.turn))) for r in read_sheet(sheet).readings] == [0, 0, 20]
    sheet.write_text(rows.format("20", ""))
    with pytest.raises(PortgeoError, match=r"row 4, column turn_deg.*empty"):
        read_sheet(sheet)


def test_a_sheet_without_headings_is_told_to_be_straight(tmp_path):
    sheet = tmp_path / "port.csv"
    sheet.write_text("station_mm,diameter_mm,shape\n0,40,round\n30,40,round\n")
    assert codes(read_sheet(sheet)) == ["no_heading", "tool_rule"]


@pytest.mark.parametrize("row", range(5))
@pytest.mark.parametrize("column", ["height", "width"])
@pytest.mark.parametrize("times", [10.0, 0.1])
def test_a_slipped_decimal_point_is_blamed_on_its_own_reading(row, column, times, tmp_path):
    sizes = {"height": [44.0, 43.0, 40.0, 38.0, 36.0], "width": [32.0, 32.5, 33.0, 33.5, 34.0]}
    sizes[column][row] *= times
    lines = [f"{15 * k},{sizes['height'][k]:.6g},{sizes['width'][k]:.6g},8,{6 * k}" for k in range(5)]
    (tmp_path / "a.csv").write_text("station_mm,height_mm,width_mm,corner_mm,turn_deg\n" + "\n".join(lines) + "\n")
    with pytest.raises(InputError, match="ten" if times > 1 else "tenth") as refused:
        read_sheet(tmp_path / "a.csv")
    assert refused.value.where == f"row {row + 2}, column {column}_mm"


@pytest.mark.parametrize(("unit", "typed", "meant"), [("mm", "1.189", "inches? Then write 30.2"), ("in", "30.2", "mm")])
def test_one_reading_in_the_other_unit_is_asked_about(unit, typed, meant, tmp_path):
    beside = {"mm": ("29", "30.8"), "in": ("1.142", "1.213")}[unit]
    lines = [f"{k},{h},round" for k, h in zip((0, 8, 16, 24), (beside[0], typed, beside[1], beside[1]), strict=True)]
    (tmp_path / "a.csv").write_text(f"station_mm,diameter_{unit},shape\n" + "\n".join(lines) + "\n")
    with pytest.raises(InputError, match=f"Is it in {re.escape(meant)}") as refused:
        read_sheet(tmp_path / "a.csv")
    assert refused.value.where == f"row 3, column diameter_{unit}"


def test_a_port_that_opens_ten_times_wider_at_its_end_is_read(tmp_path):
    (tmp_path / "a.csv").write_text("station_mm,diameter_mm,shape\n0,300,round\n30,31,round\n60,30,round\n")
    assert read_sheet(tmp_path / "a.csv").readings[0].height == 300.0


def test_places_alone_run_along_a_smooth_curve(tmp_path):
    """Places on a quarter circle of 60 mm: the curve's headings are the circle's; given ones would hold."""
    angles = np.linspace(0.0, np.pi / 2.0, 8)
    rows = [f"{60 * a},40,round,{60 * np.sin(a)},0,{60 * np.cos(a) - 60}" for a in angles]
    header = "station_mm,diameter_mm,shape,x_mm,y_mm,z_mm"
    sheet = read_sheet(save(tmp_path, "\n".join([header, *rows])))
    assert [r.turn for r in sheet.readings] == pytest.approx(angles, abs=np.radians(0.2))
    assert [r.swing for r in sheet.readings] == pytest.approx(np.zeros(8), abs=1e-9)
    given = [f"{row},{np.degrees(a) + 1.0}" for row, a in zip(rows, angles, strict=True)]
    sheet = read_sheet(save(tmp_path, "\n".join([header + ",turn_deg", *given])))
    assert [r.turn for r in sheet.readings] == pytest.approx(angles + np.radians(1.0))


def test_tool_and_turn_error_are_read(tmp_path):
    text = "station_mm,diameter_mm,shape,turn_deg,tool,turn_error_deg\n0,40,round,0,Caliper,\n30,40,round,5,rule,0.5\n"
    sheet = read_sheet(save(tmp_path, text))
    assert [r.tool for r in sheet.readings] == ["caliper", "rule"] and codes(sheet) == []
    assert [r.error for r in sheet.readings] == [TOOLS["caliper"][0], TOOLS["rule"][0]]
    assert [r.turn_error for r in sheet.readings] == pytest.approx(np.radians([1.0, 0.5]))
    with pytest.raises(InputError, match="'laser' is not a tool"):
        read_sheet(save(tmp_path, text.replace("rule", "laser")))
    with pytest.raises(InputError, match="a heading known to -1 degrees"):
        read_sheet(save(tmp_path, text.replace("0.5", "-1")))


@pytest.mark.parametrize(("word", "shape"), [("rectangle", "rect"), ("Circle", "round"), ("ellipse", "oval")])
def test_shapes_are_read_by_their_other_names(tmp_path, word, shape):
    rows = [f"{k},1.5,1.5,{word}" for k in range(3)]
    read = read_sheet(save(tmp_path, "\n".join(["station_in,height_in,width_in,shape", *rows])))
    assert {reading.shape for reading in read.readings} == {shape}
