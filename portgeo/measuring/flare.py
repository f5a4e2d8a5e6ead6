"""Flare: how an opening's edge is rounded, by clock position.

A Port comes in; the radius of the rounding round its entry or its exit goes out, nan where the edge is
square.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray, fit_circle
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Section
from portgeo.core.skin import Rings
from portgeo.core.slicing import slice_mesh, tube_sections

CLOCK = 12  # positions: 12 o'clock is the roof, 3 the right wall seen looking into the entry
BESIDE = np.radians([-8.0, -4.0, 0.0, 4.0, 8.0])  # rays about each position, whose mean evens roughness out
APART = 3.0  # rays independent of one another that those are worth: rough walls of known radius scatter by less
DEPTHS = 40  # sections looked at
NUDGE = 0.01  # squared, of the reach: the first section stands just inside the flat opening
REACH = 0.6  # of the opening's radius: a larger rounding than this is the port's own taper
LEAST_OPENING = np.radians(25.0)  # a wall that leans out by less at the opening is not rounded there
LEAN = np.radians(6.0)  # a wall that leans by less is past the rounding
MAY_LEAN = 0.75  # of that: a face that leans by less at its corner leans by less than that all over
STEP, ROUGH_STEP = 0.04, 20.0  # depth over which a lean is taken: of the opening, or of the noise
LEAST_POINTS = 4  # sections that a circle is fitted to
STEEP = 0.08  # of a rounding's radius: nearer to the opening a wall lies so flat that roughness puts it out of place
PAST = 2.0  # of its depth: the wall so far past a rounding's end helps to say where it ends
LEAST_RADIUS = 3.0  # standard deviations of the mesh: a smaller rounding is its roughness


@dataclass(frozen=True)
class Flare:
    """Radius (12,) of an opening's rounding by clock position, from 12 o'clock on; nan where square.

    radius_u (12,) : its standard uncertainty; nan where none can be told.
    """

    radius: FloatArray
    radius_u: FloatArray


SQUARE = Flare(np.full(CLOCK, np.nan), np.full(CLOCK, np.nan))


def flare(port: Port, at_exit: bool = False, opening: Section | None = None) -> Flare:
    """Return the rounding of a port's entry, or of its exit; opening : the section there, where it is known.

    Sections are taken down from the opening as deep as a rounding can be. In each of twelve directions
    from their middle the wall's line in depth is followed: where it leans out at the opening by
    LEAST_OPENING and comes upright within that depth, a circle is fitted to what leans.
    """
    first, last = port.centreline.stations[[0, -1]]
    if opening is None:
        opening = sections_at(port, np.array([last if at_exit else first]))[0]
    middle = (opening.outline.max(axis=0) + opening.outline.min(axis=0)) / 2.0
    size = float(np.sqrt(np.prod(np.ptp(opening.outline, axis=0)))) / 2.0
    depth = min(REACH * size, 0.4 * (last - first)) * np.linspace(NUDGE, 1.0, DEPTHS) ** 2
    if isinstance(port.mesh, Rings) and not _leans(port.mesh, opening, middle, float(depth[-1]), at_exit):
        return SQUARE
    clock = 2.0 * np.pi * np.arange(CLOCK) / CLOCK
    if port.readings:
        read = _from_rows(port, depth[-1], clock, middle, at_exit)
        if read is not None:
            return read
    # Planes beside the opening's own: a line of centroids would sway in so steep a wall.
    frame = opening.frame
    inward = -frame[0] if at_exit else frame[0]
    origins = opening.origin + depth[:, None] * inward
    frames = np.repeat(frame[None], DEPTHS, axis=0)
    # Of a large mesh only what is about the opening.
    height = (port.vertices - opening.origin) @ inward
    deep, out = height > depth[-1], height < 0.0
    a, b, c = port.faces.T
    near = port.faces[~((deep[a] & deep[b] & deep[c]) | (out[a] & out[b] & out[c]))]
    used, faces = np.unique(near, return_inverse=True)
    loops = slice_mesh(port.vertices[used], faces.reshape(-1, 3), origins, frames[:, 0])
    sections = tube_sections(loops, origins, frames)
    across = _ways((clock[:, None] + BESIDE).ravel())
    walls = np.array(
        [np.full(len(across), np.nan) if s is None else _walls(s.outline, middle, across) for s in sections]
    )
    walls = walls.reshape(DEPTHS, CLOCK, len(BESIDE))
    step = max(STEP * size, ROUGH_STEP * port.noise)
    radius = np.array([_rounding(depth, walls[:, k].mean(axis=1), step, port.noise) for k in range(CLOCK)])
    if port.readings:
        return Flare(radius, np.full(CLOCK, np.nan))  # too few rows to say how far the wall between them is off
    # Rays beside each other read one radius, and how they differ says how sure it is. Roughness hangs together from
    # ray to ray: five of them are worth about APART.
    beside = np.array([[_rounding(depth, ray, step, port.noise) for ray in walls[:, k].T] for k in range(CLOCK)])
    scatter = np.array([np.std(of[np.isfinite(of)], ddof=1) if np.isfinite(of).sum() > 2 else np.nan for of in beside])
    pooled = float(np.sqrt(np.nanmean(scatter**2) / APART)) if np.isfinite(scatter).any() else np.nan
    return Flare(radius, np.where(np.isfinite(radius), pooled, np.nan))


def _ways(rays: FloatArray) -> FloatArray:
    """Return directions (n, 2), left and up, of angles round the clock: 3 o'clock is the right wall."""
    return np.column_stack([-np.sin(rays), np.cos(rays)])


def _from_rows(port: Port, deepest: float, clock: FloatArray, middle: FloatArray, at_exit: bool) -> Flare | None:
    """Return the rounding that the rows read in it say; None where too few were.

    A circle goes through what was read, not through what was drawn between. Each row's reading, half of which is the
    wall's, is moved by its error to see what the radius does.
    """
    step = -1 if at_exit else 1
    depth = np.abs(port.rows - port.rows[0 if step > 0 else -1])[::step]
    near = np.flatnonzero(depth <= deepest)
    if len(near) < LEAST_POINTS:
        return None
    depth, readings = depth[near], [port.readings[::step][k] for k in near]
    sections = sections_at(port, port.rows[::step][near])
    walls = np.array([_walls(section.outline, middle, _ways(clock)) for section in sections])
    roundings = np.array([_rounding_of_rows(depth, walls[:, k]) for k in range(CLOCK)])
    if not np.isfinite(roundings).any():
        return None
    squares = np.zeros(CLOCK)
    for k, reading in enumerate(readings):
        moved = walls.copy()
        moved[k] += reading.error / 2.0
        radii = np.array([_rounding_of_rows(depth, moved[:, j]) for j in range(CLOCK)])
        squares += np.where(np.isfinite(radii), radii - roundings, 0.0) ** 2
    return Flare(roundings, np.where(np.isfinite(roundings), np.sqrt(squares), np.nan))


def _rounding_of_rows(depth: FloatArray, wall: FloatArray) -> float:
    """Return the radius of the circle that a wall's line follows through the rows of a rounding; nan where none is."""
    lean = np.arctan2(wall[:-1] - wall[1:], np.diff(depth))
    upright = np.flatnonzero(lean < LEAN)
    end = int(upright[0]) if len(upright) else len(lean)
    if end + 1 < LEAST_POINTS or lean[0] < LEAST_OPENING:
        return float("nan")
    radius = fit_circle(np.column_stack([depth[: end + 1], wall[: end + 1]])).radius
    return radius if np.isfinite(radius) else float("nan")


def _leans(rings: Rings, opening: Section, middle: FloatArray, depth: float, at_exit: bool) -> bool:
    """Return whether any face within a depth of an opening may lean out by LEAST_OPENING, seen from its middle.

    A wall whose faces all stand upright is told without a cut.
    """
    ahead = -opening.frame[0] if at_exit else opening.frame[0]
    near = np.flatnonzero(((rings.space - opening.origin) @ ahead).min(axis=1) <= depth)
    near = near[near < len(rings.space) - 1] if not at_exit else np.maximum(near - 1, 0)
    arm = np.repeat(rings.space[near] - opening.in_space(middle[None])[0], 2, axis=1)
    arm -= (arm @ ahead)[..., None] * ahead
    normals = rings.normals[near].swapaxes(1, 2)
    outward = np.abs(np.einsum("kni,kni->kn", normals, arm)) / np.maximum(np.linalg.norm(arm, axis=2), 1e-12)
    return bool((np.abs(normals @ ahead) > MAY_LEAN * np.tan(LEAST_OPENING) * outward).any())


def _walls(outline: FloatArray, middle: FloatArray, directions: FloatArray) -> FloatArray:
    """Return how far (k,) an outline's wall is from a point along directions (k, 2), at the farthest crossing."""
    p = (outline - middle).T
    q = np.roll(p, -1, axis=1)
    across = directions @ np.array([[0.0, 1.0], [-1.0, 0.0]])
    side_p, side_q = across @ p, across @ q
    crosses = (side_p < 0) != (side_q < 0)
    share = np.divide(side_p, side_p - side_q, out=np.zeros_like(side_p), where=crosses)
    along_p = directions @ p
    hit = np.where(crosses, along_p + share * (directions @ q - along_p), -np.inf).max(axis=1)
    return np.where(np.isfinite(hit), hit, np.nan)


def _rounding(depth: FloatArray, wall: FloatArray, step: float, noise: float) -> float:
    """Return the radius of the circle that a wall's line (depth, distance) follows into an opening."""
    # The lean over a step in depth long enough that the mesh's roughness tells little.
    starts = depth[depth + step <= depth[-1]]
    lean = np.arctan2(wall[: len(starts)] - np.interp(starts + step, depth, wall), step)
    upright = np.flatnonzero(lean < LEAN)
    if not np.isfinite(wall).all() or len(upright) == 0 or upright[0] < LEAST_POINTS:
        return float("nan")
    end = int(upright[0])
    if lean[:end].max() < LEAST_OPENING:
        return float("nan")
    radius = fit_circle(np.column_stack([depth[: end + 1], wall[: end + 1]])).radius
    if noise > 0.0 and np.isfinite(radius):
        radius = _into_the_tube(depth, wall, float(depth[end]), radius)
    return radius if np.isfinite(radius) and radius > LEAST_RADIUS * noise else float("nan")


def _into_the_tube(depth: FloatArray, wall: FloatArray, end: float, radius: float) -> float:
    """Return the radius of the circle that runs, without a corner, into the straight wall past a rounding.

    end, radius : where the rounding seems to end, and a circle's radius over that. Roughness hides where it ends, and
    a circle alone that takes in some of the wall past it reads large; the two fitted as one curve do not.
    """
    from scipy.optimize import least_squares

    near = (depth >= STEEP * radius) & (depth <= PAST * end)
    depth, wall = depth[near], wall[near]
    size = float(wall[-1])

    def off(given: FloatArray) -> FloatArray:
        bore, lean, begins, curved = given
        along = np.array([np.cos(lean), -np.sin(lean)])
        outward = np.array([np.sin(lean), np.cos(lean)])
        start = np.array([begins, bore])  # of the straight wall, where the circle touches it
        arm = np.column_stack([depth, wall]) - start
        on_line = arm @ along >= 0.0
        round_it = np.linalg.norm(arm - curved * outward, axis=1)
        return np.where(on_line, arm @ outward, curved - round_it)

    fit = least_squares(off, [size, 0.0, end, radius], x_scale=[size, 0.1, end, radius])
    return float(fit.x[3]) if fit.success and fit.x[3] > 0.0 else radius
