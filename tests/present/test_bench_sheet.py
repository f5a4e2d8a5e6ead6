"""The bench sheet: one printed side, only what is cut, stations as a tape in the port has them."""

import numpy as np
import pypdfium2
import pytest

import portgeo as pg
from portgeo.present.paper.bench_sheet import bench_sheet
from portgeo.reshape.cut_table import cut_table

ROWS = {"height": 40.0, "width": 30.0, "corner": 6.0}


def elbow(radius: float = 60.0) -> list[dict]:
    """A straight run of 40 mm, then a quarter turn of a bend to the floor."""
    turn = np.radians(90.0) * radius
    rows = [{"station": s, "turn_deg": 0.0} for s in (0.0, 20.0, 40.0)]
    rows += [{"station": 40.0 + share * turn, "turn_deg": 90.0 * share} for share in (0.25, 0.5, 0.75, 1.0)]
    return [row | ROWS for row in rows]


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    walls = tmp_path_factory.mktemp("walls") / "walls.csv"
    walls.write_text("station_mm,clock,thickness_mm\n20,6,5\n60,3,4\n")
    target = {
        "units": "mm", "area": [{"station": 20.0, "area": 1300.0}],
        "limits": {"least_wall": 2.0, "wall_readings": str(walls)},
    }  # fmt: skip
    return pg.plan(pg.port_from_rows(elbow(), units="mm"), target)


def text_of(made: bytes) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(made)]


def test_one_side_with_only_the_rows_that_are_cut(plan):
    made = bench_sheet(plan, "as cast to wanted", "aluminum")
    assert made == bench_sheet(plan, "as cast to wanted", "aluminum")
    (page,) = text_of(made)
    cut = np.abs(plan.rows.depth).max(axis=1) >= 0.0127
    shown = {f"{station:.2f}" for station in plan.rows.stations} & set(page.split())
    assert shown == {f"{station:.2f}" for station in plan.rows.stations[cut]} and not cut.all()
    assert "metal cannot be put back" in page and f"{plan.removed_cc:.2f} cc" in page


def test_what_has_no_room_goes_on_a_second_side_and_the_cautions_stay_on_the_first(plan, monkeypatch):
    steps = [f"Step {k}: " + "take a little here and look again. " * 3 for k in range(60)]
    monkeypatch.setitem(plan.__dict__, "order_of_work", steps)
    first, second = text_of(bench_sheet(plan, "as cast to wanted", "metal"))
    assert "metal cannot be put back" in first and "Step 1" in second and "Step 1" not in first


def test_a_tape_along_roof_and_floor_reads_the_arcs_of_the_bend(plan):
    """In closed form: straight, then circles of the centreline's radius plus and less half the height."""
    table = cut_table(plan.computed, "mm")
    past = np.maximum(table.stations - 40.0, 0.0)
    straight = np.minimum(table.stations, 40.0)
    for k, radius in enumerate((80.0, 40.0)):
        assert table.tape[:, k] == pytest.approx(straight + past * radius / 60.0, abs=0.02)


def test_a_port_that_needs_no_cut_says_so_on_paper():
    port = pg.port_from_rows(elbow(), units="mm")
    nothing = pg.plan(port, {"units": "mm", "area": [{"station": 20.0, "area": 600.0}], "limits": {}})
    (page,) = text_of(bench_sheet(nothing, "as cast to wanted", "metal"))
    assert "no metal to take" in page and "tape" not in page
