"""Cubics through nodes: the monotone cubic's slopes, and the cubic that has given values and slopes.

Nodes with values of any shape come in; slopes, and values anywhere between the nodes, go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray


def monotone_slopes(nodes: FloatArray, values: FloatArray) -> FloatArray:
    """Return the slopes (n, ...) of the monotone cubic through values (n, ...) at rising nodes (n,), n >= 2.

    Fritsch and Butland (SIAM J. Sci. Stat. Comput. 5, 1984): where the chords beside a node agree in sign their
    weighted harmonic mean, else none; at the two ends the parabola's, held to the chord's sign and to three times it.
    """
    step = np.diff(nodes).reshape(-1, *(1,) * (values.ndim - 1))
    chord = np.diff(values, axis=0) / step
    if len(nodes) == 2:
        return np.repeat(chord, 2, axis=0)
    slopes = np.zeros_like(values, dtype=float)
    before, after = chord[:-1], chord[1:]
    agree = before * after > 0.0
    one, other = 2.0 * step[1:] + step[:-1], step[1:] + 2.0 * step[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        slopes[1:-1] = np.where(agree, (one + other) / (one / before + other / after), 0.0)
    slopes[0] = _end_slope(step[0], step[1], chord[0], chord[1])
    slopes[-1] = _end_slope(step[-1], step[-2], chord[-1], chord[-2])
    return slopes


def _end_slope(first: FloatArray, second: FloatArray, chord: FloatArray, following: FloatArray) -> FloatArray:
    slope = ((2.0 * first + second) * chord - first * following) / (first + second)
    slope = np.where(np.sign(slope) != np.sign(chord), 0.0, slope)
    steep = (np.sign(chord) != np.sign(following)) & (np.abs(slope) > 3.0 * np.abs(chord))
    return np.where(steep, 3.0 * chord, slope)


@dataclass(frozen=True, eq=False)
class Cubic:
    """Cubics between nodes (n,), each by its powers of the distance from the node before it (4, n - 1, ...)."""

    nodes: FloatArray
    powers: FloatArray

    def at(self, places: FloatArray) -> FloatArray:
        """Return the values (k, ...) at places (k,); past an end its last cubic goes on."""
        k = np.clip(np.searchsorted(self.nodes, places, side="right") - 1, 0, len(self.nodes) - 2)
        x = (places - self.nodes[k]).reshape(-1, *(1,) * (self.powers.ndim - 2))
        found = self.powers[3, k]
        for power in self.powers[2::-1]:
            found *= x
            found += power[k]
        return found


def cubic_through(nodes: FloatArray, values: FloatArray, slopes: FloatArray) -> Cubic:
    """Return the cubics that have values and slopes (n, ...) at nodes (n,): Hermite's."""
    step = np.diff(nodes).reshape(-1, *(1,) * (values.ndim - 1))
    chord = np.diff(values, axis=0) / step
    bend = (slopes[:-1] + slopes[1:] - 2.0 * chord) / step
    return Cubic(nodes, np.stack([values[:-1], slopes[:-1], (chord - slopes[:-1]) / step - bend, bend / step]))
