"""Gauges of a port that splits: its dividers' edges, and the outlines on both sides of the split.

A SplitPort comes in; plane figures in millimetres, with what to write on each, go out.
"""

from __future__ import annotations

import numpy as np
import shapely

from portgeo.core.plane import FloatArray
from portgeo.core.port import Port, sections_at
from portgeo.core.split import SplitPort
from portgeo.measuring.divider import Divider, dividers_of
from portgeo.reshape.gauges import CROSS_MM, PLATE_MM, ROUND_OFF_MM, Gauge, Line

DEPTH_MM = 20.0  # behind the nose, that an edge's gauge goes in over the divider
PRONG_SHARE = 0.4  # of a leg's width: a thicker prong would not go into it
FULL_ROUND = 0.499  # of a nose's width: a larger radius than half of it leaves one round
OVER_NOSE = (
    "The hollow edge works: over the divider between {} and {} from the trunk, prongs in the legs, square to the nose, "
    "at half its height; no light shows under it."
)
AT_SPLIT = (
    "Across the trunk at the split, ^ to the roof: it just fits. Thin, not to be cut: the legs; between them the "
    "divider's nose."
)
SEEN_ALONG = (
    "Across the trunk just before the split, ^ to the roof: it just fits. Thin, not to be cut: where the legs begin, "
    "as seen along the trunk."
)


def divider_gauges(port: SplitPort) -> list[Gauge]:
    """Return a gauge of each divider's edge, from left to right, and one of the plane of the split."""
    return [*(edge_gauge(divider) for divider in dividers_of(port)), split_gauge(port)]


def edge_gauge(divider: Divider) -> Gauge:
    """Return a plate with two prongs that straddles a divider: its hollow edge is the nose and the walls behind it.

    A sheet's nose has the radius that was read, as far as its width allows one.
    """
    metal = _metal(divider)
    prong = min(PLATE_MM, PRONG_SHARE * 2.0 * divider.view.radius)
    depth = float(metal.bounds[2])
    tip = float(metal.bounds[0])
    room = shapely.box(tip - PLATE_MM, metal.bounds[1] - prong, depth, metal.bounds[3] + prong)
    plate = max(shapely.get_parts(room.difference(metal)), key=lambda part: part.area)
    # The way in is up: the nose points down the page, as the gauge is held.
    outline, edge = (_upright(shapely.get_coordinates(shape)) for shape in (plate.exterior, _open_edge(metal, depth)))
    lengths = {"depth": depth - tip}
    if divider.radius is not None:
        lengths["radius"] = divider.radius
    if divider.width is not None:
        lengths["width behind the nose"] = divider.width
    names = divider.view.names
    lines = (Line(outline[:-1], True, "cut"), Line(edge, False, "edge"))
    return Gauge("divider gauge", None, lines, lengths, OVER_NOSE.format(*names))


def _metal(divider: Divider) -> shapely.Polygon:
    """Return the divider's section about its nose, as deep as a gauge goes in."""
    profile = divider.profile
    depth = min(DEPTH_MM, float(profile[0, 0]), float(profile[-1, 0]))
    whole = shapely.Polygon(profile).buffer(0.0)
    low, high = profile[:, 1].min() - 1.0, profile[:, 1].max() + 1.0
    metal = whole.intersection(shapely.box(profile[:, 0].min() - 1.0, low, depth, high))
    metal = max(shapely.get_parts(metal), key=lambda part: part.area)
    if divider.edge == "read" and divider.radius and divider.nose_width:
        metal = _rounded(metal, min(divider.radius, FULL_ROUND * divider.nose_width), depth)
    return metal.simplify(ROUND_OFF_MM)


def _rounded(metal: shapely.Polygon, radius: float, depth: float) -> shapely.Polygon:
    """Return a divider's section with its nose's corners rounded, those at its far end left as they are."""
    rounded = metal.buffer(-radius).buffer(radius, quad_segs=32)
    far = shapely.box(depth - radius, metal.bounds[1], depth, metal.bounds[3])
    return shapely.union_all([rounded, metal.intersection(far)]).buffer(0.0)


def _open_edge(metal: shapely.Polygon, depth: float) -> shapely.LineString:
    """Return a section's outline without its far end, from one wall round the nose to the other."""
    ring = shapely.get_coordinates(shapely.geometry.polygon.orient(metal).exterior)[:-1]
    far = ring[:, 0] > depth - ROUND_OFF_MM
    # The run of points at the far end is left out: begin at the first past it.
    first = int(np.flatnonzero(far & ~np.roll(far, -1))[0])
    ring = np.roll(ring, -first, axis=0)
    last = int(np.flatnonzero(far[np.roll(np.arange(len(far)), -first)][1:])[0]) + 1
    return shapely.LineString(ring[: last + 1])


def _upright(points: FloatArray) -> FloatArray:
    return np.column_stack([points[:, 1], points[:, 0]])


def split_gauge(port: SplitPort) -> Gauge:
    """Return the trunk's outline at the split, as seen looking into the entry, with the legs' in it.

    Of a sheet both lie in one plane; a scan's legs begin farther on, and are shown as seen along the trunk.
    """
    seen = np.array([-1.0, 1.0])  # left of the port is on the left of the page
    section = sections_at(port.trunk, port.trunk.centreline.stations[-1:])[0]
    outline = section.outline * seen
    origin, frame = port.trunk.to_source(section.origin), port.trunk.direction_to_source(section.frame)
    lines = [Line(outline, True, role) for role in ("cut", "edge")]
    for leg in port.legs:
        lines.append(Line(((_first_outline(leg.port) - origin) @ frame[1:].T) * seen, True, "mark"))
    top = np.array([outline[:, 0].mean(), outline[:, 1].max() - 2.0 * CROSS_MM])
    lines.append(Line(top + CROSS_MM * np.array([[-0.4, -0.5], [0.0, 0.0], [0.4, -0.5]]), False, "mark"))
    size = {"height": float(np.ptp(outline[:, 1])), "width": float(np.ptp(outline[:, 0]))}
    station = float(port.trunk.centreline.stations[-1])
    return Gauge("split", station, tuple(lines), size, AT_SPLIT if port.trunk.readings else SEEN_ALONG)


def _first_outline(port: Port) -> FloatArray:
    """Return a passage's first outline (n, 3) in its source's coordinates."""
    section = sections_at(port, port.centreline.stations[:1])[0]
    return port.to_source(section.in_space(section.outline))
