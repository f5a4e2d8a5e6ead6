"""Port: the row of sections, the mesh and the two openings, in the port frame.

Readings or a mesh with a centreline come in; one Port goes out, whatever it was measured with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from portgeo.core.centreline import Centreline, at
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.grain import Grain
from portgeo.core.loft import CHORD_ERROR_MM, loft
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.section import Mark, Reading, Section
from portgeo.core.skin import Rings
from portgeo.core.slicing import slice_mesh, tube_sections
from portgeo.core.surface import Surface, sections_on, surface_from_readings
from portgeo.core.triangles import Triangles
from portgeo.core.units import MILLIMETRES, Display

if TYPE_CHECKING:
    import pyvista
    import trimesh

STATION_GUESSES = 400  # points on the centreline from which a point's own station is sought
STATION_STEPS = 4
STATION_PROBE = 0.01  # mm
STATION_ROUNDING = 1e-6  # of the length: a station so little past an end is that end, by rounding or a unit
END_NUDGE = 1e-7  # of the length: the first and last plane stand this far inside the flat openings


@dataclass(frozen=True)
class Patch:
    """Wall that a scan lacks, made up: its middle (3,), area, mm2, standard uncertainty of its height, mm."""

    place: FloatArray
    area: float
    height_u: float


@dataclass(frozen=True, eq=False)
class Port:
    """A tube of air with two openings, in the port frame (millimetres).

    centreline : its spine, entry at its first station. mesh : its closed mesh, outward, or the rings that a
    lofted port's is made of once it is asked for; vertices (n, 3) and faces (m, 3) are the mesh's.
    frame : (4, 4) that takes the source's own coordinates into the port frame.
    readings : the rows it was lofted from, none for a scan. rows : (k,) stations of the measured
    sections. noise : standard deviation of the mesh's points off the true wall.
    grain : how that noise hangs together, None where nobody looked. ends_u : standard uncertainties of where
    the planes of entry and exit stand; ends_area_u : of their areas, as shares, from where they were read on to
    the plane. scale_error : standard uncertainty of a scan's scale, as a share, None
    where it is not stated. warnings : notices from the making. valve_end : the opening at the valve, an
    intake's exit or an exhaust's entry. bend : number of the bend that is worked on, from 1 at the entry;
    None: the one next to the valve. marks : what rows are marked as, and their stations. flats : mm2 that a
    section lacks on average because the mesh's triangles are flat, None where that is to be told from the mesh.
    patches : wall of a scan that was made up. source : what is recorded of the file it came from; display : the
    unit it is shown in.
    """

    centreline: Centreline
    mesh: Triangles | Rings
    frame: FloatArray = field(default_factory=lambda: np.eye(4))
    readings: tuple[Reading, ...] = ()
    rows: FloatArray = field(default_factory=lambda: np.zeros(0))
    noise: float = 0.0
    grain: Grain | None = None
    ends_u: tuple[float, float] = (0.0, 0.0)
    ends_area_u: tuple[float, float] = (0.0, 0.0)
    scale_error: float | None = None
    warnings: tuple[Notice, ...] = ()
    valve_end: Literal["entry", "exit"] = "exit"
    bend: int | None = None
    marks: tuple[tuple[Mark, float], ...] = ()
    flats: float | None = None
    patches: tuple[Patch, ...] = ()
    source: dict[str, Any] = field(default_factory=dict)
    display: Display = MILLIMETRES

    def __repr__(self) -> str:
        first, last = self.centreline.stations[[0, -1]]
        made = f"{len(self.readings)} rows" if self.readings else f"{self.mesh.face_count} triangles"
        return f"Port({self.source.get('file', 'no file')}, {last - first:.1f} mm, {made})"

    @property
    def vertices(self) -> FloatArray:
        """The mesh's vertices (n, 3)."""
        return self.mesh.vertices

    @property
    def faces(self) -> IntArray:
        """The mesh's faces (m, 3)."""
        return self.mesh.faces

    def marked(self, mark: Mark) -> FloatArray:
        """Return the stations (k,) of the rows with a mark."""
        return np.array([station for name, station in self.marks if name == mark])

    def section_at(self, station: float) -> Section:
        """Return the section at a station, mm.

        Raises InputError where it is no number, GeometryError where it is outside the port or the plane there cuts no
        tube.
        """
        if isinstance(station, bool) or not isinstance(station, Real):
            raise InputError(f"station {station!r} is not a number", hint="Give it in millimeters, such as 25.4")
        first, last = self.centreline.stations[[0, -1]]
        off = STATION_ROUNDING * (last - first)
        if not first - off <= station <= last + off:
            raise GeometryError(
                f"station {station:g} mm is outside the port ({first:g} to {last:g} mm)", hint="Give one between these"
            )
        return sections_at(self, np.clip([float(station)], first, last))[0]

    def to_trimesh(self) -> trimesh.Trimesh:
        """Return the port's mesh in the source's own coordinates, mm, for trimesh."""
        import trimesh

        return trimesh.Trimesh(self.to_source(self.vertices), self.faces, process=False)

    def to_pyvista(self) -> pyvista.PolyData:
        """Return the port's mesh in the source's own coordinates, mm, for pyvista."""
        import pyvista

        return pyvista.PolyData.from_regular_faces(self.to_source(self.vertices), self.faces.astype(int))

    def to_source(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) or (3,) of the port frame in the source's own coordinates."""
        return (np.asarray(points) - self.frame[:3, 3]) @ self.frame[:3, :3]

    def from_source(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) or (3,) of the source's own coordinates in the port frame."""
        return np.asarray(points @ self.frame[:3, :3].T + self.frame[:3, 3])

    def direction_to_source(self, directions: FloatArray) -> FloatArray:
        """Return directions (n, 3) or (3,) of the port frame in the source's own coordinates."""
        return np.asarray(directions) @ self.frame[:3, :3]


def port_from_readings(
    readings: Sequence[Reading],
    *,
    chord_error: float = CHORD_ERROR_MM,
    stations: FloatArray | None = None,
) -> Port:
    """Return the port lofted through the sections that readings describe.

    stations : where rings stand, by default as close as `chord_error` asks. Raises GeometryError
    where they do not make one.
    """
    return port_on(surface_from_readings(readings), readings, chord_error=chord_error, stations=stations)


def port_on(
    surface: Surface,
    readings: Sequence[Reading],
    *,
    chord_error: float = CHORD_ERROR_MM,
    stations: FloatArray | None = None,
) -> Port:
    """Return the port that a surface through readings is, in its own frame, as port_from_readings does."""
    surface, frame = _into_port_frame(surface)
    marks = tuple((mark, float(s)) for r, s in zip(readings, surface.stations, strict=True) for mark in r.mark)
    return Port(
        centreline=surface.centreline,
        mesh=loft(surface, chord_error, stations),
        frame=frame,
        readings=tuple(readings),
        rows=surface.stations,
        marks=marks,
        valve_end=_valve_end(marks, surface.stations),
    )


def _valve_end(marks: Sequence[tuple[Mark, float]], stations: FloatArray) -> Literal["entry", "exit"]:
    """Return which opening is at the valve: the one that throat and seat are marked near, else the exit."""
    at_valve = [station for mark, station in marks if mark in ("throat", "seat")]
    return "entry" if at_valve and np.mean(at_valve) < np.mean(stations[[0, -1]]) else "exit"


def _into_port_frame(surface: Surface) -> tuple[Surface, FloatArray]:
    """Return the surface in the port frame, and the (4, 4) that takes the sheet's into it.

    The origin is the centroid of the entry opening, +x the entry normal, +z the roof.
    """
    spine = surface.centreline
    first = spine.frames[0]
    centroid = spine.points[0] + moments(surface.outlines[0]).centroid @ first[1:]
    frame = np.eye(4)
    frame[:3, :3] = first
    frame[:3, 3] = -first @ centroid
    moved = Centreline(
        spine.stations, spine.points @ first.T + frame[:3, 3], np.einsum("nij,kj->nik", spine.frames, first)
    )
    return replace(surface, centreline=moved), frame


def sections_at(port: Port, stations: FloatArray) -> list[Section]:
    """Return the sections of the port at stations (k,).

    Those of a lofted port lie on its surface. A mesh is cut in one pass, at the two openings just inside them.
    Raises GeometryError where a plane cuts no tube.
    """
    if isinstance(port.mesh, Rings):
        return sections_on(port.mesh.surface, stations)
    first, last = port.centreline.stations[[0, -1]]
    nudge = END_NUDGE * (last - first)
    points, frames = at(port.centreline, stations)
    # Parallel to the opening: a plane that leaned by what the line bends on the way would leave through it.
    points = points + (np.clip(stations, first + nudge, last - nudge) - stations)[:, None] * frames[:, 0]
    sections = tube_sections(slice_mesh(port.vertices, port.faces, points, frames[:, 0]), points, frames)
    found: list[Section] = []
    for station, section in zip(stations, sections, strict=True):
        if section is None:
            raise GeometryError(
                f"the plane at station {station:.2f} mm cuts no closed section of the tube",
                hint="Look at the mesh there: it must be one closed tube between its two openings",
            )
        found.append(section)
    return found


def in_one_frame(one: Port, other: Port) -> bool:
    """Return whether two ports' own coordinates mean one place: of readings both, or one made of the other."""
    return bool(one.readings and other.readings) or np.array_equal(one.frame, other.frame)


def stations_of(port: Port, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the station (n,) of each point (n, 3) and its clock position (n,) in hours from 0 to 12.

    A point's station is that of the plane through it, the nearest where several are: found from the
    nearest of close points on the centreline and refined until the plane passes through the point.
    """
    from scipy.spatial import cKDTree

    spine = port.centreline
    first, last = spine.stations[[0, -1]]
    close = np.linspace(first, last, STATION_GUESSES)
    centres, _ = at(spine, close)
    station = close[cKDTree(centres).query(points)[1]]
    for _ in range(STATION_STEPS):
        here, frames = at(spine, station)
        ahead = np.einsum("ij,ij->i", points - here, frames[:, 0])
        nearby, turned = at(spine, station + STATION_PROBE)
        beyond = np.einsum("ij,ij->i", points - nearby, turned[:, 0])
        rate = np.clip((ahead - beyond) / STATION_PROBE, 0.2, None)  # under 1 on the inside of a turn
        station = np.clip(station + ahead / rate, first, last)
    here, frames = at(spine, station)
    arm = points - here
    left, up = (np.einsum("ij,ij->i", arm, frames[:, k]) for k in (1, 2))
    return station, np.degrees(np.arctan2(-left, up)) / 30.0 % 12.0
