"""A loft passes through its sections, does not overshoot and makes a sound mesh or none."""

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from portgeo.core.errors import GeometryError
from portgeo.core.loft import loft
from portgeo.core.plane import moments
from portgeo.core.port import port_from_readings, sections_at
from portgeo.core.section import Reading, outline_of
from portgeo.core.surface import outlines_at, surface_from_readings
from portgeo.core.triangles import pairs_meet
from tests.conftest import elbow_readings, port_readings


def areas(surface, stations):
    return np.array([moments(o).area for o in outlines_at(surface, np.asarray(stations, float))])


def rect(row, station, height, width, corner=0.0, **more):
    return Reading(row, station, height=height, width=width, corner_roof=corner, corner_floor=corner, **more)


def sound(vertices, faces):
    """Whether a mesh is closed, manifold, wound outward and one piece, by a general library."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    return mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0 and mesh.euler_number == 2


def cuts_itself(vertices, faces):
    """Whether two faces that share no vertex meet: all pairs whose boxes touch are tried."""
    corners = vertices[faces]
    low, high = corners.min(axis=1), corners.max(axis=1)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    a, b = shapely.STRtree(boxes).query(boxes)
    keep = (a < b) & (low[a, 2] <= high[b, 2]) & (low[b, 2] <= high[a, 2])
    a, b = a[keep], b[keep]
    apart = ~(faces[a][:, :, None] == faces[b][:, None, :]).any(axis=(1, 2))
    return bool(pairs_meet(corners[a[apart]], corners[b[apart]]).any())


def test_the_mesh_passes_through_every_measured_section(port):
    found = sections_at(port, port.rows)
    for section, reading in zip(found, port_readings(), strict=True):
        ours, measured = shapely.Polygon(section.outline), shapely.Polygon(outline_of(reading))
        moved = shapely.affinity.translate(ours, *(np.array(measured.centroid.coords[0]) - ours.centroid.coords[0]))
        assert moved.area == pytest.approx(measured.area, rel=2e-4)
        assert shapely.hausdorff_distance(moved, measured) < 0.005


def test_area_stays_equal_between_equal_sections():
    readings = [rect(2, 0, 50, 30, 6), rect(3, 30, 44, 30, 6), rect(4, 60, 44, 30, 6), rect(5, 90, 40, 28, 8)]
    between = areas(surface_from_readings(readings), np.linspace(30, 60, 31))
    assert between == pytest.approx(np.full(31, between[0]), rel=1e-9)


def test_area_stays_between_those_of_unequal_sections():
    """50 x 40 to 40 x 50: a plain blend would swell by 1.25 % half way."""
    readings = [rect(2, 0, 50, 40), rect(3, 30, 40, 50), Reading(4, 60, shape="round", height=48, width=48)]
    surface = surface_from_readings(readings)
    at_rows = areas(surface, [0, 30, 60])
    first, second = areas(surface, np.linspace(0, 30, 41)), areas(surface, np.linspace(30, 60, 41))
    assert first == pytest.approx(np.full(41, 2000.0), rel=1e-9)
    assert second.min() >= at_rows[2] * (1 - 1e-9)
    assert second.max() <= at_rows[1] * (1 + 1e-9)


def test_sharp_corners_stay_corners_whatever_the_proportions():
    surface = surface_from_readings([rect(2, 0, 30, 60), rect(3, 40, 60, 30)])
    for outline in outlines_at(surface, np.linspace(0, 40, 9)):
        box = np.ptp(outline, axis=0)
        assert moments(outline).area == pytest.approx(box[0] * box[1], rel=1e-9)


def test_a_roof_point_stays_on_the_roof_and_nothing_twists():
    readings = [
        rect(2, 0, 50, 30, 6),
        Reading(3, 40, shape="round", height=40, width=40),
        rect(4, 80, 30, 50, 3),
    ]
    surface = surface_from_readings(readings)
    for outline in outlines_at(surface, np.linspace(0, 80, 33)):
        top = outline[0]
        assert top[0] == pytest.approx(0.0, abs=1e-6)
        assert top[1] == pytest.approx(outline[:, 1].max(), abs=1e-6)


def test_rings_are_as_close_as_the_chord_error_asks():
    surface = surface_from_readings(elbow_readings(44.0, 32.0, 9.0, (58.0, 22.0), 40.0, 75.0))
    for chord in (0.02, 0.005):
        made = loft(surface, chord)
        step = np.diff(made.stations[(made.stations >= 58.0) & (made.stations <= 58.0 + 40.0 * np.radians(75))])
        sagitta = 62.0 * (1.0 - np.cos(step.max() / 40.0 / 2.0))
        assert chord / 4.5 < sagitta < chord


def test_stations_set_how_finely_it_is_sampled():
    readings = port_readings()
    coarse = port_from_readings(readings, stations=np.linspace(0, 108, 12))
    fine = port_from_readings(readings, stations=np.linspace(0, 108, 120))
    assert len(coarse.faces) < len(fine.faces) / 4
    assert sound(coarse.vertices, coarse.faces)


def test_a_turn_too_tight_for_its_height_is_refused_by_its_rows():
    readings = [
        rect(2, 0, 50, 30),
        rect(3, 20, 50, 30),
        rect(4, 30, 50, 30, turn=1.0),
        rect(5, 50, 50, 30, turn=1.0),
    ]
    with pytest.raises(GeometryError, match=r"rows 3 and 4.*overlap"):
        port_from_readings(readings)


def test_a_port_that_runs_into_itself_is_refused():
    turns = np.radians([0, 0, 90, 180, 270, 270])
    stations = np.cumsum([0, 80, 40 * np.pi / 2, 40 * np.pi / 2, 40 * np.pi / 2, 80])
    readings = [rect(k + 2, s, 30, 30, 5, turn=t) for k, (s, t) in enumerate(zip(stations, turns, strict=True))]
    with pytest.raises(GeometryError, match="runs into itself"):
        port_from_readings(readings)


@st.composite
def outlines(draw):
    """A traced outline round its middle: a wavy oval."""
    count = draw(st.integers(8, 40))
    angle = np.arange(count) * 2.0 * np.pi / count
    height, width = draw(st.floats(12, 60)), draw(st.floats(12, 60))
    waves = [1.0 + draw(st.floats(-0.12, 0.12)) * np.cos(k * angle + draw(st.floats(0, 6))) for k in (2, 3, 5)]
    return np.prod(waves, axis=0)[:, None] * np.column_stack([np.cos(angle) * width, np.sin(angle) * height]) / 2.0


@st.composite
def sheets(draw):
    """Rows as a person might write them: some make a port and some do not."""
    count = draw(st.integers(2, 6))
    station = turn = swing = 0.0
    rows = []
    for k in range(count):
        shape = draw(st.sampled_from(["rect", "rect", "round", "oval", "outline"]))
        height = draw(st.floats(12, 60))
        width = height if shape == "round" else draw(st.floats(12, 60))
        outline = draw(outlines()) if shape == "outline" else None
        if outline is not None:
            width, height = np.ptp(outline, axis=0)
        room = min(height, width) / 2.0
        rows.append(
            Reading(
                row=k + 2,
                station=station,
                shape=shape,
                height=float(height),
                width=float(width),
                corner_roof=draw(st.sampled_from([0.0, 0.3, 1.0])) * room if shape == "rect" else 0.0,
                corner_floor=draw(st.sampled_from([0.0, 0.4, 0.9])) * room if shape == "rect" else 0.0,
                outline=outline,
                turn=turn,
                swing=swing,
                rise=draw(st.floats(-4, 4)),
                shift=draw(st.floats(-4, 4)),
            )
        )
        station += draw(st.floats(4, 50))
        turn += draw(st.floats(-0.3, 0.7))
        swing += draw(st.floats(-0.2, 0.2))
    return rows


CALM = settings(
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@settings(CALM, max_examples=60)
@given(sheets())
def test_every_sheet_makes_a_sound_mesh_or_is_refused_with_a_reason(readings):
    sound_or_refused(readings)


@pytest.mark.nightly
@settings(CALM, max_examples=300, derandomize=False, print_blob=True)
@given(sheets())
def test_every_sheet_many_times(readings):
    sound_or_refused(readings)


def sound_or_refused(readings):
    try:
        surface = surface_from_readings(readings, 0.05)
        made = loft(surface, 0.2)
    except GeometryError as refusal:
        assert "row" in str(refusal)
        return
    assert sound(made.vertices, made.faces)
    assert not cuts_itself(made.vertices, made.faces)
    single = np.unique(made.vertices.astype(np.float32), axis=0)
    assert len(single) == len(made.vertices)  # nothing merges in a single-precision file
