"""The bench sheet: one printed side, only what is cut, stations as a tape in the port has them."""

import numpy as np
import pypdfium2
import pytest

import portgeo as pg
from portgeo.core.units import Display
from portgeo.present.paper.bench_sheet import bench_sheet
from portgeo.present.text.cut_sheet import depth_text, plan_text
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


def test_the_tables_lines_are_lower_where_that_keeps_all_on_one_side(plan, monkeypatch):
    monkeypatch.setitem(plan.__dict__, "order_of_work", ["Take a little here and look again."] * 26 + ["Last step."])
    (page,) = text_of(bench_sheet(plan, "as cast to wanted", "metal"))
    assert "Last step." in page and "metal cannot be put back" in page and "…" not in page


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


def test_a_cut_is_marked_where_no_wall_reading_is_near(plan):
    """Readings at 6 o'clock of 20 mm and 3 o'clock of 60 mm: near them no mark, on the far wall one at each depth."""
    table = plan.rows
    hours = [12, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    at_20 = int(np.argmin(np.abs(table.stations - 20.0)))
    assert not table.wall_unknown[at_20, hours.index(6)] and table.depth[at_20, hours.index(6)] > 0.2
    # 3 o'clock is 15 + 20 mm along the wall from the floor's reading, and 40 mm from the one at 60 mm.
    assert table.wall_unknown[at_20, hours.index(3)] and table.depth[at_20, hours.index(3)] > 0.2
    assert not (table.wall_unknown & (table.depth < 0.127)).any()
    lines = plan_text(plan, "as cast to wanted", "metal").splitlines()
    row = next(line.split() for line in lines if line.split()[:1] == ["20.00"] and len(line.split()) == 13)
    assert [cell.endswith("?") for cell in row[1:]] == table.wall_unknown[at_20].tolist()
    (page,) = text_of(bench_sheet(plan, "as cast to wanted", "metal"))
    assert page.count("?") >= table.wall_unknown.sum() and "no wall reading within 19.05 mm" in page
    assert any("Do not cut yet where a depth is marked ?" in step for step in plan.order_of_work)
    assert plan.to_dict()["stations"][at_20]["wall_unknown"] == table.wall_unknown[at_20].tolist()


def test_without_a_reading_every_depth_is_marked_and_with_readings_all_round_none():
    def marked(walls):
        limits = {"limits": {"least_wall": 1.0, "wall_readings": str(walls)}} if walls else {}
        wanted = {"units": "mm", "area": [{"station": 20.0, "area": 1300.0}], "greatest_depth": 3.0}
        return pg.plan(pg.port_from_rows(elbow(), units="mm"), wanted | limits).rows

    table = marked(None)
    assert (table.wall_unknown == (table.depth >= 0.127)).all() and table.unknown_share > 0.9


def test_a_depth_too_small_to_grind_to_shows_as_a_blend(plan):
    d = Display("in")
    assert depth_text(0.004 * 25.4, True, d) == "blend" and depth_text(0.0051 * 25.4, True, d) == "0.005?"
    assert depth_text(0.02 * 25.4, False, d) == "0.020" and depth_text(0.0001 * 25.4, False, d) == ""
    assert depth_text(-0.004 * 25.4, False, d) == "-0.004"  # too deep by so much, or epoxy, is not blended away


def test_every_wall_reading_has_its_figure_beside_its_dot(tmp_path):
    walls = tmp_path / "walls.csv"
    spots = [(s, c, 5.0 + s / 100.0 + c / 1000.0) for s in (10, 20, 30, 45, 60, 80) for c in (12, 3, 6, 9)]
    walls.write_text("station_mm,clock,thickness_mm\n" + "".join(f"{s},{c},{t:.3f}\n" for s, c, t in spots))
    target = {
        "units": "mm", "area": [{"station": 20.0, "area": 1250.0}],
        "limits": {"least_wall": 2.0, "wall_readings": str(walls)},
    }  # fmt: skip
    planned = pg.plan(pg.port_from_rows(elbow(), units="mm"), target)
    (page,) = text_of(bench_sheet(planned, "as cast to wanted", "metal"))
    missing = [wall for wall in planned.walls_left if f"{wall.left_mm:.2f}" not in page]
    assert not missing
    assert "9: " in page and "12 roof" in page and "3 right" in page and "6 floor" in page and "9 left" in page


def test_the_short_side_of_a_plan_is_as_sure_as_its_curvature_now():
    """1 / radius has one error before and after a cut of a given depth."""
    port = pg.port_from_rows(elbow(), units="mm")
    planned = pg.plan(port, {"units": "mm", "short_side": {"radius": 44.0}})
    now, then = pg.survey(port).short_side, planned.short_side
    assert then.radius_mm > now.radius_mm + 2.0
    assert then.radius_u_mm / then.radius_mm**2 == pytest.approx(now.radius_u_mm / now.radius_mm**2)
    text = " ".join(plan_text(planned, "as cast to wanted", "metal").split())
    assert f"radius {then.radius_mm:.2f} ± {2.0 * then.radius_u_mm:.2f} mm of 44.00 mm wanted" in text
