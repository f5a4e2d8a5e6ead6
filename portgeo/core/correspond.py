"""Correspondence: which points of a row of outlines lie on one line along the wall.

Outlines, each with points of its own, come in; the same outlines with as many points each, point j of all on one
wall line, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import CHORD_MM, FloatArray, chord, moments
from portgeo.core.section import OUTLINES_KEPT

LEAST_STEPS = 64  # of a quarter: no edge is then longer than 1/128 of the girth; flat walls are painted and compared
SHARP = 0.3  # radians: a bend at one point that no chord of a drawn curve has


@dataclass(frozen=True, eq=False)
class Stretch:
    """A quarter of an outline: its points (k, 2), and how far along it each is, arriving and leaving (2 k - 2,)."""

    points: FloatArray
    shares: FloatArray

    def at(self, shares: FloatArray) -> FloatArray:
        """Return the points (n, 2) at shares (n,)."""
        twice = np.repeat(self.points, 2, axis=0)[1:-1]
        return np.column_stack([np.interp(shares, self.shares, twice[:, k]) for k in range(2)])


def correspond(outlines: Sequence[FloatArray], rows: Sequence[int], chord_error: float = CHORD_MM) -> FloatArray:
    """Return outlines, each (k, 2) with its own points, as one array (n, m, 2) of corresponding points.

    They correspond by wall: each is split at its 12, 3, 6 and 9 o'clock points, and within a
    quarter by equal shares of arc length and of turning, so a corner meets a corner whatever the
    section's proportions. Shares go by equal steps, so that no row's points hang on another's, and stop besides at
    every outline's own points that would else be off by more than `chord_error`.
    """
    stretches = [stretches_of(np.ascontiguousarray(o).tobytes(), row) for o, row in zip(outlines, rows, strict=True)]
    steps = max(_steps(stretch.points, chord_error) for each in stretches for stretch in each)
    parts = []
    for quarter in zip(*stretches, strict=True):
        common = np.unique(np.concatenate([_shares_of(stretch, steps, chord_error) for stretch in quarter]))
        parts.append(np.stack([stretch.at(common[:-1]) for stretch in quarter]))
    return np.concatenate(parts, axis=1)


@lru_cache(maxsize=OUTLINES_KEPT)
def stretches_of(outline: bytes, row: int) -> tuple[Stretch, ...]:
    """Return the four stretches of an outline (its bytes), to use again."""
    return tuple(Stretch(arc, _share(arc)) for arc in quarters(np.frombuffer(outline).reshape(-1, 2), row))


def _steps(points: FloatArray, chord_error: float) -> int:
    """Return into how many equal shares a convex quarter (k, 2) is cut for its chords to be within `chord_error`.

    A step h of a wall of curvature c takes the share h / 2 L + h c / pi of a quarter L long that turns by pi / 2.
    The sagitta c h^2 / 8 is greatest where the two are alike.
    """
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    return max(LEAST_STEPS, int(np.ceil(np.sqrt(np.pi * length / (16.0 * chord_error)))))


@lru_cache(maxsize=4 * OUTLINES_KEPT)
def _shares_of(stretch: Stretch, steps: int, chord_error: float) -> FloatArray:
    """Return the shares, rising from 0 to 1, at equal steps and at those of its points that the steps would miss."""
    own, middle = stretch.points[1:-1], (stretch.shares[1:-1:2] + stretch.shares[2:-1:2]) / 2.0
    shares = np.linspace(0.0, 1.0, steps + 1)
    while True:
        line = stretch.at(shares)
        before = np.searchsorted(shares, middle, side="right") - 1
        arm, edge = own - line[before], line[before + 1] - line[before]
        square = np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-300)
        along = np.clip(np.einsum("ij,ij->i", arm, edge) / square, 0.0, 1.0)
        missed = np.linalg.norm(arm - along[:, None] * edge, axis=1) > chord_error
        if not missed.any():
            return shares
        shares = np.union1d(shares, np.round(middle[missed], 12))


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
            hint="Trace the section so that its middle lies inside it",
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
