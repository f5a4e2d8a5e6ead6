"""Stream: a path and the flow through it, and what its areas tell of the means.

A path, a flow and its depression come in; a Stream goes out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.section import Section, area_of
from portgeo.flow.gas import STANDARD, Air, density_at, isentropic_speed, mach_through
from portgeo.flow.path import Path, port_at, sections_along
from portgeo.flow.wall import Sizing, WallSpeed, sizing_of, sizing_stations
from portgeo.measuring.scan_uncertainty import facet_area
from portgeo.measuring.schedule import FINE_STATIONS, table_stations


@dataclass(frozen=True)
class Stream:
    """A path and the flow through it, m3/s of air at rest: what its areas tell of the means.

    close (n,) : stations from end to end; sections and net areas (n,) there. table (m,) : those of `close` that are
    told. depression : Pa.
    """

    path: Path
    flow: float
    depression: float
    air: Air
    close: FloatArray
    sections: tuple[Section, ...]
    net: FloatArray
    table: FloatArray

    @property
    def table_area(self) -> FloatArray:
        """Areas (m,) at the stations that are told."""
        return self.net[np.searchsorted(self.close, self.table)]

    @property
    def least(self) -> int:
        """Which station has the least area."""
        return int(np.argmin(self.net))

    def means_through(self, area: FloatArray) -> FloatArray:
        """Return the mean speeds of air that thins out with speed through areas (k,), mm2 (isentropic)."""
        return isentropic_speed(mach_through(self.flow, area * 1e-6, self.air), self.air)

    def means_at(self, stations: FloatArray) -> FloatArray:
        """Return the same at stations (k,)."""
        return self.means_through(np.interp(stations, self.close, self.net))

    def density(self, speed: FloatArray) -> FloatArray:
        """Return the density over that at rest (k,) where a unit flow in mm would have speeds (k,)."""
        return density_at(speed * (self.flow * 1e6), self.air)

    def over_means(self, solution: WallSpeed) -> WallSpeed:
        """Return a solution of this flow over the mean of air that thins out as it does: straight, it reads one."""
        even = self.flow / (solution.area * 1e-6) / self.means_through(solution.area)
        return replace(solution, over_mean=solution.over_mean * even[:, None])


def stream_of(path: Path, flow: float, depression: float, air: Air = STANDARD) -> Stream:
    """Return the flow through a path. Raises GeometryError where a plane cuts no tube."""
    table = _table_stations(path)
    close = np.union1d(np.linspace(path.first, path.last, FINE_STATIONS), table)
    sections = sections_along(path, close)
    facets = np.array([facet_area(port) for port in path.ports])  # as a survey of each port has its areas
    net = np.array([area_of(s) for s in sections]) + facets[port_at(path, close)]
    return Stream(path, flow, depression, air, close, tuple(sections), net, table)


def stream_sizing(stream: Stream) -> Sizing:
    """Return what a path's grids are sized by, of the sections that are cut already."""
    near = [int(np.argmin(np.abs(stream.close - at))) for at in sizing_stations(stream.path)]
    return sizing_of(stream.path, [stream.sections[k] for k in near])


def _table_stations(path: Path) -> FloatArray:
    pieces = [
        table_stations(port) - port.centreline.stations[0] + start
        for port, start in zip(path.ports, path.starts, strict=True)
    ]
    return np.unique(np.concatenate(pieces))
