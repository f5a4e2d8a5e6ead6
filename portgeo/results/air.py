"""The result of a flow through a port: every figure of it, declared once.

An AirSpeed with its port comes in; an AirThrough, which is the JSON of `airspeed`, goes out. Points are in
the port's own coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.flow.airspeed import WHAT_IT_IS, AirSpeed, Peak, point_in_source
from portgeo.flow.airspeed import Beside as Drop
from portgeo.flow.bench import Run
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks

OVER_MEAN: dict[str, Any] = {"csv": True, "page": True, "group": "Wall speed over mean", "kind": "ratio"}


@dataclass(frozen=True)
class AirStations(Table):
    """Speeds by station. Those over the mean are on the wall, over the mean speed of air that thins out."""

    station_mm: FloatArray = figure(lambda a: a.stations, "Station", csv=True, page=True)
    area_mm2: FloatArray = figure(lambda a: a.area, "Area", csv=True, page=True)
    mean_speed_m_s: FloatArray = figure(lambda a: a.mean_speed, "Flow over area", csv=True, page=True)
    mean_speed_isentropic_m_s: FloatArray = figure(lambda a: a.mean_isentropic, "Mean speed", csv=True, page=True)
    mach: FloatArray = figure(lambda a: a.mach, "Mach", csv=True, page=True, kind="mach")
    short_side_over_mean: FloatArray = figure(lambda a: a.short_over_mean, "short side", **OVER_MEAN)
    long_side_over_mean: FloatArray = figure(lambda a: a.long_over_mean, "long side", **OVER_MEAN)
    highest_over_mean: FloatArray = figure(lambda a: a.highest_over_mean, "highest", **OVER_MEAN)
    clock_over_mean: FloatArray = figure(
        lambda a: a.clock_over_mean, csv="over_mean_at_{}", each=tuple(str(hour or 12) for hour in range(12))
    )


@dataclass(frozen=True)
class PeakSpeed(Result):
    """The fastest place on a wall, how sure, and what of that is the shape's and the grid's."""

    peak_m_s: float = figure(lambda a, peak: peak.speed)
    peak_u_m_s: float = figure(lambda a, peak: peak.u)
    peak_shape_u_m_s: float = figure(lambda a, peak: peak.shape_u)
    peak_grid_error_m_s: float = figure(lambda a, peak: peak.error)
    peak_over_mean: float = figure(lambda a, peak: peak.over_mean)
    station_mm: float = figure(lambda a, peak: peak.station)
    clock: float = figure(lambda a, peak: peak.clock)
    at_mm: FloatArray = figure(lambda a, peak: point_in_source(a.path, peak))


def _peak(air: AirSpeed, peak: Peak | None) -> PeakSpeed | None:
    return None if peak is None else PeakSpeed.of(air, peak)


@dataclass(frozen=True)
class Slowing(Result):
    """From where the short side asks the air to slow too quickly, or nearest to it."""

    from_station_mm: float = figure(lambda a, fall: a.wall.stations[fall.from_here])
    at_exit: bool = figure(lambda a, fall: a.nearest_at_exit)
    margin: float = figure(lambda a, fall: fall.margin)
    parts: bool = figure(lambda a, fall: fall.parts)
    recovered_pressure_share: float = figure(lambda a, fall: fall.recovered)


@dataclass(frozen=True)
class ThroatAir(Result):
    """The throat, the mean speed there, the flow that chokes it; percent of its valve where that is known."""

    station_mm: float = figure(lambda a, valve: a.throat.station)
    area_mm2: float = figure(lambda a, valve: a.throat.area)
    diameter_mm: float = figure(lambda a, valve: a.throat.diameter)
    from_: str = figure(lambda a, valve: a.throat.told_by)  # "mark" or "least"
    mean_speed_m_s: float = figure(lambda a, valve: a.flow / (a.throat.area * 1e-6))
    choke_cfm: float = figure(lambda a, valve: a.throat_choke / M3_S_PER["cfm"])
    percent_of_valve: float | None = figure(lambda a, valve: None if valve is None else a.throat.percent_of(valve))


@dataclass(frozen=True)
class AirAtRest(Result):
    """The air that the flow is of."""

    density_kg_m3: float = figure(lambda gas: gas.density)
    sound_m_s: float = figure(lambda gas: gas.sound)


@dataclass(frozen=True)
class FlowAsked(Result):
    """A flow, of air at rest, and the depression it is drawn under."""

    cfm: float = figure(lambda a: a.flow / M3_S_PER["cfm"])
    depression_in_h2o: float = figure(lambda a: a.depression / PA_PER["in_h2o"])


@dataclass(frozen=True)
class FlowThrough(FlowAsked):
    """A flow, as mass too."""

    kg_s: float = figure(lambda a: a.flow * a.air.density)
    air: AirAtRest = figure(lambda a: AirAtRest.of(a.air))


@dataclass(frozen=True)
class KeepsTurning(Result):
    """The short side if the port keeps turning past its ends, in place of straight on."""

    at_entry: bool = figure(lambda a, on: on.entry)
    at_exit: bool = figure(lambda a, on: on.exit)
    short_side: PeakSpeed = figure(lambda a, on: PeakSpeed.of(a, on.peak))
    short_side_over_mean: FloatArray = figure(lambda a, on: np.interp(a.stations, a.wall.stations, on.line))


@dataclass(frozen=True)
class PastTheEnds(Result):
    """How the port is taken to go on past its openings, and what else it may do; None where it is straight there."""

    taken: str = figure(lambda a: "straight on")
    if_it_keeps_turning: KeepsTurning | None = figure(
        lambda a: None if a.turning_on is None else KeepsTurning.of(a, a.turning_on)
    )


@dataclass(frozen=True)
class LeastAreaAir(Result):
    """The minimum area, and the flow that chokes it."""

    station_mm: float = figure(lambda a: a.least_station)
    area_mm2: float = figure(lambda a: a.least_area)
    choke_cfm: float = figure(lambda a: a.choke / M3_S_PER["cfm"])


@dataclass(frozen=True)
class FlowGrid(Result):
    """The grid of the solution, and how far the flow through its sections is from the same."""

    unknowns: int = figure(lambda a: a.wall.unknowns)
    cell_mm: float = figure(lambda a: a.wall.cell)
    flux_spread: float = figure(lambda a: float(np.ptp(a.wall.flux)))


@dataclass(frozen=True)
class SpeedFigures(Result):
    """An AirSpeed's figures, whatever port it is through."""

    flow: FlowThrough = figure(lambda a, *_: FlowThrough.of(a))
    stations: AirStations = figure(lambda a, *_: AirStations.of(a))
    short_side: PeakSpeed | None = figure(lambda a, *_: _peak(a, a.side_peak))
    highest: PeakSpeed = figure(lambda a, *_: PeakSpeed.of(a, a.highest))
    past_the_ends: PastTheEnds = figure(lambda a, *_: PastTheEnds.of(a))
    slowing: Slowing | None = figure(lambda a, *_: None if a.slowing is None else Slowing.of(a, a.slowing))
    least_area: LeastAreaAir = figure(lambda a, *_: LeastAreaAir.of(a))
    throat: ThroatAir = figure(lambda a, *_: ThroatAir.of(a, None))
    depression_speed_m_s: float = figure(lambda a, *_: a.ideal_speed)
    grid: FlowGrid = figure(lambda a, *_: FlowGrid.of(a))


@dataclass(frozen=True)
class Heading(Result):
    """What stands before the figures."""

    computed: AirSpeed = inside(lambda a, *_: a)
    display: Display = inside(lambda a, port, *_: port.display)
    notices: tuple[Notice, ...] = inside(lambda a, *_: _notices(a))
    valve: float | None = inside(lambda a, port, valve, run: valve)
    run: Run | None = inside(lambda a, port, valve, run: run)
    schema: str = figure(lambda *_: "portgeo.airspeed/2")
    source: Mapping[str, Any] = figure(lambda a, port, *_: port.source)
    warnings: tuple[Remark, ...] = figure(lambda a, port, *_: remarks(_notices(a), port.display))
    what_it_is: str = figure(lambda *_: WHAT_IT_IS)


@dataclass(frozen=True)
class AirThrough(SpeedFigures, Heading):
    """Air through a port, an ideal flow: no bench, and no full viscous simulation.

    Of an air speed, its port, the diameter of its one valve's head, mm, and the run on the bench whose flow it is,
    each None where there is none. `runner_source` is of the runner that the air goes through first, where it does.
    """

    throat: ThroatAir = figure(lambda a, port, valve, run: ThroatAir.of(a, valve))
    runner_source: Mapping[str, Any] | None = figure(lambda a, *_: a.path.ports[0].source if a.path.ports[1:] else None)

    def told_more(self, notices: Sequence[Notice]) -> Self:
        """Return the same result with more notices."""
        told = (*self.notices, *notices)
        return replace(self, notices=told, warnings=remarks(told, self.display))


@dataclass(frozen=True)
class Beside(SpeedFigures):
    """A planned port's air, and what it does to the peak: a drop, for the metal that comes out."""

    computed: Drop = inside(lambda planned, source, drop: drop)
    source: Mapping[str, Any] = figure(lambda planned, source, drop: source)
    peak_drop_m_s: float = figure(lambda planned, source, drop: drop.peak_drop)
    removed_cc: float = figure(lambda planned, source, drop: CC * drop.removed)
    peak_drop_m_s_per_cc: float | None = figure(lambda planned, source, drop: drop.drop_per_cc)


def _notices(air: AirSpeed) -> tuple[Notice, ...]:
    return (*(notice for port in air.path.ports for notice in port.warnings), *air.warnings)
