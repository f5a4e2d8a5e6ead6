"""Target files and wall readings: what is written is what is planned, and every wrong key is named."""

import math
import re

import pytest

import portgeo as pg
from portgeo.app.job.blanks import blank_target
from portgeo.core.errors import InputError
from portgeo.core.units import Display
from portgeo.files.toml.target import read_target
from portgeo.files.walls import read_walls


def _written(folder, text, name="wanted.toml"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_blank_target_reads_once_its_keys_are_taken_out_of_comments(tmp_path):
    lines = [re.sub(r"^# (?=\[|[a-z_]+ = )", "", line) for line in blank_target().splitlines()]
    keep = [line for line in lines if not line.startswith(("percent = ", "throat_diameter"))]
    found = read_target(_written(tmp_path, "\n".join(keep)))
    assert found.unit == "in"
    assert found.target.greatest_depth == pytest.approx(2.54)
    assert found.target.short_side.radius == pytest.approx(0.7 * 25.4)
    assert [w.start for w in found.target.areas] == pytest.approx([25.4, 38.1])
    assert found.target.areas[0].at_start == pytest.approx(2.35 * 645.16)
    assert found.least_wall == pytest.approx(2.54) and found.outer_meshes[0] == tmp_path / "water.stl"
    assert found.target.keep[0].name == "valve seat" and found.copy == tmp_path / "good-cylinder.csv"


def test_a_blank_target_as_it_is_wants_nothing_and_says_so(tmp_path):
    with pytest.raises(InputError, match="asks for nothing"):
        read_target(_written(tmp_path, blank_target()))


def test_lengths_in_either_unit_and_percentages_of_the_throat(tmp_path):
    text = 'units = "mm"\nthroat_diameter_in = 1.5\n[[area]]\nstation_in = 1\npercent = 110\n'
    text += "[[area]]\nstation = 30\narea_in2 = 2\n"
    found = read_target(_written(tmp_path, text)).target
    assert found.areas[0].start == pytest.approx(25.4) and found.areas[0].of_throat
    assert found.areas[0].at_start == pytest.approx(1.1)
    assert found.areas[1].at_start == pytest.approx(2 * 645.16)
    assert found.throat_area == pytest.approx(3.14159265 / 4 * 38.1**2)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("greatest_depth = 1", "units is missing"),
        ('units = "ft"', "line 1, units: 'ft' is not known"),
        ('units = "in"\n[short_side]\nradius = "a"', "line 3, [short_side] radius: 'a' is not a number"),
        (
            'units = "in"\n[short_side]\nradus = 1',
            "line 3, [short_side] radus: there is no such key. Did you mean radius?",
        ),
        ('units = "in"\ngreatest_dept = 1\n[short_side]\nradius = 1', "line 2, greatest_dept: there is no such key"),
        (
            'units = "in"\n[short_side]\nradius = 1\nform = 2',
            "line 4, [short_side] form: there is no such key. Did you mean from?",
        ),
        (
            'units = "in"\n[[area]]\nstation = 1\naera = 2',
            "line 4, [area] aera: there is no such key. Did you mean area?",
        ),
        ('units = "in"\n[[area]]\nstation = 1\narea = 2\n[[area]]\nstation = 2', "line 5, [area]: neither area nor"),
        ('units = "in"\n[[area]]\nstation = 1\narea = 2\npercent = 3', "area and percent are both given"),
        ('units = "in"\n[[taper]]\nfrom = 2\nto = 1\narea_from = 1\narea_to = 1', "the taper ends before it begins"),
        ('units = "in"\n[[taper]]\nfrom = 1\nto = 2\narea_from = 1\npercent_to = 90', "one end of the taper"),
        ('units = "in"\nsymmetric = "yes"\n[short_side]\nradius = 1', "line 2, symmetric: 'yes' is not true or false"),
        ('units = "in"\nwalls = ["top"]\n[short_side]\nradius = 1', "line 2, walls: ['top'] is not a list of walls"),
        ('units = "in"\n[short_side]\nradius = nan', "nan is not a number"),
        ('units = "in"\n[short_side]\nradius = 1\nradius_mm = 1', "radius is given twice"),
        ('units = "in"\narea = 3', "area is not a list of tables"),
        ("units = ", "line 1: units has no value"),
        ('units = "in"\ngreatest_depth = 1e300\n[short_side]\nradius = 1', "is not between"),
    ],
)
def test_a_wrong_target_is_refused_with_its_line_and_key(tmp_path, text, told):
    with pytest.raises(InputError) as refusal:
        read_target(_written(tmp_path, text))
    assert told in str(refusal.value) and "wanted.toml" in str(refusal.value)


def test_wall_readings_in_inches_with_clock_written_either_way(tmp_path):
    path = _written(
        tmp_path, "station_in,clock,thickness_in,note\n1,12,0.25,\n1.5,4:30,0.2,thin\n2,7.5,0.3,\n", "wall.csv"
    )
    found = read_walls(path)
    assert [r.clock for r in found] == [0.0, 4.5, 7.5]
    assert found[1].station == pytest.approx(38.1) and found[1].thickness == pytest.approx(5.08)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("station_in,clock\n1,2\n", "no thickness column"),
        ("station_in,clock,thickness_in\n1,13,0.2\n", "row 2, column clock"),
        ("station_in,clock,thickness_in\n1,6,-0.2\n", "row 2, column thickness_in"),
        ("station_in,clock,thickness_in\n1,6,0\n", "'0' is not more than zero"),
        ("station_in,clock,thickness_in\n1,6,3.5\n", "thickness_in: '3.5' is thicker than any port's wall, 1 in"),
        ("station_mm,clock,thickness_mm\n1,6,25.5\n", "'25.5' is thicker than any port's wall, 25.4 mm"),
        (
            "station_mm,clock,thickness_mm\n1,6,0.134\n",
            "'0.134' is thinner than any port's wall, 0.5 mm. If it is in inches",
        ),
        ("station_in,clock,thickness_in\n1,6,0.0134\n", "thinner than any port's wall, 0.02 in. Check its decimal"),
        ("station_in,clock,thickness_in\n1,,0.2\n", "the cell is empty"),
        (
            "station_in,clock,thickness_in,depth\n1,6,0.2,3\n",
            "row 1, column depth: no column of a sheet of wall readings",
        ),
        ("station_in,clock,thickness_in\n", "has no rows"),
    ],
)
def test_wrong_wall_readings_are_refused_with_their_place(tmp_path, text, told):
    with pytest.raises(InputError) as refusal:
        read_walls(_written(tmp_path, text, "wall.csv"))
    assert told in str(refusal.value) and "wall.csv" in str(refusal.value)


def test_a_wall_reading_outside_the_port_is_refused_and_one_at_its_rim_is_not(tmp_path, port):
    last = float(port.centreline.stations[-1])
    text = "station_mm,clock,thickness_mm\n1,6,4\n{},6,4\n"
    assert len(read_walls(_written(tmp_path, text.format(last + 1.5), "wall.csv"), port, Display("mm"))) == 2
    with pytest.raises(InputError, match=r"wall\.csv, row 3, column station_mm: station .* is outside the port"):
        read_walls(_written(tmp_path, text.format(last + 2.5), "wall.csv"), port, Display("mm"))


BORE = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 20.0, 40.0)]


@pytest.mark.parametrize("wanted", [{"area": 13000.0}, {"percent": 990.0}])
def test_an_area_typed_ten_times_too_large_is_an_error_that_says_what_can_be(wanted):
    """A round section of 40 mm cut 2.54 mm deep all round is one of 45.08 mm: in closed form."""
    port = pg.port_from_rows(BORE, units="mm")
    with pytest.raises(InputError, match=r"area wanted at station 20\.00 mm, .* is (10\.3|9\.9) times") as refusal:
        pg.plan(port, {"units": "mm", "throat_diameter": 40.0, "area": [{"station": 20.0} | wanted]})
    most = float(re.search(r"makes ([\d.]+) mm² at most", str(refusal.value))[1])
    assert most == pytest.approx(math.pi / 4.0 * 45.08**2, rel=5e-4)
    assert "decimal point" in str(refusal.value) and "raise greatest_depth" in str(refusal.value)


def test_an_area_that_its_greatest_depth_can_give_is_planned_however_large():
    port = pg.port_from_rows(BORE, units="mm")
    taper = {"from": 0.0, "to": 40.0, "area_from": 2700.0, "area_to": 2700.0}
    planned = pg.plan(port, {"units": "mm", "greatest_depth": 10.0, "taper": [taper]})
    assert planned.areas[0].after_mm2 == pytest.approx(2700.0, rel=2e-3)
    assert 2700.0 > 2.0 * planned.areas[0].before_mm2
