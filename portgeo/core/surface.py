"""Surface: sections that flow into each other along a centreline, as readings describe them.

Readings, or outlines with a centreline, come in; a surface goes out that can be evaluated at any station.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from portgeo.core.angle_readings import ANGLES
from portgeo.core.centreline import Centreline, at, heading, through
from portgeo.core.correspond import correspond
from portgeo.core.cubic import Cubic, cubic_through, monotone_slopes
from portgeo.core.headings import fit_headings
from portgeo.core.plane import CHORD_MM, FloatArray, areas
from portgeo.core.section import Reading, Section, outline_of

DRAWN_FINER = 4.0  # an outline is drawn so much finer than the wall lines that are then laid on it
NODES = 1.0 / 20.0  # of the least height: a smooth turn is drawn in arcs so long


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
        values, slopes = (np.ascontiguousarray(each.swapaxes(1, 2)) for each in (self.outlines, self.slopes))
        return cubic_through(self.stations, values, slopes)

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
    outlines = [outline_of(r, chord_error / DRAWN_FINER) + np.array([r.shift, r.rise]) for r in readings]
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


def sections_on(surface: Surface, stations: FloatArray) -> list[Section]:
    """Return the sections of a surface at stations (k,)."""
    points, frames = at(surface.centreline, stations)
    return [Section(*each) for each in zip(outlines_at(surface, stations), points, frames, strict=True)]


def coordinates_at(surface: Surface, stations: FloatArray) -> FloatArray:
    """Return the coordinates (k, 3, m) of outlines in space at stations (k,)."""
    points, frames = at(surface.centreline, stations)
    return in_space(points, frames, outlines_at(surface, stations))


def in_space(points: FloatArray, frames: FloatArray, outlines: FloatArray) -> FloatArray:
    """Return the coordinates (k, 3, m) of outlines (k, m, 2) in space."""
    return np.asarray(frames[:, 1:].swapaxes(1, 2) @ outlines.swapaxes(1, 2) + points[:, :, None])
