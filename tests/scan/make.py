"""Maker of scans for the tests: port-like tubes of known shape, with the defects that mold scans have.

A shape is a row of superellipse-like sections on a centreline of arcs, evaluated in closed form, so
its truth needs no mesh; defects are put on a mesh of it afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import manifold3d
import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.integrate import quad

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Shape:
    """A tube: straight leg, arc of constant radius towards -z, straight leg; section by station.

    width, height : (value at entry, at exit), blended by a smooth step. square : exponent of the
    superellipse at entry and exit (2 is an ellipse, 8 nearly a rectangle).
    """

    legs: tuple[float, float] = (50.0, 30.0)
    radius: float = 38.0
    turn: float = np.radians(75.0)
    width: tuple[float, float] = (32.0, 34.0)
    height: tuple[float, float] = (46.0, 34.0)
    square: tuple[float, float] = (5.0, 2.0)

    @property
    def length(self) -> float:
        return self.legs[0] + self.radius * self.turn + self.legs[1]

    def blend(self, s: FloatArray) -> FloatArray:
        t = np.clip(s / self.length, 0.0, 1.0)
        return t * t * (3.0 - 2.0 * t)

    def size(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Half width, half height and exponent at stations."""
        b = self.blend(s)
        return tuple(
            v[0] + (v[1] - v[0]) * b for v in (np.array(self.width) / 2, np.array(self.height) / 2, self.square)
        )

    def area(self, s: FloatArray) -> FloatArray:
        """Area of |x/a|^p + |y/b|^p = 1: 4 a b Gamma(1 + 1/p)^2 / Gamma(1 + 2/p)."""
        from scipy.special import gamma

        a, b, p = self.size(np.asarray(s, float))
        return 4.0 * a * b * gamma(1.0 + 1.0 / p) ** 2 / gamma(1.0 + 2.0 / p)

    @property
    def volume(self) -> float:
        """Pappus: sections whose centroid is on the centreline sweep area times its length."""
        return quad(lambda s: float(self.area(s)), 0.0, self.length, limit=200)[0]

    def spine(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Points, headings and ups at stations (any, also beyond the ends)."""
        s = np.asarray(s, float)
        turned = np.clip((s - self.legs[0]) / self.radius, 0.0, self.turn)
        before = np.minimum(s, self.legs[0])
        after = np.maximum(s - self.legs[0] - self.radius * self.turn, 0.0)
        zero = np.zeros_like(s)
        heading = np.stack([np.cos(turned), zero, -np.sin(turned)], axis=-1)
        up = np.stack([np.sin(turned), zero, np.cos(turned)], axis=-1)
        point = np.stack([before + self.radius * np.sin(turned), zero, -self.radius * (1 - np.cos(turned))], axis=-1)
        return point + after[..., None] * heading, heading, up

    def rings(self, s: FloatArray, around: int, grow: float = 0.0) -> FloatArray:
        """Points (n, around, 3) on the wall at stations, about evenly spaced round it."""
        a, b, p = self.size(s)
        fine = np.linspace(0.0, 2.0 * np.pi, 1441)
        c, d = np.cos(fine), np.sin(fine)
        x = a[:, None] * np.sign(c) * np.abs(c) ** (2.0 / p[:, None]) + grow * c
        y = b[:, None] * np.sign(d) * np.abs(d) ** (2.0 / p[:, None]) + grow * d
        girth = np.hypot(np.diff(x, axis=1), np.diff(y, axis=1)).cumsum(axis=1)
        girth = np.concatenate([np.zeros((len(s), 1)), girth], axis=1)
        points, _, up = self.spine(s)
        left = np.array([0.0, 1.0, 0.0])
        out = np.empty((len(s), around, 3))
        for k in range(len(s)):
            at = np.arange(around) / around * girth[k, -1]
            out[k] = (
                points[k]
                + np.interp(at, girth[k], x[k])[:, None] * left
                + np.interp(at, girth[k], y[k])[:, None] * up[k]
            )
        return out


@dataclass(frozen=True)
class Scan:
    """A made scan: mesh, and the pose (4, 4) from the shape's coordinates into the file's."""

    vertices: FloatArray
    faces: IntArray
    pose: FloatArray = field(default_factory=lambda: np.eye(4))

    def placed(self, points: FloatArray) -> FloatArray:
        return points @ self.pose[:3, :3].T + self.pose[:3, 3]


def tube(shape: Shape, edge: float, caps: tuple[bool, bool] = (True, True), stagger: bool = True) -> Scan:
    """A closed mesh of a shape with triangles of about `edge` mm."""
    n = max(round(shape.length / (edge * 0.87)), 8)
    girth = 2.0 * (shape.width[0] + shape.height[0]) * 0.85
    m = max(round(girth / edge / 2) * 2, 16)
    s = np.linspace(0.0, shape.length, n + 1)
    rings = shape.rings(s, 2 * m)
    odd = np.arange(n + 1) % 2 if stagger else np.zeros(n + 1, dtype=int)
    rings = np.stack([rings[k, odd[k] :: 2] for k in range(n + 1)])
    index = np.arange((n + 1) * m).reshape(n + 1, m)
    faces = []
    for k in range(n):
        a, b = index[k], np.roll(index[k], -1)
        c, d = index[k + 1], np.roll(index[k + 1], -1)
        if odd[k] <= odd[k + 1]:
            faces += [np.column_stack([a, c, b]), np.column_stack([b, c, d])]
        else:
            faces += [np.column_stack([a, d, b]), np.column_stack([a, c, d])]
    vertices = rings.reshape(-1, 3)
    for end, want in ((0, caps[0]), (-1, caps[1])):
        if want:
            vertices, cap = _cap(vertices, index[end], edge, out=end == 0)
            faces.append(cap)
    faces = np.concatenate(faces)
    if np.linalg.det(vertices[faces]).sum() < 0.0:  # six times its volume
        faces = faces[:, ::-1]
    return Scan(vertices, faces)


def _cap(vertices: FloatArray, rim: IntArray, edge: float, out: bool) -> tuple[FloatArray, IntArray]:
    """Concentric rings towards the middle of a rim, so that a cap has triangles like the wall's."""
    ring = vertices[rim]
    middle = ring.mean(axis=0)
    count = max(int(np.linalg.norm(ring - middle, axis=1).mean() / edge), 2)
    faces, before = [], rim
    for k in range(1, count):
        new = len(vertices) + np.arange(len(rim))
        vertices = np.vstack([vertices, middle + (ring - middle) * (1 - k / count)])
        a, b, c, d = before, np.roll(before, -1), new, np.roll(new, -1)
        faces += [np.column_stack([a, b, c]), np.column_stack([b, d, c])]
        before = new
    centre = len(vertices)
    vertices = np.vstack([vertices, middle])
    faces.append(np.column_stack([before, np.roll(before, -1), np.full(len(rim), centre)]))
    cap = np.concatenate(faces)
    return vertices, cap if out else cap[:, ::-1]


def roughened(scan: Scan, noise: float, rng: np.random.Generator) -> Scan:
    """Every vertex moved along its normal by an independent error."""
    normals = np.asarray(trimesh.Trimesh(scan.vertices, scan.faces, process=False).vertex_normals)
    return Scan(scan.vertices + noise * rng.standard_normal(len(normals))[:, None] * normals, scan.faces, scan.pose)


def random_pose(rng: np.random.Generator) -> FloatArray:
    pose = np.eye(4)
    q = rng.standard_normal(4)
    pose[:3, :3] = trimesh.transformations.quaternion_matrix(q / np.linalg.norm(q))[:3, :3]
    pose[:3, 3] = rng.uniform(-300.0, 300.0, 3)
    return pose


def posed(scan: Scan, pose: FloatArray) -> Scan:
    return Scan(scan.vertices @ pose[:3, :3].T + pose[:3, 3], scan.faces, pose @ scan.pose)


def shuffled(scan: Scan, rng: np.random.Generator) -> Scan:
    """Triangles in another order, each begun at another corner, vertices renumbered."""
    order = rng.permutation(len(scan.vertices))
    index = np.empty(len(order), dtype=np.int64)
    index[order] = np.arange(len(order))
    faces = index[scan.faces][rng.permutation(len(scan.faces))]
    turn = rng.integers(0, 3, len(faces))
    faces = faces[np.arange(len(faces))[:, None], (np.arange(3) + turn[:, None]) % 3]
    return Scan(scan.vertices[order], faces, scan.pose)


def holed(scan: Scan, places: FloatArray, radius: float) -> Scan:
    """Triangles near given places (k, 3) are lost."""
    middles = scan.vertices[scan.faces].mean(axis=1)
    lost = (np.linalg.norm(middles[:, None] - places, axis=2) < radius).any(axis=1)
    return Scan(scan.vertices, scan.faces[~lost], scan.pose)


def with_debris(scan: Scan, rng: np.random.Generator, count: int = 3) -> Scan:
    """Small loose blobs beside the mold."""
    vertices, faces = [scan.vertices], [scan.faces]
    low, high = scan.vertices.min(axis=0), scan.vertices.max(axis=0)
    for _ in range(count):
        blob = trimesh.creation.icosphere(2, rng.uniform(0.5, 1.5))
        faces.append(np.asarray(blob.faces) + sum(len(v) for v in vertices))
        vertices.append(np.asarray(blob.vertices) + high + rng.uniform(3.0, 10.0, 3) * np.sign(high - low))
    return Scan(np.vstack(vertices), np.concatenate(faces), scan.pose)


def _solid(scan: Scan) -> manifold3d.Manifold:
    return manifold3d.Manifold(manifold3d.Mesh64(scan.vertices, scan.faces.astype(np.uint64)))


def _scan(solid: manifold3d.Manifold, edge: float | None, pose: FloatArray) -> Scan:
    mesh = (solid.refine_to_length(edge) if edge else solid).to_mesh64()
    return Scan(np.ascontiguousarray(mesh.vert_properties[:, :3]), np.asarray(mesh.tri_verts, dtype=np.int64), pose)


def with_spill(scan: Scan, shape: Shape, thickness: float, reach: float, edge: float) -> Scan:
    """A sheet of silicone spilled over the flange face, outside the entry plane."""
    slab = manifold3d.Manifold.cube((thickness, shape.width[0] + 2 * reach, shape.height[0] + 1.4 * reach))
    slab = slab.translate((-thickness, -shape.width[0] / 2 - reach, -shape.height[0] / 2 - reach))
    return _scan(_solid(scan) + slab, edge, scan.pose)


def with_seat(scan: Scan, shape: Shape, width: float, chamber: float, edge: float) -> Scan:
    """A 45-degree seat ring and a bit of chamber beyond the exit."""
    point, heading, up = (v[0] for v in shape.spine(np.array([shape.length])))
    r = shape.width[1] / 2
    seat = manifold3d.Manifold.cylinder(width, r, r + width, 180)
    bowl = manifold3d.Manifold.cylinder(chamber, r + width, r + width + 1.2 * chamber, 180).translate((0, 0, width))
    solid = seat + bowl + manifold3d.Manifold.cylinder(0.5, r - 0.2, r - 0.2, 180).translate((0, 0, -0.3))
    axes = np.column_stack([np.cross(up, heading), up, heading, point])
    if np.linalg.det(axes[:, :3]) < 0:
        axes[:, 0] *= -1
    return _scan(_solid(scan) + solid.transform(axes), edge, scan.pose)


def with_boss(scan: Scan, shape: Shape, boss: float, stem: float, edge: float) -> tuple[Scan, float]:
    """A guide boss and stem on the exit's axis let into the bowl; also the volume they take."""
    point, heading, up = (v[0] for v in shape.spine(np.array([shape.length])))
    axes = np.column_stack([np.cross(up, heading), up, heading, point - 90.0 * heading])
    if np.linalg.det(axes[:, :3]) < 0:
        axes[:, 0] *= -1
    stem_bar = manifold3d.Manifold.cylinder(120.0, stem / 2, stem / 2, 64).transform(axes)
    boss_bar = manifold3d.Manifold.cylinder(66.0, boss / 2, boss / 2, 64).transform(axes)
    solid = _solid(scan)
    left = solid - stem_bar - boss_bar
    return _scan(left, edge, scan.pose), float(solid.volume() - left.volume())


def cut_by_hand(scan: Scan, shape: Shape, rough: float, edge: float, rng: np.random.Generator) -> Scan:
    """The exit cut with a knife: a wavy face, out of square; the port's own end is lost."""
    point, heading, up = (v[0] for v in shape.spine(np.array([shape.length - 4.0])))
    n = 40
    g = np.linspace(-60.0, 60.0, n)
    u, v = np.meshgrid(g, g, indexing="ij")
    phase = rng.uniform(0, 6.28, 4)
    h = rough * (np.sin(u / 7 + phase[0]) + np.sin(v / 6 + phase[1]) + 0.5 * np.sin((u + v) / 4 + phase[2])) + 0.05 * u
    base = point + u[..., None] * np.array([0.0, 1.0, 0.0]) + v[..., None] * up + h[..., None] * heading
    top = base + 80.0 * heading
    index = np.arange(n * n).reshape(n, n)
    quads = []
    for a, b, c, d in [(index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:])]:
        a, b, c, d = (x.ravel() for x in (a, b, c, d))
        low = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
        quads = [low, low[:, ::-1] + n * n]
    border = np.concatenate([index[0, :], index[1:, -1], index[-1, -2::-1], index[-2:0:-1, 0]])
    nxt = np.roll(border, -1)
    quads.append(np.column_stack([border, nxt, nxt + n * n]))
    quads.append(np.column_stack([border, nxt + n * n, border + n * n]))
    block = trimesh.Trimesh(np.vstack([base.reshape(-1, 3), top.reshape(-1, 3)]), np.concatenate(quads), process=False)
    trimesh.repair.fix_normals(block)
    solid = _solid(scan) - _solid(Scan(np.asarray(block.vertices), np.asarray(block.faces)))
    return _scan(solid, edge, scan.pose)


def siamesed(leg: Shape, edge: float) -> Scan:
    """Two legs, mirror images, that share their entry."""
    solid = _solid(tube(leg, edge))
    return _scan(solid + solid.mirror((0, 0, 1)), edge, np.eye(4))


def no_port(name: str, clean: Scan) -> tuple[FloatArray, IntArray]:
    """Vertices and faces of something that is no port."""
    if name == "nan":
        vertices = clean.vertices.copy()
        vertices[5] = np.nan
        return vertices, clean.faces
    if name == "stray":
        return clean.vertices[:-1], clean.faces
    if name == "shreds":
        corners = clean.vertices[clean.faces]
        apart = np.random.default_rng(3).normal(0.0, 0.2, (len(corners), 1, 3))
        return (corners + apart).reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3)
    if name == "few":
        mesh = trimesh.Trimesh(
            [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]
        )
    elif name == "torus":
        mesh = trimesh.creation.torus(40.0, 12.0, major_sections=96, minor_sections=48)
    elif name == "sphere":
        mesh = trimesh.creation.icosphere(4, 25.0)
    else:
        mesh = trimesh.creation.box((100.0, 80.0, 0.5))
        for _ in range(4):
            mesh = mesh.subdivide()
        if name == "sheet":
            flat = np.asarray(mesh.vertices)[np.asarray(mesh.faces)][:, :, 2].min(axis=1) > 0.2
            mesh = trimesh.Trimesh(mesh.vertices, mesh.faces[flat], process=True)
    return np.asarray(mesh.vertices), np.asarray(mesh.faces)


def runner_mouth(rounding: float, edge: float) -> Scan:
    """A straight round runner of 18 mm radius and 110 mm length, its entry rounded into a flat wall."""
    turn = np.linspace(1.5 * np.pi, np.pi, 60)
    mouth = np.column_stack([18.0 + rounding + rounding * np.cos(turn), rounding + rounding * np.sin(turn)])
    tube_wall = np.column_stack([np.full(60, 18.0), np.linspace(mouth[-1, 1], 110.0, 61)[1:]])
    profile = np.vstack([[[0.0, 0.0]], mouth, tube_wall, [[0.0, 110.0]]])
    mesh = trimesh.creation.revolve(profile, sections=160)
    return _scan(_solid(Scan(np.asarray(mesh.vertices, dtype=float), np.asarray(mesh.faces))), edge, np.eye(4))
