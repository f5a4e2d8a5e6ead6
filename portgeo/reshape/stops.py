"""What stood in the way: which limit stops the cut where, and what each costs in wanted area.

The wall grid, the limits and the cut come in; Stops and notices for the person go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import MM_PER_INCH, clock_text
from portgeo.reshape.grid import WallGrid, areas_after
from portgeo.reshape.limits import Limit, together
from portgeo.reshape.shortside import ShortSideCut
from portgeo.reshape.solve import mirrored
from portgeo.reshape.target import ShortSideWanted

SHORT = 0.001  # of an area: what counts as missed
OVER = 0.003  # of an area: what counts as more than was wanted
FAR_OVER = 1.0  # of an area: more is a slip in the target
TOUCHES_MM = 0.005  # a cut this close to a limit is stopped by it
LIFTED_MM = 5.0  # a limit lifted to see what it costs lets the cut go this much past where it is
NOTHING_MM = 0.0127  # half a thousandth of an inch
ALIKE = "left and right being alike"
ROUNDED = "the short side's radius"
FADES = "the length over which the cut fades"
UNMEASURED = "the unmeasured wall"
PLACES = 2  # decimals of a millimetre to which two places are alike
SAME_STRETCH_MM = 12.0  # stations closer than this are one remark


@dataclass(frozen=True)
class Stop:
    """Where a limit stops the cut.

    row, column : the place on the grid. station, clock : the same for a person. limit : its name.
    depth : of the cut there, square to the wall. short : share of the wanted area missed, 0 where
    none is. gain : the share this limit alone costs. also : what else costs area there, by name.
    all_round : whether it stops the cut all round the section. unmeasured : whether it is the wall
    limit for want of a reading.
    """

    row: int
    column: int
    station: float
    clock: float
    limit: str
    depth: float
    short: float
    gain: float
    also: tuple[tuple[str, float], ...] = ()
    all_round: bool = False
    unmeasured: bool = False

    @property
    def place(self) -> str:
        """Where round the section, for a person."""
        return "all round" if self.all_round else clock_text(self.clock)

    @property
    def notice(self) -> Notice:
        """What stops the cut there."""
        return stop_notice(self.limit, self.depth, self.unmeasured)


def stop_notice(limit: str, depth: float, unmeasured: bool) -> Notice:
    """Return how a limit stops a cut at a place."""
    nothing = depth < NOTHING_MM
    if unmeasured:
        return Notice("stop", case="unmeasured" if nothing else "far", depth=depth)
    return Notice("stop", case="none" if nothing else "depth", limit=limit, depth=depth)


def find_stops(
    grid: WallGrid,
    limits: Sequence[Limit],
    travel: FloatArray,
    wanted: FloatArray,
    area: FloatArray,
    *,
    symmetric: bool = False,
    rounded: bool = False,
) -> list[Stop]:
    """Return where limits stop the cut: one for each area missed, then one for each limit touched.

    What a limit costs is what the section's area would gain, up to the wanted area, were it lifted
    and all others held. What is missed though the limits would let it be reached is put down to what
    ties places together: the sides being alike (`symmetric`), the short side's radius (`rounded`),
    else the fading of the cut. Limits that metal sets are named before those that the user chose.
    """
    stops: list[Stop] = []
    all_limits = together(limits, travel.shape)
    short = np.nan_to_num(1.0 - area / wanted, nan=0.0)
    short[short < SHORT] = 0.0
    for row in np.flatnonzero(short).tolist():

        def reached(depth: FloatArray, row: int = row) -> float:
            return min(float(areas_after(grid, np.maximum(depth, travel))[row]), float(wanted[row]))

        most = reached(all_limits)
        costs = [
            (reached(np.minimum(others, all_limits + LIFTED_MM)) - most) / wanted[row]
            for others in (together([b for b in limits if b is not a], travel.shape) for a in limits)
        ]
        hard = [0.0 if limit.chosen else cost for limit, cost in zip(limits, costs, strict=True)]
        worst = int(np.argmax(hard if max(hard) > SHORT else costs))
        alike = reached(np.minimum(all_limits, mirrored(all_limits))) if symmetric else most
        ties = [
            (ALIKE, (most - alike) / wanted[row]),
            (ROUNDED if rounded else FADES, (alike - float(area[row])) / wanted[row]),
        ]
        named = [(limit.name, cost) for limit, cost in zip(limits, costs, strict=True)]
        one = named[worst] if max(costs) > SHORT else max(ties, key=lambda tie: tie[1])
        also = sorted((c for c in [*named, *ties] if c is not one and c[1] > SHORT), key=lambda cost: -cost[1])
        limit = limits[worst] if one is named[worst] else None
        # It costs area where nothing else stops the cut as early.
        others = together([b for b in limits if b is not limit], travel.shape)
        alone = others[row] > all_limits[row] + TOUCHES_MM
        stops.append(_stop(grid, row, limit, one, all_limits, travel, float(short[row]), tuple(also), alone))
    for one_limit in limits:
        # A limit that touches the cut over less than half an hour of the clock holds nothing that a hand would feel.
        touched = (travel > TOUCHES_MM) & (travel > one_limit.depth - TOUCHES_MM) & _spoken(grid)
        if touched.any() and not any(s.limit == one_limit.name for s in stops):
            # Where it holds the deepest cut: a cut fades to nothing beside it, and there the limit is no news.
            deepest = np.where(touched, travel * grid.lean, -1.0)
            row, column = (int(k) for k in np.unravel_index(int(np.argmax(deepest.round(PLACES))), deepest.shape))
            stops.append(_stop_at(grid, row, column, one_limit, (one_limit.name, 0.0), travel, 0.0))
    return stops


def _stop(
    grid: WallGrid,
    row: int,
    limit: Limit | None,
    cost: tuple[str, float],
    all_limits: FloatArray,
    travel: FloatArray,
    short: float,
    also: tuple[tuple[str, float], ...],
    meant: np.ndarray,
) -> Stop:
    """Return a stop at the place of a row where a limit, being the one that counts, allows least.

    meant : (m,), the places that the stop is about, as far as the limit counts at any of them. Without a
    limit, where the cut is deepest.
    """
    square = travel[row] * grid.lean[row]
    if limit is None:
        here = np.ones(len(square), dtype=bool)
        allowed = -square
    else:
        here = (limit.depth[row] <= all_limits[row] + TOUCHES_MM) & (travel[row] > limit.depth[row] - TOUCHES_MM)
        allowed = np.where(np.isfinite(limit.depth[row]), limit.depth[row] * grid.lean[row], LIFTED_MM)
        here = here & meant if (here & meant).any() else here
    if not here.any():
        here[:] = True
    all_round = limit is not None and bool(here.all())
    spoken = here & _spoken(grid)[row]
    here = spoken if spoken.any() else here
    # Of places alike to a hundredth, the one nearest to the middle of a wall.
    off = np.abs(grid.share - np.round(grid.share))
    column = min(np.flatnonzero(here).tolist(), key=lambda k: (round(float(allowed[k]), PLACES), float(off[k])))
    return _stop_at(grid, row, column, limit, cost, travel, short, also, all_round)


def _spoken(grid: WallGrid) -> NDArray[np.bool_]:
    """Return which places (n, m) lie at a half hour: what is told of one is then what the tables have there."""
    halves = 2.0 * grid.clock
    return np.asarray(np.abs(halves - np.round(halves)) <= 12.0 / len(grid.share))


def _stop_at(
    grid: WallGrid,
    row: int,
    column: int,
    limit: Limit | None,
    cost: tuple[str, float],
    travel: FloatArray,
    short: float,
    also: tuple[tuple[str, float], ...] = (),
    all_round: bool = False,
) -> Stop:
    unmeasured = limit is not None and limit.unmeasured is not None and bool(limit.unmeasured[row, column])
    return Stop(
        row=row,
        column=column,
        station=float(grid.stations[row]),
        clock=float(grid.clock[row, column]),
        limit=cost[0],
        depth=float(travel[row, column] * grid.lean[row, column]),
        short=short,
        gain=cost[1],
        also=also,
        all_round=all_round,
        unmeasured=unmeasured,
    )


def area_notices(
    grid: WallGrid, stops: Sequence[Stop], wanted: FloatArray, area: FloatArray, both_ways: bool
) -> list[Notice]:
    """Return notices for areas missed, and for those that come out larger than wanted."""
    found = []
    told: list[float] = []
    for stop in sorted((s for s in stops if s.short), key=lambda s: -s.short):
        if any(abs(stop.station - station) < SAME_STRETCH_MM for station in told):
            continue
        told.append(stop.station)
        found.append(
            Notice(
                "area_missed",
                case="several" if stop.also else "one",
                station=stop.station,
                clock=None if stop.all_round else stop.clock,
                stop=stop.notice,
                short=stop.short,
                area=area[stop.row],
                wanted=wanted[stop.row],
                costs=_costs(stop),
            )
        )
    over = np.nan_to_num(area / wanted - 1.0, nan=0.0)
    if over.max() > OVER:
        row = int(np.argmax(over))
        today = grid.areas[row] >= area[row] * (1.0 - OVER)
        case = "needed" if not today else "already" if both_ways else "for_good"
        if today and over[row] > FAR_OVER:
            case = "inches" if 0.5 < area[row] / (wanted[row] * MM_PER_INCH**2) < 2.0 else "slip"
        station, got, asked = grid.stations[row], area[row], wanted[row]
        found.append(Notice("area_over", case=case, station=station, over=over[row], area=got, wanted=asked))
    return found


def _costs(stop: Stop) -> tuple[tuple[str, float], ...]:
    """Return what each thing costs by itself, a name and the share of the wanted area."""
    return (UNMEASURED if stop.unmeasured else stop.limit, stop.gain), *stop.also


def short_side_notices(
    grid: WallGrid, wanted: ShortSideWanted, cut: ShortSideCut, radius: float, limits: Sequence[Limit]
) -> list[Notice]:
    """Return notices for a short side that falls short of its radius, or has it already.

    radius : the one that it will measure.
    """
    if cut.stopped_at is not None:
        row, column = cut.stopped_at
        limit = min(limits, key=lambda each: float(each.depth[row, column]))
        depth = float(np.maximum(limit.depth[row, column], 0.0) * grid.lean[row, column])
        clock = float(grid.clock[row, column])
        unmeasured = limit.unmeasured is not None and bool(limit.unmeasured[row, column])
        stop = Stop(row, column, float(grid.stations[row]), clock, limit.name, depth, 0.0, 0.0, unmeasured=unmeasured)
        return [
            Notice(
                "short_side_missed",
                case="limit" if cut.depth.any() else "limit_uncut",
                radius=radius,
                wanted=wanted.radius,
                station=stop.station,
                clock=stop.clock,
                stop=stop.notice,
            )
        ]
    if cut.stopped_by_stations:
        case = "stations" if cut.depth.any() else "stations_uncut"
        return [Notice("short_side_missed", case=case, radius=radius, wanted=wanted.radius)]
    if not cut.depth.any():
        return [Notice("short_side_there", wanted=wanted.radius)]
    return []
