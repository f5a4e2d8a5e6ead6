"""Friction in a straight tube, by which what a port loses is seen: it cannot lose less than a straight one.

Speeds, sizes and roughness come in; pressure by length goes out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.plane import FloatArray

LAMINAR_TO = 2300.0  # Reynolds number up to which a tube's flow stays laminar (O. Reynolds, 1883; from memory)


def friction_factor(reynolds: FloatArray | float, roughness: FloatArray | float = 0.0) -> FloatArray:
    """Return Darcy's friction factor, roughness over the hydraulic diameter.

    Laminar 64 / Re; else S. E. Haaland, J. Fluids Eng. 105 (1983), 89, from memory: Colebrook's within 2 %.
    """
    number, share = np.broadcast_arrays(np.asarray(reynolds, dtype=float), np.asarray(roughness, dtype=float))
    turbulent = (-1.8 * np.log10((share / 3.7) ** 1.11 + 6.9 / number)) ** -2
    return np.where(number < LAMINAR_TO, 64.0 / number, turbulent)


def friction_gradient(
    flow: float, area: FloatArray, diameter: FloatArray, viscosity: float, roughness: float = 0.0
) -> FloatArray:
    """Return pressure lost by length (n,), over density: m/s2, in sections of areas, m2, and hydraulic diameters, m."""
    speed = flow / area
    factor = friction_factor(speed * diameter / viscosity, roughness / diameter)
    return np.asarray(factor / diameter * speed**2 / 2.0)
