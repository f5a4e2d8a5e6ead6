"""Where a camera stood, of marks whose places in the picture come from a camera that shares nothing with the fit."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from portgeo.photos.camera import place, print_error
from portgeo.photos.frame import corners_of, frame_on
from portgeo.photos.marks import Marks

from .render import fill, held, prism, waved

CAMERAS = 12
PAPERS = 4
CORNER = 0.04  # pixels, one sigma: what corners in a photograph are off by


@pytest.mark.nightly
def test_bars_read_a_little_wrong_do_not_move_the_camera():
    """Held square over the page, where a camera stood to a side shows in how the print is stretched and little else.

    A print taken to be just as its bars read is as sure of a place that is 12 of its standard deviations off.
    """
    frame = frame_on("a4")
    numbers = np.array(sorted(frame.marks))
    drawn = np.array([corners_of(frame.marks[int(n)]) for n in numbers])
    off = []
    for k in range(CAMERAS):
        rng = np.random.default_rng([192, k])
        camera = held(rng, ((4000, 3000), (3000, 4000))[k % 2], np.radians(rng.uniform(0.0, 3.0)))
        flat = drawn * (1.0 + rng.normal(0.0, 0.05 / 150.0, 2))  # a caliper over a bar reads to 0.05 mm
        points = np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=2)
        seen = camera.seen(points.reshape(-1, 3)).reshape(flat.shape) + rng.normal(0.0, CORNER, flat.shape)
        fit = place(frame, [Marks(numbers, seen)], [camera.size], np.ones(2), print_error(True), 0.0)
        aside = fit.views[0].position[:2] - camera.position[:2]
        steps = np.array([views[0].position[:2] - fit.views[0].position[:2] for views, _ in fit.steps])
        off.append(aside / np.linalg.norm(steps, axis=0))
    assert np.sqrt(np.mean(np.square(off))) < 1.5
    assert np.abs(off).max() < 4.0


def pair_on_a_wave(seed, zoom=1.0, tilts=(0.0, 15.0)):
    """Two photographs' marks on one paper that is not flat, the second zoomed; the cameras; and the paper's plane.

    plane (3,) : slope in x and y and height of the plane nearest to the paper, by least squares on a fine grid. What a
    fit calls the paper is that plane.
    """
    rng = np.random.default_rng([193, seed])
    frame = frame_on("a4")
    numbers = np.array(sorted(frame.marks))
    drawn = np.array([corners_of(frame.marks[int(n)]) for n in numbers])
    bulge = waved(rng, rng.uniform(0.4, 1.0))
    points = np.concatenate([drawn, bulge(*np.moveaxis(np.float32(drawn), -1, 0))[..., None]], axis=2).reshape(-1, 3)
    cameras = [held(rng, (4000, 3000), np.radians(tilt)) for tilt in tilts]
    first, own = cameras
    focal = first.focal * zoom
    position = own.target + (own.position - own.target) * focal / own.focal
    cameras[1] = replace(own, position=position, focal=focal, bend=first.bend, off_axis=first.off_axis)
    marks = [
        Marks(numbers, c.seen(points).reshape(drawn.shape) + rng.normal(0.0, CORNER, drawn.shape)) for c in cameras
    ]
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0.0, 297.0, 60), np.linspace(0.0, 210.0, 50)))
    plane = np.linalg.lstsq(np.column_stack([x, y, np.ones(len(x))]), bulge(np.float32(x), np.float32(y)), rcond=None)
    return marks, cameras, plane[0]


def fit_of(marks):
    return place(frame_on("a4"), marks, [(4000, 3000)] * 2, np.ones(2), print_error(True), 0.0)


def heights_off(fit, cameras, plane):
    """How much farther off (2,) the cameras are than they were, over its standard uncertainty."""
    true = np.array([c.position[2] - plane @ [*c.position[:2], 1.0] for c in cameras])
    own = np.array([view.position[2] for view in fit.views])
    steps = np.array([[view.position[2] for view in views] for views, _ in fit.steps]) - own
    return (own - true) / np.linalg.norm(steps, axis=0)


@pytest.mark.nightly
def test_waves_in_the_paper_do_not_move_the_camera():
    """A paper bulged by smooth waves up to 1 mm high and as short as half the page: each camera within its ±.

    Waves that a fit has no terms for are taken for how far off the camera was: it was off by 9 %, six times its u.
    """
    off = []
    for seed in range(PAPERS):
        marks, cameras, plane = pair_on_a_wave(seed)
        fit = fit_of(marks)
        assert fit.alike
        assert fit.residual < 1.5 * CORNER
        off.append(heights_off(fit, cameras, plane))
    assert np.sqrt(np.mean(np.square(off))) < 1.6
    assert np.abs(off).max() < 3.5


@pytest.mark.parametrize("zoom", [1.08, 1.5])
def test_photographs_at_two_zooms_are_each_placed_by_themselves(zoom):
    """Taken for one camera, the first would be placed more than 200 of its standard uncertainties off."""
    marks, cameras, plane = pair_on_a_wave(1, zoom, (20.0, 25.0))
    fit = fit_of(marks)
    assert not fit.alike
    assert np.log(fit.views[1].focal / fit.views[0].focal) == pytest.approx(
        np.log(zoom), abs=3.0 * np.hypot(*fit.focal_errors)
    )
    assert np.abs(heights_off(fit, cameras, plane)).max() < 3.5


def test_the_camera_of_the_tests_draws_things_as_large_as_they_are():
    """Area by shapely: what is drawn a sixth of a pixel too large would be held against the tracer."""
    angle = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    outline = np.column_stack([110.0 * np.cos(angle) + 150.3, 80.0 * np.sin(angle) + 120.7])
    picture = np.zeros((240, 300))
    for triangle in prism(outline, 0.0, (1.0, 1.0, 1.0)).triangles[:, :, :2]:
        fill(picture, triangle, 1.0)
    polygon = shapely.Polygon(outline)
    assert abs(picture.sum() - polygon.area) / polygon.length < 0.02  # pixels, all round
    assert picture[100:140, 120:180].all()
