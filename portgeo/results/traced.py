"""The result of tracing photographs of slices: each outline in true size, declared once.

Slices and how their photographs were taken come in; a TracedSlices, which is the JSON of `trace`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.photos.slices import Slice
from portgeo.photos.tracing import Traced
from portgeo.results.figures import Result, figure, inside
from portgeo.results.measured import ShareOfDoubt
from portgeo.results.notices import Remark, remarks


@dataclass(frozen=True)
class TracedOutline(Result):
    """One slice's upper outline, as one sees it on the frame: x to the right, y up, about its own middle."""

    points_mm: FloatArray = inside(lambda traced, k, piece, file: piece.points)
    file: str = figure(lambda traced, k, piece, file: file)
    photo: str = figure(lambda traced, k, piece, file: traced.photos[_first_seen(piece)].name)
    photos: int = figure(lambda traced, k, piece, file: sum(outline is not None for outline in piece.seen))
    area_mm2: float = figure(lambda traced, k, piece, file: piece.area)
    area_u_mm2: float = figure(lambda traced, k, piece, file: piece.area_u)
    perimeter_mm: float = figure(lambda traced, k, piece, file: float(shapely.LinearRing(piece.points).length))
    width_mm: float = figure(lambda traced, k, piece, file: float(np.ptp(piece.points[:, 0])))
    height_mm: float = figure(lambda traced, k, piece, file: float(np.ptp(piece.points[:, 1])))
    tilt_deg: float = figure(
        lambda traced, k, piece, file: float(np.degrees(traced.placed.views[_first_seen(piece)].tilt))
    )
    mm_per_pixel: float = figure(lambda traced, k, piece, file: piece.pixel)
    uncertainty: tuple[ShareOfDoubt, ...] = figure(
        lambda traced, k, piece, file: tuple(ShareOfDoubt.of(*part) for part in piece.parts.items())
    )


@dataclass(frozen=True)
class TracedSlices(Result):
    """The slices that photographs of one frame show."""

    computed: Traced = inside(lambda traced, *_: traced)
    pieces: tuple[Slice, ...] = inside(lambda traced, pieces, *_: pieces)
    computed_notices: tuple[Notice, ...] = inside(lambda traced, pieces, notices, *_: notices)
    display: Display = inside(lambda traced, pieces, notices, files, display: display)
    schema: str = figure(lambda *_: "portgeo.trace/1")
    source: Mapping[str, Any] = figure(
        lambda traced, *_: {"file": traced.photos[0].name, "photos": [photo.name for photo in traced.photos]}
    )
    warnings: tuple[Remark, ...] = figure(lambda traced, pieces, notices, files, display: remarks(notices, display))
    thick_mm: float = figure(lambda traced, *_: traced.placed.paper.thick)
    camera_height_mm: float = figure(lambda traced, *_: min(float(v.position[2]) for v in traced.placed.views))
    outlines: tuple[TracedOutline, ...] = figure(
        lambda traced, pieces, notices, files, display: tuple(
            TracedOutline.of(traced, k, piece, file) for k, (piece, file) in enumerate(zip(pieces, files, strict=True))
        )
    )


def _first_seen(piece: Slice) -> int:
    return next(k for k, outline in enumerate(piece.seen) if outline is not None)


def traced_slices(
    traced: Traced, pieces: tuple[Slice, ...], notices: Sequence[Notice], files: Sequence[str], display: Display
) -> TracedSlices:
    """Return the result of tracing. files : what each outline's file is called."""
    return TracedSlices.of(traced, pieces, tuple(notices), tuple(files), display)
