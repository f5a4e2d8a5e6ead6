"""Loft: a surface becomes a watertight mesh.

A surface comes in; its rings, as close as its mesh asks, go out, or a refusal that says where it cuts itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from portgeo.core.centreline import at, crossings
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WELD_MM, is_simple
from portgeo.core.skin import Rings
from portgeo.core.surface import Surface, coordinates_at, in_space, outlines_at
from portgeo.core.triangles import meet

CHORD_ERROR_MM = 0.005  # rings this close: an elbow's volume then comes within 0.02 % of Pappus's
CALMING = (0.5, 0.5, 0.5, 0.0)  # of the slopes, try by try, where an outline would cross itself
FEW_POINTS = 8  # of a ring: so many are tried against all planes at once
REACH = 0.5  # of the least height: over so much a wall line's bend runs nearly straight
MOST_PIECES = 512  # of a reach
CHECKED = (1.0 / 3.0, 2.0 / 3.0)  # of a piece: there its wall lines are looked at
MOST_HALVINGS = 9  # of a piece: where a wall line has a corner


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
        rings = Rings(surface, where, in_space(points, frames, outlines), frames)
        mended = ~is_simple(outlines)
        mended[:-1] |= rings.folds
        folded = where[mended]
        if len(folded) == 0:
            break
        if scale is None:
            raise GeometryError(
                "the outlines cannot be joined: between them the section would cross itself",
                where=_rows_about(surface, float(folded[0])),
                hint="Measure or trace one more section between them",
            )
        surface = _calmed(surface, folded, scale)
    crossing = crossings(points, frames, rings.space)
    if crossing.any():
        raise GeometryError(
            "the turn is too tight for the sections there: they overlap on the inside of the turn",
            where=_rows_about(surface, float(where[:-1][crossing][0])),
            hint="Check the heading (turn_deg, swing_deg), the stations and the height of these rows",
        )
    _refuse_overlap(surface, rings, points, outlines)
    return rings


def _calmed(surface: Surface, folded: FloatArray, scale: float) -> Surface:
    """Return a surface with the slopes scaled at both ends of the stretches that hold stations `folded`.

    Each wall line has slopes of its own, so where a sharp corner opens into a round one neighbours
    can cross. With no slope at all a stretch blends its two outlines and nothing else.
    """
    k = np.clip(np.searchsorted(surface.stations, folded, side="right") - 1, 0, len(surface.stations) - 2)
    slopes = surface.slopes.copy()
    slopes[np.union1d(k, k + 1)] *= scale
    return replace(surface, slopes=slopes)


def _ring_stations(surface: Surface, chord_error: float) -> FloatArray:
    """Return the stations of rings between which no wall line is farther than chord_error from its chord.

    A piece h long of a line that bends by c is off its chord by c h^2 / 8 at most. How a wall line bends runs
    nearly straight along a reach, as a cubic's does: it is seen at five places of each. Pieces that are off all the
    same, by a corner where the outline comes to its greatest or least area, are halved.
    """
    longest = REACH * float(np.ptp(surface.outlines[:, :, 1], axis=1).min())
    gaps = [np.linspace(a, b, int(np.ceil((b - a) / longest)) + 1)[:-1] for a, b in pairwise(surface.stations)]
    begin = np.concatenate(gaps)
    span = np.diff(begin, append=surface.stations[-1])
    looks = coordinates_at(surface, (begin + np.linspace(0.0, 1.0, 5)[:, None] * span).ravel())
    lines = looks.reshape(5, len(begin), *looks.shape[1:])
    bends = lines[:-2] - 2.0 * lines[1:-1] + lines[2:]
    bends = np.concatenate([2.0 * bends[:1] - bends[1:2], bends, 2.0 * bends[2:] - bends[1:2]])
    off = _aside(np.gradient(lines, axis=0), bends).max(axis=0)
    # The bends are of a quarter of the reach: c h^2 is sixteen times as much.
    pieces = np.ceil(np.sqrt(2.0 * off / chord_error)).clip(1, MOST_PIECES).astype(int)
    reach = np.repeat(np.arange(len(begin)), pieces)
    number = np.arange(len(reach)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    stations = np.append(begin[reach] + span[reach] * number / pieces[reach], surface.stations[-1])
    rings = coordinates_at(surface, stations)
    a, b, begins, ends = stations[:-1], stations[1:], rings[:-1], rings[1:]
    for _ in range(MOST_HALVINGS):
        between = [coordinates_at(surface, a + share * (b - a)) for share in CHECKED]
        split = np.max([_aside(ends - begins, ring - begins) for ring in between], axis=0) > chord_error
        if not split.any():
            break
        half = (a[split] + b[split]) / 2.0
        middles = coordinates_at(surface, half)
        stations = np.append(stations, half)
        a, b = np.append(a[split], half), np.append(half, b[split])
        begins, ends = np.concatenate([begins[split], middles]), np.concatenate([middles, ends[split]])
    return np.sort(stations)


def _aside(ways: FloatArray, arms: FloatArray) -> FloatArray:
    """Return how far arms (..., 3, m) lead aside of ways (..., 3, m), the farthest of each m (...)."""
    x, y, z = (
        arms[..., i, :] * ways[..., j, :] - arms[..., j, :] * ways[..., i, :] for i, j in ((1, 2), (2, 0), (0, 1))
    )
    square = np.maximum(np.einsum("...im,...im->...m", ways, ways), 1e-24)
    return np.asarray(np.sqrt(((x * x + y * y + z * z) / square).max(axis=-1)))


def _rows_about(surface: Surface, station: float) -> str:
    k = int(np.clip(np.searchsorted(surface.stations, station, side="right") - 1, 0, len(surface.stations) - 2))
    return f"rows {surface.rows[k]} and {surface.rows[k + 1]}"


def _refuse_overlap(surface: Surface, rings: Rings, points: FloatArray, outlines: FloatArray) -> None:
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
    for corners in (_boxes(points, rings.frames, outlines), space):
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
                hint="Check the headings (turn_deg, swing_deg) and the stations of these rows",
            )


def _boxes(points: FloatArray, frames: FloatArray, outlines: FloatArray) -> FloatArray:
    """Return the corners (k, 4, 3) of the rectangles, in their own planes, about outlines (k, m, 2)."""
    (left, floor), (right, roof) = outlines.min(axis=1).T, outlines.max(axis=1).T
    corners = np.stack([left, floor, left, roof, right, roof, right, floor], axis=1).reshape(-1, 4, 2)
    return np.asarray(points[:, None] + corners @ frames[:, 1:])


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
