"""Air: the standard atmosphere, mean speed and Mach number through an area, choke flow.

Flows and areas come in; speeds and Mach numbers go out, incompressible or isentropic as the name says.
SI units: m2, m3/s of air at rest, m/s, Pa, K, kg.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray

GAMMA = 1.4  # ratio of specific heats of air
GAS_CONSTANT = 287.05287  # J/(kg K), ISO 2533
SUTHERLAND_B, SUTHERLAND_S = 1.458e-6, 110.4  # kg/(m s K^0.5) and K, ISO 2533
PARTED = 0.05  # incompressible and isentropic speeds that differ by more are said to part
DEPRESSIONS = (0.5, 120.0)  # inH2O: no flow bench is outside
BISECTIONS = 60  # halve the range of Mach numbers down to the last digit


@dataclass(frozen=True)
class Air:
    """Air at rest: pressure in Pa, temperature in K. By default the standard atmosphere at sea level."""

    pressure: float = 101325.0
    temperature: float = 288.15

    @property
    def density(self) -> float:
        """Density, kg/m3 (ideal gas)."""
        return self.pressure / (GAS_CONSTANT * self.temperature)

    @property
    def sound(self) -> float:
        """Speed of sound, m/s."""
        return float(np.sqrt(GAMMA * GAS_CONSTANT * self.temperature))

    @property
    def kinematic_viscosity(self) -> float:
        """Kinematic viscosity, m2/s (Sutherland's formula with the constants of ISO 2533)."""
        dynamic = SUTHERLAND_B * self.temperature**1.5 / (self.temperature + SUTHERLAND_S)
        return float(dynamic / self.density)


STANDARD = Air()


def density_ratio(mach: FloatArray | float) -> FloatArray:
    """Return density over that of the air at rest, isentropic (NACA Report 1135, equation 45)."""
    return _warmth(mach) ** (-1.0 / (GAMMA - 1.0))


def density_at(speed: FloatArray, air: Air = STANDARD) -> FloatArray:
    """Return density over that of the air at rest at speeds (n,), isentropic, down to its value at the speed of sound.

    From the energy equation, T = T0 (1 - (gamma - 1) / 2 (v / a0)^2). No ideal flow without shocks goes past
    the speed of sound: past it the density stays.
    """
    slowed = np.minimum(np.asarray(speed, dtype=float), sonic_speed(air)) / air.sound
    return np.asarray((1.0 - (GAMMA - 1.0) / 2.0 * slowed**2) ** (1.0 / (GAMMA - 1.0)))


def sonic_speed(air: Air = STANDARD) -> float:
    """Return the speed at Mach 1 of air from rest, m/s."""
    return float(air.sound * np.sqrt(2.0 / (GAMMA + 1.0)))


def area_ratio(mach: FloatArray | float) -> FloatArray:
    """Return the area over that which the same flow would choke, A/A* (NACA Report 1135, equation 80)."""
    power = (GAMMA + 1.0) / (2.0 * (GAMMA - 1.0))
    return (_warmth(mach) * 2.0 / (GAMMA + 1.0)) ** power / np.asarray(mach, float)


def _warmth(mach: FloatArray | float) -> FloatArray:
    """Return total over static temperature."""
    return 1.0 + (GAMMA - 1.0) / 2.0 * np.asarray(mach, dtype=float) ** 2


def choke_flow(area: float, air: Air = STANDARD) -> float:
    """Return the most air, m3/s at rest, that goes through an area (m2): sonic there, isentropic."""
    return float(air.sound * density_ratio(1.0) / np.sqrt(_warmth(1.0)) * area)


def mach_through(flow: float, area: FloatArray, air: Air = STANDARD) -> FloatArray:
    """Return the subsonic Mach number (n,) of a flow (m3/s at rest) through areas (n,) (m2), isentropic.

    nan where the area chokes before it.
    """
    wanted = np.asarray(area, float) * choke_flow(1.0, air) / flow
    low, high = np.zeros_like(wanted), np.ones_like(wanted)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2.0
        slower = area_ratio(middle) > wanted
        low, high = np.where(slower, middle, low), np.where(slower, high, middle)
    return np.where(wanted < 1.0, np.nan, (low + high) / 2.0)


def mach_of_drop(drop: FloatArray | float, air: Air = STANDARD) -> FloatArray:
    """Return the Mach number (n,) of air from rest whose pressure has dropped by so much, Pa, isentropic.

    p / p0 = (1 + (gamma - 1) / 2 M^2)^(-gamma / (gamma - 1)) (NACA Report 1135, equation 44).
    """
    warmth = (1.0 - np.asarray(drop) / air.pressure) ** (-(GAMMA - 1.0) / GAMMA)
    return np.asarray(np.sqrt(2.0 / (GAMMA - 1.0) * (warmth - 1.0)))


def isentropic_speed(mach: FloatArray, air: Air = STANDARD) -> FloatArray:
    """Return the speed at Mach numbers (n,), the air having been at rest."""
    return mach * air.sound / np.sqrt(_warmth(mach))


def parting_mach() -> float:
    """Return the Mach number past which the isentropic speed exceeds flow over area by PARTED.

    Their ratio is that of the densities at rest and in motion.
    """
    return float(np.sqrt(((1.0 + PARTED) ** (GAMMA - 1.0) - 1.0) * 2.0 / (GAMMA - 1.0)))


def depression_speed(depression: float, air: Air = STANDARD) -> float:
    """Return the speed that a depression (Pa) gives air from rest without loss, incompressible."""
    return float(np.sqrt(2.0 * depression / air.density))
