"""Tube coordinates: the station, and the place round the section, of any point near a port.

A Port comes in; a Tube, whose planes carry a polar system each, goes out, and points are placed in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from scipy.spatial import cKDTree

from portgeo.core.centreline import at
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.slicing import slice_mesh, tube_sections
from portgeo.core.triangles import BLOCK, used_by

PLANE_SPACING_MM = 0.5  # at 60 mm radius two planes then turn by half a degree, and a fraction is exact to 1e-5
MEASURED_PLANES = 96  # planes on which the section's middle, height and width are read; between them linear
FARTHEST_STEP = 64  # planes a point may be from the nearest middle before it counts as outside
OPENING_TOLERANCE_MM = 0.02  # a face this close to an opening's plane, all three corners, closes it
MOST_TILTED = 0.2  # of its reach: an opening's plane may be so far from square to the tube at its rim
FACING = 0.7  # cosine: a face that closes an opening looks along the tube
UNEVEN_MM = 0.5  # an opening may be dished so far in its middle: what stands apart from the wall there is opening
LYING = 0.5  # of its longest edge: a face of the wall rises more than this out of an opening's plane


@dataclass(frozen=True)
class Tube:
    """Planes along a port with the middle and half sizes of its section in each.

    stations : (n,). middles : (n, 3), the middle of the section's height and width. frames :
    (n, 3, 3), rows flow, left, up. halves : (n, 2), half the width and half the height. girth :
    the greatest perimeter, roughly.
    """

    stations: FloatArray
    middles: FloatArray
    frames: FloatArray
    halves: FloatArray
    girth: float


@dataclass(frozen=True)
class Places:
    """Where points (k,) are in a tube.

    station : (k,), beyond the ends it goes on straight. left, up : (k,) from the section's middle.
    round : (k,) in [0, 1), turns clockwise from 12 o'clock, with the section scaled to a square so
    that its corners stand at 1/8, 3/8, 5/8 and 7/8. clock : (k,) the plain clock position in hours, [0, 12).
    feet : (k, 3), the section's middle in the point's own plane.
    """

    station: FloatArray
    left: FloatArray
    up: FloatArray
    round: FloatArray
    clock: FloatArray
    feet: FloatArray

    @property
    def wall(self) -> IntArray:
        """Index into WALLS of the wall each point is on (k,)."""
        return np.floor(self.round * 4.0 + 0.5).astype(np.int64) % 4


@dataclass(frozen=True)
class Walled:
    """A port with its tube, and which of its faces (m,) are wall and not one of the openings.

    legs : the tubes that its own parts into, of all of a port that splits; none of one passage.
    """

    port: Port
    tube: Tube
    is_wall: np.ndarray
    legs: tuple[Tube, ...] = ()

    @property
    def openings(self) -> tuple[tuple[FloatArray, FloatArray], ...]:
        """Middle (3,) and flow (3,) of the entry, then of every exit."""
        ends = [(self.tube, 0), *((tube, -1) for tube in self.legs or (self.tube,))]
        return tuple((tube.middles[end], tube.frames[end, 0]) for tube, end in ends)

    def walls_at(self, points: FloatArray) -> IntArray:
        """Return the index into WALLS (n,) of the wall that points (n, 3) are on, of the passage nearest to each."""
        tubes = (self.tube, *self.legs)
        if len(tubes) == 1:
            return places(self.tube, points).wall
        nearest = np.argmin([cKDTree(tube.middles).query(points, workers=-1)[0] for tube in tubes], axis=0)
        wall = np.zeros(len(points), dtype=np.int64)
        for k, tube in enumerate(tubes):
            wall[nearest == k] = places(tube, points[nearest == k]).wall
        return wall


def walled(port: Port) -> Walled:
    """Return a port with its tube and its wall told from its openings."""
    tube = tube_of(port)
    return Walled(port, tube, wall_faces(port, tube))


def tube_of(port: Port) -> Tube:
    """Return the tube of a port, its sections read on MEASURED_PLANES planes of its mesh."""
    first, last = port.centreline.stations[[0, -1]]
    inside = np.linspace(first, last, MEASURED_PLANES)
    inside[[0, -1]] += np.array([1, -1]) * 1e-4 * (last - first)
    points, frames = at(port.centreline, inside)
    found = tube_sections(slice_mesh(port.vertices, port.faces, points, frames[:, 0]), points, frames)
    good = np.array([k for k, section in enumerate(found) if section is not None])
    low = np.array([found[k].outline.min(axis=0) for k in good])
    high = np.array([found[k].outline.max(axis=0) for k in good])
    stations = np.linspace(first, last, max(int(np.ceil((last - first) / PLANE_SPACING_MM)), 8) + 1)
    points, frames = at(port.centreline, stations)
    middle = _between(stations, inside[good], (low + high) / 2.0)
    halves = _between(stations, inside[good], (high - low) / 2.0)
    return Tube(
        stations=stations,
        middles=points + np.einsum("nk,nkj->nj", middle, frames[:, 1:]),
        frames=frames,
        halves=halves,
        girth=float(4.0 * halves.sum(axis=1).max()),
    )


def _between(wanted: FloatArray, known: FloatArray, values: FloatArray) -> FloatArray:
    return np.column_stack([np.interp(wanted, known, values[:, k]) for k in range(values.shape[1])])


def places(tube: Tube, points: FloatArray) -> Places:
    """Return where points (k, 3) are in a tube.

    A point between two planes has the station at its share of the way: the distance to the one over
    the sum of the distances to both, which is exact where the planes are parallel and second order
    in their angle where they turn.
    """
    _, k = cKDTree(tube.middles).query(points, workers=-1)
    blocks = [slice(start, start + BLOCK) for start in range(0, len(points), BLOCK)] or [slice(0)]
    return joined([_places(tube, points[block], k[block]) for block in blocks])


def joined(parts: Sequence[Places]) -> Places:
    """Return places one after the other."""
    names = [field.name for field in fields(Places)]
    return Places(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def _places(tube: Tube, points: FloatArray, near: IntArray) -> Places:
    """Return the places of points (k, 3) whose nearest middles are `near` (k,)."""
    stations, middles, frames = tube.stations, tube.middles, tube.frames
    k = np.clip(near, 0, len(stations) - 2)
    moving = np.arange(len(points))
    for _ in range(FARTHEST_STEP):
        behind = np.einsum("ij,ij->i", points[moving] - middles[k[moving]], frames[k[moving], 0])
        ahead = np.einsum("ij,ij->i", points[moving] - middles[k[moving] + 1], frames[k[moving] + 1, 0])
        step = np.where(behind < 0, -1, np.where(ahead > 0, 1, 0))
        after = np.clip(k[moving] + step, 0, len(stations) - 2)
        changed = after != k[moving]
        if not changed.any():
            break
        k[moving] = after
        moving = moving[changed]
    behind = np.einsum("ij,ij->i", points - middles[k], frames[k, 0])
    ahead = np.einsum("ij,ij->i", points - middles[k + 1], frames[k + 1, 0])
    span = behind - ahead
    share = behind / np.where(np.abs(span) > 1e-9, span, 1.0)
    # Past an end the plane does not turn any more.
    share = np.where(behind < 0, behind / (stations[k + 1] - stations[k]), share)
    share = np.where(ahead > 0, 1.0 + ahead / (stations[k + 1] - stations[k]), share)
    inside = np.clip(share, 0.0, 1.0)[:, None]
    station = stations[k] + share * (stations[k + 1] - stations[k])
    run = middles[k + 1] - middles[k]
    feet = middles[k] + share[:, None] * run
    left_axis = frames[k, 1] * (1 - inside) + frames[k + 1, 1] * inside
    up_axis = frames[k, 2] * (1 - inside) + frames[k + 1, 2] * inside
    halves = tube.halves[k] * (1 - inside) + tube.halves[k + 1] * inside
    arm = points - feet
    left, up = np.einsum("ij,ij->i", arm, left_axis), np.einsum("ij,ij->i", arm, up_axis)
    turn = np.arctan2(-left / halves[:, 0], up / halves[:, 1]) / (2.0 * np.pi) % 1.0
    clock = np.arctan2(-left, up) * (6.0 / np.pi) % 12.0
    return Places(station, left, up, np.where(turn >= 1.0, 0.0, turn), clock, feet)


def wall_faces(port: Port, tube: Tube, ends: Sequence[int] = (0, -1)) -> np.ndarray:
    """Return which faces (m,) of a port are wall: those that do not close one of the openings at a tube's ends."""
    wall = np.ones(len(port.faces), dtype=bool)
    tolerance = max(OPENING_TOLERANCE_MM, 4.0 * port.noise)
    for end in ends:
        arm = port.vertices - tube.middles[end]
        reach = 1.5 * float(np.hypot(*tube.halves[end]))  # another reach of the port may lie in the same plane
        near = (np.abs(arm @ tube.frames[end, 0]) < MOST_TILTED * reach) & (np.einsum("ij,ij->i", arm, arm) < reach**2)
        candidate = np.flatnonzero(near[port.faces].all(axis=1))
        a, b, c = (arm[port.faces[candidate, k]] for k in range(3))
        normal = np.cross(b - a, c - a)
        size = np.linalg.norm(normal, axis=1)
        flat = np.abs(normal @ tube.frames[end, 0]) > FACING * size
        if not flat.any():
            continue
        # The opening's own plane, which a mold cut by hand may have out of square to the tube.
        flow = normal[flat].sum(axis=0)
        flow /= np.linalg.norm(flow)
        middle = (a + b + c)[flat] @ flow / 3.0
        order = np.argsort(middle)
        half = np.searchsorted(np.cumsum(size[flat][order]), size[flat].sum() / 2.0)
        height = arm @ flow - middle[order[half]]
        corners = height[port.faces[candidate]]
        longest = np.sqrt(np.max([np.einsum("ij,ij->i", d, d) for d in (b - a, c - b, a - c)], axis=0))
        # A sliver has no normal to tell it by, but it does not rise out of the plane.
        lies = np.ptp(corners, axis=1) < LYING * longest
        wall[candidate[lies & (np.abs(corners) < tolerance).all(axis=1)]] = False
        close = candidate[(np.abs(corners) < UNEVEN_MM).all(axis=1)]
        wall[_apart_from_wall(port.faces, wall, close[wall[close]], len(port.vertices))] = False
    return wall


def _apart_from_wall(faces: IntArray, wall: np.ndarray, doubtful: IntArray, count: int) -> IntArray:
    """Return which doubtful faces (k,) no way over others of them joins to the rest of the wall (m,)."""
    of_wall = wall.copy()
    of_wall[doubtful] = False
    known = used_by(faces[of_wall], count)
    is_known = np.zeros(count, dtype=bool)
    is_known[known] = True
    while len(doubtful):
        joined_on = is_known[faces[doubtful]].any(axis=1)
        if not joined_on.any():
            break
        is_known[faces[doubtful[joined_on]]] = True
        doubtful = doubtful[~joined_on]
    return doubtful
