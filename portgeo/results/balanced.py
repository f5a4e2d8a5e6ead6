"""The result of balancing a set of runners: every figure of it, declared once.

A Balance with its ports comes in; a Balanced, which is the JSON of `compare --set`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.comparing.balance import Balance, Flows, flows_of
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

    at: str = figure(lambda end, shift: end)
    left_mm: float = figure(lambda end, shift: shift[0])
    up_mm: float = figure(lambda end, shift: shift[1])


@dataclass(frozen=True)
class RunnerOfSet(Result):
    """One runner of a set, against the others."""

    runner: int = figure(lambda b, k: k + 1, "Runner", page=True)
    volume_cc: float = figure(lambda b, k: CC * b.volumes[k], "Volume", page=True)
    least_area_mm2: float = figure(lambda b, k: b.least_areas[k], "Minimum area", page=True)
    length_mm: float = figure(lambda b, k: b.lengths[k], "Length", page=True)
    least_station_mm: float = figure(lambda b, k: b.least_stations[k])
    off_mean_percent: float = figure(lambda b, k: 100.0 * b.off[k], "Off the others' mean", page=True)
    flow: float | None = figure(
        lambda b, k: None if b.flows is None else b.flows[k], "Flow", page=True, kind="flow"
    )  # as the bench gave it
    other_hand: bool = figure(lambda b, k: b.mirrored[k])
    entry: OpeningOff = figure(lambda b, k: OpeningOff.of(b.entries[k]))
    exit: OpeningOff = figure(lambda b, k: OpeningOff.of(b.exits[k]))
    gasket: GasketOff | None = figure(
        lambda b, k: None if b.gasket_shifts is None else GasketOff.of(b.gasket_end, b.gasket_shifts[k])
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
    stations: SetStations = figure(lambda b, ports: SetStations.of(b))


def _notices(balance: Balance, ports: Sequence[Port]) -> list[Notice]:
    return unique((*balance.warnings, *(notice for port in ports for notice in port.warnings)))
