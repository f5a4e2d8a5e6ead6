"""What the library's functions are given wrongly is refused before any work, and by the parameter's name."""

import numpy as np
import pytest

import portgeo as pg
from portgeo.core.errors import GeometryError, InputError

BORE = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 60.0, 100.0)]
SHEET = "meshes/demo-as-cast.csv"
SPLIT = "meshes/demo-two-valves.csv"


@pytest.fixture(scope="module")
def port():
    return pg.port_from_rows(BORE)


@pytest.fixture(scope="module")
def split(pytestconfig):
    return pg.read_split(pytestconfig.rootpath / SPLIT)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda port: pg.plan(port, {"area": []}, greatest_depth_mm=1.0), "greatest_depth_mm: a target and greatest"),
        (lambda port: pg.plan(port, {}, short_side_radius_mm=9.0), "short_side_radius_mm"),
        (lambda port: pg.plan(port, {}, areas={10.0: 1300.0}), "areas"),
        (lambda port: pg.plan(port, {}, tapers=[(0.0, 9.0, 1300.0, 1400.0)]), "tapers"),
        (lambda port: pg.plan(port, areas={10.0: 1300.0}, alloy="brass"), "'brass' is not known.*aluminum.*iron"),
        (lambda port: pg.plan(port, areas={10.0: 1300.0}, density_g_cc=0), "density_g_cc: 0 is not more than zero"),
        (lambda port: pg.calm(port, 100.0, alloy="brass"), "alloy"),
        (lambda port: pg.calm(port, 100.0, density_g_cc=-2.0), "density_g_cc"),
        (lambda port: pg.compare(port, port, align="wrong"), "align: 'wrong' .* one of none, fixed, auto"),
        (lambda port: pg.compare(port, port, alloy="brass"), "alloy"),
        (lambda port: pg.compare(port, port, density_g_cc=float("nan")), "density_g_cc"),
        (lambda port: pg.compare(port, port, fixed=["entry"]), 'fixed: .*align="fixed"'),
        (lambda port: pg.compare(port, port, align="auto", boxes=np.zeros((1, 6))), 'boxes: .*align="fixed"'),
        (lambda port: pg.compare(port, port, align="fixed", fixed=["flange"]), "fixed: 'flange' is not known"),
        (lambda port: pg.survey(port, 1), "stations: 1 is too few. Give a whole number, at least 2"),
        (lambda port: pg.survey(port, -3), "stations"),
        (lambda port: pg.survey(port, valve_mm=-1), "valve_mm: -1 is not more than zero"),
        (lambda port: pg.air_speed(port, "210"), "cfm: '210' is not a number"),
        (lambda port: pg.air_speed(port, 100.0, unknowns=-5), "unknowns: -5 is too few"),
        (lambda port: pg.survey("file.csv"), r"port: 'file.csv' is not a port. Give a port: pg.read\(path\) makes one"),
        (lambda port: pg.survey([port]), "port: a list is not a port"),
        (lambda port: pg.survey(pg.survey(port)), "port: a Measured is not a port"),
        (lambda port: pg.compare("a", "b"), "before: 'a' is not a port"),
        (lambda port: pg.check(port, port), "planned: a Port is not a plan"),
        (lambda port: pg.balance([port, "b"]), r"ports\[1\]: 'b' is not a port"),
        (lambda port: pg.balance("ab"), "ports: 'ab' is not"),
        (lambda port: pg.match(port, None), "downstream: None is not a port"),
        (lambda port: pg.reach(SHEET), "port"),
        (lambda port: pg.gauges(SHEET), "port"),
        (lambda port: pg.write(SHEET, "a.stl"), "port"),
        (lambda port: pg.loss([port, SHEET], 100.0), r"port\[1\]"),
        (lambda port: pg.calm(SHEET, 100.0), "port"),
        (lambda port: pg.air_speed(SHEET, 100.0), "port"),
        (lambda port: pg.air_speed(port, 100.0, runner=SHEET), "runner"),
        (lambda port: pg.port_from_rows(BORE, units="cm"), "units: 'cm' is not known. Give one of mm, in"),
        (lambda port: pg.port_from_rows([1, 2]), r"rows\[0\]: 1 is not a row"),
        (lambda port: pg.port_from_rows("abc"), "rows: 'abc' is not a list of rows"),
        (lambda port: pg.read(SHEET, units="inch"), "units: 'inch' is not known"),
        (lambda port: pg.read(SHEET, units_in="mm"), "units_in: this is of a scan, and the file is a section sheet"),
        (lambda port: pg.read(SHEET, scale=2.0, with_stem_mm=7.0), "scale, with_stem_mm: these are of a scan"),
        (lambda port: pg.read(SPLIT, leg="middle"), "no leg 'middle'. Its passages are trunk, left, right"),
        (lambda port: pg.valve(42.7), "throat_mm: the valve's throat is not given"),
    ],
)  # fmt: skip
def test_what_is_given_wrongly_is_refused_by_its_name(call, said, port, monkeypatch, pytestconfig):
    monkeypatch.chdir(pytestconfig.rootpath)
    with pytest.raises(InputError, match=said):
        call(port)


@pytest.mark.parametrize(
    "call",
    [
        lambda split: pg.calm(split, 100.0),
        lambda split: pg.match(split, split),
        lambda split: pg.plan(split, areas={10.0: 1300.0}),
        lambda split: pg.reach(split),
        lambda split: pg.loss(split, 100.0),
    ],
)
def test_of_a_port_that_splits_one_passage_is_asked_for(call, split):
    with pytest.raises(InputError, match=r"one passage .* at a time\. Give one of them: split\.passage\('left'\)"):
        call(split)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"shares": {"middle": 0.5}}, "shares: there is no leg 'middle'. Its legs are left, right"),
        ({"shares": {"left": 1.0}}, "shares: 1 is not a share for leg left"),
        ({"shares": {}}, "shares: the shares of left and right are not given. Give all but one: left too"),
        ({"shares": {"left": 0.5, "right": 0.6}}, r"shares: the legs' shares come to 1\.1"),
        ({"valve_mm": 30.0}, r"valve_mm: this port splits, and this is for one passage.*split\.passage"),
    ],
)
def test_the_air_of_a_port_that_splits_is_asked_for_plainly(given, said, split):
    with pytest.raises(InputError, match=said):
        pg.air_speed(split, 100.0, **given)


def test_a_port_of_one_passage_has_no_shares(port):
    with pytest.raises(InputError, match="shares: this port has no legs"):
        pg.air_speed(port, 100.0, shares={"left": 0.5})


@pytest.mark.parametrize("setting", [{"stations": 9}, {"valve_mm": 30.0}])
def test_a_setting_of_one_passage_is_refused_of_a_port_that_splits(setting, split):
    with pytest.raises(InputError, match=f"{next(iter(setting))}: this port splits"):
        pg.survey(split, **setting)


def test_a_section_is_of_a_station_in_the_port(port):
    for station in (-1.0, 100.1, float("nan"), float("inf")):
        with pytest.raises(GeometryError, match=r"is outside the port \(0 to 100 mm\)"):
            port.section_at(station)
    with pytest.raises(InputError, match="station '25' is not a number"):
        port.section_at("25")
    # An end is in the port, by however much arithmetic misses it.
    for station in (0, -1e-9, 100.0, np.nextafter(100.0, 101.0)):
        assert np.ptp(port.section_at(station).outline, axis=0) == pytest.approx(40.0, rel=1e-3)


def test_a_port_that_splits_goes_to_other_libraries_whole(split):
    mesh = split.to_trimesh()
    assert mesh.is_watertight and mesh.volume > 0.0
    assert split.to_pyvista().volume == pytest.approx(mesh.volume)
