"""Photographs of a mold's slices to outlines in true size.

Photographs come in; outlines that a section sheet can name go out, each with its ±, and pictures of what was traced.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.units import Display, LengthUnit
from portgeo.files.photographs import photo_from, read_photo
from portgeo.photos import mold_rows
from portgeo.photos.lines import HAND_MM, Line, area_error, corrected, line_of, polygon_area, size_error
from portgeo.photos.picture import jpeg, straightened, with_lines
from portgeo.photos.tracing import Photo, look, outline_seen, slices_of
from portgeo.results.traced import TracedSlices, traced_slices
from portgeo.results.traced_mold import TracedMoldSheet, traced_mold

__all__ = [
    "HAND_MM", "Face", "Line", "area_error", "corrected", "faces", "line_of", "line_picture", "polygon_area",
    "size_error", "trace", "trace_mold", "traced_mold_picture", "traced_picture",
]  # fmt: skip
THICKEST_MM = 100.0  # of a slice: a thicker one's lower edge is out of the picture
AROUND_MM = 7.0  # of the paper is shown round a slice, so that a line that erred is seen beside it
MOST_PIXELS = 1400  # of a picture's longer side


@dataclass(frozen=True)
class Face:
    """A slice's upper face, seen square to it. low, high (2,) : the picture's corners, mm about the slice's middle.

    pictures : a JPEG's bytes of each photograph that it was traced in, with that photograph's name.
    """

    low: FloatArray
    high: FloatArray
    pictures: tuple[tuple[str, bytes], ...]


def trace(
    photos: Sequence[str | Path],
    *,
    thick_mm: float | None = None,
    bar_mm: Sequence[float] | None = None,
    units: LengthUnit = "mm",
    progress: Callable[[str, float], None] | None = None,
) -> TracedSlices:
    """Return the outlines of slices that lie on the printed frame, in true size.

    Parameters
    ----------
    photos : of the same slices on the same print, from one camera (jpg, png, tiff, webp, bmp); their outlines are
        joined.
    thick_mm : thickness of the slices: their upper face is nearer to the camera.
    bar_mm : what the print's two bars read with a caliper: the one across, then the upright one.
    units : "in" or "mm", in which notices tell their lengths.
    progress : told what is being done, and the share of it that is.

    Raises
    ------
    InputError, GeometryError : for a file that is no photograph, one without the frame, too dark or with nothing on
        it: which, and what to do.

    Examples
    --------
    >>> import portgeo as pg
    >>> photos, thick, bars = ["nowhere.jpg"], 8.0, (149.8, 149.9)
    >>> from portgeo.core.errors import InputError
    >>> try:
    ...     print([outline.area_mm2 for outline in pg.trace(photos, thick_mm=thick, bar_mm=bars).outlines])
    ... except InputError as error:
    ...     print(error)
    nowhere.jpg: there is no such file. Check the name and the folder.
    """
    if not photos:
        raise InputError("there is no photograph", hint="Give one or more of the slices on the frame")
    if thick_mm is not None and not 0.0 <= thick_mm <= THICKEST_MM:
        raise InputError(
            f"a slice {thick_mm:g} mm thick cannot be traced", where="thick", hint=f"At most {THICKEST_MM:g} mm"
        )
    bars = None if bar_mm is None else tuple(float(bar) for bar in bar_mm)
    seen = [Photo(Path(path).name, read_photo(path)) for path in photos]
    traced = look(seen, bars, thick_mm, progress or (lambda what, share: None))
    pieces, notices = slices_of(traced, bars, thick_mm)
    stem = Path(photos[0]).stem
    names = [f"{stem}.csv"] if len(pieces) == 1 else [f"{stem}-{k}.csv" for k in range(1, len(pieces) + 1)]
    return traced_slices(traced, pieces, notices, names, Display(units))


def traced_picture(traced: TracedSlices, k: int) -> bytes:
    """Return the k-th photograph with the traced outlines drawn on it, for a person to look at: a JPEG's bytes."""
    lines = [
        outline_seen(traced.computed, k, piece.points + piece.middle)
        for piece in traced.pieces
        if piece.seen[k] is not None
    ]
    return jpeg(with_lines(traced.computed.photos[k].levels, lines))


def faces(traced: TracedSlices) -> list[Face]:
    """Return the upper face of each slice, straightened: a line in true size lies on it as it is."""
    paper, found = traced.computed.placed.paper, []
    for piece in traced.pieces:
        low, high = piece.points.min(axis=0) - AROUND_MM, piece.points.max(axis=0) + AROUND_MM
        level = float(np.mean(paper.height((piece.points + piece.middle) / paper.scale))) + paper.thick
        pixel = max(piece.pixel, float((high - low).max()) / MOST_PIXELS)
        high = low + np.ceil((high - low) / pixel) * pixel
        pictures = [
            (photo.name, jpeg(straightened(photo.levels, view, level, low + piece.middle, high + piece.middle, pixel)))
            for photo, view, seen in zip(traced.computed.photos, traced.computed.placed.views, piece.seen, strict=True)
            if seen is not None
        ]
        found.append(Face(low, high, tuple(pictures)))
    return found


def line_picture(picture: bytes, low: FloatArray, high: FloatArray, points: FloatArray) -> bytes:
    """Return a face's picture with a line (n, 2) drawn on it. low, high : as `Face` has them."""
    levels = photo_from(picture, "the picture")
    places = (points - [low[0], high[1]]) / (high - low) * [levels.shape[1], -levels.shape[0]] - 0.5
    return jpeg(with_lines(levels, [places]))


def trace_mold(
    side: str | Path,
    top: str | Path,
    *,
    corner_mm: Sequence[float] | None = None,
    bar_mm: Sequence[float] | None = None,
    units: LengthUnit = "mm",
    progress: Callable[[str, float], None] | None = None,
) -> TracedMoldSheet:
    """Return the section sheet of a whole mold that was photographed on the printed frame, from the side and above.

    Parameters
    ----------
    side, top : photographs from one camera over one print: the mold on its left wall, the roof away from you; then on
        its floor. Its entry is to the left in both.
    corner_mm : corner radii at even places along the mold, the entry's first: what is seen of a wall hangs on them.
    bar_mm : what the print's two bars read with a caliper: the one across, then the upright one.
    units : "in" or "mm", of the sheet and of the lengths in notices.
    progress : told what is being done, and the share of it that is.

    Raises
    ------
    InputError, GeometryError : for a file that is no photograph, one without the frame, or one that shows no mold
        lying so: which, and what to do.

    Examples
    --------
    >>> import portgeo as pg
    >>> from portgeo.core.errors import InputError
    >>> try:
    ...     print(pg.trace_mold("nowhere.jpg", "top.jpg", corner_mm=(4.0, 6.0, 10.0)).length_mm)
    ... except InputError as error:
    ...     print(error)
    nowhere.jpg: there is no such file. Check the name and the folder.
    """
    bars = None if bar_mm is None else tuple(float(bar) for bar in bar_mm)
    corners = None if corner_mm is None else tuple(float(corner) for corner in corner_mm)
    seen = [Photo(Path(path).name, read_photo(path)) for path in (side, top)]
    found = mold_rows.trace_mold(seen[0], seen[1], bars, corners, progress or (lambda what, share: None))
    return traced_mold(found, Display(units))


def traced_mold_picture(traced: TracedMoldSheet, k: int) -> bytes:
    """Return the side view (0) or that from above (1) with what was traced and the sheet's sections: a JPEG's bytes."""
    sections, outline = mold_rows.lines_of(traced.computed, k)
    return jpeg(with_lines(traced.computed.traced.photos[k].levels, sections, outline))
