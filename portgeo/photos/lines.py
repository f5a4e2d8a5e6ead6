"""A traced line that a person puts right: the points of it that can be dragged, and what the line is once some were.

An outline in true size comes in; the line with its handles, and the corrected outline with its ±, go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, moments
from portgeo.photos.slices import UNSEEN_MM

KEPT_MM = 0.004  # within which the points that stay hold the traced line: a tenth of what its edge may be off by
CORNER_MM = 0.15  # a line that turns off a chord by so much has a handle there
APART_MM = (1.2, 4.0)  # between two handles: a finger can part them, and a fault of a few mm lies under one
HAND_MM = UNSEEN_MM  # of a point set by hand: it is set where the edge is not clear, and all by one eye


@dataclass(frozen=True)
class Line:
    """A closed line (n, 2), mm. handles (k,) : numbers of the points that can be dragged, rising."""

    points: FloatArray
    handles: np.ndarray

    @property
    def along(self) -> FloatArray:
        """How far along the line each point is, and, last, the first one once more (n + 1,)."""
        closed = np.vstack([self.points, self.points[:1]])
        return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])

    @property
    def reaches(self) -> FloatArray:
        """Length of line (k,) that each handle answers for: to half way to the next one, on either side."""
        along = self.along
        gaps = np.diff(np.append(along[self.handles], along[self.handles[0]] + along[-1]))
        return np.asarray((gaps + np.roll(gaps, 1)) / 2.0)


def line_of(outline: FloatArray) -> Line:
    """Return an outline (n, 2) as a line of the fewest points that hold it, with handles at its corners and between."""
    handles = _with_more(outline, _parted(outline, _chosen(outline, CORNER_MM)))
    kept = np.union1d(_chosen(outline, KEPT_MM), handles)
    return Line(outline[kept], np.searchsorted(kept, handles))


def corrected(line: Line, moves: Mapping[int, tuple[float, float]]) -> FloatArray:
    """Return the line's points (n, 2) after handles, by their own number from 0, were moved by so much, mm.

    The line follows from each handle to the next as a rod would. Raises GeometryError where it then crosses itself.
    """
    shifts = np.zeros((len(line.handles), 2))
    for k, move in moves.items():
        shifts[k] = move
    along = line.along
    at, round_ = along[line.handles], along[-1]
    places = np.concatenate([at - round_, at, at + round_])
    moved = [np.interp(along[:-1], places, np.tile(shifts[:, k], 3)) for k in range(2)]
    points = line.points + np.column_stack(moved)
    if not shapely.is_valid(shapely.Polygon(points)) or moments(points).area <= 0.0:
        raise GeometryError("the corrected line crosses itself", hint="Drag its points so that it runs round the slice")
    return points


def area_error(line: Line, traced: float, moves: Mapping[int, tuple[float, float]]) -> float:
    """Return the standard uncertainty of a corrected line's area, mm2. traced : that of the line as it was traced."""
    return float(np.hypot(traced, HAND_MM * line.reaches[list(moves)].sum()))


def polygon_area(points: FloatArray) -> float:
    """Return the area of a closed line (n, 2)."""
    return float(moments(points).area)


def size_error(points: FloatArray, area_u: float) -> float:
    """Return what height and width, each for itself, must be off by to make an area's standard uncertainty, mm."""
    width, height = np.ptp(points, axis=0)
    return float(area_u / (moments(points).area * np.hypot(1.0 / width, 1.0 / height)))


def _chosen(outline: FloatArray, within: float) -> np.ndarray:
    """Return the numbers of the points that hold a closed outline within a distance (Douglas and Peucker, 1973)."""
    ring = shapely.get_coordinates(shapely.simplify(shapely.LinearRing(outline), within))[:-1]
    numbers = {tuple(point): k for k, point in enumerate(outline.tolist())}
    return np.array(sorted(numbers[tuple(point)] for point in ring.tolist()))


def _parted(outline: FloatArray, handles: np.ndarray) -> np.ndarray:
    """Return handles without those that stand too near to the one before."""
    along = Line(outline, handles).along
    kept = [int(handles[0])]
    for handle in handles[1:]:
        if along[handle] - along[kept[-1]] >= APART_MM[0]:
            kept.append(int(handle))
    if len(kept) > 1 and along[-1] - along[kept[-1]] + along[kept[0]] < APART_MM[0]:
        kept.pop()
    return np.array(kept)


def _with_more(outline: FloatArray, handles: np.ndarray) -> np.ndarray:
    """Return handles with more between those that stand far apart."""
    along = Line(outline, handles).along
    at = along[handles]
    kept = set(handles.tolist())
    for start, end in zip(at, np.append(at[1:], at[0] + along[-1]), strict=True):
        count = int(np.ceil((end - start) / APART_MM[1]))
        between = np.linspace(start, end, count + 1)[1:-1] % along[-1]
        kept |= {int(k) for k in np.searchsorted(along[:-1], between) % len(outline)}
    return np.array(sorted(kept))
