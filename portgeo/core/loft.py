"""Loft: a row of outlines on a centreline becomes a watertight mesh.

Readings, or outlines with a centreline, come in; a surface that can be evaluated at any station and
its triangle mesh go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from portgeo.core.centreline import Centreline, at, crossings, heading, through
from portgeo.core.correspond import correspond
from portgeo.core.cubic import Cubic, cubic_through, monotone_slopes
from portgeo.core.errors import GeometryError
from portgeo.core.headings import ANGLES, fit_headings
from portgeo.core.plane import CHORD_MM, FloatArray, IntArray, areas
from portgeo.core.section import WELD_MM, Reading, is_simple, outline_of
from portgeo.core.skin import Rings
from portgeo.core.triangles import meet

CHORD_ERROR_MM = 0.005  # rings this close: an elbow's volume then comes within 0.02 % of Pappus's
CALMING = (0.5, 0.5, 0.5, 0.0)  # of the slopes, try by try, where an outline would cross itself
NODES = 1.0 / 20.0  # of the least height: a smooth turn is drawn in arcs so long
FEW_POINTS = 8  # of a ring: so many are tried against all planes at once
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

    @cached_property
    def walls(self) -> Cubic:
        """The wall lines: cubics with values (2, m), left and up."""
        return cubic_through(self.stations, self.outlines.swapaxes(1, 2), self.slopes.swapaxes(1, 2))

    @cached_property
    def areas(self) -> FloatArray:
        """The areas (n,) of the measured sections."""
        return areas(self.outlines)


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
    # A line of the monotone cubic never overshoots its readings, and stays put between two that are equal.
    return Surface(stations, outlines, monotone_slopes(stations, outlines), centreline, rows)


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
    outlines = surface.walls.at(s).swapaxes(1, 2)
    measured = surface.areas
    k = np.clip(np.searchsorted(surface.stations, s, side="right") - 1, 0, len(measured) - 2)
    area = areas(outlines)
    wanted = np.clip(area, np.minimum(measured[k], measured[k + 1]), np.maximum(measured[k], measured[k + 1]))
    out = np.flatnonzero(wanted != area)
    middle = (outlines[out].min(axis=1, keepdims=True) + outlines[out].max(axis=1, keepdims=True)) / 2.0
    outlines[out] = middle + (outlines[out] - middle) * np.sqrt(wanted[out] / area[out])[:, None, None]
    return outlines


def rings_at(surface: Surface, stations: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the centreline's points (k, 3) and frames (k, 3, 3), and rings (k, m, 3) in space."""
    points, frames = at(surface.centreline, stations)
    return points, frames, _coordinates(points, frames, outlines_at(surface, stations)).swapaxes(1, 2)


def _coordinates(points: FloatArray, frames: FloatArray, outlines: FloatArray) -> FloatArray:
    """Return the coordinates (k, 3, m) of outlines (k, m, 2) in space."""
    return np.asarray(frames[:, 1:].swapaxes(1, 2) @ outlines.swapaxes(1, 2) + points[:, :, None])


def loft(surface: Surface, chord_error: float = CHORD_ERROR_MM, stations: FloatArray | None = None) -> Rings:
    """Return the rings of a surface, whose skin is a watertight mesh.

    Rings stand at the measured sections and, between them, as close as the chord error asks (or at
    the given stations). Raises GeometryError, with the rows, where the mesh would cut itself: where
    planes cross inside the port, an outline between two sections crosses itself, or one reach of the
    port runs into another.
    """
    for scale in (*CALMING, None):
        if stations is None:
            where = _ring_stations(surface, chord_error)
        else:
            where = np.union1d(np.asarray(stations, float), surface.stations)
            where = where[np.concatenate([[True], np.diff(where) > 10 * WELD_MM])]
        points, frames = at(surface.centreline, where)
        outlines = outlines_at(surface, where)
        rings = Rings(where, _coordinates(points, frames, outlines), frames)
        mended = ~is_simple(outlines)
        mended[:-1] |= rings.folds
        folded = where[mended]
        if len(folded) == 0:
            break
        if scale is None:
            raise GeometryError(
                "the outlines cannot be joined: between them the section would cross itself",
                where=_rows_about(surface, float(folded[0])),
                mend="Measure or trace one more section between them",
            )
        surface = _calmed(surface, folded, scale)
    crossing = crossings(points, frames, rings.space)
    if crossing.any():
        raise GeometryError(
            "the turn is too tight for the sections there: they overlap on the inside of the turn",
            where=_rows_about(surface, float(where[:-1][crossing][0])),
            mend="Check the heading (turn_deg, swing_deg), the stations and the height of these rows",
        )
    _refuse_overlap(surface, rings, points)
    return rings


def _ring_stations(surface: Surface, chord_error: float) -> FloatArray:
    """Return the stations of rings between which no wall line is farther than chord_error from its chord.

    A stretch is halved until a quarter, half and three quarters of it are near enough; its halves have their ends
    and middles from it.
    """

    def rings(stations: FloatArray) -> FloatArray:
        return rings_at(surface, stations)[2].swapaxes(1, 2)

    a, b = surface.stations[:-1], surface.stations[1:]  # a wall has no corner where the centreline changes its turn
    ends = rings(surface.stations)
    begin, half, end = ends[:-1], rings(a + 0.5 * (b - a)), ends[1:]
    settled = [np.array([surface.stations[-1]])]
    for _ in range(MOST_HALVINGS):
        quarter, last = (rings(a + fraction * (b - a)) for fraction in (0.25, 0.75))
        run = end - begin
        square = np.maximum(np.einsum("kim,kim->km", run, run), 1e-24)
        off = np.zeros(len(a))
        for between in (quarter, half, last):
            arm = between - begin
            x, y, z = (arm[:, i] * run[:, j] - arm[:, j] * run[:, i] for i, j in ((1, 2), (2, 0), (0, 1)))
            off = np.maximum(off, ((x * x + y * y + z * z) / square).max(axis=1))
        split = off > chord_error**2
        settled.append(a[~split])
        if not split.any():
            break
        a, b = a[split], b[split]
        middle = (a + b) / 2.0
        begin, half, end = (
            np.concatenate(pair)
            for pair in ((begin[split], half[split]), (quarter[split], last[split]), (half[split], end[split]))
        )
        a, b = np.concatenate([a, middle]), np.concatenate([middle, b])
    else:
        settled.append(a)
    return np.unique(np.concatenate(settled))


def _rows_about(surface: Surface, station: float) -> str:
    k = int(np.clip(np.searchsorted(surface.stations, station, side="right") - 1, 0, len(surface.stations) - 2))
    return f"rows {surface.rows[k]} and {surface.rows[k + 1]}"


def _refuse_overlap(surface: Surface, rings: Rings, points: FloatArray) -> None:
    """Refuse a port one reach of which runs into another.

    Neighbouring slabs touch only in their common ring, since their planes do not cross. Two others
    are apart where the plane at the end of one, or at the start of the other, parts them; only a
    port that turns back on itself has pairs left, and their faces are tried one on one.
    """
    space, normals = rings.space, rings.frames[:, 0]
    a, b = np.triu_indices(len(space) - 1, k=2)
    low, high = space.min(axis=1), space.max(axis=1)
    low, high = np.minimum(low[:-1], low[1:]), np.maximum(high[:-1], high[1:])
    near = (low[a] <= high[b]).all(axis=1) & (low[b] <= high[a]).all(axis=1)
    a, b = a[near], b[near]
    offsets = np.einsum("ij,ij->i", points, normals)
    # The rectangle about a ring is quick to try, and mostly tells.
    for corners in (_boxes(rings, points), space):
        a, b = _not_parted(a, b, corners, normals, offsets)
    count = space.shape[1]
    flat = space.reshape(-1, 3)
    j = np.arange(count)
    quads = np.stack(
        [j, (j + 1) % count, (j + 1) % count + count, j, (j + 1) % count + count, j + count], axis=1
    ).reshape(-1, 3)
    for i, k in zip(a, b, strict=True):
        if meet(flat, quads + i * count, quads + k * count):
            raise GeometryError(
                "the port runs into itself",
                where=f"{_rows_about(surface, float(rings.stations[i]))} and "
                f"{_rows_about(surface, float(rings.stations[k]))}",
                mend="Check the headings (turn_deg, swing_deg) and the stations of these rows",
            )


def _boxes(rings: Rings, points: FloatArray) -> FloatArray:
    """Return the corners (k, 4, 3) of the rectangles, in their own planes, about rings."""
    flat = (rings.space - points[:, None]) @ rings.frames[:, 1:].swapaxes(1, 2)
    low, high = flat.min(axis=1), flat.max(axis=1)
    (left, floor), (right, roof) = low.T, high.T
    corners = np.stack([left, floor, left, roof, right, roof, right, floor], axis=1).reshape(-1, 4, 2)
    return np.asarray(points[:, None] + corners @ rings.frames[:, 1:])


def _not_parted(
    a: IntArray, b: IntArray, space: FloatArray, normals: FloatArray, offsets: FloatArray
) -> tuple[IntArray, IntArray]:
    """Return the pairs of slabs, from rings a and b (p,) on, that no plane of theirs parts; space (k, n, 3)."""

    def along(pairs: Sequence[tuple[IntArray, IntArray]], extreme: np.ufunc) -> FloatArray:
        """Return the extreme of how far points of rings (k,) lie ahead of planes (k,), over the pairs of each place."""
        wanted = np.zeros((len(space), len(space)), dtype=bool)
        for ring, plane in pairs:
            wanted[ring, plane] = True
        far = np.empty(wanted.shape)
        if space.shape[1] <= FEW_POINTS:
            far = extreme.reduce((space.reshape(-1, 3) @ normals.T).reshape(*space.shape[:2], -1), axis=1) - offsets
        else:
            for k in np.flatnonzero(wanted.any(axis=1)):  # each ring once with all its planes: many pairs, few rings
                planes = np.flatnonzero(wanted[k])
                far[k, planes] = extreme.reduce(space[k] @ normals[planes].T, axis=0) - offsets[planes]
        return np.asarray(extreme.reduce([far[ring, plane] for ring, plane in pairs], axis=0))

    ahead = along([(b, a + 1), (b + 1, a + 1)], np.minimum) >= 0
    a, b = a[~ahead], b[~ahead]
    behind = along([(a, b), (a + 1, b)], np.maximum) <= 0
    return a[~behind], b[~behind]
