"""Centreline: a curve with frames, a chain of circular arcs; and planes along it that do not cross.

Headings, or places with headings, come in; points and twist-free frames at any station go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray

STRAIGHT = 1e-9  # radians: below this an arc is a straight line to the last digit


@dataclass(frozen=True)
class Centreline:
    """A chain of circular arcs with frames.

    stations : (n,) distances along it, rising. points : (n, 3). frames : (n, 3, 3), rows are the
    directions of flow, left and up. Between two nodes the heading turns at a constant rate and the
    frame turns with it and not about it.
    """

    stations: FloatArray
    points: FloatArray
    frames: FloatArray

    @property
    def length(self) -> float:
        """Length along the curve."""
        return float(self.stations[-1] - self.stations[0])


def heading(turn: float, swing: float) -> FloatArray:
    """Return the direction of flow (3,) turned from +x towards the floor and the right wall.

    The two angles name one rotation, by hypot(turn, swing) towards the point of the wall that they
    share, so the pair means the same in either order and has no pole at 90 degrees.
    """
    angle = float(np.hypot(turn, swing))
    towards = np.array([-swing, -turn]) / angle if angle > 0 else np.zeros(2)
    return np.concatenate([[np.cos(angle)], np.sin(angle) * towards])


def turn_and_swing(way: FloatArray) -> tuple[float, float]:
    """Return the two angles whose `heading` is a direction of flow (3,), a unit vector."""
    aside = float(np.hypot(way[1], way[2]))
    angle = float(np.arctan2(aside, way[0]))
    share = angle / aside if aside > 0.0 else 0.0
    return float(-way[2] * share), float(-way[1] * share)


def through(
    stations: Sequence[float] | FloatArray,
    headings: FloatArray,
    places: Sequence[FloatArray | None] | None = None,
    up: FloatArray | None = None,
) -> Centreline:
    """Return the centreline with the given headings at the given stations.

    stations : (n,). headings : (n, 3) unit vectors. places : n points (3,) or None; a stretch that
    ends at a given place is two arcs that meet there smoothly (its stations are then the curve's
    own length), any other is one arc as long as its stations say. Raises GeometryError for a place
    that no such arcs reach. up : (3,), what the first frame's up leans to, +z by default. The first
    point is its place, or the origin.
    """
    points = [np.zeros(3) if places is None or places[0] is None else np.asarray(places[0], float)]
    along = [float(stations[0])]
    tangents = [headings[0]]
    for k in range(1, len(headings)):
        place = None if places is None else places[k]
        if place is None:
            steps = [(float(stations[k] - stations[k - 1]), headings[k])]
        else:
            steps = _two_arcs(points[-1], tangents[-1], np.asarray(place, float), headings[k])
            if not steps:
                raise GeometryError(
                    "its place is that of the section before, or behind it with the same heading",
                    where=f"measured section {k + 1} from the entry",
                    hint="Check its x, y and z, and its heading",
                )
        for length, tangent in steps:
            points.append(points[-1] + _arc(tangents[-1], tangent, length))
            tangents.append(tangent)
            along.append(along[-1] + length)
    return Centreline(np.array(along), np.array(points), _frames(np.array(tangents), up))


def at(centreline: Centreline, stations: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return points (k, 3) and frames (k, 3, 3) at stations (k,), exact on the arcs.

    Stations before the first and past the last go on straight.
    """
    nodes = centreline.stations
    s = np.asarray(stations, dtype=float)
    k = np.clip(np.searchsorted(nodes, s, side="right") - 1, 0, len(nodes) - 2)
    inside = np.clip(s, nodes[0], nodes[-1])
    span = nodes[k + 1] - nodes[k]
    fraction = (inside - nodes[k]) / span
    start, end = centreline.frames[k, 0], centreline.frames[k + 1, 0]
    axis, angle = _turn_between(start, end)
    turned = angle * fraction
    normal = np.cross(axis, start)
    with np.errstate(divide="ignore", invalid="ignore"):
        # The integral of cos and sin of the angle turned so far, per unit of length, exact for small ones too.
        ahead = np.where(angle > STRAIGHT, np.sin(turned) / angle, fraction)
        aside = np.where(angle > STRAIGHT, 2.0 * np.sin(turned / 2.0) ** 2 / angle, 0.0)
    points = centreline.points[k] + span[:, None] * (ahead[:, None] * start + aside[:, None] * normal)
    frames = _rotate(centreline.frames[k], axis, turned)
    return points + (s - inside)[:, None] * frames[:, 0], frames


def _turn_between(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return axes (k, 3) and angles (k,) of the least rotations that take unit vectors a to b."""
    axis = np.cross(a, b)
    sine = np.linalg.norm(axis, axis=1)
    angle = np.arctan2(sine, np.einsum("ij,ij->i", a, b))
    return axis / np.maximum(sine, 1e-300)[:, None], angle


def _rotate(frames: FloatArray, axis: FloatArray, angle: FloatArray) -> FloatArray:
    """Return frames (k, 3, 3) turned about unit axes (k, 3) by angles (k,) (Rodrigues's formula)."""
    cosine, sine = np.cos(angle)[:, None, None], np.sin(angle)[:, None, None]
    about = axis[:, None, :]
    along = np.einsum("kij,kj->ki", frames, axis)[:, :, None]
    return (
        frames * cosine + np.cross(np.broadcast_to(about, frames.shape), frames) * sine + about * along * (1 - cosine)
    )


def _arc(start: FloatArray, end: FloatArray, length: float) -> FloatArray:
    """Return the step (3,) of an arc of a length, between two headings: its chord."""
    both = start + end
    half = np.arctan2(np.linalg.norm(end - start), np.linalg.norm(both))
    return length * np.sinc(half / np.pi) * both / np.linalg.norm(both)


def _two_arcs(p0: FloatArray, t0: FloatArray, p1: FloatArray, t1: FloatArray) -> list[tuple[float, FloatArray]]:
    """Return [(length, end heading)] of the pair of arcs with equal tangent lengths (a biarc).

    The tangent length d makes the control points p0 + d t0 and p1 - d t1 lie 2 d apart. None reach a
    place that is p0 itself, or behind it with the same heading: the list is then empty.
    """
    chord = p1 - p0
    bend = 2.0 * (1.0 - t0 @ t1)
    along = chord @ (t0 + t1)
    square = chord @ chord
    # The root of bend d^2 + 2 along d - square = 0, in the form that stays exact as bend goes to 0.
    ahead = along + np.sqrt(along**2 + bend * square)
    if ahead <= STRAIGHT * np.sqrt(square):
        return []
    tangent_length = square / ahead
    middle = (p1 - tangent_length * t1) - (p0 + tangent_length * t0)
    middle /= np.linalg.norm(middle)
    steps = []
    for start, end in ((t0, middle), (middle, t1)):
        half = np.arctan2(np.linalg.norm(end - start), np.linalg.norm(start + end))
        steps.append((float(2.0 * tangent_length * (half / np.tan(half) if half > STRAIGHT else 1.0)), end))
    return steps


def _frames(tangents: FloatArray, up: FloatArray | None) -> FloatArray:
    """Return twist-free frames (n, 3, 3) along tangents (n, 3): each the last, turned the least."""
    lean = np.array([0.0, 0.0, 1.0]) if up is None else np.asarray(up, float)
    left = np.cross(lean, tangents[0])
    left /= np.linalg.norm(left)
    lefts = [left]
    for a, b in pairwise(tangents):
        # The least rotation that takes a to b, put on a vector square to a.
        turned = lefts[-1] - (b @ lefts[-1]) / (1.0 + a @ b) * (a + b)
        turned -= (turned @ b) * b  # no drift over a long chain
        lefts.append(turned / np.sqrt(turned @ turned))
    left_rows = np.array(lefts)
    return np.stack([tangents, left_rows, np.cross(tangents, left_rows)], axis=1)


def turned_onto(spine: Centreline, point: FloatArray, frame: FloatArray) -> Centreline:
    """Return a centreline moved so that it begins at a point (3,), in a frame (3, 3) of flow, left and up.

    Its headings stay as they are but for what its first one and the frame's differ by.
    """
    axis, angle = _turn_between(spine.frames[:1, 0], frame[:1])
    turn = _rotate(np.eye(3)[None], axis, angle)[0]
    frames = spine.frames @ turn
    # The least turn leaves the frames rolled about the flow against the one given, all by one angle.
    roll = np.arctan2(frame[2] @ frames[0, 1], frame[1] @ frames[0, 1])
    left = np.cos(roll) * frames[:, 1] - np.sin(roll) * frames[:, 2]
    frames = np.stack([frames[:, 0], left, np.cross(frames[:, 0], left)], axis=1)
    return Centreline(spine.stations, point + (spine.points - spine.points[0]) @ turn, frames)


def crossings(points: FloatArray, frames: FloatArray, rings: Sequence[FloatArray] | FloatArray) -> np.ndarray:
    """Return whether plane k and plane k + 1 cross inside the port, (n - 1,) of bool.

    points (n, 3) and frames (n, 3, 3) of the planes; rings : n outlines in space (m, 3). Two planes
    do not cross inside when each outline lies wholly on its own side of the other plane.
    """
    ahead = [((rings[k + 1] - points[k]) @ frames[k, 0]).min() > 0 for k in range(len(points) - 1)]
    behind = [((rings[k] - points[k + 1]) @ frames[k + 1, 0]).max() < 0 for k in range(len(points) - 1)]
    return ~(np.array(ahead, dtype=bool) & np.array(behind, dtype=bool))
