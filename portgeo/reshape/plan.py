"""The cut plan: target and limits put together, solved, and told in full.

A Port, a Target and its limits come in; the depth at every place of the wall, the port as it will be,
the metal to come out and what stood in the way go out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.triangles import volume
from portgeo.core.units import MILLIMETRES, Display
from portgeo.measuring.scan_uncertainty import volume_inside
from portgeo.measuring.schedule import survey
from portgeo.measuring.throat import throat_of, unmarked
from portgeo.reshape.apart import quieted, sure_cut, wall_positions
from portgeo.reshape.boss import opened
from portgeo.reshape.grid import WallGrid, areas_after, moved, port_after, volume_after, wall_grid
from portgeo.reshape.limits import (
    AT_THROAT_MM,
    Limit,
    MetalBetween,
    WallLeft,
    chosen_limits,
    throat_kept,
    together,
    wall_unknown,
)
from portgeo.reshape.shortside import BEND_SLACK, RADIUS_STEP, ShortSideCut, fairness, rounded_again, short_side_cut
from portgeo.reshape.solve import Fairness, Solution, blend_of, solve
from portgeo.reshape.stops import Stop, area_notices, find_stops, short_side_notices
from portgeo.reshape.target import Target, check_areas, check_target, wanted_areas, wanted_stations

NODE_MM, MOST_NODES, LEAST_NODES = 2.5, 61, 25  # along the port: unknowns of the cut
NODES_ROUND = 48
RING_MM = 0.9  # between rings of the mesh and of every check
PLACES_ROUND = 240  # a multiple of NODES_ROUND and of 4
ROUND_ENOUGH_MM = 0.005  # the short side's arc is fair again when rounding it takes no more than this
LARGEST_GAP = 0.01  # of the cost: more is told
LEAST_CUT_MM = 1e-3  # less is the solver's rounding, and no tool takes it
SURE_NOISES = 2.0  # of two scans' noise together, once it is quieted: a difference that is there
UNLIKE_NOISES = 4.0
UNLIKE_MM = 0.1  # a wanted shape inside today's wall by more than this is told

CAUTIONS = (
    "Wall readings are samples and castings shift: section a scrap casting, or sonic-test, before deep cuts.",
    "Wear eye and ear protection and a mask for fine metal dust: aluminum and iron dust harm lungs.",
    "Check depth often near the end; metal cannot be put back.",
)  # *common practice, no source*


@dataclass(frozen=True)
class InWhole:
    """What a passage is part of: its name; volume of all of the port that splits, mm3, as a burette fills it; and how
    far from the entry, mm, a tape along roof and floor is (2,) where the passage begins."""

    name: str
    volume: float
    tape: FloatArray


@dataclass(frozen=True)
class Plan:
    """A cut and what it leads to.

    grid : the wall at n stations and m places. depth : (n, m), square to the wall, negative for
    epoxy. travel : (n, m), the same along the way the grid's places move. limit : (n, m), the most
    that `travel` may be. wanted : (n,) areas, nan where none is. area_before, area_after : (n,). throat_area : what
    percentages are of.
    after : the port as it will be. removed, added : mm3. volume_before : mm3 today.
    radius_cut : what the short side will measure, None where it stays as it is; radius_u : how sure, one standard
    deviation, nan where that was not worked out. walls_left : where the wall
    was read, the least first. wall_unknown : (n, m), where nothing read says how thick the wall is. solution : None
    where the cut was not found as the smallest for its areas.
    """

    port: Port
    target: Target
    grid: WallGrid
    depth: FloatArray
    travel: FloatArray
    limit: FloatArray
    wanted: FloatArray
    area_before: FloatArray
    throat_area: float
    area_after: FloatArray
    after: Port
    removed: float
    added: float
    volume_before: float
    short_side: ShortSideCut | None
    radius_cut: float | None
    solution: Solution | None
    stops: tuple[Stop, ...]
    warnings: tuple[Notice, ...]
    wall_unknown: NDArray[np.bool_]
    walls_left: tuple[WallLeft, ...] = ()
    between: tuple[MetalBetween, ...] = ()
    radius_u: float = float("nan")
    whole: InWhole | None = None

    @property
    def burette(self) -> tuple[float, float]:
        """What the port holds now and when finished, mm3: all of it where this is one passage of it."""
        now = self.volume_before if self.whole is None else self.whole.volume
        return now, now + self.removed - self.added


def planning_grid(port: Port, target: Target) -> tuple[WallGrid, IntArray]:
    """Return the fine wall grid for a plan, and which of its rows (k,) are unknowns of the cut."""
    first, last = port.centreline.stations[[0, -1]]
    count = int(np.clip(np.ceil((last - first) / NODE_MM) + 1, LEAST_NODES, MOST_NODES))
    even, named = np.linspace(first, last, count), np.clip(wanted_stations(target), first, last)
    throat = port.marked("throat")
    named = np.concatenate([named, throat[np.abs(throat[:, None] - named).min(axis=1, initial=np.inf) > AT_THROAT_MM]])
    gap = (last - first) / (count - 1)
    # A named station takes the place of a measured or an even one that stands close by, a measured one of an even.
    for others in (port.rows, even):
        named = np.concatenate([named, [s for s in others if len(named) == 0 or np.abs(s - named).min() > 0.4 * gap]])
    inside = named[(named - first > 1e-6) & (last - named > 1e-6)]
    nodes = np.unique(np.concatenate([[first], inside, [last]]))
    pieces = np.maximum(np.ceil(np.diff(nodes) / RING_MM).astype(int), 1)
    stations = np.concatenate(
        [
            *(np.linspace(a, b, n + 1)[:-1] for a, b, n in zip(nodes[:-1], nodes[1:], pieces, strict=True)),
            nodes[-1:],
        ]
    )
    return wall_grid(port, stations, PLACES_ROUND), np.concatenate([[0], np.cumsum(pieces)])


@dataclass(frozen=True)
class Room:
    """Where a port may be cut, and how deep.

    grid : the wall at n stations and m places; rows (k,) of it are unknowns of a plan. limit (n, m) : the least of
    `limits`, along the way the grid's places move. throat_area : what percentages are of.
    """

    grid: WallGrid
    rows: IntArray
    limits: tuple[Limit, ...]
    limit: FloatArray
    throat_area: float
    notices: tuple[Notice, ...]


def room_for(
    port: Port, target: Target, limits_of: Sequence[Callable[[WallGrid], Limit]] = (), *, free_throat: bool = False
) -> Room:
    """Return where a port may be cut within a target's limits and others.

    limits_of : functions from the wall grid to a Limit. free_throat : a marked throat is not held.
    """
    grid, rows = planning_grid(port, target)
    throat = throat_of(port, grid.stations, grid.areas)
    throat_area = target.throat_area or throat.area
    limits = [*chosen_limits(grid, target), *(make(grid) for make in limits_of)]
    if not free_throat:
        limits += throat_kept(grid, target, throat, throat_area, at_entry=port.valve_end == "entry")
    notices: list[Notice] = []
    if target.throat_area is None and any(each.of_throat for each in target.areas):
        notices += unmarked(throat, port)
    return Room(grid, rows, tuple(limits), together(limits, grid.lean.shape), throat_area, tuple(notices))


def plan_cut(
    port: Port,
    target: Target,
    limits_of: Sequence[Callable[[WallGrid], Limit]] = (),
    like: Port | None = None,
    display: Display = MILLIMETRES,
) -> Plan:
    """Return the plan of the smallest cut that meets a target within limits.

    limits_of : functions from the wall grid to a Limit. like : a port whose shape is cut outright,
    in this port's frame. display : how a refusal shows lengths. Raises InputError for a target outside
    the port and GeometryError where the wall cannot be planned or the cut wall would fold.
    """
    check_target(target, port, display)
    room = room_for(port, target, limits_of, free_throat=like is not None)
    grid, limit = room.grid, room.limit
    check_areas(target, grid.stations, grid.areas, grid.girth, room.throat_area, display)
    lowest = np.where(limit > 0.0, -target.fill / grid.lean, 0.0)  # where no cut may go, no epoxy may either
    notices = list(room.notices)
    base = np.zeros(grid.lean.shape)
    if like is not None:
        noise = float(np.hypot(port.noise, like.noise))
        apart = quieted(grid, wall_positions(grid, port, like), noise)
        notices += _unlike(grid, apart, lowest, noise)
        base = sure_cut(grid, apart, SURE_NOISES * noise, target.blend)
    cut = None
    if target.short_side is not None:
        cut = short_side_cut(grid, target.short_side, limit)
        base = np.maximum(base, cut.depth)
    base = np.clip(base, lowest, limit)

    wanted = np.full(len(grid.stations), np.nan)
    wanted[room.rows] = wanted_areas(target, grid.stations[room.rows], room.throat_area)
    columns = np.arange(0, PLACES_ROUND, PLACES_ROUND // NODES_ROUND)
    blend = blend_of(grid, room.rows, columns)
    fair = fairness(grid, blend, base, cut.radius) if cut is not None and cut.radius > 0.0 else None

    def solved(fair: Fairness | None) -> Solution:
        return solve(grid, blend, base, limit, lowest, wanted, target.blend, symmetric=target.symmetric, fair=fair)

    if cut is None or fair is None:
        solution = solved(None)
    else:
        solution, rounded = _rounded(grid, solved(replace(fair, most=fair.most + BEND_SLACK)), cut, limit)
        if rounded.radius < cut.radius:
            # A limit leaves no metal to round the slack off: there is none to be had.
            solution, rounded = _rounded(grid, solved(fair), cut, limit)
        cut = rounded
    plan = plan_of(port, target, room, solution.depth, wanted=wanted, short_side=cut, solution=solution)
    stops = find_stops(
        grid, room.limits, plan.travel, wanted, plan.area_after,
        symmetric=target.symmetric, rounded=fair is not None,
    )  # fmt: skip
    notices += [
        *plan.warnings,
        *area_notices(grid, stops, wanted, plan.area_after, target.fill > 0.0),
    ]
    if target.short_side and cut:
        got = _radius_got(plan.after, cut)
        notices += short_side_notices(grid, target.short_side, cut, got, room.limits)
        plan = replace(plan, radius_cut=got if cut.depth.any() else None)
    if solution.gap > LARGEST_GAP:
        notices.append(Notice("not_optimal", gap=solution.gap))
    return replace(plan, stops=tuple(stops), warnings=tuple(notices))


def plan_of(
    port: Port,
    target: Target,
    room: Room,
    travel: FloatArray,
    *,
    wanted: FloatArray | None = None,
    short_side: ShortSideCut | None = None,
    solution: Solution | None = None,
) -> Plan:
    """Return a cut (n, m) as a plan: the port that it leaves, its areas and its metal.

    Raises GeometryError where the cut wall would fold.
    """
    grid = room.grid
    travel = np.where(np.abs(travel) < LEAST_CUT_MM, 0.0, travel)
    after = port_after(port, grid, travel)
    volumes = [volume_after(grid, t) for t in (np.zeros_like(travel), np.maximum(travel, 0.0), travel)]
    volume_before, removed = volume_inside(port), volumes[1] - volumes[0]
    added = removed - (volumes[2] - volumes[0])
    whole = opened(port, grid, travel) if grid.islands and target.fill == 0.0 else None
    notices: list[Notice] = []
    if grid.islands:
        notices.append(Notice("boss_left_out", case="target") if whole is None else Notice("boss_kept"))
    if whole is not None or not grid.islands:
        after = _with_flats(whole or after, volume_before + removed - added)
    return Plan(
        port=port,
        target=target,
        grid=grid,
        depth=travel * grid.lean,
        travel=travel,
        limit=room.limit,
        wanted=np.full(len(grid.stations), np.nan) if wanted is None else wanted,
        area_before=grid.areas,
        throat_area=room.throat_area,
        area_after=areas_after(grid, travel),
        after=after,
        removed=removed,
        added=added,
        volume_before=volume_before,
        short_side=short_side,
        radius_cut=None,
        solution=solution,
        stops=(),
        warnings=tuple(notices),
        wall_unknown=wall_unknown(room.limits, travel.shape),
    )


def _with_flats(after: Port, inside: float) -> Port:
    """Return a planned port that knows what its mesh's flats cut off the volume (mm3) that it stands for."""
    lacks = inside - volume(after.vertices, after.faces)
    return replace(after, flats=lacks / float(np.ptp(after.centreline.stations[[0, -1]])))


def _radius_got(after: Port, cut: ShortSideCut | None) -> float:
    """Return the radius that a person will measure on a cut short side, by the rule of every other radius.

    Of a scan it is the arc's own that was cut: the noise of the wall beside it would move a measured one.
    """
    if cut is None or not cut.depth.any() or after.noise > 0.0:
        return 0.0 if cut is None else cut.radius
    side = survey(after, readings_tried=False).short_side
    return cut.radius if side is None else side.radius


def _rounded(grid: WallGrid, solution: Solution, cut: ShortSideCut, limit: FloatArray) -> tuple[Solution, ShortSideCut]:
    """Return the solution with its floor rounded to the short side's radius, and the radius that leaves.

    What linear bending left is taken here, a few hundredths; a limit may leave no metal for all of it.
    """
    lowered = replace(grid, outlines=moved(grid, solution.depth))
    more = rounded_again(lowered, cut.radius)
    over = np.where(more > 0.0, solution.depth + more - limit, 0.0)
    rounded = replace(solution, depth=np.minimum(solution.depth + more, limit))
    if over.max() <= ROUND_ENOUGH_MM:
        return rounded, cut
    after = replace(grid, outlines=moved(grid, rounded.depth))
    low, high = 0.0, cut.radius
    while high - low > RADIUS_STEP * cut.radius:
        middle = (low + high) / 2.0
        low, high = (middle, high) if rounded_again(after, middle).max() <= ROUND_ENOUGH_MM else (low, middle)
    row, column = np.unravel_index(int(np.argmax(over)), over.shape)
    return rounded, replace(cut, radius=low, stopped_at=(int(row), int(column)))


def _unlike(grid: WallGrid, travel: FloatArray, lowest: FloatArray, noise: float) -> list[Notice]:
    """Return a notice where the wanted shape lies inside today's wall, and no epoxy may go there."""
    inside = (lowest - travel) * grid.lean
    if inside.max() < max(UNLIKE_MM, UNLIKE_NOISES * noise):
        return []
    row, column = np.unravel_index(int(np.argmax(inside)), inside.shape)
    station, clock = grid.stations[row], grid.clock[row, column]
    return [Notice("smaller_than_today", by=inside.max(), station=station, clock=clock)]
