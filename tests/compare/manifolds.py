"""Manifolds of known shape: runners turned in closed form, read as sheets and scanned as meshes of their own.

A runner is a bore that tapers evenly, its entry rounded by a quarter of a circle, led round a bend of one radius.
What it holds is told by its profile alone (Pappus: the middle of each section is on the line), and so is its mesh:
a solid of revolution by trimesh, bent.
"""

from dataclasses import dataclass
from itertools import pairwise

import manifold3d
import numpy as np
import trimesh
from scipy.integrate import quad

from portgeo.core.port import Port, port_from_readings
from portgeo.core.section import Reading


@dataclass(frozen=True)
class Runner:
    """mm. bore : radii where the rounding ends, and at the exit. edge : radius of the rounding. shift : left, up."""

    bore: tuple[float, float] = (20.0, 18.0)
    edge: float = 6.0
    length: float = 160.0
    shift: tuple[float, float] = (0.0, 0.0)
    straight: float = 45.0
    bend: float = 80.0
    turn: float = 0.7

    def radius(self, s):
        s = np.asarray(s, float)
        mouth = self.edge - np.sqrt(np.maximum(self.edge**2 - np.maximum(self.edge - s, 0.0) ** 2, 0.0))
        along = np.clip((s - self.edge) / (self.length - self.edge), 0.0, 1.0)
        return self.bore[0] + (self.bore[1] - self.bore[0]) * along + np.where(s < self.edge, mouth, 0.0)

    @property
    def volume(self) -> float:
        """By Pappus: a middle that lies inside of the line by some of the bend's radius goes that much less far."""

        def swept(s):
            inside = self.straight < s < self.straight + self.bend * self.turn
            return float(np.pi * self.radius(s) ** 2) * (1.0 + (self.shift[1] / self.bend if inside else 0.0))

        ends = np.unique([0.0, self.edge, self.straight, self.straight + self.bend * self.turn, self.length])
        return sum(quad(swept, *piece)[0] for piece in pairwise(ends))

    @property
    def least_area(self) -> float:
        return float(np.pi * self.bore[1] ** 2)

    def turned(self, s):
        return np.clip((np.asarray(s, float) - self.straight) / self.bend, 0.0, self.turn)

    def stations(self, rows: int = 8) -> np.ndarray:
        mouth = self.edge * (1.0 - np.cos(np.linspace(0.0, np.pi / 2.0, 6)[:-1])) if self.edge else []
        return np.r_[mouth, self.edge, np.linspace(self.edge + 1.0, self.length, rows)]

    def sheet(self, rng: np.random.Generator | None = None, zero: float = 0.0, error: float = 0.025) -> Port:
        """The runner as it is read; zero : what the tool is off by, in all of its readings."""
        rows = []
        for k, s in enumerate(self.stations()):
            off = zero + (0.0 if rng is None else rng.normal(0.0, error))
            size = 2.0 * float(self.radius(s)) + off
            left, up = self.shift
            row = Reading(
                k + 2, float(s), "round", size, size, turn=float(self.turned(s)), shift=left, rise=up, error=error
            )
            rows.append(row)
        return port_from_readings(rows)

    def mesh(self, edge: float = 1.5) -> trimesh.Trimesh:
        """The runner's air as a solid, its entry in x = 0, x into it, y left, z up."""
        mouth = self.edge * (1.0 - np.cos(np.linspace(0.0, np.pi / 2.0, 40)[:-1])) if self.edge else []
        s = np.r_[mouth, np.linspace(self.edge, self.length, 121)]
        profile = np.column_stack([np.r_[0.0, self.radius(s), 0.0], np.r_[0.0, s, self.length]])
        turned = trimesh.creation.revolve(profile, sections=144)
        solid = manifold3d.Manifold(
            manifold3d.Mesh(np.asarray(turned.vertices, np.float32), np.asarray(turned.faces, np.uint32))
        ).refine_to_length(edge)
        found = solid.to_mesh()
        points, faces = np.asarray(found.vert_properties, float)[:, :3], np.asarray(found.tri_verts)
        along, left, up = points[:, 2], points[:, 0] + self.shift[0], points[:, 1] + self.shift[1]
        angle = self.turned(along)
        first, last = np.minimum(along, self.straight), np.maximum(along - self.straight - self.bend * self.turn, 0.0)
        sine, cosine = np.sin(angle), np.cos(angle)
        x = first + self.bend * sine + last * cosine + up * sine
        z = -self.bend * (1.0 - cosine) - last * sine + up * cosine
        return trimesh.Trimesh(np.column_stack([x, left, z]), faces, process=False)


PITCH = 56.0
EIGHT = (
    Runner(),
    Runner(edge=9.0),
    Runner(shift=(0.8, -0.5)),
    Runner(bore=(20.0, 17.4)),
    Runner(),
    Runner(length=163.0),
    Runner(bore=(20.1, 18.1)),
    Runner(edge=8.0),
)
