"""Hexahedra swept through sections: none turned inside out, whatever the outline."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portgeo.core.errors import GeometryError
from portgeo.core.plane import moments
from portgeo.core.section import Reading, Section, outline_of
from portgeo.flow.grid import hexahedra, least_jacobians, pattern, sweep, wall_nodes

ANGLE = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)


def polar(radius):
    return np.column_stack([radius * np.cos(ANGLE), radius * np.sin(ANGLE)])


def row_of(outline, turns=(0.0, 0.15, 0.3), gap=8.0):
    """Sections of one outline along a gentle bend."""
    sections = []
    place = np.zeros(3)
    for turn in turns:
        flow = np.array([np.cos(turn), 0.0, -np.sin(turn)])
        up = np.array([np.sin(turn), 0.0, np.cos(turn)])
        sections.append(Section(outline, place.copy(), np.array([flow, np.cross(up, flow), up])))
        place = place + gap * flow
    return sections


def volume_of(grid):
    """Sum of the hexahedra's volumes, each as six tetrahedra about one diagonal."""
    p = grid.nodes.reshape(-1, 3)[hexahedra(len(grid.nodes), grid.pattern)]
    total = 0.0
    for a, b in ((1, 2), (2, 3), (3, 7), (7, 4), (4, 5), (5, 1)):
        u, v, w = p[:, a] - p[:, 0], p[:, b] - p[:, 0], p[:, 6] - p[:, 0]
        total += np.einsum("ij,ij->", u, np.cross(v, w)) / 6.0
    return total


@settings(max_examples=60, deadline=None)
@given(
    waves=st.lists(st.tuples(st.floats(-0.18, 0.18), st.floats(0.0, 2.0 * np.pi)), min_size=1, max_size=4),
    stretch=st.floats(0.3, 3.0),
)
def test_every_corner_of_every_hexahedron_is_the_right_way_out(waves, stretch):
    share = sum(abs(size) for size, _ in waves)
    radius = 15.0 * (
        1.0
        + sum(size * np.cos(k * (ANGLE - at)) for k, (size, at) in enumerate(waves, start=1))
        * min(1.0, 0.35 / max(share, 1e-9))
    )
    outline = polar(radius) * [stretch, 1.0]
    made = pattern(6, 6, 4)
    grid = sweep(row_of(outline, turns=(0.0, 0.02, 0.04)), made)
    assert least_jacobians(grid.nodes, made).min() > 0.0


@pytest.mark.parametrize(
    "outline",
    [
        np.array([[-15, -15], [15, -15], [15, 15], [-15, 15.0]]),
        np.array([[-30, -3], [30, -3], [30, 3], [-30, 3.0]]),
        np.array([[0, -15], [20, 0], [0, 15], [-20, 0.0]]),
        np.array([[-20, -12], [20, -12], [0, 22.0]]),
        np.array([[-20, -12], [20, -12], [6, 12], [-6, 12.0]]),
        np.vstack([polar(20.0 * np.ones(360))[:181], [[-20, -12], [20, -12.0]]]),
        polar(14.0 + 8.0 * np.cos(2.0 * ANGLE)),
        polar(15.0 + 6.0 * np.cos(2.0 * ANGLE) + 5.0 * np.sin(ANGLE)),
        polar(20.0 - 14.0 * np.exp(-(((ANGLE - np.pi / 2.0) / 0.25) ** 2))),
        outline_of(Reading(2, 0.0, height=48.0, width=28.0, corner_roof=5.0, corner_floor=14.0)),
    ],
    ids=["square", "slot", "diamond", "triangle", "trapezium", "D", "peanut", "kidney", "boss", "port"],
)
def test_outlines_of_ports_and_worse(outline):
    made = pattern(10, 8, 6)
    sections = row_of(outline, turns=(0.0, 0.05, 0.1))
    grid = sweep(sections, made)
    assert least_jacobians(grid.nodes, made).min() > 0.0
    figure = moments(outline)
    assert moments(wall_nodes(outline, 10, 8)).area == pytest.approx(figure.area, rel=0.03)
    middle = [s.in_space(figure.centroid[None])[0] for s in sections]
    # Pappus: area times the way of the centroid, here two chords; the polygon of wall nodes is smaller.
    way = sum(
        (b - a) @ (s.frame[0] + t.frame[0]) / 2.0
        for a, b, s, t in zip(middle[:-1], middle[1:], sections[:-1], sections[1:], strict=True)
    )
    assert volume_of(grid) == pytest.approx(figure.area * way, rel=0.03)


def test_sharp_corners_carry_nodes():
    outline = np.array([[-15, -10], [15, -10], [15, 10], [-15, 10.0]])
    nodes = wall_nodes(outline, 8, 6)
    for corner in outline:
        assert np.linalg.norm(nodes - corner, axis=1).min() < 1e-9


def test_an_outline_with_a_side_pocket_is_refused_by_name():
    outline = np.array([[-20, -20], [20, -20], [20, -14], [-14, -14], [-14, 20], [-20, 20.0]])
    with pytest.raises(GeometryError, match=r"section|outline"):
        sweep(row_of(outline), pattern(8, 8, 4))


def test_sections_that_cross_are_refused():
    outline = polar(np.full(360, 20.0))
    with pytest.raises(GeometryError, match="change too fast"):
        sweep(row_of(outline, turns=(0.0, 0.6, 1.2), gap=3.0), pattern(6, 6, 4))
