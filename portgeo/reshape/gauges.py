"""Gauges to cut out at 1:1: section outlines, height and width, short-side radius, floor line.

A port as it is, and as it will be where there is a plan, come in; plane figures in millimetres, with
what to write on each, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, arc_points
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Points, Section, measure_section, wall_name
from portgeo.core.units import Display
from portgeo.measuring.bends import inner_wall, level_plane, meant_bend, port_bends
from portgeo.measuring.sides import bend_of, side_points
from portgeo.reshape.cut_table import round_stations
from portgeo.reshape.plan import Plan
from portgeo.reshape.target import wanted_stations

Role = Literal["cut", "edge", "today", "mark"]
STRIP_MM = 12.0  # width of a height or width gauge: stiff in card, and it turns in the port
PLATE_MM = 15.0  # of plate behind a gauge's edge
HIGHEST_SHARE = 0.4  # of the port's height: a floor-line gauge thicker than this would not go in
CROSS_MM = 4.0
FLOOR_POINTS = 201
ROUND_STATIONS = 5  # at most so many steps from end to end, where nothing was measured and no station is named
GAUGED_MM = 0.05  # 0.002 in: where a plan takes less all round, a printed outline shows nothing
ROUND_OFF_MM = 0.01  # floor-line points nearer to a chord than this are left out
SAME_MM = 0.1  # a wall moved by less shows no second line
FILLS = "Works all round: square across the port, ^ to the roof, it just fits."
DASHED = " Dashed: the wall now."
UNCUT = " No dashed line: next to nothing to cut there."
BOSS = " The hole clears the guide boss or stem."
STAND_UP = "Use both round ends: a snug slip fit from floor to roof."
LIE_FLAT = "Use both round ends: a snug slip fit from wall to wall."
ON_SHORT_SIDE = "The hollow edge works: on the short side, on the {}, no light shows under it."
BY_THE_MOLD = (
    "Lay the mold on it: floor and roof follow the thick lines, and your scribed lines run from cross to cross, the "
    "points as you read them. Thin lines: the sections, square to the port."
)
ALONG_INSIDE = "The lower edge works: along the {}, left end towards the entry, no light shows under it."


@dataclass(frozen=True)
class Line:
    """A line (n, 2) of a gauge: to be cut, its edge that works, today's outline for comparison, or a mark."""

    points: FloatArray
    closed: bool
    role: Role


@dataclass(frozen=True)
class Gauge:
    """One figure: x to the right, y up, millimetres.

    name : what it is. station : where it belongs, None for one that runs along the port. lengths :
    what it gauges, by name. use : which edge works, and how.
    """

    name: str
    station: float | None
    lines: tuple[Line, ...]
    lengths: dict[str, float]
    use: str = ""


def gauge_stations(
    port: Port, asked: Sequence[float] | None, display: Display, where: str, plan: Plan | None = None
) -> FloatArray:
    """Return the stations (n,) of a port's gauges: those asked for, else the measured ones, else round ones.

    plan : its target's stations count too, and of those that nobody asked for only where it takes or adds something.
    where : what they were asked by. Raises InputError for one outside the port.
    """
    first, last = (float(s) for s in port.centreline.stations[[0, -1]])
    if asked:
        stations = np.unique(asked)
    else:
        even, _ = round_stations(first, last, display.unit, ROUND_STATIONS)
        stations = port.rows if len(port.rows) else np.unique([first, *even, last])
        if plan is not None:
            stations = np.unique(np.concatenate([stations, wanted_stations(plan.target)]).round(6))
            most = np.interp(stations, plan.grid.stations, np.abs(plan.depth).max(axis=1))
            stations = stations[most >= GAUGED_MM]
    outside = stations[(stations < first - 1e-6) | (stations > last + 1e-6)]
    if len(outside):
        raise InputError(
            f"station {display.length(float(outside[0]))} is outside the port, which is "
            f"{display.length(last - first)} long",
            where=where,
            hint="Name stations along the centerline, from the entry",
        )
    return stations


def gauges(port: Port, stations: FloatArray, plan: Plan | None = None) -> list[Gauge]:
    """Return the gauges for stations (k,), those of a plan's port where there is one, else today's.

    A short side that is cut has the plan's radius; else it is measured, which a scan's noise moves.
    The radius gauge is left out on a port with no turn. Raises GeometryError where a station cuts
    no tube.
    """
    after, radius = (None, None) if plan is None else (plan.after, plan.radius_cut)
    aim = port if after is None else after
    wanted, today = sections_at(aim, stations), sections_at(port, stations)
    found: list[Gauge] = []
    for k, station in enumerate(stations):
        found.append(section_outline(wanted[k], float(station), None if after is None else today[k]))
        measures = measure_section(wanted[k])
        found += [
            strip("height gauge", float(station), "height", measures.height, STAND_UP),
            strip("width gauge", float(station), "width", measures.width, LIE_FLAT),
        ]
    return found + along_inside(aim, radius)


def section_outline(section: Section, station: float, today: Section | None) -> Gauge:
    """Return a section as seen looking into the entry, with a cross at its middle."""
    seen = np.array([-1.0, 1.0])  # left of the port is on the left of the page
    measures = measure_section(section)
    middle = measures.centroid * seen
    outlines = [each.outline for each in (section, today or section)]
    lines = [Line(section.outline * seen, True, role) for role in ("cut", "edge")]
    lines += [Line(island * seen, True, "cut") for island in section.islands]
    # Both in one plane of one centreline, so their places agree.
    is_cut = today is not None and shapely.hausdorff_distance(*map(shapely.LinearRing, outlines)) > SAME_MM
    if is_cut:
        lines.append(Line(outlines[1] * seen, True, "today"))
    for way in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
        lines.append(Line(middle + np.outer([-CROSS_MM, CROSS_MM], way), False, "mark"))
    roof = np.array([middle[0], middle[1] + measures.height / 4.0])
    lines.append(Line(roof + CROSS_MM * np.array([[-0.4, -0.5], [0.0, 0.0], [0.4, -0.5]]), False, "mark"))
    use = FILLS + ("" if today is None else DASHED if is_cut else UNCUT) + (BOSS if section.islands else "")
    return Gauge("section", station, tuple(lines), {"height": measures.height, "width": measures.width}, use)


def strip(name: str, station: float, what: str, length: float, use: str) -> Gauge:
    """Return a strip of a length whose ends are arcs about its middle: it reads the same a little tilted."""
    half = np.arcsin(min(STRIP_MM, 0.8 * length) / length)
    ends = [arc_points(np.zeros(2), length / 2.0, middle - half, 2.0 * half) for middle in (0.0, np.pi)]
    lines = (Line(np.vstack(ends), True, "cut"), *(Line(end, False, "edge") for end in ends))
    return Gauge(name, station, lines, {what: length}, use)


def along_inside(port: Port, radius: float | None = None) -> list[Gauge]:
    """Return the short-side radius gauge, where the port turns, and the gauge of the line into and through the turn.

    That line is the floor's, but for a sheet whose port turns towards another wall: it is the
    inside of the turn whose line the work changes, and it is named for the wall it lies on.
    """
    first, last = port.centreline.stations[[0, -1]]
    stations = np.linspace(first, last, FLOOR_POINTS)
    sections = sections_at(port, stations)
    turn = meant_bend(port, port_bends(port))
    bend = None if turn is None else bend_of(stations, sections, turn)
    wall = wall_name(inner_wall(turn))
    found = []
    if bend is not None:
        short = bend.short
        found.append(radius_gauge(radius or short.headline, short.turn, short.apex_station, wall))
    plane = turn or level_plane(port)
    own = (stations >= plane.begin) & (stations <= plane.end)
    points = side_points([s for s, mine in zip(sections, own, strict=True) if mine], plane, True)
    height = min(float(np.ptp(section.outline[:, 1])) for section in sections)
    line = np.column_stack([points @ plane.ahead, -(points @ plane.aside)])
    line = line - line[0]
    # The metal is under the line; the plate lies on it, in the port.
    plate = shapely.LineString(line).simplify(ROUND_OFF_MM)
    body = plate.buffer(min(PLATE_MM, HIGHEST_SHARE * height), single_sided=True)
    body = max(shapely.get_parts(body), key=lambda part: part.area)
    lines = (
        Line(shapely.get_coordinates(body.exterior)[:-1], True, "cut"),
        Line(shapely.get_coordinates(plate), False, "edge"),
    )
    name = f"{wall.replace(' ', '-')}-line gauge"
    ends = stations[own][[0, -1]]
    lengths = {"length": float(plate.length), "left end at station": float(ends[0]), "right end at": float(ends[1])}
    found.append(Gauge(name, None, lines, lengths, ALONG_INSIDE.format(wall)))
    return found


def side_view(port: Port) -> Gauge:
    """Return a port from its side at 1:1, to be held against its mold: floor, roof, sections, points as read."""
    first, last = port.centreline.stations[[0, -1]]
    stations = np.linspace(first, last, FLOOR_POINTS)
    plane = meant_bend(port, port_bends(port)) or level_plane(port)
    across = np.column_stack([plane.ahead, -plane.aside])
    sections = sections_at(port, stations)
    inner, outer = (side_points(sections, plane, side) @ across for side in (True, False))
    marked = sections_at(port, port.rows) if len(port.rows) else []
    rows = [np.array([side_points([s], plane, side)[0] for side in (True, False)]) @ across for s in marked]
    points = [r.points for r in port.readings if r.points is not None]
    read = _read_points(port, points) if points else np.zeros((0, 2))
    arms = CROSS_MM / 2.0 * np.array([[[-1.0, 0.0], [1.0, 0.0]], [[0.0, -1.0], [0.0, 1.0]]])
    lines = (
        Line(np.vstack([inner, outer[::-1]]), True, "cut"),
        Line(inner, False, "edge"),
        Line(outer, False, "edge"),
        *(Line(row, False, "mark") for row in rows),
        *(Line(point + arm, False, "mark") for point in read for arm in arms),
    )
    length = float(np.linalg.norm(np.diff(inner, axis=0), axis=1).sum())
    return Gauge("side view", None, lines, {"inner wall": length}, BY_THE_MOLD)


def _read_points(port: Port, points: Sequence[Points]) -> FloatArray:
    """Return points that were read off paper (k, 2), laid on the port's own side view."""
    ends = np.array([(p.floor, p.roof) for p in points])
    off = ends - ends[0].mean(axis=0)
    turned = port.readings[0].turn  # the port's own frame begins along its first section
    cosine, sine = np.cos(turned), np.sin(turned)
    start = port.centreline.points[0][[0, 2]]
    return np.asarray((off @ np.array([[cosine, sine], [-sine, cosine]]) + start).reshape(-1, 2))


def radius_gauge(radius: float, turn: float, station: float, wall: str) -> Gauge:
    """Return a plate with a hollow edge of a radius, over the angle that the short side, on `wall`, turns."""
    start = np.pi / 2.0 - turn / 2.0
    inner = arc_points(np.zeros(2), radius, start, turn)
    outer = arc_points(np.zeros(2), radius + PLATE_MM, start, turn)[::-1]
    lines = (Line(np.vstack([inner, outer]), True, "cut"), Line(inner, False, "edge"))
    return Gauge("short-side radius gauge", station, lines, {"radius": radius}, ON_SHORT_SIDE.format(wall))
