"""The air in a port as it is and as cuts leave it, on flow grids that are laid once and follow the cut.

A port's wall, its air and cuts come in; the fastest place on the wall and the slowing past the short side go out. A
grid laid anew for each cut has another error each time, and two cuts nearly alike then differ by it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portgeo.calming.laying import FlowGrids, flow_grids
from portgeo.core.plane import FloatArray, areas_and_centroids
from portgeo.core.section import Section
from portgeo.flow.airspeed import AirSpeed, Peak, along_line, highest_of, short_side_top
from portgeo.flow.gas import density_at
from portgeo.flow.potential import Potential
from portgeo.flow.separation import Slowing, slowing
from portgeo.flow.wall import UNKNOWNS, Size, WallSpeed, coarser, size_for, sizing_of, solved_in
from portgeo.reshape.grid import WallGrid, areas_after, moved


@dataclass(frozen=True)
class CutAir:
    """The air on the wall of a port that is cut, or not yet.

    highest : the fastest place; rough_peak : its speed, m/s, on a grid of larger cells. slowing : past the short side,
    None where the port does not turn. potentials : of both grids.
    """

    highest: Peak
    rough_peak: float
    slowing: Slowing | None
    potentials: tuple[Potential, Potential]


@dataclass(frozen=True)
class CutAirs:
    """What tells the air of any cut of one wall. grids : of the usual fineness, and of larger cells; sizes : theirs."""

    wall: WallGrid
    today: AirSpeed
    sizes: tuple[Size, Size]
    grids: tuple[FlowGrids, FlowGrids]

    @property
    def growth(self) -> float:
        """By how much of a cell the larger cells are larger: their error is more by so much of the finer grid's."""
        return self.sizes[1].cell / self.sizes[0].cell - 1.0

    def after(self, travel: FloatArray, near: CutAir | None = None) -> CutAir:
        """Return the air after a cut (n, m). near : of a cut not far from it, to start from.

        Raises GeometryError where the cut is too deep for the grids.
        """
        fine, means, first = self._solved(0, travel, near)
        rough, rough_means, second = self._solved(1, travel, near)
        highest, rough_peak = highest_of(fine, means), highest_of(rough, rough_means).speed
        fall = None
        if self.today.bend is not None:
            short, points, top, _ = short_side_top(fine, means, self.today.bend)
            fall = slowing(along_line(points), short * means, top, self.today.air.kinematic_viscosity)
        u = self.today.highest.shape_u
        shape_u = None if u is None else u / self.today.highest.speed * highest.speed
        highest = replace(highest, error=abs(highest.speed - rough_peak) / self.growth, shape_u=shape_u)
        return CutAir(highest, rough_peak, fall, (first, second))

    def _solved(self, k: int, travel: FloatArray, near: CutAir | None) -> tuple[WallSpeed, FloatArray, Potential]:
        """Return the speeds on one grid, its means (r,) at the rings, and its potential."""
        size, grids, flow, air = self.sizes[k], self.grids[k], self.today.flow, self.today.air
        outlines = grids.at_rings(moved(self.wall, travel))
        area, centroids = areas_and_centroids(outlines)
        solution, found = solved_in(
            grids.laid(travel),
            grids.inside,
            size,
            tuple(Section(*each) for each in zip(outlines, grids.origins, grids.frames, strict=True)),
            area,
            grids.origins + np.einsum("rc,rcj->rj", centroids, grids.frames[:, 1:]),
            grids.turns,
            lambda speed: density_at(speed * flow * 1e6, air),
            None if near is None else near.potentials[k],
        )
        means = self.today.means_through(grids.at_rings(areas_after(self.wall, travel)))
        even = flow / (area * 1e-6) / self.today.means_through(area)  # as `air_speed` has them
        return replace(solution, over_mean=solution.over_mean * even[:, None]), means, found


def cut_airs(wall: WallGrid, today: AirSpeed) -> CutAirs:
    """Return what tells the air of any cut of a wall, whose air today is known. Raises GeometryError: no grid laid."""
    sizing = sizing_of(today.path)
    fine = size_for(sizing, UNKNOWNS)
    sizes = fine, coarser(sizing, fine)
    first, second = (flow_grids(wall, today.path.ports[-1], size) for size in sizes)
    return CutAirs(wall, today, sizes, (first, second))
