"""Grain: how the errors of a scan's points hang together, and what they make of a sum along a line or over a wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.plane import FloatArray


@dataclass(frozen=True)
class Grain:
    """Errors of a scanned wall: white from point to point, and waves.

    white, waves : standard deviations, mm. length : integral of the waves' correlation along a line, mm;
    area : over the wall, mm2. edge : usual length of an edge of the mesh, mm, over which a point's own error holds.
    """

    white: float
    waves: float
    length: float
    area: float
    edge: float

    @property
    def sigma(self) -> float:
        """Standard deviation of a point."""
        return float(np.hypot(self.white, self.waves))

    def along(self, line: float) -> float:
        """Return the standard deviation of the errors' integral along a line of some length, mm2."""
        return float(np.sqrt(line * (self.white**2 * self.edge + self.waves**2 * self.length)))

    def over(self, wall: float) -> float:
        """Return the standard deviation of the errors' integral over an area of wall, mm3."""
        return float(np.sqrt(wall * (self.white**2 * self.edge**2 + self.waves**2 * self.area)))


def waves_of(white: float, bands: Sequence[tuple[float, FloatArray]], edge: float) -> Grain:
    """Return the Grain of a white variance and bands of waves: each a variance and its wavelengths, equal shares.

    The correlation of waves of one length w in all directions of space is sin(k r) / (k r), k = 2 pi / w; its
    integral along a line is w / 2, and over a plane, its ringing averaged out, w^2 / (2 pi).
    """
    variance = sum(v for v, _ in bands)
    if variance == 0.0:
        return Grain(float(np.sqrt(white)), 0.0, 0.0, 0.0, edge)
    length = sum(v * float(np.mean(w)) / 2.0 for v, w in bands) / variance
    area = sum(v * float(np.mean(w**2)) / (2.0 * np.pi) for v, w in bands) / variance
    return Grain(float(np.sqrt(white)), float(np.sqrt(variance)), length, area, edge)
