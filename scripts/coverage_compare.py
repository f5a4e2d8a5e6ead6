"""Comparisons of known cuts, for scripts/coverage.py: how far each figure is off in its own uncertainties.

Known shapes are cut by formulas, meshed anew before and after, roughened, laid in any pose and read as
scans; then they are compared as a user would.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import igl
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portgeo.compare.comparison import compare_ports
from portgeo.scan import ScanOptions, port_from_scan
from portgeo.triangles import volume
from tests.scan import make
from tests.trial_errors import Case, Errors, against

NOISE_MM = 0.03
TRUE_EDGE_MM = 0.45  # of the clean meshes that the truth is read from

Depths = Callable[[np.ndarray, np.ndarray], np.ndarray]  # of stations and clock turns from the roof, mm


@dataclass(frozen=True)
class CutShape(make.Shape):
    """A shape whose wall is moved outward, square to the outline of its section, by depths."""

    depths: Depths = lambda s, turn: np.zeros(np.broadcast(s, turn).shape)

    def rings(self, s, around, grow=0.0):
        points = super().rings(s, around, grow)
        middle, heading, up = self.spine(s)
        arm = points - middle[:, None]
        left, high = arm[..., 1], np.einsum("kmj,kj->km", arm, up)
        along = np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1)
        out = np.cross(along, heading[:, None])
        out /= np.linalg.norm(out, axis=2, keepdims=True)
        half = self.size(s)
        turn = np.arctan2(-left / half[0][:, None], high / half[1][:, None]) / (2.0 * np.pi) % 1.0
        return points + self.depths(s[:, None], turn)[..., None] * out


def random_shape(rng: np.random.Generator) -> make.Shape:
    """A port-like shape with one turn."""
    height, width = rng.uniform(38.0, 50.0), rng.uniform(28.0, 36.0)
    return make.Shape(
        legs=(rng.uniform(30.0, 55.0), rng.uniform(18.0, 35.0)),
        radius=height * rng.uniform(0.85, 1.2),
        turn=np.radians(rng.uniform(50.0, 85.0)),
        width=(width, rng.uniform(28.0, 38.0)),
        height=(height, rng.uniform(32.0, 42.0)),
        square=(rng.uniform(3.0, 6.0), 2.0),
    )


def _rise(x: np.ndarray) -> np.ndarray:
    t = np.clip(x, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def random_cut(shape: make.Shape, rng: np.random.Generator) -> tuple[str, Depths]:
    """A hollow, a dropped floor, one wall moved out, a widened end, or a hollow with metal added elsewhere."""
    kind = ("hollow", "floor", "wall", "end", "filled")[int(rng.integers(5))]
    deep = rng.uniform(0.4, 2.5)
    where, wide = rng.uniform(0.25, 0.75) * shape.length, rng.uniform(7.0, 16.0)
    clock, reach = rng.uniform(0.0, 1.0), rng.uniform(0.06, 0.12)

    def aside(turn: np.ndarray, middle: float) -> np.ndarray:
        return (turn - middle + 0.5) % 1.0 - 0.5

    def hollow(s: np.ndarray, turn: np.ndarray) -> np.ndarray:
        return deep * np.exp(-(((s - where) / wide) ** 2) - (aside(turn, clock) / reach) ** 2)

    def floor(s: np.ndarray, turn: np.ndarray) -> np.ndarray:
        return deep * _rise((0.16 - np.abs(aside(turn, 0.5))) / 0.05) * np.ones_like(s)

    def wall(s: np.ndarray, turn: np.ndarray) -> np.ndarray:
        side = 0.25 if clock < 0.5 else 0.75
        along = _rise((0.3 * shape.length - np.abs(s - 0.5 * shape.length)) / 8.0)
        return deep * along * _rise((0.14 - np.abs(aside(turn, side))) / 0.05)

    def end(s: np.ndarray, turn: np.ndarray) -> np.ndarray:
        return 0.6 * deep * _rise((0.25 * shape.length - s) / 12.0) * np.ones_like(turn)

    def filled(s: np.ndarray, turn: np.ndarray) -> np.ndarray:
        other = 0.5 * deep * np.exp(-(((s - 0.3 * shape.length) / 9.0) ** 2) - (aside(turn, clock + 0.5) / 0.08) ** 2)
        return hollow(s, turn) - other

    return kind, {"hollow": hollow, "floor": floor, "wall": wall, "end": end, "filled": filled}[kind]


def scanned(shape: make.Shape, edge: float, rng: np.random.Generator) -> make.Scan:
    """A rough scan of a shape in a pose of its own, triangles in any order."""
    rough = make.roughened(make.tube(shape, edge), NOISE_MM, rng)
    return make.shuffled(make.posed(rough, make.random_pose(rng)), rng)


def truth(one: make.Shape, other: make.Shape, depths: Depths) -> tuple[float, float, float]:
    """Removed and net volume, mm3, and deepest cut, mm, of clean close meshes in one frame."""
    before, after = (make.tube(shape, TRUE_EDGE_MM) for shape in (one, other))
    net = volume(after.vertices, after.faces) - volume(before.vertices, before.faces)
    filled = volume_of(one, lambda s, turn: np.minimum(depths(s, turn), 0.0)) - volume(before.vertices, before.faces)
    wall = make.tube(one, TRUE_EDGE_MM, caps=(False, False))
    cut = make.tube(replace(other), TRUE_EDGE_MM, caps=(False, False)).vertices
    square, _, _ = igl.point_mesh_squared_distance(cut, wall.vertices, wall.faces)
    outside = np.einsum("ij,ij->i", cut - wall.vertices, _outward(wall)) > 0.0  # both meshes have the same rings
    return net - filled, net, float(np.sqrt(np.where(outside, square, 0.0).max()))


def volume_of(shape: make.Shape, depths: Depths) -> float:
    made = make.tube(cut_shape(shape, depths), TRUE_EDGE_MM)
    return volume(made.vertices, made.faces)


def cut_shape(shape: make.Shape, depths: Depths) -> CutShape:
    own = {name: getattr(shape, name) for name in ("legs", "radius", "turn", "width", "height", "square")}
    return CutShape(**own, depths=depths)


def _outward(scan: make.Scan) -> np.ndarray:
    return np.asarray(igl.per_vertex_normals(scan.vertices, np.asarray(scan.faces)))


def compare_case(seed: int) -> Case:
    """Return the errors of one random comparison."""
    rng = np.random.default_rng(seed)
    shape = random_shape(rng)
    _, depths = random_cut(shape, rng)
    cut = cut_shape(shape, depths)
    edges = rng.uniform(0.6, 1.6, 2)
    one, other = (scanned(s, edge, rng) for s, edge in zip((shape, cut), edges, strict=True))
    before, after = (
        port_from_scan(scan.vertices, scan.faces, ScanOptions(*scan.placed(shape.spine(np.array(ends))[0])))
        for scan, ends in ((one, [0.0, shape.length]), (other, [0.0, shape.length]))
    )
    found = compare_ports(before, after)
    removed, net, deepest = truth(shape, cut, depths)
    true = before.frame @ one.pose @ np.linalg.inv(other.pose) @ np.linalg.inv(after.frame)
    fit = found.alignment
    slip = fit.matrix @ np.linalg.inv(true)
    turn = np.array([slip[2, 1] - slip[1, 2], slip[0, 2] - slip[2, 0], slip[1, 0] - slip[0, 1]]) / 2.0
    step = np.concatenate([turn, slip[:3, :3] @ fit.centre + slip[:3, 3] - fit.centre])
    return {
        "comparison: removed": against(found.removed, found.removed_u, removed),
        "comparison: net": against(found.net, found.net_u, net),
        "comparison: deepest cut": against(found.depth.deepest, found.depth_u, deepest),
        "comparison: fit, turns and shifts": Errors(step, np.sqrt(np.diag(fit.covariance))),
    }
