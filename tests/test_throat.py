"""The throat is where the sheet marks it, at the valve's end; percentages are of it and do not open it."""

import json
from dataclasses import replace

import numpy as np
import pytest

import portgeo as pg
from portgeo.app.cli import main
from portgeo.app.job.air import valve_of
from portgeo.core.errors import InputError
from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.core.units import M3_S_PER, PA_PER
from portgeo.files.ports import load_port
from portgeo.flow.airspeed import air_speed
from portgeo.flow.path import path_of
from portgeo.measuring import survey
from portgeo.measuring.throat import Throat
from portgeo.present.text.speed import airspeed_text
from portgeo.present.text.throat import throat_notice
from portgeo.reshape.plan import plan_cut
from portgeo.reshape.target import AreaWanted, Target
from portgeo.results.air import AirThrough, SpeedFigures

# Invented, from the valve on: a seat, the bore under it, then a port that opens towards its flange.
EXHAUST = (
    (0.0, 36.0, 0, ("seat",)), (4.0, 32.5, 0, ("throat",)), (15.0, 33.5, 0, ()), (30.0, 34.5, 25, ()),
    (50.0, 35.0, 60, ()), (70.0, 36.0, 60, ()), (90.0, 36.6, 60, ("joint",)),
)  # fmt: skip


def exhaust(marked=True):
    rows = [
        Reading(
            k + 2, s, shape="round", height=d, width=d, turn=np.radians(turn), mark=mark if marked else (), error=0.02
        )
        for k, (s, d, turn, mark) in enumerate(EXHAUST)
    ]
    port = port_from_readings(rows)
    return port if marked else replace(port, valve_end="entry")


def circle(diameter):
    return np.pi / 4.0 * diameter**2


def test_a_marked_throat_is_the_row_s_and_tells_the_valve_s_end():
    found = survey(exhaust())
    assert (found.throat.station, found.throat.told_by, found.port.valve_end) == (4.0, "mark", "entry")
    assert found.throat.area == pytest.approx(circle(32.5), rel=1e-3)
    # A circle's area goes with its diameter, pi / 2 d u, of which u is at least the reading's own.
    assert np.pi / 2.0 * 32.5 * 0.02 <= found.throat.area_u < np.pi / 2.0 * 32.5 * 0.06
    assert found.throat.percent_of(38.0) == pytest.approx(100.0 * 32.5 / 38.0, rel=1e-3)


def test_a_seat_makes_no_turn_dam_or_pinch():
    codes = [[n.code for n in survey(exhaust(marked), readings_tried=False).warnings] for marked in (True, False)]
    assert codes[0] == []
    assert set(codes[1]) >= {"pinch"}
    turned = [
        replace(r, turn=r.turn + np.radians(0.0 if k == 0 else 10.0), turn_error=np.radians(0.01))
        for k, r in enumerate(exhaust().readings)
    ]
    (bend,) = survey(port_from_readings(turned), readings_tried=False).bends
    assert np.degrees(bend.plane.turn) == pytest.approx(60.0, abs=0.2)
    assert bend.plane.begin == pytest.approx(4.0)


def test_without_a_mark_the_throat_is_the_least_area_near_the_valve():
    found = survey(exhaust(marked=False), readings_tried=False)
    assert (found.throat.station, found.throat.told_by) == (pytest.approx(4.0, abs=0.5), "least")
    intake = replace(exhaust(marked=False), valve_end="exit")
    assert survey(intake, readings_tried=False).throat.station == pytest.approx(90.0 - 36.6, abs=1.0)


@pytest.mark.parametrize("marked", [True, False])
def test_a_hundred_percent_on_an_exhaust_leaves_its_throat_as_it_is(marked):
    """A percentage of the flange's area would have opened the throat from 32.5 to 36.6 mm."""
    target = Target(areas=(AreaWanted(4.0, 4.0, 1.0, 1.0, of_throat=True),))
    plan = plan_cut(exhaust(marked), target)
    assert plan.depth.max() == 0.0
    assert ("throat_unmarked" in [n.code for n in plan.warnings]) == (not marked)


def test_a_cut_beside_a_marked_throat_does_not_fade_through_it():
    close = AreaWanted(6.0, 60.0, 1.12, 1.25, of_throat=True)
    held = plan_cut(exhaust(), Target(areas=(close,)))
    at_valve = held.grid.stations <= 4.0 + 1e-6
    assert held.depth[at_valve].max() == 0.0 and held.depth.max() > 0.3
    asked = plan_cut(exhaust(), Target(areas=(close, AreaWanted(4.0, 4.0, 1.02, 1.02, of_throat=True))))
    k = int(np.argmin(np.abs(asked.grid.stations - 4.0)))
    assert asked.area_after[k] >= 1.02 * circle(32.5) * (1.0 - 1e-3)


def test_the_valve_s_throat_is_held_against_the_marked_one():
    throat = survey(exhaust(), readings_tried=False).throat
    assert throat_notice(32.5, throat.diameter, marked=True, counts="--throat") is None
    assert throat_notice(36.6, throat.diameter, marked=True, counts="--throat") is not None
    assert Throat(0.0, circle(30.0), 0.0, "mark").diameter == pytest.approx(30.0)


def test_choke_is_told_of_the_throat_and_of_the_least_area():
    """A seat's step that is narrower than the throat chokes first; both are said, each of its own area."""
    rows = [replace(r, height=31.0, width=31.0) if "seat" in r.mark else r for r in exhaust().readings]
    port = port_from_readings(rows)
    found = air_speed(path_of(port), 100.0 * M3_S_PER["cfm"], 28.0 * PA_PER["in_h2o"], unknowns=1500)
    assert (found.throat.station, found.throat.told_by) == (4.0, "mark")
    assert found.least_area == pytest.approx(circle(31.0), rel=2e-3)
    # Isentropic flow of air at Mach 1 (NACA Report 1135): mass flow over area is p sqrt(1.4 / (R T)) 1.2^-3.
    flux = 101325.0 * np.sqrt(1.4 / (287.053 * 288.15)) * 1.2**-3
    for choke, diameter in ((found.throat_choke, 32.5), (found.choke, 31.0)):
        assert choke * found.air.density == pytest.approx(flux * circle(diameter) * 1e-6, rel=2e-3)
    record = SpeedFigures.of(found).to_dict()["throat"]
    assert record["mean_speed_m_s"] == pytest.approx(100.0 * M3_S_PER["cfm"] / circle(32.5) * 1e6, rel=1e-3)
    told = " ".join(airspeed_text(AirThrough.of(found, port, 38.0, None), "port").split())
    assert "throat 32.50 mm, 86% of the valve" in told


def test_coefficients_go_by_the_throat_of_the_state_that_was_flowed():
    """What the flow is over is the marked row's; only an unmarked throat gives way to what is typed."""
    table = {"valve": 38.0, "throat": 31.0, "stem": 0.0, "seat_angle_deg": 45.0, "seat_width": 1.5, "valves": 1}
    bore = [{"station": station, "shape": "round", "diameter": 32.5, "mark": ""} for station in (0, 50, 100)]
    marked, least = (pg.survey(pg.port_from_rows([*bore[:2], bore[2] | {"mark": mark}])) for mark in ("throat", ""))
    assert valve_of(table, marked).throat == pytest.approx(32.5, rel=1e-3)
    assert valve_of(table, least).throat == valve_of(table).throat == 31.0
    untyped = table | {"throat": None}
    assert valve_of(untyped, least).throat == pytest.approx(32.5, rel=1e-3)
    assert valve_of(untyped) is None
    # Of two valves on one port, and of a port that was measured no farther than it is wide, neither is the throat.
    assert valve_of(untyped | {"valves": 2}, marked) is None
    assert valve_of(table | {"valve": 32.0}, marked).throat == 31.0


def test_a_bench_s_run_is_seen_against_the_port_s_own_throat(tmp_path, capsys):
    text = "station_mm,diameter_mm,shape,turn_deg,mark\n"
    text += "\n".join(f"{s},{d},round,{turn},{' '.join(mark)}" for s, d, turn, mark in EXHAUST)
    (tmp_path / "port.csv").write_text(text)
    (tmp_path / "bench.csv").write_text("state,lift_mm,flow_cfm,depression_in_h2o\ncut,9,100,28\n")
    words = ["airspeed", tmp_path / "port.csv", "--bench", tmp_path / "bench.csv", "--valve", "38mm", "--stem", "7mm"]
    assert main([str(word) for word in (*words, "--points", "1500", "--json", tmp_path / "a.json")]) == 0
    assert "86% of the valve" in capsys.readouterr().out
    record = json.loads((tmp_path / "a.json").read_text())
    assert record["throat"]["percent_of_valve"] == pytest.approx(100.0 * 32.5 / 38.0, rel=1e-3)
    # Bernoulli at 28 inches of water, with air of 1.225 kg/m3.
    ideal = np.sqrt(2.0 * 28.0 * 249.0889 / 1.225) * (circle(32.5) - circle(7.0)) * 1e-6
    assert record["bench"][0]["on_throat"][0] == pytest.approx(100.0 * 0.3048**3 / 60.0 / ideal, rel=3e-3)


SHEET = "station_mm,diameter_mm,shape,mark\n0,36,round,Joint\n40,35,round,{}\n60,34,round,{}\n"


def test_marks_are_read_and_a_word_that_is_none_is_refused(tmp_path):
    path = tmp_path / "port.csv"
    path.write_text(SHEET.format("guide", "throat seat"))
    assert load_port(str(path)).marks == (("joint", 0.0), ("guide", 40.0), ("throat", 60.0), ("seat", 60.0))
    path.write_text(SHEET.format("throat", "throat"))
    with pytest.raises(InputError, match="row 3 is marked throat too"):
        load_port(str(path))
    path.write_text(SHEET.format("gide", ""))
    with pytest.raises(InputError, match="'gide' is not a mark"):
        load_port(str(path))
