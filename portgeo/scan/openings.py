"""Openings: the plane in which a mold's end was an opening of the port.

The region of a mesh about one end of the tube comes in; an Opening, or the reason why there is none,
goes out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely

from portgeo.plane import FloatArray, IntArray, moments
from portgeo.scan.course import plane_frame
from portgeo.scan.ends import rim_plane, run_in
from portgeo.section import Section
from portgeo.slicing import slice_mesh, tube_sections

# All lengths below are in radii of the tube's own section (of the circle of its area).
AHEAD, ASIDE = 3.0, 4.0  # how far beyond the end and beside it the mesh is looked at
CORE = 0.7  # of the section: what of an end's face is seen through it, clear of its walls
FACING = 0.3  # cosine between a vertex's normal and the tube's heading on the face of an end
COVERED = 0.4  # share of the core that a face must cover: less is an open end
PIECE, MOST_SPLITS = 0.25, 8  # triangles are split down to this size before they are counted
MOST_PIECES = 60_000  # that an end is judged by: bounds the work
WAVY = 0.01  # rms of a face that is still flat (0.2 mm on a 40 mm throat)
DOMED = 0.6  # a face that is deeper than this is no cut: the tube is closed there
OBLIQUE = np.radians(35.0)  # a face farther out of square is not taken for the opening
FROM, SPACING = -0.8, 0.02  # where the sections before the end begin, and how far apart they are
BEFORE, AFTER = 0.10, 0.05  # lengths over which the growth of the radius is taken, at a corner
SMOOTH_GROWTH, CORNER_GROWTH = 0.35, 0.7  # dr/ds: a taper or a flare has less, a seat or a spill more
LEAST_GROWTH = 0.05  # what a corner must open to, to be an end: a step at a seat insert opens less
STEP_FACING = -0.87  # cosine on a step's face, which looks back along the tube: a seat's cone has -0.7
LEAST_RIM = 0.3  # area of a rim of open edges, of the section's, that can be an opening
RAGGED = 0.985  # of the area that a section should have: one with less is not whole
RIM_UNDER = 0.15  # under a face, where the tube's section tells where face ends and wall begins
RIM_WAVES = 6.0  # independent stretches of a rim of open edges
NEAR_FACE = 0.1  # of a face's plane: what is of the face, domed or chipped as it may be
CORNER_DOUBT = 0.002  # how well the place of a corner is told on a clean mesh

How = Literal["flat", "step", "corner", "open", "trimmed"]


@dataclass(frozen=True)
class Opening:
    """An opening: a point (3,) in its plane, the plane's normal (3,) out of the port, how it was found.

    inset : how far inside the plane the walls are cut and carried on to it; growth, drift (3,) : as
    ends.RunIn has them. tilt : angle between the normal and the tube's heading. band : between two planes
    that hold the end's face. place_u : standard uncertainty of the plane's place along its normal. lost :
    length of tube trimmed off a ragged end.
    """

    origin: FloatArray
    normal: FloatArray
    how: How
    inset: float
    tilt: float
    growth: float = 1.0
    drift: FloatArray = field(default_factory=lambda: np.zeros(3))
    band: float = 0.0
    place_u: float = 0.0
    lost: float = 0.0

    @property
    def square(self) -> bool:
        """Whether the plane is the scan's own; else it is only normal to the tube there."""
        return self.how in ("flat", "step", "open")


@dataclass(frozen=True)
class _Region:
    """The mesh about an end: z heights along the heading and flat (n, 2) places across it."""

    vertices: FloatArray
    faces: IntArray
    normals: FloatArray
    z: FloatArray
    flat: FloatArray


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
    region = _region(vertices, faces, point, frame, (FROM * radius - 1.0, AHEAD * radius), aside)
    # Of a port so short that both ends are near, the end's own.
    about = [r for r in rims if goes_round(r, point, heading, m.area)]
    rim = min(about, key=lambda r: abs(float(np.median((r - point) @ heading))), default=None)
    face = None if rim is not None else _face(region, core, point, heading, radius, noise)
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
        return _at_corner(region, point, normal, corner, section, radius, noise, heading)
    if rim is not None:
        if normal is not heading and flat is not None:
            return _at_rim(region, rim, flat, radius, noise, heading)
    elif face is None:
        return None
    elif face.is_flat:
        return _at_face(region, face, section, radius, noise, heading)
    elif face.depth > DOMED * radius:
        return None
    whole = _last_whole(region, point, heading, level, radius)
    if whole is None:
        return None
    back = 2.0 * SPACING * radius + 2.0 * noise
    top = float(np.max((rim - point) @ heading)) if rim is not None else (face.top if face else whole)
    return Opening(point + (whole - back) * heading, heading, "trimmed", 0.0, 0.0, lost=max(top - whole + back, 0.0))


def _at_face(
    region: _Region, face: _Face, section: Section, radius: float, noise: float, heading: FloatArray
) -> Opening:
    """Return the opening in the flat face of an end."""
    # The tube's section just inside tells where the face ends and the wall begins.
    inside = face.origin - RIM_UNDER * radius * face.normal
    frames = plane_frame(face.normal)[None]
    near = tube_sections(slice_mesh(region.vertices, region.faces, inside[None], frames[:, 0]), inside[None], frames)[0]
    outline = (near or section).in_space((near or section).outline)
    rim = rim_plane(face.points, face.origin, face.normal, outline)
    run = run_in(region.vertices, region.faces, rim.origin, rim.normal, rim.low, radius, noise)
    tilt = angle_between(rim.normal, heading)
    return Opening(
        rim.origin, rim.normal, "flat", run.inset, tilt, run.growth, run.drift, band=rim.band, place_u=rim.place_u
    )


def _at_rim(
    region: _Region, rim: FloatArray, flat: FlatFace, radius: float, noise: float, heading: FloatArray
) -> Opening:
    """Return the opening in the plane of a flat rim (k, 3) of open edges."""
    off = (rim - flat.origin) @ flat.normal
    low, high = np.percentile(off, [2.0, 98.0])
    origin = rim.mean(axis=0)
    origin = origin - ((origin - flat.origin) @ flat.normal) * flat.normal
    run = run_in(region.vertices, region.faces, origin, flat.normal, max(-float(low), 0.0), radius, noise)
    return Opening(
        origin,
        flat.normal,
        "open",
        run.inset,
        angle_between(flat.normal, heading),
        run.growth,
        run.drift,
        band=float(high - low),
        place_u=flat.rms / np.sqrt(RIM_WAVES),
    )


def angle_between(a: FloatArray, b: FloatArray) -> float:
    """Return the angle between two vectors (3,)."""
    return float(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b))


def _region(
    vertices: FloatArray,
    faces: IntArray,
    point: FloatArray,
    frame: FloatArray,
    along: tuple[float, float],
    aside: float,
) -> _Region:
    """Return the mesh from `along[0]` to `along[1]` beyond a point, no farther than `aside` from its axis.

    Faces that reach out of it are in it whole: planes within meet no ragged edge.
    """
    height = vertices @ frame[0] - point @ frame[0]
    near = (height > along[0]) & (height < along[1])
    some = np.flatnonzero(near)
    far = np.einsum("ij,ij->i", vertices[some] - point, vertices[some] - point) - height[some] ** 2 > aside**2
    near[some[far]] = False
    inside = faces[near[faces[:, 0]] | near[faces[:, 1]] | near[faces[:, 2]]]
    near[inside.ravel()] = True
    some = np.flatnonzero(near)
    index = np.empty(len(vertices), dtype=np.int64)
    index[some] = np.arange(len(some))
    v, f = vertices[some], index[inside]
    a, b, c = v[f[:, 0]], v[f[:, 1]], v[f[:, 2]]
    cross = np.cross(b - a, c - a)
    corner = f.ravel()
    normals = np.column_stack([np.bincount(corner, np.repeat(cross[:, k], 3), len(v)) for k in range(3)])
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    return _Region(v, f, normals, height[some], (v - point) @ frame[1:].T)


@dataclass(frozen=True)
class FlatFace:
    """A plane through points: a point in it, its normal, the inliers' rms and their share."""

    origin: FloatArray
    normal: FloatArray
    rms: float
    share: float


def flat_face(points: FloatArray, towards: FloatArray) -> FlatFace | None:
    """Return the plane that most of the points (n, 3) lie in, its normal on the side of `towards`.

    Least median of squares over drawn triples, then least squares on what is within three standard
    deviations (Rousseeuw, J. Am. Stat. Assoc. 79, 1984). None for fewer than 8 points.
    """
    if len(points) < 8:
        return None
    draw = np.random.default_rng(len(points))
    some = points if len(points) <= 1500 else points[np.linspace(0, len(points) - 1, 1500).astype(int)]
    triples = some[draw.integers(0, len(some), (300, 3))]
    normals = np.cross(triples[:, 1] - triples[:, 0], triples[:, 2] - triples[:, 0])
    size = np.linalg.norm(normals, axis=1)
    normals, triples = normals[size > 0] / size[size > 0, None], triples[size > 0]
    if len(normals) == 0:
        return None
    off = np.abs(some @ normals.T - np.einsum("ij,ij->i", normals, triples[:, 0]))
    median = np.median(off, axis=0)
    best = int(np.argmin(median))
    origin, normal, spread = triples[best, 0], normals[best], 1.4826 * float(median[best])
    inlier = np.ones(len(points), dtype=bool)
    for _ in range(6):
        inlier = np.abs((points - origin) @ normal) <= 3.0 * spread + 1e-9
        if inlier.sum() < 4:
            return None
        origin = points[inlier].mean(axis=0)
        normal = np.linalg.svd(points[inlier] - origin, full_matrices=False)[2][2]
        spread = max(float(np.sqrt(np.mean(((points[inlier] - origin) @ normal) ** 2))), 1e-9)
    normal = normal if normal @ towards > 0 else -normal
    return FlatFace(origin, normal, spread, float(inlier.mean()))


@dataclass(frozen=True)
class _Face:
    """The face that closes an end, seen through the core: its plane, height, top, depth and all its points (n, 3)."""

    origin: FloatArray
    normal: FloatArray
    is_flat: bool
    level: float
    top: float
    depth: float
    points: FloatArray


def _pieces(region: _Region, point: FloatArray, heading: FloatArray, radius: float) -> tuple[FloatArray, int]:
    """Return triangles (k, 3, 3) beyond a point, large ones split, and how many each stands for.

    A flat face may have only a few.
    """
    beyond = (region.z[region.faces] > -0.5 * radius).all(axis=1)
    pieces = region.vertices[region.faces[beyond]]
    for _ in range(MOST_SPLITS):
        side = np.linalg.norm(pieces - np.roll(pieces, 1, axis=1), axis=2).max(axis=1)
        large = side > PIECE * radius
        if not large.any() or large.sum() > MOST_PIECES:
            break
        a, b, c = (pieces[large, k] for k in range(3))
        ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
        split = [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        pieces = np.concatenate([pieces[~large], *split])
    every = max(len(pieces) // MOST_PIECES, 1)
    return pieces[::every], every


def _face(
    region: _Region, core: shapely.Polygon, point: FloatArray, heading: FloatArray, radius: float, noise: float
) -> _Face | None:
    """Return the face of an end, None where nothing closes it."""
    pieces, every = _pieces(region, point, heading, radius)
    cross = np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0])
    middles = pieces.mean(axis=1)
    flat = (middles - point) @ plane_frame(heading)[1:].T
    faces_out = cross @ heading > FACING * np.linalg.norm(cross, axis=1)
    on = faces_out & shapely.contains_xy(core, flat[:, 0], flat[:, 1])
    if every * (cross[on] @ heading).sum() / 2.0 < COVERED * core.area:
        return None
    points = middles[on]
    z = (points - point) @ heading
    low, top = np.percentile(z, [2.0, 98.0])
    fit = flat_face(points, heading)
    if fit is None:
        return None
    is_flat = (
        fit.rms < max(WAVY * radius, 2.5 * noise) and fit.share > 0.6 and angle_between(fit.normal, heading) < OBLIQUE
    )
    level = float((fit.origin - point) @ heading) if is_flat else float(np.median(z))
    off = np.abs((middles - fit.origin) @ fit.normal)
    near = middles[faces_out & (off < NEAR_FACE * radius)]
    return _Face(fit.origin, fit.normal, is_flat, level, float(top), float(top - low), near)


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


def _profile(region: _Region, point: FloatArray, normal: FloatArray, heights: FloatArray) -> FloatArray:
    """Return the tube's radius (n,) in planes at heights (n,) along a normal, nan where there is none."""
    origins = point + heights[:, None] * normal
    frames = np.repeat(plane_frame(normal)[None], len(heights), axis=0)
    loops = slice_mesh(region.vertices, region.faces, origins, frames[:, 0])
    sections = tube_sections(loops, origins, frames)
    area = [moments(s.outline).area if s is not None else np.nan for s in sections]
    return np.sqrt(np.maximum(area, 0.0) / np.pi)


def _corner(
    region: _Region, point: FloatArray, normal: FloatArray, level: float, radius: float, noise: float
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
    region: _Region,
    point: FloatArray,
    normal: FloatArray,
    height: float,
    section: Section,
    radius: float,
    noise: float,
    heading: FloatArray,
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
            tilt = angle_between(step.normal, heading)
            return Opening(at_step, step.normal, "step", run.inset, tilt, run.growth, run.drift, place_u=place_u)
    run = run_in(region.vertices, region.faces, origin, normal, 0.0, radius, noise)
    doubt = noise + CORNER_DOUBT * radius
    return Opening(
        origin, normal, "corner", run.inset, angle_between(normal, heading), run.growth, run.drift, place_u=doubt
    )


def _last_whole(region: _Region, point: FloatArray, heading: FloatArray, level: float, radius: float) -> float | None:
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
