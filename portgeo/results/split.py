"""The result of measuring a port that splits: what each passage measures, and what they come to together.

A SplitSurvey comes in; a MeasuredSplit, which is the JSON of `measure`, goes out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.plane import FloatArray
from portgeo.core.split import TRUNK
from portgeo.measuring.divider import BEHIND_MM
from portgeo.measuring.schedule import Survey
from portgeo.measuring.sides import Bend, like_radii
from portgeo.measuring.split import SplitSurvey, difference_u
from portgeo.results.by_leg import csv_by_leg, rows_by_leg
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.measured import Measured, Opening
from portgeo.results.notices import Remark, remarks


@dataclass(frozen=True)
class PassageMeasured(Result):
    """The trunk or a leg: its name, and what `measure` says of it as of a port by itself."""

    measured: Measured = inside(lambda name, m: m)
    name: str = figure(lambda name, m: name)
    volume_cc: float = figure(lambda name, m: m.volume_cc)
    volume_u_cc: float = figure(lambda name, m: m.volume_u_cc)
    length_mm: float = figure(lambda name, m: m.length_mm)
    least_area: Any = figure(lambda name, m: m.least_area)
    short_side: Any = figure(lambda name, m: m.short_side)
    long_side: Any = figure(lambda name, m: m.long_side)
    throat: Any = figure(lambda name, m: None if name == TRUNK else m.throat)
    bends: tuple[Any, ...] = figure(lambda name, m: m.bends)
    uncertainty: Mapping[str, Sequence[Mapping[str, Any]]] = figure(lambda name, m: m.uncertainty)
    warnings: tuple[Remark, ...] = figure(lambda name, m: m.warnings)


@dataclass(frozen=True)
class PlaneOfSplit(Result):
    """Where the trunk parts: its area, the legs' together, and the face between that stands in the air's way."""

    station_mm: float = figure(lambda s: s.split_station)
    trunk_area_mm2: float = figure(lambda s: s.trunk_area)
    legs_area_mm2: float = figure(lambda s: s.legs_area)
    step_mm2: float = figure(lambda s: s.trunk_area - s.legs_area)


@dataclass(frozen=True)
class LegsTogether(Table):
    """The legs' areas added up, station by station, as far as all of them go."""

    station_mm: FloatArray = figure(lambda s: s.stations)
    area_mm2: FloatArray = figure(lambda s: s.together)


@dataclass(frozen=True)
class LeastTogether(Result):
    """Where the air has least room: in the trunk, or in the legs together."""

    area_mm2: float = figure(lambda s: s.least_area)
    station_mm: float = figure(lambda s: s.least_station)
    in_legs: bool = figure(lambda s: s.least_station > s.split_station)


@dataclass(frozen=True)
class DividerMeasured(Result):
    """The metal between two legs: where its nose stands, its edge and its width."""

    between: tuple[str, str] = figure(lambda d: d.view.names)
    nose_mm: FloatArray = figure(lambda d: d.nose)
    edge: str = figure(lambda d: d.edge)  # "scanned", "read" or "flat"
    radius_mm: float | None = figure(lambda d: d.radius)
    radius_u_mm: float | None = figure(lambda d: d.radius_u)
    off_round_mm: float = figure(lambda d: d.off_round)
    nose_width_mm: float | None = figure(lambda d: d.nose_width)
    width_mm: float | None = figure(lambda d: d.width)
    width_u_mm: float | None = figure(lambda d: d.width_u)
    width_behind_mm: float = figure(lambda d: BEHIND_MM)


@dataclass(frozen=True)
class BendApart(Result):
    """How a bend of the second leg differs from the same bend of the first."""

    turn_deg: float = figure(lambda one, other: math.degrees(other.short.turn - one.short.turn))
    radius_mm: float = figure(lambda one, other: _radius_apart(one, other)[0])
    radius_u_mm: float = figure(lambda one, other: _radius_apart(one, other)[1])


def _radius_apart(one: Bend, other: Bend) -> tuple[float, float]:
    """Return by how much the radius of the second of two bends' short sides is larger, and how sure that is."""
    _, radii, doubts = like_radii(one.short, other.short)
    return radii[1] - radii[0], math.hypot(*doubts)


@dataclass(frozen=True)
class LegsApart(Result):
    """How the second of two legs differs from the first; the ± leaves out what one tool is off in both."""

    volume_cc: float = figure(lambda one, other: CC * (other.volume - one.volume))
    volume_u_cc: float = figure(lambda one, other: CC * difference_u(one, other))
    least_area_percent: float = figure(lambda one, other: 100.0 * (other.least_area / one.least_area - 1.0))
    least_area_mm2: float = figure(lambda one, other: other.least_area - one.least_area)
    least_area_u_mm2: float = figure(lambda one, other: difference_u(one, other, "least_area"))
    throat_mm2: float = figure(lambda one, other: other.throat.area - one.throat.area)
    throat_u_mm2: float = figure(lambda one, other: math.hypot(one.throat.area_u, other.throat.area_u))
    short_side_mm: float | None = figure(lambda one, other: _short_sides(one, other)[0])
    short_side_u_mm: float | None = figure(lambda one, other: _short_sides(one, other)[1])
    bends: tuple[BendApart, ...] | None = figure(lambda one, other: _bends_apart(one, other))
    differs: tuple[str, ...] = figure(lambda one, other: _surely_apart(one, other))


def _short_sides(one: Survey, other: Survey) -> tuple[float, float] | tuple[None, None]:
    """Return how the short side of the second of two legs differs from the first's, None where one has none."""
    return (None, None) if one.bend is None or other.bend is None else _radius_apart(one.bend, other.bend)


def _bends_apart(one: Survey, other: Survey) -> tuple[BendApart, ...] | None:
    """Return how bends differ, None where the two legs have not as many."""
    if len(one.bends) != len(other.bends):
        return None
    return tuple(BendApart.of(a, b) for a, b in zip(one.bends, other.bends, strict=True))


def _surely_apart(one: Survey, other: Survey) -> tuple[str, ...]:
    """Return which of volume, least area, throat and short side two legs differ in by more than the ±."""
    short, short_u = _short_sides(one, other)
    differences = {
        "volume": (other.volume - one.volume, difference_u(one, other)),
        "least_area": (other.least_area - one.least_area, difference_u(one, other, "least_area")),
        "throat": (other.throat.area - one.throat.area, math.hypot(one.throat.area_u, other.throat.area_u)),
        "short_side": (short or 0.0, short_u or 0.0),
    }
    return tuple(name for name, (size, u) in differences.items() if abs(size) > 2.0 * u)


@dataclass(frozen=True)
class MeasuredSplit(Result):
    """A port that splits as it measures. `stations` are every passage's, each with its leg (empty: the trunk)."""

    computed: SplitSurvey = inside(lambda s, parts: s)
    passages: tuple[PassageMeasured, ...] = inside(lambda s, parts: parts)
    schema: str = figure(lambda s, parts: "portgeo.measure/2")
    source: Mapping[str, Any] = figure(lambda s, parts: s.port.source)
    warnings: tuple[Remark, ...] = figure(lambda s, parts: remarks(s.port.warnings, s.port.display))
    volume_cc: float = figure(lambda s, parts: CC * s.volume)
    volume_u_cc: float = figure(lambda s, parts: CC * s.volume_u)
    wetted_area_mm2: float = figure(lambda s, parts: s.wetted_area)
    junction_cc: float | None = figure(lambda s, parts: None if s.junction is None else CC * s.junction)
    nose_mm: Any = figure(lambda s, parts: None if s.port.junction is None else s.port.junction.nose)
    openings: tuple[Opening, ...] = figure(
        lambda s, parts: (Opening.of(s.trunk, 0), *(Opening.of(leg, -1) for leg in s.legs))
    )
    least_area: LeastTogether = figure(lambda s, parts: LeastTogether.of(s))
    split: PlaneOfSplit = figure(lambda s, parts: PlaneOfSplit.of(s))
    trunk: PassageMeasured = figure(lambda s, parts: parts[0])
    legs: tuple[PassageMeasured, ...] = figure(lambda s, parts: parts[1:])
    dividers: tuple[DividerMeasured, ...] = figure(
        lambda s, parts: tuple(DividerMeasured.of(divider) for divider in s.dividers)
    )
    legs_apart: LegsApart | None = figure(lambda s, parts: LegsApart.of(*s.legs) if len(s.legs) == 2 else None)
    legs_together: LegsTogether = figure(lambda s, parts: LegsTogether.of(s))
    stations: Sequence[Mapping[str, Any]] = figure(
        lambda s, parts: rows_by_leg((part.name, part.measured.stations) for part in parts)
    )
    uncertainty: Mapping[str, Sequence[Mapping[str, Any]]] = figure(
        lambda s, parts: {"volume": [{"source": share.source, "u": CC * share.u} for share in s.volume_budget]}
    )

    def to_csv(self) -> tuple[list[str], list[list[Any]]]:
        """Return the head and the rows of the CSV file: every passage's stations, each with its leg first."""
        return csv_by_leg(((part.name, part.measured.stations) for part in self.passages), self.computed.port.display)


def measured_split(survey: SplitSurvey) -> MeasuredSplit:
    """Return the result of measuring a port that splits."""
    parts = tuple(PassageMeasured.of(name, Measured.of(each, None)) for name, each in survey.passages)
    return MeasuredSplit.of(survey, parts)
