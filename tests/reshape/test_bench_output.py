"""What the commands print and write: the answer first, whole files, the same bytes each time."""

import argparse
import importlib
import json
import re
from dataclasses import replace
from types import SimpleNamespace

import ezdxf
import numpy as np
import pytest
import svgelements
import trimesh

import portgeo as pg
from portgeo.app.commands.common import length_of
from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.port import port_from_readings
from portgeo.core.units import Display
from portgeo.files.meshes.mesh import read_mesh
from portgeo.measuring import survey as measured
from portgeo.measuring.bends import meant_bend, port_bends
from portgeo.present.paper.template_pages import one_sheet
from portgeo.present.paper.templates import dxf, svg
from portgeo.present.text import cut_sheet
from portgeo.present.text.reach import reach_text
from portgeo.reshape.cut_table import MOST_ROWS, at_stations, table_stations
from portgeo.reshape.gauges import along_inside, gauges
from portgeo.reshape.target import AreaWanted
from portgeo.results.work import order_of_work
from portgeo.scan import port_from_scan
from tests.conftest import elbow_readings

SHEET = """station_in,height_in,width_in,corner_roof_in,corner_floor_in,turn_deg
0,1.60,1.20,0.3,0.3,0
1.0,1.58,1.18,0.3,0.3,0
2.0,1.55,1.18,0.35,0.35,0
3.9,1.55,1.3,0.5,0.5,75
4.5,1.5,1.5,0.7,0.7,80
"""
NOW = SHEET.replace("1.0,1.58,1.18", "1.0,1.62,1.20")
TARGET = """units = "in"
[[taper]]
from = 0.5
to = 2.5
area_from = 1.95
area_to = 1.9
[short_side]
radius = 0.8
[limits]
wall_readings = "wall.csv"
least_wall = 0.1
[[keep]]
name = "valve seat"
from = 4.3
to = 4.5
"""
WALL = "station_in,clock,thickness_in\n" + "".join(
    f"{s},{c},{0.14 if (s, c) == (1.5, 3) else 0.3}\n" for s in (0.5, 1.5, 3, 4) for c in (12, 3, 6, 9)
)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with an invented port's sheet, its target, wall readings and the port half done."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("port.csv", SHEET), ("now.csv", NOW), ("wanted.toml", TARGET), ("wall.csv", WALL)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def _run(command, *words):
    module = importlib.import_module(f"portgeo.app.commands.{command}")
    parser = argparse.ArgumentParser()
    module.add_arguments(parser)
    module.run(parser.parse_args(words))


def test_a_plan_prints_the_answer_first_and_writes_everything(bench, capsys):
    _run("reshape", "port.csv", "wanted.toml", "--out", "plan", "--json", "plan-2.json")
    said = capsys.readouterr().out
    _check_said(" ".join(said.split()))
    lines = said.splitlines()
    assert lines[1].startswith("  take out") and "g of aluminum" in lines[1]
    assert any(line.startswith("order of work") for line in lines) and any("scrap casting" in line for line in lines)
    record = json.loads((bench / "plan" / "plan.json").read_text(encoding="utf-8"))
    left = record["walls_left"]
    assert len(left) == 16 and left[0]["left_mm"] == min(wall["left_mm"] for wall in left)
    row = next(row for row in record["stations"] if row["station_mm"] == pytest.approx(12.7))
    there = {wall["clock_hours"]: wall["read_mm"] - wall["left_mm"] for wall in left if wall["station_mm"] < 13.0}
    assert there == pytest.approx({hour: row["take_mm"][hour] for hour in (0, 3, 6, 9)}, abs=0.01)
    assert any(re.match(r"  wall left   0\.\d{3} in at station", line) for line in lines)
    assert record["schema"] == "portgeo.reshape/1" and list(record)[:4] == ["schema", "source", "target", "warnings"]
    assert (bench / "plan-2.json").read_bytes() == (bench / "plan" / "plan.json").read_bytes()
    assert record["volume_after_cc"] == pytest.approx(record["volume_before_cc"] + record["removed_cc"])
    assert all(row["after_mm2"] >= row["wanted_mm2"] * 0.999 for row in record["areas"])
    assert all(max(row["take_mm"]) < 0.01 for row in record["stations"] if row["station_mm"] > 4.31 * 25.4)
    mesh = read_mesh(bench / "plan" / "target.stl")
    made = trimesh.Trimesh(mesh.vertices, mesh.faces)
    assert made.is_watertight
    assert made.volume / 1000.0 == pytest.approx(record["volume_after_cc"], rel=5e-4)
    survey = json.loads((bench / "plan" / "target-survey.json").read_text(encoding="utf-8"))
    assert survey["short_side"]["radius_mm"] > 0.98 * 0.8 * 25.4
    # One plan has one result: the cut sheet's figures are those of its mesh, measured.
    assert survey["short_side"]["radius_mm"] == pytest.approx(record["short_side"]["radius_mm"], rel=1e-9)
    assert survey["volume_cc"] == pytest.approx(record["volume_after_cc"], rel=1e-9)
    scanned = port_from_scan(mesh.vertices, mesh.faces)
    assert measured(scanned).volume / 1000.0 == pytest.approx(record["volume_after_cc"], abs=0.01)
    compared = json.loads((bench / "plan" / "compare.json").read_text(encoding="utf-8"))
    assert compared["net_cc"] == pytest.approx(record["removed_cc"], rel=0.02)


def _check_said(text):
    """What is counted with a wall and with the short side is said."""
    # A bare "left 0.18 cc" reads as what is left to take.
    assert re.search(r"left wall \d\.\d\d cc", text) and not re.search(r"\b(left|right) \d\.\d\d cc", text)
    assert "Each corner is split between its two walls." in text
    assert "cut for it from" in text and "where the port turns" in text


@pytest.mark.parametrize(("unit", "length", "step"), [("in", 96.0, 6.35), ("in", 45.0, 3.175), ("mm", 96.0, 10.0)])
def test_rows_that_nobody_measured_or_asked_for_stand_at_round_stations(unit, length, step):
    """A quarter or an eighth of an inch, or ten millimetres: what a rule has marks for; a row is what it measured."""
    measured, wanted = [0.0, 18.7, 31.1, length], 24.13
    plan = SimpleNamespace(
        grid=SimpleNamespace(stations=np.linspace(0.0, length, 107)),
        port=SimpleNamespace(rows=np.array(measured)),
        target=SimpleNamespace(areas=[AreaWanted(wanted, wanted, 1000.0, 1000.0)]),
    )
    stations = table_stations(plan, unit)
    assert set(stations) >= {*measured, wanted} and len(stations) <= MOST_ROWS
    between = np.array(sorted(set(stations) - {*measured, wanted}))
    assert len(between) > 3 and between == pytest.approx(step * np.round(between / step))
    assert np.diff(stations).max() < 1.6 * step
    values = np.column_stack([2.0 * plan.grid.stations, 5.0 - plan.grid.stations])
    assert at_stations(plan.grid, values, stations) == pytest.approx(np.column_stack([2.0 * stations, 5.0 - stations]))


def test_every_measured_station_is_a_row():
    """Both sides of a step are: readings 2 mm apart, with a round station between them and the next."""
    measured = np.array([0.0, 8.0, 16.0, 18.0, 27.0, 36.0, 38.0, 47.0, 57.0])
    plan = SimpleNamespace(
        grid=SimpleNamespace(stations=np.linspace(0.0, 57.0, 65)),
        port=SimpleNamespace(rows=measured),
        target=SimpleNamespace(areas=[AreaWanted(47.0, 47.0, 900.0, 900.0)]),
    )
    assert set(table_stations(plan, "mm")) >= set(measured)


def test_a_wall_is_done_first_where_it_has_clearly_the_most():
    def first(*shares):
        volume = 1000.0 * np.array(shares)
        known = np.zeros((1, 12), dtype=bool)
        table = SimpleNamespace(wall_volume=volume, wall_stretch=np.tile([20.0, 50.0], (4, 1)), wall_unknown=known)
        return cut_sheet._first(
            SimpleNamespace(walls_left=(1,), stops=(), warnings=(), removed=volume.sum()), table, Display("mm")
        )

    assert first(0.26, 0.25, 0.25, 0.24) == "any wall: all four share the metal evenly"
    assert first(0.4, 0.2, 0.2, 0.2).endswith("40% of the metal")
    assert first(0.5, 0.5, 0.0, 0.0).endswith("50% of the metal")


def test_work_half_done_is_checked_against_the_plan(bench, capsys):
    (bench / "areas.toml").write_text('units = "in"\n[[area]]\nstation = 1\narea = 1.95\n', encoding="utf-8")
    _run("reshape", "port.csv", "areas.toml", "--check", "now.csv", "--json", "left.json", "--csv", "left.csv")
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].startswith("  left") and "is done" in lines[1]
    record = json.loads((bench / "left.json").read_text(encoding="utf-8"))
    assert 0.0 < record["left_cc"] < record["planned_cc"]
    assert (bench / "left.csv").read_text(encoding="utf-8").startswith("station_in,left_12_oclock_in")
    _run("reshape", "port.csv", "areas.toml", "--check", "port.csv")
    assert capsys.readouterr().out.splitlines()[1].endswith("planned; nothing is done yet")


def test_reach_prints_depth_from_each_end_and_a_map(bench, capsys):
    _run("reach", "port.csv", "--free", "3in", "--json", "reach.json", "--csv", "reach.csv")
    text = capsys.readouterr().out
    assert "from entry" in text and "free, from the nearer end, reaches" in text
    record = json.loads((bench / "reach.json").read_text(encoding="utf-8"))
    assert record["schema"] == "portgeo.reach/1"
    assert sum(record["share_of_wall"][k] for k in ("both", "entry_only", "exit_only", "neither")) == pytest.approx(1.0)
    with pytest.raises(InputError, match="not a length"):
        _run("reach", "port.csv", "--free", "long")


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("6", "in", 152.4),
        ("1/4", "in", 6.35),
        ("1 1/2", "in", 38.1),
        ("1-1/2in", "mm", 38.1),
        ('3/8"', "mm", 9.525),
        ("3/8”", "mm", 9.525),
        ("6in", "mm", 152.4),
        ("6 in", "mm", 152.4),
        ("150mm", "in", 150.0),
        ("6,35", "mm", 6.35),
        ("½in", "mm", 12.7),
        ("15cm", "in", 150.0),
        ("0", "mm", 0.0),
    ],
)
def test_lengths_are_typed_as_they_are_written_on_a_sheet(text, unit, mm):
    assert length_of(text, unit, "--free") == pytest.approx(mm)


@pytest.mark.parametrize(
    ("text", "unit", "told"),
    [
        ("1/4", "mm", "--shank: '1/4' is a fraction, of millimeters. Write 1/4in"),
        ("1/4mm", "in", "is a fraction, of millimeters"),
        ("1/0", "in", "not a fraction that can be read"),
        ("1 34/46", "in", "--shank: '1 34/46' is a fraction, and no rule has an inch in 46 parts. Look for a slip"),
        ("-3", "in", "not a length that"),
        ("6ft", "in", "not in inches or millimeters"),
        ("", "in", "not a length"),
        ("1e9", "mm", "not a length that"),
        ("nan", "mm", "not a length"),
    ],
)
def test_what_is_no_length_is_refused_with_its_option(text, unit, told):
    with pytest.raises(InputError) as refusal:
        length_of(text, unit, "--shank")
    assert told in str(refusal.value) and str(refusal.value).startswith("--shank")


def test_fractions_serve_every_command_that_takes_lengths(bench):
    _run("reach", "port.csv", "--shank", "1/4", "--head", "3/8", "--free", "4 1/2", "--json", "r.json", "-q")
    tool = json.loads((bench / "r.json").read_text(encoding="utf-8"))["tool"]
    assert (tool["shank_mm"], tool["head_mm"], tool["free_length_mm"]) == pytest.approx((6.35, 9.525, 114.3))
    _run("templates", "port.csv", "--at", "1/2,1 1/4in,50mm", "--out", "g.svg", "--json", "t.json", "-q")
    made = json.loads((bench / "t.json").read_text(encoding="utf-8"))["gauges"]
    assert sorted({g["station_mm"] for g in made if g["name"] == "section"}) == pytest.approx([12.7, 31.75, 50.0])
    _run("match", "port.csv", "port.csv", "--leave", "1/32", "--json", "m.json", "-q")


def test_an_obstacle_before_an_opening_takes_reach_away(bench):
    wall = trimesh.creation.box((2.0, 200.0, 200.0))
    wall.apply_translation([-30.0, 0.0, 0.0])
    wall.export(bench / "plenum.stl")
    found = []
    for extra in ((), ("--obstacle", "plenum.stl")):
        _run("reach", "port.csv", "--free", "5in", "--json", "r.json", "--force", "-q", *extra)
        found.append(json.loads((bench / "r.json").read_text(encoding="utf-8")))
    # The wall is 29 mm before the entry, and 127 mm of tool stand out of the collet: only past some 90 mm
    # of depth does the collet still clear it. (At the very rim the tool can lie flat before the face.)
    stations = np.array(found[0]["stations_mm"])
    shallow = (stations > 20.0) & (stations < 85.0)
    free, blocked = (np.array(each["reached"])[shallow] for each in found)
    assert (free & 1).mean() > 0.9
    assert (blocked & 1).sum() == 0
    assert (free & 2 == blocked & 2).all()


@pytest.mark.parametrize("kind", ["pdf", "dxf", "svg"])
def test_templates_are_the_same_bytes_each_time(bench, capsys, kind):
    for name in ("one", "two"):
        _run("templates", "port.csv", "--at", "0.5,1in", "--out", f"{name}.{kind}", "--json", f"{name}.json")
    assert (bench / f"one.{kind}").read_bytes() == (bench / f"two.{kind}").read_bytes()
    record = json.loads((bench / "one.json").read_text(encoding="utf-8"))
    assert record["schema"] == "portgeo.templates/1"
    assert [g["name"] for g in record["gauges"][:3]] == ["section", "height gauge", "width gauge"]
    said = capsys.readouterr().out
    assert "measure the bars" in said
    assert ("print at 100 %" in said) == (kind == "pdf") and ("cut at 1:1, units mm" in said) == (kind != "pdf")
    if kind != "pdf":
        drawn = (bench / f"one.{kind}").read_text(encoding="utf-8")
        assert "100 %" not in drawn and "Units are millimeters: cut at 1:1" in drawn


def test_templates_refuse_other_files_and_stations_outside(bench):
    with pytest.raises(OutputError, match=r"\.doc"):
        _run("templates", "port.csv", "--out", "gauges.doc")
    with pytest.raises(InputError, match="outside the port"):
        _run("templates", "port.csv", "--at", "9in", "--out", "gauges.pdf")
    assert not list(bench.glob("gauges.*"))


@pytest.mark.parametrize(
    ("turn", "swing", "wall", "beside"),
    [
        (1, 0, "floor", "the side walls"),
        (-1, 0, "roof", "the side walls"),
        (0, -1, "left wall", "roof and floor"),
    ],
)
def test_gauges_and_work_name_the_wall_that_the_short_side_is_on(turn, swing, wall, beside):
    """Whichever wall a sheet turns to, a square port's gauges are the same plates."""
    readings = elbow_readings(34.0, 34.0, 6.0, (20.0, 20.0), 35.0, 60.0)
    ways = [replace(r, turn=turn * r.turn, swing=swing * r.turn) for r in readings]
    radius, line = along_inside(port := port_from_readings(ways))
    assert line.name == f"{wall.replace(' ', '-')}-line gauge" and f"along the {wall}," in line.use
    assert f"on the {wall}," in radius.use and radius.lengths["radius"] == pytest.approx(35.0 - 17.0, rel=1e-3)
    assert along_inside(port, 20.0)[0].lengths["radius"] == 20.0  # as planned, and not as a rough wall measures
    turned = np.radians(60.0)
    assert line.lengths["length"] == pytest.approx(20.0 + 18.0 * turned + 20.0, rel=1e-3)
    plan = SimpleNamespace(
        grid=SimpleNamespace(bend=meant_bend(port, port_bends(port))),
        depth=np.ones(1),
        short_side=SimpleNamespace(radius=20.0, depth=np.ones(1)),
        walls_left=(1,),
        radius_cut=20.0,
        stops=(),
        target=SimpleNamespace(blend=6.0),
        burette=(50000.0, 51000.0),
        whole=None,
        removed=1000.0,
        added=0.0,
    )
    table = SimpleNamespace(
        wall_volume=np.full(4, 250.0),
        wall_stretch=np.tile([0.0, 70.0], (4, 1)),
        wall_unknown=np.zeros((1, 12), dtype=bool),
    )
    (step,) = [s for s in order_of_work(plan, table, Display("mm")) if "short side" in s]
    assert f"from the middle of the {wall} out to {beside}." in step


def test_a_cutters_files_hold_the_section_at_its_size(bend, tmp_path):
    made = [g for g in gauges(bend, np.array([20.0])) if g.name == "section"]
    sheet = one_sheet(made, Display("mm"), "bend")
    (tmp_path / "a.dxf").write_bytes(dxf(sheet))
    drawing = ezdxf.readfile(tmp_path / "a.dxf")
    assert drawing.units == ezdxf.units.MM
    cut = [np.array(e.get_points("xy")) for e in drawing.modelspace().query('LWPOLYLINE[layer=="CUT"]')]
    assert np.ptp(cut[0], axis=0) == pytest.approx([30.0, 40.0], abs=0.01)
    (tmp_path / "a.svg").write_bytes(svg(sheet))
    # ppi 25.4 makes a pixel a millimetre.
    read = svgelements.SVG.parse(str(tmp_path / "a.svg"), ppi=25.4)
    paths = [p for p in read.elements() if isinstance(p, svgelements.Path) and p.values.get("stroke") == "#ff0000"]
    left, top, right, bottom = paths[0].bbox()
    assert (right - left, bottom - top) == pytest.approx((30.0, 40.0), abs=0.01)


def test_nothing_is_overwritten_or_half_written(bench):
    before = b"measured by hand\n"
    (bench / "cut.csv").write_bytes(before)
    with pytest.raises(PortgeoError, match="there already"):
        _run("reshape", "port.csv", "wanted.toml", "--csv", "cut.csv", "-q")
    (bench / "wanted.toml").write_text(TARGET.replace("to = 2.5", "to = 25"), encoding="utf-8")
    with pytest.raises(InputError, match="outside the port") as refusal:
        _run("reshape", "port.csv", "wanted.toml", "--csv", "cut.csv", "-q", "--force")
    assert "wanted.toml" in str(refusal.value) and "line 3" in str(refusal.value)
    assert "station 25.000 in is outside the port, which runs from 0.000 to " in str(refusal.value)
    assert (bench / "cut.csv").read_bytes() == before


def test_what_a_burr_misses_is_told_by_wall_and_station_and_what_would_get_there():
    """A straight bore of 120 mm: a ball of 10 mm on 50 mm reaches 45 mm in from each end; its middle needs 65."""
    tube = pg.port_from_rows([{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 60.0, 120.0)])
    found = pg.reach(tube, head_mm=10.0, shank_mm=5.0, collet_mm=15.0, free_length_mm=50.0)
    assert [each.wall for each in found.missed] == ["roof", "right", "floor", "left"]
    for each in found.missed:
        assert (each.station_from_mm, each.station_to_mm) == pytest.approx((45.0, 75.0), abs=3.1)
        assert each.cause == "length" and each.free_length_mm == pytest.approx(65.0, abs=2.0)
    text = " ".join(reach_text(found, "tube").split())
    assert re.search(r"not reached roof from 4\d\.\d\d to 7\d\.\d\d mm: needs 6\d\.\d\d mm of free length", text)
    wide = pg.reach(tube, head_mm=45.0, head_length_mm=45.0, shank_mm=5.0, collet_mm=15.0, free_length_mm=150.0)
    assert {each.cause for each in wide.missed} == {"head"} and "too large to lie there" in reach_text(wide, "tube")
    assert not pg.reach(tube, head_mm=10.0, shank_mm=5.0, collet_mm=15.0, free_length_mm=120.0).missed


def test_a_wall_round_a_bend_is_out_of_sight_of_every_straight_burr():
    turn = np.radians(90.0) * 20.0
    rows = [{"station": s, "turn_deg": 0.0} for s in (0.0, 40.0)]
    rows += [{"station": 40.0 + share * turn, "turn_deg": 90.0 * share} for share in (0.5, 1.0)]
    rows += [{"station": 80.0 + turn, "turn_deg": 90.0}]
    bent = pg.port_from_rows([row | {"shape": "round", "diameter": 16.0} for row in rows])
    missed = pg.reach(bent, head_mm=11.0, shank_mm=7.0, collet_mm=9.0, free_length_mm=400.0).missed
    assert "bend" in {each.cause for each in missed}
    assert all(20.0 < each.station_from_mm < 60.0 + turn for each in missed if each.cause == "bend")


@pytest.mark.nightly
def test_a_plan_made_again_replaces_its_own_files_and_nobody_elses(bench, capsys):
    """A sheet that somebody wrote notes into, and another port's plan, stay unless --force says otherwise."""
    (bench / "small.toml").write_text('units = "in"\n[[area]]\nstation = 1.0\narea = 1.85\n', encoding="utf-8")
    words = ("reshape", "port.csv", "small.toml", "--out", "plan", "-q")
    _run(*words)
    (bench / "small.toml").write_text('units = "in"\n[[area]]\nstation = 1.0\narea = 1.9\n', encoding="utf-8")
    before = (bench / "plan" / "plan.json").read_bytes()
    _run(*words)
    assert (bench / "plan" / "plan.json").read_bytes() != before
    with pytest.raises(PortgeoError, match="there already"):
        _run("reshape", "now.csv", "small.toml", "--out", "plan", "-q")
    sheet = bench / "plan" / "cut-sheet.txt"
    sheet.write_text(sheet.read_text(encoding="utf-8") + "roof done\n", encoding="utf-8")
    with pytest.raises(PortgeoError, match="there already"):
        _run(*words)
    assert sheet.read_text(encoding="utf-8").endswith("roof done\n")
    (bench / "mine").mkdir()
    (bench / "mine" / "plan.json").write_text("{}", encoding="utf-8")
    with pytest.raises(PortgeoError, match="there already"):
        _run("reshape", "port.csv", "small.toml", "--out", "mine", "-q")
    assert (bench / "mine" / "plan.json").read_text(encoding="utf-8") == "{}"
