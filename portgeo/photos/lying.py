"""How a mold lies on the paper: a rigid body rests on what its middle is over.

Sections come in; the pose that takes them to the paper goes out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.photos.medial import Medial

# The mold's own axes on the paper: x along it, z up it, y into it, for a mold on its left wall.
ON_SIDE = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


@dataclass(frozen=True)
class Pose:
    """Where a mold lies: rest (3, 3) turns it to lie still, turn turns it on the paper, shift (3,) moves it there."""

    rest: FloatArray
    turn: float
    shift: FloatArray

    @classmethod
    def flat(cls) -> Pose:
        """Return the pose of a mold that floats on its side."""
        return cls(ON_SIDE, 0.0, np.zeros(3))

    @property
    def rotation(self) -> FloatArray:
        """From the mold's axes to the paper's (3, 3)."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ self.rest

    def put(self, points: FloatArray) -> FloatArray:
        """Return points (..., 3) of the mold as they lie over the paper."""
        return np.asarray(points @ self.rotation.T + self.shift)

    def turned_back(self, ways: FloatArray) -> FloatArray:
        """Return directions (n, 3) over the paper in the mold's axes."""
        return np.asarray(ways @ self.rotation)

    def seen_from(self, eye: FloatArray, on_paper: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return an eye (3,), and the rays (n, 3) from it to points (n, 2) on the paper, in the mold's axes."""
        rays = np.column_stack([on_paper, np.zeros(len(on_paper))]) - eye
        return (eye - self.shift) @ self.rotation, self.turned_back(rays)

    def at(self, turn: float, shift: FloatArray) -> Pose:
        """Return the pose turned and moved on the paper to where another one is."""
        return Pose(self.rest, turn, np.array([*shift[:2], self.shift[2]]))

    def moved(self, by: FloatArray) -> Pose:
        """Return the pose moved (2,) on the paper."""
        return replace(self, shift=self.shift + [*by, 0.0])

    def nudged(self, slope: float, height: float) -> Pose:
        """Return the pose turned and moved so that what was a line of that slope and height in plan is the x axis."""
        before = self.put(np.array([0.0, height, 0.0]))
        own = self.rotation[:2, :2] @ np.array([1.0, slope])
        flat = self.rotation[:2, 0]
        by = np.arctan2(own[1], own[0]) - np.arctan2(flat[1], flat[0])
        turned = replace(self, turn=self.turn + float(by))
        return turned.moved((before - turned.put(np.zeros(3)))[:2])


def _weights(sections: Medial, width: FloatArray) -> FloatArray:
    """Return each section's share (n,) of the volume."""
    each = sections.height * width
    return np.asarray(each / each.sum())


def lying_on_side(sections: Medial, left: FloatArray, right: FloatArray, corner: FloatArray) -> Pose:
    """Return the pose of a mold on its left wall: the plane under that wall that is highest under the mold's middle."""
    from scipy.optimize import linprog

    up = (sections.roof - sections.floor) / sections.height[:, None]
    flat = (sections.height / 2.0 - corner)[:, None] * up
    low = np.vstack([sections.middle - flat, sections.middle + flat])
    over = -np.tile(left, 2)
    middle = _weights(sections, left - right) @ sections.middle
    beside = low - middle
    # No more than each point allows, and as high as can be in the middle.
    plane = linprog([-1.0, 0.0, 0.0], np.column_stack([np.ones(len(low)), beside]), over, bounds=(None, None)).x
    normal = np.array([-plane[1], -1.0, -plane[2]])
    rest = _between(ON_SIDE @ normal / np.linalg.norm(normal), np.array([0.0, 0.0, 1.0])) @ ON_SIDE
    points = np.column_stack([low[:, 0], -over, low[:, 1]])
    return Pose(rest, 0.0, np.array([0.0, 0.0, -(points @ rest.T)[:, 2].min()]))


def lying_on_floor(sections: Medial, width: FloatArray) -> Pose:
    """Return the pose of a mold on its floor: on the edge of its hull on that side that its middle is over."""
    from scipy.spatial import ConvexHull

    outline = np.vstack([sections.floor, sections.roof[::-1]])
    corners = outline[ConvexHull(outline).vertices]
    middle = _weights(sections, width) @ sections.middle
    down = (sections.floor - sections.roof)[len(sections.floor) // 2]
    best, rests = -np.inf, np.array([0.0, -1.0])
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        way = (b - a) / np.linalg.norm(b - a)
        out = np.array([way[1], -way[0]])
        if 0.0 <= (middle - a) @ way <= np.linalg.norm(b - a) and out @ down > best:
            best, rests = float(out @ down), out
    # `rests` goes straight down.
    rest = np.array([[-rests[1], 0.0, rests[0]], [0.0, 1.0, 0.0], [-rests[0], 0.0, -rests[1]]])
    points = np.column_stack([outline[:, 0], np.zeros(len(outline)), outline[:, 1]])
    return Pose(rest, 0.0, np.array([0.0, 0.0, -(points @ rest.T)[:, 2].min()]))


def _between(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the least rotation (3, 3) that takes one unit vector to another."""
    x, y, z = np.cross(a, b)
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + k + k @ k / (1.0 + float(a @ b)))
