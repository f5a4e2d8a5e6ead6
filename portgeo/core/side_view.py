"""Where a mold's sections lie, from the ends of each as they lie in its side view, and in its plan.

Points read off squared paper come in; stations, headings, heights and what each may be off by go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.angle_readings import ANGLES, AngleReadings
from portgeo.core.centreline import turn_and_swing
from portgeo.core.plane import FloatArray
from portgeo.core.section import POINT_ERROR_MM, Points

SCRIBED_ERROR = float(np.radians(3.0))  # of a line scribed square to the port by eye: common practice, no source
FACE_ERROR = float(np.radians(0.5))  # of an entry that is laid upright: what is square to it is not seen to lean
UPRIGHT_MM = 1e-6  # a floor and a roof point as far in as each other
STRAIGHT = 1e-6  # radians: an arc as long as its chord
PARTS, PART_WEIGHTS = np.polynomial.legendre.leggauss(4)  # of a stretch between two rows, over which headings are meant


@dataclass(frozen=True)
class Lie:
    """How n sections lie.

    stations (n,) : of their middles, along the arcs between them. middles (n, 3) : out of the entry's first point.
    across (n,) : headings square to the lines that were scribed, in the side view. chords (n - 1, 2) : turn and swing
    from each middle to the next.
    """

    stations: FloatArray
    middles: FloatArray
    across: FloatArray
    chords: FloatArray


def lie_of(points: Sequence[Points]) -> Lie:
    """Return how sections lie whose points were read.

    Between two rows the way is taken for an arc: longer than its chord as half of what it turns is than its sine.
    """
    floor, roof = (np.array([getattr(p, side) for p in points]) for side in ("floor", "roof"))
    aside = np.array([float(np.mean(p.sides)) if p.sides else 0.0 for p in points])
    middles = np.column_stack([(floor + roof)[:, 0] / 2.0, aside, (floor + roof)[:, 1] / 2.0])
    middles = middles - middles[0]
    line = roof - floor
    across = np.unwrap(np.arctan2(line[:, 0], line[:, 1]))
    steps = np.diff(middles, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    ways = steps / np.maximum(lengths, 1e-300)[:, None]
    chords = np.unwrap([turn_and_swing(way) for way in ways], axis=0)
    # An arc turns over its length what the chords beside it turn over theirs.
    between = (lengths[1:] + lengths[:-1]) / 2.0
    rates = np.linalg.norm(np.diff(chords, axis=0), axis=1) / np.maximum(between, 1e-300)
    rate = np.concatenate([rates[:1], (rates[1:] + rates[:-1]) / 2.0, rates[-1:]]) if len(rates) else np.zeros(1)
    half = rate * lengths / 2.0
    arcs = lengths * np.where(half > STRAIGHT, half / np.sin(np.clip(half, STRAIGHT, 1.0)), 1.0)
    return Lie(np.concatenate([[0.0], np.cumsum(arcs)]), middles, across, chords)


def angle_readings(points: Sequence[Points], name: str) -> AngleReadings:
    """Return what points say of an angle of ANGLES: the line at each row, in the side view, and the way between them.

    A middle is known half as badly squared as either end, and stands in the ways on both sides of it.
    """
    lie, n, k = lie_of(points), len(points), ANGLES.index(name)
    stations = lie.stations
    steps = np.diff(stations)
    places = (stations[:-1, None] + (1.0 + PARTS) / 2.0 * steps[:, None]).ravel()
    means = np.asarray(np.kron(np.eye(n - 1), PART_WEIGHTS / 2.0), dtype=np.float64)
    middle = POINT_ERROR_MM / np.sqrt(2.0)
    moved = np.zeros((n - 1, n))
    each = np.arange(n - 1)
    moved[each, each], moved[each, each + 1] = middle / steps, -middle / steps
    if name != "turn":
        return AngleReadings(stations, lie.chords[:, k], places, means, moved, np.arange(n))
    height = np.linalg.norm([np.subtract(p.roof, p.floor) for p in points], axis=1)
    line_errors = np.hypot(np.sqrt(2.0) * POINT_ERROR_MM / height, SCRIBED_ERROR)
    if abs(points[0].roof[0] - points[0].floor[0]) < UPRIGHT_MM:
        line_errors[0] = FACE_ERROR
    return AngleReadings(
        stations,
        np.concatenate([lie.across, lie.chords[:, k]]),
        np.concatenate([stations, places]),
        np.block([[np.eye(n), np.zeros((n, len(places)))], [np.zeros((n - 1, n)), means]]),
        np.block([[np.diag(line_errors), np.zeros((n, n))], [np.zeros((n - 1, n)), moved]]),
        np.tile(np.arange(n), 2),
    )
