"""What is wrong with a photograph, told plainly: what cannot be used is refused, what makes a result worse is noticed.

Marks, the fit of the camera and the field come in; refusals and notices go out, each with what to do about it.
"""

from __future__ import annotations

import numpy as np
import shapely

from portgeo.core.errors import InputError
from portgeo.core.notices import Notice
from portgeo.photos.camera import Placed
from portgeo.photos.field import Field
from portgeo.photos.frame import BAR_MM, FIRST_ID, Frame, frame_on
from portgeo.photos.marks import Marks
from portgeo.photos.shape import Outline

LEAST_MARKS = 8  # of the frame's 28: camera, lens and paper are fitted to them
LEAST_COVER = 0.5  # of the frame's area that the marks seen stand round
HIDDEN_SHARE = 0.8  # of the marks: where fewer are seen, it is told
MOST_TILT = float(np.radians(55.0))
OFF_MM = 0.8  # marks off their places by so much: the paper is creased, or the page is another
OFF_NOTICE_MM = 0.25
DARK, DIM = 0.02, 0.08  # of what a camera can hold, linear: white paper in a usual photograph has 0.5 to 0.9
BRIGHT = 0.93  # of white's level in the second lightest grey: printed at 0.6 of it, so the camera holds no more
BLUR_MM = 0.25
UNSEEN_SHARE = 0.05  # of an outline
HEIGHT_SHARE = 0.003  # of an area, by the camera's height alone
BLOCKS_MM = 0.35  # between what a slice's thickness was said to be and its blocks' height
BAR_SPAN = 0.06  # of a bar's length: no printer that prints at 100 % is so far off


def frame_in(marks: Marks) -> Frame:
    """Return the frame that marks are of. Raises InputError where there is none, or too little of one."""
    counts = {paper: int(np.isin(marks.numbers, list(frame_on(paper).marks)).sum()) for paper in FIRST_ID}
    if not any(counts.values()):
        raise InputError(
            "no frame is seen in the photograph",
            hint="Lay the mold or the slice on the page of portgeo frame, and photograph all of that page, sharp",
        )
    if all(counts.values()):
        raise InputError("two frames are seen in the photograph", hint="Leave one on the table")
    frame = frame_on(max(counts, key=lambda paper: counts[paper]))
    count, own = max(counts.values()), np.array([frame.marks[int(n)] for n in marks.numbers if int(n) in frame.marks])
    whole = shapely.MultiPoint(list(frame.marks.values())).convex_hull.area
    if count < LEAST_MARKS or shapely.MultiPoint(own).convex_hull.area < LEAST_COVER * whole:
        raise InputError(
            f"only {count} of the frame's {len(frame.marks)} marks are seen, too few or all to one side",
            hint="Photograph the whole page, sharp and evenly lit, with nothing over its marks",
        )
    return frame


def print_scale(bars: tuple[float, ...] | None) -> np.ndarray:
    """Return the print's scale (2,), across and up, by what its bars read, mm. Raises InputError for no such bar."""
    if bars is None:
        return np.ones(2)
    scale = np.array(bars if len(bars) == 2 else bars * 2, dtype=float) / BAR_MM
    if len(bars) > 2 or not (np.abs(scale - 1.0) < BAR_SPAN).all():
        raise InputError(
            f"the frame's bars are drawn {BAR_MM:g} mm long, and were read as {', '.join(f'{b:g}' for b in bars)}",
            where="bar_mm",
            hint="Measure both in mm and give the one across, then the upright one, or print the frame again at 100 %",
        )
    return scale


def check_fit(placed: Placed, k: int, mm: float) -> list[Notice]:
    """Return what is to be said of the k-th photograph's camera; mm : what a pixel is there. Raises InputError."""
    view, frame = placed.views[k], placed.paper.frame
    if view.tilt > MOST_TILT:
        raise InputError(
            f"the camera was tilted by {np.degrees(view.tilt):.0f}°",
            hint="Hold it over the page, within 35° of upright",
        )
    off = placed.residual * mm
    if off > OFF_MM:
        raise InputError(
            f"the frame's marks lie {off:.1f} mm off where they were printed",
            hint="Lay the page flat, taped down at its corners, and do not crop or edit the photograph",
        )
    notices = [Notice("marks_off", off=off)] if off > OFF_NOTICE_MM else []
    if placed.used[k] < HIDDEN_SHARE * len(frame.marks):
        notices.append(Notice("marks_hidden", seen=placed.used[k], count=len(frame.marks)))
    return notices


def check_light(field: Field) -> list[Notice]:
    """Return what is to be said of a photograph's light. Raises InputError where it is too dark to read."""
    if field.white < DARK:
        raise InputError("the photograph is too dark to trace", hint="Give it more light, from a window or two lamps")
    greys = field.greys
    notices = []
    if field.white < DIM:
        notices.append(Notice("light_poor"))
    if np.isfinite(greys[-2:]).all() and greys[-2] > BRIGHT * greys[-1]:
        notices.append(Notice("light_bright"))
    return notices


def check_outlines(outlines: tuple[Outline, ...]) -> list[Notice]:
    """Return what is to be said of outlines as they are seen. Raises InputError where there is none."""
    if not outlines:
        raise InputError(
            "nothing that stands out from the paper lies on the frame",
            hint="Use silicone of a strong color, or dust a white one with chalk, and light it evenly",
        )
    notices = []
    if max(o.blur for o in outlines) > BLUR_MM:
        notices.append(Notice("edge_blurred", blur=max(o.blur for o in outlines)))
    glare = max(o.clipped for o in outlines)
    if glare > UNSEEN_SHARE:
        notices.append(Notice("glare", share=glare))
    lost = max(o.lost for o in outlines)
    if lost > UNSEEN_SHARE:
        notices.append(Notice("edge_lost", share=lost))
    return notices


def check_thickness(placed: Placed, thick: float | None) -> list[Notice]:
    """Return what is to be said of a slice's thickness and how high the camera stood."""
    if thick is None and not placed.blocks:
        return [Notice("thick_unknown")]
    notices = []
    if thick is not None and placed.blocks and abs(placed.paper.thick - thick) > BLOCKS_MM:
        notices.append(Notice("blocks_differ", given=thick, seen=placed.paper.thick))
    heights = [float(v.position[2]) for v in placed.views]
    unsure = 2.0 * placed.paper.thick * max(e / h for e, h in zip(placed.focal_errors, heights, strict=True))
    if not placed.blocks and unsure > HEIGHT_SHARE:
        notices.append(Notice("height_unsure", share=2.0 * unsure))
    return notices
