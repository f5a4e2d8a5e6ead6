"""Cuts of known depth in molds of closed form: the wall moved outward, square to itself, by a smooth depth.

Nothing here comes from the package. The normal of the wall is the gradient of its implicit form
|y/a(s)|^p(s) + |z/b(s)|^p(s) = 1, so a depth is the distance from the wall as long as it is less than the wall's
radius of curvature on the metal's side. Volumes are those of close meshes of the two walls, by trimesh.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
import trimesh

from tests.scan import make
from tests.scan.molds import FloatArray, Mold

Depths = Callable[[FloatArray, FloatArray], FloatArray]  # of stations and clock turns from the roof, mm

TRUE_EDGE_MM = 0.6  # of the meshes that volumes are read from: their chord errors are alike and cancel to 1e-4
STEP_MM = 1e-4  # of the differences along the station


@dataclass(frozen=True)
class CutMold(Mold):
    """A mold after a cut: its wall moved along its own normal by depths, positive where metal was removed."""

    depths: Depths = lambda s, turn: np.zeros(np.broadcast(s, turn).shape)

    def rings(self, s: FloatArray, around: int, grow: float = 0.0) -> FloatArray:
        """Points (n, around, 3) on the cut wall."""
        points = super().rings(s, around, grow)
        middle, heading, up = self.spine(s)
        left = np.array([0.0, 1.0, 0.0])
        arm = points - middle[:, None]
        y, z = arm[..., 1], np.einsum("kmj,kj->km", arm, up)
        in_turn = (s > self.legs[0]) & (s < self.legs[0] + self.radius * self.turn)
        along = self._slopes(s, y, z)
        stretch = 1.0 + np.where(in_turn, 1.0 / self.radius, 0.0)[:, None] * z
        normal = along[0][..., None] * left + along[1][..., None] * up[:, None]
        normal += (along[2] / stretch)[..., None] * heading[:, None]
        normal /= np.linalg.norm(normal, axis=2, keepdims=True)
        a, b, _ = self.size(s)
        turn = np.arctan2(-y / a[:, None], z / b[:, None]) / (2.0 * np.pi) % 1.0
        return points + self.depths(s[:, None], turn)[..., None] * normal

    def _slopes(self, s: FloatArray, y: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Slopes of the implicit form by y, z and the station."""

        def form(s: FloatArray) -> FloatArray:
            a, b, p = (v[:, None] for v in self.size(s))
            return np.abs(y / a) ** p + np.abs(z / b) ** p

        a, b, p = (v[:, None] for v in self.size(s))
        by_y = p / a * np.sign(y) * np.abs(y / a) ** (p - 1.0)
        by_z = p / b * np.sign(z) * np.abs(z / b) ** (p - 1.0)
        return by_y, by_z, (form(s + STEP_MM) - form(s - STEP_MM)) / (2.0 * STEP_MM)


def cut_mold(mold: Mold, depths: Depths) -> CutMold:
    """The mold after a cut."""
    return CutMold(**{field.name: getattr(mold, field.name) for field in fields(Mold)}, depths=depths)


def volume_of(mold: Mold) -> float:
    """Volume, mm3, of a close mesh of a mold: trimesh's signed volume."""
    scan = make.tube(mold, TRUE_EDGE_MM)
    return float(trimesh.Trimesh(scan.vertices, scan.faces, process=False).volume)


def removed_and_added(mold: Mold, depths: Depths) -> tuple[float, float]:
    """Metal taken off and put on, mm3, by depths whose two signs lie apart."""
    whole = volume_of(mold)
    off = volume_of(cut_mold(mold, lambda s, turn: np.maximum(depths(s, turn), 0.0))) - whole
    on = whole - volume_of(cut_mold(mold, lambda s, turn: np.minimum(depths(s, turn), 0.0)))
    return off, on


def deepest(mold: Mold, depths: Depths) -> float:
    """Greatest depth, mm, on a close grid of the wall."""
    s, turn = np.linspace(0.0, mold.length, 1501), np.linspace(0.0, 1.0, 1441)
    return float(depths(s[:, None], turn[None]).max())


def aside(turn: FloatArray, middle: float) -> FloatArray:
    """How far round turns are from one of them, -0.5 to 0.5."""
    return (turn - middle + 0.5) % 1.0 - 0.5


def step(x: FloatArray) -> FloatArray:
    """0 to 1 with level ends."""
    t = np.clip(x, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def random_cut(mold: Mold, rng: np.random.Generator) -> tuple[str, Depths]:
    """A hollow, a dropped floor, one wall moved out, a widened end, or a hollow with metal added elsewhere."""
    kind = ("hollow", "floor", "wall", "end", "filled")[int(rng.integers(5))]
    deep, where, wide = rng.uniform(0.4, 2.5), rng.uniform(0.25, 0.75) * mold.length, rng.uniform(7.0, 16.0)
    clock, reach = rng.uniform(0.0, 1.0), rng.uniform(0.06, 0.12)

    def hollow(s: FloatArray, turn: FloatArray) -> FloatArray:
        return deep * np.exp(-(((s - where) / wide) ** 2) - (aside(turn, clock) / reach) ** 2)

    def floor(s: FloatArray, turn: FloatArray) -> FloatArray:
        return deep * step((0.16 - np.abs(aside(turn, 0.5))) / 0.05) * np.ones_like(s)

    def wall(s: FloatArray, turn: FloatArray) -> FloatArray:
        along = step((0.3 * mold.length - np.abs(s - 0.5 * mold.length)) / 8.0)
        return deep * along * step((0.14 - np.abs(aside(turn, 0.25 if clock < 0.5 else 0.75))) / 0.05)

    def end(s: FloatArray, turn: FloatArray) -> FloatArray:
        return 0.6 * deep * step((0.25 * mold.length - s) / 12.0) * np.ones_like(turn)

    def filled(s: FloatArray, turn: FloatArray) -> FloatArray:
        on = np.exp(-(((s - 0.3 * mold.length) / 9.0) ** 2) - (aside(turn, clock + 0.5) / 0.08) ** 2)
        return hollow(s, turn) - 0.5 * deep * on

    return kind, {"hollow": hollow, "floor": floor, "wall": wall, "end": end, "filled": filled}[kind]
