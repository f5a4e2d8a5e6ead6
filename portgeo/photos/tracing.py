"""Photographs of slices to outlines: the whole way, for photographs one by one or all of one thing.

Photographs' levels come in; slices with their ±, how each photograph was taken, and notices go out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import InputError, naming
from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray
from portgeo.photos.camera import Placed, place, print_error
from portgeo.photos.edges import linear_table
from portgeo.photos.field import Field, flat_field
from portgeo.photos.frame import BLOCK_IDS, CUT_MM
from portgeo.photos.marks import Marks, find_marks
from portgeo.photos.sense import check_fit, check_light, check_outlines, check_thickness, frame_in, print_scale
from portgeo.photos.shape import Outline, outlines_on
from portgeo.photos.slices import Slice, slices_in

CLEAR_MM = 0.9 * CUT_MM  # round the middle of a block's mark: the block is up to 24 mm square, in any turn
LEAST_PIXELS = 900  # of a picture's shorter side: marks' cells are under 4 pixels in a smaller one


@dataclass(frozen=True)
class Photo:
    """A photograph: what it is called and its levels (h, w, 3) of 8 bits, blue, green, red, upright."""

    name: str
    levels: np.ndarray


@dataclass(frozen=True)
class Traced:
    """What photographs of one paper show: the camera's fit, a field and the outlines of each, its slices, notices.

    notices : with the number of the photograph that each is of, None where it is of all.
    """

    photos: tuple[Photo, ...]
    marks: tuple[Marks, ...]
    placed: Placed
    fields: tuple[Field, ...]
    outlines: tuple[tuple[Outline, ...], ...]
    notices: tuple[Notice, ...]


def look(
    photos: Sequence[Photo],
    bars: tuple[float, ...] | None,
    thick: float | None,
    progress: Callable[[str, float], None] = lambda what, share: None,
) -> Traced:
    """Return what photographs of one thing on one paper show, all fitted at once.

    bars : what the frame's bars read, mm. thick : how thick what lies there is, None where it is not known. Raises
    InputError and GeometryError that name the photograph.
    """
    import cv2

    table = linear_table()
    marks, frames = [], []
    for k, photo in enumerate(photos):
        progress("marks", k / (2.0 * len(photos)))
        with naming(photo.name):
            if min(photo.levels.shape[:2]) < LEAST_PIXELS:
                what = f"the photograph is {photo.levels.shape[1]} by {photo.levels.shape[0]} pixels"
                raise InputError(what, hint="Use the camera's full size: 8 megapixels or more, not sent by a messenger")
            grey = cv2.cvtColor(photo.levels, cv2.COLOR_BGR2GRAY)
            marks.append(find_marks(grey, cv2.LUT(grey, table)))
            frames.append(frame_in(marks[-1]))
    if len({frame.paper for frame in frames}) > 1:
        raise InputError(
            "the photographs of one thing are on frames of two paper sizes", hint="Photograph it again on one"
        )
    blocks = any(int(n) in BLOCK_IDS for m in marks for n in m.numbers)
    known = 0.0 if thick is None and not blocks else thick
    sizes = [(photo.levels.shape[1], photo.levels.shape[0]) for photo in photos]
    placed = place(frames[0], marks, sizes, print_scale(bars), print_error(bars is not None), known)
    notices = [] if bars else [Notice("print_unmeasured")]
    notices += [] if placed.alike else [Notice("cameras_differ")]
    fields, outlines = [], []
    for k, photo in enumerate(photos):
        progress("outlines", 0.5 + k / (2.0 * len(photos)))
        with naming(photo.name):
            field = flat_field(photo.levels, table, placed.views[k], placed.paper)
            notices += [*check_fit(placed, k, field.pixel), *check_light(field)]
            raised = marks[k].corners[np.isin(marks[k].numbers, BLOCK_IDS)].mean(axis=1).reshape(-1, 2)
            seen = outlines_on(field, placed.views[k].on_level(raised, placed.paper.thick / 2.0), CLEAR_MM)
            notices += check_outlines(seen)
            fields.append(field)
            outlines.append(seen)
    return Traced(tuple(photos), tuple(marks), placed, tuple(fields), tuple(outlines), tuple(unique(notices)))


def slices_of(
    traced: Traced, bars: tuple[float, ...] | None, thick: float | None
) -> tuple[tuple[Slice, ...], tuple[Notice, ...]]:
    """Return the slices that photographs show, and notices."""
    return slices_in(traced.placed, traced.outlines, bars is not None), (
        *traced.notices,
        *check_thickness(traced.placed, thick),
    )


def outline_seen(traced: Traced, k: int, points: FloatArray) -> FloatArray:
    """Return where points (n, 2) of a slice's upper face are seen in the k-th photograph, pixels."""
    paper = traced.placed.paper
    level = paper.height(points / paper.scale) + paper.thick
    return traced.placed.views[k].pixels(np.column_stack([points, level]))
