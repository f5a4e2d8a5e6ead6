"""Area schedule: every measure of a port at its stations, and the numbers that sum it up.

A Port comes in; a Survey goes out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Section, SectionMeasures, areas_of, measure_sections
from portgeo.core.triangles import mesh_edge
from portgeo.measuring.advice import unsure
from portgeo.measuring.bends import meant_bend, port_bends
from portgeo.measuring.flare import Flare, flare
from portgeo.measuring.scan_uncertainty import facet_area, from_noise, side_roughness, volume_inside
from portgeo.measuring.sense import bench_sense
from portgeo.measuring.sheet_errors import row_noise
from portgeo.measuring.sheet_uncertainty import from_readings
from portgeo.measuring.sides import Bend, Side, bends_of
from portgeo.measuring.throat import SAME_AREA, Throat, throat_of, told_place
from portgeo.measuring.uncertainty import Blame, Budget, Quantity, Uncertainty

FINE_STATIONS = 241  # planes on which least area and the side lines are found
EVENED, LEAST_EVENED = 4.0, 7  # mesh edges to each side, and sections in all, that even an area out
ROUNDING = 1e-6  # of the length: stations closer than this are one
LEAST_CROSSED = 0.01  # of the sections: a smaller share is shown as this, not as 0%
TOUCHING = 5e-4  # of its area, that an outline which only touches itself may be off by
ROUNDING_DIGITS = 6  # of a millimetre: points of an outline closer than this are one
TABLE_STATIONS = 25  # rows of the table, about, where the user names no number


@dataclass(frozen=True)
class Survey:
    """All measures of a port; millimetres, mm2, mm3.

    stations (n,) and `sections`, `measures` at them; area, area_u, height, width, perimeter,
    hydraulic_diameter (n,); corner_radii (n, 4); area_taper, height_taper, width_taper (n,) per
    unit of station; cone_angle (n,), the included angle of the cone with the same change of area,
    radians. `fine_stations`, `fine_area` (m,) are the close schedule behind the least area.
    `bends` are in order of stations; `bend` is the one worked on.
    `plane` is that of the turn; the sides are None on a port with no turn. `budget` says what each
    source of doubt adds to volume, least area and short side, `advice` what to do about the largest.
    """

    port: Port
    stations: FloatArray
    sections: tuple[Section, ...]
    measures: tuple[SectionMeasures, ...]
    area: FloatArray
    area_u: FloatArray
    perimeter: FloatArray
    height: FloatArray
    width: FloatArray
    hydraulic_diameter: FloatArray
    corner_radii: FloatArray
    area_taper: FloatArray
    height_taper: FloatArray
    width_taper: FloatArray
    cone_angle: FloatArray
    fine_stations: FloatArray
    fine_area: FloatArray
    least_area: float
    least_area_u: float
    least_station: float
    volume: float
    volume_u: float
    wetted_area: float
    length: float
    mean_area: float
    bends: tuple[Bend, ...]
    bend: Bend | None
    throat: Throat
    blame: Blame | None
    budget: dict[Quantity, Budget]
    advice: dict[Quantity, Notice]
    warnings: tuple[Notice, ...]

    @property
    def short_side(self) -> Side | None:
        """The inside of the bend meant, None on a port with no bend."""
        return None if self.bend is None else self.bend.short

    @property
    def long_side(self) -> Side | None:
        """The outside of the bend meant."""
        return None if self.bend is None else self.bend.long

    @cached_property
    def entry_edge(self) -> Flare:
        """How the entry's edge is rounded."""
        return flare(self.port, opening=self.sections[0])

    @cached_property
    def exit_edge(self) -> Flare:
        """How the exit's edge is rounded."""
        return flare(self.port, at_exit=True, opening=self.sections[-1])


def survey(port: Port, stations: int | None = None, *, readings_tried: bool = True) -> Survey:
    """Return the survey of a port.

    stations : how many rows, evenly spaced from opening to opening; by default the measured
    sections (where there are any) and rows between them. readings_tried : False for a picture that
    shows no uncertainty: what the readings' errors do is then not tried out, which takes most of the
    time of a sheet. All planes are cut in one pass. Raises GeometryError where a plane cuts no tube.
    """
    table = table_stations(port, stations)
    first, last = port.centreline.stations[[0, -1]]
    fine = np.linspace(first, last, FINE_STATIONS)
    own = np.union1d(table, port.rows)
    # A close station that is a row's own but for rounding would make a step of nothing between the two.
    away = np.abs(fine[:, None] - own).min(axis=1) > ROUNDING * (last - first)
    both = np.union1d(fine[away], own)
    sections = sections_at(port, both)
    facets = facet_area(port)
    area_at = areas_of(sections) + facets
    rows = np.searchsorted(both, table)
    measures = measure_sections([sections[k] for k in rows])

    level = _evened(both, area_at, port)
    least = told_place(port, both, level, int(np.argmax(level <= level.min() * (1.0 + SAME_AREA))))
    noise = row_noise(port) or side_roughness(port, measures)
    bends = bends_of(both, sections, port_bends(port), noise)
    planes = [b.plane for b in bends]
    plane = meant_bend(port, planes)
    meant = None if plane is None else planes.index(plane)
    length = float(last - first)
    inside = volume_inside(port)
    area = area_at[rows]
    height, width = (np.array([getattr(m, name) for m in measures]) for name in ("height", "width"))

    if port.readings:
        untried = Uncertainty(np.zeros(len(table)), 0.0, 0.0, bends, None)
        u = from_readings(port.readings, table, bends, meant) if readings_tried else untried
    else:
        u = from_noise(port, table, measures, bends, meant)
    return Survey(
        port=port,
        stations=table,
        sections=tuple(sections[k] for k in rows),
        measures=measures,
        area=area,
        area_u=u.area,
        perimeter=np.array([m.perimeter for m in measures]),
        height=height,
        width=width,
        hydraulic_diameter=np.array([m.hydraulic_diameter for m in measures]),
        corner_radii=np.array([m.corner_radii for m in measures]),
        area_taper=np.gradient(area, table),
        height_taper=np.gradient(height, table),
        width_taper=np.gradient(width, table),
        cone_angle=2.0 * np.arctan(np.gradient(np.sqrt(area / np.pi), table)),
        fine_stations=both,
        fine_area=area_at,
        least_area=float(level[least]),
        least_area_u=u.least_area,
        least_station=float(both[least]),
        volume=inside,
        volume_u=u.volume,
        wetted_area=float(port.mesh.area - area_at[0] - area_at[-1]),
        length=length,
        mean_area=inside / length,
        bends=u.bends,
        bend=None if meant is None else u.bends[meant],
        throat=throat_of(port, both, level, np.interp(both, table, u.area)),
        blame=u.blame,
        budget=u.budget,
        advice=u.advice,
        warnings=(
            *port.warnings,
            *_cut_through(both, sections, port),
            *bench_sense(port, both, area_at, u.bends, plane),
            *unsure(u.advice, _doubts(u, inside, float(level[least]), meant)),
        ),
    )


def _doubts(u: Uncertainty, inside: float, least: float, meant: int | None) -> dict[Quantity, tuple[float, float]]:
    """Return value and standard uncertainty of the figures that are told first."""
    doubts: dict[Quantity, tuple[float, float]] = {"volume": (inside, u.volume), "least_area": (least, u.least_area)}
    if meant is not None:
        doubts["short_side"] = (u.bends[meant].short.radius, u.bends[meant].short.radius_u)
    return doubts


def _cut_through(stations: FloatArray, sections: list[Section], port: Port) -> list[Notice]:
    """Return a notice of where a scan's wall passes through itself: there an outline crosses itself.

    A plane cuts a surface that does not pass through itself in outlines that do not either.
    """
    if port.readings:
        return []
    # A plane through points of the mesh cuts them twice, apart by their last digits: that is no crossing.
    outlines = np.concatenate([s.outline for s in sections]).round(ROUNDING_DIGITS)
    number = np.repeat(np.arange(len(sections)), [len(s.outline) for s in sections])
    polygons = shapely.polygons(shapely.linearrings(outlines, indices=number))
    crossing = np.flatnonzero(~shapely.is_valid(polygons))
    # One that only touches itself (a stem that grazes the wall) bounds the same area.
    bounded = shapely.area(shapely.make_valid(polygons[crossing]))
    counted = np.array([abs(moments(sections[k].outline).area) for k in crossing])
    at = stations[crossing[np.abs(bounded - counted) > TOUCHING * counted]]
    if len(at) == 0:
        return []
    share = max(len(at) / len(sections), LEAST_CROSSED)
    return [Notice("cuts_itself", share=share, start=at[0], end=at[-1])]


def _evened(stations: FloatArray, area: FloatArray, port: Port) -> FloatArray:
    """Return areas (n,) with a scan's roughness evened out, a lofted port's as they are.

    The least of many rough sections lies low by chance. A parabola over EVENED edges of the mesh to
    each side takes most of that away and leaves a pinch that is longer than that as it is.
    """
    if port.readings or port.noise == 0.0:
        return area
    reach = EVENED * mesh_edge(port.vertices, port.faces)
    evened = area.copy()
    for k, s in enumerate(stations):
        near = np.abs(stations - s) <= reach
        if near.sum() >= LEAST_EVENED:
            evened[k] = np.polynomial.polynomial.polyfit((stations[near] - s) / reach, area[near], 2)[0]
    return evened


def table_stations(port: Port, count: int | None = None) -> FloatArray:
    """Return the stations (n,) of a port's table."""
    first, last = port.centreline.stations[[0, -1]]
    if count is not None:
        return np.linspace(first, last, count)
    if len(port.rows) < 2:
        return np.linspace(first, last, TABLE_STATIONS)
    gap = (last - first) / (TABLE_STATIONS - 1)
    pieces = [
        np.linspace(a, b, max(int(np.round((b - a) / gap)), 1) + 1)[:-1]
        for a, b in zip(port.rows[:-1], port.rows[1:], strict=True)
    ]
    return np.concatenate([*pieces, port.rows[-1:]])
