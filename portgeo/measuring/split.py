"""Survey of a port that splits: each passage's own, what they come to together, and how its legs differ.

A SplitPort comes in; a SplitSurvey goes out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.port import sections_at
from portgeo.core.section import area_of
from portgeo.core.split import Leg, SplitPort
from portgeo.measuring.divider import Divider, dividers_of
from portgeo.measuring.scan_uncertainty import facet_area, grain_of
from portgeo.measuring.schedule import Survey, survey
from portgeo.measuring.uncertainty import Budget, Quantity, Share, Source, total

SHARED_SOURCES: tuple[Source, ...] = ("tool_zero", "scale")  # of one tool: all passages are off the same way
TOGETHER_STATIONS = 121  # at which the legs' areas are added up


@dataclass(frozen=True)
class SplitSurvey:
    """All measures of a port that splits; millimetres, mm2, mm3.

    trunk : its survey. legs : theirs, in the port's order; names (k,). volume, volume_u : of all together.
    volume_budget : what each source adds to it. junction : what of it is a scan's junction, no passage's own; None of
    readings. wetted_area : of all walls and the face in the plane of the split.
    split_station, trunk_area, legs_area : where it parts, the trunk's last area and the legs' first together.
    stations, together (n,) : along the legs, as far as all of them go, and their areas added up. least_area,
    least_station : the least of what the air has, the trunk's area or the legs' together. dividers : the metal
    between legs that are next to each other, from left to right.
    """

    port: SplitPort
    trunk: Survey
    names: tuple[str, ...]
    legs: tuple[Survey, ...]
    volume: float
    volume_u: float
    volume_budget: Budget
    junction: float | None
    wetted_area: float
    split_station: float
    trunk_area: float
    legs_area: float
    stations: FloatArray
    together: FloatArray
    least_area: float
    least_station: float
    dividers: tuple[Divider, ...]

    @property
    def passages(self) -> tuple[tuple[str, Survey], ...]:
        """The trunk's and the legs' surveys, by name."""
        return (*zip((p.name for p in self.port.passages), (self.trunk, *self.legs), strict=True),)


def survey_split(port: SplitPort, *, readings_tried: bool = True) -> SplitSurvey:
    """Return the survey of a port that splits. readings_tried : as survey has it."""
    trunk = survey(port.trunk, readings_tried=readings_tried)
    legs = tuple(survey(leg.port, readings_tried=readings_tried) for leg in port.legs)
    every = (trunk, *legs)
    budget = volume_budget([*(each.budget.get("volume", ()) for each in every), junction_budget(port)])
    first, last = (pick(float(leg.fine_stations[k]) for leg in legs) for pick, k in ((max, 0), (min, -1)))
    stations = np.linspace(first, last, TOGETHER_STATIONS)
    together = np.sum([np.interp(stations, leg.fine_stations, leg.fine_area) for leg in legs], axis=0)
    along = np.concatenate([trunk.fine_stations, stations])
    area = np.concatenate([trunk.fine_area, together])
    least = int(np.argmin(area))
    return SplitSurvey(
        port=port,
        trunk=trunk,
        names=tuple(leg.name for leg in port.legs),
        legs=legs,
        volume=sum(each.volume for each in every) + junction_volume(port),
        volume_u=total(budget),
        volume_budget=budget,
        junction=None if port.junction is None else junction_volume(port),
        wetted_area=float(sum(each.wetted_area for each in every) + junction_wall(port)),
        split_station=float(trunk.stations[-1]),
        trunk_area=float(trunk.area[-1]),
        legs_area=float(sum(leg.area[0] for leg in legs)),
        stations=stations,
        together=together,
        least_area=float(area[least]),
        least_station=float(along[least]),
        dividers=dividers_of(port),
    )


def junction_volume(port: SplitPort) -> float:
    """Return the volume of a scan's junction, mm3; readings have none.

    Flat triangles cut as much off its sections as off the trunk's, over the way from the trunk to the legs.
    """
    if port.junction is None:
        return 0.0
    begins = float(np.mean([leg.port.centreline.stations[0] for leg in port.legs]))
    return port.junction.mesh.volume + facet_area(port.trunk) * (begins - float(port.trunk.centreline.stations[-1]))


def junction_wall(port: SplitPort) -> float:
    """Return the area of wall about a scan's junction, mm2, or of the face in the plane of readings' split."""
    ends = [area_of(sections_at(each.port, each.port.centreline.stations[[k]])[0]) for each, k in _inner_ends(port)]
    between = ends[0] - sum(ends[1:])
    return float(between if port.junction is None else port.junction.mesh.area - sum(ends))


def _inner_ends(port: SplitPort) -> list[tuple[Leg, int]]:
    trunk, *legs = port.passages
    return [(trunk, -1), *((leg, 0) for leg in legs)]


def junction_budget(port: SplitPort) -> Budget:
    """Return what makes the volume of a scan's junction unsure: its wall's noise, and the scale of all."""
    if port.junction is None:
        return ()
    noise = Share("scan_noise", grain_of(port.trunk).over(junction_wall(port)))
    error = port.trunk.scale_error
    return (noise, Share("scale", 3.0 * error * junction_volume(port))) if error else (noise,)


def volume_budget(budgets: Sequence[Budget]) -> Budget:
    """Return what each source adds to the volume of passages together, of what it adds to each one's.

    One tool's zero is in all of their readings and adds up; what is read in one passage and not in another adds as
    squares (JCGM 100, 5.2.2, with correlations of one and none).
    """
    by_source: dict[Source, list[float]] = {}
    for shares in budgets:
        for share in shares:
            by_source.setdefault(share.source, []).append(share.u)
    return tuple(
        Share(source, float(sum(u) if source in SHARED_SOURCES else np.linalg.norm(u)))
        for source, u in by_source.items()
    )


def difference_u(one: Survey, other: Survey, quantity: Quantity = "volume") -> float:
    """Return the standard uncertainty of a quantity's difference of two passages: one tool's zero is in both."""
    first, second = ({share.source: share.u for share in each.budget.get(quantity, ())} for each in (one, other))
    shared = sum((first.get(source, 0.0) - second.get(source, 0.0)) ** 2 for source in SHARED_SOURCES)
    own = sum(u**2 for each in (first, second) for source, u in each.items() if source not in SHARED_SOURCES)
    return float(np.sqrt(shared + own))
