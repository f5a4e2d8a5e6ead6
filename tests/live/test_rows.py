"""Rows that hold no reading, the page's numbers of rows, and the first sheet that is laid out."""

from pathlib import Path

import numpy as np
import pytest

import portgeo as pg
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


def split_rows(*rows: tuple[int, str, str, float, float]):
    """Readings of a port that splits as they are typed: row, station, leg, diameter, shift."""
    from portgeo.app.live.figures import Readings

    typed = tuple(
        (row, {"station_mm": station, "shape": "round", "diameter_mm": str(wide), "shift_mm": str(shift)}
         | ({"leg": leg} if leg else {}))
        for row, station, leg, wide, shift in rows
    )  # fmt: skip
    columns = {name: name for name in ("station_mm", "shape", "diameter_mm", "shift_mm", "leg")}
    return Readings("as cast", "port", "a.csv", typed, (), (), columns, "mm", ".")


TWO_LEGS = (
    (1, "0", "", 60.0, 0.0), (2, "30", "", 60.0, 0.0),
    (3, "30", "left", 26.0, 15.0), (4, "60", "left", 26.0, 0.0),
    (5, "30", "right", 24.0, -15.0), (6, "60", "right", 24.0, 0.0),
    (7, "70", "right", 23.0, 0.0), (8, "70", "left", 25.0, 0.0),
)  # fmt: skip


def test_a_port_that_splits_is_shown_as_it_is_typed():
    from portgeo.app.live.figures import figures_of, model_of

    found = figures_of(split_rows(*TWO_LEGS), False)
    assert found["problem"] is None
    ends = sum(a * a + a * b + b * b for a, b in ((13.0, 12.5), (12.0, 11.5)))  # of two cones, 10 mm long
    trunk, legs = np.pi * 900.0 * 0.03, np.pi * ((169.0 + 144.0) * 0.03 + ends / 3.0 * 0.01)
    assert found["figures"]["volume"]["volume_cc"] == pytest.approx(trunk + legs, rel=1e-3)
    assert found["figures"]["volume"]["u_text"] is None
    assert found["figures"]["least_area"]["where"] == "at station 70.00 mm, the legs together"
    throat = found["figures"]["throat"]
    assert (throat["label"], throat["text"], throat["where"]) == ("Throat, left", "25.00 mm", "right 23.00 mm")
    names = [series["name"] for series in found["chart"]["series"]]
    assert names == ["as cast, trunk", "as cast, left", "as cast, right", "as cast, legs together"]
    model = model_of(split_rows(*TWO_LEGS))
    assert [paint["name"] for paint in model["paints"]] == ["area", "passage"]


def test_half_a_split_shows_its_trunk_and_says_what_is_wrong_beside_the_leg():
    from portgeo.app.live.figures import figures_of

    found = figures_of(split_rows(*TWO_LEGS[:4]), False)
    assert found["problem"]["row"] == 3 and found["problem"]["column"] == "leg"
    assert "left is the only leg" in found["problem"]["what"]
    assert found["left_out"] == [3, 4]
    assert found["figures"]["volume"]["volume_cc"] == pytest.approx(np.pi * 900.0 * 0.03, rel=1e-3)


def test_an_answer_about_one_passage_is_of_the_leg_that_the_job_names():
    from dataclasses import replace

    from portgeo.app.live.answer_parts import port_of

    for leg, wide in ((None, 25.0), ("right", 23.0)):
        port = port_of(replace(split_rows(*TWO_LEGS), leg=leg)).port
        assert pg.survey(port, sure=False).least_area.area_mm2 == pytest.approx(np.pi * wide**2 / 4.0, rel=1e-3)


def test_a_leg_has_its_share_of_the_flow():
    """Of legs alike in length, which share by their areas."""
    from portgeo.app.live.answer_parts import FlowSaid, legs_flow, port_of

    flow, (said,) = legs_flow(port_of(split_rows(*TWO_LEGS)), FlowSaid(100.0, None, None, None, 28.0))
    left, right = (sum(each**2 for each in wide) for wide in ((26.0, 26.0, 25.0), (24.0, 24.0, 23.0)))
    assert flow.cfm == pytest.approx(100.0 * left / (left + right), rel=0.02)
    assert said.startswith("left has ") and said.endswith("% of the port’s 100.0 cfm")
