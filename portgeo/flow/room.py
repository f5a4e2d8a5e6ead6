"""Room: tetrahedra between the grids of trunk and legs of a scan that splits, which meet them in their own planes.

The scan and the grids come in; a Room, and of its potential the speeds on its wall, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.triangles import Triangles
from portgeo.flow.lattice import Tetrahedra, cut_off, fill
from portgeo.flow.potential import Elements, joined_by
from portgeo.flow.tube import Tube

BEYOND = 3.0  # spacings, over which what lies past a plane is cut off: what is left there then hangs on nothing
BESIDE = 0.5  # spacings past an opening's outline that are still its own
ON_PLANE = 1e-6  # mm
WHOLE = 0.95  # of a passage's section: a room that meets less of it does not meet it whole
SIDES = np.array([[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]])  # of a tetrahedron of positive volume, seen from outside
FITTED = 10  # numbers of a parabola in space
RINGED = 2  # steps from point to point that its fit takes in


@dataclass(frozen=True)
class Cap:
    """Where a room meets a passage: the numbers (k,) of its nodes there, their places (k, 2) in the plane of the
    passage's section, and the triangles (f, 3) of them."""

    nodes: IntArray
    places: FloatArray
    faces: IntArray

    @property
    def area(self) -> float:
        """Of the triangles."""
        corner = self.places[self.faces]
        arm, other = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
        return float(np.abs(arm[:, 0] * other[:, 1] - arm[:, 1] * other[:, 0]).sum() / 2.0)


@dataclass(frozen=True)
class Room:
    """Tetrahedra in a junction, in the scan's own coordinates. caps : of the trunk, then of each leg."""

    mesh: Tetrahedra
    caps: tuple[Cap, ...]

    @property
    def count(self) -> int:
        """Nodes."""
        return len(self.mesh.points)

    @cached_property
    def elements(self) -> Elements:
        """Linear elements."""
        corner = self.mesh.points[self.mesh.corners]
        edges = np.linalg.inv(corner[:, 1:] - corner[:, :1])  # columns: gradients of the last three shape functions
        gradients = np.concatenate([-edges.sum(axis=2)[:, None], edges.transpose(0, 2, 1)], axis=1)
        return Elements(
            joined_by(self.mesh.corners, self.count), gradients[..., None], self.mesh.volume[:, None], self.count
        )

    @cached_property
    def wall(self) -> IntArray:
        """Numbers (k,) of the nodes on the wall, caps left out."""
        open_at = np.zeros(self.count, bool)
        for cap in self.caps:
            open_at[cap.nodes] = True
        return np.setdiff1d(np.unique(_skin(self.mesh.corners)), np.flatnonzero(open_at))

    def speeds(self, values: FloatArray, wall: IntArray) -> FloatArray:
        """Return the speeds (k,) at nodes (k,) of a potential (n,): of parabolas through the points near each."""
        corners, points = self.mesh.corners, self.mesh.points
        row, column = (np.ravel(k) for k in np.broadcast_arrays(corners[:, :, None], corners[:, None, :]))
        near = coo_matrix((np.ones(len(row)), (row, column)), shape=(self.count, self.count)).tocsr()
        about = near[wall]
        for _ in range(RINGED - 1):
            about = csr_matrix(about @ near)
        which = np.repeat(np.arange(len(wall)), np.diff(about.indptr))
        size = float(np.cbrt(self.mesh.volume.mean() * 6.0))
        off = (points[about.indices] - points[wall][which]) / size
        rise = values[about.indices] - values[wall][which]
        x, y, z = off.T
        terms = np.stack([np.ones(len(x)), x, y, z, x * x, y * y, z * z, x * y, y * z, z * x], axis=1)
        weight = np.exp(-(off**2).sum(axis=1) / RINGED)
        order = about.indptr[:-1]
        moments = np.add.reduceat(weight[:, None, None] * terms[:, :, None] * terms[:, None, :], order)
        load = np.add.reduceat((weight * rise)[:, None] * terms, order)
        flat = 1e-9 * np.trace(moments, axis1=1, axis2=2)[:, None, None] * np.eye(FITTED)
        fit = np.linalg.solve(moments + flat, load[..., None])[..., 0]
        return np.asarray(np.linalg.norm(fit[:, 1:4], axis=1) / size)


def room_of(whole: Triangles, nose: FloatArray, trunk: Tube, legs: Sequence[Tube], spacing: float) -> Room:
    """Return the tetrahedra between a trunk and legs, most edges a spacing or its diagonal long.

    whole : the scan, closed. nose (3,) : of the divider. Raises GeometryError where they do not meet a passage whole.
    """
    openings = [_Opening.of(tube, trunk=k == 0) for k, tube in enumerate((trunk, *legs))]
    rims = np.concatenate([opening.rim for opening in openings])
    margin = (BEYOND + 2.0) * spacing
    box = np.stack([rims.min(axis=0) - margin, rims.max(axis=0) + margin])
    mesh = fill(whole.vertices, np.asarray(whole.faces, np.int64), spacing, box)
    for opening in openings:
        mesh = cut_off(mesh, opening.heights(mesh.points, spacing), opening.outward, spacing)
    mesh = _piece_at(mesh, nose)
    skin = _skin(mesh.corners)
    caps = []
    for opening in openings:
        level = np.abs(opening.heights(mesh.points, spacing)) < ON_PLANE
        nodes, number = np.unique(skin[level[skin].all(axis=1)], return_inverse=True)
        cap = Cap(nodes, opening.flat(mesh.points[nodes]), number.reshape(-1, 3))
        if not cap.area > WHOLE * moments(opening.outline).area:
            raise GeometryError(
                "no flow grid can be laid in the junction of trunk and legs",
                where="about ({:.1f}, {:.1f}, {:.1f}) mm".format(*opening.origin),
                hint="Look at the scan there for a fin or a gap; or take one leg and give what flows through it",
            )
        caps.append(cap)
    return Room(mesh, tuple(caps))


@dataclass(frozen=True)
class _Opening:
    """An opening of a junction: its section's place (3,) and frame (3, 3), outline (n, 2), outward (3,) from the
    junction, all in the scan's own coordinates."""

    origin: FloatArray
    frame: FloatArray
    outline: FloatArray
    outward: FloatArray

    @classmethod
    def of(cls, tube: Tube, *, trunk: bool) -> _Opening:
        section = tube.sections[-1 if trunk else 0]
        frame = tube.path.ports[0].direction_to_source(section.frame)
        origin = tube.to_source(section.origin)
        return cls(origin, frame, section.outline, frame[0] * (-1.0 if trunk else 1.0))

    def flat(self, points: FloatArray) -> FloatArray:
        return (points - self.origin) @ self.frame[1:].T

    @property
    def rim(self) -> FloatArray:
        """Points (n, 3) of the outline."""
        return np.asarray(self.origin + self.outline @ self.frame[1:])

    def heights(self, points: FloatArray, spacing: float) -> FloatArray:
        """Return how far beyond the opening points (n, 3) are, -inf where they are not of it."""
        height = (points - self.origin) @ self.outward
        near = np.flatnonzero((height > -spacing) & (height < (BEYOND + 1.0) * spacing))
        shape = shapely.Polygon(self.outline).buffer(BESIDE * spacing)
        own = near[shapely.contains_xy(shape, self.flat(points[near]))]
        found = np.full(len(points), -np.inf)
        found[own] = height[own]
        return found


def _skin(corners: IntArray) -> IntArray:
    """Return the triangles (f, 3) of tetrahedra that no two share, outward."""
    sides = corners[:, SIDES].reshape(-1, 3)
    _, first, count = np.unique(np.sort(sides, axis=1), axis=0, return_index=True, return_counts=True)
    return np.asarray(sides[first[count == 1]])


def _piece_at(mesh: Tetrahedra, place: FloatArray) -> Tetrahedra:
    """Return the piece of a mesh that is nearest to a place (3,)."""
    corners, points = mesh.corners, mesh.points
    if not len(corners):
        return mesh
    links = (np.repeat(corners[:, 0], 3), corners[:, 1:].ravel())
    _, piece = connected_components(coo_matrix((np.ones(len(links[0])), links), (len(points),) * 2), directed=False)
    own = piece[np.argmin(np.linalg.norm(points - place, axis=1))]
    corners = corners[piece[corners[:, 0]] == own]
    used, number = np.unique(corners, return_inverse=True)
    return Tetrahedra(points[used], number.reshape(-1, 4))
