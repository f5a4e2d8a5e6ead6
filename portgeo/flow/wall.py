"""The wall-speed solution of a path: speed over mean at every station and clock, with its error.

A path comes in; speeds along its wall over the mean speed of their section, the side lines and the
difference that a finer grid makes go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray, moments
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, Pattern, pattern, sweep, wall_nodes
from portgeo.flow.path import Path, sections_along
from portgeo.flow.potential import Density, Potential, solve, wall_speed
from portgeo.flow.run_on import distances, end_of, run_on
from portgeo.flow.within import Within

UNKNOWNS = 30_000  # some 24 cells from wall to wall in an ordinary port
LEAST_BLOCK, MOST_BLOCK = 4, 60  # cells across the inner block
LONGEST = 5.0  # cells along the block of a long thin section, by those across: beyond, they stretch
COARSER = 0.5  # size of the second grid's block: cells twice as large, eight times fewer unknowns
RINGS = 1.3  # rings for every cell's length of path
EVEN = 0.6  # of the rings stand evenly, the others where the wall turns most
SIZING = 121  # sections in which the wall's turning is looked for: half a cell apart, in an ordinary grid
WINDOW = np.convolve(np.ones(3), np.ones(3)) / 9.0  # spreads that turning over its neighbours
LINES = 4  # wall lines a side on which it is
LEAST_TURN = np.radians(10.0)  # a wall that turns less in all has nowhere to crowd rings


@dataclass(frozen=True)
class WallSpeed:
    """Speeds along the wall, over the mean speed of their section; out of `wall_solution` that mean is flow over area.

    stations (n,) of the rings in the path; sections at them; area (n,) and middle (n, 3), the centroid,
    of their outlines; wall (n, p, 3); over_mean (n, p). flux (m,) through every layer, over the flow. unknowns : of the
    solution. cell : their size. turns : whether the path still turns at its entry, at its exit. within : the flow off
    the wall, its speeds as those of the measured sections.
    """

    stations: FloatArray
    sections: tuple[Section, ...]
    area: FloatArray
    middle: FloatArray
    wall: FloatArray
    over_mean: FloatArray
    flux: FloatArray
    unknowns: int
    cell: float
    turns: tuple[bool, bool]
    within: Within


@dataclass(frozen=True)
class Sizing:
    """What a path's grids are sized by: its mean height and width, and where its rings crowd.

    close (n,) stations from end to end; way (n,) : the share of the rings before each.
    """

    height: float
    width: float
    length: float
    close: FloatArray
    way: FloatArray


@dataclass(frozen=True)
class Size:
    """How fine a grid is: its pattern, the stations of its rings, cells' size in mm, unknowns."""

    pattern: Pattern
    rings: FloatArray
    cell: float
    unknowns: int


def sizing_stations(path: Path) -> FloatArray:
    """Return the stations (SIZING,) at which a path's sections size its grids."""
    return np.linspace(path.first, path.last, SIZING)


def sizing_of(path: Path, known: Sequence[Section] | None = None) -> Sizing:
    """Return what a path's grids are sized by: rings stand partly evenly, partly where the wall turns.

    known : the sections at `sizing_stations`, where they are cut already. Raises GeometryError where a
    plane cuts no tube.
    """
    close = sizing_stations(path)
    sections = sections_along(path, close) if known is None else known
    extents = np.array([np.ptp(s.outline, axis=0) for s in sections])
    width, height = np.exp(np.log(extents).mean(axis=0))
    lines = np.stack([s.in_space(wall_nodes(s.outline, LINES, LINES)) for s in sections])
    step = np.diff(lines, axis=0)
    step /= np.linalg.norm(step, axis=2, keepdims=True)
    turn = np.zeros(SIZING)
    bend = np.linalg.norm(np.diff(step, axis=0), axis=2) / 2.0
    turn[1:-1] = 2.0 * np.arcsin(np.minimum(bend, 1.0)).max(axis=1)
    spread = np.convolve(np.pad(turn, len(WINDOW) // 2, mode="edge"), WINDOW, mode="valid")
    even = EVEN if turn.sum() > LEAST_TURN else 1.0
    share = np.full(SIZING, even / SIZING) + (1.0 - even) * spread / max(float(spread.sum()), LEAST_TURN)
    way = np.concatenate([[0.0], np.cumsum((share[1:] + share[:-1]) / 2.0)])
    return Sizing(float(height), float(width), path.length, close, way / way[-1])


def size_for(sizing: Sizing, unknowns: int = UNKNOWNS) -> Size:
    """Return the grid of near-cubic cells whose unknowns come closest to so many."""
    best = _sized(sizing, LEAST_BLOCK)
    for block in range(LEAST_BLOCK + 2, MOST_BLOCK + 1, 2):
        finer = _sized(sizing, block)
        if finer.unknowns * best.unknowns > unknowns**2:
            break
        best = finer
    return best


def coarser(sizing: Sizing, size: Size) -> Size:
    """Return the second grid, against which the first one's error is judged."""
    return _sized(sizing, _even(COARSER * min(size.pattern.across, size.pattern.down)))


def _sized(sizing: Sizing, block: int) -> Size:
    least, most = sorted((sizing.height, sizing.width))
    cell = least / (2.0 * block)
    long = min(_even((most - least / 2.0) / cell), _even(LONGEST * block))
    across, down = (block, long) if sizing.width <= sizing.height else (long, block)
    made = pattern(across, down, round(0.75 * block))
    count = max(int(np.ceil(RINGS * sizing.length / cell)), 4) + 1
    rings = np.interp(np.linspace(0.0, 1.0, count), sizing.way, sizing.close)
    across_it = float(np.sqrt(sizing.height * sizing.width))
    outside = sum(len(distances(float(gap), across_it)) for gap in (rings[1] - rings[0], rings[-1] - rings[-2]))
    return Size(made, rings, cell, made.count * (count + outside - 2))


def _even(cells: float) -> int:
    """Return the nearest even count: floor and roof then have a node in the middle on every grid."""
    return max(2 * round(cells / 2.0), 2)


def wall_solution(path: Path, size: Size, *, turning: bool = False, density: Density | None = None) -> WallSpeed:
    """Return the speeds along the wall of a path at unit flow.

    density : over that at rest, of the speeds of unit flow, 1 / mm2; without it the air does not thin out.

    The tube goes on past both openings, straight as a runner, a seat's bore or a bench's adapter does,
    or `turning` as it does at the opening; the flow enters and leaves it out there at one potential, so
    that nothing is imposed at the openings themselves. Raises GeometryError where no grid can be laid
    or the solution fails.
    """
    sections = sections_along(path, size.rings)
    grid = sweep(sections, size.pattern, size.rings)
    figures = [moments(s.outline) for s in sections]
    ends = (end_of(grid, sections, size.rings, exit=False), end_of(grid, sections, size.rings, exit=True))
    whole, before = run_on(grid, ends, turning=turning)
    solution, _ = solved_in(
        whole,
        slice(before, before + len(size.rings)),
        size,
        tuple(sections),
        np.array([f.area for f in figures]),
        np.stack([s.in_space(f.centroid[None])[0] for s, f in zip(sections, figures, strict=True)]),
        (ends[0].turns, ends[1].turns),
        density,
    )
    return solution


def solved_in(
    whole: Grid,
    inside: slice,
    size: Size,
    sections: tuple[Section, ...],
    area: FloatArray,
    middle: FloatArray,
    turns: tuple[bool, bool],
    density: Density | None = None,
    near: Potential | None = None,
) -> tuple[WallSpeed, Potential]:
    """Return the speeds along the wall of a grid, at its rings `inside` the path, and the potential that they are of.

    sections at those rings, area (n,) and middle (n, 3) : of their outlines. turns, density : as `wall_solution` has
    them. near : as `solve` has it.
    """
    wall = whole.wall[inside]
    # The grid's own sections, polygons of their wall nodes, are a little smaller: a mean over them is
    # what the grid's speeds are to be measured by, and a straight duct reads one on any grid.
    meshed = np.array([moments(ring @ s.frame[1:].T).area for ring, s in zip(wall, sections, strict=True)])
    # Those polygons make air a little faster than it is; it is to thin out no more for that.
    true_speed = float(np.mean(meshed / area))
    found = solve(whole, None if density is None else lambda speed: density(speed * true_speed), near)
    speed = wall_speed(whole.wall, found.values[:, size.pattern.wall])[inside]
    solution = WallSpeed(
        stations=size.rings,
        sections=sections,
        area=area,
        middle=middle,
        wall=wall,
        over_mean=speed * meshed[:, None],
        flux=found.flux,
        unknowns=(len(whole.nodes) - 2) * size.pattern.count,
        cell=size.cell,
        turns=turns,
        within=Within(whole, found.values * true_speed),
    )
    return solution, found
