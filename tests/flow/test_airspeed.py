"""Air speed through ports, and the command that says it."""

import json
from dataclasses import replace

import numpy as np
import pytest

from portgeo.app import cli
from portgeo.core.errors import InputError
from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading, Section
from portgeo.core.triangles import volume
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.flow.airspeed import air_speed, beside, point_in_source
from portgeo.flow.path import join, joint_notices, path_of
from portgeo.flow.sense import stands_in_stream
from portgeo.measuring import survey
from portgeo.present.page.text import peak_text, peaks_at_one_flow
from portgeo.present.text.speed import airspeed_text
from portgeo.results.air import AirThrough, SpeedFigures
from tests.conftest import elbow_readings

CFM, WATER = M3_S_PER["cfm"], PA_PER["in_h2o"]
PORT = "PORT"  # stands for a sheet of four rows, which is measured in a moment
ROWS = "0,{0},round,0\n1,{0},round,0\n2.5,{1},round,60\n3.5,{2},round,60\n"


def sheet_of(path, *bores):
    """Write the sheet of a round port that turns: its bores before, in and after the turn, inches."""
    path.write_text("station_in,diameter_in,shape,turn_deg\n" + ROWS.format(*bores), encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Sheets of a small round port and of one a little wider in its turn."""
    folder = tmp_path_factory.mktemp("small")
    return sheet_of(folder / "port.csv", 1.6, 1.5, 1.47), sheet_of(folder / "wider.csv", 1.6, 1.54, 1.47)


def command(capsys, *args):
    status = cli.main(["airspeed", *args])
    out, err = capsys.readouterr()
    return status, out, err


@pytest.fixture(scope="module")
def elbow():
    port = port_from_readings(elbow_readings(44.0, 32.0, 9.0, (58.0, 30.0), 40.0, 75.0))
    return port, air_speed(path_of(port), 180.0 * CFM, 28.0 * WATER, unknowns=6000)


def test_means_are_flow_over_area(elbow):
    _, found = elbow
    assert found.mean_speed * found.area * 1e-6 == pytest.approx(180.0 * CFM)
    # The trade's arithmetic: ft/s is 2.4 times cfm over square inches.
    area_in = found.area[0] / 25.4**2
    assert found.mean_speed[0] / 0.3048 == pytest.approx(2.4 * 180.0 / area_in)


def test_the_peak_is_on_the_floor_in_the_turn(elbow):
    port, found = elbow
    peak = found.side_peak
    assert 58.0 < peak.station < 58.0 + 40.0 * np.radians(75.0)
    assert peak.clock == pytest.approx(6.0, abs=0.05)
    middle = np.array([58.0, 0.0, -40.0])  # of the turn, in the port frame
    point = point_in_source(found.path, peak) + [0.0, 0.0, 0.0]
    inside = port.frame[:3, :3] @ point + port.frame[:3, 3]
    assert np.hypot(*(inside - middle)[[0, 2]]) == pytest.approx(40.0 - 22.0, abs=0.1)
    assert peak.over_mean > 1.5
    assert np.nanmin(found.long_over_mean) < 0.75
    assert np.all(found.short_over_mean <= found.highest_over_mean + 1e-9)


def test_speeds_round_the_clock(elbow):
    """In the turn the floor is fastest, the roof slowest and the two walls alike between them."""
    _, found = elbow
    clock = found.clock_over_mean[np.argmin(np.abs(found.stations - 84.0))]
    assert clock[6] == clock.max()
    assert clock[0] == clock.min()
    assert clock[1:6] == pytest.approx(clock[:6:-1], abs=1e-6)
    assert np.all(np.diff(clock[:7]) > 0.0)


def test_stations_are_the_ports_own():
    """A sheet that begins at another station than 0 keeps its stations."""
    rows = tuple(Reading(k + 2, s, shape="round", height=40.0, width=40.0) for k, s in enumerate((10.0, 90.0)))
    found = air_speed(path_of(port_from_readings(rows)), 100.0 * CFM, 28.0 * WATER, unknowns=3000)
    assert found.stations[[0, -1]].tolist() == [10.0, 90.0]


def test_a_section_has_the_area_that_a_survey_of_its_port_has():
    """What a mesh's flats cut off is put right in both."""
    rows = tuple(Reading(k + 2, s, shape="round", height=40.0, width=40.0) for k, s in enumerate((0.0, 90.0)))
    port = replace(port_from_readings(rows), flats=2.5)
    found = air_speed(path_of(port), 100.0 * CFM, 28.0 * WATER, unknowns=3000)
    assert found.area == pytest.approx(np.interp(found.stations, *_schedule(port)), rel=1e-9)
    assert found.area[0] == pytest.approx(np.pi * 20.0**2 + 2.5, rel=2e-4)


def _schedule(port):
    measured = survey(port)
    return measured.stations, measured.area


@pytest.mark.parametrize(("after", "lip"), [(38.0, True), (42.0, False)])
def test_only_where_a_joint_closes_up_is_a_lip_spoken_of(after, lip):
    ports = [
        port_from_readings([Reading(k + 2, s, shape="round", height=d, width=d) for k, s in enumerate((0.0, 50.0))])
        for d in (40.0, after)
    ]
    (notice,) = joint_notices(join(*ports))
    assert (notice.values["case"] == "lip") == lip


def test_a_gentler_turn_slows_the_air_more_gently(elbow):
    gentle = port_from_readings(elbow_readings(44.0, 32.0, 9.0, (58.0, 30.0), 160.0, 30.0))
    found = air_speed(path_of(gentle), 180.0 * CFM, 28.0 * WATER, unknowns=6000)
    assert found.side_peak.over_mean < elbow[1].side_peak.over_mean - 0.3
    assert found.slowing.margin > elbow[1].slowing.margin + 0.3
    assert elbow[1].slowing.parts
    assert not found.slowing.parts


def test_a_place_at_the_exit_is_told_as_the_exit(elbow):
    found = elbow[1]
    assert found.slowing.parts and not found.nearest_at_exit
    port = replace(found.path.ports[0], display=Display("in"))
    assert "from about station" in airspeed_text(AirThrough.of(found, port, None, None), "port")
    at_exit = replace(found, slowing=replace(found.slowing, from_here=len(found.wall.stations) - 1))
    told = airspeed_text(AirThrough.of(at_exit, port, None, None), "port")
    assert "leave the wall only at the exit itself" in " ".join(told.split())
    record = SpeedFigures.of(at_exit).to_dict()
    assert record["slowing"]["from_station_mm"] == pytest.approx(found.path.last)
    assert peak_text(record, Display("in")).endswith("leave the wall only at the exit itself")


def test_a_straight_port_has_no_short_side():
    rows = tuple(Reading(k + 2, s, shape="round", height=40.0, width=40.0) for k, s in enumerate((0.0, 80.0)))
    found = air_speed(path_of(port_from_readings(rows)), 100.0 * CFM, 28.0 * WATER, unknowns=4000)
    assert found.side_peak is None
    assert found.slowing is None
    assert np.isnan(found.short_over_mean).all()
    # One-dimensional isentropic flow: the air thins out, and is a little faster than flow over area.
    assert found.highest.speed == pytest.approx(found.mean_isentropic[0], rel=1e-5)
    assert found.highest.over_mean == pytest.approx(1.0, abs=1e-5)


def test_a_fold_of_a_noisy_scan_is_no_boss_in_the_stream():
    square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    fold, boss = (Section(20.0 * square, np.zeros(3), np.eye(3), (size * square[::-1],)) for size in (0.01, 3.0))
    assert not stands_in_stream([fold])
    assert stands_in_stream([fold, boss])


def test_a_plan_that_opens_the_port_brings_the_peak_down(elbow):
    port, today = elbow
    wider = port_from_readings(elbow_readings(44.0, 34.0, 9.0, (58.0, 30.0), 40.0, 75.0))
    planned = air_speed(path_of(wider), 180.0 * CFM, 28.0 * WATER, unknowns=6000)
    found = beside(today, planned, volume(port.vertices, port.faces), volume(wider.vertices, wider.faces))
    # Sections of one height two millimetres wider: the mean falls as the areas do, the peak nearly so.
    corners = (4.0 - np.pi) * 81.0
    share = (44.0 * 32.0 - corners) / (44.0 * 34.0 - corners)
    assert found.peak_drop / today.side_peak.speed == pytest.approx(1.0 - share, abs=0.01)
    assert found.drop_per_cc == pytest.approx(found.peak_drop / (found.removed / 1000.0))


@pytest.mark.parametrize("flow", [0.0, -5.0, np.nan, np.inf, 1e-3, 1e6])
def test_an_absurd_flow(elbow, flow):
    with pytest.raises(InputError):
        air_speed(elbow[1].path, flow * CFM, 28.0 * WATER)


@pytest.mark.parametrize("depression", [0.0, -28.0, 4000.0, np.nan])
def test_an_absurd_depression(elbow, depression):
    with pytest.raises(InputError, match="depression"):
        air_speed(elbow[1].path, 180.0 * CFM, depression * WATER)


def test_more_than_chokes_names_the_choke_flow(elbow):
    choke = elbow[1].choke / CFM
    with pytest.raises(InputError, match=f"{choke:.1f} cfm"):
        air_speed(elbow[1].path, 1.01 * choke * CFM, 28.0 * WATER)


def test_more_than_the_depression_can_give_is_said(elbow):
    found = air_speed(elbow[1].path, 330.0 * CFM, 10.0 * WATER, unknowns=4000)
    assert "more_than_the_depression" in [n.code for n in found.warnings]
    assert "compressible" in [n.code for n in found.warnings]


def test_the_command_answers_first_and_writes_every_key(small, tmp_path, capsys):
    made = tmp_path / "speed.json"
    table = tmp_path / "speed.csv"
    status, out, err = command(
        capsys, small[0], "--cfm", "215", "--json", str(made), "--csv", str(table), "--points", "3000",
        "--bore", "3.5in", "--stroke", "3.2in", "--rpm", "7500", "--cylinders", "4", "--valve", "44.5mm",
        "--beside", small[1],
    )  # fmt: skip
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert "215.0 cfm" in lines[0]
    assert lines[2].startswith("  short side")
    for word in ("ft/s", "not a flow bench", "estimate", "ceiling", "for each cc", "Mach"):
        assert word in " ".join(out.split())
    record = json.loads(made.read_text(encoding="utf-8"))
    assert record["schema"] == "portgeo.airspeed/2"
    assert set(record["source"]) >= {"file", "sha256", "triangles", "units", "scale"}
    assert record["flow"]["cfm"] == pytest.approx(215.0)
    assert record["flow"]["depression_in_h2o"] == pytest.approx(28.0)
    assert record["flow"]["kg_s"] == pytest.approx(215.0 * 4.719474e-4 * 1.225, rel=1e-4)
    assert record["flow"]["air"]["sound_m_s"] == pytest.approx(340.294, abs=1e-3)
    assert set(record["stations"][0]) >= {
        "station_mm", "area_mm2", "mean_speed_m_s", "mach",
        "short_side_over_mean", "long_side_over_mean", "highest_over_mean", "clock_over_mean",
    }  # fmt: skip
    assert len(record["stations"][0]["clock_over_mean"]) == 12
    assert set(record["short_side"]) >= {"peak_m_s", "peak_over_mean", "station_mm", "at_mm"}
    assert set(record["slowing"]) >= {"from_station_mm", "margin", "parts"}
    assert len(table.read_text(encoding="utf-8").splitlines()) == len(record["stations"]) + 1


def test_through_a_bench_run_and_a_runner(small, tmp_path, capsys):
    bench = tmp_path / "bench.csv"
    bench.write_text(
        "state,setup,lift_in,flow_cfm,depression_in_h2o\nas cast,clay,0.3,150,25\n,,0.5,190,25\n"
        ",with runner,0.3,150,28\n,,0.5,180,28\n",
        encoding="utf-8",
    )
    runner = tmp_path / "runner.csv"
    runner.write_text(
        "station_in,height_in,width_in,shape,corner_roof_in,corner_floor_in,turn_deg\n0,2.1,1.2,rect,.22,.22,0\n"
        "1.5,2.0,1.17,rect,.22,.22,0\n2.5,1.95,1.15,rect,.22,.22,12\n",
        encoding="utf-8",
    )
    chart, curves = tmp_path / "c.png", tmp_path / "b.png"
    status, out, err = command(
        capsys, small[0], "--bench", str(bench), "--run", "clay", "--lift", "0.5", "--runner", str(runner),
        "--points", "3000", "--chart", str(chart), "--bench-chart", str(curves), "--valve", "1.75in", "--throat",
        "1.47in", "--stem", "7mm",
    )  # fmt: skip
    assert (status, err) == (0, "")
    assert f"{190.0 * np.sqrt(28.0 / 25.0):.1f} cfm" in out
    assert "what 'with runner' costs or gives" in out
    assert "throat less stem" in out
    assert chart.read_bytes().startswith(b"\x89PNG")
    assert curves.read_bytes().startswith(b"\x89PNG")
    status, out, _ = command(capsys, "--bench", str(bench))
    assert status == 0
    assert "run 2" in out


ENGINE = ("--bore", "3.5in", "--stroke", "3.2in", "--rpm", "7500", "--cylinders", "4", "--valve", "1.6in")


@pytest.mark.parametrize("how", ["--exhaust", "the file's name", "the run's state"])
def test_an_exhaust_gets_no_power(tmp_path, capsys, how):
    """Both rules are of intakes (common practice, no source; Taylor): an exhaust is told neither, and why."""
    port, bench = tmp_path / ("exhaust-2.csv" if how == "the file's name" else "port.csv"), tmp_path / "bench.csv"
    sheet_of(port, 1.4, 1.5, 1.6)
    state = "exhaust as cast" if how == "the run's state" else "as cast"
    bench.write_text(f"state,lift_in,flow_cfm,depression_in_h2o\n{state},0.4,150,28\n", encoding="utf-8")
    made = tmp_path / "speed.json"
    args = [str(port), "--bench", str(bench), "--points", "1500", *ENGINE, "--json", str(made)]
    status, out, err = command(capsys, *args, *(["--exhaust"] if how == "--exhaust" else []))
    assert (status, err) == (0, "")
    assert " hp" not in out and "piston" not in out
    assert "for intake ports only" in " ".join(out.split())
    record = json.loads(made.read_text(encoding="utf-8"))
    assert "demand" not in record
    assert "exhaust" in [w["code"] for w in record["warnings"]]


@pytest.mark.parametrize(
    ("setup", "says"),
    [
        ("clay entry; no manifold", "bench run 'as cast, clay entry; no manifold')"),
        ("manifold bolted on", "bench run 'as cast, manifold bolted on': the manifold's loss is in it)"),
    ],
)
def test_power_says_whose_flow_it_is_of(small, tmp_path, capsys, setup, says):
    bench, made = tmp_path / "bench.csv", tmp_path / "speed.json"
    bench.write_text(f"state,setup,lift_in,flow_cfm,depression_in_h2o\nas cast,{setup},0.4,150,28\n", encoding="utf-8")
    status, out, _ = command(capsys, small[0], "--bench", str(bench), "--points", "1500", *ENGINE, "--json", str(made))
    assert status == 0
    assert f"150 cfm (28 inH2O; {says}" in " ".join(out.split())
    flow = json.loads(made.read_text(encoding="utf-8"))["demand"]["power_flow"]
    assert flow["cfm_at_28_in_h2o"] == pytest.approx(150.0)


def test_peaks_at_two_flows_are_compared_at_one(elbow):
    """A port of no change, flowed at more: its peak is as it was. (Air thins out a little more: under 1 %.)"""
    port, found = elbow
    more = air_speed(path_of(port), 198.0 * CFM, 28.0 * WATER, unknowns=6000)
    (before, _), (after, _) = peaks_at_one_flow(SpeedFigures.of(found).to_dict(), SpeedFigures.of(more).to_dict())
    assert more.side_peak.speed > 1.1 * found.side_peak.speed
    assert after == pytest.approx(before, rel=0.02)
    assert "at 198.0 cfm" in peak_text(SpeedFigures.of(more).to_dict(), Display("in"))


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ([PORT, "--cfm", "0"], "flow"),
        ([PORT, "--cfm", "-20"], "flow"),
        ([PORT, "--cfm", "9000"], " sq in: at the most"),
        ([PORT, "--cfm", "9000", "--units", "mm"], " mm²: at the most"),
        ([PORT, "--cfm", "0.001"], "hardly moves"),
        ([PORT, "--cfm", "much"], "--cfm"),
        ([PORT, "--cfm", "177mm"], "--cfm: '177mm' is not a flow. Write the number alone, in cubic feet a minute"),
        ([PORT, "--cfm", "177", "--depression", "28psi"], "not a depression. Write the number alone, in inches of"),
        ([PORT, "--cfm", "2,5"], "decimal point"),
        ([PORT, "--cfm", "215", "--max-lift", "0.5in"], "--bench"),
        ([PORT, "--cfm", "215", "--stem", "7mm"], "--throat"),
        ([PORT], "no flow"),
        ([], "neither"),
        ([PORT, "--cfm", "215", "--depression", "0"], "depression"),
        ([PORT, "--cfm", "215", "--bore", "3.5in"], "--stroke"),
        ([PORT, "--cfm", "215", "--points", "3"], "--points"),
        ([PORT, "--cfm", "215", "--run", "as cast"], "--run"),
        ([PORT, "--cfm", "215", "--throat", "1.4in"], "--valve"),
        ([PORT, "--cfm", "215", "--valve", "1.4in", "--throat", "1.6in"], "throat"),
        (["no-such-file.csv", "--cfm", "215"], "no-such-file.csv"),
        (["--bench", "no-such-bench.csv"], "no-such-bench.csv"),
    ],
)
def test_bad_input_is_one_message_and_status_2(small, capsys, args, says):
    status, out, err = command(capsys, *(small[0] if word == PORT else word for word in args))
    assert status == 2
    assert out == ""
    assert len(err.strip().splitlines()) == 1
    assert says in err
