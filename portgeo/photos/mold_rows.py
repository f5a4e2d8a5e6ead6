"""Photographs of a whole mold, from the side and from above, to rows of a section sheet.

Photographs' levels come in; rows with what each may be off by, and where they are seen in the photographs, go out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import GeometryError, InputError, naming
from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray
from portgeo.core.section import HALF_STEP_MM, Tool
from portgeo.photos.camera import View, print_error
from portgeo.photos.lying import Pose
from portgeo.photos.mold import Mold, Seen, mold_of
from portgeo.photos.shape import Outline
from portgeo.photos.slices import BLUR_ERROR, PIXEL_ERROR
from portgeo.photos.tracing import Photo, Traced, look

ROW_MM = 9.0  # between rows, about: a corner is read at each
FEWEST, MOST = 8, 16  # rows
LIES_MM = 0.3  # by which a mold lies higher or lower than a rigid one on a flat page would
CORNER_BETWEEN = 0.25  # of the change from one corner read to the next, by which one between them is off
CORNER_GUESSED = 0.5  # of a corner that was guessed
BEND_MM = 0.03  # of a wall's line from row to row: a third of a pixel, smoothed over some fifty places
TOOL: Tool = "rule"  # whose readings are as sure as a section's place along a photograph
CAMERA_SHARE = 0.003  # of a size, by where the camera stood alone
LARGEST_CORNER_MM = 60.0


@dataclass(frozen=True)
class MoldRow:
    """A section of a mold: lengths in mm, angles in radians.

    error, turn_error : standard uncertainties of its sizes and heading by itself; shared : of a size, that all rows are
    off by alike.
    """

    place: int
    station: float
    height: float
    width: float
    turn: float
    swing: float
    error: float
    turn_error: float
    shared: float


@dataclass(frozen=True)
class TracedMold:
    """What photographs of a mold show: side view, then from above."""

    traced: Traced
    seen: tuple[Seen, Seen]
    mold: Mold
    rows: tuple[MoldRow, ...]
    notices: tuple[Notice, ...]


def trace_mold(
    side: Photo,
    top: Photo,
    bars: tuple[float, ...] | None,
    corners: Sequence[float] | None,
    progress: Callable[[str, float], None] = lambda what, share: None,
) -> TracedMold:
    """Return the rows of a mold that lies on one frame, on its left wall and then on its floor.

    bars : what the frame's bars read, mm. corners : radii at even places along the mold, mm, None where they were not
    read. Raises InputError and GeometryError.
    """
    if corners is not None and not (corners and all(0.0 <= c <= LARGEST_CORNER_MM for c in corners)):
        what = f"a corner of a mold is from 0 to {LARGEST_CORNER_MM:g} mm"
        raise InputError(
            what, where="corner", hint="Give what the template reads at the entry, half way and at the exit"
        )
    traced = look((side, top), bars, None, progress)
    placed = traced.placed
    seen = []
    for photo, outlines, view in zip(traced.photos, traced.outlines, placed.views, strict=True):
        with naming(photo.name):
            if len(outlines) > 1:
                raise GeometryError(f"{len(outlines)} things lie on the frame", hint="Leave nothing on it but the mold")
        seen.append(Seen.of(photo.name, outlines[0], view, placed.paper))
    mold = mold_of(seen[0], seen[1], corners)
    outlines = traced.outlines[0][0], traced.outlines[1][0]
    rows = rows_of(mold, traced, (seen[0], seen[1]), outlines, bars is not None, corners)
    notices = [*traced.notices, Notice("mold_corners")]
    if corners is None:
        notices.append(Notice("mold_corner_guessed"))
    unsure = max(_camera_part(mold, traced, k, seen[k]) for k in range(2))
    if unsure > CAMERA_SHARE:
        notices.append(Notice("mold_camera_unsure", share=2.0 * unsure))
    return TracedMold(traced, (seen[0], seen[1]), mold, rows, tuple(unique(notices)))


def _camera_part(mold: Mold, traced: Traced, k: int, seen: Seen) -> float:
    """Return by what share of itself a size is off by how far away the camera was: so high is what is seen of it."""
    high = float(mold.width.mean())
    if k == 1:
        x, z = mold.sections.middle.T
        high = float((mold.top.put(np.column_stack([x, 0.0 * x, z]))[:, 2] + mold.sections.height / 2.0).mean())
    return traced.placed.focal_errors[k] * high / float(seen.eye[2])


def rows_of(
    mold: Mold,
    traced: Traced,
    seen: tuple[Seen, Seen],
    outlines: tuple[Outline, Outline],
    bars: bool,
    corners: Sequence[float] | None,
) -> tuple[MoldRow, ...]:
    """Return the rows of a mold's sheet, closer where it turns. bars : whether they were measured. corners : read."""
    sections = mold.sections
    s, turn = sections.station, sections.heading - sections.heading[0]
    count = int(np.clip(round(s[-1] / ROW_MM), FEWEST, MOST))
    mean = float(sections.height.mean())
    # The outer wall's length, which is what there is between two rows to be drawn.
    length = s + mean * 1.5 * np.concatenate([[0.0], np.cumsum(np.abs(np.diff(turn)))])
    places = np.unique(np.searchsorted(length, np.linspace(0.0, length[-1], count)).clip(0, len(s) - 1))
    middle = (mold.left + mold.right) / 2.0
    swing = -np.arcsin(np.clip(np.gradient(middle, s), -1.0, 1.0))
    swing = swing - swing[0]
    parts = []
    read = CORNER_GUESSED * mold.corner if corners is None else _corner_error(corners)
    for k, sizes in enumerate((sections.height, mold.width)):
        edge = max(PIXEL_ERROR * traced.fields[k].pixel, BLUR_ERROR * outlines[k].blur)
        away = float(seen[k].eye[2])
        share = np.hypot(np.hypot(LIES_MM, read) / away, print_error(bars))
        off = np.hypot(sizes * np.hypot(share, _camera_part(mold, traced, k, seen[k])), 2.0 * edge)
        parts.append(off)
    # All rows are off by these alike: no smoothing evens them out. A row by itself is off by its wall's line.
    shared = np.hypot(*parts) / np.sqrt(2.0)
    error = np.full(len(s), BEND_MM)
    # A heading is that of the line through the middles over half a height.
    turn_error = np.sqrt(2.0) * _bend(mold, traced, seen[0]) / (sections.height / 2.0)
    return tuple(
        MoldRow(
            int(k), *(float(v[k]) for v in (s, sections.height, mold.width, turn, swing, error, turn_error, shared))
        )
        for k in places
    )


def _bend(mold: Mold, traced: Traced, side: Seen) -> FloatArray:
    """Return by how much (n,) a wall's line is off from place to place in the side view, standard uncertainty, mm.

    Where the camera looks at a wall at a slant, a corner read to a step moves what is seen of it. Where it is straight
    over one, the edge that is seen goes from the upper to the lower one: where the camera stood makes a step there.
    """
    x, z = mold.sections.middle.T
    middle = mold.side.put(np.column_stack([x, (mold.left + mold.right) / 2.0, z]))[:, :2]
    slant = np.linalg.norm(middle - side.eye[:2], axis=1) / side.eye[2]
    own = traced.placed.views[0].position
    aside = np.linalg.norm([(views[0].position - own)[:2] for views, _ in traced.placed.steps])
    step = mold.width / 2.0 * aside / side.eye[2]
    return np.asarray(np.sqrt(BEND_MM**2 + (HALF_STEP_MM * slant) ** 2 + step**2))


def _corner_error(corners: Sequence[float]) -> float:
    """Return what a corner is off by that was read by template, or lies between two that were."""
    change = float(np.abs(np.diff(corners)).max(initial=0.0))
    return float(np.hypot(HALF_STEP_MM, CORNER_BETWEEN * change))


def lines_of(mold: TracedMold, k: int) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return the rows' sections (2, 2) as they lie in the k-th photograph, and what was traced (n, 2), pixels."""
    view, seen = mold.traced.placed.views[k], mold.seen[k]
    pose = mold.mold.side if k == 0 else mold.mold.top
    sections, middle = mold.mold.sections, (mold.mold.left + mold.mold.right) / 2.0
    lines = []
    for row in mold.rows:
        n = row.place
        if k == 0:
            (x0, z0), (x1, z1), y = sections.floor[n], sections.roof[n], middle[n]
            ends = np.array([[x0, y, z0], [x1, y, z1]])
        else:
            x, z = sections.middle[n]
            ends = np.array([[x, mold.mold.left[n], z], [x, mold.mold.right[n], z]])
        lines.append(_pixels(view, pose, seen, ends))
    outline = view.pixels(np.column_stack([seen.points, np.full(len(seen.points), seen.level)]))
    return lines, [outline]


def _pixels(view: View, pose: Pose, seen: Seen, points: FloatArray) -> FloatArray:
    return view.pixels(pose.put(points) + [0.0, 0.0, seen.level])
