"""The throat: the bore just under the valve seat, which percentages, targets and coefficients are of.

A Port and its areas come in; where the throat is, its area and how that was told go out, and which part
of the port is passage and not seat.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port

SAME_AREA = 1e-9  # of an area: sections that differ by less are as small


@dataclass(frozen=True)
class Throat:
    """A throat's station, mm, its area and standard uncertainty, mm2, and what it was told by."""

    station: float
    area: float
    area_u: float
    told_by: Literal["mark", "least"]

    @property
    def diameter(self) -> float:
        """Diameter of the circle of the same area."""
        return float(np.sqrt(4.0 * self.area / np.pi))

    def percent_of(self, valve: float) -> float:
        """Return the throat's diameter in percent of a valve's."""
        return 100.0 * self.diameter / valve


def told_place(port: Port, stations: FloatArray, areas: FloatArray, place: int) -> int:
    """Return which place is told of the stretch about a place that has one area: a row's own, or its first.

    Between two rows the loft holds to the area of the one that is less, or greater: what was read there is told.
    """
    same = np.abs(areas - areas[place]) <= SAME_AREA * areas[place]
    stretch = np.cumsum(~same)
    alike = np.flatnonzero(same & (stretch == stretch[place]))
    read = alike[np.isin(stations[alike], port.rows)]
    return int(read[0] if len(read) else alike[0])


def throat_of(port: Port, stations: FloatArray, areas: FloatArray, areas_u: FloatArray | None = None) -> Throat:
    """Return a port's throat from areas (n,), and their uncertainties, at stations (n,) along all of it.

    That is the row marked so; else the least area within one diameter of the valve's end.
    """
    u = np.zeros(len(stations)) if areas_u is None else areas_u
    marked = port.marked("throat")
    if len(marked):
        station = float(marked[0])
        area, area_u = (float(np.interp(station, stations, values)) for values in (areas, u))
        return Throat(station, area, area_u, "mark")
    from_valve = stations - stations[0] if port.valve_end == "entry" else stations[-1] - stations
    at_valve = float(areas[np.argmin(from_valve)])
    near = np.flatnonzero(from_valve <= np.sqrt(4.0 * at_valve / np.pi))
    k = told_place(port, stations, areas, int(near[np.argmin(areas[near])]))
    return Throat(float(stations[k]), float(areas[k]), float(u[k]), "least")


def unmarked(throat: Throat, port: Port) -> tuple[Notice, ...]:
    """Return a notice that nobody marked the throat that percentages are of."""
    if throat.told_by == "mark":
        return ()
    return (Notice("throat_unmarked", area=throat.area, station=throat.station, end=port.valve_end),)


def passage_ends(port: Port) -> tuple[float, float]:
    """Return the first and last station of a port that are not of its valve seat.

    From the last row that is not marked seat on towards the valve a port is the seat's, and what is cut
    there, angles and steps, is no turn, no dam and no pinch of the port.
    """
    first, last = (float(s) for s in port.centreline.stations[[0, -1]])
    seat = port.marked("seat")
    if len(seat):
        if port.valve_end == "entry":
            first = float(port.rows[port.rows > seat.max()].min(initial=last))
        else:
            last = float(port.rows[port.rows < seat.min()].max(initial=first))
    return (first, last) if last > first else (float(port.centreline.stations[0]), float(port.centreline.stations[-1]))
