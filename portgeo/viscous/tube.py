"""The grid of a viscous solution: hexahedra thin at the wall through a path, and straight runs past both ends.

A path and how fine the grid is to be come in; a Tube goes out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import brentq

from portgeo.core.plane import FloatArray, moments
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, pattern, sweep
from portgeo.flow.path import Path, sections_along
from portgeo.flow.run_on import End, end_of, run_on
from portgeo.flow.wall import LONGEST, Sizing, sizing_of

RUN_BEFORE, RUN_AFTER = 1.0, 6.0  # of the opening's size: air comes in evenly, and is even again before it leaves
EVENED = 5.0  # of the exit's size past it: there the total pressure is read, clear of the outlet
STRETCH = 1.2  # growth of cells along the runs, ring to ring
STRETCHED = 4.0  # cells of the port: the longest in the runs, so that they are refined with it
LAYERS_MORE = 2  # layers at the wall, over the cells across the block: they grow by less than half from one to the next
THICKEST = 0.8  # of even layers: a wall layer that is asked to be thicker is made so thick
LAYERED = 0.25  # of the least extent: how thick the layers are together, as the block's size leaves them


@dataclass(frozen=True)
class Tube:
    """A grid through a path and past both its ends.

    grid : of all rings, mm. stations (n,) : of the rings, those of the runs counted on from the path's ends.
    first, last : the rings at entry and exit. sections : of the path, from ring `first` to ring `last`. cell : size
    of a cell in the stream, mm. size : of the exit, mm.
    """

    grid: Grid
    stations: FloatArray
    first: int
    last: int
    sections: tuple[Section, ...]
    cell: float
    size: float

    @property
    def cells(self) -> int:
        """How many hexahedra there are."""
        return (len(self.grid.nodes) - 1) * len(self.grid.pattern.quads)

    @cached_property
    def middles(self) -> FloatArray:
        """The hexahedra's middles (c, 3), mm, as means of their corners."""
        flat = self.grid.nodes[:, self.grid.pattern.quads].mean(axis=2)
        return np.asarray((flat[:-1] + flat[1:]) / 2.0).reshape(-1, 3)

    @property
    def evened(self) -> int:
        """The ring past the exit where the air is even again, of a shorter run its last but one."""
        ring = int(np.searchsorted(self.stations, self.stations[self.last] + EVENED * self.size))
        return min(ring, len(self.stations) - 2)


def tube_of(
    path: Path,
    block: int,
    layer: float | None,
    *,
    sizing: Sizing | None = None,
    runs: tuple[float, float] = (RUN_BEFORE, RUN_AFTER),
) -> Tube:
    """Return the grid through a path.

    block : cells across the inner block in the least direction; the whole grid goes with it. layer : thickness of the
    layer on the wall in a section of mean size, mm; None: as the others nearly. runs : before and past the path, of
    the openings' sizes. Raises GeometryError where no grid can be laid.
    """
    sized = sizing_of(path) if sizing is None else sizing
    least, most = sorted((sized.height, sized.width))
    cell = least / (2.0 * block)
    long = min(_even((most - least / 2.0) / cell), _even(LONGEST * block))
    across, down = (block, long) if sized.width <= sized.height else (long, block)
    layers = block + LAYERS_MORE
    thinnest = _thinnest(layers, THICKEST / layers if layer is None else layer / (LAYERED * least))
    count = max(int(np.ceil(sized.length / cell)), 4) + 1
    rings = np.interp(np.linspace(0.0, 1.0, count), sized.way, sized.close)
    sections = sections_along(path, rings)
    grid = _of_true_area(sweep(sections, pattern(across, down, layers, thinnest), rings), sections)
    ends = (end_of(grid, sections, rings, exit=False), end_of(grid, sections, rings, exit=True))
    ways = tuple(_way(end, run, cell) for end, run in zip(ends, runs, strict=True))
    whole, before = run_on(grid, ends, ways=(ways[0], ways[1]))
    stations = np.concatenate([rings[0] - ways[0][::-1], rings, rings[-1] + ways[1]])
    return Tube(whole, stations, before, before + count - 1, tuple(sections), cell, ends[1].size)


def _of_true_area(grid: Grid, sections: Sequence[Section]) -> Grid:
    """Return a grid whose rings, polygons of their wall nodes, have their sections' areas: coarse or fine, one flow."""
    figures = [moments(section.outline) for section in sections]
    middle = np.stack([s.in_space(f.centroid[None]) for s, f in zip(sections, figures, strict=True)])
    meshed = [moments(ring @ s.frame[1:].T).area for ring, s in zip(grid.wall, sections, strict=True)]
    larger = np.sqrt([f.area / area for f, area in zip(figures, meshed, strict=True)])
    return Grid(middle + larger[:, None, None] * (grid.nodes - middle), grid.pattern)


def _thinnest(layers: int, first: float) -> float:
    """Return the wall layer's thickness over the innermost's, for it to be `first` of all layers together."""

    def over(log: float) -> float:
        thickness = np.exp(log * np.linspace(0.0, 1.0, layers))
        return float(thickness[-1] / thickness.sum()) - first

    if first >= THICKEST / layers:
        first = THICKEST / layers
    return float(np.exp(brentq(over, -12.0, 0.0)))


def _way(end: End, run: float, cell: float) -> FloatArray:
    """Return how far past an opening rings stand, growing from the last gap inside to the longest."""
    steps = [end.gap * STRETCH]
    while sum(steps) < run * end.size:
        steps.append(min(steps[-1] * STRETCH, max(STRETCHED * cell, end.gap)))
    way = np.cumsum(steps)
    return np.asarray(way * (run * end.size / way[-1]))


def _even(cells: float) -> int:
    return max(2 * round(cells / 2.0), 2)
