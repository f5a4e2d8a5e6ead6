"""The wall-speed solution: uniform in a duct, flux kept, the same in any pose and any mirror."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.linalg import cg

from portgeo.core.centreline import Centreline
from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.core.triangles import Triangles
from portgeo.flow.path import join, path_of
from portgeo.flow.wall import size_for, sizing_of, wall_solution
from tests.conftest import elbow_readings

ANGLE = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)


def solution_of(port, unknowns=4000):
    path = path_of(port)
    return wall_solution(path, size_for(sizing_of(path), unknowns))


def as_mesh(port):
    """The port with nothing but its triangles, as its poses and mirror images have."""
    return replace(port, mesh=Triangles(port.vertices, port.faces))


@pytest.fixture(scope="module")
def speeds(port):
    return solution_of(as_mesh(port))


@pytest.fixture(scope="module")
def elbow_speeds(rect_elbow):
    return solution_of(rect_elbow)


def turned(port, seed):
    """The same port in another pose."""
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    q *= np.sign(np.linalg.det(q))
    move = np.array([130.0, -70.0, 40.0])
    spine = port.centreline
    return replace(
        port,
        mesh=Triangles(port.vertices @ q.T + move, port.faces),
        centreline=Centreline(spine.stations, spine.points @ q.T + move, spine.frames @ q.T),
    )


def mirrored(port):
    """The port of the other hand."""
    flip = np.array([1.0, -1.0, 1.0])
    spine = port.centreline
    frames = spine.frames * flip
    frames[:, 1] *= -1.0  # left is up cross flow
    return replace(
        port,
        mesh=Triangles(port.vertices * flip, port.faces[:, ::-1]),
        centreline=Centreline(spine.stations, spine.points * flip, frames),
    )


@settings(max_examples=8, deadline=None)
@given(
    waves=st.lists(st.tuples(st.floats(-0.12, 0.12), st.floats(0.0, 6.28)), min_size=0, max_size=3),
    stretch=st.floats(0.5, 2.0),
)
def test_a_straight_duct_of_any_outline_is_uniform(waves, stretch):
    radius = 16.0 * (1.0 + sum(size * np.cos(k * (ANGLE - at)) for k, (size, at) in enumerate(waves, start=2)))
    outline = np.column_stack([stretch * radius * np.cos(ANGLE), radius * np.sin(ANGLE)])
    rows = tuple(Reading(k + 2, s, shape="outline", outline=outline) for k, s in enumerate((0.0, 70.0)))
    found = solution_of(port_from_readings(rows))
    assert np.abs(found.over_mean - 1.0).max() < 1e-6


def test_the_same_flux_through_every_layer(port):
    found = solution_of(port, 12000)
    assert np.ptp(found.flux) < 1e-6
    assert found.flux == pytest.approx(1.0, abs=1e-6)


def test_pose_changes_nothing(port, speeds):
    assert solution_of(turned(port, 3)).over_mean == pytest.approx(speeds.over_mean, abs=1e-6)


def test_the_other_hand_is_the_mirror_image(port):
    rows = tuple(replace(r, shift=2.0 * np.sin(r.station / 30.0), swing=r.turn / 3.0) for r in port.readings)
    lopsided = as_mesh(port_from_readings(rows))
    one, other = solution_of(lopsided), solution_of(mirrored(lopsided))
    path = path_of(lopsided)
    across = size_for(sizing_of(path), 4000).pattern.across
    count = one.over_mean.shape[1]
    opposite = (across - np.arange(count)) % count
    assert other.over_mean[:, opposite] == pytest.approx(one.over_mean, abs=1e-6)
    assert np.ptp(one.over_mean - one.over_mean[:, opposite]) > 0.05  # and it is no symmetric port


def test_left_and_right_of_a_symmetric_port_are_alike(rect_elbow, elbow_speeds):
    found = elbow_speeds
    across = size_for(sizing_of(path_of(rect_elbow)), 4000).pattern.across
    count = found.over_mean.shape[1]
    opposite = (across - np.arange(count)) % count
    assert found.over_mean[:, opposite] == pytest.approx(found.over_mean, abs=1e-6)


def test_the_same_input_gives_the_same_bytes(rect_elbow, elbow_speeds):
    assert solution_of(rect_elbow).over_mean.tobytes() == elbow_speeds.over_mean.tobytes()


def test_size_does_not_matter(port, speeds):
    """Speed over mean of a port twice as large is the same."""
    spine = port.centreline
    large = replace(
        port,
        mesh=Triangles(port.vertices * 2.0, port.faces),
        centreline=Centreline(spine.stations * 2.0, spine.points * 2.0, spine.frames),
    )
    assert solution_of(large).over_mean == pytest.approx(speeds.over_mean, abs=1e-6)


def test_two_halves_joined_are_the_whole():
    """An elbow cut in the middle of its turn, its two parts joined at the cut."""
    turn, radius = np.radians(75.0), 45.0
    half = radius * turn / 2.0

    def part(legs, turns):
        stations = np.cumsum([0.0, *legs])
        return port_from_readings(
            tuple(
                Reading(k + 2, float(s), height=40.0, width=32.0, corner_roof=8.0, corner_floor=8.0, turn=t)
                for k, (s, t) in enumerate(zip(stations, turns, strict=True))
            )
        )

    whole = part((50.0, 2.0 * half, 40.0), (0.0, 0.0, turn, turn))
    runner, head = part((50.0, half), (0.0, 0.0, turn / 2.0)), part((half, 40.0), (0.0, turn / 2.0, turn / 2.0))
    joined = join(runner, head)
    assert joined.length == pytest.approx(whole.centreline.length)
    size = size_for(sizing_of(joined), 8000)
    same = replace(size, rings=size.rings - joined.first)
    both, one = wall_solution(joined, size), wall_solution(path_of(whole), same)
    assert both.over_mean == pytest.approx(one.over_mean, abs=2e-3)
    assert one.over_mean.max() > 1.5


def test_a_runner_at_an_angle_changes_the_picture():
    """Into a straight head, a runner that turns at the flange brings its own fast side with it."""
    head = port_from_readings(elbow_readings(40.0, 32.0, 6.0, (30.0, 30.0), 1e6, 1e-6))
    turned_runner = port_from_readings(elbow_readings(40.0, 32.0, 6.0, (40.0, 1.0), 50.0, 40.0))
    alone = solution_of(head)
    joined = join(turned_runner, head)
    found = wall_solution(joined, size_for(sizing_of(joined), 8000))
    in_head = found.stations > joined.starts[1] + 1.0
    assert alone.over_mean.max() == pytest.approx(1.0, abs=1e-6)
    assert found.over_mean[in_head].max() > 1.1


def test_the_solvers_steps_grow_slowly_with_the_grid(port, monkeypatch):
    """Multigrid: eight times as many unknowns take eight times the matrix and hardly more steps.

    Times are in scripts/benchmark.py.
    """
    done = []

    def counted(matrix, *args, **named):
        steps = []
        answer = cg(matrix, *args, callback=steps.append, **named)
        done.append((matrix.shape[0], matrix.nnz, len(steps)))
        return answer

    monkeypatch.setattr("portgeo.flow.potential.cg", counted)
    path = path_of(port)
    sizing = sizing_of(path)
    for unknowns in (12_000, 100_000):
        wall_solution(path, size_for(sizing, unknowns))
    more, entries, steps = np.divide(done[1], done[0])
    assert more > 7.0
    assert entries == pytest.approx(more, rel=0.1)
    assert steps < more**0.25
