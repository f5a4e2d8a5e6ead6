"""Divider: the metal between two legs, its edge seen at several heights: where it stands, its radius, its width.

A port that splits comes in, with where to look; a Divider goes out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from numpy.polynomial import Polynomial

from portgeo.core.centreline import at
from portgeo.core.grain import Grain
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port, sections_at
from portgeo.core.section import HALF_STEP_MM
from portgeo.core.slicing import slice_mesh
from portgeo.core.split import Leg, SplitPort
from portgeo.measuring.edge import EdgeFit, fit_edge
from portgeo.measuring.scan_uncertainty import grain_of

HEIGHTS = 9  # planes across the divider
MIDDLE = (0.25, 0.75)  # of its height, that they stand in: nearer to floor and roof the edge runs out in fillets
PAST_BEGIN = 0.3  # of a leg's radius past where it begins: there the divider stands between the legs' middles
FEWEST = 3  # planes that must show the edge
LOOKED_AHEAD = 4.0  # of a leg's radius, from within the divider against the flow, that its edge is sought over
SEEN = 1.5  # of a leg's radius along the wall, either way from the edge, that is looked at
BEHIND_MM = 6.35  # 1/4 in: how far behind the nose the divider's width is told
FLAT_MM = 0.01  # behind a flat nose, where its width is told
CURVED_FROM = 5  # planes from which the edge's line is told as a parabola; of fewer it is straight
LAID_OFF_MM = 0.25  # of where the plane of a split was scribed: common practice, no source

Motion = FloatArray  # (4, 4)


@dataclass(frozen=True)
class View:
    """Where a divider is looked at, in the coordinates of the port's source.

    names : the legs that it stands between. origin (3,) : in the middle of the trunk's end. frame (3, 3) : rows along
    the trunk's flow, across from the first leg to the second, and square to both. heights (k,) : over the origin.
    radius : of the thinner leg.
    """

    names: tuple[str, str]
    origin: FloatArray
    frame: FloatArray
    heights: FloatArray
    radius: float

    def of(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) of the source along, across and over."""
        return (points - self.origin) @ self.frame.T


@dataclass(frozen=True)
class Divider:
    """A divider's edge, millimetres.

    nose (3,) : its place at the middle height, in the coordinates of the view's source. along, along_u : how far
    beyond the view's origin it stands, the mean of all heights. edge : "scanned"; of a sheet "read" where its radius
    is given and else "flat", as it comes. radius, radius_u : of the edge, 0 of a sharp one, None of a flat one.
    off_round : rms of a scanned edge off circle and flanks. width, width_u : of the divider BEHIND_MM behind its nose,
    None where it is not as long. nose_width : of a sheet's edge, across. profile (n, 2) : the edge at the middle
    height with the walls behind it, along and across from the nose.
    """

    view: View
    nose: FloatArray
    along: float
    along_u: float
    edge: Literal["scanned", "read", "flat"]
    radius: float | None
    radius_u: float | None
    off_round: float
    width: float | None
    width_u: float | None
    nose_width: float | None
    profile: FloatArray


def dividers_of(port: SplitPort) -> tuple[Divider, ...]:
    """Return the dividers of a port that splits, between legs that are next to each other, where they can be seen."""
    found = [divider_in(port, view) for view in views_of(port)]
    return tuple(divider for divider in found if divider is not None)


def views_of(port: SplitPort) -> list[View]:
    """Return from where each divider of a port is looked at, from left to right."""
    spine = port.trunk.centreline
    end = port.trunk.to_source(spine.points[-1])
    flow, left, _ = port.trunk.direction_to_source(spine.frames[-1])
    begins = np.array([_begin(leg) for leg in port.legs]) - end
    flat = begins - np.outer(begins @ flow, flow)
    way = np.linalg.svd(flat - flat.mean(axis=0))[2][0]
    order = np.argsort(-flat @ (way if way @ left >= 0.0 else -way))
    return [_view(port, end, flow, (port.legs[a], port.legs[b])) for a, b in pairwise(order)]


def _begin(leg: Leg) -> FloatArray:
    """Return a place (3,) on a leg's line, a little past where it begins."""
    spine = leg.port.centreline
    point, _ = at(spine, spine.stations[:1] + PAST_BEGIN * _radius(leg.port))
    return np.asarray(leg.port.to_source(point[0]))


def _radius(leg: Port) -> float:
    outline = sections_at(leg, leg.centreline.stations[:1])[0].outline
    return float(np.sqrt(shapely.Polygon(outline).area / np.pi))


def _view(port: SplitPort, end: FloatArray, flow: FloatArray, legs: tuple[Leg, Leg]) -> View:
    begins = [_begin(leg) for leg in legs]
    across = begins[1] - begins[0]
    across = across - (across @ flow) * flow
    across /= np.linalg.norm(across)
    frame = np.stack([flow, across, np.cross(flow, across)])
    section = sections_at(port.trunk, port.trunk.centreline.stations[-1:])[0]
    outline = (port.trunk.to_source(section.in_space(section.outline)) - end) @ frame[1:].T
    middle = float(((np.array(begins) - end) @ across).mean())
    low, high = outline[:, 1].min(), outline[:, 1].max()
    across_it = shapely.LineString([(middle, low), (middle, high)])
    inside = shapely.make_valid(shapely.Polygon(outline)).intersection(across_it)  # a rough outline may cross itself
    if not inside.is_empty:
        low, high = inside.bounds[1], inside.bounds[3]
    heights = low + np.linspace(*MIDDLE, HEIGHTS) * (high - low)
    return View((legs[0].name, legs[1].name), end, frame, heights, min(_radius(leg.port) for leg in legs))


@dataclass(frozen=True)
class _Seen:
    """The walls about an edge in a plane: points (n, 2) along and across from `nose` (3,) in the view's frame, in
    order, and the index of the foremost. axes (3, 3) : the plane's, in the view's frame. fit : of the edge."""

    nose: FloatArray
    axes: FloatArray
    points: FloatArray
    tip: int
    fit: EdgeFit | None = None

    @property
    def edge(self) -> FloatArray:
        """The fitted edge's place (3,) in the view's frame."""
        return self.nose if self.fit is None else self.nose + self.fit.tip @ self.axes[:2]


def divider_in(port: SplitPort, view: View, motion: Motion | None = None) -> Divider | None:
    """Return the divider that a port shows in a view, None where fewer than FEWEST planes show it.

    motion (4, 4) : takes the port's own coordinates into those of the view. The planes are square to the edge: first
    to the view's own height, then, of a scan, to the line that the edge is seen to run.
    """
    turn, move = (np.eye(3), np.zeros(3)) if motion is None else (motion[:3, :3], motion[:3, 3])

    def placed(points: FloatArray) -> FloatArray:
        return view.of(points @ turn.T + move)

    begins = placed(np.array([_begin(leg) for name in view.names for leg in port.legs if leg.name == name]))
    walls = _Walls(placed(port.mesh.vertices), port.mesh.faces, begins, view.radius)
    noses = np.column_stack([np.zeros((len(view.heights), 2)), view.heights])
    level = walls.seen(noses, np.tile(np.eye(3), (len(noses), 1, 1)))
    if len(level) < FEWEST:
        return None
    if port.trunk.readings:
        return _read(port, view, level, float(placed(_end(port)[None])[0, 0]))
    tips = np.array([each.nose + each.points[each.tip] @ each.axes[:2] for each in level])
    lines = [Polynomial.fit(tips[:, 2], tips[:, k], _degree(len(level))) for k in (0, 1)]
    noses = np.column_stack([*(line(tips[:, 2]) for line in lines), tips[:, 2]])
    slopes = np.column_stack([*(line.deriv()(tips[:, 2]) for line in lines), np.ones(len(level))])
    fitted = [
        replace(each, fit=fit)
        for each in walls.seen(noses, np.array([_square_to(slope) for slope in slopes]))
        if (fit := fit_edge(each.points, each.tip, view.radius)) is not None
    ]
    return _scanned(view, fitted, grain_of(port.trunk)) if len(fitted) >= FEWEST else None


def _degree(count: int) -> int:
    return 2 if count >= CURVED_FROM else 1


def _square_to(normal: FloatArray) -> FloatArray:
    """Return axes (3, 3) along, across and square to a plane, in the view's frame."""
    normal = normal / np.linalg.norm(normal)
    across = np.array([0.0, 1.0, 0.0]) - normal[1] * normal
    across /= np.linalg.norm(across)
    return np.stack([np.cross(across, normal), across, normal])


def _end(port: SplitPort) -> FloatArray:
    return port.trunk.to_source(port.trunk.centreline.points[-1])


@dataclass(frozen=True)
class _Walls:
    """A port's mesh in a view's frame, a place (2, 3) in either leg, and the thinner one's radius."""

    vertices: FloatArray
    faces: IntArray
    begins: FloatArray
    radius: float

    def seen(self, noses: FloatArray, axes: FloatArray) -> list[_Seen]:
        """Return what planes through `noses` (k, 3) with axes (k, 3, 3) show of the edge, as many as show it."""
        loops = slice_mesh(self.vertices, self.faces, noses, axes[:, 2])
        found = []
        for k, (nose, own) in enumerate(zip(noses, axes, strict=True)):
            closed = np.flatnonzero((loops.plane == k) & (loops.gap == 0.0))
            rings = [(loops.loop(int(j)) - nose) @ own[:2].T for j in closed]
            found.append(self._edge_of([ring for ring in rings if len(ring) > 2], nose, own))
        return [each for each in found if each is not None]

    def _edge_of(self, rings: Sequence[FloatArray], nose: FloatArray, axes: FloatArray) -> _Seen | None:
        """Return the walls about the edge in a plane, None where no metal stands between the two legs."""
        # From the last of the air of the first leg to the first of the second's: metal, if a wall is met on the way.
        way = shapely.LineString((self.begins - nose) @ axes[:2].T)
        lines = [shapely.LinearRing(ring) for ring in rings]
        met = [float(way.project(point)) for line in lines for point in _points(way.intersection(line))]
        if len(met) < 2:
            return None
        inside = shapely.get_coordinates(way.interpolate((min(met) + max(met)) / 2.0))[0]
        ahead = shapely.LineString([inside, inside - (LOOKED_AHEAD * self.radius, 0.0)])
        hits = [
            (float(ahead.project(point)), k)
            for k, line in enumerate(lines)
            for point in _points(ahead.intersection(line))
        ]
        if not hits:
            return None
        off, which = min(hits)
        ring = rings[which]
        first = int(np.argmin(np.linalg.norm(ring - inside + (off, 0.0), axis=1)))
        middle = len(ring) // 2
        ring = np.roll(ring, middle - first, axis=0)
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
        points = ring[np.abs(along - along[middle]) < SEEN * self.radius]
        return _Seen(nose, axes, points, int(np.argmin(points[:, 0])))


def _points(geometry: shapely.Geometry) -> list[shapely.Point]:
    return [shapely.Point(*xy) for xy in shapely.get_coordinates(geometry)]


def walls_at(points: FloatArray, tip: int, along: float) -> FloatArray:
    """Return where two walls, one either side of points[tip] of (n, 2), stand across (2,) at a place along, or nan."""
    across = []
    for side in (points[tip::-1], points[tip:]):
        over = np.flatnonzero(side[:, 0] > along)
        if len(over) == 0 or over[0] == 0:
            return np.full(2, np.nan)
        (a, u), (b, v) = side[over[0] - 1], side[over[0]]
        across.append(u + (along - a) / (b - a) * (v - u))
    return np.sort(across)


def _scanned(view: View, seen: Sequence[_Seen], grain: Grain) -> Divider:
    """Return the divider of a scan: means over the planes, whose scatter tells how sure they are."""
    fits = [each.fit for each in seen if each.fit is not None]
    edges = np.array([each.edge for each in seen])
    # What is left of where the edge stands at each height, when a parabola has taken its own line off, is error.
    line = Polynomial.fit(edges[:, 2], edges[:, 0], _degree(len(seen)))
    behind = [each.fit.tip[0] + BEHIND_MM for each in seen if each.fit is not None]
    widths = np.array(
        [np.ptp(walls_at(each.points, each.tip, place)) for each, place in zip(seen, behind, strict=True)]
    )
    wide = widths[~np.isnan(widths)]
    middle = seen[int(np.argmin(np.abs(edges[:, 2] - view.heights.mean())))]
    assert middle.fit is not None
    radius = float(np.mean([fit.radius for fit in fits]))
    step = np.median(np.concatenate([np.linalg.norm(np.diff(each.points, axis=0), axis=1) for each in seen]))
    flats = float(step**2 / (12.0 * max(radius, step)))  # the mean of what chords so long cut off a circle
    # A wave longer than the nose is round moves the whole of it, and bends it little.
    bent = grain.shorter_than(2.0 * np.pi * radius)
    return Divider(
        view=view,
        nose=view.origin + middle.edge @ view.frame,
        along=float(edges[:, 0].mean()),
        along_u=_mean_u(edges[:, 0] - line(edges[:, 2]), [fit.tip_u for fit in fits], grain.waves, flats),
        edge="scanned",
        radius=radius,
        radius_u=_mean_u(np.array([f.radius for f in fits]), [fit.radius_u for fit in fits], bent, flats),
        off_round=float(np.sqrt(np.mean([fit.rms**2 for fit in fits]))),
        width=float(wide.mean()) if len(wide) >= FEWEST else None,
        width_u=_mean_u(wide, [grain.white], np.sqrt(2.0) * grain.waves) if len(wide) >= FEWEST else None,
        nose_width=None,
        profile=middle.points - middle.fit.tip,
    )


def _mean_u(values: FloatArray, each_u: Sequence[float], *shared: float) -> float:
    """Return the standard uncertainty of a mean over planes: their scatter, and what one plane's fit leaves unsure.

    shared : what all planes are off by alike, as by a scanner's waves, which are longer than the divider is high.
    """
    own = float(np.std(values, ddof=1)) / len(values) ** 0.5
    return math.hypot(own, sum(each_u) / len(each_u), *shared)


def _read(port: SplitPort, view: View, seen: Sequence[_Seen], along: float) -> Divider:
    """Return the divider of a sheet: flat in the plane of the split, or of the radius that was read there.

    The metal between the legs is what their widths and shifts leave of the trunk's: it is as sure as they are.
    """
    middle = seen[len(seen) // 2]
    walls = [np.mean([walls_at(s.points, s.tip, along + off) for s in seen], axis=0) for off in (FLAT_MM, BEHIND_MM)]
    across, (nose_width, width) = float(walls[0].mean()), (float(np.ptp(pair)) for pair in walls)
    firsts = [port.passage(name).readings[0] for name in view.names]
    read = [reading.error * part for reading in firsts for part in (1.0, 0.5)]  # the shift, and half of the width
    radius = port.trunk.readings[-1].nose_radius
    return Divider(
        view=view,
        nose=view.origin + np.array([along, across, float(view.heights.mean())]) @ view.frame,
        along=along,
        along_u=LAID_OFF_MM,
        edge="flat" if radius is None else "read",
        radius=radius,
        radius_u=None if radius is None else HALF_STEP_MM,
        off_round=0.0,
        width=None if np.isnan(width) else width,
        width_u=None if np.isnan(width) else math.hypot(*read, sum(r.zero for r in firsts) / len(firsts)),
        nose_width=nose_width,
        profile=middle.points - (along, across),
    )
