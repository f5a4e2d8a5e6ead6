"""The result of balancing a set of runners: every figure of it, declared once.

A Balance with its ports comes in; a Balanced, which is the JSON of `compare --set`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.comparing.balance import Balance
from portgeo.comparing.odd import Flows, flows_of
from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks


@dataclass(frozen=True)
class SetStations(Table):
    """Areas of all runners (n, k) by station, and how far they spread."""

    station_mm: FloatArray = figure(lambda b: b.stations, "Station", csv=True, page=True)
    area_mm2: FloatArray = figure(lambda b: b.areas.T, csv="area_{}_mm2")
    spread_percent: FloatArray = figure(lambda b: 100.0 * b.spread, "Spread", csv=True, page=True)


@dataclass(frozen=True)
class OpeningOff(Result):
    """How far a runner's opening sits from the set's mean, left and up, and how its axis tilts."""

    left_mm: float = figure(lambda opening: opening.shift[0])
    up_mm: float = figure(lambda opening: opening.shift[1])
    tilt_deg: float = figure(lambda opening: float(np.degrees(opening.tilt)))


@dataclass(frozen=True)
class GasketOff(Result):
    """How far the middle of a runner's opening sits from that of the gasket's hole."""

    at: str = figure(lambda end, shift, u: end)
    left_mm: float = figure(lambda end, shift, u: shift[0])
    left_u_mm: float | None = figure(lambda end, shift, u: u)
    up_mm: float = figure(lambda end, shift, u: shift[1])
    up_u_mm: float | None = figure(lambda end, shift, u: u)


@dataclass(frozen=True)
class AgainstOthers(Result):
    """How far one runner's figures are off the mean of the others', the odd one not counted.

    A tool's own error is in all of them and drops out of the ±.
    """

    volume_cc: float = figure(lambda b, k: CC * b.volume.off[k], "Volume", page=True)
    volume_u_cc: float = figure(lambda b, k: CC * b.volume.off_u[k], "±", page=True)
    least_area_mm2: float = figure(lambda b, k: b.least_area.off[k], "Minimum area", page=True)
    least_area_u_mm2: float = figure(lambda b, k: b.least_area.off_u[k], "±", page=True)
    length_mm: float = figure(lambda b, k: b.length.off[k], "Length", page=True)
    length_u_mm: float = figure(lambda b, k: b.length.off_u[k])  # of a scan; nobody says how sure stations are
    flow_percent: float | None = figure(
        lambda b, k: None if b.flows is None else 100.0 * flows_of(b.flows).off[k], "Flow", page=True
    )


@dataclass(frozen=True)
class EdgeOfEntry(Result):
    """How the edge of a runner's entry is rounded: its radius at 12, 1, 2 ... 11 o'clock, None where it is square."""

    radius_mm: FloatArray = figure(lambda edge: edge.radius)
    radius_u_mm: FloatArray = figure(lambda edge: edge.radius_u)
    mean_mm: float = figure(lambda edge: np.nanmean(edge.radius))
    least_mm: float = figure(lambda edge: np.nanmin(edge.radius))
    least_clock: int = figure(lambda edge: int(np.nanargmin(edge.radius)) or 12)


@dataclass(frozen=True)
class DividerOfSet(Result):
    """The metal between a runner and the next, where the job says how they lie."""

    runners: tuple[int, int] = figure(lambda one: (one.one + 1, one.other + 1))
    edge_mm: float | None = figure(lambda one: one.edge, "At the plenum", page=True)
    edge_u_mm: float | None = figure(lambda one: one.edge_u, "±", page=True)
    edge_clock: float = figure(lambda one: one.clock)
    radius_mm: tuple[float, float] = figure(lambda one: one.radius)
    past_edge_mm: float | None = figure(lambda one: one.past, "Past the radius", page=True)
    past_edge_depth_mm: float = figure(lambda one: one.past_depth)
    least_mm: float = figure(lambda one: one.least, "Thinnest", page=True)
    least_station_mm: float = figure(lambda one: one.least_station, "at station", page=True)


@dataclass(frozen=True)
class CutOfRunner(Result):
    """What comes out of one runner to even the set."""

    runner: int = figure(lambda each, k: k + 1)
    removed_cc: float = figure(lambda each, k: CC * each.metal[k])
    deepest_mm: float = figure(lambda each, k: each.deepest[k])
    deepest_station_mm: float = figure(lambda each, k: each.deepest_at[k])
    least_area_after_mm2: float = figure(lambda each, k: each.after[k].min())


@dataclass(frozen=True)
class ChoiceOfCut(Result):
    """One choice of what to cut the runners to, so that they pass alike; those of `left_out` are larger and stay."""

    to: str = figure(lambda each: each.to)
    removed_cc: float = figure(lambda each: CC * each.total)
    spread_percent: float = figure(lambda each: 100.0 * each.spread)
    left_out: tuple[int, ...] = figure(lambda each: tuple(k + 1 for k in each.left_out))
    runners: tuple[CutOfRunner, ...] = figure(
        lambda each: tuple(CutOfRunner.of(each, k) for k in range(len(each.metal)))
    )
    station_mm: FloatArray = figure(lambda each: each.stations)
    area_wanted_mm2: FloatArray = figure(lambda each: each.wanted)


@dataclass(frozen=True)
class RunnerOfSet(Result):
    """One runner of a set, against the others."""

    runner: int = figure(lambda b, k: k + 1, "Runner", page=True)
    volume_cc: float = figure(lambda b, k: CC * b.volumes[k], "Volume", page=True)
    least_area_mm2: float = figure(lambda b, k: b.least_areas[k], "Minimum area", page=True)
    length_mm: float = figure(lambda b, k: b.lengths[k], "Length", page=True)
    least_station_mm: float = figure(lambda b, k: b.least_stations[k])
    off_mean_percent: float = figure(lambda b, k: 100.0 * b.off[k], "Off the others' mean", page=True)
    off_mean_u_percent: float = figure(lambda b, k: 100.0 * b.off_u[k])
    off_others: AgainstOthers = figure(lambda b, k: AgainstOthers.of(b, k))
    entry_edge: EdgeOfEntry | None = figure(
        lambda b, k: EdgeOfEntry.of(b.edges[k]) if np.isfinite(b.edges[k].radius).any() else None
    )
    flow: float | None = figure(
        lambda b, k: None if b.flows is None else b.flows[k], "Flow", page=True, kind="flow"
    )  # as the bench gave it
    other_hand: bool = figure(lambda b, k: b.mirrored[k])
    entry: OpeningOff = figure(lambda b, k: OpeningOff.of(b.entries[k]))
    exit: OpeningOff = figure(lambda b, k: OpeningOff.of(b.exits[k]))
    gasket: GasketOff | None = figure(
        lambda b, k: None if b.gasket_shifts is None else GasketOff.of(b.gasket_end, b.gasket_shifts[k], b.gasket_u[k])
    )


@dataclass(frozen=True)
class FlowsOfSet(Result):
    """Flows of all cylinders, as the bench gave them, all at one depression."""

    computed: Flows = inside(lambda f: f)
    mean_flow: float = figure(lambda f: f.mean)
    spread_percent: float = figure(lambda f: 100.0 * f.spread)
    off_others_percent: FloatArray = figure(lambda f: 100.0 * f.off)
    odd_one_out: int | None = figure(lambda f: None if f.odd is None else f.odd + 1)


@dataclass(frozen=True)
class Balanced(Result):
    """The runners of a set side by side: how far they spread, and which is the odd one out (from 1, None for none)."""

    computed: Balance = inside(lambda b, ports: b)
    display: Display = inside(lambda b, ports: ports[0].display)
    notices: Sequence[Notice] = inside(lambda b, ports: _notices(b, ports))
    schema: str = figure(lambda b, ports: "portgeo.compare-set/1")
    source: Sequence[Mapping[str, Any]] = figure(lambda b, ports: [port.source for port in ports])
    warnings: tuple[Remark, ...] = figure(lambda b, ports: remarks(_notices(b, ports), ports[0].display))
    odd_one_out: int | None = figure(lambda b, ports: None if b.odd is None else b.odd + 1)
    greatest_spread_percent: float = figure(lambda b, ports: 100.0 * b.spread[b.worst])
    greatest_spread_station_mm: float = figure(lambda b, ports: b.stations[b.worst])
    flows: FlowsOfSet | None = figure(lambda b, ports: None if b.flows is None else FlowsOfSet.of(flows_of(b.flows)))
    runners: tuple[RunnerOfSet, ...] = figure(lambda b, ports: tuple(RunnerOfSet.of(b, k) for k in range(len(b.areas))))
    dividers: tuple[DividerOfSet, ...] = figure(lambda b, ports: tuple(map(DividerOfSet.of, b.dividers)))
    told_apart_percent: float = figure(lambda b, ports: 100.0 * b.tells)
    choices: tuple[ChoiceOfCut, ...] = figure(lambda b, ports: tuple(map(ChoiceOfCut.of, b.choices)))
    advised: int | None = figure(lambda b, ports: b.advised)
    stations: SetStations = figure(lambda b, ports: SetStations.of(b))


def _notices(balance: Balance, ports: Sequence[Port]) -> list[Notice]:
    return unique((*balance.warnings, *(notice for port in ports for notice in port.warnings)))
