"""The result of checking a port half done against its plan: every figure of it, declared once.

A Recheck comes in; a Checked, which is the JSON of `reshape --check`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.reshape.cut_table import at_hours, at_stations
from portgeo.reshape.plan import CAUTIONS
from portgeo.reshape.recheck import Recheck, stations_to_tell
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks
from portgeo.results.planned import HOURS_TOLD


@dataclass(frozen=True)
class LeftStations(Table):
    """What is left to take by station, at each of 12 clock hours, minus where it went too deep; areas now and then."""

    station_mm: FloatArray = figure(lambda c, stations: stations, csv=True)
    left_mm: FloatArray = figure(
        lambda c, stations: at_stations(c.plan.grid, at_hours(c.plan.grid, c.left), stations),
        csv="left_{}_oclock_mm",
        each=HOURS_TOLD,
        apart=True,
    )
    area_now_mm2: FloatArray = figure(lambda c, stations: at_stations(c.plan.grid, c.area, stations)[:, 0], csv=True)
    area_then_mm2: FloatArray = figure(lambda c, stations: at_stations(c.plan.grid, c.area, stations)[:, 1], csv=True)


@dataclass(frozen=True)
class Place(Result):
    """A place on the wall, and a depth there."""

    station_mm: float = figure(lambda spot: spot.station)
    clock_hours: float = figure(lambda spot: spot.clock)
    depth_mm: float = figure(lambda spot: spot.depth)


@dataclass(frozen=True)
class ShortSideChecked(Result):
    """The short side's radius as it is now, and once what is left is cut."""

    radius_now_mm: float = figure(lambda radii: radii[0])
    radius_then_mm: float = figure(lambda radii: radii[1])


@dataclass(frozen=True)
class Checked(Result):
    """A port half done against its plan: what is left, what was missed, what went too deep or past a limit."""

    computed: Recheck = inside(lambda c, *_: c)
    display: Display = inside(lambda c, source, target, notices, display: display)
    notices: tuple[Notice, ...] = inside(lambda c, source, target, notices, display: tuple(notices))
    schema: str = figure(lambda c, *_: "portgeo.reshape/1")
    source: Mapping[str, Any] = figure(lambda c, source, *_: source)
    target: Mapping[str, Any] = figure(lambda c, source, target, *_: target)
    warnings: tuple[Remark, ...] = figure(lambda c, source, target, notices, display: remarks(notices, display))
    planned_cc: float = figure(lambda c, *_: CC * c.plan.removed)
    left_cc: float = figure(lambda c, *_: CC * c.left_volume)
    tolerance_mm: float = figure(lambda c, *_: c.tolerance)
    short_side: ShortSideChecked | None = figure(
        lambda c, *_: None if c.short_radius is None else ShortSideChecked.of(c.short_radius)
    )
    most_left_mm: float = figure(lambda c, *_: float(c.left.max()))
    too_deep: tuple[Place, ...] = figure(lambda c, *_: tuple(Place.of(spot) for spot in c.too_deep))
    missed: tuple[Place, ...] = figure(lambda c, *_: tuple(Place.of(spot) for spot in c.missed))
    past_limit: tuple[Place, ...] = figure(lambda c, *_: tuple(Place.of(spot) for spot in c.past_limit))
    length_mm: float = figure(lambda c, *_: float(np.ptp(c.plan.grid.stations[[0, -1]])))
    stations: LeftStations = figure(lambda c, *given: LeftStations.of(c, stations_to_tell(c, given[-1].unit)))
    cautions: Sequence[str] = figure(lambda c, *_: list(CAUTIONS))
