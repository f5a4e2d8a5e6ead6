"""Dividers of a manifold: the metal between two runners that lie side by side, at the plenum and further in.

Runners with their places in one frame come in; the widths between neighbours go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.comparing.distance import Wall, closest
from portgeo.comparing.register import wall_of
from portgeo.comparing.tube import walled
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port, sections_at, stations_of
from portgeo.core.section import Section
from portgeo.core.slicing import slice_mesh, tube_sections
from portgeo.measuring.flare import Flare

LEVEL_MM, SQUARE = 3.0, np.radians(10.0)  # two openings farther out of one plane than this share no edge
SOME, ROUND_ABOUT_MM = 4000, 8.0  # points of a wall looked at first, then all about the nearest of them
PAST_MM = 1.0  # past the rounding of the edge: there a divider has its full width


@dataclass(frozen=True)
class Divider:
    """The metal between a runner and the next, mm; `one` and `other` are their numbers, from 0.

    edge, edge_u : its width in the plane of the openings and the standard uncertainty of that, 0 where they run into
    each other; None where they lie in no one plane. clock : where it is, seen from `one`, hours. past, past_depth :
    its width past the rounding of its edge, and how deep that is; None where no edge is rounded. radius : of its edge
    on either side (one's, other's), nan where square. least, least_station : the thinnest metal between the two
    anywhere, and its station in `one`; 0 where they run into each other.
    """

    one: int
    other: int
    edge: float | None
    edge_u: float | None
    clock: float
    past: float | None
    past_depth: float
    radius: tuple[float, float]
    least: float
    least_station: float


def dividers(ports: Sequence[Port], poses: Sequence[FloatArray], edges: Sequence[Flare]) -> tuple[Divider, ...]:
    """Return the divider between each runner and the next. poses : (4, 4) from each one's frame into the manifold's."""
    walls = [wall_of(walled(port)) for port in ports]
    return tuple(_between(ports, walls, poses, edges, k) for k in range(len(ports) - 1))


def _between(
    ports: Sequence[Port], walls: Sequence[Wall], poses: Sequence[FloatArray], edges: Sequence[Flare], k: int
) -> Divider:
    one, other = ports[k], ports[k + 1]
    into = np.linalg.inv(poses[k]) @ poses[k + 1]  # from the other's frame into the one's
    first, second = (_towards(way) for way in (into[:3, 3], -(into[:3, :3].T @ into[:3, 3])))
    radius = tuple(float(edge.radius[round(hour) % 12]) for edge, hour in ((edges[k], first), (edges[k + 1], second)))
    deep = max((r for r in radius if np.isfinite(r)), default=0.0) + PAST_MM
    past = _gap(one, other, into, deep) if deep > PAST_MM else None
    edge, u = _edge(one, other, into, radius, past)
    thinnest = _thinnest(one, walls[k], walls[k + 1], into)
    least, station = thinnest if edge is None or edge > thinnest[0] else (edge, 0.0)
    return Divider(k, k + 1, edge, u, first, past, deep, (radius[0], radius[1]), least, station)


def _edge(
    one: Port, other: Port, into: FloatArray, radius: Sequence[float], past: float | None
) -> tuple[float | None, float | None]:
    """Return an edge's width in the plane of the openings, and its standard uncertainty.

    A sheet's entry is read across. A scan's rounded mouth runs out flat into the plenum's wall and is lost there in the
    mesh: the width lies between what is seen of it and what whole quarters of its circles leave, and nothing says where
    between (JCGM 100, 4.3.7).
    """
    seen = _gap(one, other, into, 0.0)
    if seen is None:
        return None, None
    u = float(np.linalg.norm([port.readings[0].error / 2.0 for port in (one, other) if port.readings]))
    rounded = sum(r for r, port in zip(radius, (one, other), strict=True) if np.isfinite(r) and not port.readings)
    if past is None or rounded == 0.0 or one.readings or other.readings:
        return seen, u
    low = min(max(past - rounded, 0.0), seen)
    return (seen + low) / 2.0, float(np.hypot(u, (seen - low) / 2.0 / np.sqrt(3.0)))


def _towards(way: FloatArray) -> float:
    """Return the clock position, hours, of a direction (3,) in a runner's own frame."""
    return float(np.degrees(np.arctan2(-way[1], way[2])) / 30.0 % 12.0)


def _gap(one: Port, other: Port, into: FloatArray, depth: float) -> float | None:
    """Return the least distance of two runners' outlines at a depth from their openings; None in no one plane."""
    first, second = (_section(port, depth) for port in (one, other))
    points = second.in_space(second.outline) @ into[:3, :3].T + into[:3, 3] - first.origin
    heading = into[:3, :3] @ second.frame[0]
    if np.abs(points @ first.frame[0]).max() > LEVEL_MM or heading @ first.frame[0] < np.cos(SQUARE):
        return None
    return float(shapely.distance(shapely.Polygon(first.outline), shapely.Polygon(points @ first.frame[1:].T)))


def _section(port: Port, depth: float) -> Section:
    """Return a runner's section in a plane beside its opening's, so far in."""
    opening = sections_at(port, port.centreline.stations[:1])[0]
    if depth <= 0.0:
        return opening
    origin, frame = (opening.origin + depth * opening.frame[0])[None], opening.frame[None]
    inside = tube_sections(slice_mesh(port.vertices, port.faces, origin, frame[:, 0]), origin, frame)[0]
    return opening if inside is None else inside


def _thinnest(one: Port, wall: Wall, beside: Wall, into: FloatArray) -> tuple[float, float]:
    """Return the least distance of two runners' walls, and the station of it on the one."""
    points = beside.vertices[np.unique(beside.faces)] @ into[:3, :3].T + into[:3, 3]
    some = points[:: max(len(points) // SOME, 1)]
    far = np.linalg.norm(some - closest(wall, some)[0], axis=1)
    near = points[np.linalg.norm(points - some[np.argmin(far)], axis=1) <= ROUND_ABOUT_MM]
    foot, _ = closest(wall, near)
    far = np.linalg.norm(near - foot, axis=1)
    k = int(np.argmin(far))
    station = float(stations_of(one, foot[k : k + 1])[0][0] - one.centreline.stations[0])
    return (0.0 if _inside_each_other(one, some) else float(far[k])), station


def _inside_each_other(one: Port, points: FloatArray) -> bool:
    """Return whether any of points (n, 3) is inside a runner."""
    import igl

    near = points[(points > one.vertices.min(axis=0)).all(axis=1) & (points < one.vertices.max(axis=0)).all(axis=1)]
    if not len(near):
        return False
    winding = igl.fast_winding_number(one.vertices, one.faces.astype(np.int64), near)
    return bool((winding > 0.5).any())


def spacing_notices(spacing: FloatArray, widths: FloatArray) -> tuple[Notice, ...]:
    """Return a notice of neighbors whose centers (k - 1,) are nearer than their widths (k,) past the edges allow."""
    between = (widths[:-1] + widths[1:]) / 2.0
    return tuple(
        Notice("set_spacing", runners=(str(k + 1), str(k + 2)), spacing=float(spacing[k]), width=float(between[k]))
        for k in np.flatnonzero(np.abs(spacing) < between)
    )
