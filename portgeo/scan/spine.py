"""Spine: the centreline of a tube, to which its sections are normal and which runs through their
centroids. A closed tube and its two openings come in; a Centreline goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.interpolate import BSpline

from portgeo.core.centreline import Centreline, through
from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray, area_and_centroid
from portgeo.core.section import Section
from portgeo.core.slicing import slice_mesh, tube_sections

KNOT = 0.3  # of the tube's radius, between knots: shorter waves are not the tube's course but its wall
PLANES_PER_KNOT = 3  # sections that each stretch is fitted to
MOST_KNOTS = 120  # bounds the work on a long runner
STEADY_MM = 0.003  # the curve has come to rest: well within the 0.01 mm that is promised
COARSE_ROUNDS, RELAX_ROUNDS, FULL_ROUNDS = (
    12,
    5,
    8,
)  # at most: on the coarse copy, while it is stiffened, on the full mesh
DAMPING = 0.6  # of the way to the centroids a round: undamped, short waves grow in a tapered bend
STIFFNESS = 1e-3  # against change of curvature from knot to knot; 1e-3 moves an elbow's ends by 0.01 mm
ROOM = 0.92  # of its radius of curvature that a section may reach inward: at 1 planes cross at the wall
FIRST_STIFF = 0.1  # where planes cross: a hundred times the common stiffness
AT_END = 1e-3  # radii: so near to the plane of an end a point is one of the flat end's
RELAX = 3.0  # how much stiffer a stretch gets each time its planes still cross
MOST_RELAXED = 7  # times
HOLLOW = 1.02  # hull over area: sections with less have no notch worth looking for
NOTCH = 0.5  # of the tube's radius, half the width of what counts as a notch: a guide boss
ROUGH = 0.02  # of the tube's radius: what an outline that crosses itself is evened to
NODES_PER_KNOT = 8  # nodes of the finished centreline


@dataclass(frozen=True)
class Curve:
    """A clamped cubic spline in its own length: knots, coefficients (k, 3), length."""

    knots: FloatArray
    coefficients: FloatArray

    @property
    def length(self) -> float:
        return float(self.knots[-1])

    def at(self, s: FloatArray, order: int = 0) -> FloatArray:
        """Return points (n, 3) of the curve, or its derivatives of an order."""
        return BSpline(self.knots, self.coefficients, 3)(s, nu=order)

    def reversed(self) -> Curve:
        """Return the curve run the other way."""
        return Curve(self.length - self.knots[::-1], self.coefficients[::-1])


def fit_curve(
    s: FloatArray,
    points: FloatArray,
    start: tuple[FloatArray, FloatArray | None],
    end: tuple[FloatArray, FloatArray | None],
    pieces: int,
    stiffness: FloatArray,
) -> Curve:
    """Return the least-squares cubic spline through points (n, 3) at lengths s (n,).

    start, end : the place of each end, and its heading along the curve, free where None. pieces :
    number of stretches. stiffness : (pieces,) further weight on the change of curvature in
    each stretch.
    """
    length = float(s[-1])
    inner = np.linspace(0.0, length, pieces + 1)
    knots = np.concatenate([np.zeros(3), inner, np.full(3, length)])
    count = pieces + 3
    design = BSpline.design_matrix(np.clip(s, 0.0, length), knots, 3).toarray()
    weight = np.sqrt(len(s) / count)
    change = np.diff(np.eye(count), n=3, axis=0)
    # The change of curvature at a knot is stiffened with the stretches beside it.
    beside = np.clip(np.arange(len(change)), 0, pieces - 1)
    change = change * (np.sqrt(STIFFNESS + stiffness[beside]) * weight)[:, None]
    system = np.vstack([design, change])
    wanted = np.vstack([points, np.zeros((len(change), 3))])
    fixed = {0: start[0], count - 1: end[0]}
    span = length / pieces / 3.0
    if start[1] is not None:
        fixed[1] = start[0] + span * start[1]
    if end[1] is not None:
        fixed[count - 2] = end[0] - span * end[1]
    at = np.array(sorted(fixed))
    held = np.array([fixed[k] for k in at])
    free = np.setdiff1d(np.arange(count), at)
    coefficients = np.empty((count, 3))
    coefficients[at] = held
    coefficients[free] = np.linalg.lstsq(system[:, free], wanted - system[:, at] @ held, rcond=None)[0]
    return Curve(knots, coefficients)


def _own_length(curve: Curve, count: int) -> tuple[FloatArray, FloatArray]:
    """Return `count` parameters at equal steps of the curve's own length, and these lengths."""
    u = np.linspace(0.0, curve.length, 6 * count)
    speed = np.linalg.norm(curve.at(u, 1), axis=1)
    length = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2.0 * np.diff(u))])
    s = np.linspace(0.0, length[-1], count)
    return np.interp(s, length, u), s


@dataclass(frozen=True)
class _State:
    curve: Curve
    stiffness: FloatArray
    shift: float
    tight: FloatArray
    missing: int


@dataclass(frozen=True)
class Settled:
    """A curve at rest; the stretch (from, to) along it where it was stiffened, None where nowhere;
    whether planes still cross inside the port."""

    curve: Curve
    stretch: tuple[float, float] | None
    crossing: bool

    def reversed(self) -> Settled:
        """Return the same run the other way."""
        length = self.curve.length
        turned = None if self.stretch is None else (length - self.stretch[1], length - self.stretch[0])
        return Settled(self.curve.reversed(), turned, self.crossing)

    def told(self) -> list[Notice]:
        """Return the notice that the curve was stiffened, with its stations."""
        if self.stretch is None:
            return []
        start, end = self.stretch
        return [Notice("planes_relaxed", case="crossing" if self.crossing else "eased", start=start, end=end)]


_End = tuple[FloatArray, FloatArray | None]
Ends = tuple[_End, _End]


def _begun(ends: Ends, course: FloatArray, radius: float) -> tuple[_End, _End, Curve, int]:
    """Return where and how a curve begins and ends, a curve about its course, and of how many pieces it shall be."""
    (first, out), end = ends
    start = (first, None if out is None else -out)
    points = np.vstack([first, course, end[0]])
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    pieces = int(np.clip(np.ceil(s[-1] / (KNOT * radius)), 4, MOST_KNOTS))
    curve = fit_curve(s, points, start, end, max(pieces // 2, 4), np.zeros(max(pieces // 2, 4)))
    return start, end, curve, pieces


def first_curve(mesh: tuple[FloatArray, IntArray], ends: Ends, course: FloatArray, radius: float) -> Curve:
    """Return the curve as settle has it, but for what that does about planes that cross: to see where a tube leads."""
    start, end, curve, pieces = _begun(ends, course, radius)
    return _rounds(mesh, curve, np.zeros(pieces), start, end, radius, RELAX_ROUNDS).curve


def settle(
    coarse: tuple[FloatArray, IntArray],
    full: tuple[FloatArray, IntArray],
    ends: Ends,
    course: FloatArray,
    radius: float,
) -> Settled:
    """Return the curve through the centroids of the sections normal to it.

    coarse, full : (vertices, faces) of the closed tube. ends : the centroids of its two openings, where
    the curve begins and ends, each with the normal out of the port that it keeps to, or None.
    course : (n, 3) rough middles between them. Where the tube turns so tightly that neighbouring
    planes would cross inside it, the curve is stiffened there until they do not.
    """
    start, end, curve, pieces = _begun(ends, course, radius)
    stiffness = np.zeros(pieces)
    relaxed = np.zeros(pieces, dtype=bool)
    for again in range(MOST_RELAXED + 1):
        state = _rounds(coarse, curve, stiffness, start, end, radius, RELAX_ROUNDS if again else COARSE_ROUNDS)
        curve = state.curve
        if not state.tight.any():
            break
        # A turn too tight for its height is spread evenly over a stretch that grows into its legs.
        relaxed = np.convolve((relaxed | state.tight).astype(float), np.ones(3), mode="same") > 0
        stiffness[relaxed] = np.maximum(stiffness[relaxed] * RELAX, FIRST_STIFF)
    if full[1] is not coarse[1] or state.shift >= STEADY_MM:
        state = _rounds(full, curve, stiffness, start, end, radius, FULL_ROUNDS)
    if state.missing:
        raise GeometryError(
            f"{state.missing} planes along the tube cut no closed section of it",
            hint="Look at the mesh between the openings: it must be one tube; repair it or scan it again",
        )
    stretch = None
    if relaxed.any():
        at = np.flatnonzero(relaxed) / pieces * state.curve.length
        stretch = float(at[0]), float(at[-1] + state.curve.length / pieces)
    return Settled(state.curve, stretch, bool(state.tight.any()))


def _rounds(
    mesh: tuple[FloatArray, IntArray],
    curve: Curve,
    stiffness: FloatArray,
    start: tuple[FloatArray, FloatArray | None],
    end: tuple[FloatArray, FloatArray | None],
    radius: float,
    most: int,
) -> _State:
    """Return the curve after rounds of slicing and fitting, as many as bring it to rest."""
    pieces = len(stiffness)
    count = PLANES_PER_KNOT * pieces
    shift, tight, missing = np.inf, np.zeros(pieces, dtype=bool), 0
    for _ in range(most):
        u, s = _own_length(curve, count + 1)
        points = curve.at(u)
        tangents = curve.at(u, 1)
        tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
        frames = _any_frames(tangents)
        sections = sections_of(mesh, points[1:-1], frames[1:-1])
        target = points.copy()
        reach = np.zeros(count + 1)
        bend = _curvature(curve, u)
        missing = 0
        centroids = middles(sections, radius)
        for k, section in enumerate(sections, start=1):
            if section is None:
                missing += 1
                continue
            centroid = centroids[k - 1]
            target[k] = points[k] + DAMPING * (centroid @ section.frame[1:])
            reach[k] = float((section.outline @ (section.frame[1:] @ bend[k])).max())
            if _through_end(section, start, end, AT_END * radius):
                reach[k] = np.inf
        for at_end, (section, (_, heading)) in {0: (sections[0], start), count: (sections[-1], end)}.items():
            if section is not None and heading is not None:  # planes nearer to it than the next may leave through it
                reach[at_end] = float((section.outline @ (section.frame[1:] @ bend[at_end])).max())
        new = fit_curve(s, target, start, end, pieces, stiffness)
        move = new.at(s) - points
        move -= np.einsum("ij,ij->i", move, tangents)[:, None] * tangents  # along itself it stays the same curve
        shift = float(np.linalg.norm(move, axis=1).max())
        over = reach > ROOM
        tight = np.array([over[PLANES_PER_KNOT * k : PLANES_PER_KNOT * (k + 1) + 1].any() for k in range(pieces)])
        curve = new
        if shift < STEADY_MM:
            break
    return _State(curve, stiffness, shift, tight, missing)


def _through_end(section: Section, start: _End, end: _End, within: float) -> bool:
    """Return whether a section's plane crosses that of an end which the curve keeps to, inside the tube.

    There the section goes along the flat end, and shows less of the tube than there is.
    """
    points = section.in_space(section.outline)
    return any(
        heading is not None and bool((sign * (points - place) @ heading).min() < within)
        for (place, heading), sign in ((start, 1.0), (end, -1.0))
    )


def middles(sections: list[Section | None], radius: float) -> FloatArray:
    """Return the centroids (n, 2) of sections, in their own planes; zero where there is none.

    Islands count as air, and so do notches too narrow to be the tube's own form: a guide boss is let
    in from the wall in one section and stands free in the next, and the centreline of the port does
    not jump there.
    """
    found = np.zeros((len(sections), 2))
    at = [k for k, s in enumerate(sections) if s is not None]
    outlines = [s.outline for s in sections if s is not None]
    shapes = np.array([shapely.Polygon(o) for o in outlines])
    measured = [area_and_centroid(o) for o in outlines]
    hollow = shapely.area(shapely.convex_hull(shapes)) > HOLLOW * np.array([area for area, _ in measured])
    for k, (_, centroid), shape, is_hollow in zip(at, measured, shapes, hollow, strict=True):
        found[k] = centroid
        if is_hollow:
            # One that crosses itself is so rough that its fine points say nothing and cost much.
            if not shape.is_valid:
                shape = shapely.make_valid(shape.simplify(ROUGH * radius, preserve_topology=False))
            filled = shape.buffer(NOTCH * radius, quad_segs=6).buffer(-NOTCH * radius, quad_segs=6)
            if not filled.is_empty:
                found[k] = filled.centroid.x, filled.centroid.y
    return found


def _curvature(curve: Curve, u: FloatArray) -> FloatArray:
    """Return the curvature vectors (n, 3): towards the centre of the bend, one over its radius."""
    first, second = curve.at(u, 1), curve.at(u, 2)
    square = np.einsum("ij,ij->i", first, first)[:, None]
    return (second - np.einsum("ij,ij->i", first, second)[:, None] * first / square) / square


def _any_frames(tangents: FloatArray) -> FloatArray:
    lean = np.eye(3)[np.argmin(np.abs(tangents), axis=1)]
    left = np.cross(lean, tangents)
    left /= np.linalg.norm(left, axis=1, keepdims=True)
    return np.stack([tangents, left, np.cross(tangents, left)], axis=1)


def sections_of(mesh: tuple[FloatArray, IntArray], points: FloatArray, frames: FloatArray) -> list[Section | None]:
    """Return the tube's sections in planes at points (n, 3) with frames (n, 3, 3)."""
    return tube_sections(slice_mesh(mesh[0], mesh[1], points, frames[:, 0]), points, frames)


def centreline_of(curve: Curve, up: FloatArray) -> Centreline:
    """Return a curve as a chain of arcs close enough together to be it; `up` leads its first frame."""
    pieces = len(curve.coefficients) - 3
    u, s = _own_length(curve, NODES_PER_KNOT * pieces + 1)
    tangents = curve.at(u, 1)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    return through(s, tangents, list(curve.at(u)), up)
