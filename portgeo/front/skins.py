"""A port's wall as an even net for a page, and what results tell at places on the wall.

A Port, or a result with points in its port's own frame, comes in; nets and values go out. Lengths are millimeters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
from portgeo.core.split import SplitPort
from portgeo.core.triangles import Triangles
from portgeo.files.walls import read_walls
from portgeo.flow.path import join
from portgeo.front.states import spaced
from portgeo.reshape.grid import wall_grid
from portgeo.reshape.limits import wall_thickness
from portgeo.results.changed import Changed
from portgeo.results.changed_split import ChangedSplit
from portgeo.results.reached import Reached

ROWS, ROUND = 84, 88  # 14,608 triangles, about 1.2 mm by 1.7 mm on an ordinary port
MOST_TRIANGLES = 15_000
BESIDE = 1.2  # widths from one runner to the next where nobody said how they stand
ON_PLANE_MM = 1e-3  # a face whose middle is so near to a plane lies in it
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


def skins_of(whole: SplitPort, port: Port) -> tuple[tuple[str, Skin], ...]:
    """Return the walls of all passages of a port that splits by their names, in the frame of one of them.

    A scan's junction is among them: what lies between the trunk's last plane and the legs' first.
    """

    found = []
    for passage in whole.passages:
        skin = skin_of(passage.port, share=1.0 / len(whole.passages))
        found.append((passage.name, replace(skin, vertices=port.from_source(passage.port.to_source(skin.vertices)))))
    if whole.junction is not None:
        found.append(("junction", _junction_skin(whole, port)))
    return tuple(found)


def _junction_skin(whole: SplitPort, port: Port) -> Skin:
    """Return a scan's junction as a net in a port's frame; all of it stands at the station where the trunk ends."""
    assert whole.junction is not None
    mesh = whole.junction.mesh
    vertices, faces = _thin(mesh.vertices, _without_caps(whole, mesh), MOST_TRIANGLES / len(whole.passages))
    clocks = stations_of(whole.trunk, whole.trunk.from_source(vertices))[1]
    return Skin(port.from_source(vertices), faces, np.full(len(vertices), whole.trunk.centreline.stations[-1]), clocks)


def _without_caps(whole: SplitPort, mesh: Triangles) -> IntArray:
    """Return a junction's faces without those that lie in the planes where the passages begin and end."""
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    wall = np.ones(len(middles), dtype=bool)
    for passage, end in ((whole.trunk, -1), *((leg.port, 0) for leg in whole.legs)):
        line = passage.centreline
        place, ahead = passage.to_source(line.points[end]), passage.direction_to_source(line.frames[end, 0])
        near = np.linalg.norm(middles - place, axis=1) < 2.0 * np.ptp(passage.vertices, axis=0).max()
        wall &= (np.abs((middles - place) @ ahead) > ON_PLANE_MM) | ~near
    return mesh.faces[wall]


def _thinned(port: Port, share: float) -> Skin:
    vertices, faces = _thin(port.vertices, port.faces[walled(port).is_wall], share * MOST_TRIANGLES)
    stations, clocks = stations_of(port, vertices)
    return Skin(vertices, faces, stations, clocks)


def _thin(vertices: FloatArray, faces: IntArray, most: float) -> tuple[FloatArray, IntArray]:
    """Return a mesh of no more than so many triangles, about."""
    import pyvista

    surface = pyvista.make_tri_mesh(vertices, np.asarray(faces, dtype=int))
    away = 1.0 - most / max(len(faces), most)
    thin = surface.decimate(away, volume_preservation=True) if away > 0.0 else surface
    return np.asarray(thin.points, dtype=float), np.asarray(thin.regular_faces, dtype=np.int64)


def depth_cut(changed: Changed, points: FloatArray) -> FloatArray:
    """Return the depth of the cut (k,) at points (k, 3) on AFTER's wall; nan past what was compared."""
    found = changed.computed
    wall = wall_from(found.after_wedges.vertices, found.after_wedges.faces)
    moved = found.alignment.moved(points)
    foot, face = closest(wall, moved)
    corners = wall.faces[face]
    depth = (barycentric(wall.vertices[corners], foot) * found.depth.calm[corners]).sum(axis=1)
    return np.where(np.linalg.norm(moved - foot, axis=1) <= OFF_MM, depth, np.nan)


def depths_cut(changed: ChangedSplit, skins: Sequence[tuple[str, Skin]], port: Port) -> dict[str, FloatArray]:
    """Return the same on the skins of AFTER's passages, by their names. port : whose frame the skins lie in."""
    walls, found = dict(skins), {}
    for passage in changed.passages:
        own = passage.changed.computed.after.from_source(port.to_source(walls[passage.name].vertices))
        found[passage.name] = depth_cut(passage.changed, own)
    return found


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
