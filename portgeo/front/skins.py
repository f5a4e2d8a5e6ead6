"""A port's wall as an even net for a page, and what results tell at places on the wall.

A Port, or a result with points in its port's own frame, comes in; nets and values go out. Lengths are millimeters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from portgeo.comparing.balance import Layout
from portgeo.comparing.distance import barycentric, closest, signed_distance, wall_from
from portgeo.comparing.register import wall_of
from portgeo.comparing.tube import walled
from portgeo.core.errors import GeometryError, naming
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port, stations_of
from portgeo.core.skin import net
from portgeo.files.walls import read_walls
from portgeo.flow.path import join
from portgeo.front.states import spaced
from portgeo.reshape.grid import wall_grid
from portgeo.reshape.limits import wall_thickness
from portgeo.results.changed import Changed
from portgeo.results.reached import Reached

ROWS, ROUND = 84, 88  # 14,608 triangles, about 1.2 mm by 1.7 mm on an ordinary port
MOST_TRIANGLES = 15_000
BESIDE = 1.2  # widths from one runner to the next where nobody said how they stand
OFF_MM = 0.3  # a point of the skin farther than this from the compared wall is past its ends
WALL_ROWS, WALL_ROUND = 61, 120  # places at which wall readings are spread over the wall
NEAREST = 4  # of them that tell a point, by the inverse of their distance


@dataclass(frozen=True)
class Skin:
    """A wall as an even net: vertices (n, 3), faces (m, 3), stations and clock hours (n,)."""

    vertices: FloatArray
    faces: IntArray
    stations: FloatArray
    clocks: FloatArray


def skin_of(port: Port, share: float = 1.0) -> Skin:
    """Return a port's wall as a net of few triangles, open at both ends so that one can look in.

    share : of the usual number of triangles, of one of several that are shown together.

    Its points lie on the wall itself, at even stations and evenly round each section, so that what is painted on them
    is as fine everywhere. A wall that such a net cannot cover (a section that turns back round its own middle) is
    thinned by its quadric error instead.
    """
    first, last = port.centreline.stations[[0, -1]]
    rows, around = (4 * max(round(count * share**0.5 / 4.0), 3) for count in (ROWS, ROUND))  # four walls, alike
    try:
        grid = wall_grid(port, np.linspace(first, last, rows), around)
    except GeometryError:
        return _thinned(port, share)
    return Skin(
        vertices=grid.points.reshape(-1, 3),
        faces=net(rows, around),
        stations=np.repeat(grid.stations, around),
        clocks=grid.clock.ravel(),
    )


def _thinned(port: Port, most: float) -> Skin:
    import pyvista

    faces = port.faces[walled(port).is_wall]
    surface = pyvista.make_tri_mesh(port.vertices, np.asarray(faces, dtype=int))
    share = 1.0 - most * MOST_TRIANGLES / max(len(faces), most * MOST_TRIANGLES)
    thin = surface.decimate(share, volume_preservation=True) if share > 0.0 else surface
    vertices = np.asarray(thin.points, dtype=float)
    stations, clocks = stations_of(port, vertices)
    return Skin(vertices, np.asarray(thin.regular_faces, dtype=np.int64), stations, clocks)


def depth_cut(changed: Changed, points: FloatArray) -> FloatArray:
    """Return the depth of the cut (k,) at points (k, 3) on AFTER's wall; nan past what was compared."""
    found = changed.computed
    wall = wall_from(found.after_wedges.vertices, found.after_wedges.faces)
    moved = found.alignment.moved(points)
    foot, face = closest(wall, moved)
    corners = wall.faces[face]
    depth = (barycentric(wall.vertices[corners], foot) * found.depth.calm[corners]).sum(axis=1)
    return np.where(np.linalg.norm(moved - foot, axis=1) <= OFF_MM, depth, np.nan)


def depth_outside(port: Port, points: FloatArray) -> FloatArray:
    """Return how far points (k, 3) lie outside a port's wall, in the metal; inside is negative."""
    return signed_distance(wall_of(walled(port)), points)


def reached_from(reached: Reached, points: FloatArray) -> FloatArray:
    """Return from which end a burr gets to points (k, 3) on the wall: 0 neither, 1 entry, 2 exit, 3 both."""
    found = reached.computed
    _, place = cKDTree(found.grid.points.reshape(-1, 3)).query(points)
    return np.asarray(found.reached.ravel()[place], dtype=np.float64)


def runner_in_port(runner: Port, port: Port) -> FloatArray:
    """Return the (4, 4) that takes a runner's frame into that of the port it is bolted to."""
    pose: FloatArray = join(runner, port).poses[0]
    return pose


def runners_laid_out(
    runners: Sequence[Port], spacing_mm: Sequence[float] | None, one_frame: bool
) -> tuple[list[FloatArray], bool]:
    """Return the (4, 4) of each runner of a set into the manifold's frame, and whether that is known.

    Where it is not known they stand side by side.
    """
    spacing = spaced(spacing_mm, len(runners))
    known = Layout(spacing, one_frame).known
    if not known:
        widest = max(float(np.ptp(runner.vertices[:, 1])) for runner in runners)
        spacing = np.full(len(runners) - 1, BESIDE * widest)
    return Layout(spacing, one_frame).poses(runners), known


class WallReadings:
    """A sheet of wall readings, spread over the wall of the port in which they were taken."""

    def __init__(self, port: Port, path: str | Path, name: str | None = None) -> None:
        """Read them. name : of the file in refusals, where it is not its path. Raises InputError."""
        with naming(name or str(path)):
            readings = read_walls(path, port, port.display)
        first, last = port.centreline.stations[[0, -1]]
        # The readings' own stations are among the rows: what was read there is then told there.
        read_at = np.clip([reading.station for reading in readings], first, last)
        grid = wall_grid(port, np.union1d(np.linspace(first, last, WALL_ROWS), read_at), WALL_ROUND)
        self.wall = wall_of(walled(port))
        self.tree = cKDTree(grid.points.reshape(-1, 3))
        self.thickness = wall_thickness(grid, readings).ravel()

    def left(self, points: FloatArray) -> FloatArray:
        """Return the metal left (k,) behind points (k, 3): what the readings vouch for, less what was cut since.

        Not known (nan) where no reading is near enough.
        """
        far, place = self.tree.query(points, k=NEAREST)
        weight = 1.0 / np.maximum(far, 1e-9)
        there = (weight * self.thickness[place]).sum(axis=1) / weight.sum(axis=1)
        return np.where(there > 0.0, there - signed_distance(self.wall, points), np.nan)
