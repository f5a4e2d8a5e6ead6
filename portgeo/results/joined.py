"""The result of matching a joint: every figure of it, declared once.

A Match with its two ports comes in; a Joined, which is the JSON of `match`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.comparing.joint import TOUCHING_MM, Match
from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.results.figures import Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks


@dataclass(frozen=True)
class JointStations(Table):
    """One area schedule through both parts."""

    station_mm: FloatArray = figure(lambda m: m.stations, "Station", csv=True, page=True)
    area_mm2: FloatArray = figure(lambda m: m.areas, "Area", csv=True, page=True)


@dataclass(frozen=True)
class EdgeAtJoint(Result):
    """A lip or a step: its area, its greatest height and at what clock."""

    area_mm2: float = figure(lambda edge: edge.area)
    height_mm: float = figure(lambda edge: edge.height)
    clock: float | None = figure(lambda edge: edge.clock)


@dataclass(frozen=True)
class GasketMargin(Result):
    """What is left to the gasket's line."""

    least_mm: float = figure(lambda margin: margin.least)
    least_clock: float = figure(lambda margin: margin.least_clock)
    greatest_mm: float = figure(lambda margin: margin.greatest)
    greatest_clock: float = figure(lambda margin: margin.greatest_clock)
    mean_mm: float = figure(lambda margin: margin.mean)
    fault: str | None = figure(lambda margin: margin.fault)


@dataclass(frozen=True)
class Joined(Result):
    """How two parts meet at the flange. `lip` faces the flow, `step` looks away from it.

    Of a match, both ports and the margin to the gasket's line that is left on purpose, mm.
    """

    computed: Match = inside(lambda m, *_: m)
    display: Display = inside(lambda m, up, *_: up.display)
    notices: Sequence[Notice] = inside(lambda m, up, down, leave: _notices(m, up, down))
    schema: str = figure(lambda m, *_: "portgeo.match/1")
    source: Mapping[str, Any] = figure(lambda m, up, down, leave: {"upstream": up.source, "downstream": down.source})
    warnings: tuple[Remark, ...] = figure(lambda m, up, down, leave: remarks(_notices(m, up, down), up.display))
    upstream_area_mm2: float = figure(lambda m, *_: m.upstream_area)
    downstream_area_mm2: float = figure(lambda m, *_: m.downstream_area)
    lip: EdgeAtJoint = figure(lambda m, *_: EdgeAtJoint.of(m.lip))
    step: EdgeAtJoint = figure(lambda m, *_: EdgeAtJoint.of(m.step))
    offset_left_mm: float = figure(lambda m, *_: m.offset[0])
    offset_up_mm: float = figure(lambda m, *_: m.offset[1])
    rotation_deg: float | None = figure(lambda m, *_: None if m.rotation is None else float(np.degrees(m.rotation)))
    floor_bend_deg: float = figure(lambda m, *_: float(np.degrees(m.floor_bend)))
    roof_bend_deg: float = figure(lambda m, *_: float(np.degrees(m.roof_bend)))
    flange_angle_deg: float = figure(lambda m, *_: float(np.degrees(m.flange_angle)))
    leave_mm: float = figure(lambda m, up, down, leave: leave)
    gasket: Mapping[str, GasketMargin] | None = figure(
        lambda m, *_: {name: GasketMargin.of(margin) for name, margin in m.margins.items()} or None
    )
    stations: JointStations = figure(lambda m, *_: JointStations.of(m))
    joint_station_mm: float = figure(lambda m, *_: m.joint_station)
    touching_mm: float = figure(lambda m, *_: TOUCHING_MM)


def _notices(match: Match, upstream: Port, downstream: Port) -> list[Notice]:
    return unique((*match.warnings, *upstream.warnings, *downstream.warnings))
