"""A sheet typed reading by reading: its quick figures are those of a fine mesh, cut by the general slicer."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

import portgeo as pg
from portgeo.core.correspond import stretches_of
from portgeo.core.loft import CHORD_ERROR_MM
from portgeo.core.port import Port, port_from_readings, sections_at
from portgeo.core.section import Reading
from portgeo.core.skin import folds
from portgeo.core.triangles import Triangles, face_areas, volume
from portgeo.measuring import survey

ROWS = 20
EDITS = 5
FINE_MM = 0.0005  # of the mesh that the general slicer cuts: a tenth of the usual one's chord error
READ = ("height", "width", "corner_roof", "corner_floor", "turn", "rise", "shift")


def typed_sheet() -> list[Reading]:
    """Return twenty rows: rectangles with corners of their own that turn, narrow and end round."""
    s = np.linspace(0.0, 1.0, ROWS)
    rows = [
        Reading(
            k + 2,
            96.0 * t,
            height=50.0 - 12.0 * t,
            width=29.0 + 5.0 * t * t,
            corner_roof=5.0 + 8.0 * t,
            corner_floor=5.0 + 7.0 * t,
            turn=np.radians(75.0) * float(np.clip((t - 0.4) / 0.45, 0.0, 1.0)),
            rise=0.3 * np.sin(5.0 * t),
            shift=0.1 * np.cos(4.0 * t),
        )
        for k, t in enumerate(s)
    ]
    return [*rows[:-1], replace(rows[-1], shape="round", height=37.0, width=37.0, corner_roof=0.0, corner_floor=0.0)]


def edited(rows: list[Reading], draw: np.random.Generator) -> list[Reading]:
    """Return the rows with one reading of one of them typed anew."""
    k, name = int(draw.integers(1, len(rows) - 1)), READ[draw.integers(len(READ))]
    by = np.radians(2.0) if name == "turn" else 0.8
    anew = replace(rows[k], **{name: getattr(rows[k], name) + by * float(draw.uniform(-1.0, 1.0))})
    return [*rows[:k], anew, *rows[k + 1 :]]


def as_mesh(port: Port) -> Port:
    """Return the port with nothing but its triangles, which the general slicer then cuts."""
    return replace(port, mesh=Triangles(port.vertices, port.faces))


def test_figures_after_each_typed_reading_are_those_of_a_fine_mesh():
    draw = np.random.default_rng(7)
    rows = typed_sheet()
    survey(port_from_readings(rows), readings_tried=False)
    for _ in range(EDITS):
        rows = edited(rows, draw)
        port = port_from_readings(rows)
        fine = as_mesh(port_from_readings(rows, chord_error=FINE_MM))
        quick, whole = survey(port, readings_tried=False), survey(fine, readings_tried=False)
        assert quick.volume == pytest.approx(volume(port.vertices, port.faces), rel=1e-9)
        assert quick.volume == pytest.approx(whole.volume, rel=5e-5)
        assert quick.wetted_area == pytest.approx(whole.wetted_area, rel=5e-5)
        assert quick.area == pytest.approx(whole.area, rel=1e-6)
        assert quick.least_area == pytest.approx(whole.least_area, rel=1e-6)
        assert quick.throat.area == pytest.approx(whole.throat.area, rel=1e-6)
        assert quick.height == pytest.approx(whole.height, rel=1e-6)
        assert quick.width == pytest.approx(whole.width, rel=1e-6)
        assert len(quick.bends) == len(whole.bends) > 0
        for one, other in zip(quick.bends, whole.bends, strict=True):
            # The part that is bent begins and ends at one of 400 points: the next one moves a radius by so much.
            assert one.short.radius == pytest.approx(other.short.radius, rel=1e-3)
            assert one.short.least_radius == pytest.approx(other.short.least_radius, rel=1e-3)
            assert one.plane.turn == pytest.approx(other.plane.turn, rel=1e-9)


def test_what_was_kept_of_earlier_rows_changes_nothing():
    draw = np.random.default_rng(3)
    rows = typed_sheet()
    for _ in range(3):
        rows = edited(rows, draw)
        kept = port_from_readings(rows)
    stretches_of.cache_clear()
    anew = port_from_readings(rows)
    assert np.array_equal(kept.vertices, anew.vertices)
    assert np.array_equal(kept.faces, anew.faces)


def test_the_mesh_is_made_only_when_asked_for():
    port = port_from_readings(typed_sheet())
    survey(port, readings_tried=False)
    assert "_mesh" not in vars(port.mesh)
    assert port.mesh.face_count == len(port.faces)
    assert "_mesh" in vars(port.mesh)


@pytest.mark.parametrize("corner", [0.0, 6.0])
def test_rings_tell_what_their_mesh_has(corner):
    """Sharp corners too: there the rings' points lie on one another."""
    rows = [replace(r, corner_roof=corner, corner_floor=corner) for r in typed_sheet()[::4]]
    port = port_from_readings([*rows[:-1], replace(rows[-1], corner_roof=12.0, corner_floor=12.0)])
    mesh = port.mesh
    assert mesh.volume == pytest.approx(volume(port.vertices, port.faces), rel=1e-7)
    assert mesh.area == pytest.approx(face_areas(port.vertices, port.faces).sum(), rel=1e-6)
    assert mesh.face_count == len(port.faces)
    stations = np.sort(np.concatenate([port.rows, np.random.default_rng(0).uniform(*port.rows[[0, -1]], 40)]))
    girth = max(measures.perimeter for measures in survey(port, readings_tried=False).measures)
    for one, other in zip(sections_at(port, stations), sections_at(as_mesh(port), stations), strict=True):
        own, general = (shapely.Polygon(section.outline).area for section in (one, other))
        assert own == pytest.approx(general, abs=CHORD_ERROR_MM * girth)


def test_a_strip_that_folds_is_told_as_all_faces_tell_it():
    """The quick rule for what cannot fold must let no fold pass."""
    draw = np.random.default_rng(11)
    port = port_from_readings(typed_sheet()[::4])
    rings, told = port.mesh, 0
    for _ in range(4):
        space = np.array(rings.space)
        ring, place = int(draw.integers(1, len(space) - 1)), int(draw.integers(space.shape[1]))
        beside = np.arange(place, place + 6) % space.shape[1]
        space[ring, beside] = space[ring, beside[::-1]]
        tried = replace(rings, coordinates=space.swapaxes(1, 2))
        assert np.array_equal(tried.folds, folds(space))
        told += int(tried.folds.any())
    assert told > 0


def test_without_its_uncertainty_a_survey_says_so(pytestconfig):
    port = pg.read(pytestconfig.rootpath / "meshes" / "demo-as-cast.csv")
    quick, whole = pg.survey(port, sure=False).to_dict(), pg.survey(port).to_dict()
    assert quick["volume_cc"] == whole["volume_cc"]
    assert quick["volume_u_cc"] is None and quick["least_area"]["area_u_mm2"] is None
    assert quick["short_side"]["radius_u_mm"] is None and quick["short_side"]["headline"]["u_mm"] is None
    assert {row["area_u_mm2"] for row in quick["stations"]} == {None}
    assert [row["area_mm2"] for row in quick["stations"]] == [row["area_mm2"] for row in whole["stations"]]
    assert whole["volume_u_cc"] > 0.0
