"""The result of measuring a port: every figure of it, declared once.

A Survey comes in; a Measured, which is the JSON of `measure`, goes out.
A measure is added here and nowhere else: a field says its key, what computes it, and what shows it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.section import WALLS
from portgeo.measuring.flare import Flare
from portgeo.measuring.schedule import Survey
from portgeo.measuring.sides import Bend, Side
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks

_UNIT_OF = {"volume": CC, "least_area": 1.0, "short_side": 1.0}  # a budget's unit is its figure's: cc, mm2, mm


def _each(name: str) -> Any:
    """Return what takes one measure of every section of a survey."""
    return lambda survey: np.array([getattr(m, name) for m in survey.measures])


@dataclass(frozen=True)
class Stations(Table):
    """Every measure by station; points and directions in the source's own coordinates."""

    station_mm: FloatArray = figure(lambda s: s.stations, "Station", csv=True, bench=9, page=True)
    origin_mm: FloatArray = figure(lambda s: s.port.to_source(np.array([x.origin for x in s.sections])))
    normal: FloatArray = figure(lambda s: s.port.direction_to_source(np.array([x.frame[0] for x in s.sections])))
    area_mm2: FloatArray = figure(lambda s: s.area, "Area", csv=True, bench=9, page=True)
    area_u_mm2: FloatArray = figure(lambda s: s.area_u, "±", csv=True, bench=7, page=True)
    perimeter_mm: FloatArray = figure(lambda s: s.perimeter, csv=True)
    height_mm: FloatArray = figure(lambda s: s.height, "Height", csv=True, bench=8, page=True)
    width_mm: FloatArray = figure(lambda s: s.width, "Width", csv=True, bench=8, page=True)
    greatest_height_mm: FloatArray = figure(_each("greatest_height"))
    greatest_width_mm: FloatArray = figure(_each("greatest_width"))
    corner_radius_mm: FloatArray = figure(lambda s: s.corner_radii.mean(axis=1), "Corner", bench=8, page="corner")
    hydraulic_diameter_mm: FloatArray = figure(
        lambda s: s.hydraulic_diameter, "Hydraulic diameter", csv=True, page=True
    )
    corner_radii_mm: FloatArray = figure(
        lambda s: s.corner_radii,
        csv="corner_{}_mm",
        each=("roof_left", "roof_right", "floor_right", "floor_left"),
    )
    area_taper_mm2_per_mm: FloatArray = figure(lambda s: s.area_taper, "Area taper", csv=True, bench=11)
    height_taper_mm_per_mm: FloatArray = figure(lambda s: s.height_taper, csv=True)
    width_taper_mm_per_mm: FloatArray = figure(lambda s: s.width_taper, csv=True)
    cone_angle_deg: FloatArray = figure(lambda s: np.degrees(s.cone_angle), "Cone", csv=True, bench=7, page=True)
    second_moments_mm4: FloatArray = figure(_each("second_moments"))


@dataclass(frozen=True)
class Opening(Result):
    """One of the two openings. Edge radii are by clock, 12 o'clock first; None where the edge is square."""

    role: str = figure(lambda s, k: "entry" if k == 0 else "exit")
    origin_mm: FloatArray = figure(
        lambda s, k: s.port.to_source(s.sections[k].in_space(s.measures[k].centroid[None])[0])
    )
    normal: FloatArray = figure(lambda s, k: s.port.direction_to_source(s.sections[k].frame[0]))
    area_mm2: float = figure(lambda s, k: s.area[k])
    edge_radius_by_clock_mm: FloatArray = figure(lambda s, k: _edge(s, k).radius)


def _edge(survey: Survey, k: int) -> Flare:
    return survey.entry_edge if k == 0 else survey.exit_edge


@dataclass(frozen=True)
class LeastArea(Result):
    """Where the port is smallest."""

    area_mm2: float = figure(lambda s: s.least_area, "Minimum area", page="least_area")
    area_u_mm2: float = figure(lambda s: s.least_area_u, "±", page="least_area_doubt")
    station_mm: float = figure(lambda s: s.least_station, "at station", page="least_area_station")


@dataclass(frozen=True)
class Headline(Result):
    """The radius of a side to go by, and what it is called."""

    name: str = figure(lambda side: side.headline_name, "go by", page="go_by", kind="text")
    mm: float = figure(lambda side: side.headline)
    u_mm: float = figure(lambda side: side.headline_u)


@dataclass(frozen=True)
class SideOfBend(Result):
    """The inside (short) or the outside (long) of a bend: its wall, its radii, where it turns."""

    wall: str = figure(lambda s, bend, side: _wall(bend, inner=side is bend.short))
    inner_wall: str = figure(lambda s, bend, side: bend.plane.wall)
    radius_mm: float = figure(lambda s, bend, side: side.radius, "Radius", page=True)
    radius_u_mm: float = figure(lambda s, bend, side: side.radius_u, "±", page=True)
    least_radius_mm: float = figure(lambda s, bend, side: side.least_radius, "tightest", page="tightest")
    least_radius_u_mm: float = figure(lambda s, bend, side: side.least_radius_u, "±", page="tightest_doubt")
    headline: Headline = figure(lambda s, bend, side: Headline.of(side), page=True)
    station_from_mm: float = figure(lambda s, bend, side: side.station_from, "from station", page="from_station")
    station_to_mm: float = figure(lambda s, bend, side: side.station_to, "to station", page="to_station")
    turn_deg: float = figure(lambda s, bend, side: float(np.degrees(bend.plane.turn)), "turns", page=True)
    apex_mm: FloatArray = figure(lambda s, bend, side: s.port.to_source(side.apex))
    fit_rms_mm: float = figure(lambda s, bend, side: side.fit_rms)


@dataclass(frozen=True)
class OneBend(SideOfBend):
    """A bend by its short side, with its usual height."""

    height_mm: float = figure(lambda s, bend, side: bend.height)


def _wall(bend: Bend, *, inner: bool) -> str:
    wall = WALLS.index(bend.plane.wall)
    return WALLS[wall if inner else (wall + 2) % 4]


def _side(survey: Survey, side: Side | None) -> SideOfBend | None:
    return None if survey.bend is None or side is None else SideOfBend.of(survey, survey.bend, side)


@dataclass(frozen=True)
class ThroatFound(Result):
    """The bore under the valve's seat; in percent of the valve's diameter where the valve is known."""

    station_mm: float = figure(lambda throat, valve: throat.station)
    area_mm2: float = figure(lambda throat, valve: throat.area)
    area_u_mm2: float = figure(lambda throat, valve: throat.area_u)
    diameter_mm: float = figure(lambda throat, valve: throat.diameter, "Throat", page="throat")
    from_: str = figure(lambda throat, valve: throat.told_by)  # "mark" or "least"
    percent_of_valve: float | None = figure(
        lambda throat, valve: None if valve is None else throat.percent_of(valve),
        "of the valve",
        page="throat_of_valve",
        kind="percent",
    )


@dataclass(frozen=True)
class ShareOfDoubt(Result):
    """What one source adds to the ± of a figure: one standard uncertainty, in the figure's own unit."""

    source: str = figure(lambda source, u: source)
    u: float = figure(lambda source, u: u)


@dataclass(frozen=True)
class ReadingToTakeAgain(Result):
    """The reading that makes most of a figure's ±, and its share of the variance."""

    row: int = figure(lambda station, row, reading, share: row)
    station_mm: float = figure(lambda station, *_: station)
    reading: str = figure(lambda station, row, reading, share: reading)
    share_of_variance: float = figure(lambda station, row, reading, share: share)


@dataclass(frozen=True)
class Measured(Result):
    """A port as it measures. `short_side` is of the bend that is meant; None on a port that does not turn.

    Of a survey and the diameter of the valve's head, mm, None where it is not known.
    `uncertainty` says what each source of doubt adds to volume, least area and short side.
    """

    computed: Survey = inside(lambda s, valve: s)
    schema: str = figure(lambda s, valve: "portgeo.measure/2")
    source: Mapping[str, Any] = figure(lambda s, valve: s.port.source)
    warnings: tuple[Remark, ...] = figure(lambda s, valve: remarks(s.warnings, s.port.display))
    volume_cc: float = figure(lambda s, valve: CC * s.volume, "Volume", page=True, customer="The port’s volume")
    volume_u_cc: float = figure(lambda s, valve: CC * s.volume_u, "±", page=True)
    wetted_area_mm2: float = figure(lambda s, valve: s.wetted_area)
    mean_area_mm2: float = figure(lambda s, valve: s.mean_area)
    openings: tuple[Opening, Opening] = figure(lambda s, valve: (Opening.of(s, 0), Opening.of(s, -1)))
    stations: Stations = figure(lambda s, valve: Stations.of(s))
    least_area: LeastArea = figure(lambda s, valve: LeastArea.of(s), page=True)
    short_side: SideOfBend | None = figure(lambda s, valve: _side(s, s.short_side))
    long_side: SideOfBend | None = figure(lambda s, valve: _side(s, s.long_side))
    throat: ThroatFound = figure(lambda s, valve: ThroatFound.of(s.throat, valve), page=True)
    length_mm: float = figure(lambda s, valve: s.length, "Length", page=True)
    bends: tuple[OneBend, ...] = figure(lambda s, valve: tuple(OneBend.of(s, bend, bend.short) for bend in s.bends))
    uncertainty: Mapping[str, tuple[ShareOfDoubt, ...]] = figure(lambda s, valve: _budgets(s))
    frame: FloatArray = figure(lambda s, valve: s.port.frame)
    noise_mm: float = figure(lambda s, valve: s.port.noise)
    most_uncertain_reading: Mapping[str, ReadingToTakeAgain] | None = figure(lambda s, valve: _blame(s))


def _budgets(survey: Survey) -> dict[str, tuple[ShareOfDoubt, ...]]:
    return {
        quantity: tuple(ShareOfDoubt.of(share.source, _UNIT_OF[quantity] * share.u) for share in budget)
        for quantity, budget in survey.budget.items()
    }


def _blame(survey: Survey) -> dict[str, ReadingToTakeAgain] | None:
    """Return the reading that moves each figure most, None for a scan."""
    blame = survey.blame
    if blame is None:
        return None
    readings = {"least_area": blame.least_area, "volume": blame.volume, "short_side": blame.short_side}
    station_of = {reading.row: reading.station for reading in survey.port.readings}
    return {
        name: ReadingToTakeAgain.of(station_of[reading[0]], *reading)
        for name, reading in readings.items()
        if reading is not None
    }
