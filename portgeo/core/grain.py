"""Grain: how the errors of a scan's points hang together, and what they make of a line, a sum along it, a wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray

PARABOLA = 9.0 / 4.0  # in the middle of a band a parabola has so many times the variance of a mean
ACROSS = np.linspace(-1.0, 1.0, 17)  # places across a band, of half its width
PLACED = np.linalg.pinv(np.vander(ACROSS, 3, increasing=True))[0]  # weights of a parabola's value in its middle
LENGTHS, LEANS, TURNS = 24, 8, 4  # wave lengths of a band, and directions, that stand for all


@dataclass(frozen=True)
class Band:
    """Waves in all directions of space, as strong in each octave from `shortest` to `longest`, mm; variance in mm2."""

    variance: float
    shortest: float
    longest: float

    @property
    def octaves(self) -> float:
        """Logarithm of the longest over the shortest."""
        return float(np.log(self.longest / self.shortest))

    @property
    def length(self) -> float:
        """Integral of the correlation along a line, mm: w / 2 for waves of one length w, sin(k r) / (k r)."""
        return (self.longest - self.shortest) / self.octaves / 2.0

    @property
    def area(self) -> float:
        """Integral of the correlation over a plane, mm2: w^2 / (2 pi), its ringing averaged out."""
        return (self.longest**2 - self.shortest**2) / (2.0 * self.octaves) / (2.0 * np.pi)


@dataclass(frozen=True)
class Grain:
    """Errors of a scanned wall: white from point to point, and waves.

    white : standard deviation, mm. edge : usual length of an edge of the mesh, mm, over which a point's own error
    holds. bands : of waves.
    """

    white: float
    edge: float
    bands: tuple[Band, ...] = ()

    @property
    def waves(self) -> float:
        """Standard deviation of the waves, mm."""
        return float(np.sqrt(sum(band.variance for band in self.bands)))

    @property
    def sigma(self) -> float:
        """Standard deviation of a point, mm."""
        return float(np.hypot(self.white, self.waves))

    def shorter_than(self, length: float) -> float:
        """Return the standard deviation of the waves that are shorter than a length, mm."""
        octaves = [np.clip(np.log(length / band.shortest), 0.0, band.octaves) for band in self.bands]
        return float(np.sqrt(sum(b.variance * n / b.octaves for b, n in zip(self.bands, octaves, strict=True))))

    def along(self, line: float) -> float:
        """Return the standard deviation of the errors' integral along a line of some length, mm2."""
        waves = sum(band.variance * band.length for band in self.bands)
        return float(np.sqrt(line * (self.white**2 * self.edge + waves)))

    def over(self, wall: float) -> float:
        """Return the standard deviation of the errors' integral over an area of wall, mm3."""
        waves = sum(band.variance * band.area for band in self.bands)
        return float(np.sqrt(wall * (self.white**2 * self.edge**2 + waves)))


@dataclass(frozen=True)
class Roughness:
    """How a line along a scanned wall is off, each of its points placed by a parabola across a band of wall.

    band : its width, mm. White noise is evened out by as many points as the mesh has edges there, a wave by as
    much as it is short against the band.
    """

    grain: Grain
    band: float

    @property
    def white(self) -> float:
        """Standard deviation of the line's white part, mm."""
        return self.grain.white * float(np.sqrt(min(PARABOLA * self.grain.edge / max(self.band, 1e-9), 1.0)))

    @property
    def sigma(self) -> float:
        """Standard deviation of a point of the line, mm."""
        return float(np.hypot(self.white, self.grain.waves))

    @property
    def reach(self) -> float:
        """Length over which errors hold, mm."""
        waves = sum(band.variance * band.length for band in self.grain.bands)
        return float((self.white**2 * self.grain.edge + waves) / self.sigma**2)

    def drawn(self, along: FloatArray, count: int, rng: np.random.Generator) -> FloatArray:
        """Return errors (count, n) of the line at lengths (n,) along it, drawn by chance.

        The waves are a sum of a few hundred of set lengths and directions, with random heights and phases. A wave
        that runs aslant is the longer along the line, and evened out by the band.
        """
        edge = self.grain.edge
        nodes = np.arange(0.0, along[-1] + edge, edge)
        white = self.white * rng.standard_normal((count, len(nodes)))
        off = np.array([np.interp(along, nodes, row) for row in white])
        for band in self.grain.bands:
            share = (np.arange(LENGTHS) + 0.5) / LENGTHS
            lean = (np.arange(LEANS) + 0.5) / LEANS  # of a direction in space on a line: even from 0 to 1
            turn = (np.arange(TURNS) + 0.5) / TURNS * np.pi / 2.0
            k, mu, about = np.meshgrid(
                2.0 * np.pi / (band.shortest * np.exp(share * band.octaves)), lean, turn, indexing="ij"
            )
            ahead, aside = (k * mu).ravel(), (k * np.sqrt(1.0 - mu**2) * np.cos(about)).ravel()
            height = np.sqrt(band.variance / len(ahead)) * (np.cos(aside[:, None] * ACROSS * self.band / 2.0) @ PLACED)
            phase = np.outer(ahead, along)
            heights = rng.standard_normal((2, count, len(ahead))) * height
            off += heights[0] @ np.cos(phase) + heights[1] @ np.sin(phase)
        return off
