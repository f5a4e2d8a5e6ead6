"""The library's front door: what a notebook gets, and that it is what the command line writes."""

import doctest
import json
import re
import subprocess
import sys
from dataclasses import dataclass, fields

import numpy as np
import pytest

import portgeo as pg
import portgeo.front
from portgeo.app import cli
from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.measuring import survey
from portgeo.results.figures import Shown, figure
from portgeo.results.measured import Stations

BORE = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 60.0, 100.0)]


def test_a_bore_measures_as_its_closed_form():
    measured = pg.survey(pg.port_from_rows(BORE))
    assert measured.volume_cc == pytest.approx(np.pi * 400.0 * 100.0 / 1000.0, rel=5e-4)
    assert measured.stations.area_mm2 == pytest.approx(np.pi * 400.0, rel=5e-4)
    assert measured.short_side is None
    assert 0.0 < measured.volume_u_cc < 0.01 * measured.volume_cc


def test_rows_in_inches_with_their_units_named_or_not():
    inches = [{"station_in": s, "shape": "round", "diameter": 2.0} for s in (0.0, 4.0)]
    measured = pg.survey(pg.port_from_rows(inches, units="in"))
    assert measured.length_mm == pytest.approx(101.6)
    assert measured.volume_cc == pytest.approx(np.pi * 4.0 * 16.387064, rel=5e-4)  # a cubic inch in cc, exact


def test_what_a_row_lacks_is_told_by_row_and_column():
    with pytest.raises(InputError, match=r"readings, row 3, column diameter:"):
        pg.port_from_rows([BORE[0], {**BORE[1], "diameter": "forty"}])
    with pytest.raises(InputError, match="no readings"):
        pg.port_from_rows([])


def test_the_dictionary_is_the_commands_json(pytestconfig, tmp_path):
    sheet, written = str(pytestconfig.rootpath / "meshes/demo-as-cast.csv"), tmp_path / "port.json"
    assert cli.main(["measure", sheet, "--json", str(written), "-q"]) == 0
    assert pg.survey(pg.read(sheet)).to_dict() == json.loads(written.read_text("utf-8"))


def test_the_mesh_goes_to_other_libraries_whole():
    port = pg.port_from_rows(BORE)
    mesh = port.to_trimesh()
    assert mesh.is_watertight
    assert mesh.volume / 1000.0 == pytest.approx(pg.survey(port).volume_cc)
    assert port.to_pyvista().volume == pytest.approx(mesh.volume)
    assert port.section_at(25.4).frame[0] == pytest.approx([1.0, 0.0, 0.0])


def test_a_mesh_is_written_and_read_again(tmp_path):
    port = pg.port_from_rows(BORE)
    pg.write(port, tmp_path / "bore.stl")
    again = pg.survey(pg.read(tmp_path / "bore.stl", units_in="mm", up=(0.0, 0.0, 1.0)))
    assert again.volume_cc == pytest.approx(pg.survey(port).volume_cc, rel=2e-3)


def test_a_measure_is_declared_in_one_line():
    """What one new field gives: a key of the JSON, an attribute, a column of the CSV file and one at the bench."""

    @dataclass(frozen=True)
    class More(Stations):
        slenderness_mm: FloatArray = figure(lambda s: s.perimeter**2 / s.area, csv="one", bench=Shown("slender", 9))

    table = More.of(survey(pg.port_from_rows(BORE)))
    assert table.slenderness_mm == pytest.approx(4.0 * np.pi, rel=1e-3)
    assert table.to_rows()[0]["slenderness_mm"] == pytest.approx(4.0 * np.pi, rel=1e-3)
    assert table.to_csv(Display("in"))[0][-1] == "slenderness_in"
    assert table.at_the_bench()[-1] == ("slenderness_mm", Shown("slender", 9))


def test_every_figure_of_a_station_is_in_its_row():
    table = pg.survey(pg.port_from_rows(BORE)).stations
    assert list(table.to_rows()[0]) == [f.name for f in fields(table)]


def test_a_notebook_shows_a_result_as_tables():
    measured = pg.survey(pg.port_from_rows(BORE))
    shown = measured._repr_html_()
    assert shown.count("<table>") == shown.count("</table>") > 2
    assert "<th>volume_cc</th><td>125." in shown
    assert "<th>station_mm</th><th>origin_mm</th>" in shown


def test_the_import_is_light():
    """Nothing heavy is loaded before it is used."""
    code = "import sys, portgeo; sys.exit(any(name in sys.modules for name in ('numpy', 'scipy', 'shapely')))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_examples_of_the_front_door(monkeypatch, pytestconfig):
    monkeypatch.chdir(pytestconfig.rootpath)
    tried = doctest.testmod(portgeo.front)
    assert tried.failed == 0
    assert tried.attempted > 5


def test_the_readmes_example_runs(monkeypatch, pytestconfig):
    monkeypatch.chdir(pytestconfig.rootpath)
    examples = re.findall(r"```python\n(.*?)```", (pytestconfig.rootpath / "README.md").read_text("utf-8"), re.DOTALL)
    assert examples
    for example in examples:
        exec(example, {})
