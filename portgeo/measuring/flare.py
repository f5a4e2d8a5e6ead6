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
DEPTHS = 40  # sections looked at
NUDGE = 0.01  # squared, of the reach: the first section stands just inside the flat opening
REACH = 0.6  # of the opening's radius: a larger rounding than this is the port's own taper
LEAST_OPENING = np.radians(25.0)  # a wall that leans out by less at the opening is not rounded there
LEAN = np.radians(6.0)  # a wall that leans by less is past the rounding
MAY_LEAN = 0.75  # of that: a face that leans by less at its corner leans by less than that all over
STEP, ROUGH_STEP = 0.04, 20.0  # depth over which a lean is taken: of the opening, or of the noise
LEAST_POINTS = 4  # sections that a circle is fitted to
LEAST_RADIUS = 3.0  # standard deviations of the mesh: a smaller rounding is its roughness


@dataclass(frozen=True)
class Flare:
    """Radius (12,) of an opening's rounding by clock position, from 12 o'clock on; nan where square."""

    radius: FloatArray


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
        return Flare(np.full(CLOCK, np.nan))
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
    clock = 2.0 * np.pi * np.arange(CLOCK) / CLOCK
    rays = (clock[:, None] + BESIDE).ravel()
    across = np.column_stack([-np.sin(rays), np.cos(rays)])  # left, up: 3 o'clock is the right wall
    walls = np.array(
        [np.full(len(across), np.nan) if s is None else _walls(s.outline, middle, across) for s in sections]
    )
    walls = walls.reshape(DEPTHS, CLOCK, len(BESIDE)).mean(axis=2)
    step = max(STEP * size, ROUGH_STEP * port.noise)
    return Flare(np.array([_rounding(depth, walls[:, k], step, port.noise) for k in range(CLOCK)]))


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
    return radius if np.isfinite(radius) and radius > LEAST_RADIUS * noise else float("nan")
