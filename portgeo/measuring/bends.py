"""Bends: the runs of a port that turn one way, each with the plane it turns in and the wall inside it.

Frames along a port come in; bends in order of stations, each with the stretch that is its own, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from portgeo.core.centreline import at
from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import WALLS
from portgeo.measuring.throat import passage_ends

LEAST_BEND = np.radians(10.0)  # a run that turns less is no bend
ROUNDING = np.radians(1e-6)  # a bend of just ten degrees is one
WOBBLE = LEAST_BEND / 2.0  # a heading that strays by less from a bend's own plane, or back, is still that bend
ONE_PLANE = np.radians(45.0)  # turns towards one wall, and not towards the next
PAUSE = 0.25  # of the lesser bend's curvature: under it the port runs straight between two bends
PAUSE_SPAN = 0.25  # of the port's size: how long a straight stretch parts two bends
FINE_STATIONS = 241  # places along a port at which its heading is looked at
TURN_FROM, TURN_TO = 0.05, 0.95  # of the change of heading: the part of a bend that does the turning


@dataclass(frozen=True, eq=False)
class BendPlane:
    """Where a bend lies and the plane it turns in.

    axis (3,) turned about, ahead (3,) along the heading before it, aside (3,) inward. turn : radians.
    begin, end : stations of the stretch that is the bend's own, half way to the bends beside it or as
    far as the port goes. turns_from, turns_to : stations at 5 % and 95 % of its turn. wall : which of
    WALLS its inside is on.
    """

    axis: FloatArray
    ahead: FloatArray
    aside: FloatArray
    turn: float
    begin: float
    end: float
    turns_from: float
    turns_to: float
    wall: str


def port_bends(port: Port) -> tuple[BendPlane, ...]:
    """Return the bends of a port in order of stations; its valve seat makes none."""
    first, last = passage_ends(port)
    nodes = port.centreline.stations
    own = nodes[(nodes > first) & (nodes < last)]
    stations = np.union1d(np.linspace(first, last, FINE_STATIONS), own)
    size = float(np.sqrt(port.mesh.volume / (nodes[-1] - nodes[0])))
    return find_bends(stations, at(port.centreline, stations)[1], size)


def meant_bend(port: Port, planes: Sequence[BendPlane]) -> BendPlane | None:
    """Return which of a port's bends is worked on, None where it has none. Raises InputError for one it has not."""
    number = port.bend
    if number is None:
        return planes[-1 if port.valve_end == "exit" else 0] if planes else None
    if not 1 <= number <= len(planes):
        has = {0: "has no bend", 1: "has one bend"}.get(len(planes), f"has {len(planes)} bends")
        raise InputError(f"the port {has}, so there is no bend {number}", hint="Bends are numbered from the entry")
    return planes[number - 1]


def level_plane(port: Port) -> BendPlane:
    """Return the plane of flow and up in a port's entry, in which the floor line of one with no bend lies."""
    spine = port.centreline
    ahead, left, up = spine.frames[0]
    first, last = (float(s) for s in spine.stations[[0, -1]])
    return BendPlane(left, ahead, -up, 0.0, first, last, first, last, "floor")


def inner_wall(bend: BendPlane | None) -> str:
    """Return which of WALLS the inside of a bend is on: the floor where there is none."""
    return "floor" if bend is None else bend.wall


def find_bends(stations: FloatArray, frames: FloatArray, size: float) -> tuple[BendPlane, ...]:
    """Return the bends of a port in order of stations.

    stations (n,), frames (n, 3, 3) : along the port, twist-free, close together beside `size`, the
    square root of its usual area. What the heading turns towards left and up, summed along the port,
    is a line in a plane: straight where the port bends in one plane, resting where it runs straight,
    with a corner where the next bend turns to another wall, and going back on itself where that is
    the opposite one. That line is simplified (Douglas and Peucker, Cartographica 10, 1973) and its
    straight pieces are the bends, parted once more where the port runs straight in between.
    """
    turned = _turned(frames)
    corners = _simplified(turned)
    pieces = [(a, b) for a, b in pairwise(corners) if _far(turned, a, b)]
    parted = [part for piece in _joined(turned, pieces) for part in _parted(stations, turned, *piece, size)]
    stretches = [_turning(stations, turned, a, b) for a, b in parted]
    middles = [(before[1] + after[0]) / 2.0 for before, after in pairwise(stretches)]
    limits = [float(stations[0]), *middles, float(stations[-1])]
    return tuple(
        _bend_plane(stations, frames, turned, parted[k], stretches[k], (limits[k], limits[k + 1]))
        for k in range(len(parted))
    )


def _turned(frames: FloatArray) -> FloatArray:
    """Return how far the heading has turned towards left and up (n, 2) in all, radians."""
    ahead = np.einsum("nij,nj->ni", frames[:-1], frames[1:, 0])
    aside = np.linalg.norm(ahead[:, 1:], axis=1)
    angle = np.arctan2(aside, ahead[:, 0])
    steps = ahead[:, 1:] * (angle / np.maximum(aside, 1e-300))[:, None]
    return np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])


def _simplified(turned: FloatArray) -> list[int]:
    """Return the places of the corners of a line (n, 2) that strays by no more than WOBBLE between them."""
    keep, spans = {0, len(turned) - 1}, [(0, len(turned) - 1)]
    while spans:
        a, b = spans.pop()
        if b - a < 2:
            continue
        run, arm = turned[b] - turned[a], turned[a + 1 : b] - turned[a]
        share = np.clip(arm @ run / max(float(run @ run), 1e-300), 0.0, 1.0)
        off = np.linalg.norm(arm - share[:, None] * run, axis=1)
        worst = int(np.argmax(off))
        if off[worst] > WOBBLE:
            keep.add(a + 1 + worst)
            spans += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return sorted(keep)


def _far(turned: FloatArray, a: int, b: int) -> bool:
    return bool(np.linalg.norm(turned[b] - turned[a]) >= LEAST_BEND - ROUNDING)


def _joined(turned: FloatArray, pieces: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return pieces with those that follow each other in nearly one plane made one."""
    joined: list[tuple[int, int]] = []
    for a, b in pieces:
        if joined:
            before, run = turned[joined[-1][1]] - turned[joined[-1][0]], turned[b] - turned[a]
            if before @ run >= np.cos(ONE_PLANE) * np.linalg.norm(before) * np.linalg.norm(run):
                a = joined.pop()[0]
        joined.append((a, b))
    return joined


def _parted(stations: FloatArray, turned: FloatArray, a: int, b: int, size: float) -> list[tuple[int, int]]:
    """Return the bends (from, to) of a piece of one direction, parted where the port runs straight in between."""
    theta = _theta(turned, a, b)
    span = PAUSE_SPAN * size
    s = stations[a : b + 1]
    half = np.interp(s + span / 2.0, s, theta) - np.interp(s - span / 2.0, s, theta)
    low = np.minimum(np.maximum.accumulate(half), np.maximum.accumulate(half[::-1])[::-1])
    behind, beyond = np.maximum.accumulate(theta) - theta[0], theta[-1] - theta
    pause = (half < PAUSE * low) & (behind >= LEAST_BEND - ROUNDING) & (beyond >= LEAST_BEND - ROUNDING)
    if not pause.any():
        return [(a, b)]
    first = int(np.argmax(pause))
    run = first + int(np.argmin(pause[first:])) if not pause[first:].all() else len(pause)
    middle = a + (first + run - 1) // 2
    return [(a, middle), *_parted(stations, turned, middle, b, size)]


def _theta(turned: FloatArray, a: int, b: int) -> FloatArray:
    """Return how far a piece has turned in its own direction (b - a + 1,), radians."""
    run = turned[b] - turned[a]
    return np.asarray((turned[a : b + 1] - turned[a]) @ run / max(float(np.linalg.norm(run)), 1e-300))


def _turning(stations: FloatArray, turned: FloatArray, a: int, b: int) -> tuple[float, float]:
    """Return the stations between which a piece does its turning, TURN_FROM to TURN_TO of it."""
    theta = _theta(turned, a, b)
    share = (theta - theta.min()) / max(float(np.ptp(theta)), 1e-300)
    before = np.flatnonzero(share <= TURN_FROM)
    start = int(before[before <= np.argmax(share)][-1]) if (before <= np.argmax(share)).any() else 0
    stop = start + int(np.argmax(share[start:] >= TURN_TO))
    return float(stations[a + start]), float(stations[a + stop])


def _bend_plane(
    stations: FloatArray,
    frames: FloatArray,
    turned: FloatArray,
    piece: tuple[int, int],
    turning: tuple[float, float],
    limits: tuple[float, float],
) -> BendPlane:
    here = np.flatnonzero((stations >= limits[0]) & (stations <= limits[1]))
    # The plane is that of the turning itself: what a wobble beside it does would tilt it.
    core = np.flatnonzero((stations >= turning[0]) & (stations <= turning[1]))
    tangents = frames[core, 0]
    swept = np.cross(tangents[:-1], tangents[1:]).sum(axis=0)
    axis = swept / np.linalg.norm(swept)
    heading = frames[here, 0]
    ahead = heading[0] - (heading[0] @ axis) * axis
    ahead /= np.linalg.norm(ahead)
    aside = np.cross(axis, ahead)
    theta = _theta(turned, *piece)
    # The wall is told in the section's own frame, which turns with the port: any section of the bend tells it.
    left, up = np.einsum("kij,kj->i", frames[core][:, 1:], np.cross(axis, tangents))
    wall = WALLS[round(float(np.arctan2(-left, up)) / (np.pi / 2.0)) % 4]
    return BendPlane(axis, ahead, aside, float(np.ptp(theta)), *limits, *turning, wall)
