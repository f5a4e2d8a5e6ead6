"""Split: a trunk that parts into legs, each a passage of its own, and the one watertight mesh of them all.

Readings of the trunk and of each leg come in; their ports, laid together in the trunk's sheet, go out, or a refusal
that says which leg does not fit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any

import manifold3d
import numpy as np
import shapely

from portgeo.core.centreline import turned_onto
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port, port_from_readings, port_on
from portgeo.core.section import Reading
from portgeo.core.skin import Rings, tube_strips
from portgeo.core.surface import surface_from_readings
from portgeo.core.triangles import Triangles
from portgeo.core.units import MILLIMETRES, Display

if TYPE_CHECKING:
    import pyvista
    import trimesh

TRUNK = "trunk"  # what the passage before the split is called
FLUSH_MM = 0.1  # two readings of one wall differ by so much: a leg's outline may stand out of the trunk's by it
SHARED = 1e-4  # of a leg's volume: legs that run into each other have more of it in common


@dataclass(frozen=True)
class Leg:
    """One leg: its name, and the port that it is from the split to its valve."""

    name: str
    port: Port


@dataclass(frozen=True)
class Junction:
    """What lies between the last plane of a scan's trunk and the first of each leg: no passage's own.

    mesh : closed, outward, in the scan's own coordinates. nose (3,) : the foremost place of the divider, there too.
    """

    mesh: Triangles
    nose: FloatArray


@dataclass(frozen=True, eq=False)
class SplitPort:
    """A trunk and the legs that it parts into.

    Readings' trunk ends in the plane of the split, and the legs begin there. A scan's legs begin where a plane square
    to them is clear of the trunk's last plane and of the divider; between lies its junction. Each is a Port whose
    frame takes the sheet's or scan's own coordinates into its own. whole : a scan's mesh of all of it. source,
    display, warnings : as a Port's.
    """

    trunk: Port
    legs: tuple[Leg, ...]
    source: dict[str, Any]
    display: Display = MILLIMETRES
    warnings: tuple[Notice, ...] = ()
    junction: Junction | None = None
    whole: Triangles | None = None

    def __repr__(self) -> str:
        names = ", ".join(passage.name for passage in self.passages)
        return f"SplitPort({self.source.get('file', 'no file')}, {names})"

    @property
    def passages(self) -> tuple[Leg, ...]:
        """The trunk and the legs, by name."""
        return (Leg(TRUNK, self.trunk), *self.legs)

    def leg_of(self, port: Port) -> Leg | None:
        """Return the leg that a port is, whatever is told of its bend and valve; None where it is none."""
        # By where it lies: a port that was kept between two runs has a mesh of its own.
        return next((leg for leg in self.legs if np.array_equal(leg.port.frame, port.frame)), None)

    def each(self, change: Callable[[Port], Port]) -> SplitPort:
        """Return the port with its trunk and every leg changed alike."""
        return replace(
            self, trunk=change(self.trunk), legs=tuple(replace(leg, port=change(leg.port)) for leg in self.legs)
        )

    @cached_property
    def mesh(self) -> Triangles:
        """One watertight mesh of all passages in the sheet's or scan's own coordinates, outward."""
        if self.whole is not None:
            return self.whole
        return _joined([_rings(passage.port) for passage in self.passages])

    def to_trimesh(self) -> trimesh.Trimesh:
        """Return the one mesh of all passages in the sheet's own coordinates, mm, for trimesh."""
        import trimesh

        return trimesh.Trimesh(self.mesh.vertices, self.mesh.faces, process=False)

    def to_pyvista(self) -> pyvista.PolyData:
        """Return the one mesh of all passages in the sheet's own coordinates, mm, for pyvista."""
        import pyvista

        return pyvista.PolyData.from_regular_faces(self.mesh.vertices, self.mesh.faces.astype(int))

    def passage(self, name: str) -> Port:
        """Return the trunk or a leg by its name. Raises InputError where there is none such."""
        for passage in self.passages:
            if passage.name.casefold() == str(name).casefold():
                return passage.port
        names = ", ".join(passage.name for passage in self.passages)
        raise InputError(f"there is no leg {str(name)[:40]!r}", hint=f"Its passages are {names}")


def split_port(
    trunk: Sequence[Reading], legs: Mapping[str, Sequence[Reading]], display: Display = MILLIMETRES
) -> SplitPort:
    """Return the port whose trunk parts into legs. display : the unit of what is said to be wrong.

    A leg's first reading lies in the plane of the trunk's last: its shift and rise say where in it the leg's own
    centreline begins, off which those of its other readings are. Raises GeometryError where one of them makes no port,
    a leg's outline does not lie inside the trunk's, or two passages run into each other.
    """
    stem = port_from_readings(trunk)
    made = tuple(Leg(name, _leg(stem, readings)) for name, readings in legs.items())
    _check_outlines(stem, made, display)
    port = SplitPort(stem, made, {})
    _check_apart(port)
    return port


def _leg(trunk: Port, readings: Sequence[Reading]) -> Port:
    """Return a leg that begins in the trunk's last plane, its frame from the trunk's sheet into its own.

    Its readings are off its own centreline: the first's shift and rise are where that begins, and so none.
    """
    first = readings[0]
    end, frame = _end_of(trunk)
    own = (replace(first, shift=0.0, rise=0.0), *readings[1:])
    return _begun(own, end + first.shift * frame[1] + first.rise * frame[2], frame)


def _begun(readings: Sequence[Reading], point: FloatArray, frame: FloatArray) -> Port:
    """Return the port of readings whose centreline begins at a point (3,) with a frame (3, 3)."""
    surface = surface_from_readings(readings)
    return port_on(replace(surface, centreline=turned_onto(surface.centreline, point, frame)), readings)


def begun_as(port: Port, readings: Sequence[Reading]) -> Port:
    """Return the port that other readings of a passage make, begun where it begins: a leg at the split."""
    spine = port.centreline
    return _begun(readings, port.to_source(spine.points[0]), port.direction_to_source(spine.frames[0]))


def _end_of(trunk: Port) -> tuple[FloatArray, FloatArray]:
    """Return the point (3,) and the frame (3, 3) of a trunk's last plane, in the sheet's own coordinates."""
    spine = trunk.centreline
    return trunk.to_source(spine.points[-1]), trunk.direction_to_source(spine.frames[-1])


def _rings(port: Port) -> FloatArray:
    """Return the points (k, m, 3) of a passage's rings, in the sheet's own coordinates."""
    assert isinstance(port.mesh, Rings)
    return port.to_source(port.mesh.space)


def _check_outlines(trunk: Port, legs: Sequence[Leg], display: Display) -> None:
    """Refuse legs whose outlines in the plane of the split lie outside the trunk's, or on each other."""
    origin, frame = _end_of(trunk)

    def drawn(port: Port, end: int) -> shapely.Polygon:
        return shapely.Polygon((_rings(port)[end] - origin) @ frame[1:].T)

    whole = drawn(trunk, -1)
    shapes = {leg.name: drawn(leg.port, 0) for leg in legs}
    rows = {leg.name: leg.port.readings[0].row for leg in legs}
    for name, shape in shapes.items():
        outside = shape.difference(whole)
        if outside.is_empty:
            continue
        out = shapely.hausdorff_distance(shapely.union(outside, whole), whole)
        if out > FLUSH_MM:
            raise GeometryError(
                f"leg {name} stands {display.length(out)} out of the trunk's outline in the plane of the split",
                where=f"row {rows[name]}",
                hint="Check its shift, rise, height and width there, and the trunk's last row",
            )
    for one, other in combinations(shapes, 2):
        both = shapes[one].intersection(shapes[other])
        if not both.is_empty and both.area > FLUSH_MM * both.length / 2.0:
            raise GeometryError(
                f"legs {one} and {other} lie on each other in the plane of the split",
                where=f"rows {rows[one]} and {rows[other]}",
                hint="Check their shift and width there: the divider stands between them",
            )


def _check_apart(port: SplitPort) -> None:
    """Refuse passages that run into each other past the split."""
    solids = {
        passage.name: manifold3d.Manifold(
            manifold3d.Mesh64(passage.port.to_source(passage.port.vertices), passage.port.faces.astype(np.uint64))
        )
        for passage in port.passages
    }
    for one, other in combinations(solids, 2):
        shared = (solids[one] ^ solids[other]).volume()
        # What lies flush in the plane of the split is shared by rounding, and as far as readings of one wall differ.
        if shared > SHARED * min(solids[one].volume(), solids[other].volume()):
            raise GeometryError(
                f"{one} and {other} run into each other: they share {shared / 1000.0:.2f} cc",
                where=_rows_of(port, other),
                hint="Check the shift, swing_deg and width of these rows: a divider stands between two legs",
            )


def _rows_of(port: SplitPort, name: str) -> str:
    rows = [reading.row for reading in port.passage(name).readings]
    return f"rows {rows[0]} to {rows[-1]}"


def _joined(spaces: Sequence[FloatArray]) -> Triangles:
    """Return the mesh of a trunk and legs: their walls, the face that stands in the plane of the split, the openings.

    spaces : points (k, m, 3) of the trunk's rings, then of each leg's, in one frame.
    """
    vertices: list[FloatArray] = []
    faces: list[IntArray] = []
    ends: list[tuple[IntArray, IntArray]] = []
    count = 0
    for space in spaces:
        points, first, strips = tube_strips(space)
        vertices.append(points)
        faces.append(strips + count)
        ends.append((np.arange(first[0], first[1]) + count, np.arange(first[-2], first[-1]) + count))
        count += len(points)
    every = np.concatenate(vertices)
    (entry, split), *legs = ends
    faces.append(_cap(every, [entry], _across(every[entry]))[:, ::-1])
    faces.append(_cap(every, [split, *(begin[::-1] for begin, _ in legs)], _across(every[split])))
    faces += [_cap(every, [end], _across(every[end])) for _, end in legs]
    return Triangles(every, np.concatenate(faces))


def _across(ring: FloatArray) -> FloatArray:
    """Return two directions (3, 2) in the plane of a ring (m, 3), counterclockwise as the ring is."""
    arm = ring - ring.mean(axis=0)
    normal = np.cross(arm, np.roll(arm, -1, axis=0)).sum(axis=0)
    normal /= np.linalg.norm(normal)
    one = arm[0] / np.linalg.norm(arm[0])
    one -= (one @ normal) * normal
    one /= np.linalg.norm(one)
    return np.column_stack([one, np.cross(normal, one)])


def _cap(vertices: FloatArray, contours: Sequence[IntArray], across: FloatArray) -> IntArray:
    """Return the faces of a flat cap inside contours of vertices: the first counterclockwise, holes the other way."""
    order = np.concatenate(contours)
    flat = [(vertices[contour] - vertices[order[0]]) @ across for contour in contours]
    triangles = manifold3d.triangulate(flat, FLUSH_MM if len(contours) > 1 else -1.0)
    return order[np.asarray(triangles, dtype=np.int64)]
