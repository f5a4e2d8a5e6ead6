"""Slices of a mold on the frame: each outline in true size, with its ±.

Photographs that were placed and the outlines seen in them come in; sections as one sees them looking into the entry go
out. A slice is taken to be cut square: its walls stand upright on the paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from portgeo.core.plane import FloatArray, moments
from portgeo.photos.camera import Paper, Placed, View, print_error
from portgeo.photos.field import pixels_at
from portgeo.photos.shape import STEP_MM, Outline, resampled

LIES_MM = 0.15  # by which a slice lies higher or lower than the paper's smooth surface has it
BLUR_ERROR = 0.12  # of an edge's blur: what tone curves and sharpening other than sRGB's move its middle level by
PIXEL_ERROR = 0.08  # of a pixel: the same where the edge is sharp
UNSEEN_MM = 0.3  # of an outline where its edge was not seen
LEVELS = 5  # heights between paper and upper face at which a slice's walls are looked at
COARSE = 4  # every so-manieth place of an outline does for how its area changes
LEAST_SHARE = 0.2  # of two outlines' union: such are of one slice in two photographs


@dataclass(frozen=True)
class Slice:
    """A slice's upper outline.

    points (n, 2) : counterclockwise, x to the right and y up as the frame lies, about its own middle, mm. seen : of the
    photographs it was traced in, the outline on each one's paper (None where it is not seen). area_u : standard
    uncertainty; parts : what makes it, each a standard uncertainty of the area, mm2.
    """

    points: FloatArray
    middle: FloatArray
    seen: tuple[Outline | None, ...]
    area: float
    area_u: float
    parts: dict[str, float]
    pixel: float


def upper_outline(pixels: FloatArray, view: View, base: float, thick: float) -> FloatArray:
    """Return the outline (n, 2) of a slice's upper face, mm, of where it is seen against the paper, pixels (n, 2).

    base : height of the paper under it, mm.

    A slice that covers a place covers, from the camera, what lies behind it at every height. So it is what all of the
    seen outline, moved up to each height, has in common: its upper edge where the walls are hidden, its lower edge
    where they are seen.
    """
    left: shapely.Geometry = shapely.Polygon(view.on_level(pixels, base + thick))
    left = left.buffer(0)
    if thick > 0.0:
        for level in np.linspace(0.0, thick, LEVELS)[:-1]:
            left = left.intersection(shapely.Polygon(view.on_level(pixels, base + level)).buffer(0))
    parts = [part for part in shapely.get_parts(left) if part.geom_type == "Polygon"]
    largest = max(parts, key=lambda part: part.area)
    ring = np.asarray(largest.exterior.coords)[:-1]
    return ring if moments(ring).area > 0 else ring[::-1]


def joined(outlines: Sequence[FloatArray]) -> FloatArray:
    """Return the mean of outlines (n, 2) of one slice: along rays across the first one's edge."""
    if len(outlines) == 1:
        return outlines[0]
    first = resampled(outlines[0], STEP_MM)
    along = np.roll(first, -2, axis=0) - np.roll(first, 2, axis=0)
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1, keepdims=True)
    moved = np.zeros(len(first))
    for other in outlines[1:]:
        ring = shapely.LinearRing(other)
        shapely.prepare(ring)
        near = shapely.line_interpolate_point(ring, shapely.line_locate_point(ring, shapely.points(first)))
        moved += ((shapely.get_coordinates(near) - first) * out).sum(axis=1)
    return first + out * (moved / len(outlines))[:, None]


def slices_in(placed: Placed, seen: Sequence[Sequence[Outline]], bars: bool) -> tuple[Slice, ...]:
    """Return the slices seen in photographs of one paper. bars : whether the print's bars were measured."""
    first = seen[0]
    slices = []
    for outline in first:
        group: list[Outline | None] = [outline]
        for others in seen[1:]:
            group.append(_same(outline, others))
        slices.append(_slice(placed, tuple(group), bars))
    return tuple(slices)


def _same(outline: Outline, others: Sequence[Outline]) -> Outline | None:
    """Return which of other outlines is of the same slice: it covers most of the same place."""
    own = shapely.Polygon(outline.points).buffer(0)
    shares = []
    for other in others:
        shape = shapely.Polygon(other.points).buffer(0)
        shares.append(own.intersection(shape).area / own.union(shape).area)
    best = int(np.argmax(shares)) if shares else -1
    return others[best] if best >= 0 and shares[best] > LEAST_SHARE else None


def _slice(placed: Placed, seen: tuple[Outline | None, ...], bars: bool) -> Slice:
    points = joined(_upper(placed, seen, placed.views, placed.paper))
    area = moments(points).area
    here = [o for o in seen if o is not None]
    views = [v for o, v in zip(seen, placed.views, strict=True) if o is not None]
    # What was seen stays where it is in the picture; camera, paper and thickness change by each error in turn.
    coarse = tuple(None if o is None else replace(o, points=o.points[::COARSE]) for o in seen)

    def mean_area(views: Sequence[View], paper: Paper) -> float:
        return float(np.mean([moments(o).area for o in _upper(placed, coarse, views, paper)]))

    as_is = mean_area(placed.views, placed.paper)
    changes = [mean_area(*step) - as_is for step in placed.steps]
    length = float(shapely.LinearRing(points).length)
    pixel = float(np.mean([_pixel(v, placed.paper, points) for v in views]))
    blur = float(np.mean([o.blur for o in here]))
    ragged = float(np.mean([o.ragged for o in here]))
    height = float(np.mean([v.position[2] for v in views]))
    lost = float(np.mean([o.lost + o.clipped for o in here]))
    parts = {
        "marks": float(np.linalg.norm(changes)),
        "print": area * float(np.sqrt(2.0)) * print_error(bars),
        "lie": 2.0 * area * LIES_MM / height,
        "edge": length * (max(PIXEL_ERROR * pixel, BLUR_ERROR * blur) + UNSEEN_MM * lost),
        "places": ragged * float(np.sqrt(STEP_MM * length)),
    }
    middle = moments(points).centroid
    return Slice(
        points - middle,
        np.asarray(middle),
        seen,
        area,
        float(np.linalg.norm(list(parts.values()))),
        parts,
        pixel,
    )


def _upper(placed: Placed, seen: Sequence[Outline | None], views: Sequence[View], paper: Paper) -> list[FloatArray]:
    """Return the upper outlines of what stays where it is seen in the pictures, were they taken by these views.

    Where a camera stood decides what of the seen is the upper face and what a wall.
    """
    upper = []
    for outline, own, view in zip(seen, placed.views, views, strict=True):
        if outline is not None:
            base = float(np.mean(paper.height(outline.points / paper.scale)))
            upper.append(upper_outline(pixels_at(own, placed.paper, outline.points), view, base, paper.thick))
    return upper


def _pixel(view: View, paper: Paper, points: FloatArray) -> float:
    """Return how large a pixel is on the paper there, mm."""
    middle = points.mean(axis=0)
    seen = pixels_at(view, paper, middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    return float(1.0 / np.sqrt(abs(np.linalg.det(seen[1:] - seen[0]))))
