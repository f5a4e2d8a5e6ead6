"""Ends: where the wall of a tube ends, how flat the face is that it ends in, and how the tube runs into it.

The mesh about an end and the points of its face come in; the plane through the wall's end, and how far
inside it the tube is whole, go out.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

from portgeo.core.plane import FloatArray, IntArray, area_and_centroid
from portgeo.core.section import area_of
from portgeo.core.slicing import slice_mesh, tube_sections
from portgeo.scan.course import plane_frame

# Lengths are in radii of the tube's own section (of the circle of its area), where no unit is named.
RIM = 0.25  # width of the band inside the wall whose face tells where the wall ends
RIM_EDGE = 0.04  # of it that is left out: an edge is rounded by the size of a triangle
MOST_POINTS = 6000  # of a face that its plane is told from: bounds the work
SECTORS = 12  # round the rim: waves longer than one of them count as independent from sector to sector
DOME_DOUBT = 0.1  # of what a dome rises inside the band: how well a parabola carries it on to the wall
OUTLYING = 3.0  # standard deviations: a chip, a burr
LOWEST = 0.1  # per cent of a face's points under its low: single points, and chips, which are seen by their area
LEAST_RIM = 30  # points of the band that tell a plane
NOISES = 3.0  # standard deviations of the mesh that the walls are read short of the plane
LEAST = 2e-4  # at least so much
STEP, REACH = 0.0125, 0.8  # between sections inside an end, and how far in they go
CLEAR = 0.45  # so far in a plane that is askew by 35 degrees stays clear of where the mesh about the end stops
SURE = 0.32  # from here on in the tube is taken for whole
LAGS = 2, 6  # steps over which the growth of a section is taken: a sharp edge, a wide chip
TREND = 3, 20  # steps farther in, whose growth tells what it should be
EDGE = 0.01  # slope of the whole wall: more, and more than noise makes, is an edge or a chip
BREAK = 3  # steps with nothing lost end what an edge takes
SCATTERS = 4.0  # of the growth, farther in
SLOPE = 0.65  # the stretch that is carried on to the plane


@dataclass(frozen=True)
class RimPlane:
    """The plane in which a wall ends: a point (3,) in it, normal (3,) out of the port.

    band : distance between two planes that hold the end's face but for its highest and lowest fiftieth.
    low : how far under the plane the face lies in places. place_u : standard uncertainty of the
    plane's place along its normal.
    """

    origin: FloatArray
    normal: FloatArray
    band: float
    low: float
    place_u: float


@dataclass(frozen=True)
class RunIn:
    """How a tube runs into its opening: from `inset` under the plane on the mesh's own edge is left out.

    growth : what the section's lengths are multiplied by on the way to the plane; area_u : standard uncertainty of
    its area from that, as a share. drift (3,) : what its middle moves by, in the plane. tilt : angle between the
    tube and the plane's normal; tilt_u : its standard uncertainty, infinite where nothing is known of it.
    """

    inset: float = 0.0
    growth: float = 1.0
    area_u: float = 0.0
    drift: FloatArray = field(default_factory=lambda: np.zeros(3))
    tilt: float = 0.0
    tilt_u: float = np.inf


def rim_plane(points: FloatArray, origin: FloatArray, normal: FloatArray, outline: FloatArray) -> RimPlane:
    """Return the plane in which the wall ends, by the points (n, 3) of the face that it ends in.

    origin, normal : a first plane. outline (k, 3) : the tube's section near it. A face may be domed: a
    quadratic through it is carried on to the wall, and put right by the band of face next to the wall.
    """
    frame = plane_frame(normal)
    every = max(len(points) // MOST_POINTS, 1)
    arm = points[::every] - origin
    flat, height = arm @ frame[1:].T, arm @ normal
    ring = (outline - origin) @ frame[1:].T
    polygon = shapely.Polygon(ring).buffer(0.0)
    radius = float(np.sqrt(polygon.area / np.pi))
    from_wall = shapely.distance(shapely.points(flat), polygon.boundary)
    inside = shapely.contains_xy(polygon, flat[:, 0], flat[:, 1]) & (from_wall > RIM_EDGE * radius)
    flat, height, from_wall = flat[inside] / radius, height[inside], from_wall[inside]
    if len(height) < LEAST_RIM:
        return RimPlane(origin, normal, 0.0, 0.0, 0.0)
    ring = ring / radius
    dome = _robust_fit(_quadratic(flat), height)
    at_ring = _quadratic(ring) @ dome
    near = from_wall < RIM * radius
    if near.sum() < LEAST_RIM:
        near = np.ones(len(flat), dtype=bool)
    over = height - _quadratic(flat) @ dome
    plane = np.linalg.lstsq(_linear(ring), at_ring, rcond=None)[0] + _robust_fit(_linear(flat[near]), over[near])
    off = height - _linear(flat) @ plane
    low, high = np.percentile(off, [2.0, 98.0])
    rises = float(np.mean(_quadratic(flat[near]) @ dome) - np.mean(at_ring))
    about = near & (np.abs(over) < OUTLYING * 1.4826 * float(np.median(np.abs(over))) + 1e-12)
    sector = ((np.arctan2(flat[about, 1], flat[about, 0]) / (2.0 * np.pi)) % 1.0 * SECTORS).astype(int) % SECTORS
    count = np.bincount(sector, minlength=SECTORS)
    means = (np.bincount(sector, over[about], minlength=SECTORS) / np.maximum(count, 1))[count > 0]
    scatter = float(np.std(means, ddof=1) / np.sqrt(len(means))) if len(means) > 1 else 0.0
    # The plane as z over (x, y): its normal and the foot of the first origin on it.
    tilted = normal - (plane[1] * frame[1] + plane[2] * frame[2]) / radius
    return RimPlane(
        origin + plane[0] * normal,
        tilted / np.linalg.norm(tilted),
        float(high - low),
        max(-float(np.percentile(off, LOWEST)), 0.0),
        float(np.hypot(scatter, DOME_DOUBT * rises)),
    )


def run_in(
    vertices: FloatArray,
    faces: IntArray,
    origin: FloatArray,
    normal: FloatArray,
    low: float,
    radius: float,
    noise: float,
) -> RunIn:
    """Return how a tube runs into the plane of its opening.

    vertices, faces : the mesh about the end. low : how far under the plane the wall's end lies in places.
    Going inward, a section that the end's own edge cuts is followed by a larger one; from the last such on
    the tube is whole. From there the section goes on to the plane as it grew up to there, by a cubic:
    what parabolas, over as much of it and over half, make of it instead is its uncertainty.
    """
    first = max(NOISES * noise, LEAST * radius, low + noise if low > 0.0 else 0.0)
    count = round(REACH / STEP)
    depth = np.linspace(first, first + STEP * radius * (count - 1), count)
    origins = origin - depth[:, None] * normal
    frames = np.repeat(plane_frame(normal)[None], len(depth), axis=0)
    sections = tube_sections(slice_mesh(vertices, faces, origins, frames[:, 0]), origins, frames)
    area = np.array([np.nan if s is None else area_of(s) for s in sections])  # a trough of the face is an island
    middle = np.array([np.full(2, np.nan) if s is None else area_and_centroid(s.outline)[1] for s in sections])
    sure = np.isfinite(area) & (depth >= first + SURE * radius)
    if sure.sum() < 8:
        return RunIn(first)
    k = _first_whole(area, 2.0 * np.sqrt(np.pi * float(np.median(area[sure]))), STEP * radius)
    inset = float(depth[k])
    near = np.isfinite(area) & (depth >= inset) & (depth <= inset + SLOPE * radius)
    if near.sum() < 8:
        return RunIn(inset)
    under = np.vander(depth[near] / radius, 4, increasing=True)
    at_inset = (inset / radius) ** np.arange(4)
    drift = np.linalg.lstsq(under[:, :3], middle[near], rcond=None)[0]
    half = depth[near] <= inset + SLOPE * radius / 2.0
    fits = [_robust_fit(under[:, :4], area[near])]
    fits += [_robust_fit(under[some, :3], area[near][some]) for some in (np.ones_like(half), half)]
    grown, *others = (fit[0] / (at_inset[: len(fit)] @ fit) for fit in fits)
    growth = float(np.sqrt(np.clip(grown, 0.8, 1.25)))
    clear = depth < first + CLEAR * radius
    tilt, tilt_u = _tilt(depth[k:][clear[k:]], middle[k:][clear[k:]])
    shift = (drift[0] - at_inset[:3] @ drift) @ frames[0, 1:]
    return RunIn(inset, growth, float(np.abs(grown - np.array(others)).max()), shift, tilt, tilt_u)


def _tilt(depth: FloatArray, middle: FloatArray) -> tuple[float, float]:
    """Return the angle between a tube and the normal of planes at depths (n,), and how well it is known.

    middle (n, 2) : of the sections there, all parallel: in a straight tube they move aside by the tangent of
    the angle. Where it bends, a line and a parabola through them differ at depth 0 by as much as is not known.
    """
    known = np.isfinite(middle).all(axis=1)
    if known.sum() < 8:
        return 0.0, np.inf
    line, parabola = (np.polynomial.polynomial.polyfit(depth[known], middle[known], degree)[1] for degree in (1, 2))
    return float(np.arctan(np.linalg.norm(parabola))), float(np.arctan(np.linalg.norm(parabola - line)))


def _first_whole(area: FloatArray, girth: float, step: float) -> int:
    """Return the first of sections, from an opening inward, that the end's own edge takes nothing off.

    A wall grows or shrinks by degrees: how a section's area changes is what the changes farther in lead
    to. What an edge takes off is gone at once.
    """
    sure, k = round(SURE / STEP), 0
    ahead = np.arange(TREND[0], TREND[1])
    # A straight line through the changes at ahead, read at 0.
    weights = np.linalg.pinv(np.vander(ahead, 2, increasing=True).astype(float))[0]
    for lag in LAGS:
        gain = (area[lag:] - area[:-lag]) / (lag * step)
        rows = len(gain) - TREND[1] + 1
        over = gain[:rows] - np.array([gain[j + ahead] @ weights for j in range(rows)])
        calm = over[sure:]
        scatter = 1.4826 * float(np.median(np.abs(calm[np.isfinite(calm)]))) if np.isfinite(calm).any() else 0.0
        lost = ~(over[:sure] < max(SCATTERS * scatter, EDGE * girth))
        # From the end on without a break: farther in it is the tube's own.
        at = np.concatenate([[-1], np.flatnonzero(lost), [sure + BREAK]])
        last = int(at[np.flatnonzero(np.diff(at) > BREAK)[0]])
        if last >= 0:
            k = max(k, last + lag + 1)
    return k


def _linear(flat: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(len(flat)), flat])


def _quadratic(flat: FloatArray) -> FloatArray:
    x, y = flat.T
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])


def _robust_fit(terms: FloatArray, values: FloatArray) -> FloatArray:
    """Return the coefficients of a least-squares fit to values (n,), outlying ones left out in turn."""
    kept = np.ones(len(values), dtype=bool)
    for _ in range(4):
        fit = np.linalg.lstsq(terms[kept], values[kept], rcond=None)[0]
        off = np.abs(values - terms @ fit)
        spread = 1.4826 * float(np.median(off[kept]))
        now = off <= OUTLYING * spread + 1e-12
        if now.sum() <= terms.shape[1] + 2 or (now == kept).all():
            break
        kept = now
    return np.asarray(fit)
