"""Tube: the flow grid of one passage of a port that splits, gone on past its own opening.

A path and the size of its grid come in; a Tube, and of its potential the speeds along its wall, go out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, sweep
from portgeo.flow.path import Path, sections_along
from portgeo.flow.potential import wall_speed
from portgeo.flow.run_on import distances, end_of, run_on
from portgeo.flow.wall import Size, WallSpeed
from portgeo.flow.within import Within

SAME_MM = 1e-6  # of stations
LEFT_OUT = (0.0, 0.08, 0.16, 0.24, 0.32, 0.4, 0.5)  # of a scan's passage, next to its junction, as they are tried


@dataclass(frozen=True)
class Tube:
    """A passage's grid, in the passage's own frame.

    grid : gone on past its opening, a trunk's before its entry and a leg's past its exit. inside : its rings in the
    passage. sections, area (n,), middle (n, 3) : as WallSpeed has them. meshed (n,) : areas of the grid's own rings.
    turns : whether the passage still turns at its opening, first for a trunk's, then for a leg's.
    """

    path: Path
    size: Size
    grid: Grid
    inside: slice
    sections: tuple[Section, ...]
    area: FloatArray
    middle: FloatArray
    meshed: FloatArray
    turns: tuple[bool, bool]

    @property
    def true_speed(self) -> float:
        """What speeds in the grid, whose rings are polygons and a little smaller, are to be multiplied by."""
        return float(np.mean(self.meshed / self.area))

    @property
    def count(self) -> int:
        """Nodes."""
        rings, nodes, _ = self.grid.nodes.shape
        return rings * nodes

    def ring(self, place: int) -> IntArray:
        """Return the numbers (k,) of a ring's nodes; place -1 : of the last ring."""
        rings, nodes, _ = self.grid.nodes.shape
        return np.arange(nodes) + (place % rings) * nodes

    def to_source(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) of its frame in the port's own coordinates."""
        return self.path.ports[0].to_source(points)

    def from_source(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) of the port's own coordinates in its frame."""
        return self.path.ports[0].from_source(points)

    def mean_at(self, place: int, values: FloatArray) -> FloatArray:
        """Return the mean (...) over a ring's area of values (n, ...) at all nodes."""
        quads = self.grid.pattern.quads
        corner = self.grid.nodes[place][quads]
        area = np.linalg.norm(np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]), axis=1) / 2.0
        weight = np.bincount(quads.ravel(), np.repeat(area / 4.0, 4), self.grid.pattern.count)
        return np.asarray(weight @ values[self.ring(place)] / weight.sum())


def tube_of(path: Path, size: Size, *, trunk: bool, turning: bool = False) -> Tube:
    """Return the grid of a passage. turning : past its opening, as `run_on` has it. Raises GeometryError where none can
    be laid."""
    sections = sections_along(path, size.rings)
    grid = sweep(sections, size.pattern, size.rings)
    ends = (end_of(grid, sections, size.rings, exit=False), end_of(grid, sections, size.rings, exit=True))
    before, after = (distances(end.gap, end.size) for end in ends)
    none = np.zeros(0)
    whole, ahead = run_on(grid, ends, turning=turning, ways=(before, none) if trunk else (none, after))
    figures = [moments(s.outline) for s in sections]
    return Tube(
        path=path,
        size=size,
        grid=whole,
        inside=slice(ahead, ahead + len(sections)),
        sections=tuple(sections),
        area=np.array([f.area for f in figures]),
        middle=np.stack([s.in_space(f.centroid[None])[0] for s, f in zip(sections, figures, strict=True)]),
        meshed=np.array([moments(ring @ s.frame[1:].T).area for ring, s in zip(grid.wall, sections, strict=True)]),
        turns=(trunk and ends[0].turns, not trunk and ends[1].turns),
    )


def tube_to_junction(path: Path, size: Size, *, trunk: bool, turning: bool = False) -> Tube:
    """Return the grid of a scan's passage, up to as near to the junction as one can be laid.

    Just before a divider a trunk's section may have a waist that hides part of its wall. Raises GeometryError where
    none can be laid in half of the passage.
    """
    for left_out in LEFT_OUT[:-1]:
        try:
            return tube_of(path, _without(path, size, left_out, trunk=trunk), trunk=trunk, turning=turning)
        except GeometryError:
            continue  # a longer part of it has to be left out
    return tube_of(path, _without(path, size, LEFT_OUT[-1], trunk=trunk), trunk=trunk, turning=turning)


def _without(path: Path, size: Size, left_out: float, *, trunk: bool) -> Size:
    """Return the size of a grid whose rings end a part of the passage short of the junction."""
    if not left_out:
        return size
    last, first = path.last - left_out * path.length, path.first + left_out * path.length
    rings = size.rings
    if trunk:
        return replace(size, rings=np.append(rings[rings < last - size.cell], last))
    return replace(size, rings=np.append(first, rings[rings > first + size.cell]))


def speeds_on(tube: Tube, values: FloatArray, flux: FloatArray) -> WallSpeed:
    """Return the speeds along a tube's wall, of its potential (n, k) and the flux (m,) through its layers."""
    share = float(flux.mean())
    speed = wall_speed(tube.grid.wall, values[:, tube.size.pattern.wall], ends=2)[tube.inside] / share
    return WallSpeed(
        stations=tube.size.rings,
        sections=tube.sections,
        area=tube.area,
        middle=tube.middle,
        wall=tube.grid.wall[tube.inside],
        over_mean=speed * tube.meshed[:, None],
        flux=flux / share,
        unknowns=tube.count,
        cell=tube.size.cell,
        turns=tube.turns,
        within=Within(tube.grid, values * (tube.true_speed / share)),
    )


def between(solution: WallSpeed, first: float, last: float) -> WallSpeed:
    """Return the speeds at the rings between two stations."""
    low, high = np.searchsorted(solution.stations, [first, last + SAME_MM])
    return replace(
        solution,
        stations=solution.stations[low:high],
        sections=solution.sections[low:high],
        area=solution.area[low:high],
        middle=solution.middle[low:high],
        wall=solution.wall[low:high],
        over_mean=solution.over_mean[low:high],
    )
