"""Openings: the plane in which a mold's end was an opening of the port.

The region of a mesh about one end of the tube comes in; an Opening, or the reason why there is none,
goes out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely

from portgeo.core.plane import FloatArray, IntArray, area_and_centroid, moments
from portgeo.core.section import Section
from portgeo.core.slicing import slice_mesh, tube_sections
from portgeo.scan.course import plane_frame
from portgeo.scan.ends import RunIn, rim_plane, run_in
from portgeo.scan.face import OBLIQUE, WAVY, Face, FlatFace, Region, angle_between, face_of, flat_face, region_about

# All lengths below are in radii of the tube's own section (of the circle of its area).
AHEAD, ASIDE, BEHIND = 3.0, 4.0, 1.1  # how far beyond the end, beside it and before it the mesh is looked at
CORE = 0.7  # of the section: what of an end's face is seen through it, clear of its walls
DOMED = 0.6  # a face that is deeper than this is no cut: the tube is closed there
FROM, SPACING = -0.8, 0.02  # where the sections before the end begin, and how far apart they are
BEFORE, AFTER = 0.10, 0.05  # lengths over which the growth of the radius is taken, at a corner
SMOOTH_GROWTH, CORNER_GROWTH = 0.35, 0.7  # dr/ds: a taper or a flare has less, a seat or a spill more
LEAST_GROWTH = 0.05  # what a corner must open to, to be an end: a step at a seat insert opens less
STEP_FACING = -0.87  # cosine on a step's face, which looks back along the tube: a seat's cone has -0.7
LEAST_RIM = 0.3  # area of a rim of open edges, of the section's, that can be an opening
RAGGED = 0.985  # of the area that a section should have: one with less is not whole
RIM_UNDER = 0.15  # under a face, where the tube's section tells where face ends and wall begins
RIM_WAVES = 6.0  # independent stretches of a rim of open edges
CORNER_DOUBT = 0.002  # how well the place of a corner is told on a clean mesh

How = Literal["flat", "step", "corner", "open", "trimmed", "split"]


@dataclass(frozen=True)
class Opening:
    """An opening: a point (3,) in its plane, the plane's normal (3,) out of the port, how it was found.

    run : how the tube runs into it. band : between two planes
    that hold the end's face. place_u : standard uncertainty of the plane's place along its normal. lost :
    length of tube trimmed off a ragged end.
    """

    origin: FloatArray
    normal: FloatArray
    how: How
    run: RunIn = field(default_factory=RunIn)
    band: float = 0.0
    place_u: float = 0.0
    lost: float = 0.0

    @property
    def square(self) -> bool:
        """Whether the plane is the scan's own, or a split's that is given; else it is only normal to the tube there."""
        return self.how in ("flat", "step", "open", "split")


def find_opening(
    vertices: FloatArray,
    faces: IntArray,
    rims: list[FloatArray],
    point: FloatArray,
    heading: FloatArray,
    section: Section,
    noise: float,
) -> Opening | None:
    """Return the opening beyond the last whole section of a tube, None where it is closed by a dome.

    point (3,) and heading (3,) outward of that section; rims : points (k, 3) of each open edge. An
    end is looked for in this order: a corner from which the tube opens at once (a spill's or a
    flange's step, a seat); a flat face seen through the tube's core; a flat rim of open edges; the
    last whole section before a ragged cut.
    """
    m = moments(section.outline)
    radius = float(np.sqrt(m.area / np.pi))
    frame = plane_frame(heading)
    outline = (section.in_space(section.outline) - point) @ frame[1:].T
    middle = (section.in_space(m.centroid[None])[0] - point) @ frame[1:].T
    core = shapely.Polygon(middle + CORE * (outline - middle)).buffer(0.0)
    aside = max(ASIDE * radius, 1.3 * float(np.linalg.norm(outline - middle, axis=1).max()))
    region = region_about(vertices, faces, point, frame, (-BEHIND * radius, AHEAD * radius), aside)
    # Of a port so short that both ends are near, the end's own.
    about = [r for r in rims if goes_round(r, point, heading, m.area)]
    rim = min(about, key=lambda r: abs(float(np.median((r - point) @ heading))), default=None)
    face = None if rim is not None else face_of(region, core, point, heading, radius, noise)
    normal, level = heading, radius * 3.0
    if rim is not None:
        level = float(((rim - point) @ heading).min())
        flat = flat_face(rim, heading)
        if (
            flat is not None
            and angle_between(flat.normal, heading) < OBLIQUE
            and flat.rms < max(WAVY * radius, 4.0 * noise)
        ):
            normal = flat.normal
    elif face is not None:
        level = face.level
        if face.is_flat:
            normal = face.normal
    corner = _corner(region, point, normal, level, radius, noise)
    if corner is not None:
        return _at_corner(region, point, normal, corner, section, radius, noise)
    if rim is not None:
        if normal is not heading and flat is not None:
            return _at_rim(region, rim, flat, radius, noise)
    elif face is None:
        return None
    elif face.is_flat:
        return _at_face(region, face, section, radius, noise)
    elif face.depth > DOMED * radius:
        return None
    whole = _last_whole(region, point, heading, level, radius)
    if whole is None:
        return None
    back = 2.0 * SPACING * radius + 2.0 * noise
    top = float(np.max((rim - point) @ heading)) if rim is not None else (face.top if face else whole)
    return Opening(point + (whole - back) * heading, heading, "trimmed", lost=max(top - whole + back, 0.0))


def _at_face(region: Region, face: Face, section: Section, radius: float, noise: float) -> Opening:
    """Return the opening in the flat face of an end."""
    # The tube's section just inside tells where the face ends and the wall begins.
    inside = face.origin - RIM_UNDER * radius * face.normal
    frames = plane_frame(face.normal)[None]
    near = tube_sections(slice_mesh(region.vertices, region.faces, inside[None], frames[:, 0]), inside[None], frames)[0]
    outline = (near or section).in_space((near or section).outline)
    rim = rim_plane(face.points, face.origin, face.normal, outline)
    run = run_in(region.vertices, region.faces, rim.origin, rim.normal, rim.low, radius, noise)
    return Opening(rim.origin, rim.normal, "flat", run, band=rim.band, place_u=rim.place_u)


def _at_rim(region: Region, rim: FloatArray, flat: FlatFace, radius: float, noise: float) -> Opening:
    """Return the opening in the plane of a flat rim (k, 3) of open edges."""
    off = (rim - flat.origin) @ flat.normal
    low, high = np.percentile(off, [2.0, 98.0])
    origin = rim.mean(axis=0)
    origin = origin - ((origin - flat.origin) @ flat.normal) * flat.normal
    run = run_in(region.vertices, region.faces, origin, flat.normal, max(-float(low), 0.0), radius, noise)
    place_u = flat.rms / np.sqrt(RIM_WAVES)
    return Opening(origin, flat.normal, "open", run, band=float(high - low), place_u=place_u)


def goes_round(rim: FloatArray, point: FloatArray, heading: FloatArray, area: float) -> bool:
    """Return whether an open edge (k, 3) goes round the tube at the end beyond a point of it.

    area : of the tube's section there. Any other open edge is a hole.
    """
    radius = np.sqrt(area / np.pi)
    flat = (rim - point) @ plane_frame(heading)[1:].T
    return bool(
        abs(moments(flat).area) > LEAST_RIM * area
        and np.linalg.norm(flat.mean(axis=0)) < radius
        and abs(float(np.median((rim - point) @ heading))) < 1.5 * radius
    )


def _profile(region: Region, point: FloatArray, normal: FloatArray, heights: FloatArray) -> FloatArray:
    """Return the tube's radius (n,) in planes at heights (n,) along a normal, nan where there is none."""
    origins = point + heights[:, None] * normal
    frames = np.repeat(plane_frame(normal)[None], len(heights), axis=0)
    loops = slice_mesh(region.vertices, region.faces, origins, frames[:, 0])
    sections = tube_sections(loops, origins, frames)
    area = [area_and_centroid(s.outline)[0] if s is not None else np.nan for s in sections]
    return np.sqrt(np.maximum(area, 0.0) / np.pi)


def _corner(
    region: Region, point: FloatArray, normal: FloatArray, level: float, radius: float, noise: float
) -> float | None:
    """Return the height at which the tube opens at once, None where it does not before its end.

    The first height where the radius grows at less than SMOOTH_GROWTH before and more than
    CORNER_GROWTH after, and that leads to LEAST_GROWTH. A flare of any radius grows by degrees.
    """
    step = SPACING * radius
    stop = min(level, 2.5 * radius) - 2.0 * noise
    heights = np.arange(FROM * radius, stop, step)
    before, after = round(BEFORE / SPACING), max(round(AFTER / SPACING), 2)
    if len(heights) < before + after + 1:
        return None
    r = _profile(region, point, normal, heights)
    for k in range(before, len(r) - 1):
        if not np.isfinite(r[k - before : k + 2]).all():
            continue
        end = min(k + after, len(r) - 1)
        grown_before = (r[k] - r[k - before]) / (heights[k] - heights[k - before])
        grown_after = (r[end] - r[k]) / (heights[end] - heights[k])
        beyond = np.nanmax(r[k:])
        if grown_before < SMOOTH_GROWTH and grown_after > CORNER_GROWTH and beyond - r[k] > LEAST_GROWTH * radius:
            inner, outer = heights[k - 1], heights[end]
            fine = np.linspace(inner, outer, 40)
            rf = _profile(region, point, normal, fine)
            # Where the growth that follows meets the wall that went before.
            wall = r[k] + grown_before * (fine - heights[k])
            over = np.flatnonzero(rf - wall > 0.004 * radius)
            return float(fine[max(over[0] - 1, 0)]) if len(over) else float(heights[k])
    return None


def _at_corner(
    region: Region,
    point: FloatArray,
    normal: FloatArray,
    height: float,
    section: Section,
    radius: float,
    noise: float,
) -> Opening:
    """Return the opening at a corner: the step's own plane where it has one, else square to the tube."""
    frame = plane_frame(normal)
    origin = point + height * normal
    arm = region.vertices - origin
    z, flat = arm @ normal, arm @ frame[1:].T
    outline = shapely.Polygon((section.in_space(section.outline) - origin) @ frame[1:].T).buffer(0.08 * radius)
    on = (np.abs(z) < 0.12 * radius) & (region.normals @ normal < STEP_FACING)
    on[on] = ~shapely.contains_xy(outline, flat[on, 0], flat[on, 1])
    step = flat_face(region.vertices[on], normal)
    if step is not None and step.rms < max(WAVY * radius, 2.5 * noise) and step.share > 0.5 and on.sum() >= 24:
        directions = np.arctan2(flat[on, 1], flat[on, 0])
        wide = len(np.unique(((directions + np.pi) / (np.pi / 6.0)).astype(int))) >= 5
        if wide and angle_between(step.normal, normal) < np.radians(10.0):
            along = ((step.origin - point) @ step.normal) / (normal @ step.normal)
            at_step = point + along * normal
            run = run_in(region.vertices, region.faces, at_step, step.normal, 0.0, radius, noise)
            place_u = step.rms / np.sqrt(RIM_WAVES)
            return Opening(at_step, step.normal, "step", run, place_u=place_u)
    run = run_in(region.vertices, region.faces, origin, normal, 0.0, radius, noise)
    return Opening(origin, normal, "corner", run, place_u=noise + CORNER_DOUBT * radius)


def _last_whole(region: Region, point: FloatArray, heading: FloatArray, level: float, radius: float) -> float | None:
    """Return the height of the last section whose area goes on as those before it."""
    heights = np.arange(FROM * radius, min(level, 2.5 * radius) + radius, SPACING * radius)
    area = np.pi * _profile(region, point, heading, heights) ** 2
    window = round(0.4 / SPACING)
    last = None
    for k in range(window, len(heights)):
        past = area[k - window : k - 2]
        if not np.isfinite(past).all():
            continue
        _, base = np.polyfit(heights[k - window : k - 2] - heights[k], past, 1)
        if not np.isfinite(area[k]) or area[k] < RAGGED * base:
            return last
        last = float(heights[k])
    return last
