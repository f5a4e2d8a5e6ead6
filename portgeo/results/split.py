"""The result of measuring a port that splits: what each passage measures, and what they come to together.

A SplitSurvey comes in; a MeasuredSplit, which is the JSON of `measure`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.plane import FloatArray
from portgeo.core.split import TRUNK
from portgeo.measuring.split import SplitSurvey, difference_u
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
class LegsApart(Result):
    """How the second of two legs differs from the first; the ± leaves out what one tool is off in both."""

    volume_cc: float = figure(lambda one, other: CC * (other.volume - one.volume))
    volume_u_cc: float = figure(lambda one, other: CC * difference_u(one, other))
    least_area_percent: float = figure(lambda one, other: 100.0 * (other.least_area / one.least_area - 1.0))


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
    legs_apart: LegsApart | None = figure(lambda s, parts: LegsApart.of(*s.legs) if len(s.legs) == 2 else None)
    legs_together: LegsTogether = figure(lambda s, parts: LegsTogether.of(s))
    stations: Sequence[Mapping[str, Any]] = figure(lambda s, parts: _stations(parts))
    uncertainty: Mapping[str, Sequence[Mapping[str, Any]]] = figure(
        lambda s, parts: {"volume": [{"source": share.source, "u": CC * share.u} for share in s.volume_budget]}
    )

    def to_csv(self) -> tuple[list[str], list[list[Any]]]:
        """Return the head and the rows of the CSV file: every passage's stations, each with its leg first."""
        head: list[str] = []
        rows: list[list[Any]] = []
        for part in self.passages:
            own, lines = part.measured.stations.to_csv(self.computed.port.display)
            head = ["leg", *own]
            rows += [["" if part.name == TRUNK else part.name, *line] for line in lines]
        return head, rows


def measured_split(survey: SplitSurvey) -> MeasuredSplit:
    """Return the result of measuring a port that splits."""
    parts = tuple(PassageMeasured.of(name, Measured.of(each, None)) for name, each in survey.passages)
    return MeasuredSplit.of(survey, parts)


def _stations(parts: Sequence[PassageMeasured]) -> list[dict[str, Any]]:
    return [
        {"leg": "" if part.name == TRUNK else part.name, **row}
        for part in parts
        for row in part.measured.stations.to_rows()
    ]
