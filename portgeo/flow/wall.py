"""The wall-speed solution of a path: speed over mean at every station and clock, with its error.

A path comes in; speeds along its wall over the mean speed of their section, the side lines and the
difference that a finer grid makes go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.flow.grid import Grid, Pattern, pattern, sweep, wall_nodes
from portgeo.flow.path import Path, sections_along
from portgeo.flow.potential import solve, wall_speed
from portgeo.plane import FloatArray, moments
from portgeo.section import Section

UNKNOWNS = 30_000  # some 24 cells from wall to wall in an ordinary port
LEAST_BLOCK, MOST_BLOCK = 4, 60  # cells across the inner block
LONGEST = 5.0  # cells along the block of a long thin section, by those across: beyond, they stretch
COARSER = 0.66  # size of the second grid's block: 3.5 times fewer unknowns
RUN_ON = 1.0  # the tube goes on past both openings by so many of its widths, to no one's harm inside
STRETCH = 1.3  # growth of cells from ring to ring out there
RINGS = 1.3  # rings for every cell's length of path
EVEN = 0.6  # of the rings stand evenly, the others where the wall turns most
SIZING = 181  # sections in which the wall's turning is looked for: half a cell apart, in an ordinary grid
WINDOW = np.convolve(np.ones(3), np.ones(3)) / 9.0  # spreads that turning over its neighbours
LINES = 4  # wall lines a side on which it is
LEAST_TURN = np.radians(10.0)  # a wall that turns less in all has nowhere to crowd rings


@dataclass(frozen=True)
class WallSpeed:
    """Speeds along the wall, over the mean speed of their section.

    stations (n,) of the rings in the path; sections at them; area (n,) of their outlines; wall
    (n, p, 3); over_mean (n, p). flux (m,) through every layer, over the flow. unknowns : of the
    solution. rings, pattern of the grid.
    """

    stations: FloatArray
    sections: tuple[Section, ...]
    area: FloatArray
    wall: FloatArray
    over_mean: FloatArray
    flux: FloatArray
    unknowns: int
    cell: float


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


def sizing_of(path: Path) -> Sizing:
    """Return what a path's grids are sized by: rings stand partly evenly, partly where the wall turns.

    Raises GeometryError where a plane cuts no tube.
    """
    close = np.linspace(path.first, path.last, SIZING)
    sections = sections_along(path, close)
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
    outside = 2 * len(_run_on(cell, RUN_ON * np.sqrt(sizing.height * sizing.width)))
    return Size(made, rings, cell, made.count * (count + outside - 2))


def _even(cells: float) -> int:
    """Return the nearest even count: floor and roof then have a node in the middle on every grid."""
    return max(2 * round(cells / 2.0), 2)


def _run_on(cell: float, length: float) -> FloatArray:
    """Return distances (k,) past an opening at which rings stand."""
    count = int(np.ceil(np.log1p(length / cell * (STRETCH - 1.0) / STRETCH) / np.log(STRETCH)))
    return np.cumsum(cell * STRETCH ** np.arange(1, max(count, 2) + 1))


def wall_solution(path: Path, size: Size) -> WallSpeed:
    """Return the speeds along the wall of a path at unit flow.

    The tube goes on straight past both openings, as a runner or a bench's adapter does, and the flow
    enters and leaves it out there at one potential: nothing is imposed at the openings themselves.
    Raises GeometryError where no grid can be laid or the solution fails.
    """
    sections = sections_along(path, size.rings)
    grid = sweep(sections, size.pattern)
    area = np.array([moments(s.outline).area for s in sections])
    # The grid's own sections, polygons of their wall nodes, are a little smaller: a mean over them is
    # what the grid's speeds are to be measured by, and a straight duct reads one on any grid.
    meshed = np.array([moments(ring @ s.frame[1:].T).area for ring, s in zip(grid.wall, sections, strict=True)])
    whole, before = _with_run_on(grid, sections, size.cell, area)
    found = solve(whole)
    inside = slice(before, before + len(size.rings))
    speed = wall_speed(whole.wall, found.values[:, size.pattern.wall])[inside]
    return WallSpeed(
        stations=size.rings,
        sections=tuple(sections),
        area=area,
        wall=grid.wall,
        over_mean=speed * meshed[:, None],
        flux=found.flux,
        unknowns=(len(whole.nodes) - 2) * size.pattern.count,
        cell=size.cell,
    )


def _with_run_on(grid: Grid, sections: list[Section], cell: float, area: FloatArray) -> tuple[Grid, int]:
    """Return the grid with the tube gone on past both openings, and how many rings that adds before."""
    ahead = _run_on(cell, RUN_ON * float(np.sqrt(area[-1])))[:, None, None] * sections[-1].frame[0]
    behind = _run_on(cell, RUN_ON * float(np.sqrt(area[0])))[::-1, None, None] * sections[0].frame[0]
    nodes = np.concatenate([grid.nodes[:1] - behind, grid.nodes, grid.nodes[-1:] + ahead])
    return Grid(nodes, grid.pattern), len(behind)
