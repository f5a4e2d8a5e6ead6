"""The library's front door: what a notebook gets, and that it is what the command line writes."""

import doctest
import inspect
import json
import re
import subprocess
import sys
from dataclasses import dataclass, fields
from importlib import import_module
from typing import get_args, get_type_hints

import numpy as np
import pypdfium2
import pytest

import portgeo as pg
from portgeo.app import cli
from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.measuring import survey
from portgeo.present.page import contents
from portgeo.present.page.page import write_page
from portgeo.present.paper import customer
from portgeo.present.text.bench import survey_text
from portgeo.results.balanced import Balanced
from portgeo.results.figures import Result, figure
from portgeo.results.measured import Measured, Stations
from portgeo.results.planned import Planned

BORE = [{"station": s, "shape": "round", "diameter": 40.0} for s in (0.0, 60.0, 100.0)]
SHORT = [{**row, "station": 0.3 * row["station"]} for row in BORE]


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


def test_a_measure_is_declared_once(monkeypatch):
    """One line each declares a measure of stations and one of the port: every surface has them then."""

    @dataclass(frozen=True)
    class MoreStations(Stations):
        slenderness_mm: FloatArray = figure(lambda s: s.perimeter**2 / s.area, "Slender", csv=True, bench=9, page=True)

    @dataclass(frozen=True)
    class MoreMeasured(Measured):
        stations: MoreStations = figure(lambda s, valve: MoreStations.of(s))
        girth_mm: float = figure(lambda s, valve: s.perimeter.mean(), "Girth", page=True, customer="The port’s girth")
        girth_u_mm: float = figure(lambda s, valve: 0.25, "±", page=True)

    found = MoreMeasured.of(survey(pg.port_from_rows(BORE)), None)
    slender = 4.0 * np.pi
    # The library and the JSON.
    assert found.stations.slenderness_mm == pytest.approx(slender, rel=1e-3)
    record = found.to_dict()
    assert record["stations"][0]["slenderness_mm"] == pytest.approx(slender, rel=1e-3)
    assert record["girth_mm"] == pytest.approx(40.0 * np.pi, rel=1e-3)
    assert "<th>girth_mm</th>" in found._repr_html_()
    # The CSV file, in the user's unit.
    head, rows = found.stations.to_csv(Display("in"))
    assert head[-1] == "slenderness_in" and rows[0][-1] == pytest.approx(slender / 25.4, rel=1e-3)
    # The bench's table.
    table = survey_text(found, "bore").splitlines()
    column = next(line for line in table if line.split()[:1] == ["station"])
    assert column.split()[-1] == "slender" and f"{slender:.2f}" in table[table.index(column) + 2]
    # The page's tables and the files that are made of them.
    monkeypatch.setattr(contents, "Stations", MoreStations)
    monkeypatch.setattr(contents, "Measured", MoreMeasured)
    results = {
        "title": "bore", "portgeo": "0", "engine": None, "customer": None, "units": "mm", "source": [],
        "states": [{"name": "today", "port": record, "airspeed": None}], "skipped": [], "files": {}, "warnings": [],
        **{key: [] for key in ("compare", "match")},
        **{key: None for key in ("bench", "plan", "reach", "balance", "demand")},
    }  # fmt: skip
    page = write_page(results, (), Display("mm"))
    assert "Slender" in page and "Girth" in page and f"{40.0 * np.pi:.2f}" in page and "0.50" in page
    keys = {name: keys for name, keys, _ in contents.results_tables(results, Display("in"))}
    assert keys["schedule-port-today"][-1] == "slenderness_in"
    assert keys["states"][-2:] == ["girth_in", "girth_doubt_in"]
    # The customer's pages.
    monkeypatch.setattr(customer, "Measured", MoreMeasured)
    first = pypdfium2.PdfDocument(customer.customer_pages(results, (), Display("mm")))[0]
    assert "port’s girth is 125.6" in first.get_textpage().get_text_range()


def test_every_figure_of_a_station_is_in_its_row():
    table = pg.survey(pg.port_from_rows(BORE)).stations
    assert list(table.to_rows()[0]) == [f.name for f in fields(table)]


def test_a_notebook_shows_a_result_as_tables():
    measured = pg.survey(pg.port_from_rows(BORE))
    shown = measured._repr_html_()
    assert shown.count("<table>") == shown.count("</table>") > 2
    assert "<th>volume_cc</th><td>125." in shown
    assert "<th>station_mm</th><th>origin_mm</th>" in shown


def test_a_plan_from_plain_wants_is_that_of_a_targets_file(tmp_path):
    """A bore of 40 mm opened to one area at a station: by keyword, by mapping and by file it is one cut."""
    port = pg.port_from_rows(SHORT)
    by_keyword = pg.plan(port, areas={15.0: 1300.0}, greatest_depth_mm=1.5)
    wanted = {"units": "mm", "area": [{"station": np.float64(15.0), "area": 1300}], "greatest_depth": 1.5}
    path = tmp_path / "wanted.toml"
    path.write_text('units = "mm"\ngreatest_depth = 1.5\n[[area]]\nstation = 15.0\narea = 1300\n')
    for same in (pg.plan(port, wanted), pg.plan(port, path)):
        assert same.to_dict() | {"target": None} == by_keyword.to_dict() | {"target": None}
    assert pg.survey(by_keyword.port).volume_cc == pytest.approx(by_keyword.volume_after_cc, rel=1e-3)
    assert np.pi * 400.0 == pytest.approx(by_keyword.areas[0].before_mm2, rel=1e-3)
    assert by_keyword.areas[0].after_mm2 == pytest.approx(1300.0, rel=1e-3)
    # The cut is round: as deep everywhere as the two circles differ in radius.
    assert by_keyword.deepest.depth_mm == pytest.approx(np.sqrt(1300.0 / np.pi) - 20.0, abs=0.02)
    assert "<th>removed_cc</th>" in by_keyword._repr_html_()
    # Cut all round nothing fixed is left to line it up by; a plan's port lies where it was planned.
    done = pg.check(by_keyword, by_keyword.port)
    assert done.left_cc == pytest.approx(0.0, abs=0.002) and not done.too_deep
    taken = pg.compare(port, by_keyword.port)
    assert taken.alignment.method == "none" and taken.removed_cc == pytest.approx(by_keyword.removed_cc, rel=0.01)


@pytest.mark.parametrize(
    ("wants", "told"),
    [
        ({}, "the target asks for nothing"),
        ({"areas": {500.0: 1300.0}}, r"area\] station: station 500.00 mm is outside the port"),
        ({"areas": {60.0: "large"}}, r"area\] area: 'large' is not a number"),
        ({"tapers": [(80.0, 20.0, 1300.0, 1400.0)]}, "the taper ends before it begins"),
        ({"short_side_radius_mm": -1.0}, "short_side"),
    ],
)
def test_a_want_that_cannot_be_is_refused_by_its_name(wants, told):
    with pytest.raises(InputError, match=told):
        pg.plan(pg.port_from_rows(BORE), **wants)


def test_what_the_commands_write_is_what_the_library_gives(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, size in (("bore", 40.0), ("large", 41.0)):
        rows = [f"{row['station']},round,{size},{'throat' * (row is SHORT[-1])}" for row in SHORT]
        (tmp_path / f"{name}.csv").write_text("\n".join(["station_mm,shape,diameter_mm,mark", *rows]))
    (tmp_path / "t.toml").write_text('units = "mm"\n[[area]]\nstation = 15.0\narea = 1300\n')
    (tmp_path / "runs.csv").write_text("state,lift_mm,flow_cfm,depression_in_h2o\nbore,8,90,28\nbore,9,100,28\n")
    bore, large = (pg.read(f"{name}.csv") for name in ("bore", "large"))
    plan, air = pg.plan(bore, "t.toml"), pg.air_speed(bore, 100.0, unknowns=2000)
    for words, given in (
        ("measure bore.csv", pg.survey(bore).to_dict()),
        ("compare bore.csv large.csv", pg.compare(bore, large).to_dict()),
        ("compare --set bore.csv large.csv", pg.balance([bore, large]).to_dict()),
        ("match bore.csv large.csv", pg.match(bore, large).to_dict()),
        ("reshape bore.csv t.toml", plan.to_dict()),
        ("reshape bore.csv t.toml --check large.csv", pg.check(plan, large).to_dict()),
        ("reach bore.csv", pg.reach(bore).to_dict()),
        ("airspeed bore.csv --cfm 100 --points 2000", air.to_dict()),
        ("airspeed --bench runs.csv", pg.bench("runs.csv").to_dict()),
        ("templates bore.csv --at 15 --out g.pdf", pg.gauges(bore, [15.0]).to_dict()),
    ):
        assert cli.main([*words.split(), "--json", "made.json", "-q", "--force"]) == 0
        written = json.loads((tmp_path / "made.json").read_text("utf-8"))
        assert {key: written[key] for key in given} == given, words


def test_the_import_is_light():
    """Nothing heavy is loaded before it is used."""
    code = "import sys, portgeo; sys.exit(any(name in sys.modules for name in ('numpy', 'scipy', 'shapely')))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


FRONT = [
    import_module(f"portgeo.front.{name}")
    for name in ("air", "calming", "cuts", "losing", "photos", "ports", "probing", "states")
]


def test_the_front_door_names_what_is_in_its_rooms():
    for name in pg.__all__:
        offered = getattr(pg, name)
        assert isinstance(offered, type) or offered.__module__ in {module.__name__ for module in FRONT}
        assert offered.__name__ == name
    assert [name for name in dir(pg) if not name.startswith("__")] == sorted(pg.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'anything'"):
        pg.anything  # noqa: B018


@pytest.mark.parametrize("module", FRONT, ids=lambda module: module.__name__.rpartition(".")[2])
def test_examples_of_the_front_door(module, monkeypatch, pytestconfig):
    monkeypatch.chdir(pytestconfig.rootpath)
    tried = doctest.testmod(module)
    assert tried.failed == 0
    assert tried.attempted >= 4


def results_of(kind, found):
    """Every result class that a type leads to, by the types of its fields."""
    for part in (kind, *get_args(kind)):
        if isinstance(part, type) and issubclass(part, Result) and part not in found:
            found.add(part)
            for hint in get_type_hints(part).values():
                results_of(hint, found)
        elif part is not kind:
            results_of(part, found)
    return found


def test_all_that_is_public_is_documented():
    """Each function: purpose, parameters, an example, what it refuses; each class that it gives, with its methods."""
    classes: set[type] = {Port}
    offered = [getattr(pg, name) for name in pg.__all__]
    for name, function in zip(pg.__all__, offered, strict=True):
        if not inspect.isfunction(function):
            continue
        text, given = inspect.getdoc(function), inspect.signature(function).parameters
        sections = ("Parameters", "Examples") if name == "beside" else ("Parameters", "Raises", "Examples")
        assert all(f"\n{title}\n{'-' * len(title)}\n" in text for title in sections), name
        told = text.partition("Parameters")[2].partition("Examples")[0]
        assert [key for key in given if not re.search(rf"^[^:]*\b{key}\b[^:]*:|^{key}, ", told, re.M)] == [], name
        results_of(get_type_hints(function)["return"], classes)
    assert {Measured, Stations, Planned, Balanced} < classes and len(classes) > 40
    # What a function gives has its name on the front door.
    gives = [get_type_hints(function)["return"] for function in offered if inspect.isfunction(function)]
    given = {part for hint in gives for part in (hint, *get_args(hint)) if isinstance(part, type)}
    assert given - {type(None)} <= set(offered)
    classes |= {kind for kind in offered if isinstance(kind, type)}
    bare = [kind.__qualname__ for kind in classes if not kind.__doc__ or kind.__doc__.startswith(f"{kind.__name__}(")]
    for kind in classes:
        for name, member in vars(kind).items():
            if not name.startswith("_") and (inspect.isfunction(member) or isinstance(member, property | classmethod)):
                bare += [] if inspect.getdoc(member) else [f"{kind.__qualname__}.{name}"]
    assert bare == []


def test_what_a_result_holds_is_a_figure_or_is_named_as_inside():
    """A hidden field is there for what presents the result; it is in neither JSON nor notebook."""
    measured = pg.survey(pg.port_from_rows(BORE))
    assert "computed" not in measured.to_dict() and "computed" not in measured._repr_html_()
    assert measured.volume_cc == pytest.approx(measured.computed.volume / 1000.0)


def test_ports_and_results_show_themselves_in_a_line(pytestconfig):
    port = pg.port_from_rows(BORE)
    assert repr(port) == "Port(readings, 100.0 mm, 3 rows)"
    assert repr(pg.read_split(pytestconfig.rootpath / "meshes/demo-two-valves.csv")).endswith(", trunk, left, right)")
    assert repr(port.section_at(50.0)).startswith("Section(")
    measured = pg.survey(port)
    assert repr(measured).startswith("Measured(volume_cc=125.6")
    assert repr(measured.stations).startswith(f"Stations({len(measured.stations)} rows of station_mm, ")
    assert repr(measured.least_area).startswith("LeastArea(area_mm2=125")
    for shown in (port, port.section_at(50.0), measured, measured.stations, measured.least_area):
        assert len(repr(shown)) < 400 and "\n" not in repr(shown)


def test_results_are_equal_by_their_figures_and_cannot_be_written_to():
    port = pg.port_from_rows(BORE)
    measured, same = pg.survey(port), pg.survey(pg.port_from_rows(BORE))
    assert measured == same and hash(measured) == hash(same)
    assert measured != pg.survey(pg.port_from_rows(SHORT))
    assert pg.survey(port, sure=False) == pg.survey(port, sure=False)  # nan for a ± that is not worked out
    with pytest.raises(ValueError, match="read-only"):
        measured.stations.area_mm2[0] = 1.0


def test_ports_are_told_apart_without_comparing_arrays():
    one, other = pg.port_from_rows(BORE), pg.port_from_rows(BORE)
    assert one == one and one != other and len({one, other, one}) == 2
