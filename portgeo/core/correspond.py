"""Correspondence: which points of a row of outlines lie on one line along the wall.

Outlines, each with points of its own, come in; the same outlines with as many points each, point j of all on one
wall line, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import CHORD_MM, FloatArray, chord, moments

LONGEST_EDGE = 1.0 / 128.0  # of the girth: flat walls carry points too, to paint and to compare
SHARP = 0.3  # radians: a bend at one point that no chord of a drawn curve has
OUTLINES_KEPT = 512  # of a sheet being typed: its rows, each with every measure nudged


def correspond(outlines: Sequence[FloatArray], rows: Sequence[int], chord_error: float = CHORD_MM) -> FloatArray:
    """Return outlines, each (k, 2) with its own points, as one array (n, m, 2) of corresponding points.

    They correspond by wall: each is split at its 12, 3, 6 and 9 o'clock points, and within a
    quarter by equal shares of arc length and of turning, so a corner meets a corner whatever the
    section's proportions. Every outline's own points are kept, to within `chord_error`.
    """
    stretches = [stretches_of(np.ascontiguousarray(o).tobytes(), row) for o, row in zip(outlines, rows, strict=True)]
    girth = max(moments(outline).perimeter for outline in outlines)
    parts = []
    for k in range(4):
        arcs, shares = zip(*(stretch[k] for stretch in stretches), strict=True)
        common: FloatArray = np.unique(np.round(np.concatenate(shares), 12))
        stack = np.stack([_at_share(arc, share, common) for arc, share in zip(arcs, shares, strict=True)])
        parts.append(_thin(stack, chord_error, girth * LONGEST_EDGE)[:, :-1])
    return np.concatenate(parts, axis=1)


@lru_cache(maxsize=OUTLINES_KEPT)
def stretches_of(outline: bytes, row: int) -> list[tuple[FloatArray, FloatArray]]:
    """Return the four stretches of an outline (its bytes), each with its points' shares, to use again."""
    return [(arc, _share(arc)) for arc in quarters(np.frombuffer(outline).reshape(-1, 2), row)]


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
    rule on all at once, all spans of a round together); edges are then split to be no longer than `longest`.
    """
    keep = np.zeros(stack.shape[1], dtype=bool)
    keep[[0, -1]] = True
    x, y = (np.ascontiguousarray(stack[:, :, k]) for k in range(2))
    a, b = np.array([0]), np.array([stack.shape[1] - 1])
    while (b - a > 1).any():
        a, b = a[b - a > 1], b[b - a > 1]
        count = b - a - 1
        first = np.cumsum(count) - count
        span = np.repeat(np.arange(len(a)), count)
        point = np.arange(len(span)) - first[span] + a[span] + 1
        run_x, run_y = x[:, b] - x[:, a], y[:, b] - y[:, a]
        square = np.maximum(run_x * run_x + run_y * run_y, 1e-300)[:, span]
        arm_x, arm_y = x[:, point] - x[:, a[span]], y[:, point] - y[:, a[span]]
        run_x, run_y = run_x[:, span], run_y[:, span]
        along = np.clip((arm_x * run_x + arm_y * run_y) / square, 0.0, 1.0)
        arm_x -= along * run_x
        arm_y -= along * run_y
        off = np.sqrt((arm_x * arm_x + arm_y * arm_y).max(axis=0))
        most = np.maximum.reduceat(off, first)
        far = np.flatnonzero(most > tolerance)
        at_most = np.flatnonzero(off == most[span])
        worst = point[at_most[np.searchsorted(span[at_most], far)]]
        keep[worst] = True
        a, b = np.concatenate([a[far], worst]), np.concatenate([worst, b[far]])
    thin = stack[:, keep]
    edge = np.linalg.norm(np.diff(thin, axis=1), axis=2).max(axis=0)
    pieces = np.maximum(np.ceil(edge / longest).astype(int), 1)
    at_edge = np.repeat(np.arange(len(pieces)), pieces)
    fraction = np.concatenate([np.arange(n) / n for n in pieces])[None, :, None]
    split = thin[:, at_edge] * (1 - fraction) + thin[:, at_edge + 1] * fraction
    return np.concatenate([split, thin[:, -1:]], axis=1)
