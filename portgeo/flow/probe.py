"""A pitot probe's readings beside the ideal flow, place by place.

Readings and an AirSpeed come in; measured and computed speeds go out. SI units, lengths mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.core.plane import FloatArray, moments
from portgeo.core.section import Section
from portgeo.flow.airspeed import AirSpeed
from portgeo.flow.gas import GAMMA, Air, isentropic_speed, mach_through
from portgeo.flow.path import sections_along

# Thickness of the layer of slowed air on a flat plate, turbulent from its start: 0.37 x Re^(-1/5), the 1/7-power law
# (Schlichting, Boundary-Layer Theory; from memory).
LAYER, LAYER_POWER = 0.37, -0.2
APART = 0.1  # of the speed: an ideal flow that is off by more there is not the port's flow


@dataclass(frozen=True)
class ProbeReading:
    """One reading: station, distance off the wall (mm), clock (hours), speed (m/s) or pressure (Pa), one of them nan.

    flow : through the port when it was read, m3/s at rest, None: as the flow that was solved. row : in the file.
    """

    row: int
    station: float
    clock: float
    off_wall: float
    speed: float
    pressure: float
    flow: float | None = None


@dataclass(frozen=True)
class Probed:
    """Readings beside the flow: speeds m/s at each (n,); flow (n,) m3/s; in_layer (n,) : in the air slowed by the wall.

    computed : nan where the place is past the middle of the port, or in no hexahedron of its grid. turn : station from
    which the air has turned, None on a port that does not.
    """

    readings: tuple[ProbeReading, ...]
    flow: FloatArray
    measured: FloatArray
    computed: FloatArray
    in_layer: np.ndarray
    turn: float | None

    @property
    def ratio(self) -> FloatArray:
        """Measured over computed (n,)."""
        return self.measured / self.computed

    @property
    def lowest(self) -> int | None:
        """The reading past the turn whose ratio is least, None where none counts there.

        A mean would not do: air that has left one wall is slow there and fast on the other.
        """
        here = np.flatnonzero(self._counted(past=True))
        return int(here[np.argmin(self.ratio[here])]) if len(here) else None

    def _counted(self, *, past: bool) -> np.ndarray:
        """Return which readings (n,) count past the fastest place of the turn, or up to it."""
        stations = np.array([r.station for r in self.readings])
        behind = stations > (np.inf if self.turn is None else self.turn)
        return np.asarray((behind == past) & ~self.in_layer & np.isfinite(self.ratio))

    def mean_ratio(self, *, past: bool) -> float:
        """Return the mean ratio of readings in the stream past the fastest place of the turn, or up to it.

        nan where there are none; of a port that does not turn all are up to it.
        """
        here = self._counted(past=past)
        return float(self.ratio[here].mean()) if here.any() else float("nan")


def pitot_speed(pressure: FloatArray, air: Air) -> FloatArray:
    """Return the speed, m/s, of air from rest whose pitot-static tube reads a pressure, Pa.

    p / p0 = (1 + (gamma - 1) / 2 M^2)^(-gamma / (gamma - 1)) with p0 - p read (NACA Report 1135, equation 44): a bench
    pulls air from the room, which has lost little on its way. At low speed it is sqrt(2 q / density) (ISO 3966).
    """
    warmth = (1.0 - np.asarray(pressure) / air.pressure) ** (-(GAMMA - 1.0) / GAMMA)
    return isentropic_speed(np.sqrt(2.0 / (GAMMA - 1.0) * (warmth - 1.0)), air)


def probed(air: AirSpeed, readings: Sequence[ProbeReading]) -> Probed:
    """Return readings beside the flow. Their stations are of the last port of the path.

    A reading at another flow is set beside the same speed over mean: the ideal flow's own pattern moves little with
    the flow. Computed speeds come from the potential inside the port, not from the wall's.
    """
    path, port = air.path, air.path.ports[-1]
    offset = path.starts[-1] - port.centreline.stations[0]
    stations = np.array([r.station for r in readings]) + offset
    sections = sections_along(path, stations)
    points = np.array([_point(section, reading) for section, reading in zip(sections, readings, strict=True)])
    area = np.interp(stations, air.stations, air.area) * 1e-6
    flow = np.array([air.flow if r.flow is None else r.flow for r in readings])
    means = [
        float(isentropic_speed(mach_through(through, np.array([at]), air.air), air.air)[0])
        for through, at in zip(flow, area, strict=True)
    ]
    solved = air.wall.within.speeds(np.nan_to_num(points, nan=1e9)) * air.flow * 1e6
    own = isentropic_speed(mach_through(air.flow, area, air.air), air.air)
    computed = np.where(np.isfinite(points[:, 0]), solved / own * means, np.nan)
    by_pressure = pitot_speed(np.array([r.pressure for r in readings]), air.air)
    measured = np.array([r.speed if np.isfinite(r.speed) else v for r, v in zip(readings, by_pressure, strict=True)])
    along = np.maximum(stations - path.first, 1e-3) * 1e-3
    reynolds = np.maximum(computed, 1.0) * along / air.air.kinematic_viscosity
    layer = LAYER * along * 1e3 * reynolds**LAYER_POWER
    turn = None if air.side_peak is None else float(air.side_peak.station - offset)
    return Probed(tuple(readings), flow, measured, computed, np.array([r.off_wall for r in readings]) < layer, turn)


def _point(section: Section, reading: ProbeReading) -> FloatArray:
    """Return the place (3,) of a reading: in from the wall, towards the section's middle; nan past the middle."""
    middle = moments(section.outline).centroid
    angle = np.radians(30.0 * reading.clock)
    out = np.array([-np.sin(angle), np.cos(angle)])
    ray = shapely.LineString([middle, middle + 10.0 * np.ptp(section.outline) * out])
    met = shapely.get_coordinates(ray.intersection(shapely.LinearRing(section.outline)))
    wall = min(float(np.linalg.norm(p - middle)) for p in met)
    if reading.off_wall > wall:
        return np.full(3, np.nan)
    return section.in_space((middle + (wall - reading.off_wall) * out)[None])[0]
