"""Sections measure what their figures measure."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portgeo.core.errors import GeometryError
from portgeo.core.plane import CHORD_MM, fit_circle, moments
from portgeo.core.section import Reading, Section, measure_section, outline_of


def measured(reading, islands=()):
    return measure_section(Section(outline_of(reading), np.zeros(3), np.eye(3), islands))


@given(
    st.floats(10, 80),
    st.floats(10, 80),
    st.floats(0.01, 0.49),
    st.floats(0.01, 0.49),
)
def test_rounded_rectangle_has_the_handbook_area(height, width, roof, floor):
    """Mensuration: w h - (4 - pi) r^2 for four equal corners; two of each kind here."""
    least = min(height, width)
    m = measured(Reading(2, 0.0, height=height, width=width, corner_roof=roof * least, corner_floor=floor * least))
    exact = height * width - (2.0 - np.pi / 2.0) * least**2 * (roof**2 + floor**2)
    # A chord with sagitta c leaves out a segment of two thirds of c by its length.
    left_out = 2.0 / 3.0 * CHORD_MM * np.pi * least * (roof + floor)
    assert exact - 1.01 * left_out <= m.area <= exact + 1e-9
    assert m.greatest_height == pytest.approx(height)
    assert m.greatest_width == pytest.approx(width)


@given(st.floats(0.5, 14.0), st.floats(0.5, 14.0))
def test_corner_radii_are_found(roof, floor):
    m = measured(Reading(2, 0.0, height=40.0, width=30.0, corner_roof=roof, corner_floor=floor))
    assert m.corner_radii == pytest.approx([roof, roof, floor, floor], rel=0.01, abs=0.01)


def test_a_sharp_corner_has_no_radius():
    assert measured(Reading(2, 0.0, height=40.0, width=30.0)).corner_radii == pytest.approx(np.zeros(4))


def test_a_circle_has_its_own_moments_and_hydraulic_diameter():
    """Mensuration: second moment pi d^4 / 64; hydraulic diameter of a circle is its diameter."""
    m = measured(Reading(2, 0.0, shape="round", height=38.0, width=38.0))
    assert m.hydraulic_diameter == pytest.approx(38.0, rel=2e-4)
    assert m.second_moments == pytest.approx(np.eye(2) * np.pi * 38.0**4 / 64.0, rel=5e-4, abs=1e-3)
    assert m.corner_radii == pytest.approx(np.full(4, 19.0), rel=1e-3)
    assert (m.height, m.width) == pytest.approx((38.0, 38.0), rel=1e-4)


def test_an_island_is_taken_off_the_area_and_wets_the_stream():
    boss = outline_of(Reading(2, 0.0, shape="round", height=8.0, width=8.0))[::-1] + np.array([3.0, 5.0])
    whole = measured(Reading(2, 0.0, height=40.0, width=30.0))
    less = measured(Reading(2, 0.0, height=40.0, width=30.0), islands=(boss,))
    assert whole.area - less.area == pytest.approx(np.pi * 16.0, rel=1e-3)
    assert less.perimeter - whole.perimeter == pytest.approx(np.pi * 8.0, rel=1e-3)
    assert less.centroid == pytest.approx(-np.pi * 16.0 * np.array([3.0, 5.0]) / less.area, rel=1e-3)


def test_height_is_read_across_the_centroid_and_at_its_greatest():
    """A triangle standing on its base: height across the centroid is whole, width is two thirds of the base."""
    triangle = np.array([[-15.0, 0.0], [15.0, 0.0], [0.0, 30.0]])
    m = measure_section(Section(triangle, np.zeros(3), np.eye(3)))
    assert (m.height, m.width) == pytest.approx((30.0, 20.0))
    assert m.greatest_width == pytest.approx(30.0)


def test_corners_that_do_not_fit_are_refused_with_their_row():
    with pytest.raises(GeometryError, match="row 7, corner radius"):
        outline_of(Reading(7, 0.0, height=40.0, width=30.0, corner_roof=16.0))


def test_a_trace_is_centred_and_turned_the_right_way_round():
    square = np.array([[10.0, 10.0], [10.0, 30.0], [40.0, 30.0], [40.0, 10.0]])
    outline = outline_of(Reading(2, 0.0, shape="outline", outline=square))
    assert moments(outline).area == pytest.approx(600.0)
    assert outline.min(axis=0) == pytest.approx([-15.0, -10.0])


@given(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3), st.floats(1.0, 100.0))
def test_points_on_a_circle_give_that_circle(x, y, radius):
    angle = np.linspace(0.0, 1.0, 9)
    points = np.array([x, y]) + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    fit = fit_circle(points)
    assert fit.radius == pytest.approx(radius, rel=1e-6)
    assert fit.centre == pytest.approx([x, y], abs=1e-5 * radius)


def test_points_on_a_line_have_no_circle():
    assert fit_circle(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [5.0, 5.0]])).radius == np.inf
