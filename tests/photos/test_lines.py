"""A traced line put right by hand: what stays of it, what a dragged point moves, and what its ± becomes."""

import numpy as np
import pytest
import shapely

from portgeo.core.errors import GeometryError
from portgeo.photos.lines import APART_MM, HAND_MM, KEPT_MM, Line, area_error, corrected, line_of, size_error


def oblong(wide=40.0, tall=30.0, corner=4.0, step=0.2):
    """A rounded rectangle as shapely draws it, with a point each so many mm, from the left of its lower side."""
    shape = shapely.box(corner - wide / 2, corner - tall / 2, wide / 2 - corner, tall / 2 - corner).buffer(corner, 64)
    return shapely.get_coordinates(shapely.segmentize(shape.exterior, step))[:-1][::-1]


def test_a_line_keeps_its_shape_and_has_points_at_corners_and_between():
    outline = oblong()
    line = line_of(outline)
    drawn, kept = shapely.Polygon(outline), shapely.Polygon(line.points)
    assert shapely.hausdorff_distance(drawn.exterior, kept.exterior) < 1.01 * KEPT_MM
    assert kept.area == pytest.approx(drawn.area, rel=4e-4)
    assert len(line.points) < len(outline) / 3
    handles = line.points[line.handles]
    gaps = np.linalg.norm(handles - np.roll(handles, 1, axis=0), axis=1)
    assert gaps.max() < APART_MM[1] + 0.4 and gaps.min() > 0.5 * APART_MM[0]
    for x, y in ((16.0, 11.0), (-16.0, 11.0), (-16.0, -11.0), (16.0, -11.0)):  # the arc of each corner has some
        at = [x, y] + 4.0 * np.sign([x, y]) / np.sqrt(2.0)
        assert np.linalg.norm(handles - at, axis=1).min() < 2.0
    assert line.reaches.sum() == pytest.approx(drawn.exterior.length, rel=1e-3)


def test_a_dragged_point_takes_the_line_with_it_as_far_as_its_neighbours():
    line = line_of(oblong())
    handles = line.points[line.handles]
    k = int(np.argmin(np.linalg.norm(handles - [0.0, -15.0], axis=1)))  # on the straight lower side
    points = corrected(line, {k: (0.0, -2.0)})
    # On a straight side what is added is a triangle: half its base, from neighbour to neighbour, times its height.
    base = np.linalg.norm(handles[k + 1] - handles[k - 1])
    added = shapely.Polygon(points).area - shapely.Polygon(line.points).area
    assert added == pytest.approx(base * 2.0 / 2.0, rel=1e-6)
    assert points[line.handles[k]] == pytest.approx(handles[k] + [0.0, -2.0])
    still = (line.points[:, 0] < min(handles[k + 1, 0], handles[k - 1, 0]) - 1e-9) | (line.points[:, 1] > -14.9)
    assert np.abs(points - line.points)[still].max() == 0.0
    assert area_error(line, 3.0, {k: (0.0, -2.0)}) == pytest.approx(np.hypot(3.0, HAND_MM * base / 2.0))
    assert area_error(line, 3.0, {}) == 3.0
    # Where a line begins says nothing of what a point takes with it.
    start, count = line.handles[3] + 1, len(line.points)
    begun_elsewhere = Line(np.roll(line.points, -start, axis=0), np.sort((line.handles - start) % count))
    same = int(np.flatnonzero(begun_elsewhere.handles == (line.handles[0] - start) % count)[0])
    first, again = corrected(line, {0: (0.5, 0.5)}), corrected(begun_elsewhere, {same: (0.5, 0.5)})
    assert np.roll(again, start, axis=0) == pytest.approx(first, abs=1e-12)
    with pytest.raises(GeometryError, match="crosses itself"):
        corrected(line, {k: (0.0, 60.0)})


def test_what_a_size_is_off_by_makes_the_area_be_off_as_much():
    """A = height times width of a rectangle, each off by e: u(A) = e (w^2 + h^2)^(1/2) (JCGM 100, 5.1.2)."""
    box = np.array([[-20.0, -15.0], [20.0, -15.0], [20.0, 15.0], [-20.0, 15.0]])
    assert size_error(box, 6.0) == pytest.approx(6.0 / np.hypot(40.0, 30.0))
