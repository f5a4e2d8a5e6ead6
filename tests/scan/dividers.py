"""Maker of molds of ports that split at a divider of known edge: a wedge with a round nose, in closed form.

The air is a trunk of manifold3d's and two legs, less a wedge whose nose is a cylinder: its radius, where it stands and
how thick the wedge is behind it are what they were made of. Nothing of the package is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
from numpy.typing import NDArray

from tests.scan.forks import AROUND, STEP, Run
from tests.scan.make import Scan
from tests.scan.odd_molds import scan_of

FloatArray = NDArray[np.float64]
HIGH = 60.0  # of the wedge: past floor and roof
TRUNK_TO = 32.0  # mm past the origin: the wedge parts the trunk before its legs set out
NOSE_STEPS = 96  # round half a nose


@dataclass(frozen=True)
class Divided:
    """A trunk along x, parted from x = `nose` on by a wedge of a half angle, and two legs that go on from it.

    rake : radians, that the wedge's edge leans back from floor to roof.
    """

    radius: float = 2.0
    nose: float = 4.0
    half_angle: float = 0.1
    rake: float = 0.0
    angle: float = 0.2
    apart: float = 14.0
    trunk: float = 18.0
    leg: float = 16.0
    start: float = -50.0
    straight: float = 60.0

    def width(self, behind: float) -> float:
        """The wedge's thickness behind its nose, past the round of it: 2 r / cos a + 2 (b - r) tan a."""
        return 2.0 * (self.radius / np.cos(self.half_angle) + (behind - self.radius) * np.tan(self.half_angle))

    def wedge(self) -> manifold3d.Manifold:
        turned = np.linspace(np.pi / 2.0 + self.half_angle, 1.5 * np.pi - self.half_angle, NOSE_STEPS)
        nose = self.nose + self.radius + self.radius * np.cos(turned), self.radius * np.sin(turned)
        far = 200.0
        aside = self.radius / np.cos(self.half_angle) + (far - self.nose - self.radius) * np.tan(self.half_angle)
        outline = np.vstack([np.column_stack(nose), [[far, -aside], [far, aside]]])
        body = manifold3d.Manifold.extrude(manifold3d.CrossSection([outline]), 2.0 * HIGH).translate((0.0, 0.0, -HIGH))
        return (
            body.translate((-self.nose, 0.0, 0.0))
            .rotate((0.0, np.degrees(self.rake), 0.0))
            .translate((self.nose, 0.0, 0.0))
        )

    def solid(self) -> manifold3d.Manifold:
        ball = manifold3d.CrossSection.circle(self.trunk, AROUND)
        shape = ball.translate((self.apart, 0.0)) + ball.translate((-self.apart, 0.0))
        shape = shape + manifold3d.CrossSection.square((2.0 * self.apart, 2.0 * self.trunk), True)
        trunk = manifold3d.Manifold.extrude(shape, TRUNK_TO - self.start)
        air = trunk.transform([[0, 0, 1, self.start], [1, 0, 0, 0], [0, 1, 0, 0]])
        for side in (1.0, -1.0):
            along = np.array([np.cos(self.angle), side * np.sin(self.angle), 0.0])
            start = np.array([-4.0, side * (self.apart - 4.0 * np.tan(self.angle)), 0.0])
            air = air + Run(start, along, self.straight, self.leg, 40.0, 0.9).mesh(AROUND, STEP)
        return air - self.wedge()

    def scan(self, edge: float) -> Scan:
        """Its mesh, of triangles of about `edge` mm."""
        return scan_of(self.solid(), edge)
