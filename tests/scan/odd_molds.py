"""Maker of odd molds for the tests: slabs, stems, legs, wide and stubby ports, halves, lumps.

Each is put together by booleans of manifold3d from tubes and blocks; its truth is the closed form of
the clean tube, or the volume of a boolean, and shares no code with what is tried.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import trimesh
from numpy.typing import NDArray

from tests.scan.make import Scan, Shape, tube

FloatArray = NDArray[np.float64]

# Section sizes change along these; the turn is towards -z.
HEAD = Shape()  # an ordinary head port: tall entry, round exit


def solid_of(scan: Scan) -> manifold3d.Manifold:
    """The solid of a closed mesh."""
    return manifold3d.Manifold(manifold3d.Mesh64(scan.vertices, scan.faces.astype(np.uint64)))


def scan_of(solid: manifold3d.Manifold, edge: float) -> Scan:
    """A mesh of a solid with no edge longer than `edge`."""
    mesh = solid.refine_to_length(edge).to_mesh64()
    return Scan(np.ascontiguousarray(mesh.vert_properties[:, :3]), np.asarray(mesh.tri_verts, dtype=np.int64))


def bar(
    point: FloatArray, along: FloatArray, length: float, radius: float, end: float | None = None
) -> manifold3d.Manifold:
    """A round bar from a point along a direction, of another radius at its end where `end` is given."""
    along = np.asarray(along, dtype=float) / np.linalg.norm(along)
    left = np.cross(np.eye(3)[int(np.argmin(np.abs(along)))], along)
    left /= np.linalg.norm(left)
    axes = np.column_stack([left, np.cross(along, left), along, point])
    return manifold3d.Manifold.cylinder(length, radius, radius if end is None else end, 96).transform(axes)


def slab(shape: Shape, thickness: float, beyond: float) -> manifold3d.Manifold:
    """A block of silicone in front of the entry, its edge `beyond` mm outside the port's."""
    size = (thickness, shape.width[0] + 2.0 * beyond, shape.height[0] + 2.0 * beyond)
    return manifold3d.Manifold.cube(size, True).translate((-thickness / 2.0, 0.0, 0.0))


def stem(shape: Shape, radius: float, length: float, end: float | None = None) -> manifold3d.Manifold:
    """What runs up a guide's bore: a bar on the exit's axis, out through the roof by `length`."""
    point, heading, _ = (v[0] for v in shape.spine(np.array([shape.length])))
    up = -heading
    inside = 0.0
    # From the exit's middle up to the roof: the outer wall of the turn, found on the solid itself.
    ray = trimesh.Trimesh(*_mesh(shape), process=False).ray.intersects_location(
        [point + 0.01 * up], [up], multiple_hits=True
    )[0]
    inside = float(np.sort((ray - point) @ up)[0]) if len(ray) else 0.0
    return bar(point + (inside - 12.0) * up, up, 12.0 + length, radius, end)


def _mesh(shape: Shape) -> tuple[FloatArray, FloatArray]:
    scan = tube(shape, 2.0)
    return scan.vertices, scan.faces


def with_slab_and_stem(shape: Shape, edge: float, thickness: float = 14.0, radius: float = 4.0) -> Scan:
    """A mold as it comes out of a head with the guide's bore open and silicone over the flange."""
    return scan_of(solid_of(tube(shape, edge)) + slab(shape, thickness, 16.0) + stem(shape, radius, 35.0), edge)


def twin(leg: Shape, edge: float) -> Scan:
    """Two legs, mirror images across a level plane, that share their entry."""
    solid = solid_of(tube(leg, edge))
    return scan_of(solid + solid.mirror((0, 0, 1)), edge)


def straight(outline: FloatArray, length: float, edge: float) -> Scan:
    """A straight port of one outline (n, 2), along x."""
    section = manifold3d.CrossSection([outline])
    solid = manifold3d.Manifold.extrude(section, length).transform([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0]])
    return scan_of(solid, edge)


def rounded(width: float, height: float, corner: float) -> FloatArray:
    """The outline (n, 2) of a rectangle with round corners; its area is w h - (4 - pi) r^2."""
    turn = np.linspace(0.0, np.pi / 2.0, 33)
    quarter = corner * np.column_stack([np.cos(turn), np.sin(turn)]) + [width / 2.0 - corner, height / 2.0 - corner]
    half = np.vstack([quarter, quarter[::-1] * [-1.0, 1.0]])
    return np.vstack([half, half[::-1] * [1.0, -1.0]])


def peanut(radius: float, apart: float, waist: float) -> manifold3d.CrossSection:
    """Two circles with a waist between them."""
    ball = manifold3d.CrossSection.circle(radius, 128)
    bridge = manifold3d.CrossSection.square((apart, waist), True)
    return ball.translate((apart / 2.0, 0.0)) + ball.translate((-apart / 2.0, 0.0)) + bridge


def straight_of(section: manifold3d.CrossSection, length: float, edge: float) -> Scan:
    """A straight port of a section, along x."""
    solid = manifold3d.Manifold.extrude(section, length).transform([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0]])
    return scan_of(solid, edge)


def elbow_of(section: manifold3d.CrossSection, radius: float, degrees: float, edge: float) -> Scan:
    """A port of one section swept round an arc of a centreline radius: Pappus gives its volume."""
    solid = manifold3d.Manifold.revolve(section.translate((radius, 0.0)), 720, degrees)
    return scan_of(solid, edge)


def halves(scan: Scan, edge: float) -> tuple[Scan, Scan]:
    """A mold cut along its length by the plane y = 0 into two closed halves."""
    left, right = solid_of(scan).split_by_plane((0.0, 1.0, 0.0), 0.0)
    return scan_of(left, edge), scan_of(right, edge)


def opened(scan: Scan, away: FloatArray, level: float) -> Scan:
    """A scan without its faces in the plane away . x = level."""
    off = np.abs(scan.vertices @ np.asarray(away, dtype=float) - level)[scan.faces].max(axis=1)
    return Scan(scan.vertices, scan.faces[off > 1e-6], scan.pose)


def figure(edge: float) -> Scan:
    """A standing figure on a flat foot: a lump with arms, a head and a base, and no tube."""
    ball = manifold3d.Manifold.sphere
    body = ball(30.0, 96).scale((1.0, 0.8, 1.6))
    head = ball(17.0, 96).translate((0.0, 0.0, 58.0))
    arms = bar(np.array([0.0, -48.0, 10.0]), np.array([0.0, 1.0, 0.15]), 96.0, 8.0)
    legs = bar(np.array([-12.0, 0.0, -80.0]), np.array([0.0, 0.0, 1.0]), 60.0, 11.0)
    legs = legs + legs.mirror((1.0, 0.0, 0.0))
    foot = manifold3d.Manifold.cube((60.0, 50.0, 10.0), True).translate((0.0, 0.0, -82.0))
    return scan_of(body + head + arms + legs + foot, edge)


def creature(edge: float) -> Scan:
    """A four-legged lump: a barrel, a head, four legs."""
    ball = manifold3d.Manifold.sphere
    barrel = ball(25.0, 96).scale((2.0, 1.0, 1.0))
    head = ball(13.0, 96).translate((58.0, 0.0, 18.0))
    neck = bar(np.array([30.0, 0.0, 5.0]), np.array([1.0, 0.0, 0.5]), 30.0, 9.0)
    solid = barrel + head + neck
    for x in (-28.0, 28.0):
        for y in (-12.0, 12.0):
            solid += bar(np.array([x, y, -50.0]), np.array([0.0, 0.0, 1.0]), 45.0, 6.0)
    return scan_of(solid, edge)
