"""The result of comparing two states of one port: every figure of it, declared once.

A Comparison comes in; a Changed, which is the JSON of `compare`, goes out. Points are in BEFORE's own
coordinates.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.comparing.comparison import Comparison
from portgeo.comparing.solids import removed_mesh
from portgeo.comparing.state import State
from portgeo.core.plane import FloatArray, IntArray
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks

DEPTH = "Depth of cut"
CC_DIGITS = 9  # the last digits of sums made in several threads are not the same each time


@dataclass(frozen=True)
class StationChanges(Table):
    """What changed by station: areas, and how deep each wall was cut."""

    station_mm: FloatArray = figure(lambda c: c.rows.stations, "Station", csv=True, page=True)
    before_mm2: FloatArray = figure(lambda c: c.rows.before, "before", csv=True, page="area_before", group="Area")
    after_mm2: FloatArray = figure(lambda c: c.rows.after, "after", csv=True, page="area_after", group="Area")
    change_mm2: FloatArray = figure(lambda c: c.rows.change, "change", csv=True, page=True, group="Area")
    change_percent: FloatArray = figure(
        lambda c: 100.0 * c.rows.change / c.rows.before, "change", csv=True, page=True, group="Area"
    )
    depth_roof_mm: FloatArray = figure(lambda c: c.rows.roof, "roof", csv=True, page=True, group=DEPTH)
    depth_floor_mm: FloatArray = figure(lambda c: c.rows.floor, "floor", csv=True, page=True, group=DEPTH)
    depth_left_mm: FloatArray = figure(lambda c: c.rows.left, "left", csv=True, page=True, group=DEPTH)
    depth_right_mm: FloatArray = figure(lambda c: c.rows.right, "right", csv=True, page=True, group=DEPTH)
    depth_roof_u_mm: FloatArray = figure(lambda c: c.row_depth_u[:, 0])
    depth_floor_u_mm: FloatArray = figure(lambda c: c.row_depth_u[:, 1])
    depth_left_u_mm: FloatArray = figure(lambda c: c.row_depth_u[:, 2])
    depth_right_u_mm: FloatArray = figure(lambda c: c.row_depth_u[:, 3])


@dataclass(frozen=True)
class Volumes(Result):
    """Volumes of the stretch that both states have, and of what each has beyond it."""

    before_cc: float = figure(lambda c: CC * c.before_volume)
    after_cc: float = figure(lambda c: CC * c.after_volume)
    before_beyond_cc: float = figure(lambda c: CC * c.before_beyond)
    after_beyond_cc: float = figure(lambda c: CC * c.after_beyond)
    station_from_mm: float = figure(lambda c: c.stretch[0])
    station_to_mm: float = figure(lambda c: c.stretch[1])


@dataclass(frozen=True)
class LaidTogether(Result):
    """How the two were laid together, on how much of the wall, and where else they fit."""

    method: str = figure(lambda c: c.alignment.method)
    matrix: FloatArray = figure(lambda c: c.alignment.to_source)
    rms_mm: float = figure(lambda c: c.alignment.rms)
    fixed_share: float = figure(lambda c: c.alignment.fixed_share)
    depth_u_mm: float = figure(lambda c: c.depth_u)
    other_fits: Sequence[Mapping[str, Any]] = figure(
        lambda c: [
            {"agrees_here": fit.here, "agrees_there": fit.there, "apart_mm": fit.apart} for fit in c.alignment.others
        ]
    )


@dataclass(frozen=True)
class DepthOfCut(Result):
    """How deep the cut is: its mean, what 95 % of it stays under, and the deepest place."""

    noise_mm: float = figure(lambda c: c.depth.noise)
    mean_mm: float = figure(lambda c: c.depth.mean)
    p95_mm: float = figure(lambda c: c.depth.p95)
    max_mm: float = figure(lambda c: c.depth.deepest)
    max_u_mm: float = figure(lambda c: c.depth_u)
    max_at_mm: FloatArray = figure(lambda c: c.before.to_source(c.depth.deepest_at))
    max_station_mm: float = figure(lambda c: c.depth.deepest_station)
    max_clock: float = figure(lambda c: c.depth.deepest_clock)


@dataclass(frozen=True)
class WallCut(Result):
    """What one wall lost."""

    mean_mm: float = figure(lambda wall: wall.mean, "Mean depth", page="mean_depth")
    mean_u_mm: float = figure(lambda wall: wall.mean_u)
    max_mm: float = figure(lambda wall: wall.deepest, "Deepest", page="deepest")
    max_u_mm: float = figure(lambda wall: wall.deepest_u)
    removed_cc: float = figure(lambda wall: CC * wall.removed, "Removed", page=True)
    removed_u_cc: float = figure(lambda wall: CC * wall.removed_u)
    area_mm2: float = figure(lambda wall: wall.area)


def _pair(of: Callable[[State], Any]) -> Any:
    """Return the field of a figure that both states have."""
    return figure(lambda c, density: {"before": of(c.before_state), "after": of(c.after_state)})


@dataclass(frozen=True)
class Changed(Result):
    """What two states of one port differ by. `walls` are by name, the short side among them.

    Of a comparison and the metal's density, g/cc. Pairs are of `before` and `after`.
    """

    computed: Comparison = inside(lambda c, density: c)
    schema: str = figure(lambda c, density: "portgeo.compare/2")
    source: Mapping[str, Any] = figure(lambda c, density: {"before": c.before.source, "after": c.after.source})
    warnings: tuple[Remark, ...] = figure(lambda c, density: remarks(c.warnings, c.before.display))
    removed_cc: float = figure(lambda c, density: CC * c.removed)
    removed_u_cc: float = figure(lambda c, density: CC * c.removed_u)
    added_cc: float = figure(lambda c, density: CC * c.added)
    added_u_cc: float = figure(lambda c, density: CC * c.added_u)
    below_noise_cc: float = figure(lambda c, density: round(CC * c.below_noise, CC_DIGITS) + 0.0)
    net_cc: float = figure(lambda c, density: CC * c.net)
    net_u_cc: float = figure(lambda c, density: CC * c.net_u)
    removed_g: float = figure(lambda c, density: c.grams(density))
    density_g_cc: float = figure(lambda c, density: density)
    volume: Volumes = figure(lambda c, density: Volumes.of(c))
    alignment: LaidTogether = figure(lambda c, density: LaidTogether.of(c))
    depth: DepthOfCut = figure(lambda c, density: DepthOfCut.of(c))
    stations: StationChanges = figure(lambda c, density: StationChanges.of(c))
    walls: Mapping[str, WallCut] = figure(lambda c, density: _walls(c))
    least_area: Mapping[str, Any] = _pair(lambda s: {"station_mm": s.least_station, "area_mm2": s.least_area})
    short_side_radius_mm: Mapping[str, float | None] = _pair(lambda s: s.short_side.radius if s.short_side else None)
    taper_mm2_per_mm: Mapping[str, float] = _pair(lambda s: s.taper)
    length_mm: Mapping[str, float] = _pair(lambda s: s.length)
    look_at: Sequence[Mapping[str, Any]] = figure(lambda c, density: _spots(c))
    frame: FloatArray = figure(lambda c, density: c.before.frame)

    def removed_solid(self) -> tuple[FloatArray, IntArray]:
        """Return the metal that was removed as a solid.

        Returns
        -------
        vertices (n, 3) in BEFORE's own coordinates, mm, and faces (m, 3), outward; none where nothing was removed.

        Raises
        ------
        GeometryError : where the two states' walls make no solid between them.
        """
        return removed_mesh(self.computed)


def _walls(comparison: Comparison) -> dict[str, WallCut]:
    return {name: WallCut.of(wall) for name, wall in comparison.walls.items()}


def _spots(comparison: Comparison) -> list[dict[str, Any]]:
    return [
        {
            "kind": spot.kind,
            "station_mm": spot.station,
            "clock": spot.clock,
            "height_mm": spot.height,
            ("length_mm" if spot.kind == "step" else "area_mm2"): spot.size,
        }
        for spot in comparison.spots
    ]
