"""Air speed through a path at a flow: means and Mach by station, the wall's speeds, the short side's peak.

A path, a flow and its depression come in; an AirSpeed goes out. It is an ideal (potential) flow
through the measured shape of air that thins out with speed, without friction, guide, valve or stem.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.section import Section, area_of
from portgeo.core.units import MILLIMETRES, Display
from portgeo.flow.gas import (
    STANDARD,
    Air,
    choke_flow,
    depression_speed,
    isentropic_speed,
    mach_through,
)
from portgeo.flow.path import Path, port_at, to_source
from portgeo.flow.places import clock_speeds, hours_of, side_line
from portgeo.flow.sense import check_flow, flow_notices, refuse_absurd
from portgeo.flow.separation import Slowing, slowing
from portgeo.flow.shape_doubt import relative_shape_u
from portgeo.flow.stream import Stream, stream_of, stream_sizing
from portgeo.flow.wall import (
    UNKNOWNS,
    Size,
    WallSpeed,
    coarser,
    size_for,
    wall_solution,
)
from portgeo.measuring.bends import find_bends, meant_bend, port_bends
from portgeo.measuring.schedule import Survey
from portgeo.measuring.sides import Bend, bend_of
from portgeo.measuring.throat import Throat, throat_of

WHAT_IT_IS = (
    "An ideal flow, of air that does not rub on the wall (potential flow), through the measured shape: it shows "
    "where air is driven fast and where it is asked to slow too quickly. It is not a flow bench and not a full "
    "viscous simulation; guide, boss, valve and stem are left out, and past both openings the port is taken to go "
    "straight on."
)
AT_EXIT_MM = 2.0  # of the exit: air that leaves the wall there has gone through the port
GRID_U = float(np.sqrt(3.0))  # a grid's doubt is a half width: over this, a standard uncertainty (JCGM 100, 4.3.7)
SAME_MM = 1e-6  # of stations
NEAR_TURN = 0.5  # of the section's mean size, before and after the turn, where its peak may lie


@dataclass(frozen=True)
class Peak:
    """A greatest speed on the wall.

    speed m/s, error : half width of the grid's own doubt about it, m/s, over_mean, station and clock
    (hours), point (3,) in the path's frame. shape_u : standard uncertainty that the shape's own leaves in it,
    m/s, None where nobody said how sure the shape is.
    """

    speed: float
    error: float
    over_mean: float
    station: float
    clock: float
    point: FloatArray
    shape_u: float | None = None

    @property
    def grid_u(self) -> float:
        """Standard uncertainty that the grid leaves, m/s."""
        return float(self.error / GRID_U)

    @property
    def u(self) -> float | None:
        """Standard uncertainty, m/s, of shape and grid; None without the shape's."""
        return None if self.shape_u is None else float(np.hypot(self.shape_u, self.grid_u))


@dataclass(frozen=True)
class TurningOn:
    """What the short side would read if the path kept turning past the ends at which it still turns.

    entry, exit : which of them. peak : of the short side then. line (n,) : speed over mean along it, at
    the rings of the solution. The truth lies between this and the answer, as long as what follows
    turns no tighter.
    """

    entry: bool
    exit: bool
    peak: Peak
    line: FloatArray


@dataclass(frozen=True)
class AirSpeed:
    """Air through a path. Stations mm, areas mm2, speeds m/s, flow m3/s of air at rest.

    stations, area, mean_speed (flow over area, incompressible), mean_isentropic, mach (isentropic),
    short_over_mean, long_over_mean (nan on a path that does not turn), highest_over_mean : (n,), over the
    isentropic mean, as all speeds on the wall are.
    clock_over_mean : (n, 12), from 12 o'clock on.
    throat : of the last port, at its station of the path. choke, throat_choke : the flow that chokes the least area,
    and the throat. ideal_speed : what the depression gives without loss. side_peak, slowing : of the short side, None
    without one; slowing's places are rings of `wall`. short_line, long_line : speed over mean at them. bend : that
    they lie along, None on a path that does not turn.
    turning_on : the short side if the path keeps turning past its ends, None where it is straight there.
    """

    path: Path
    flow: float
    depression: float
    air: Air
    stations: FloatArray
    area: FloatArray
    mean_speed: FloatArray
    mean_isentropic: FloatArray
    mach: FloatArray
    short_over_mean: FloatArray
    long_over_mean: FloatArray
    highest_over_mean: FloatArray
    clock_over_mean: FloatArray
    least_station: float
    least_area: float
    choke: float
    throat: Throat
    throat_choke: float
    ideal_speed: float
    highest: Peak
    side_peak: Peak | None
    slowing: Slowing | None
    wall: WallSpeed
    short_line: FloatArray
    long_line: FloatArray
    turning_on: TurningOn | None
    bend: Bend | None
    warnings: tuple[Notice, ...]

    def mean_through(self, area: float) -> float:
        """Return the mean speed of air that thins out with speed through an area, mm2 (isentropic)."""
        return float(self.means_through(np.array([area]))[0])

    def means_through(self, areas: FloatArray) -> FloatArray:
        """Return the same of areas (n,)."""
        return isentropic_speed(mach_through(self.flow, areas * 1e-6, self.air), self.air)

    @property
    def nearest_at_exit(self) -> bool:
        """Whether the place from which the air leaves the short side, or is nearest to it, is the exit."""
        return self.slowing is not None and self.path.last - self.wall.stations[self.slowing.from_here] < AT_EXIT_MM


def air_speed(
    path: Path,
    flow: float,
    depression: float,
    air: Air = STANDARD,
    unknowns: int = UNKNOWNS,
    display: Display = MILLIMETRES,
    surveys: Sequence[Survey] = (),
) -> AirSpeed:
    """Return the air speed through a path.

    flow : m3/s of air at rest. depression : Pa. display : how a refusal shows areas. surveys : as `air_on` has them.
    The wall-speed solution is made on two grids. Past both openings the tube is taken to go straight on; where it
    still turns there, the coarser grid is solved once more with the turn kept up. Raises InputError for a flow that no
    air can make (more than chokes the least area), GeometryError where no grid can be laid.
    """
    check_flow(flow, depression)
    stream = stream_of(path, flow, depression, air)
    refuse_absurd(flow, float(stream.net[stream.least]), air, display)
    sizing = stream_sizing(stream)
    size = size_for(sizing, unknowns)
    coarse_size = coarser(sizing, size)

    def solved(one: Size, *, turning: bool = False) -> WallSpeed:
        return stream.over_means(wall_solution(path, one, turning=turning, density=stream.density))

    fine, coarse = solved(size), solved(coarse_size)
    return air_on(stream, fine, coarse, surveys=surveys, kept_up=lambda: solved(coarse_size, turning=True))


def air_on(
    stream: Stream,
    fine: WallSpeed,
    coarse: WallSpeed,
    *,
    surveys: Sequence[Survey] = (),
    kept_up: Callable[[], WallSpeed] | None = None,
    before: float = 0.0,
) -> AirSpeed:
    """Return the air speed through a path, of its solutions on two grids.

    Their difference, carried on to cells of no size as if the error went with the cells' size, is the doubt about each
    peak. surveys : of the path's ports, for what their own uncertainties leave in the peaks; without them a peak has no
    ±. kept_up : makes the coarser solution with the turn kept up past ends that still turn. before : of the layer on
    the wall, as `slowing` has it; it is taken to begin at the path's entry.
    """
    path, flow, air, means_at = stream.path, stream.flow, stream.air, stream.means_at
    table, area, least = stream.table, stream.table_area, stream.least
    mach = mach_through(flow, area * 1e-6, air)
    last = stream.close >= path.starts[-1]
    throat = throat_of(path.ports[-1], stream.close[last], stream.net[last])
    growth = coarse.cell / fine.cell - 1.0
    means, coarse_means = means_at(fine.stations), means_at(coarse.stations)

    bend = _bend_of(path, stream.close, stream.sections)
    short, long = np.full_like(means, np.nan), np.full_like(means, np.nan)
    fall, peak, turning_on, height = None, None, None, 0.0
    if bend is not None:
        short, short_points, top, here = short_side_top(fine, means, bend)
        long, long_points = side_line(fine, bend.plane, inner=False)
        rough, _ = side_line(coarse, bend.plane, inner=True)
        other = np.interp(fine.stations, coarse.stations, rough * coarse_means)
        gap = max(
            abs(float((short * means)[here].max() - other[here].max())),
            float(np.sqrt(np.mean((short * means - other)[here] ** 2))),
        )
        peak = peak_at(fine, means, short[top], top, short_points[top], gap / growth)
        height = float(np.linalg.norm(long_points[top] - short_points[top]))
        fall = slowing(along_line(short_points), short * means, top, air.kinematic_viscosity, before)
        if any(fine.turns) and kept_up is not None:
            kept, _ = side_line(kept_up(), bend.plane, inner=True)
            line = np.interp(fine.stations, coarse.stations, kept)
            k = int(np.flatnonzero(here)[np.argmax((line * means)[here])])
            doubt = peak.error * coarse.cell / fine.cell
            turning_on = TurningOn(*fine.turns, peak_at(fine, means, line[k], k, short_points[k], doubt), line)
    highest = highest_of(fine, means)
    rough_top = highest_of(coarse, coarse_means).speed
    highest = replace(highest, error=abs(highest.speed - rough_top) / growth)
    # A peak of the whole wall that is the short side's own hangs on the turn as that one does.
    on_short_side = peak is not None and abs(peak.station - highest.station) < height / 2.0

    def at_table(line: FloatArray) -> FloatArray:
        # Where a port splits the wall is told from where the divider's sharp edge is no longer felt.
        here = (table > fine.stations[0] - SAME_MM) & (table < fine.stations[-1] + SAME_MM)
        return np.where(here, np.interp(table, fine.stations, line), np.nan)

    return AirSpeed(
        path=path,
        flow=flow,
        depression=stream.depression,
        air=air,
        stations=table,
        area=area,
        mean_speed=flow / (area * 1e-6),
        mean_isentropic=isentropic_speed(mach, air),
        mach=mach,
        short_over_mean=at_table(short),
        long_over_mean=at_table(long),
        highest_over_mean=at_table(fine.over_mean.max(axis=1)),
        clock_over_mean=np.column_stack([at_table(line) for line in clock_speeds(fine).T]),
        least_station=float(stream.close[least]),
        least_area=float(stream.net[least]),
        choke=choke_flow(float(stream.net[least]) * 1e-6, air),
        throat=throat,
        throat_choke=choke_flow(throat.area * 1e-6, air),
        ideal_speed=depression_speed(stream.depression, air),
        highest=_sure_to(highest, path, surveys, height if on_short_side else None),
        side_peak=None if peak is None else _sure_to(peak, path, surveys, height),
        slowing=fall,
        wall=fine,
        short_line=short,
        long_line=long,
        turning_on=turning_on,
        bend=bend,
        warnings=flow_notices(
            path,
            list(stream.sections),
            flow,
            stream.depression,
            float(stream.net[least]),
            float(stream.close[least]),
            mach,
            air,
            (highest.speed, highest.station),
        ),
    )


def _bend_of(path: Path, stations: FloatArray, sections: Sequence[Section]) -> Bend | None:
    """Return the bend worked on: the last port's own, or the last of the whole path, runner and port."""
    head = path.ports[-1]
    if len(path.ports) == 1 or head.bend is not None:
        plane = meant_bend(head, port_bends(head))
    else:
        size = float(np.sqrt(np.mean([area_of(s) for s in sections])))
        planes = find_bends(stations, np.array([s.frame for s in sections]), size)
        plane = planes[-1] if planes else None
    return None if plane is None else bend_of(stations, sections, plane)


def peak_at(
    solution: WallSpeed, means: FloatArray, over_mean: float, ring: int, point: FloatArray, error: float
) -> Peak:
    """Return the peak at a point (3,) of a ring. means (n,) : m/s at the rings. error : m/s, the grid's."""
    clock = float(hours_of(solution.sections[ring].frame[1:] @ (point - solution.middle[ring])))
    speed = float(over_mean * means[ring])
    return Peak(speed, error, float(over_mean), float(solution.stations[ring]), clock, point)


def highest_of(solution: WallSpeed, means: FloatArray) -> Peak:
    """Return the fastest place on the whole wall, of no error. means (n,) : m/s at the rings."""
    ring, node = np.unravel_index(int(np.argmax(solution.over_mean * means[:, None])), solution.over_mean.shape)
    return peak_at(solution, means, solution.over_mean[ring, node], int(ring), solution.wall[ring, node], 0.0)


def short_side_top(
    solution: WallSpeed, means: FloatArray, bend: Bend
) -> tuple[FloatArray, FloatArray, int, np.ndarray]:
    """Return speed over mean (n,) and points (n, 3) of the short side, the ring of its peak, the rings it may be at."""
    short, points = side_line(solution, bend.plane, inner=True)
    # The peak may lie a little beyond where the short side is bent.
    margin = NEAR_TURN * float(np.sqrt(solution.area.mean()))
    low, high = bend.short.station_from - margin, bend.short.station_to + margin
    here = (solution.stations >= low) & (solution.stations <= high)
    return short, points, int(np.flatnonzero(here)[np.argmax((short * means)[here])]), here


def along_line(points: FloatArray) -> FloatArray:
    """Return the distance (n,) in metres along a line of points (n, 3) in mm."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]) * 1e-3


def _sure_to(peak: Peak, path: Path, surveys: Sequence[Survey], height: float | None) -> Peak:
    """Return a peak with what the surveys of the path's ports leave open in it."""
    if not surveys:
        return peak
    k = int(port_at(path, np.array([peak.station]))[0])
    station = peak.station - path.starts[k] + path.ports[k].centreline.stations[0]
    return replace(peak, shape_u=peak.speed * relative_shape_u(surveys[k], float(station), height))


def point_in_source(path: Path, peak: Peak) -> FloatArray:
    """Return where a peak is (3,) in the own coordinates of the part that it is in."""
    return to_source(path, peak.station, peak.point)


@dataclass(frozen=True)
class Beside:
    """Today's port beside the planned one: drop of the peak in m/s, metal to come out in mm3, drop for a cc."""

    peak_drop: float
    removed: float
    drop_per_cc: float | None


def beside(today: AirSpeed, planned: AirSpeed, volume_today: float, volume_planned: float) -> Beside:
    """Return what a plan does to the short side's peak, or to the highest speed on a port with no turn."""
    before, after = (r.side_peak or r.highest for r in (today, planned))
    drop, removed = before.speed - after.speed, volume_planned - volume_today
    return Beside(drop, removed, drop / (removed / 1000.0) if removed > 0.0 else None)
