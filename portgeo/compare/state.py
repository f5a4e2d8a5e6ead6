"""One state of a port in a few numbers: length, volume, least area, short side.

A Port comes in; a State goes out. It is a survey without its table and its uncertainties, for where
two states are set side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.plane import FloatArray, moments
from portgeo.port import Port, sections_at
from portgeo.survey.sides import Side, side, side_points, turn_plane
from portgeo.triangles import volume

PLANES = 161  # close enough for the least area and the side line of a port of ordinary length


@dataclass(frozen=True)
class State:
    """A port's length, volume, areas (n,) at stations (n,), least area, short side (None: no turn); mm."""

    length: float
    volume: float
    stations: FloatArray
    areas: FloatArray
    least_area: float
    least_station: float
    short_side: Side | None

    @property
    def taper(self) -> float:
        """Mean change of area along the port, mm2 per mm, of the straight line that fits it best."""
        return float(np.polyfit(self.stations, self.areas, 1)[0])


def state_of(port: Port) -> State:
    """Return the state of a port. Raises GeometryError where a plane cuts no tube."""
    first, last = port.centreline.stations[[0, -1]]
    stations = np.linspace(first, last, PLANES)
    sections = sections_at(port, stations)
    areas = np.array([moments(s.outline).area + sum(moments(island).area for island in s.islands) for s in sections])
    plane = turn_plane(np.array([s.frame[0] for s in sections]))
    least = int(np.argmin(areas))
    return State(
        length=float(last - first),
        volume=volume(port.vertices, port.faces),
        stations=stations,
        areas=areas,
        least_area=float(areas[least]),
        least_station=float(stations[least]),
        short_side=None if plane is None else side(stations, side_points(sections, plane, True), plane),
    )
