"""The result of a flow through a port that splits: how its legs share it, and every figure of each passage.

A SplitAir comes in; an AirThroughSplit, which is the JSON of `airspeed` of such a port, goes out. Points are in the
port's own coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray
from portgeo.core.split import TRUNK
from portgeo.core.units import Display
from portgeo.flow.airspeed import WHAT_IT_IS, AirSpeed, point_in_source
from portgeo.flow.bench import Run
from portgeo.flow.split_air import Shoulder, SplitAir
from portgeo.results.air import FlowThrough, SpeedFigures, ThroatAir
from portgeo.results.by_leg import csv_by_leg, rows_by_leg
from portgeo.results.figures import Result, figure, inside
from portgeo.results.notices import Remark, remarks


@dataclass(frozen=True)
class ShoulderSpeed(Result):
    """The speed round the divider into a leg, on the leg's wall that faces its neighbor."""

    speed_m_s: float = figure(lambda air, shoulder: shoulder.peak.speed)
    speed_grid_error_m_s: float = figure(lambda air, shoulder: shoulder.peak.error)
    over_mean: float = figure(lambda air, shoulder: shoulder.peak.over_mean)
    station_mm: float = figure(lambda air, shoulder: shoulder.peak.station)
    past_edge_mm: float = figure(lambda air, shoulder: shoulder.from_edge)
    at_mm: FloatArray = figure(lambda air, shoulder: point_in_source(air.path, shoulder.peak))


@dataclass(frozen=True)
class PassageAir(SpeedFigures):
    """The air through the trunk or a leg: its name, its share of the flow, and what `airspeed` tells of a port."""

    computed: AirSpeed = inside(lambda air, *_: air)
    name: str = figure(lambda air, name, *_: name)
    share: float = figure(lambda air, name, share, *_: share[0])
    share_u: float | None = figure(lambda air, name, share, *_: share[1])
    share_grid_error: float = figure(lambda air, name, share, *_: share[2])
    throat: ThroatAir | None = figure(lambda air, name, *_: None if name == TRUNK else ThroatAir.of(air, None))  # type: ignore[assignment]
    shoulder: ShoulderSpeed | None = figure(
        lambda air, name, share, shoulder: None if shoulder is None else ShoulderSpeed.of(air, shoulder)
    )


@dataclass(frozen=True)
class AirAtSplit(Result):
    """The plane of the split: areas and mean speeds before and past it, and where the air stands still there."""

    station_mm: float = figure(lambda s: s.trunk.path.last)
    trunk_area_mm2: float = figure(lambda s: s.trunk_area)
    legs_area_mm2: float = figure(lambda s: s.legs_area)
    mean_before_m_s: float = figure(lambda s: s.trunk.mean_through(s.trunk_area))
    mean_past_m_s: float = figure(lambda s: s.trunk.mean_through(s.legs_area))
    nose_mm: FloatArray = figure(lambda s: s.nose)
    divider_mm: float | None = figure(lambda s: s.thickness)


@dataclass(frozen=True)
class AirThroughSplit(Result):
    """Air through a port that splits, an ideal flow: no bench, and no full viscous simulation.

    Of a SplitAir, its passages, and the run on the bench whose flow it is, None where there is none. `stations` are
    every passage's, each with its leg (empty: the trunk).
    """

    computed: SplitAir = inside(lambda s, parts, run: s)
    display: Display = inside(lambda s, parts, run: s.port.display)
    notices: tuple[Notice, ...] = inside(lambda s, parts, run: _notices(s))
    run: Run | None = inside(lambda s, parts, run: run)
    schema: str = figure(lambda s, parts, run: "portgeo.airspeed/2")
    source: Mapping[str, Any] = figure(lambda s, parts, run: s.port.source)
    warnings: tuple[Remark, ...] = figure(lambda s, parts, run: remarks(_notices(s), s.port.display))
    what_it_is: str = figure(lambda s, parts, run: WHAT_IT_IS)
    flow: FlowThrough = figure(lambda s, parts, run: FlowThrough.of(s.trunk))
    shares_given: bool = figure(lambda s, parts, run: s.given)
    fastest_in: str = figure(lambda s, parts, run: s.fastest_in)
    split: AirAtSplit = figure(lambda s, parts, run: AirAtSplit.of(s))
    trunk: PassageAir = figure(lambda s, parts, run: parts[0])
    legs: tuple[PassageAir, ...] = figure(lambda s, parts, run: parts[1:])
    stations: Sequence[Mapping[str, Any]] = figure(
        lambda s, parts, run: rows_by_leg((part.name, part.stations) for part in parts)
    )

    @property
    def passages(self) -> tuple[PassageAir, ...]:
        """Trunk and legs."""
        return (self.trunk, *self.legs)

    def share_of(self, leg: str) -> float:
        """Return the share of the flow that a leg has, by its name."""
        return next(part.share for part in self.legs if part.name.casefold() == leg.casefold())

    def to_csv(self) -> tuple[list[str], list[list[Any]]]:
        """Return the head and the rows of the CSV file: every passage's stations, each with its leg first."""
        return csv_by_leg(((part.name, part.stations) for part in self.passages), self.display)


def air_through_split(s: SplitAir, run: Run | None) -> AirThroughSplit:
    """Return the result of a flow through a port that splits. run : on the bench, whose flow it is, if it is one's."""
    return AirThroughSplit.of(s, _passages(s), run)


def _passages(s: SplitAir) -> tuple[PassageAir, ...]:
    unsure = [None] * len(s.legs) if s.shares_u is None else s.shares_u.tolist()
    shares = [(1.0, None, 0.0), *zip(s.shares.tolist(), unsure, s.shares_error.tolist(), strict=True)]
    shoulders: list[Shoulder | None] = [None, *s.shoulders]
    return tuple(
        PassageAir.of(air, name, share, shoulder)
        for (name, air), share, shoulder in zip(s.passages, shares, shoulders, strict=True)
    )


def _notices(s: SplitAir) -> tuple[Notice, ...]:
    of_passages = (notice for air in (s.trunk, *s.legs) for notice in (*air.path.ports[0].warnings, *air.warnings))
    return tuple(unique([*s.port.warnings, *of_passages]))
