"""Air speed through a port that splits: how its legs share the flow, the speeds in each passage, round the divider.

A SplitPort, a flow and its depression come in, and the legs' shares where they are known; a SplitAir goes out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import combinations

import numpy as np
import shapely

from portgeo.core.errors import PortgeoError
from portgeo.core.plane import FloatArray
from portgeo.core.split import TRUNK, SplitPort
from portgeo.flow.airspeed import GRID_U, AirSpeed, Peak, air_on
from portgeo.flow.gas import STANDARD, Air
from portgeo.flow.parting import Parted, solve_parted
from portgeo.flow.path import path_of
from portgeo.flow.places import hours_of, line_towards
from portgeo.flow.room import Room, room_of
from portgeo.flow.sense import check_flow, refuse_absurd
from portgeo.flow.share_doubt import shares_u
from portgeo.flow.stream import Stream, stream_of, stream_sizing
from portgeo.flow.tube import Tube, between, speeds_on, tube_of, tube_to_junction
from portgeo.flow.wall import WallSpeed, coarser, size_for
from portgeo.measuring.schedule import Survey

UNKNOWNS = 20_000  # in each passage: some 20 cells from wall to wall
EDGE_FELT = 0.5  # of the width of the step: an ideal flow has no bound at a sharp edge, and is told from there on
MOST_FELT = 0.5  # of a leg's size
ROOM = 0.7  # of the passages' least cell: the edges of a junction's tetrahedra, whose speeds are even in each
ROUND = 0.5  # of a leg's size, from the nose: a scan's divider has its shoulders there


@dataclass(frozen=True)
class Shoulder:
    """The speed round the divider into one leg.

    peak : on the wall that faces the leg's neighbour, of a scan on the divider near its nose; the mean that it is over
    is the leg's first. from_edge : how far past a sheet's divider, whose edge is sharp, that is, mm.
    """

    peak: Peak
    from_edge: float


@dataclass(frozen=True)
class SplitAir:
    """Air through a port that splits. Stations mm, areas mm2, flow m3/s of air at rest.

    shares (k,) : of the legs; shares_error (k,) : half width of the grid's doubt about them; shares_u (k,) : standard
    uncertainties, of shape and grid, None where nobody said how sure the shape is. given : whether they were given.
    trunk, legs : each passage with what goes through it. shoulders : of each leg. nose (3,) : where the air stands
    still on the divider, in the port's own coordinates. thickness : of the divider there, None of a scan.
    """

    port: SplitPort
    flow: float
    shares: FloatArray
    shares_error: FloatArray
    shares_u: FloatArray | None
    given: bool
    trunk: AirSpeed
    legs: tuple[AirSpeed, ...]
    shoulders: tuple[Shoulder, ...]
    nose: FloatArray
    thickness: float | None

    @property
    def passages(self) -> tuple[tuple[str, AirSpeed], ...]:
        """Trunk and legs, by name."""
        return tuple(zip((p.name for p in self.port.passages), (self.trunk, *self.legs), strict=True))

    @property
    def fastest_in(self) -> str:
        """The passage in which the air is fastest."""
        return max(self.passages, key=lambda passage: passage[1].highest.speed)[0]

    @property
    def air(self) -> Air:
        """The air at rest."""
        return self.trunk.air

    @property
    def depression(self) -> float:
        """Pa that the flow is drawn at."""
        return self.trunk.depression

    @property
    def least_area(self) -> float:
        """The smallest area that all of the flow passes: the trunk's, or the legs' own smallest together."""
        return min(self.trunk.least_area, sum(leg.least_area for leg in self.legs))

    @property
    def trunk_area(self) -> float:
        """The trunk's last area."""
        return float(self.trunk.area[-1])

    @property
    def legs_area(self) -> float:
        """The legs' first areas together."""
        return float(sum(leg.area[0] for leg in self.legs))

    @property
    def unknowns(self) -> int:
        """At how many points it is solved."""
        return sum(air.wall.unknowns for _, air in self.passages)


@dataclass(frozen=True)
class Edges:
    """The divider in the plane of the split: its nose (3,) and thickness, and how far into each leg its sharp edge, or
    that of a step in the wall, is felt, mm."""

    nose: FloatArray
    thickness: float | None
    felt: tuple[float, ...]


def split_air(
    port: SplitPort,
    flow: float,
    depression: float,
    *,
    shares: Sequence[float] | None = None,
    air: Air = STANDARD,
    unknowns: int = UNKNOWNS,
    surveys: Sequence[Survey] = (),
) -> SplitAir:
    """Return the air speed through a port that splits.

    flow : m3/s of air at rest that comes in. depression : Pa. shares : of the legs, 1 together; without them those of
    an ideal flow whose legs' openings have one mean potential. unknowns : in each passage. surveys : of trunk and legs,
    for the ±. The layer on a leg's wall is taken to come along the trunk's, at the trunk's mean speed. Past a leg that
    still turns at its exit the coarser grids are solved once more with the turn kept up. Raises InputError for a flow
    that no air can make, GeometryError where no grid can be laid.
    """
    check_flow(flow, depression)
    whole, *legs = (stream_of(path_of(passage.port), flow, depression, air) for passage in port.passages)
    with _in_passage(TRUNK):
        refuse_absurd(flow, float(whole.net[whole.least]), air, port.display)
    given = None if shares is None else np.asarray(shares, float)
    if given is not None:
        _shared(port, legs, given)  # before it is solved
    grids = [_laid(port, [whole, *legs], unknowns, fine=fine) for fine in (True, False)]
    tubes, coarse_tubes = (grid.tubes for grid in grids)
    found = [solve_parted(grid.tubes[0], grid.tubes[1:], given, whole.density, grid.room) for grid in grids]
    fine, coarse = found
    growth = coarse_tubes[0].size.cell / tubes[0].size.cell - 1.0
    edges = _edges(port, tubes)
    through = [whole, *_shared(port, legs, fine.shares)]
    shares_error = np.abs(fine.shares - coarse.shares) / growth
    of_shape = shares_u(fine.shares, surveys[1:]) if surveys and given is None else None
    spans = [(s.path.first, s.path.last - max(edges.felt)) for s in through[:1]]
    spans += [(s.path.first + felt, s.path.last) for s, felt in zip(through[1:], edges.felt, strict=True)]

    @cache
    def turned() -> list[WallSpeed]:
        on = _laid(port, through, unknowns, fine=False, turning=True)
        flow_on = solve_parted(on.tubes[0], on.tubes[1:], fine.shares, whole.density, on.room)
        return [between(wall, *span) for wall, span in zip(_walls(through, on, flow_on), spans, strict=True)]

    def turned_on(k: int) -> WallSpeed:
        return turned()[k]

    walls = [_walls(through, grid, parted) for grid, parted in zip(grids, found, strict=True)]
    come = float(np.trapezoid(whole.means_through(whole.net) ** 3, whole.close * 1e-3))
    airs = [
        air_on(
            stream, between(walls[0][k], *spans[k]), between(walls[1][k], *spans[k]),
            surveys=surveys[k : k + 1], kept_up=partial(turned_on, k), before=come if k else 0.0,
        )
        for k, stream in enumerate(through)
    ]  # fmt: skip
    if edges.thickness is None:
        shoulders = [_in_room(through[k], grids, found, edges.nose, k, flow) for k in range(1, len(through))]
    else:
        shoulders = [
            _shoulder(through[k], [wall[k] for wall in walls], _neighbour(tubes, k), edges.felt[k - 1])
            for k in range(1, len(through))
        ]
    return SplitAir(
        port=port,
        flow=flow,
        shares=fine.shares,
        shares_error=shares_error,
        shares_u=None if of_shape is None else np.hypot(of_shape, shares_error / GRID_U),
        given=given is not None,
        trunk=airs[0],
        legs=tuple(airs[1:]),
        shoulders=tuple(shoulders),
        nose=edges.nose,
        thickness=edges.thickness,
    )


def _shared(port: SplitPort, legs: Sequence[Stream], shares: FloatArray) -> list[Stream]:
    """Return legs' streams with their shares. Raises InputError for a leg through which no air can make so much."""
    streams = []
    for leg, stream, share in zip(port.legs, legs, shares, strict=True):
        own = replace(stream, flow=stream.flow * float(share))
        with _in_passage(leg.name):
            refuse_absurd(own.flow, float(own.net[own.least]), own.air, port.display)
        streams.append(own)
    return streams


@contextmanager
def _in_passage(name: str) -> Iterator[None]:
    """Name the passage in a refusal."""
    try:
        yield
    except PortgeoError as refusal:
        place = ", ".join(part for part in (name, refusal.where) if part)
        raise type(refusal)(refusal.what, hint=refusal.hint, file=refusal.file, where=place) from None


def _walls(streams: Sequence[Stream], grids: Grids, found: Parted) -> list[WallSpeed]:
    """Return the speeds on the wall of trunk and legs."""
    each = zip(streams, grids.tubes, found.values, found.flux, strict=True)
    return [stream.over_means(speeds_on(tube, values, flux)) for stream, tube, values, flux in each]


@dataclass(frozen=True)
class Grids:
    """The grids of trunk and legs, and of a scan's junction."""

    tubes: list[Tube]
    room: Room | None


def _laid(port: SplitPort, streams: Sequence[Stream], unknowns: int, *, fine: bool, turning: bool = False) -> Grids:
    """Return the grids, or such as have cells twice as large. turning : past the openings, as `run_on` has it."""
    tubes = []
    for k, (passage, stream) in enumerate(zip(port.passages, streams, strict=True)):
        with _in_passage(passage.name):
            sizing = stream_sizing(stream)
            size = size_for(sizing, unknowns)
            size = size if fine else coarser(sizing, size)
            lay = tube_of if port.junction is None else tube_to_junction
            tubes.append(lay(stream.path, size, trunk=k == 0, turning=turning))
    if port.junction is None:
        return Grids(tubes, None)
    spacing = ROOM * min(tube.size.cell for tube in tubes)
    return Grids(tubes, room_of(port.mesh, port.junction.nose, tubes[0], tubes[1:], spacing))


def _edges(port: SplitPort, tubes: Sequence[Tube]) -> Edges:
    """Return the divider, of readings in the plane of the split."""
    if port.junction is not None:
        return Edges(port.junction.nose, None, (0.0,) * (len(tubes) - 1))
    end = tubes[0].sections[-1]
    trunk = port.trunk

    def drawn(tube: Tube) -> shapely.Polygon:
        section = tube.sections[0]
        there = trunk.from_source(tube.to_source(section.in_space(section.outline)))
        return shapely.Polygon((there - end.origin) @ end.frame[1:].T)

    legs = [drawn(tube) for tube in tubes[1:]]
    around = shapely.Polygon(end.outline).exterior
    one, other = min(combinations(legs, 2), key=lambda pair: pair[0].distance(pair[1]))
    across = shapely.LineString([one.centroid, other.centroid])
    between_them = across.difference(shapely.union(one, other))
    middle = (across.intersection(one.exterior) if between_them.is_empty else between_them).centroid
    nose = trunk.to_source(end.in_space(np.array([[middle.x, middle.y]])))[0]
    felt = []
    for k, leg in enumerate(legs):
        others = shapely.union_all([around, *legs[:k], *legs[k + 1 :]])
        step = float(shapely.distance(shapely.points(np.asarray(leg.exterior.coords)), others).max())
        felt.append(min(EDGE_FELT * step, MOST_FELT * float(np.sqrt(leg.area))))
    return Edges(nose, one.distance(other), tuple(felt))


def _neighbour(tubes: Sequence[Tube], k: int) -> FloatArray:
    """Return the direction (3,), in a leg's own frame, from where it begins to where the nearest other leg does."""
    begins = [tube.to_source(tube.middle[0]) for tube in tubes]
    others = [begin - begins[k] for j, begin in enumerate(begins) if j not in (0, k)]
    nearest = min(others, key=lambda way: float(np.linalg.norm(way)))
    return np.asarray(tubes[k].path.ports[0].frame[:3, :3] @ nearest)


def _shoulder(stream: Stream, walls: Sequence[WallSpeed], towards: FloatArray, felt: float) -> Shoulder:
    """Return the speed so far past the split on a leg's wall towards its neighbour. walls : all of it, on two grids."""
    station = stream.path.first + felt
    mean = float(stream.means_at(np.array([station]))[0])
    over, points = [], []
    for wall in walls:
        line, there = line_towards(wall, np.repeat(towards[None], len(wall.stations), axis=0))
        over.append(float(np.interp(station, wall.stations, line)))
        points.append(np.array([np.interp(station, wall.stations, axis) for axis in there.T]))
    fine, coarse = walls
    error = abs(over[0] - over[1]) * mean / (coarse.cell / fine.cell - 1.0)
    ring = int(np.searchsorted(fine.stations, station))
    clock = float(hours_of(fine.sections[ring].frame[1:] @ (points[0] - fine.middle[ring])))
    return Shoulder(Peak(over[0] * mean, error, over[0], station, clock, points[0]), felt)


def _in_room(
    stream: Stream, grids: Sequence[Grids], found: Sequence[Parted], nose: FloatArray, k: int, flow: float
) -> Shoulder:
    """Return the fastest place on a scan's divider near its nose, on the side of leg k, from 1. On two grids."""
    tubes = grids[0].tubes
    begins = [tube.to_source(tube.middle[0]) for tube in tubes[1:]]
    side = begins[k - 1] - np.mean(begins, axis=0)
    reach = ROUND * float(np.sqrt(tubes[k].area[0]))
    speeds, places = [], []
    for grid, parted in zip(grids, found, strict=True):
        assert grid.room is not None and parted.in_room is not None
        off = grid.room.mesh.points[grid.room.wall] - nose
        near = grid.room.wall[(np.linalg.norm(off, axis=1) < reach) & (off @ side > 0.0)]
        speed = grid.room.speeds(parted.in_room, near) * (flow * 1e6)
        top = int(np.argmax(speed))
        speeds.append(float(speed[top]))
        places.append(grid.room.mesh.points[near[top]])
    station = float(tubes[k].size.rings[0])
    point = tubes[k].from_source(places[0])
    mean = float(stream.means_at(np.array([station]))[0])
    section = tubes[k].sections[0]
    clock = float(hours_of(section.frame[1:] @ (point - tubes[k].middle[0])))
    error = abs(speeds[0] - speeds[1]) / (grids[1].tubes[k].size.cell / tubes[k].size.cell - 1.0)
    return Shoulder(Peak(speeds[0], error, speeds[0] / mean, station, clock, point), 0.0)
