"""The result of comparing two states of a port that splits: all of it, its dividers, and each passage.

A SplitComparison comes in; a ChangedSplit, which is the JSON of `compare`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.comparing.split import SplitComparison
from portgeo.results.by_leg import csv_by_leg
from portgeo.results.changed import CC_DIGITS, Changed, DepthOfCut, LaidTogether, StationChanges, Volumes, WallCut
from portgeo.results.figures import CC, Result, figure, inside
from portgeo.results.notices import Remark, remarks
from portgeo.results.split import DividerMeasured


@dataclass(frozen=True)
class PassageChanged(Result):
    """The trunk or a leg: its name, and what `compare` says of it as of a port by itself."""

    changed: Changed = inside(lambda name, c: c)
    name: str = figure(lambda name, c: name)
    removed_cc: float = figure(lambda name, c: c.removed_cc)
    removed_u_cc: float = figure(lambda name, c: c.removed_u_cc)
    added_cc: float = figure(lambda name, c: c.added_cc)
    added_u_cc: float = figure(lambda name, c: c.added_u_cc)
    net_cc: float = figure(lambda name, c: c.net_cc)
    net_u_cc: float = figure(lambda name, c: c.net_u_cc)
    volume: Volumes = figure(lambda name, c: c.volume)
    depth: DepthOfCut = figure(lambda name, c: c.depth)
    stations: StationChanges = figure(lambda name, c: c.stations)
    walls: Mapping[str, WallCut] = figure(lambda name, c: c.walls)
    least_area: Mapping[str, Any] = figure(lambda name, c: c.least_area)
    short_side_radius_mm: Mapping[str, float | None] = figure(lambda name, c: c.short_side_radius_mm)
    look_at: Sequence[Mapping[str, Any]] = figure(lambda name, c: c.look_at)
    warnings: tuple[Remark, ...] = figure(lambda name, c: c.warnings)


@dataclass(frozen=True)
class DividerChanged(Result):
    """What became of the metal between two legs."""

    between: tuple[str, str] = figure(lambda d: d.names)
    set_back_mm: float | None = figure(lambda d: d.set_back)
    set_back_u_mm: float | None = figure(lambda d: d.set_back_u)
    before: DividerMeasured | None = figure(lambda d: None if d.before is None else DividerMeasured.of(d.before))
    after: DividerMeasured | None = figure(lambda d: None if d.after is None else DividerMeasured.of(d.after))


@dataclass(frozen=True)
class ChangedSplit(Result):
    """What two states of a port that splits differ by.

    Of a comparison, its passages and the metal's density, g/cc.
    """

    computed: SplitComparison = inside(lambda c, parts, density: c)
    passages: tuple[PassageChanged, ...] = inside(lambda c, parts, density: parts)
    schema: str = figure(lambda c, parts, density: "portgeo.compare/2")
    source: Mapping[str, Any] = figure(lambda c, parts, density: {"before": c.before.source, "after": c.after.source})
    warnings: tuple[Remark, ...] = figure(lambda c, parts, density: remarks(c.warnings, c.before.display))
    removed_cc: float = figure(lambda c, parts, density: CC * c.removed)
    removed_u_cc: float = figure(lambda c, parts, density: CC * c.removed_u)
    added_cc: float = figure(lambda c, parts, density: CC * c.added)
    added_u_cc: float = figure(lambda c, parts, density: CC * c.added_u)
    below_noise_cc: float = figure(lambda c, parts, density: round(CC * c.below_noise, CC_DIGITS) + 0.0)
    net_cc: float = figure(lambda c, parts, density: CC * c.net)
    net_u_cc: float = figure(lambda c, parts, density: CC * c.net_u)
    removed_g: float = figure(lambda c, parts, density: c.grams(density))
    density_g_cc: float = figure(lambda c, parts, density: density)
    volume_cc: Mapping[str, float] = figure(
        lambda c, parts, density: {"before": CC * c.before_volume, "after": CC * c.after_volume}
    )
    between_cc: float = figure(lambda c, parts, density: round(CC * c.between, CC_DIGITS) + 0.0)
    alignment: LaidTogether = figure(lambda c, parts, density: LaidTogether.of(c))
    dividers: tuple[DividerChanged, ...] = figure(
        lambda c, parts, density: tuple(DividerChanged.of(each) for each in c.dividers)
    )
    trunk: PassageChanged = figure(lambda c, parts, density: parts[0])
    legs: tuple[PassageChanged, ...] = figure(lambda c, parts, density: parts[1:])

    def to_csv(self) -> tuple[list[str], list[list[Any]]]:
        """Return the head and the rows of the CSV file: every passage's stations, each with its leg first."""
        return csv_by_leg(((part.name, part.stations) for part in self.passages), self.computed.before.display)


def changed_split(found: SplitComparison, density: float) -> ChangedSplit:
    """Return the result of comparing two states of a port that splits."""
    parts = tuple(
        PassageChanged.of(name, Changed.of(each, density))
        for name, each in zip(found.names, found.passages, strict=True)
    )
    return ChangedSplit.of(found, parts, density)
