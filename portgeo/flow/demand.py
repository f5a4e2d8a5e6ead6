"""What an engine asks of a port: piston speed, demand, inlet Mach index; and the power a flow could feed.

Bore, stroke, speed and valve come in; demands go out in SI units. Power is an estimate by a rule of
thumb, never a forecast.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import InputError

EXHAUST = re.compile(r"(?<![a-z])exhausts?(?![a-z])", re.I)
INDEX_LIMIT = 0.6  # volumetric efficiency falls away past it (C. F. Taylor, vol. 1; from memory)
TYPICAL_COEFFICIENT = 0.35  # mean flow coefficient on the valve's area, where none is measured (Taylor; from memory)
# Horsepower for each cfm at 28 inH2O a cylinder, naturally aspirated, by two rules of thumb.
POWER_RULE_LOW = 0.20  # ordinary good work: common practice, no source
POWER_RULE_HIGH = 0.26  # the ceiling often put, rounded: from memory, no source
LIFT_STEPS = 721  # of the valve's opening, for the mean of its coefficient


@dataclass(frozen=True)
class Engine:
    """Bore and stroke (m), speed (revolutions a second), cylinders, valves a cylinder and their head (m).

    rod : connecting rod, m, or None for a long one.
    """

    bore: float
    stroke: float
    speed: float
    cylinders: int
    valve: float
    valves: int = 1
    rod: float | None = None


@dataclass(frozen=True)
class Demand:
    """What a cylinder asks: m/s, m3/s and pure numbers.

    mean_flow : the swept volume over the time of the intake stroke; peak_flow : bore times the
    greatest piston speed. speed_at_limit : revolutions a second at which the index passes 0.6.
    """

    mean_piston_speed: float
    peak_piston_speed: float
    mean_flow: float
    peak_flow: float
    mach_index: float
    coefficient: float
    speed_at_limit: float


def names_exhaust(*names: str) -> bool:
    """Return whether a file or a state says by its name that the port is an exhaust's."""
    return any(EXHAUST.search(name) for name in names)


def demand(engine: Engine, sound: float, coefficient: float = TYPICAL_COEFFICIENT) -> Demand:
    """Return what a cylinder asks of its port.

    coefficient : mean flow coefficient on the valves' head area. The inlet Mach index is piston area
    times mean piston speed over valve area, coefficient and speed of sound (C. F. Taylor, The
    Internal-Combustion Engine in Theory and Practice, vol. 1; from memory). Raises InputError.
    """
    check_engine(engine)
    if not 0.02 <= coefficient <= 1.0:
        raise InputError(
            f"a mean flow coefficient of {coefficient:.3g} is not possible", hint="Give one between 0.02 and 1"
        )
    mean = 2.0 * engine.stroke * engine.speed
    peak = mean * _peak_over_mean(engine)
    piston = np.pi / 4.0 * engine.bore**2
    valve = engine.valves * np.pi / 4.0 * engine.valve**2
    index = piston * mean / (valve * coefficient * sound)
    return Demand(
        mean_piston_speed=mean,
        peak_piston_speed=peak,
        mean_flow=piston * mean,
        peak_flow=piston * peak,
        mach_index=float(index),
        coefficient=coefficient,
        speed_at_limit=float(engine.speed * INDEX_LIMIT / index),
    )


def _peak_over_mean(engine: Engine) -> float:
    """Return greatest over mean piston speed, from the crank's geometry."""
    if engine.rod is None:
        return float(np.pi / 2.0)
    angle = np.linspace(0.0, np.pi, LIFT_STEPS)
    crank = engine.stroke / 2.0
    sine = crank * np.sin(angle)
    rate = sine * (1.0 + crank * np.cos(angle) / np.sqrt(engine.rod**2 - sine**2))
    return float(rate.max() * np.pi / engine.stroke)


def check_engine(engine: Engine) -> None:
    """Raise InputError where an engine cannot be."""
    for name, value, low, high, unit in (
        ("bore", engine.bore, 0.01, 1.0, "m"),
        ("stroke", engine.stroke, 0.01, 1.5, "m"),
        ("valve", engine.valve, 0.003, 0.3, "m"),
        ("speed", engine.speed * 60.0, 10.0, 30000.0, "rpm"),
        ("number of cylinders", engine.cylinders, 1, 64, ""),
        ("number of valves", engine.valves, 1, 5, ""),
    ):
        if not low <= value <= high:
            raise InputError(
                f"a {name} of {value:.4g} {unit}".rstrip() + " is not possible for an engine",
                hint="Check the number and its unit",
            )
    if engine.valve > engine.bore:
        raise InputError("the valve is larger than the bore", hint="Check both and their units")
    if engine.rod is not None and engine.rod <= engine.stroke / 2.0:
        raise InputError(
            "the rod is shorter than the crank's throw", hint="Give the rod's length from center to center"
        )


def mean_coefficient(coefficients: np.ndarray, lifts: np.ndarray, highest: float) -> float:
    """Return the mean over a valve's opening of coefficients (n,) on the head's area at lifts (n,).

    The lift is taken to go as the square of a sine up to `highest`; below the first lift the
    coefficient falls to zero in proportion, past the last it stays.
    """
    lift = highest * np.sin(np.linspace(0.0, np.pi, LIFT_STEPS)) ** 2
    at = np.interp(lift, np.concatenate([[0.0], lifts]), np.concatenate([[0.0], coefficients]))
    return float(at.mean())


@dataclass(frozen=True)
class Power:
    """Horsepower, low to high, that a flow could feed; cfm_at_28 a cylinder, and flow_of : whose flow that is."""

    low: float
    high: float
    cfm_at_28: float
    flow_of: str


def power_range(cfm_at_28: float, cylinders: int) -> tuple[float, float]:
    """Return the least and greatest horsepower that a flow (cfm at 28 inH2O a cylinder) could feed.

    A naturally aspirated engine, by two rules of thumb of the trade: an estimate, never a forecast.
    """
    return POWER_RULE_LOW * cfm_at_28 * cylinders, POWER_RULE_HIGH * cfm_at_28 * cylinders
