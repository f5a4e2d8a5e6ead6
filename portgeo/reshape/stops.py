"""What stood in the way: which limit stops the cut where, and what each costs in wanted area.

The wall grid, the limits and the cut come in; Stops and notices for the person go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.plane import FloatArray
from portgeo.reshape.grid import WallGrid, areas_after
from portgeo.reshape.limits import Limit, together
from portgeo.reshape.shortside import ShortSideCut
from portgeo.reshape.target import ShortSideWanted
from portgeo.units import Notice

SHORT = 0.001  # of an area: what counts as missed
OVER = 0.003  # of an area: what counts as more than was wanted
TOUCHES_MM = 0.005  # a cut this close to a limit is stopped by it
LIFTED_MM = 5.0  # a limit lifted to see what it costs lets the cut go this much past where it is
SAME_STRETCH_MM = 12.0  # stations closer than this are one remark


@dataclass(frozen=True)
class Stop:
    """Where a limit stops the cut.

    row, column : the place on the grid. station, clock : the same for a person. limit : its name.
    depth : of the cut there, square to the wall. short : share of the wanted area missed, 0 where
    none is. gain : the share this limit alone costs.
    """

    row: int
    column: int
    station: float
    clock: float
    limit: str
    depth: float
    short: float
    gain: float


def oclock(hours: float) -> str:
    """Return a clock position as a person says it, to the half hour."""
    half = round(hours * 2.0) % 24
    whole = half // 2 or 12
    return f"{whole} o'clock" if half % 2 == 0 else f"half past {whole} o'clock"


def find_stops(
    grid: WallGrid, limits: Sequence[Limit], travel: FloatArray, wanted: FloatArray, area: FloatArray
) -> list[Stop]:
    """Return where limits stop the cut: one for each area missed, then one for each limit touched.

    What a limit costs is what the section's area would gain, up to the wanted area, were it lifted
    and all others held. Limits that metal sets are named before those that the user chose.
    """
    stops: list[Stop] = []
    all_limits = together(limits, travel.shape)
    short = np.nan_to_num(1.0 - area / wanted, nan=0.0)
    short[short < SHORT] = 0.0
    held = [together([b for b in limits if b is not a], travel.shape) for a in limits]
    for row in np.flatnonzero(short).tolist():
        gains = []
        for others in held:
            lifted = np.minimum(others, all_limits + LIFTED_MM)
            gained = areas_after(grid, np.maximum(lifted, travel))[row]
            gains.append(float((min(gained, wanted[row]) - area[row]) / wanted[row]))
        hard = [0.0 if limit.chosen else gain for limit, gain in zip(limits, gains, strict=True)]
        worst = int(np.argmax(hard if max(hard) > SHORT else gains))
        column = _tightest(limits[worst].depth[row], all_limits[row], travel[row])
        stops.append(_stop(grid, row, column, limits[worst].name, travel, float(short[row]), gains[worst]))
    for one in limits:
        touched = (travel > TOUCHES_MM) & (travel > one.depth - TOUCHES_MM)
        if touched.any() and not any(s.limit == one.name for s in stops):
            row, column = divmod(int(np.argmax(np.where(touched, travel, -1.0))), travel.shape[1])
            stops.append(_stop(grid, row, column, one.name, travel, 0.0, 0.0))
    return stops


def _tightest(own: FloatArray, limit: FloatArray, travel: FloatArray) -> int:
    """Return the place (of m) where this limit, being the one that counts, allows least."""
    counts = own <= limit + TOUCHES_MM
    return int(np.argmin(np.where(counts, own, np.inf))) if counts.any() else int(np.argmax(travel))


def _stop(grid: WallGrid, row: int, column: int, name: str, travel: FloatArray, short: float, gain: float) -> Stop:
    return Stop(
        row=int(row),
        column=column,
        station=float(grid.stations[row]),
        clock=float(grid.clock[row, column]),
        limit=name,
        depth=float(travel[row, column] * grid.lean[row, column]),
        short=short,
        gain=gain,
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
                f"station {{at}}, {oclock(stop.clock)}: {stop.limit} stops the cut at {{depth}}; "
                f"target area missed by {stop.short:.1%} ({{got}} of {{wanted}})",
                {"at": stop.station, "depth": stop.depth},
                {"got": float(area[stop.row]), "wanted": float(wanted[stop.row])},
            )
        )
    over = np.nan_to_num(area / wanted - 1.0, nan=0.0)
    if over.max() > OVER:
        row = int(np.argmax(over))
        today = grid.areas[row] >= area[row] * (1.0 - OVER)
        why = (
            "the port is that large already" + ("" if both_ways else " and metal cannot be put back")
            if today
            else "the short side or the shape asked for takes more there"
        )
        found.append(
            Notice(
                "area_over",
                f"station {{at}}: the area comes out {over[row]:.1%} over the target ({{got}} for {{wanted}}); {why}",
                {"at": float(grid.stations[row])},
                {"got": float(area[row]), "wanted": float(wanted[row])},
            )
        )
    return found


def short_side_notices(
    grid: WallGrid, wanted: ShortSideWanted, cut: ShortSideCut, limits: Sequence[Limit]
) -> list[Notice]:
    """Return notices for a short side that falls short of its radius, or has it already."""
    if cut.stopped_at is not None:
        row, column = cut.stopped_at
        name = limits[int(np.argmin([limit.depth[row, column] for limit in limits]))].name
        depth = float(min(limit.depth[row, column] for limit in limits) * grid.lean[row, column])
        return [
            Notice(
                "short_side_missed",
                f"short side: {{radius}} of the {{wanted}} radius wanted; at station {{at}}, "
                f"{oclock(float(grid.clock[row, column]))}, {name} stops the cut at {{depth}}",
                {
                    "radius": cut.radius,
                    "wanted": wanted.radius,
                    "at": float(grid.stations[row]),
                    "depth": depth,
                },
            )
        ]
    if cut.stopped_by_stations:
        return [
            Notice(
                "short_side_missed",
                "short side: {radius} of the {wanted} radius wanted; a larger arc would not begin and end "
                "between the stations it may use",
                {"radius": cut.radius, "wanted": wanted.radius},
            )
        ]
    if not cut.depth.any():
        return [
            Notice(
                "short_side_there",
                "the short side has the radius wanted, {wanted}, already",
                {"wanted": wanted.radius},
            )
        ]
    return []
