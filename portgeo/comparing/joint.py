"""Joint match: how the outlines of two parts meet at the flange between them.

The upstream part's exit and the downstream part's entry come in, on one plane; the lip that faces the
flow, the step away from it, the margin to the gasket line and the bend of floor and roof go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from portgeo.comparing.distance import signed_distance, wall_from
from portgeo.core.centreline import at
from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, chord, moments, resample
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Section, areas_of, centred, measure_section

Lay = Literal["line", "none"]

AROUND = 720  # points round an outline where heights and margins are read: every half degree
BASE_MM = 6.0  # of wall each side of the joint that gives the direction of floor and roof
TOUCHING_MM = 0.02  # a lip lower than this is the outlines' own chord error and a fingernail passes it
TILTED = np.radians(3.0)  # flanges farther from parallel than this do not meet on one plane
SCHEDULE_ROWS = 13  # stations in each part
ALIKE_LENGTH = 0.02  # of the length: two states of one port differ by no more,
ALIKE_HEADING = np.radians(5.0)  # nor in the way they go,
ALIKE_AREA = 0.2  # nor by more of an area anywhere: an ordinary cut takes less (*a choice, no source*)
ALIKE_ROUND = 0.02  # second moments closer than this: a round hole shows no rotation


@dataclass(frozen=True)
class Edge:
    """Metal out of line at a joint: area (mm2), greatest height (mm), its clock position (None: no edge)."""

    area: float
    height: float
    clock: float | None


@dataclass(frozen=True)
class Margin:
    """Metal between a part's outline and the gasket line, mm, negative past it: least, greatest, where, mean.

    fault : None, or what is wrong with it, the margin left on purpose allowed for.
    """

    least: float
    least_clock: float
    greatest: float
    greatest_clock: float
    mean: float
    fault: str | None


@dataclass(frozen=True)
class Match:
    """A joint. Outlines (n, 2) are left and up in the flange plane, mm.

    lip : faces the flow (the downstream opening is smaller there). step : away from it. offset (2,) :
    of the downstream outline's centroid from the upstream's. rotation : of its axes, radians
    clockwise looking downstream; None where the outlines are round. floor_bend, roof_bend : radians by
    which the wall turns at the joint, positive towards the roof. stations, areas (n,) : one schedule
    through both parts, the joint at `joint_station`. margins : to the gasket line, for `upstream` and
    `downstream`, where there is one.
    """

    upstream: FloatArray
    downstream: FloatArray
    gasket: FloatArray | None
    upstream_area: float
    downstream_area: float
    lip: Edge
    step: Edge
    offset: FloatArray
    rotation: float | None
    floor_bend: float
    roof_bend: float
    margins: dict[str, Margin]
    stations: FloatArray
    areas: FloatArray
    joint_station: float
    flange_angle: float
    warnings: tuple[Notice, ...]


def match(
    upstream: Port,
    downstream: Port,
    *,
    gasket: FloatArray | None = None,
    leave: float = 0.0,
    lay: Lay = "line",
    gasket_as_drawn: bool = False,
) -> Match:
    """Return how UPSTREAM's exit meets DOWNSTREAM's entry.

    lay : `line` puts the end of one centreline on the start of the other (for sheets the line both
    were measured from, for scans the openings' middles), their walls parallel; `none` takes both in
    the one frame their files share. gasket : outline (n, 2), left and up, its middle put on the joint's
    centreline unless as drawn. leave : margin to the gasket line left on purpose, mm. A notice tells of
    two parts that are alike. Raises GeometryError where one part lies in the other, the flanges are not
    on one plane or the outlines miss each other.
    """
    if lay == "none":
        _refuse_nested(upstream, downstream)
    up_end = sections_at(upstream, upstream.centreline.stations[-1:])[0]
    down_end = sections_at(downstream, downstream.centreline.stations[:1])[0]
    up_outline, angle = _on_plane(upstream, up_end.in_space(up_end.outline), downstream, lay, up_end, down_end)
    down_outline = down_end.outline
    one, other = _figure(up_outline, "UPSTREAM"), _figure(down_outline, "DOWNSTREAM")
    if not one.intersects(other):
        raise GeometryError(
            "the two openings do not meet: at the flange they lie side by side",
            hint="Check the order (UPSTREAM first); leave out --align none if the files share no frame",
        )
    line = None if gasket is None else (gasket if gasket_as_drawn else centred(gasket))
    stations, areas, joint = _schedule(upstream, downstream)
    offset = moments(down_outline).centroid - moments(up_outline).centroid
    margins = {}
    if line is not None:
        figure = _figure(line, "the gasket")
        margins = {
            name: _margin(outline, figure, leave)
            for name, outline in (("upstream", up_outline), ("downstream", down_outline))
        }
    floor, roof = _bends(upstream, downstream)
    return Match(
        upstream=up_outline,
        downstream=down_outline,
        gasket=line,
        upstream_area=one.area,
        downstream_area=other.area,
        lip=_edge(up_outline, one, other),
        step=_edge(down_outline, other, one),
        offset=offset,
        rotation=_rotation(up_outline, down_outline),
        floor_bend=floor,
        roof_bend=roof,
        margins=margins,
        stations=stations,
        areas=areas,
        joint_station=joint,
        flange_angle=angle,
        warnings=_alike(upstream, downstream, areas),
    )


def _refuse_nested(upstream: Port, downstream: Port) -> None:
    """Refuse two parts in one frame whose bores share their room, rather than go on in each other."""
    middle = downstream.to_source(at(downstream.centreline, _own_stations(downstream))[0])
    points = upstream.from_source(middle)
    inside = signed_distance(wall_from(upstream.vertices, upstream.faces), points) < 0.0
    if inside.mean() > 0.5:
        raise GeometryError(
            "the two parts lie one inside the other, as two stages of one port do",
            hint="Compare stages with `portgeo compare`; leave out --align none if the files do not share one frame",
        )


def _alike(upstream: Port, downstream: Port, areas: FloatArray) -> tuple[Notice, ...]:
    """Return a notice where both parts have one length, one way to go and much the same areas (2 n,)."""
    ports = (upstream, downstream)
    length, other = (port.centreline.length for port in ports)
    ways = [at(port.centreline, _own_stations(port))[1][:, 0] for port in ports]
    apart = np.arccos(np.clip(np.einsum("ni,ni->n", *ways), -1.0, 1.0))
    ratio = areas[SCHEDULE_ROWS:] / areas[:SCHEDULE_ROWS]
    if (
        abs(other / length - 1.0) > ALIKE_LENGTH
        or apart.max() > ALIKE_HEADING
        or np.abs(np.log(ratio)).max() > np.log1p(ALIKE_AREA)
    ):
        return ()
    return (Notice("two_states"),)


def _own_stations(port: Port) -> FloatArray:
    """Return SCHEDULE_ROWS stations from a part's entry to its exit."""
    first, last = port.centreline.stations[[0, -1]]
    return np.linspace(first, last, SCHEDULE_ROWS)


def _on_plane(
    upstream: Port, outline: FloatArray, downstream: Port, lay: Lay, up_end: Section, down_end: Section
) -> tuple[FloatArray, float]:
    """Return UPSTREAM's exit outline (n, 2) in DOWNSTREAM's entry plane, and the flanges' angle."""
    if lay == "line":
        return up_end.outline, 0.0
    source = upstream.to_source(outline)
    there = downstream.from_source(source)
    turned = downstream.frame[:3, :3] @ upstream.direction_to_source(up_end.frame[0])
    angle = float(np.arccos(np.clip(turned @ down_end.frame[0], -1.0, 1.0)))
    apart = float(np.abs((there - down_end.origin) @ down_end.frame[0]).max())
    if angle > TILTED or apart > BASE_MM:
        raise GeometryError(
            f"the flanges are not on one plane: {np.degrees(angle):.1f} degrees, up to {apart:.1f} mm apart",
            hint="Leave out --align none if the two files do not share one frame",
        )
    return (there - down_end.origin) @ down_end.frame[1:].T, angle


def _figure(outline: FloatArray, name: str) -> shapely.Polygon:
    figure = shapely.Polygon(outline)
    if not figure.is_valid or figure.area <= 0.0:
        raise GeometryError(f"the outline of {name} crosses itself", hint="Draw or trace it as one closed line")
    return figure


def _edge(outline: FloatArray, own: shapely.Polygon, other: shapely.Polygon) -> Edge:
    """Return the metal of `other` that stands inside `own`: its area, and how far it reaches in at most."""
    area = float(own.difference(other).area)
    points = np.vstack([outline, resample(outline, AROUND)])
    outside = ~shapely.contains_xy(other, points[:, 0], points[:, 1])
    height = np.where(outside, shapely.distance(other.exterior, shapely.points(points)), 0.0)
    worst = int(np.argmax(height))
    # Along a straight lip many points are equally high: the one in their middle is where it is.
    alike = np.flatnonzero(height > height[worst] - TOUCHING_MM)
    worst = int(alike[np.argmin(np.linalg.norm(points[alike] - points[alike].mean(axis=0), axis=1))])
    if height[worst] < TOUCHING_MM:
        return Edge(area, float(height[worst]), None)
    return Edge(area, float(height[worst]), _clock(points[worst] - moments(outline).centroid))


def edges_round(found: Match) -> tuple[FloatArray, FloatArray]:
    """Return clock positions (n,), rising, and how far the downstream wall stands into the flow there, mm.

    Positive is a lip, negative a step: the distance of the upstream outline from the downstream one.
    """
    points = resample(found.upstream, AROUND)
    other = shapely.Polygon(found.downstream)
    outside = ~shapely.contains_xy(other, points[:, 0], points[:, 1])
    height = shapely.distance(other.exterior, shapely.points(points)) * np.where(outside, 1.0, -1.0)
    arm = points - moments(found.upstream).centroid
    clock = np.arctan2(-arm[:, 0], arm[:, 1]) * 6.0 / np.pi % 12.0
    order = np.argsort(clock)
    return clock[order], height[order]


def _clock(arm: FloatArray) -> float:
    """Return the clock position of a plane direction (left, up), looking into the entry."""
    return float(np.arctan2(-arm[0], arm[1]) * 6.0 / np.pi % 12.0)


def _margin(outline: FloatArray, line: shapely.Polygon, leave: float) -> Margin:
    points = np.vstack([outline, resample(outline, AROUND)])
    inside = shapely.contains_xy(line, points[:, 0], points[:, 1])
    distance = shapely.distance(line.exterior, shapely.points(points)) * np.where(inside, 1.0, -1.0)
    low, high = int(np.argmin(distance)), int(np.argmax(distance))
    middle = moments(outline).centroid
    fault = None
    if distance[low] < -TOUCHING_MM:
        fault = "past_the_line"
    elif distance[high] > leave + TOUCHING_MM:
        fault = "metal_left"
    return Margin(
        least=float(distance[low]),
        least_clock=_clock(points[low] - middle),
        greatest=float(distance[high]),
        greatest_clock=_clock(points[high] - middle),
        mean=float(distance[-AROUND:].mean()),
        fault=fault,
    )


def _rotation(upstream: FloatArray, downstream: FloatArray) -> float | None:
    """Return how far the downstream outline's long axis is turned from the upstream's, radians clockwise."""
    angles = []
    for outline in (upstream, downstream):
        second = moments(outline).second
        values, vectors = np.linalg.eigh(second)
        if values[1] - values[0] < ALIKE_ROUND * values[1]:
            return None
        angles.append(float(np.arctan2(-vectors[0, 1], vectors[1, 1])))
    return float((angles[1] - angles[0] + np.pi / 2.0) % np.pi - np.pi / 2.0)


def _bends(upstream: Port, downstream: Port) -> tuple[float, float]:
    """Return by how much floor and roof turn at the joint, radians, positive towards the roof.

    Each wall's direction is the line through its points at the flange and BASE_MM from it, told
    in the flange's own axes: flow and up.
    """
    slopes = []
    for port, end, inner in ((upstream, -1, -BASE_MM), (downstream, 0, BASE_MM)):
        at_flange = port.centreline.stations[end]
        sections = sections_at(port, np.array([at_flange, at_flange + inner]))
        flow, _, up = sections[0].frame
        found = []
        for high in (0, 1):
            ends = []
            for section in sections:
                plane = np.zeros(2)
                middle = measure_section(section).centroid
                plane[:] = middle
                plane[1] = chord(section.outline, middle, 1)[high]
                ends.append(section.in_space(plane[None])[0])
            run = (ends[1] - ends[0]) * np.sign(inner)
            found.append(np.arctan2(run @ up, run @ flow))
        slopes.append(found)
    return float(slopes[1][0] - slopes[0][0]), float(slopes[1][1] - slopes[0][1])


def _schedule(upstream: Port, downstream: Port) -> tuple[FloatArray, FloatArray, float]:
    """Return stations and areas through both parts, from UPSTREAM's entry; the joint is there twice."""
    stations, areas, start = [], [], 0.0
    for port in (upstream, downstream):
        own = _own_stations(port)
        areas += list(areas_of(sections_at(port, own)))
        stations += list(start + own - own[0])
        start = stations[-1]
    return np.array(stations), np.array(areas), float(upstream.centreline.length)
