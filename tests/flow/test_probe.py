"""A pitot probe beside the ideal flow: closed forms at places off the wall, and sheets with slips."""

import json

import numpy as np
import pytest

import portgeo as pg
from portgeo.app.cli import main
from portgeo.core.errors import InputError
from portgeo.flow.gas import STANDARD
from portgeo.flow.probe import pitot_speed
from portgeo.present.text.probe import probe_text

CFM = 40.0  # slow: the air hardly thins out
FLOW = CFM * 4.71947443e-4  # m3/s (NIST SP 811: 1 cubic foot a minute)
WIDTH, INNER, OUTER, TURN = 40.0, 30.0, 70.0, 150.0  # mm, degrees


@pytest.fixture(scope="module")
def bend():
    """A bend of square section, long enough that its middle knows nothing of its ends."""
    length = (INNER + OUTER) / 2.0 * np.radians(TURN)
    stations = np.concatenate([[0.0], 30.0 + length * np.linspace(0.0, 1.0, 7), [60.0 + length]])
    turns = np.clip((stations - 30.0) / length, 0.0, 1.0) * TURN
    size = {"height": OUTER - INNER, "width": WIDTH, "corner": 0.0, "turn_error_deg": 0.0, "tool": "micrometer"}
    rows = [{"station": s, "turn_deg": t} | size for s, t in zip(stations, turns, strict=True)]
    return pg.air_speed(pg.port_from_rows(rows), cfm=CFM, unknowns=12000), 30.0 + length / 2.0


def sheet(tmp_path, text, name="probe.csv"):
    (tmp_path / name).write_text(text)
    return tmp_path / name


def test_off_the_wall_of_a_long_bend_the_air_is_a_free_vortex(bend, tmp_path):
    """v r = flow / (width ln(outer / inner)): any textbook of fluid mechanics."""
    air, middle = bend
    places = [(6, 3.0), (6, 10.0), (12, 4.0), (12, 15.0), (12, 20.0)]
    rows = "".join(f"{middle},{clock},{off},50\n" for clock, off in places)
    read = pg.probe(air, sheet(tmp_path, "station_mm,clock,off_wall_mm,speed_m_s\n" + rows))
    radius = np.array([INNER + off if clock == 6 else OUTER - off for clock, off in places])
    true = FLOW / (WIDTH * np.log(OUTER / INNER) * radius * 1e-6)
    assert read.places.computed_m_s == pytest.approx(true, rel=0.01)
    assert read.places.ratio == pytest.approx(50.0 / read.places.computed_m_s)


def test_in_a_straight_pipe_the_speed_is_flow_over_area_everywhere(tmp_path):
    bore = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 50.0, 100.0)]
    air = pg.air_speed(pg.port_from_rows(bore), cfm=CFM, unknowns=4000)
    text = "station_mm,clock,off_wall_mm,speed_m_s,flow_cfm\n50,3,10,20,\n70,7.5,19,20,\n50,3,10,20,20\n"
    read = pg.probe(air, sheet(tmp_path, text))
    mean = FLOW / (np.pi / 4.0 * 0.04**2)
    assert read.places.computed_m_s == pytest.approx([mean, mean, mean / 2.0], rel=2e-3)
    assert read.past_ratio is None and read.before_ratio > 0.0


@pytest.mark.parametrize("pascal", [100.0, 5000.0, 30000.0])
def test_a_pitot_tube_s_pressure_is_a_speed(pascal):
    """NACA Report 1135, equation 44, turned round by bisection; at low speed Bernoulli's sqrt(2 q / density)."""
    low, high = 0.0, 1.0
    for _ in range(80):
        mach = (low + high) / 2.0
        drop = 101325.0 * (1.0 - (1.0 + 0.2 * mach**2) ** -3.5)
        low, high = (mach, high) if drop < pascal else (low, mach)
    true = mach * np.sqrt(1.4 * 287.05287 * 288.15 / (1.0 + 0.2 * mach**2))
    assert pitot_speed(np.array([pascal]), STANDARD)[0] == pytest.approx(true, rel=1e-9)
    if pascal < 1000.0:
        assert true == pytest.approx(np.sqrt(2.0 * pascal / STANDARD.density), rel=2e-3)


def test_air_that_has_left_one_wall_is_told_though_the_mean_is_right(bend, tmp_path):
    air, _ = bend
    port = air.computed.path.ports[-1]
    station = float(port.centreline.stations[-1]) - 5.0
    header = "station_mm,clock,off_wall_mm,speed_m_s\n"
    even = pg.probe(air, sheet(tmp_path, header + f"{station},6,10,20\n{station},12,10,20\n")).places.computed_m_s
    slow, fast = 0.5 * even[0], 1.5 * even[1]
    read = pg.probe(air, sheet(tmp_path, header + f"{station},6,10,{slow}\n{station},12,10,{fast}\n"))
    assert read.past_ratio == pytest.approx(1.0, abs=0.01)
    assert read.lowest_past_ratio == pytest.approx(0.5, abs=0.01)
    assert "has likely left the wall" in probe_text(read) and "6:00 o'clock" in probe_text(read)


def test_a_place_past_the_middle_and_one_by_the_wall_are_told_and_not_counted(bend, tmp_path):
    air, middle = bend
    text = f"station_mm,clock,off_wall_mm,speed_m_s\n{middle},6,35,20\n{middle},6,0.2,20\n{middle},6,8,20\n"
    read = pg.probe(air, sheet(tmp_path, text))
    assert np.isnan(read.places.ratio[0]) and read.places.in_layer == (False, True, False)
    assert json.loads(json.dumps(read.to_dict()))["places"][0]["ratio"] is None


def test_all_slips_of_a_sheet_are_told_at_once_with_their_cells(bend, tmp_path):
    air, _ = bend
    text = "station_mm,clock,off_wall_mm,speed_ft_s,lift_mm\n20,6,3,,\n900,6,3,100,\n20,27,3,100,\n20,6,3,100,8\n"
    with pytest.raises(InputError) as refusal:
        pg.probe(air, sheet(tmp_path, text))
    told = {(problem.row, problem.column) for problem in refusal.value.problems}
    assert told == {(2, "speed_ft_s"), (3, "station_mm"), (4, "clock"), (5, "lift_mm")}


def test_a_lift_means_the_bench_s_flow_there(tmp_path):
    bore = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 50.0, 100.0)]
    runs = sheet(tmp_path, "lift_mm,flow_cfm,depression_in_h2o\n4,50,28\n8,100,28\n12,120,28\n", "bench.csv")
    bench = pg.bench(runs)
    air = pg.air_speed(pg.port_from_rows(bore), bench=bench, unknowns=4000)
    text = "station_mm,clock,off_wall_mm,pressure_in_h2o,lift_mm\n50,12,12,10,4\n50,12,12,10,\n"
    read = pg.probe(air, sheet(tmp_path, text), bench=bench)
    assert read.places.flow_cfm == pytest.approx([50.0, 120.0])


@pytest.mark.parametrize("cfm", [60.0, 150.0])
def test_in_an_exhaust_the_air_leaves_at_the_rooms_pressure(tmp_path, cfm):
    """A pipe of one bore from a valve into the room: its pressure is the room's all along (Bernoulli).

    Its heat is that of the air at rest (energy equation), its mass what the bench tells: solved by bisection.
    """
    room, warm, gas = 101325.0, 288.15, 287.05287
    area, mass = np.pi / 4.0 * 0.035**2, cfm * 4.71947443e-4 * room / (gas * warm)
    low, high = 0.0, 300.0
    for _ in range(80):
        speed = (low + high) / 2.0
        temperature = warm - speed**2 / (2.0 * 3.5 * gas)
        low, high = (speed, high) if room / (gas * temperature) * speed * area < mass else (low, speed)
    kpa = room * ((warm / temperature) ** 3.5 - 1.0) / 1000.0
    bore = [{"station": s, "shape": "round", "diameter": 35.0} for s in (0.0, 50.0, 100.0)]
    air = pg.air_speed(pg.port_from_rows(bore, exhaust=True), cfm=cfm, unknowns=4000)
    read = pg.probe(air, sheet(tmp_path, f"station_mm,clock,off_wall_mm,pressure_kpa\n50,3,12,{kpa:.12g}\n"))
    assert read.places.measured_m_s == pytest.approx([speed], rel=1e-4)
    assert read.places.computed_m_s == pytest.approx([speed], rel=2e-3)


def test_a_reading_at_another_depression_had_the_flow_that_goes_as_its_root(tmp_path):
    bore = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 50.0, 100.0)]
    runs = sheet(tmp_path, "lift_mm,flow_cfm,depression_in_h2o\n4,50,28\n8,100,28\n12,120,28\n", "bench.csv")
    bench = pg.bench(runs)
    air = pg.air_speed(pg.port_from_rows(bore), bench=bench, unknowns=4000)
    head = "station_mm,clock,off_wall_mm,speed_m_s,lift_mm,flow_cfm,depression_in_h2o\n"
    text = head + "50,12,12,20,,,7\n50,12,12,20,8,,7\n50,12,12,20,,30,7\n50,12,12,20,,,\n"
    read = pg.probe(air, sheet(tmp_path, text), bench=bench)
    assert read.places.flow_cfm == pytest.approx([60.0, 50.0, 30.0, 120.0])
    with pytest.raises(InputError, match="depression of 700"):
        pg.probe(air, sheet(tmp_path, head + "50,12,12,20,,,700\n"), bench=bench)


def test_a_computed_speed_is_as_sure_as_the_tips_place_and_a_measured_one_as_its_gauge(bend, tmp_path):
    """In a free vortex v r is the same everywhere, so that a millimetre nearer to the centre is v / r more."""
    air, middle = bend
    rows = "".join(f"{middle},{clock},{off},20\n" for clock, off in ((6, 3.0), (12, 4.0)))
    places = pg.probe(air, sheet(tmp_path, "station_mm,clock,off_wall_mm,speed_m_s\n" + rows)).places
    of_place = places.computed_m_s / np.array([INNER + 3.0, OUTER - 4.0])
    assert (places.computed_u_m_s > of_place).all() and places.computed_u_m_s[0] > 1.5 * places.computed_u_m_s[1]
    assert places.measured_u_m_s == pytest.approx([0.4, 0.4])
    shares = np.hypot(0.02, places.computed_u_m_s / places.computed_m_s)
    assert places.ratio_u == pytest.approx(places.ratio * shares)
    lines = probe_text(pg.probe(air, sheet(tmp_path, "station_mm,clock,off_wall_mm,speed_m_s\n" + rows))).splitlines()
    assert f"20.0 ± {0.8:.1f}" in lines[-1] and "twice the standard uncertainty" in "\n".join(lines)


def test_its_chart_is_written_only_with_readings(tmp_path, capsys):
    port = sheet(tmp_path, "station_mm,diameter_mm,shape\n0,40,round\n50,40,round\n100,40,round\n", "port.csv")
    read = sheet(tmp_path, "station_mm,clock,off_wall_mm,speed_m_s\n20,3,10,37\n60,12,10,30\n60,6,0.1,30\n")
    words = ["airspeed", str(port), "--cfm", "100", "--points", "2000", "--probe-chart", str(tmp_path / "probe.png")]
    assert main(words) == 2 and "--probe" in capsys.readouterr().err
    assert main([*words, "--probe", str(read)]) == 0
    assert (tmp_path / "probe.png").read_bytes().startswith(b"\x89PNG")
    assert "computed air speed at 100.0 cfm" in capsys.readouterr().out
