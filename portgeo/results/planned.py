"""The result of planning a cut: every figure of it, declared once.

A Plan with its target's file and the metal's density comes in; a Planned, which is the JSON of `reshape`,
goes out. Stations between the measured ones stand at round ones of the unit that the port is shown in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import WALLS
from portgeo.core.units import Display
from portgeo.reshape.cut_table import HOURS, CutTable, cut_table
from portgeo.reshape.grid import most_place
from portgeo.reshape.plan import CAUTIONS, Plan
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks
from portgeo.results.work import optimum_text, order_of_work

HOURS_TOLD = tuple(f"{hour:.0f}" for hour in HOURS)


@dataclass(frozen=True)
class CutStations(Table):
    """The cut sheet by station: what to take at each of 12 clock hours, and what the micrometer should read."""

    station_mm: FloatArray = figure(lambda t: t.stations, "Station", csv=True, page=True)
    roof_from_entry_mm: FloatArray = figure(lambda t: t.tape[:, 0], csv=True)
    floor_from_entry_mm: FloatArray = figure(lambda t: t.tape[:, 1], csv=True)
    take_mm: FloatArray = figure(
        lambda t: t.depth,
        csv="take_{}_oclock_mm",
        each=HOURS_TOLD,
        page=True,
        group="Take, square to the wall, at o'clock",
    )
    wall_unknown: NDArray[np.bool_] = figure(lambda t: t.wall_unknown)
    height_before_mm: FloatArray = figure(
        lambda t: t.height[:, 0], "now", csv="height_today_mm", page=True, group="Height"
    )
    height_after_mm: FloatArray = figure(
        lambda t: t.height[:, 1], "finished", csv="height_then_mm", page=True, group="Height"
    )
    width_before_mm: FloatArray = figure(lambda t: t.width[:, 0], "now", csv="width_today_mm", page=True, group="Width")
    width_after_mm: FloatArray = figure(
        lambda t: t.width[:, 1], "finished", csv="width_then_mm", page=True, group="Width"
    )
    rise_before_mm: FloatArray = figure(lambda t: t.rise[:, 0], csv="rise_now_mm")
    rise_after_mm: FloatArray = figure(lambda t: t.rise[:, 1], csv="rise_finished_mm")
    area_before_mm2: FloatArray = figure(lambda t: t.area_before, "now", csv="area_today_mm2", page=True, group="Area")
    area_after_mm2: FloatArray = figure(lambda t: t.area, "finished", csv="area_then_mm2", page=True, group="Area")
    area_wanted_mm2: FloatArray = figure(lambda t: t.wanted, "wanted", csv=True, page=True, group="Area")


@dataclass(frozen=True)
class Deepest(Result):
    """How deep the cut goes, and where: of places as deep to a hair one that is asked for, nearest a wall's middle."""

    depth_mm: float = figure(lambda plan, at: plan.depth.max())
    station_mm: float = figure(lambda plan, at: plan.grid.stations[at[0]])
    clock_hours: float = figure(lambda plan, at: plan.grid.clock[at])


@dataclass(frozen=True)
class AreaReached(Result):
    """An area that is asked for: today's, the one wanted, the one that the cut leads to."""

    station_mm: float = figure(lambda plan, k: plan.grid.stations[k])
    before_mm2: float = figure(lambda plan, k: plan.area_before[k])
    wanted_mm2: float = figure(lambda plan, k: plan.wanted[k])
    after_mm2: float = figure(lambda plan, k: plan.area_after[k])
    missed_percent: float = figure(lambda plan, k: max(100.0 * (1.0 - plan.area_after[k] / plan.wanted[k]), 0.0))


@dataclass(frozen=True)
class ShortSidePlanned(Result):
    """The radius asked of the short side, the one that it gets, and where it is cut for it."""

    wanted_radius_mm: float = figure(lambda plan, cut: plan.target.short_side.radius)
    radius_mm: float = figure(lambda plan, cut: cut.radius if plan.radius_cut is None else plan.radius_cut)
    radius_u_mm: float = figure(lambda plan, cut: plan.radius_u)
    station_from_mm: float = figure(lambda plan, cut: cut.start)
    station_to_mm: float = figure(lambda plan, cut: cut.end)


@dataclass(frozen=True)
class WallKept(Result):
    """A place where the wall's thickness was read, and what the cut leaves of it."""

    station_mm: float = figure(lambda wall: wall.reading.station)
    clock_hours: float = figure(lambda wall: wall.reading.clock)
    read_mm: float = figure(lambda wall: wall.reading.thickness)
    left_mm: float = figure(lambda wall: wall.left)


@dataclass(frozen=True)
class BetweenKept(Result):
    """The least metal between this port and another passage that is cut too: now, and when this cut is made."""

    name: str = figure(lambda between: between.name)
    now_mm: float = figure(lambda between: between.now)
    left_mm: float = figure(lambda between: between.after)
    least_mm: float = figure(lambda between: between.least)
    station_mm: float = figure(lambda between: between.station)
    clock_hours: float = figure(lambda between: between.clock)


@dataclass(frozen=True)
class LimitBeside(Result):
    """Another limit that holds the same cut back, and what it costs of the area."""

    name: str = figure(lambda name, cost: name)
    costs_percent: float = figure(lambda name, cost: 100.0 * cost)


@dataclass(frozen=True)
class LimitReached(Result):
    """A limit that the cut comes up against: where, how deep it may go there, and what that costs of the area."""

    name: str = figure(lambda stop: stop.limit)
    station_mm: float = figure(lambda stop: stop.station)
    clock_hours: float = figure(lambda stop: stop.clock)
    depth_mm: float = figure(lambda stop: stop.depth)
    area_missed_percent: float = figure(lambda stop: 100.0 * stop.short)
    costs_percent: float = figure(lambda stop: 100.0 * stop.gain)
    also: tuple[LimitBeside, ...] = figure(lambda stop: tuple(LimitBeside.of(*beside) for beside in stop.also))
    all_round: bool = figure(lambda stop: stop.all_round)
    measured: bool = figure(lambda stop: not stop.unmeasured)


@dataclass(frozen=True)
class Optimum(Result):
    """How near this cut is to the one of least depth and bending that gets there."""

    cost_mm2: float = figure(lambda plan, solution: solution.cost)
    gap_share: float = figure(lambda plan, solution: solution.gap)
    passes: int = figure(lambda plan, solution: solution.passes)
    says: str = figure(
        lambda plan, solution: optimum_text(
            solution.passes, solution.gap, rounds=plan.short_side is not None and plan.short_side.depth.any()
        )
    )
    nodes: int = figure(lambda plan, solution: solution.nodes)


@dataclass(frozen=True)
class Of:
    """What a Planned is made of: the plan, its rows, the target's file, the metal's density (g/cc), its notices."""

    plan: Plan
    table: CutTable
    target: Mapping[str, Any]
    density: float
    notices: tuple[Notice, ...]
    display: Display


@dataclass(frozen=True)
class Planned(Result):
    """The next cut: as shallow and smooth as a target and its limits let it be, by station and clock.

    `walls_left` and `limits` are what the target's limits leave; `stations` are the cut sheet's rows.
    """

    computed: Plan = inside(lambda m: m.plan)
    rows: CutTable = inside(lambda m: m.table)
    display: Display = inside(lambda m: m.display)
    notices: tuple[Notice, ...] = inside(lambda m: m.notices)
    schema: str = figure(lambda m: "portgeo.reshape/1")
    source: Mapping[str, Any] = figure(lambda m: m.plan.port.source)
    target: Mapping[str, Any] = figure(lambda m: m.target)
    warnings: tuple[Remark, ...] = figure(lambda m: remarks(m.notices, m.display))
    removed_cc: float = figure(lambda m: CC * m.plan.removed)
    removed_g: float = figure(lambda m: CC * m.plan.removed * m.density)
    density_g_cc: float = figure(lambda m: m.density)
    added_cc: float = figure(lambda m: CC * m.plan.added)
    volume_before_cc: float = figure(lambda m: CC * m.plan.volume_before)
    volume_after_cc: float = figure(lambda m: CC * (m.plan.volume_before + m.plan.removed - m.plan.added))
    burette_cc: Mapping[str, float] = figure(
        lambda m: dict(zip(("now", "finished"), (CC * volume for volume in m.plan.burette), strict=True))
    )
    deepest: Deepest = figure(lambda m: Deepest.of(m.plan, deepest_place(m.plan)))
    areas: tuple[AreaReached, ...] = figure(lambda m: _areas(m.plan))
    short_side: ShortSidePlanned | None = figure(lambda m: _short_side(m.plan))
    walls_left: tuple[WallKept, ...] = figure(lambda m: tuple(WallKept.of(wall) for wall in m.plan.walls_left))
    metal_between: tuple[BetweenKept, ...] = figure(
        lambda m: tuple(BetweenKept.of(between) for between in m.plan.between)
    )
    wall_unknown_percent: float = figure(lambda m: 100.0 * m.table.unknown_share)
    limits: tuple[LimitReached, ...] = figure(lambda m: tuple(LimitReached.of(stop) for stop in m.plan.stops))
    clock_hours: FloatArray = figure(lambda m: HOURS)
    stations: CutStations = figure(lambda m: CutStations.of(m.table))
    walls: Mapping[str, Mapping[str, float]] = figure(
        lambda m: {wall: {"removed_cc": CC * m.table.wall_volume[k]} for k, wall in enumerate(WALLS)}
    )
    optimum: Optimum | None = figure(lambda m: None if m.plan.solution is None else Optimum.of(m.plan, m.plan.solution))
    order_of_work: Sequence[str] = figure(lambda m: order_of_work(m.plan, m.table, m.display))
    cautions: Sequence[str] = figure(lambda m: list(CAUTIONS))

    @property
    def port(self) -> Port:
        """The port as it will be, to survey, compare or write as any other."""
        after = self.computed.after
        source = {"file": "planned", "sha256": None, "triangles": len(after.faces), "units": "mm", "scale": 1.0}
        return replace(after, source=source, display=self.display)


def planned(
    plan: Plan, target: Mapping[str, Any], density: float, notices: Sequence[Notice], display: Display
) -> Planned:
    """Return the result of planning a cut.

    target : what is recorded of the target's file. density : of the metal, g/cc.
    """
    return Planned.of(Of(plan, cut_table(plan, display.unit), target, density, tuple(notices), display))


def deepest_place(plan: Plan) -> tuple[int, int]:
    """Return the row and column of the grid at which a plan cuts deepest."""
    return most_place(plan.grid, plan.depth, ~np.isnan(plan.wanted))


def _areas(plan: Plan) -> tuple[AreaReached, ...]:
    return tuple(AreaReached.of(plan, k) for k in np.flatnonzero(~np.isnan(plan.wanted)))


def _short_side(plan: Plan) -> ShortSidePlanned | None:
    if plan.short_side is None or plan.target.short_side is None:
        return None
    return ShortSidePlanned.of(plan, plan.short_side)
