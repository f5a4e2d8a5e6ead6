"""A pitot probe's readings beside the ideal flow, place by place.

Readings and an AirSpeed come in; measured and computed speeds go out. SI units, lengths mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port
from portgeo.core.section import Section, area_of
from portgeo.flow.airspeed import AirSpeed
from portgeo.flow.bench import REPEATS
from portgeo.flow.gas import GAMMA, GAS_CONSTANT, Air, isentropic_speed, mach_of_drop, mach_through
from portgeo.flow.path import path_of, sections_along

# Thickness of the layer of slowed air on a flat plate, turbulent from its start: 0.37 x Re^(-1/5), the 1/7-power law
# (Schlichting, Boundary-Layer Theory; from memory).
LAYER, LAYER_POWER = 0.37, -0.2
# Standard uncertainties, *common practice, no source*: of a speed, for the gauge and for how the tube is aimed; of
# where a tip held by hand stands, mm in each direction.
READS, TIP_MM = 0.02, 1.0
FAR = 1e9  # mm: in no port
APART = 0.1  # of the speed: an ideal flow that is off by more there is not the port's flow


@dataclass(frozen=True)
class ProbeReading:
    """One reading: station, distance off the wall (mm), clock (hours), speed (m/s) or pressure (Pa), one of them nan.

    flow : through the port when it was read, m3/s at rest, None: as the flow that was solved. depression : of the
    bench then, Pa, None: as the one of that flow. row : in the file.
    """

    row: int
    station: float
    clock: float
    off_wall: float
    speed: float
    pressure: float
    flow: float | None = None
    depression: float | None = None


@dataclass(frozen=True)
class Probed:
    """Readings beside the flow: speeds m/s at each (n,); flow (n,) m3/s; in_layer (n,) : in the air slowed by the wall.

    measured_u, computed_u : one standard uncertainty; of a computed speed with that of the place. computed : nan where
    the place is past the middle of the port, or in no hexahedron of its grid. turn : station from which the air has
    turned, None on a port that does not.
    """

    readings: tuple[ProbeReading, ...]
    flow: FloatArray
    measured: FloatArray
    computed: FloatArray
    measured_u: FloatArray
    computed_u: FloatArray
    in_layer: np.ndarray
    turn: float | None

    @property
    def ratio(self) -> FloatArray:
        """Measured over computed (n,)."""
        return self.measured / self.computed

    @property
    def ratio_u(self) -> FloatArray:
        """One standard uncertainty of the ratio (n,)."""
        return self.ratio * np.hypot(self.measured_u / self.measured, self.computed_u / self.computed)

    @property
    def lowest(self) -> int | None:
        """The reading past the turn whose ratio is least, None where none counts there.

        A mean would not do: air that has left one wall is slow there and fast on the other.
        """
        here = np.flatnonzero(self._counted(past=True))
        return int(here[np.argmin(self.ratio[here])]) if len(here) else None

    @property
    def parts(self) -> bool:
        """Whether the lowest ratio past the turn is under one by more than APART, and by more than its doubt."""
        k = self.lowest
        return k is not None and bool(self.ratio[k] + max(APART, 2.0 * self.ratio_u[k]) < 1.0)

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


def air_within(port: Port, flow: float, room: Air) -> Air:
    """Return the air at rest that the air in a port comes from, for a flow of m3/s of the room's air.

    An intake's air comes from the room, and has lost little on its way. An exhaust's is blown: past its valve, where
    most of the bench's depression is lost, it leaves the exit at the room's pressure, as a jet slower than sound does,
    so that its total pressure is the room's with that of the exit's speed (Bernoulli; isentropic, NACA Report 1135,
    equation 44).
    """
    if port.valve_end != "entry":
        return room
    area = area_of(sections_along(path_of(port), port.centreline.stations[-1:])[0]) * 1e-6
    # Flow of mass over p A, m / (p A) sqrt(R T0 / gamma) = M sqrt(1 + (gamma - 1) / 2 M^2), is solved for M^2.
    through = (flow * room.density / (room.pressure * area)) ** 2 * GAS_CONSTANT * room.temperature / GAMMA
    mach2 = (np.sqrt(1.0 + 2.0 * (GAMMA - 1.0) * through) - 1.0) / (GAMMA - 1.0)
    pressure = room.pressure * (1.0 + (GAMMA - 1.0) / 2.0 * mach2) ** (GAMMA / (GAMMA - 1.0))
    return replace(room, pressure=float(pressure))


def pitot_speed(pressure: FloatArray | float, air: Air) -> FloatArray:
    """Return the speed, m/s, of air from rest whose pitot-static tube reads a pressure, Pa. air : at rest.

    The tube reads total less static pressure (NACA Report 1135, equation 44); at low speed the speed is
    sqrt(2 q / density) (ISO 3966).
    """
    return isentropic_speed(mach_of_drop(pressure, air), air)


def probed(air: AirSpeed, readings: Sequence[ProbeReading]) -> Probed:
    """Return readings beside the flow. Their stations are of the last port of the path.

    A reading at another flow is set beside the same speed over mean: the ideal flow's own pattern moves little with
    the flow. One at another depression alone had the flow that goes as its square root. Computed speeds come from the
    potential inside the port, not from the wall's.
    """
    path, port = air.path, air.path.ports[-1]
    offset = path.starts[-1] - port.centreline.stations[0]
    stations = np.array([r.station for r in readings]) + offset
    sections = sections_along(path, stations)
    points = np.array([_point(section, reading) for section, reading in zip(sections, readings, strict=True)])
    area = np.interp(stations, air.stations, air.area) * 1e-6
    flow = np.array([_flow_of(r, air) for r in readings])
    still = [air_within(port, through, air.air) for through in flow]
    means = [
        float(isentropic_speed(mach_through(through * air.air.density / at_rest.density, at, at_rest), at_rest))
        for through, at, at_rest in zip(flow, area, still, strict=True)
    ]
    solved = air.wall.within.speeds(np.nan_to_num(points, nan=FAR)) * air.flow * 1e6
    own = isentropic_speed(mach_through(air.flow, area, air.air), air.air)
    computed = np.where(np.isfinite(points[:, 0]), solved / own * means, np.nan)
    measured = np.array(
        [
            r.speed if np.isfinite(r.speed) else float(pitot_speed(r.pressure, at_rest))
            for r, at_rest in zip(readings, still, strict=True)
        ]
    )
    top = air.highest
    # What the turn adds to the mean is as sure, for what it is, as what it adds at the peak.
    peak_u = float(np.hypot(top.grid_u, top.shape_u or 0.0))
    of_turn = peak_u / max(top.speed - top.speed / top.over_mean, peak_u) if peak_u > 0.0 else 0.0
    of_place = computed * _change_nearby(air, points) * air.flow * 1e6 / solved
    computed_u = np.sqrt((REPEATS * computed) ** 2 + (of_turn * (computed - means)) ** 2 + of_place**2)
    along = np.maximum(stations - path.first, 1e-3) * 1e-3
    reynolds = np.maximum(computed, 1.0) * along / air.air.kinematic_viscosity
    layer = LAYER * along * 1e3 * reynolds**LAYER_POWER
    turn = None if air.side_peak is None else float(air.side_peak.station - offset)
    off_wall = np.array([r.off_wall for r in readings])
    return Probed(tuple(readings), flow, measured, computed, READS * measured, computed_u, off_wall < layer, turn)


def _flow_of(reading: ProbeReading, air: AirSpeed) -> float:
    if reading.flow is not None or reading.depression is None:
        return air.flow if reading.flow is None else reading.flow
    return air.flow * float(np.sqrt(reading.depression / air.depression))


def _change_nearby(air: AirSpeed, points: FloatArray) -> FloatArray:
    """Return how much the speed of unit flow changes by TIP_MM in each direction from points (n, 3), by the three."""
    moved = np.nan_to_num(points, nan=FAR)[:, None] + np.concatenate(
        [[np.zeros(3)], TIP_MM * np.eye(3), -TIP_MM * np.eye(3)]
    )
    speeds = air.wall.within.speeds(moved.reshape(-1, 3)).reshape(-1, 7)
    # Of two places opposite each other one may be outside the port.
    apart = np.nan_to_num(np.abs(speeds[:, 1:] - speeds[:, :1])).reshape(-1, 2, 3).max(axis=1)
    return np.asarray(np.linalg.norm(apart, axis=1))


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
