"""Where a camera stood, of marks whose places in the picture come from a camera that shares nothing with the fit."""

import numpy as np
import shapely

from portgeo.photos.camera import place, print_error
from portgeo.photos.frame import corners_of, frame_on
from portgeo.photos.marks import Marks

from .render import fill, held, prism

CAMERAS = 12
CORNER = 0.04  # pixels, one sigma: what corners in a photograph are off by


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
