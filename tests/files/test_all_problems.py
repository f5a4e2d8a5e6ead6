"""All that is wrong with a file is told at once, each problem at its cell, and nothing that follows from another."""

import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portgeo.app.cli import main
from portgeo.core.errors import MOST_SHOWN, GeometryError, InputError, PortgeoError, Problem
from portgeo.files.bench import bench_from
from portgeo.files.drawings.outlines import outline_from
from portgeo.files.sheets.sheet import sheet_from
from portgeo.files.walls import walls_from

ROWS = 9
COLUMNS = (
    "station_mm", "height_mm", "width_mm", "shape", "corner_mm", "turn_deg", "swing_deg", "rise_mm", "shift_mm",
    "reading_error_mm", "zero_error_mm", "tool", "turn_error_deg", "mark", "note",
)  # fmt: skip
# What a hand may type where something else belongs, by column.
SLIPS = {
    "station_mm": ["", "abc", "-3", "9000", "1/2", "12 in"],
    "height_mm": ["", "forty", "-40", "0", "0.5", "1200", "2024-02-01", "400", "4.0"],
    "width_mm": ["", "3O", "0", "1.36", "2000"],
    "shape": ["square", "rectangel"],
    "corner_mm": ["x", "-1", "21", "1 1/4"],
    "turn_deg": ["", "30%", "400", "7 mm"],
    "swing_deg": ["5 in", "-999"],
    "rise_mm": ["up", "6000"],
    "shift_mm": ["1,2,3", "5/8"],
    "reading_error_mm": ["-0.1", "25", "a hair"],
    "zero_error_mm": ["-1", "25", "none"],
    "tool": ["laser"],
    "turn_error_deg": ["45", "-1", "one"],
    "mark": ["throat", "throte", "seat bowl"],
}


def sound():
    """Return the cells of a sound sheet, row by row: a port that turns from its first row on."""
    return [
        {
            "station_mm": f"{15 * k}", "height_mm": f"{44 - k}", "width_mm": f"{31 + 0.5 * k}", "shape": "rect",
            "corner_mm": "8", "turn_deg": f"{2 + 8 * k}", "swing_deg": "0", "rise_mm": "0", "shift_mm": "0.2",
            "reading_error_mm": "0.02", "zero_error_mm": "0.01", "tool": "caliper",
            "turn_error_deg": "1", "mark": "throat" if k == 0 else "",
            "note": "",
        }
        for k in range(ROWS)
    ]  # fmt: skip


def as_text(rows):
    return "\n".join(";".join(cells) for cells in [COLUMNS, *([row[c] for c in COLUMNS] for row in rows)]).encode()


@st.composite
def slipped(draw):
    """Draw a sound sheet's cells with slips in some, and where these are: (row of the file, column)."""
    rows, places = sound(), set()
    for column in draw(st.lists(st.sampled_from(sorted(SLIPS)), min_size=1, max_size=5, unique=True)):
        # Not in the first rows, and apart: a size is judged by the rows beside it, a turn and a mark by those before.
        for k in draw(st.sampled_from([(2,), (5,), (2, 5), (2, 5, 8), (4, 7), (8,)])):
            rows[k][column] = draw(st.sampled_from(SLIPS[column]))
            if rows[k]["mark"] == "throat" and column == "mark":
                rows[k]["mark"] = "throat seat"
            places.add((k + 2, column))
    return rows, places


def told(refusal):
    return {(problem.row, problem.column) for problem in refusal.value.problems}


@settings(max_examples=150, deadline=None)
@given(slipped())
def test_every_slip_is_told_at_its_cell_and_nothing_else_is(tmp_path_factory, drawn):
    rows, places = drawn
    folder = tmp_path_factory.getbasetemp()
    for source, file in ((as_text(rows), "port.csv"), (rows, "readings")):
        with pytest.raises(PortgeoError) as refusal:
            sheet_from(source, file, folder)
        # What hangs on another cell that is wrong is not judged: a corner on the size it must fit into, a reading's
        # error on the same, an empty size on the shape that may need none.
        hanging = {
            (row, name)
            for row, _ in places & {(row, other) for row, _ in places for other in ("height_mm", "width_mm", "shape")}
            for name, cell in {
                "corner_mm": ("21",),
                "reading_error_mm": ("25",),
                "zero_error_mm": ("25",),
                "height_mm": "",
                "width_mm": "",
            }.items()
            if rows[row - 2][name] in (cell or ("",))
        }
        # A corner up to its reading's error past half the width fills the section.
        hanging |= {(row, "corner_mm") for row, name in places if name == "reading_error_mm"}
        judged = places - hanging
        assert judged <= told(refusal) <= places
        order = [(problem.row, COLUMNS.index(problem.column)) for problem in refusal.value.problems]
        assert order == sorted(order) and len(set(order)) == len(order)
        assert {problem.file for problem in refusal.value.problems} == {file}


def test_rows_in_hand_and_bytes_are_told_the_same(tmp_path):
    rows = sound()
    rows[3]["height_mm"], rows[4]["tool"], rows[6]["station_mm"] = "abc", "laser", "1"
    both = []
    for source in (as_text(rows), rows):
        with pytest.raises(PortgeoError) as refusal:
            sheet_from(source, "port.csv", tmp_path)
        both.append(refusal.value)
    assert str(both[0]) == str(both[1]) and both[0].problems == both[1].problems
    assert both[0].problems[2].where == "rows 7 and 8, column station_mm"
    del rows[3:]
    assert sheet_from(as_text(rows), "a.csv", tmp_path).readings == sheet_from(rows, "a.csv", tmp_path).readings


def test_the_list_is_short_and_in_the_files_order(tmp_path, capsys):
    rows = [{**sound()[0], "station_mm": f"{10 * k}", "mark": "", "height_mm": "x", "tool": "?"} for k in range(30)]
    (tmp_path / "port.csv").write_bytes(as_text(rows))
    assert main(["measure", str(tmp_path / "port.csv")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == f"portgeo: {tmp_path / 'port.csv'}: 60 problems"
    assert lines[1] == "  row 2, column height_mm: 'x' is not a number. Write a number such as 41.3."
    assert lines[2].startswith("  row 2, column tool: ") and lines[3].startswith("  row 3, column height_mm: ")
    assert lines[-1] == "  and 40 more" and len(lines) == MOST_SHOWN + 2


@pytest.mark.parametrize("name", ["hieght_mm", "height", "turn"])
def test_cells_under_a_misspelt_name_are_told_with_it(tmp_path, name):
    """Mended in one go: what stands under a name that is a slip, or lacks its unit, is read as what was meant."""
    column = "turn_deg" if name == "turn" else "height_mm"
    rows = [{name: row.pop(column), **row} for row in sound()]
    rows[2][name], rows[3]["width_mm"] = "38.0o", "l7"
    with pytest.raises(InputError) as refusal:
        sheet_from(rows, "readings", tmp_path)
    assert told(refusal) == {(1, name), (4, name), (5, "width_mm")}


def test_a_name_like_none_lends_its_cells_to_no_column(tmp_path):
    rows = [{**row, "gasket": "rough"} for row in sound()]
    with pytest.raises(InputError) as refusal:
        sheet_from(rows, "readings", tmp_path)
    assert told(refusal) == {(1, "gasket")}


def test_a_misspelt_column_is_told_with_the_slips_of_the_others_and_not_as_missing(tmp_path):
    rows = [{**row, "hieght_mm": row["height_mm"], "depth": "3"} for row in sound()]
    for row in rows:
        del row["height_mm"]
    rows[4]["width_mm"] = "wide"
    with pytest.raises(InputError) as refusal:
        sheet_from(rows, "readings", tmp_path)
    assert told(refusal) == {(1, "hieght_mm"), (1, "depth"), (6, "width_mm")}
    assert "height_mm" in refusal.value.problems[0].hint


def test_a_column_that_is_not_there_is_told_once(tmp_path):
    rows = [{name: cell for name, cell in row.items() if name != "width_mm"} for row in sound()]
    with pytest.raises(InputError) as refusal:
        sheet_from(rows, "readings", tmp_path)
    assert told(refusal) == {(2, "width")}


def test_an_outline_that_cannot_be_read_is_told_once_with_all_that_is_wrong_with_it(tmp_path):
    (tmp_path / "a.csv").write_text("x_mm,y_mm\n0,0\n30,zero\n30,\n0,40\n")
    rows = [{"station_mm": 10 * k, "shape": "outline", "outline": "a.csv"} for k in range(4)]
    with pytest.raises(InputError) as refusal:
        sheet_from(rows, "readings", tmp_path)
    assert told(refusal) == {(2, "outline")}
    assert ["row 3, column y" in p.what for p in refusal.value.problems] == [True, False]
    with pytest.raises(InputError) as refusal:
        outline_from((tmp_path / "a.csv").read_bytes(), "a.csv", "mm")
    assert [p.where for p in refusal.value.problems] == ["row 3, column y", "row 4"]


def test_a_bench_sheet_is_told_whole():
    text = b"lift_mm,flow_cfm,depression_in_h2o,swirl\n2,40,28,\n4,abc,28,\n6,110,,x\n5,130,28,\n8,,28,\n10,160,2800,\n"
    with pytest.raises(InputError) as refusal:
        bench_from(text, "bench.csv")
    assert [(p.row, p.column) for p in refusal.value.problems] == [
        (3, "flow_cfm"), (4, "depression_in_h2o"), (4, "swirl"), (5, "lift_mm"), (6, "flow_cfm"),
        (7, "depression_in_h2o"),
    ]  # fmt: skip


def test_wall_readings_are_told_whole():
    rows = [
        {"station_mm": 10, "clock": "noon", "thickness_mm": 4}, {"station_mm": "", "clock": 6, "thickness_mm": 40},
        {"station_mm": 30, "clock": "4:75", "thickness_mm": 3},
    ]  # fmt: skip
    with pytest.raises(InputError) as refusal:
        walls_from(rows, "walls")
    assert told(refusal) == {(2, "clock"), (3, "station_mm"), (3, "thickness_mm"), (4, "clock")}


def test_one_problem_prints_as_a_line_and_several_go_through_a_worker_whole():
    one = InputError("it is wrong", hint="Mend it", file="a.csv", row=3, column="height_in")
    assert str(one) == "a.csv, row 3, column height_in: it is wrong. Mend it."
    several = GeometryError.of([*one.problems, Problem("so is this", "Mend it too", "a.csv")])
    back = pickle.loads(pickle.dumps(several))
    assert type(back) is GeometryError and back.problems == several.problems and str(back) == str(several)
