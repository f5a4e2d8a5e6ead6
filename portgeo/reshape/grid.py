"""The wall as a grid of station by clock: where each place is and which way a cut goes there.

A Port comes in, and a depth for each place; the grid, moved outlines, their areas and the port as it
will be go out. A cut moves each place outward in the plane of its own section.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from portgeo.core.centreline import at, crossings
from portgeo.core.correspond import quarters
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, areas, moments
from portgeo.core.port import Port, sections_at
from portgeo.core.section import area_of, is_simple
from portgeo.core.skin import skin
from portgeo.core.triangles import Triangles, volume
from portgeo.measuring.bends import BendPlane, meant_bend, port_bends
from portgeo.measuring.scan_uncertainty import facet_area

NORMAL_SPAN_MM = 1.0  # wall over which the outward direction is averaged: past a scan's roughness, under a corner
LEAST_LEAN = 0.3  # a wall leaning more than 72 degrees out of the section's plane is measured as if by this much
LEAST_ISLAND_MM2 = 3.0  # thinner than any stem: less is a fold of a rough scan
ALIKE_MM = 0.005  # depths nearer than this are alike: no tool could tell


@dataclass(frozen=True)
class WallGrid:
    """The wall at n stations and m places round each.

    stations : (n,). share : (m,) in [0, 4), how far round clockwise from 12 o'clock, a quarter (12 to
    3, 3 to 6 ...) counting 1, equal steps of arc within it. origins (n, 3) and frames (n, 3, 3) of
    the planes. outlines : (n, m, 2), left and up. outward : (n, m, 2), the way a cut goes. lean :
    (n, m), depth square to the wall over depth along `outward`. clock : (n, m) in hours [0, 12).
    areas, girth : (n,) of the sections themselves, islands off. islands : whether any section has metal
    in it. noise : of the wall, one standard deviation. bend : the one worked on, None where there is none.
    """

    stations: FloatArray
    share: FloatArray
    origins: FloatArray
    frames: FloatArray
    outlines: FloatArray
    outward: FloatArray
    lean: FloatArray
    clock: FloatArray
    areas: FloatArray
    girth: FloatArray
    islands: bool
    noise: float
    bend: BendPlane | None

    @property
    def points(self) -> FloatArray:
        """The places in space (n, m, 3)."""
        return self.in_space(self.outlines)

    @property
    def directions(self) -> FloatArray:
        """The ways a cut goes, in space (n, m, 3), unit."""
        return np.einsum("nmi,nij->nmj", self.outward, self.frames[:, 1:])

    def in_space(self, outlines: FloatArray) -> FloatArray:
        """Return plane outlines (n, k, 2) in space (n, k, 3)."""
        return self.origins[:, None, :] + np.einsum("nmi,nij->nmj", outlines, self.frames[:, 1:])

    @property
    def wall(self) -> IntArray:
        """Index into WALLS of each place round a section (m,)."""
        return np.floor(self.share + 0.5).astype(np.int64) % 4


def wall_grid(port: Port, stations: FloatArray, count: int) -> WallGrid:
    """Return the wall of a port at stations (n,), with `count` places round (a multiple of 4).

    Raises GeometryError where a plane cuts no tube, or an outline turns back round its own middle.
    """
    sections = sections_at(port, stations)
    origins, frames = at(port.centreline, stations)
    outlines = np.empty((len(sections), count, 2))
    for k, section in enumerate(sections):
        try:
            parts = quarters(section.outline, 0)
        except GeometryError as refusal:
            raise GeometryError(
                refusal.what,
                where=f"station {stations[k]:.2f} mm",
                hint="Look at the section there: a plan needs every section seen whole from its middle",
            ) from None
        outlines[k] = np.concatenate([_even(part, count // 4) for part in parts])
    girth = np.linalg.norm(np.roll(outlines, -1, axis=1) - outlines, axis=2).sum(axis=1)
    outward = _outward(outlines, girth)
    middles = np.array([moments(section.outline).centroid for section in sections])
    arm = outlines - middles[:, None]
    grid = WallGrid(
        stations=np.asarray(stations, float),
        share=np.arange(float(count)) * (4.0 / count),
        origins=origins,
        frames=frames,
        outlines=outlines,
        outward=outward,
        lean=np.ones(outlines.shape[:2]),
        clock=np.arctan2(-arm[..., 0], arm[..., 1]) * (6.0 / np.pi) % 12.0,
        areas=np.array([area_of(section) for section in sections]) + facet_area(port),
        girth=girth,
        islands=any(-moments(each).area > LEAST_ISLAND_MM2 for section in sections for each in section.islands),
        noise=port.noise,
        bend=meant_bend(port, port_bends(port)),
    )
    object.__setattr__(grid, "lean", _lean(grid))
    return grid


def _even(arc: FloatArray, count: int) -> FloatArray:
    """Return `count` points (count, 2) at equal steps along a stretch (k, 2), the last end left out."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(arc, axis=0), axis=1))])
    wanted = np.arange(count) * (length[-1] / count)
    return np.column_stack([np.interp(wanted, length, arc[:, k]) for k in range(2)])


def _outward(outlines: FloatArray, girth: FloatArray) -> FloatArray:
    """Return unit outward directions (n, m, 2) of outlines (n, m, 2), averaged over NORMAL_SPAN_MM."""
    edge = np.roll(outlines, -1, axis=1) - outlines
    normal = np.stack([edge[..., 1], -edge[..., 0]], axis=-1)
    reach = max(round(NORMAL_SPAN_MM * outlines.shape[1] / float(girth.mean())), 1)
    summed = np.zeros_like(normal)
    for k in range(-reach, reach):  # edge k runs from point k to k + 1, so the window is even about a point
        summed += np.roll(normal, -k, axis=1)
    return summed / np.linalg.norm(summed, axis=-1, keepdims=True)


def wall_normals(grid: WallGrid) -> FloatArray:
    """Return the wall's own unit normals (n, m, 3), into the metal."""
    points = grid.points
    along = np.gradient(points, axis=0)
    round_it = np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1)
    normal = np.cross(round_it, along)
    return normal / np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-300)


def _lean(grid: WallGrid) -> FloatArray:
    """Return the cosine (n, m) between the way a cut goes and the wall's own normal."""
    return np.clip(np.einsum("nmi,nmi->nm", wall_normals(grid), grid.directions), LEAST_LEAN, 1.0)


def moved(grid: WallGrid, depth: FloatArray) -> FloatArray:
    """Return the outlines (n, m, 2) after a cut of `depth` (n, m)."""
    return grid.outlines + depth[..., None] * grid.outward


def areas_after(grid: WallGrid, depth: FloatArray) -> FloatArray:
    """Return the areas (n,) of the sections after a cut: today's plus what the moved outline gains."""
    return grid.areas + areas(moved(grid, depth)) - areas(grid.outlines)


def area_slopes(grid: WallGrid, depth: FloatArray) -> FloatArray:
    """Return the change of each section's area with each place's depth (n, m), exact for the polygon."""
    outline = moved(grid, depth)
    run = np.roll(outline, -1, axis=1) - np.roll(outline, 1, axis=1)
    return 0.5 * (grid.outward[..., 0] * run[..., 1] - grid.outward[..., 1] * run[..., 0])


def volume_after(grid: WallGrid, depth: FloatArray) -> float:
    """Return the volume (mm3) inside the rings of a cut of `depth` (n, m)."""
    return volume(*skin(grid.in_space(moved(grid, depth)), grid.frames))


def exits(points: FloatArray, directions: FloatArray, outline: FloatArray) -> FloatArray:
    """Return how far (m,) lines from points (m, 2) go, in directions (m, 2), to leave an outline (k, 2).

    The nearest place where the line leaves it, before (negative) or past the point; nan for none.
    """
    run = np.roll(outline, -1, axis=0) - outline
    arm = outline[None] - points[:, None]
    det = directions[:, 0, None] * run[None, :, 1] - directions[:, 1, None] * run[None, :, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        far = (arm[..., 0] * run[None, :, 1] - arm[..., 1] * run[None, :, 0]) / det
        on_edge = (arm[..., 0] * directions[:, 1, None] - arm[..., 1] * directions[:, 0, None]) / det
    # A counterclockwise outline is left where the direction crosses its edge from left to right.
    leaves = (det > 0) & (on_edge >= -1e-12) & (on_edge <= 1.0 + 1e-12)
    far = np.where(leaves, far, np.inf)
    best = far[np.arange(len(points)), np.argmin(np.abs(far), axis=1)]
    return np.where(np.isfinite(best), best, np.nan)


def port_after(port: Port, grid: WallGrid, depth: ArrayLike) -> Port:
    """Return the port as the cut of `depth` (n, m) leaves it, a watertight mesh of rings.

    Raises GeometryError where the cut wall would fold over or planes would cross inside it.
    """
    outlines = moved(grid, np.asarray(depth, float))
    space = grid.in_space(outlines)
    crossed = crossings(grid.origins, grid.frames, space)
    folded = ~is_simple(outlines)
    if folded.any() or crossed.any():
        station = grid.stations[folded][0] if folded.any() else grid.stations[:-1][crossed][0]
        raise GeometryError(
            "the cut is deeper than the wall's own curve allows: the cut wall would fold over itself",
            where=f"station {station:.2f} mm",
            hint="Ask for less there: greatest_depth, area or short-side radius",
        )
    vertices, faces = skin(space, grid.frames)
    return replace(port, mesh=Triangles(vertices, faces), readings=(), warnings=(), flats=None)


def most_place(grid: WallGrid, values: FloatArray, preferred: FloatArray | None = None) -> tuple[int, int]:
    """Return the place (row, column) of the greatest value (n, m).

    Of places alike to ALIKE_MM, one in a preferred row (n,) and nearest to the middle of a wall: on a
    flat floor that is where a person would look.
    """
    rows, columns = np.nonzero(values >= values.max() - ALIKE_MM)
    share = grid.share[columns]
    off = np.abs(share - np.round(share))
    if preferred is not None:
        off = off + np.where(preferred[rows], 0.0, 10.0)
    best = int(np.argmin(off))
    return int(rows[best]), int(columns[best])
