"""A centreline is exact on its arcs and its frames do not twist."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad_vec

from portgeo.core.centreline import at, crossings, heading, through
from portgeo.core.errors import GeometryError


def test_a_straight_run_a_turn_and_a_straight_run_come_out_exact():
    """The end of a quarter circle of radius R is R ahead and R down."""
    stations = [0.0, 30.0, 30.0 + 25.0 * np.pi, 30.0 + 25.0 * np.pi + 10.0]
    turns = np.radians([0.0, 0.0, 90.0, 90.0])
    spine = through(stations, np.array([heading(t, 0.0) for t in turns]))
    assert spine.points[2] == pytest.approx([80.0, 0.0, -50.0])
    assert spine.points[3] == pytest.approx([80.0, 0.0, -60.0])


angles = st.floats(-1.2, 1.2)


@given(angles, angles, angles, angles)
def test_points_are_the_integral_of_the_heading(turn_a, swing_a, turn_b, swing_b):
    spine = through([0.0, 40.0], np.array([heading(turn_a, swing_a), heading(turn_b, swing_b)]))
    exact, _ = quad_vec(lambda s: at(spine, np.array([s]))[1][0, 0], 0.0, 40.0)
    assert spine.points[-1] == pytest.approx(exact, abs=1e-8)


@given(angles, angles, angles, angles)
def test_frames_turn_with_the_heading_and_not_about_it(turn_a, swing_a, turn_b, swing_b):
    spine = through([0.0, 40.0], np.array([heading(turn_a, swing_a), heading(turn_b, swing_b)]))
    s = np.linspace(0.0, 40.0, 2001)
    _, frames = at(spine, s)
    assert np.abs(np.einsum("kij,klj->kil", frames, frames) - np.eye(3)).max() < 1e-9
    twist = np.einsum("ij,ij->i", np.diff(frames[:, 1], axis=0), frames[:-1, 2])
    assert np.abs(twist).max() < 1e-6


@given(st.tuples(st.floats(20, 60), st.floats(-15, 15), st.floats(-30, 5)), angles, angles)
def test_given_places_are_passed_through_with_their_headings(place, turn, swing):
    ends = np.array([heading(0.0, 0.0), heading(turn, swing)])
    spine = through([0.0, 1.0], ends, [np.zeros(3), np.array(place)])
    points, frames = at(spine, spine.stations[[0, -1]])
    assert points == pytest.approx(np.array([np.zeros(3), place]), abs=1e-8)
    assert frames[:, 0] == pytest.approx(ends, abs=1e-8)
    middle = at(spine, spine.stations[1] + np.array([-1e-6, 1e-6]))[1]
    assert middle[0, 0] == pytest.approx(middle[1, 0], abs=1e-5)


def test_turn_and_swing_mean_the_same_in_either_order():
    """Headings mirrored in the vertical plane differ in the sign of their sideways part only."""
    a, b = heading(0.7, 0.4), heading(0.7, -0.4)
    assert a * np.array([1, -1, 1]) == pytest.approx(b)
    assert heading(0.4, 0.7)[[0, 2, 1]] == pytest.approx(heading(0.7, 0.4))


def test_planes_cross_where_the_radius_is_less_than_the_half_height():
    ring = np.array([[0.0, -1.0, -1.0], [0.0, 1.0, -1.0], [0.0, 1.0, 1.0], [0.0, -1.0, 1.0]])
    for radius, crosses in ((25.0, False), (15.0, True)):
        spine = through([0.0, radius * 0.3], np.array([heading(0.0, 0.0), heading(0.3, 0.0)]))
        rings = [p + (20.0 * ring[:, 1:]) @ f[1:] for p, f in zip(spine.points, spine.frames, strict=True)]
        assert crossings(spine.points, spine.frames, rings).tolist() == [crosses]


@pytest.mark.parametrize("place", [(-10.0, 0.0, 0.0), (0.0, 0.0, 0.0)])
def test_a_place_behind_or_on_the_last_is_refused(place):
    ahead = np.tile([1.0, 0.0, 0.0], (2, 1))
    with pytest.raises(GeometryError, match="measured section 2 from the entry: its place"):
        through([0.0, 10.0], ahead, [None, np.array(place)])
