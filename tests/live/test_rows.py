"""Rows that hold no reading, the page's numbers of rows, and the first sheet that is laid out."""

from pathlib import Path

import pytest

from portgeo.app.live.beginning import first_edits
from portgeo.app.live.row_numbers import of_page, renumbered
from portgeo.app.live.sheets import sheet_of
from portgeo.app.live.tables import look
from portgeo.core.errors import InputError

HEADER = "station_in,height_in,width_in,tool,mark\n"


def looked(rows):
    data = (HEADER + rows).encode()
    return look(sheet_of(data, "a.csv"), data, "sections", Path())


def refused(rows):
    return [(one["row"], one["column"]) for one in looked(rows).problems]


def test_a_row_without_a_reading_refuses_nothing_and_makes_nothing_be_refused():
    # The third was laid out and is not read: its station is out of order, and a second throat.
    rows = "0,1.9,1.1,,joint\n0.4,1.9,1.1,,throat\n3.2,,,micrometer,throat\n0.8,1.8,1.1,,\n"
    assert refused(rows) == []
    assert [row for row, _ in looked(rows).readings()] == [1, 2, 4]
    assert (3, "height_in") in looked(rows).missing  # and is still there to be read


def test_what_is_wrong_among_the_rows_that_are_read_is_told_past_one_that_is_not():
    assert refused("0,1.9,1.1,,\n0.8,1.8,1.1,,\n0.9,,,,\n0.7,1.8,1.1,,\n") == [(4, "station_in")]
    assert refused("0,1.9,1.1,,\n0.8,1.8x,1.1,,\n0.9,,,,\n") == [(2, "height_in")]
    assert refused("0,1.9,1.1,,\n0.8,1.8,1.1,,\n0.9x,,,,\n") == [(3, "station_in")]  # typed, and no number


def test_a_sentence_counts_rows_as_the_page_does():
    assert (
        renumbered("no corner in rows 2, 3 and 7 (3.000 in)", lambda row: row - 1)
        == "no corner in rows 1, 2 and 6 (3.000 in)"
    )
    assert renumbered("row 4 is marked throat too", lambda row: None) == "row 4 is marked throat too"
    (problem,) = looked("0,1.9,1.1,,throat\n0.4,1.9,1.1,,\n0.8,1.8,1.1,,throat\n").problems
    assert (problem["row"], "row 1 is marked throat" in problem["what"]) == (3, True)
    told = of_page({"notices": [{"message": "row 3 looks swapped"}]}, [1, 2, 4, 5], {2})
    assert told["notices"][0]["message"] == "row 4 looks swapped"  # of rows 1, 4 and 5 the second


BEGIN = {"what": "port", "valve": "intake", "tool": "micrometer", "title": "one"}


def laid(**more):
    cells = [cell for edit in first_edits(BEGIN | more, "in") if edit["op"] == "cells" for cell in edit["cells"]]
    return {(row, name): text for row, name, text in cells}


def test_the_sheet_is_laid_out_as_long_and_with_as_many_stations_as_is_said():
    cells = laid(stations="5", length="3 1/2")
    assert [cells[row, "station_in"] for row in range(1, 6)] == ["0.000", "0.875", "1.750", "2.625", "3.500"]
    assert cells[1, "mark"] == "joint" and cells[5, "mark"] == "throat" and (6, "tool") not in cells
    cells = laid(stations="3")
    assert cells[1, "station_in"] == "0.000" and (2, "station_in") not in cells


@pytest.mark.parametrize("more", [{"stations": "1"}, {"stations": "x"}, {"length": "0"}, {"length": "3.x"}])
def test_what_is_no_length_or_count_is_refused(more):
    with pytest.raises(InputError) as refusal:
        laid(**more)
    assert refusal.value.hint


@pytest.mark.parametrize("kind", ["sections", "bench", "walls", "points"])
def test_every_column_that_a_sheet_may_have_has_its_words(kind):
    from portgeo.app.live.tables import LABELS, POINT_LABELS, layout_of

    labels = POINT_LABELS if kind == "points" else LABELS
    assert set(layout_of(kind).columns) <= set(labels)


def test_a_port_that_splits_is_told_what_to_do_in_the_pages_own_words():
    from portgeo.app.live.figures import Readings, build

    rows = [(1, "0", "", 40), (2, "30", "", 40), (3, "30", "left", 28), (4, "60", "left", 25)]
    typed = tuple(
        (row, {"station_mm": station, "shape": "round", "diameter_mm": str(wide)} | ({"leg": leg} if leg else {}))
        for row, station, leg, wide in rows
    )
    columns = {name: name for name in ("station_mm", "shape", "diameter_mm", "leg")}
    built = build(Readings("as cast", "port", "a.csv", typed, (), (), columns, "mm", "."))
    assert built.port is None and built.left_out == (1, 2, 3, 4)
    assert "splits" in built.problem["what"] and "--" not in built.problem["hint"]
