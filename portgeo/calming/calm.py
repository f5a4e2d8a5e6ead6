"""The cuts that calm the air: for each amount of metal the one that does most, and what each further cc buys.

A port, a flow, what may be cut and how the aim is weighed come in; the cuts, their air and what holds them back go out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from portgeo.calming.aim import Aim, along_wall, wall_weights
from portgeo.calming.air import CutAir, cut_airs
from portgeo.calming.cuts import cuts_within
from portgeo.calming.laying import flow_grids
from portgeo.calming.search import METAL_EXACT, Place, Search, Worth
from portgeo.core.notices import Notice
from portgeo.core.port import Port
from portgeo.core.units import MILLIMETRES, Display
from portgeo.flow.airspeed import GRID_U, AirSpeed, Peak, air_speed
from portgeo.flow.gas import STANDARD
from portgeo.flow.path import path_of
from portgeo.flow.wall import size_for, sizing_of
from portgeo.measuring.schedule import Survey
from portgeo.measuring.throat import throat_of
from portgeo.reshape.grid import WallGrid
from portgeo.reshape.limits import Limit
from portgeo.reshape.plan import NODES_ROUND, PLACES_ROUND, Plan, Room, plan_of, room_for
from portgeo.reshape.solve import plate_energy
from portgeo.reshape.target import Target, check_target, wanted_areas

UNKNOWNS = 12_000  # of the search's grid: cells under half a bump; what is told is solved anew on the usual one
# Of the wall's nodes round the port, so many a bump at the least. With one, the cut is fluted to please the grid: the
# demo's peak fell by 17.4 m/s for 0.93 cc, on a grid of ten times the nodes, where these take 18.7. With more, no bump
# has its place on a floor alone.
NODES_A_BUMP = 4.0 / 3.0
# Share of the aim that is how quickly the air must slow: the load squared is some ten times as wide as the speed, so
# that the two count about alike. A choice.
SLOWING = 0.05
# Of the aim, for the energy of a cut bent as a plate is (mm2). It costs some 2 % of the gain, and what it buys is a cut
# that is the same on any grid: without it the wall is made wavy to please the grid.
ENERGY = 0.1
LEAST_SHARE, AMOUNTS = 0.2, 8  # amounts of metal, evenly from this share of all to all
WORTH_SHARE, WORTH_METAL = 0.002, 0.01  # all: until 1 % of the port more would bring less than 0.2 % of the aim
MORE_MM = 0.25  # 0.010 in: what a limit costs is told for so much more of it
NOT_COUNTED = 0.05  # of what the dearest limit costs: one that costs less holds nothing back
SURE = 2.0  # standard uncertainties: a gain of less is none
NO_GAIN = 0.15  # m/s, half a foot a second: less is told as none
BLEND, AREA = "the blend", "the area there may be"  # limits that are no depth


@dataclass(frozen=True)
class HeldBy:
    """A limit that holds a cut back: its name, where most, what MORE_MM more of it would bring off the peak, m/s.

    unmeasured : it is no more only because no wall reading is near.
    """

    name: str
    station: float
    clock: float
    gain: float
    unmeasured: bool


@dataclass(frozen=True)
class Choice:
    """The best cut for its metal: as a plan, and the air in the port that it leaves. Gain in m/s, gain_u of it.

    next_cc : what one more cc would bring at this rate, m/s.
    """

    plan: Plan
    air: CutAir
    gain: float
    gain_u: float
    held_by: tuple[HeldBy, ...]
    next_cc: float

    @property
    def sure(self) -> bool:
        """Whether the gain is more than its doubt."""
        return self.gain >= max(SURE * self.gain_u, NO_GAIN)

    @property
    def metal(self) -> float:
        """Metal that comes out, mm3."""
        return self.plan.removed


@dataclass(frozen=True)
class Calmed:
    """The cuts to choose from, least metal first, and which is chosen; none where the air is calm or nothing may go.

    today : the air as `air_speed` has it; now : on the grids that follow the cuts, as the choices have theirs.
    """

    today: AirSpeed
    now: CutAir
    choices: tuple[Choice, ...]
    chosen: int | None
    knee: int | None
    room: Room
    warnings: tuple[Notice, ...]


Progress = Callable[[str, float], None]


def calm(
    port: Port,
    flow: float,
    depression: float,
    target: Target,
    limits_of: Sequence[Callable[[WallGrid], Limit]] = (),
    *,
    slowing: float = SLOWING,
    least_speed: float | None = None,
    hold_throat: bool = False,
    metal: float | None = None,
    peak: float | None = None,
    surveys: Sequence[Survey] = (),
    display: Display = MILLIMETRES,
    progress: Progress = lambda what, share: None,
) -> Calmed:
    """Return the cuts that lower most what the air's speed on the wall is at its peak, and how quickly it must slow.

    flow : m3/s. depression : Pa. target : limits as of a plan; an area in it is the most there may be; a short side
    is not asked for. slowing : 0 to 1, its share in the aim. least_speed : m/s, the least mean speed anywhere that was
    faster before. hold_throat : its area stays. metal (mm3), peak (m/s) : what is chosen, the knee
    without either. Raises what `plan_cut` and `air_speed` do.
    """
    check_target(target, port, display)
    room = room_for(port, target, limits_of)
    bare = replace(target, areas=(), short_side=None, fill=0.0)
    progress("air now", 0.0)
    today = air_speed(path_of(port), flow, depression, display=display, surveys=surveys)
    airs = cut_airs(room.grid, today)
    now = airs.after(np.zeros(room.limit.shape))
    notices = [*room.notices, *_apart(today.highest, now.highest)]

    def nothing(why: Notice) -> Calmed:
        return Calmed(today, now, (), None, None, room, (*notices, why))

    # With the throat as it is, no cut brings the peak under the mean speed there.
    most = now.highest.speed - today.mean_through(today.throat.area)
    doubt = max(SURE * now.highest.grid_u, NO_GAIN)
    if most < doubt:
        return nothing(Notice("calm_already", gain=max(most, 0.0), u=doubt))
    search = search_in(port, flow, target, room, slowing=slowing, least_speed=least_speed, hold_throat=hold_throat)
    if not len(search.cuts.most):
        return nothing(_nothing_allowed(room))

    def choice(best: Place, worth: Worth) -> Choice:
        plan = plan_of(port, bare, room, best.travel)
        air = airs.after(best.travel, now)
        gain, u = _gain(now, air, airs.growth)
        next_cc = worth.metal * 1000.0 * today.mean_through(today.throat.area)
        return Choice(plan, air, gain, u, _held_by(search, room, best, worth, today), next_cc)

    start = search.at(np.zeros(len(search.cuts.most)))
    progress("how much can be had", 0.05)
    everything, worth = search.best(start, None, WORTH_SHARE * start.aim / (WORTH_METAL * _volume(room)))
    last = choice(everything, worth)

    def had(found: Choice) -> str:
        return f"{found.metal / 1000.0:.2f} cc takes {display.speed(found.gain)} off the peak"

    if not last.sure:
        return nothing(Notice("calm_already", gain=last.gain, u=SURE * last.gain_u))
    shares = np.linspace(LEAST_SHARE, 1.0, AMOUNTS)[:-1]
    amounts = sorted({*(shares * everything.metal).tolist(), *([metal] if metal and metal < everything.metal else [])})
    found, place = list[Choice](), start
    for k, most in enumerate(amounts):
        told = had(found[-1] if found else last)
        progress(f"{told}; looking at {most / 1000.0:.2f} cc", 0.15 + 0.78 * k / len(amounts))
        place, worth = search.best(place, most)
        found.append(choice(place, worth))
    found.append(last)
    knee = _knee(found)
    chosen = _chosen(found, knee, metal, peak)
    progress("the chosen cut on a grid of its own", 0.95)
    anew = air_speed(path_of(found[chosen].plan.after), flow, depression, display=display)
    found = _with_doubt(found, chosen, anew.highest.speed)
    if metal is not None and metal > found[chosen].metal * (1.0 + METAL_EXACT):
        notices.append(Notice("calm_metal_short", metal=metal, most=found[chosen].metal))
    if peak is not None and found[chosen].air.highest.speed > peak:
        notices.append(Notice("calm_out_of_reach", wanted=peak))
    return Calmed(today, now, tuple(found), chosen, knee, room, tuple(notices))


def _volume(room: Room) -> float:
    """Return the volume of a room's port, mm3, by its sections."""
    return float(np.trapezoid(room.grid.areas, room.grid.stations))


def search_in(
    port: Port,
    flow: float,
    target: Target,
    room: Room,
    *,
    slowing: float = SLOWING,
    least_speed: float | None = None,
    hold_throat: bool = False,
    unknowns: int = UNKNOWNS,
) -> Search:
    """Return the search for a port's best cuts within a room. flow : m3/s. unknowns : of the flow grid."""
    grid = room.grid
    size = size_for(sizing_of(path_of(port)), unknowns)
    most_around = len(size.pattern.wall) / NODES_A_BUMP
    cuts = cuts_within(grid, room.limit, target.blend, most_around, symmetric=target.symmetric)
    grids = flow_grids(grid, port, size)
    wall = grids.today.wall[grids.inside]
    throat = throat_of(port, grid.stations, grid.areas)
    reynolds = flow / (throat.area * 1e-6) / STANDARD.kinematic_viscosity
    aim = Aim(slowing, wall_weights(wall), along_wall(wall), throat.area, reynolds)
    columns = np.arange(0, PLACES_ROUND, PLACES_ROUND // NODES_ROUND)
    nodes = cuts.spread[(room.rows[:, None] * PLACES_ROUND + columns).ravel()]
    plate, bed = (plate_energy(grid, room.rows, columns, fade) for fade in (target.blend, 0.0))
    energy = ENERGY * (nodes.T @ (plate - bed) @ nodes)  # of bending alone: depth is what the metal is the price of
    ceiling = np.full(len(grid.stations), np.inf)
    if hold_throat:
        ceiling[int(np.argmin(np.abs(grid.stations - throat.station)))] = 0.0
    wanted = wanted_areas(target, grid.stations[room.rows], room.throat_area)
    ceiling[room.rows] = np.where(np.isnan(wanted), ceiling[room.rows], wanted)
    if least_speed is not None:
        ceiling[room.rows] = np.minimum(ceiling[room.rows], flow / least_speed * 1e6)
    return Search(cuts, grids, aim, np.maximum(ceiling, grid.areas), energy.tocsc())


def _gain(now: CutAir, after: CutAir, growth: float) -> tuple[float, float]:
    """Return a drop of the peak and its standard uncertainty, m/s.

    Grid and shape are the same before and after. So the drop's own difference from grid to grid is the doubt about it,
    as `air_speed` has it about a peak, and the shape's doubt goes with the drop.
    """
    gain, rough = now.highest.speed - after.highest.speed, now.rough_peak - after.rough_peak
    shape = 0.0 if now.highest.shape_u is None else now.highest.shape_u / now.highest.speed * gain
    return gain, float(np.hypot(abs(gain - rough) / growth / GRID_U, shape))


def _apart(by_itself: Peak, followed: Peak) -> list[Notice]:
    """Return what is said where the peak now is not that of a grid laid for it alone, within its ±."""
    off = SURE * (by_itself.u or by_itself.grid_u)
    if abs(by_itself.speed - followed.speed) <= max(off, NO_GAIN):
        return []
    return [Notice("calm_apart", alone=by_itself.speed, followed=followed.speed, u=off)]


def _held_by(search: Search, room: Room, best: Place, worth: Worth, today: AirSpeed) -> tuple[HeldBy, ...]:
    """Return the limits that hold a cut back, by the programme's multipliers, the one that costs most first.

    A bound of a bump is the least limit's under it; a bump that may not be cut at all is held by that of its top where
    nothing may be cut there, and by the blend where only its fading out is in the way.
    """
    speed, m = today.mean_through(today.throat.area), room.limit.shape[1]
    depths = np.stack([limit.depth.ravel() for limit in room.limits])
    by_name: dict[str, list[tuple[float, int, bool]]] = {}

    def hold(gain: float, place: int, name: str | None = None) -> None:
        holds = room.limits[int(np.argmin(depths[:, place]))]
        bare = name is None and holds.unmeasured is not None and bool(holds.unmeasured.ravel()[place])
        by_name.setdefault(name or holds.name, []).append((gain * speed, place, bare))

    limit = room.limit.ravel()
    for bump in np.flatnonzero(worth.bumps > 0.0).tolist():
        under = search.cuts.under(search.cuts.spread, bump)
        hold(float(worth.bumps[bump]) * MORE_MM, int(under[np.argmin(limit[under])]))
    for place in np.flatnonzero(worth.places > 0.0).tolist():
        hold(float(worth.places[place]) * MORE_MM, place)
    back = search.held_back(best, worth)
    for bump in np.flatnonzero(back > 0.0).tolist():
        under = search.cuts.under(search.cuts.held, bump)
        least = int(under[np.argmin(limit[under])])
        hold(float(back[bump]) * MORE_MM, least, None if limit[least] <= 0.0 else BLEND)
    for row in np.flatnonzero(worth.areas > 0.0).tolist():
        hold(float(worth.areas[row] * room.grid.girth[row]) * MORE_MM, row * m + m // 2, AREA)
    found = []
    for name, places in by_name.items():
        _, place, _ = max(places)
        row, column = divmod(place, m)
        gain = sum(each[0] for each in places)
        bare = any(each[2] for each in places)
        found.append(HeldBy(name, float(room.grid.stations[row]), float(room.grid.clock[row, column]), gain, bare))
    most = max((each.gain for each in found), default=0.0)
    return tuple(
        sorted((each for each in found if each.gain > max(NOT_COUNTED * most, NO_GAIN)), key=lambda each: -each.gain)
    )


def _nothing_allowed(room: Room) -> Notice:
    """Return the notice that the limits leave nothing to cut, with the one that holds most of the wall."""
    held = [float((limit.depth <= 0.0).mean()) for limit in room.limits]
    return Notice("calm_held", name=room.limits[int(np.argmax(held))].name)


def _with_doubt(found: Sequence[Choice], chosen: int, anew: float) -> list[Choice]:
    """Return choices whose doubt has in it what a grid laid anew in the chosen one reads otherwise, m/s.

    Two grids that follow one cut go wrong alike where both are too coarse for it: by the same share of each gain. A
    chosen gain that is lost in that difference has no share to tell; the difference itself then counts for all.
    """
    off, gain = abs(anew - found[chosen].air.highest.speed) / GRID_U, found[chosen].gain
    share = off / gain if gain > SURE * off else None
    return [
        replace(each, gain_u=float(np.hypot(each.gain_u, off if share is None else share * each.gain)))
        for each in found
    ]


def _knee(found: Sequence[Choice]) -> int:
    """Return the choice past which metal buys least: the farthest over the line from nothing to all."""
    metal = np.array([each.metal for each in found]) / found[-1].metal
    gain = np.array([each.gain for each in found]) / found[-1].gain
    return int(np.argmax(gain - metal))


def _chosen(found: Sequence[Choice], knee: int, metal: float | None, peak: float | None) -> int:
    if metal is not None:
        return int(np.argmin([abs(each.metal - metal) for each in found]))
    if peak is not None:
        enough = [k for k, each in enumerate(found) if each.air.highest.speed <= peak]
        return enough[0] if enough else len(found) - 1
    return knee
