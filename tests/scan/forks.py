"""Maker of molds of ports that split, whose truth shares no code with what is tried.

A `Fork` is a trunk and legs that are round tubes along a straight run and an arc: its volume is Open CASCADE's, its
sections are slices of a very fine solid of manifold3d, its scan a mesh of a coarser one whose points lie on the wall.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import manifold3d
import numpy as np
from numpy.typing import NDArray
from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeTorus
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps

from tests.scan.make import Scan
from tests.scan.odd_molds import scan_of

FloatArray = NDArray[np.float64]
AROUND = 96  # sides of a round tube of manifold3d's, before its points are put on the wall
STEP = 1.2  # mm along an arc
FINE, FINE_STEP = 480, 0.4  # of the solid that sections are told from: areas to 4e-5
NEAR = 0.1  # mm off the wall, that a point of such a mesh may be


@dataclass(frozen=True)
class Run:
    """A round tube: straight from a point along a direction, then an arc of a centreline radius in a plane.

    turn : radians, towards `aside`, square to the direction.
    """

    start: FloatArray
    along: FloatArray
    straight: float
    radius: float
    bend: float = 0.0
    turn: float = 0.0
    aside: FloatArray = field(default_factory=lambda: np.array([0.0, 0.0, -1.0]))

    def frames(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The direction, the direction turned towards, and the arc's centre."""
        along = self.along / np.linalg.norm(self.along)
        aside = self.aside - (self.aside @ along) * along
        aside /= np.linalg.norm(aside)
        return along, aside, self.start + self.straight * along + self.bend * aside

    def axis(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points (n, 3) at lengths past the straight part, and directions away from the arc's centre."""
        along, aside, centre = self.frames()
        turned = np.maximum(s, 0.0)[:, None] / max(self.bend, 1e-9)
        out = np.sin(turned) * along - np.cos(turned) * aside
        return centre + self.bend * out + np.minimum(s, 0.0)[:, None] * along, out

    def tip(self) -> tuple[FloatArray, FloatArray]:
        """Middle and heading of its end."""
        along, aside, _ = self.frames()
        middle = self.axis(np.array([self.bend * self.turn]))[0][0]
        return middle, np.cos(self.turn) * along + np.sin(self.turn) * aside

    def mesh(self, around: int, step: float) -> manifold3d.Manifold:
        """Rings of `around` points, `step` apart, and flat ends."""
        along, aside, _ = self.frames()
        arc = self.bend * self.turn
        s = np.linspace(-self.straight, 0.0, round(self.straight / step) + 1)
        if arc:
            s = np.append(s, np.linspace(0.0, arc, max(round(arc / step), 12) + 1)[1:])
        axis, out = self.axis(s)
        angle = 2.0 * np.pi * np.arange(around) / around
        ring = np.cos(angle)[:, None] * out[:, None] + np.sin(angle)[:, None] * np.cross(aside, along)
        points = np.vstack([(axis[:, None] + self.radius * ring).reshape(-1, 3), axis[[0, -1]]])
        here = np.arange(len(s) * around).reshape(len(s), around)
        nigh = np.roll(here, -1, axis=1)
        a, b, c, d = (part.ravel() for part in (here[:-1], nigh[:-1], here[1:], nigh[1:]))
        start, end = (np.full(around, len(points) - k) for k in (2, 1))
        faces = [[a, b, d], [a, d, c], [start, nigh[0], here[0]], [end, here[-1], nigh[-1]]]
        faces = np.concatenate([np.column_stack(corners) for corners in faces])
        return manifold3d.Manifold(manifold3d.Mesh64(points, faces.astype(np.uint64)))

    def on_wall(self, points: FloatArray) -> FloatArray:
        """Points (n, 3) that are near its wall, put on it."""
        along, aside, centre = self.frames()
        arm = points - centre
        ahead, out = arm @ along, arm @ aside
        turned = np.clip(np.arctan2(np.maximum(ahead, 0.0), -out), 0.0, self.turn)
        axis = centre + self.bend * (np.sin(turned)[:, None] * along - np.cos(turned)[:, None] * aside)
        axis = axis + np.minimum(ahead, 0.0)[:, None] * along
        off = points - axis
        far = np.linalg.norm(off, axis=1)
        near = np.abs(far - self.radius) < NEAR
        near &= ahead >= -self.straight - 1e-9
        return np.where(near[:, None], axis + off * (self.radius / np.maximum(far, 1e-9))[:, None], points)

    def brep(self):
        along, aside, centre = self.frames()
        axes = gp_Ax2(_point(self.start), _dir(along))
        shape = BRepPrimAPI_MakeCylinder(axes, self.radius, self.straight).Shape()
        if self.turn:
            about = gp_Ax2(_point(centre), _dir(np.cross(-aside, along)), _dir(-aside))
            arc = BRepPrimAPI_MakeTorus(about, self.bend, self.radius, self.turn).Shape()
            shape = BRepAlgoAPI_Fuse(shape, arc).Shape()
        return shape


def _point(p: FloatArray) -> gp_Pnt:
    return gp_Pnt(*(float(v) for v in p))


def _dir(d: FloatArray) -> gp_Dir:
    return gp_Dir(*(float(v) for v in d))


@dataclass(frozen=True)
class Stadium:
    """A straight trunk along x from `start` to 0: two half circles of a radius, `apart` to each side, and between."""

    start: float
    radius: float
    apart: float

    def mesh(self, around: int, step: float) -> manifold3d.Manifold:
        ball = manifold3d.CrossSection.circle(self.radius, around)
        shape = ball.translate((self.apart, 0.0)) + ball.translate((-self.apart, 0.0))
        shape = shape + manifold3d.CrossSection.square((2.0 * self.apart, 2.0 * self.radius), True)
        solid = manifold3d.Manifold.extrude(shape, -self.start, round(-self.start / step))
        return solid.transform([[0, 0, 1, self.start], [1, 0, 0, 0], [0, 1, 0, 0]])

    def on_wall(self, points: FloatArray) -> FloatArray:
        """Points (n, 3) that are near its round sides, put on them."""
        middle = np.clip(points[:, 1], -self.apart, self.apart)
        off = np.column_stack([points[:, 1] - middle, points[:, 2]])
        far = np.linalg.norm(off, axis=1)
        near = (np.abs(far - self.radius) < NEAR) & (points[:, 0] < 1e-9)
        off *= np.where(near, self.radius / np.maximum(far, 1e-9), 1.0)[:, None]
        return np.column_stack([points[:, 0], middle + off[:, 0], off[:, 1]])

    def brep(self):
        sides = [np.array([self.start, y, 0.0]) for y in (self.apart, -self.apart)]
        ends = [BRepPrimAPI_MakeCylinder(gp_Ax2(_point(p), gp_Dir(1, 0, 0)), self.radius, -self.start) for p in sides]
        corner = gp_Pnt(self.start, -self.apart, -self.radius)
        box = BRepPrimAPI_MakeBox(corner, -self.start, 2.0 * self.apart, 2.0 * self.radius).Shape()
        return BRepAlgoAPI_Fuse(BRepAlgoAPI_Fuse(ends[0].Shape(), ends[1].Shape()).Shape(), box).Shape()


@dataclass(frozen=True)
class Fork:
    """A trunk and legs; `legs` go out from inside it."""

    trunk: Run | Stadium
    legs: tuple[Run, ...]

    def mesh(self, edge: float) -> Scan:
        """Its mesh, of triangles of about `edge` mm."""
        scan = scan_of(self.solid(), edge)
        vertices = scan.vertices
        for part in (self.trunk, *self.legs):
            vertices = part.on_wall(vertices)
        return Scan(vertices, scan.faces)

    def mirrored_mesh(self, edge: float) -> Scan:
        """A mesh whose half at y < 0 is, point for point, the mirror image of the other, of trunk and first leg."""
        scan = scan_of(self.solid().trim_by_plane((0.0, 1.0, 0.0), 0.0), edge)
        on_plane = np.abs(scan.vertices[:, 1]) < 1e-9
        half = self.legs[0].on_wall(self.trunk.on_wall(scan.vertices))
        half[on_plane, 1] = 0.0
        faces = scan.faces[~on_plane[scan.faces].all(axis=1)]
        image = np.where(on_plane, np.arange(len(half)), np.arange(len(half)) + len(half))
        used, faces = np.unique(np.vstack([faces, image[faces[:, ::-1]]]), return_inverse=True)
        return Scan(np.vstack([half, half * [1.0, -1.0, 1.0]])[used], faces.reshape(-1, 3))

    def solid(self, around: int = AROUND, step: float = STEP) -> manifold3d.Manifold:
        """The union of its tubes by manifold3d: sides round each, and mm along its arcs."""
        solid = self.trunk.mesh(around, step)
        for leg in self.legs:
            solid = solid + leg.mesh(around, step)
        return solid

    def truth(self) -> Truth:
        shape = self.trunk.brep()
        for leg in self.legs:
            shape = BRepAlgoAPI_Fuse(shape, leg.brep()).Shape()
        return Truth(shape, self.solid(FINE, FINE_STEP))


@dataclass(frozen=True)
class Truth:
    """Open CASCADE's solid, and manifold3d's of very fine tubes."""

    shape: object
    fine: manifold3d.Manifold

    def volume(self) -> float:
        found = GProp_GProps()
        BRepGProp.VolumeProperties_s(self.shape, found)
        return abs(found.Mass())

    def area(self, point: FloatArray, normal: FloatArray) -> float:
        """Area of the part of its section in a plane whose middle is nearest to a point."""
        normal = normal / np.linalg.norm(normal)
        left = np.cross(np.eye(3)[int(np.argmin(np.abs(normal)))], normal)
        left /= np.linalg.norm(left)
        axes = np.stack([left, np.cross(normal, left), normal])
        parts = self.fine.transform(np.column_stack([axes, -axes @ point])).slice(0.0).decompose()
        middles = [np.mean(part.to_polygons()[0], axis=0) for part in parts]
        return float(parts[int(np.argmin(np.linalg.norm(middles, axis=1)))].area())


def twin(
    angle: float = 0.2,
    trunk: float = 18.0,
    leg: float = 16.0,
    apart: float = 14.0,
    long: float = 50.0,
    straight: float = 40.0,
    bend: float = 40.0,
    turn: float = 0.9,
    end: float | None = None,
    uneven: float = 0.0,
) -> Fork:
    """A flat trunk along x and two legs, mirror images in y, that swing out by `angle` and then turn down.

    uneven : by how much the right leg's radius is less.
    """  # fmt: skip
    legs = []
    for side in (1.0, -1.0):
        along = np.array([np.cos(angle), side * np.sin(angle), 0.0])
        start = np.array([-4.0, side * (apart - 4.0 * np.tan(angle)), 0.0])
        less = uneven if side < 0.0 else 0.0
        legs.append(Run(start, along, straight, leg - less, bend, turn))
    return Fork(Stadium(-long, trunk, apart), tuple(legs))
