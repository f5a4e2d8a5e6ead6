"""Photographs of a mold's slices to outlines in true size.

Photographs come in; outlines that a section sheet can name go out, each with its ±, and pictures of what was traced.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from portgeo.core.errors import InputError
from portgeo.core.units import Display, LengthUnit
from portgeo.files.photographs import read_photo
from portgeo.photos.picture import jpeg, with_lines
from portgeo.photos.tracing import Photo, look, outline_seen, slices_of
from portgeo.results.traced import TracedSlices, traced_slices

THICKEST_MM = 100.0  # of a slice: a thicker one's lower edge is out of the picture


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
        raise InputError("there is no photograph", mend="Give one or more of the slices on the frame")
    if thick_mm is not None and not 0.0 <= thick_mm <= THICKEST_MM:
        raise InputError(
            f"a slice {thick_mm:g} mm thick cannot be traced", where="thick", mend=f"At most {THICKEST_MM:g} mm"
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
