"""Loft: a row of outlines on a centreline becomes a watertight mesh.

Readings, or outlines with a centreline, come in; a surface that can be evaluated at any station and
its triangle mesh go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

from portgeo.core.centreline import Centreline, at, crossings, heading, through
from portgeo.core.errors import GeometryError
from portgeo.core.headings import ANGLES, fit_headings
from portgeo.core.plane import CHORD_MM, FloatArray, IntArray, areas, chord, moments
from portgeo.core.section import WELD_MM, Reading, is_simple, outline_of
from portgeo.core.skin import folds, skin
from portgeo.core.triangles import cross, meet

CHORD_ERROR_MM = 0.005  # rings this close: an elbow's volume then comes within 0.02 % of Pappus's
LONGEST_EDGE = 1.0 / 128.0  # of the girth: flat walls carry points too, to paint and to compare
SHARP = 0.3  # radians: a bend at one point that no chord of a drawn curve has
CALMING = (0.5, 0.5, 0.5, 0.0)  # of the slopes, try by try, where an outline would cross itself
NODES = 1.0 / 20.0  # of the least height: a smooth turn is drawn in arcs so long
MOST_HALVINGS = 9  # of the stretch between two measured sections


@dataclass(frozen=True)
class Surface:
    """Sections that flow into each other along a centreline.

    stations : (n,) of the measured sections. outlines : (n, m, 2), point j of each on one line along
    the wall, left and up of the centreline. slopes : (n, m, 2), their change per unit of station.
    centreline : their spine. rows : (n,) row of each in the user's file, for messages.
    """

    stations: FloatArray
    outlines: FloatArray
    slopes: FloatArray
    centreline: Centreline
    rows: tuple[int, ...]


@dataclass(frozen=True)
class Loft:
    """A lofted mesh: vertices (n, 3), faces (m, 3) outward, and the stations of its rings."""

    vertices: FloatArray
    faces: IntArray
    rings: FloatArray


def surface_from_readings(readings: Sequence[Reading], chord_error: float = CHORD_MM) -> Surface:
    """Return the surface through the sections that readings describe.

    Curved outlines are drawn with chords within `chord_error`. Raises GeometryError, with the rows,
    where an outline cannot be used or sections overlap.
    """
    spine, stations = spine_of(readings)
    rows = tuple(r.row for r in readings)
    outlines = [outline_of(r, chord_error) + np.array([r.shift, r.rise]) for r in readings]
    return surface_on(correspond(outlines, rows, chord_error), spine, stations, rows)


def spine_of(readings: Sequence[Reading]) -> tuple[Centreline, FloatArray]:
    """Return the centreline that readings describe, and the stations (n,) of their rows on it.

    Headings hold within their doubt (`headings.fit_headings`). Between two rows the heading changes at a
    constant rate, unless they show that it changes smoothly. Given places hold, and their headings.
    """
    fits = fit_headings(readings)
    if not fits:
        spine = through(
            [r.station for r in readings],
            np.array([heading(r.turn, r.swing) for r in readings]),
            [r.place for r in readings],
        )
        # A given place adds a node half way to it.
        steps = np.cumsum([0] + [1 if r.place is None else 2 for r in readings[1:]])
        return spine, spine.stations[steps]
    rows = np.array([r.station for r in readings])
    nodes = rows
    if any(fit.smoothness > 0.0 for fit in fits.values()):
        step = NODES * min(r.height for r in readings)
        gaps = [np.linspace(a, b, int(np.ceil((b - a) / step)) + 1)[:-1] for a, b in pairwise(rows)]
        nodes = np.concatenate([*gaps, rows[-1:]])
    turn, swing = (fits[name].told(nodes) if name in fits else np.zeros(len(nodes)) for name in ANGLES)
    return through(nodes, np.array([heading(t, s) for t, s in zip(turn, swing, strict=True)])), rows


def surface_on(outlines: FloatArray, centreline: Centreline, stations: FloatArray, rows: tuple[int, ...]) -> Surface:
    """Return the surface through corresponding outlines (n, m, 2) at stations (n,) of a centreline."""
    return Surface(stations, outlines, slopes_of(stations, outlines), centreline, rows)


def correspond(outlines: Sequence[FloatArray], rows: Sequence[int], chord_error: float = CHORD_MM) -> FloatArray:
    """Return outlines, each (k, 2) with its own points, as one array (n, m, 2) of corresponding points.

    They correspond by wall: each is split at its 12, 3, 6 and 9 o'clock points, and within a
    quarter by equal shares of arc length and of turning, so a corner meets a corner whatever the
    section's proportions. Every outline's own points are kept, to within `chord_error`.
    """
    stretches = [quarters(outline, row) for outline, row in zip(outlines, rows, strict=True)]
    girth = max(moments(outline).perimeter for outline in outlines)
    parts = []
    for k in range(4):
        arcs = [q[k] for q in stretches]
        shares = [_share(arc) for arc in arcs]
        common: FloatArray = np.unique(np.round(np.concatenate(shares), 12))
        stack = np.stack([_at_share(arc, share, common) for arc, share in zip(arcs, shares, strict=True)])
        parts.append(_thin(stack, chord_error, girth * LONGEST_EDGE)[:, :-1])
    return np.concatenate(parts, axis=1)


def quarters(outline: FloatArray, row: int) -> list[FloatArray]:
    """Return an outline's four stretches (k, 2): 12 to 3, 3 to 6, 6 to 9 and 9 to 12 o'clock.

    Raises GeometryError, naming the row, where the outline turns back round its own middle.
    """
    middle = moments(outline).centroid
    marks = []
    for axis, last in ((1, 1), (0, 0), (1, 0), (0, 1)):
        low_high = chord(outline, middle, axis)
        mark = middle.copy()
        mark[axis] = low_high[last]
        marks.append(mark)
    places = [_place_on(outline, mark) for mark in marks]
    order = np.argsort([(place - places[0]) % len(outline) for place in places])
    if np.isnan(marks).any() or list(order) != [0, 1, 2, 3]:
        raise GeometryError(
            "the outline turns back round its own middle, so its roof, walls and floor cannot be told apart",
            where=f"row {row}",
            mend="Trace the section so that its middle lies inside it",
        )
    stretches = []
    for k in range(4):
        begin, end = places[k], places[(k + 1) % 4]
        if end <= begin:
            end += len(outline)
        between = np.arange(int(np.floor(begin)) + 1, int(np.ceil(end)))
        points = np.vstack([marks[k], outline[between % len(outline)], marks[(k + 1) % 4]])
        step = np.linalg.norm(np.diff(points, axis=0), axis=1)
        keep = np.concatenate([[True], step > 1e-9])
        keep[-1] = True
        if step[-1] <= 1e-9:
            keep[-2] = len(points) == 2
        stretches.append(points[keep])
    return stretches


def _place_on(outline: FloatArray, mark: FloatArray) -> float:
    """Return where along an outline (k, 2) a point on it lies: edge number and fraction."""
    p, q = outline, np.roll(outline, -1, axis=0)
    edge = q - p
    along = np.clip(np.einsum("ij,ij->i", mark - p, edge) / np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-300), 0, 1)
    k = int(np.argmin(np.linalg.norm(p + along[:, None] * edge - mark, axis=1)))
    return float((k + along[k]) % len(outline))


def _share(arc: FloatArray) -> FloatArray:
    """Return how far along a stretch (k, 2) each point is, twice a point: arriving and leaving.

    (2 k - 2,) rising from 0 to 1: half the share of arc length, half that of turning. The turning
    of a curve drawn as chords is spread along its chords; a sharp corner holds a share of its own
    between its two values.
    """
    edge = np.diff(arc, axis=0)
    length = np.linalg.norm(edge, axis=1)
    angle = np.arctan2(edge[:, 1], edge[:, 0])
    turn = np.abs((np.diff(angle) + np.pi) % (2.0 * np.pi) - np.pi)
    # A stretch without a bend goes by its length alone.
    weight = 0.5 / turn.sum() if turn.sum() > SHARP else 0.0
    sharp = np.where(turn > SHARP, turn, 0.0)
    spread = np.concatenate([[0.0], (turn - sharp) / 2.0, [0.0]])
    steps = np.empty(2 * len(length) - 1)
    steps[0::2] = 0.5 * length / length.sum() + weight * (spread[:-1] + spread[1:])
    steps[1::2] = weight * sharp
    share = np.concatenate([[0.0], np.cumsum(steps)])
    return share / share[-1]


def _at_share(arc: FloatArray, share: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return the points (n, 2) of a stretch at wanted shares (n,)."""
    twice = np.repeat(arc, 2, axis=0)[1:-1]
    return np.column_stack([np.interp(wanted, share, twice[:, k]) for k in range(2)])


def _thin(stack: FloatArray, tolerance: float, longest: float) -> FloatArray:
    """Return stacked stretches (n, k, 2) with no more points than all of them need.

    A point stays where one of the stretches would else be off by `tolerance` (Douglas and Peucker's
    rule on all at once); edges are then split to be no longer than `longest`.
    """
    keep = np.zeros(stack.shape[1], dtype=bool)
    keep[[0, -1]] = True
    spans = [(0, stack.shape[1] - 1)]
    x, y = (np.ascontiguousarray(stack[:, :, k]) for k in range(2))
    while spans:
        a, b = spans.pop()
        if b - a < 2:
            continue
        run_x, run_y = x[:, b] - x[:, a], y[:, b] - y[:, a]
        square = np.maximum(run_x * run_x + run_y * run_y, 1e-300)
        arm_x, arm_y = x[:, a + 1 : b] - x[:, a : a + 1], y[:, a + 1 : b] - y[:, a : a + 1]
        run_x, run_y = run_x[:, None], run_y[:, None]
        along = np.clip((arm_x * run_x + arm_y * run_y) / square[:, None], 0.0, 1.0)
        arm_x -= along * run_x
        arm_y -= along * run_y
        off = np.sqrt((arm_x * arm_x + arm_y * arm_y).max(axis=0))
        worst = int(np.argmax(off))
        if off[worst] > tolerance:
            keep[a + 1 + worst] = True
            spans += [(a, a + 1 + worst), (a + 1 + worst, b)]
    thin = stack[:, keep]
    edge = np.linalg.norm(np.diff(thin, axis=1), axis=2).max(axis=0)
    pieces = np.maximum(np.ceil(edge / longest).astype(int), 1)
    at_edge = np.repeat(np.arange(len(pieces)), pieces)
    fraction = np.concatenate([np.arange(n) / n for n in pieces])[None, :, None]
    split = thin[:, at_edge] * (1 - fraction) + thin[:, at_edge + 1] * fraction
    return np.concatenate([split, thin[:, -1:]], axis=1)


def slopes_of(stations: FloatArray, outlines: FloatArray) -> FloatArray:
    """Return the slopes (n, m, 2) of wall lines at the measured sections.

    Those of the monotone cubic (Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980): a line never
    overshoots its readings, and stays put between two that are equal.
    """
    if len(stations) == 2:
        slope = np.diff(outlines, axis=0) / np.diff(stations)[:, None, None]
        return np.repeat(slope, 2, axis=0)
    return np.asarray(PchipInterpolator(stations, outlines).derivative()(stations))


def _calmed(surface: Surface, folded: FloatArray, scale: float) -> Surface:
    """Return a surface with the slopes scaled at both ends of the stretches that hold stations `folded`.

    Each wall line has slopes of its own, so where a sharp corner opens into a round one neighbours
    can cross. With no slope at all a stretch blends its two outlines and nothing else.
    """
    k = np.clip(np.searchsorted(surface.stations, folded, side="right") - 1, 0, len(surface.stations) - 2)
    slopes = surface.slopes.copy()
    slopes[np.union1d(k, k + 1)] *= scale
    return replace(surface, slopes=slopes)


def outlines_at(surface: Surface, stations: FloatArray) -> FloatArray:
    """Return outlines (k, m, 2) at stations (k,), left and up of the centreline.

    Each wall line is a cubic through the measured sections; where the blend's area would leave the
    range of the two sections beside it, the outline is scaled about its middle into that range.
    """
    s = np.asarray(stations, dtype=float)
    outlines = CubicHermiteSpline(surface.stations, surface.outlines, surface.slopes)(s)
    measured = areas(surface.outlines)
    k = np.clip(np.searchsorted(surface.stations, s, side="right") - 1, 0, len(measured) - 2)
    area = areas(outlines)
    wanted = np.clip(area, np.minimum(measured[k], measured[k + 1]), np.maximum(measured[k], measured[k + 1]))
    middle = (outlines.min(axis=1, keepdims=True) + outlines.max(axis=1, keepdims=True)) / 2.0
    scale = np.sqrt(wanted / area)[:, None, None]
    return np.where(scale == 1.0, outlines, middle + (outlines - middle) * scale)


def rings_at(surface: Surface, stations: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the centreline's points (k, 3) and frames (k, 3, 3), and rings (k, m, 3) in space."""
    points, frames = at(surface.centreline, stations)
    outlines = outlines_at(surface, stations)
    return points, frames, points[:, None, :] + outlines @ frames[:, 1:]


def loft(surface: Surface, chord_error: float = CHORD_ERROR_MM, stations: FloatArray | None = None) -> Loft:
    """Return the watertight mesh of a surface.

    Rings stand at the measured sections and, between them, as close as the chord error asks (or at
    the given stations). Raises GeometryError, with the rows, where the mesh would cut itself: where
    planes cross inside the port, an outline between two sections crosses itself, or one reach of the
    port runs into another.
    """
    for scale in (*CALMING, None):
        if stations is None:
            rings = _ring_stations(surface, chord_error)
        else:
            rings = np.union1d(np.asarray(stations, float), surface.stations)
            rings = rings[np.concatenate([[True], np.diff(rings) > 10 * WELD_MM])]
        points, frames, space = rings_at(surface, rings)
        mended = ~is_simple(outlines_at(surface, rings))
        mended[:-1] |= folds(space)
        folded = rings[mended]
        if len(folded) == 0:
            break
        if scale is None:
            raise GeometryError(
                "the outlines cannot be joined: between them the section would cross itself",
                where=_rows_about(surface, float(folded[0])),
                mend="Measure or trace one more section between them",
            )
        surface = _calmed(surface, folded, scale)
    crossing = crossings(points, frames, space)
    if crossing.any():
        raise GeometryError(
            "the turn is too tight for the sections there: they overlap on the inside of the turn",
            where=_rows_about(surface, float(rings[:-1][crossing][0])),
            mend="Check the heading (turn_deg, swing_deg), the stations and the height of these rows",
        )
    _refuse_overlap(surface, rings, points, frames, space)
    vertices, faces = skin(space, frames)
    return Loft(vertices, faces, rings)


def _ring_stations(surface: Surface, chord_error: float) -> FloatArray:
    """Return the stations of rings between which no wall line is farther than chord_error from its chord."""
    a = surface.stations  # a wall has no corner where the centreline changes its rate of turn
    a, b = a[:-1], a[1:]
    settled = [np.array([b[-1]])]
    for _ in range(MOST_HALVINGS):
        ends = [rings_at(surface, s)[2] for s in (a, b)]
        run = ends[1] - ends[0]
        length = np.maximum(np.linalg.norm(run, axis=2), 1e-12)
        off = np.zeros(len(a))
        for fraction in (0.25, 0.5, 0.75):
            arm = rings_at(surface, a + fraction * (b - a))[2] - ends[0]
            off = np.maximum(off, (np.linalg.norm(cross(arm, run), axis=2) / length).max(axis=1))
        split = off > chord_error
        settled.append(a[~split])
        if not split.any():
            break
        a, b = a[split], b[split]
        middle = (a + b) / 2.0
        a, b = np.concatenate([a, middle]), np.concatenate([middle, b])
    else:
        settled.append(a)
    return np.unique(np.concatenate(settled))


def _rows_about(surface: Surface, station: float) -> str:
    k = int(np.clip(np.searchsorted(surface.stations, station, side="right") - 1, 0, len(surface.stations) - 2))
    return f"rows {surface.rows[k]} and {surface.rows[k + 1]}"


def _refuse_overlap(
    surface: Surface, rings: FloatArray, points: FloatArray, frames: FloatArray, space: FloatArray
) -> None:
    """Refuse a port one reach of which runs into another.

    Neighbouring slabs touch only in their common ring, since their planes do not cross. Two others
    are apart where the plane at the end of one, or at the start of the other, parts them; only a
    port that turns back on itself has pairs left, and their faces are tried one on one.
    """
    a, b = np.triu_indices(len(rings) - 1, k=2)
    low = np.minimum(space[:-1].min(axis=1), space[1:].min(axis=1))
    high = np.maximum(space[:-1].max(axis=1), space[1:].max(axis=1))
    near = (low[a] <= high[b]).all(axis=1) & (low[b] <= high[a]).all(axis=1)
    a, b = a[near], b[near]

    normals = frames[:, 0]
    offsets = np.einsum("ij,ij->i", points, normals)

    def along(pairs: Sequence[tuple[IntArray, IntArray]], extreme: np.ufunc) -> FloatArray:
        """Return the extreme of how far points of rings (k,) lie ahead of planes (k,), over the pairs of each place."""
        wanted = np.zeros((len(rings), len(rings)), dtype=bool)
        for ring, plane in pairs:
            wanted[ring, plane] = True
        far = np.empty(wanted.shape)
        for k in np.flatnonzero(wanted.any(axis=1)):  # each ring once with all its planes: many pairs, few rings
            planes = np.flatnonzero(wanted[k])
            far[k, planes] = extreme.reduce(space[k] @ normals[planes].T, axis=0) - offsets[planes]
        return np.asarray(extreme.reduce([far[ring, plane] for ring, plane in pairs], axis=0))

    ahead = along([(b, a + 1), (b + 1, a + 1)], np.minimum) >= 0
    a, b = a[~ahead], b[~ahead]
    behind = along([(a, b), (a + 1, b)], np.maximum) <= 0
    count = space.shape[1]
    flat = space.reshape(-1, 3)
    j = np.arange(count)
    quads = np.stack(
        [j, (j + 1) % count, (j + 1) % count + count, j, (j + 1) % count + count, j + count], axis=1
    ).reshape(-1, 3)
    for i, k in zip(a[~behind], b[~behind], strict=True):
        if meet(flat, quads + i * count, quads + k * count):
            raise GeometryError(
                "the port runs into itself",
                where=f"{_rows_about(surface, float(rings[i]))} and {_rows_about(surface, float(rings[k]))}",
                mend="Check the headings (turn_deg, swing_deg) and the stations of these rows",
            )
