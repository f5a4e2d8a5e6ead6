"""What an engine asks of its port."""

import numpy as np
import pytest

from portgeo.core.errors import InputError
from portgeo.flow.demand import Engine, demand, mean_coefficient, power_range

ENGINE = Engine(bore=0.0889, stroke=0.0813, speed=125.0, cylinders=4, valve=0.0445)
SOUND = 340.294


def test_mean_piston_speed_and_index():
    found = demand(ENGINE, SOUND, 0.35)
    assert found.mean_piston_speed == pytest.approx(2.0 * 0.0813 * 125.0)
    # Piston area over valve area, by their diameters.
    assert found.mach_index == pytest.approx((0.0889 / 0.0445) ** 2 * 20.325 / (0.35 * SOUND))
    at_limit = Engine(0.0889, 0.0813, found.speed_at_limit, 4, 0.0445)
    assert demand(at_limit, SOUND, 0.35).mach_index == pytest.approx(0.6)


def test_peak_demand_of_long_and_short_rods():
    """A long rod moves the piston as a cosine, peak pi/2 of the mean; a short one goes faster."""
    long = demand(ENGINE, SOUND)
    assert long.peak_flow / long.mean_flow == pytest.approx(np.pi / 2.0)
    rod = 0.14
    short = demand(Engine(0.0889, 0.0813, 125.0, 4, 0.0445, rod=rod), SOUND)
    angle = np.linspace(0.0, np.pi, 200001)
    crank = 0.0813 / 2.0
    place = crank * np.cos(angle) + np.sqrt(rod**2 - (crank * np.sin(angle)) ** 2)
    greatest = np.abs(np.gradient(place, angle)).max() * 2.0 * np.pi * 125.0
    assert short.peak_piston_speed == pytest.approx(greatest, rel=1e-4)


def test_two_small_valves_as_one():
    two = demand(Engine(0.0889, 0.0813, 125.0, 4, 0.0445 / np.sqrt(2.0), valves=2), SOUND)
    assert two.mach_index == pytest.approx(demand(ENGINE, SOUND).mach_index)


def test_mean_coefficient_of_a_constant_and_of_a_ramp():
    assert mean_coefficient(np.array([0.0, 0.4]), np.array([1e-6, 2e-6]), 10.0) == pytest.approx(0.4, rel=1e-2)
    # The mean of sin^2 is a half.
    assert mean_coefficient(np.array([0.5]), np.array([10.0]), 10.0) == pytest.approx(0.25, rel=2e-3)


def test_power_is_a_range_below_the_rule():
    low, high = power_range(200.0, 4)
    assert high == pytest.approx(0.26 * 800.0)  # common practice, no source
    assert low < high


@pytest.mark.parametrize(
    "change", [{"bore": 0.0}, {"stroke": -0.08}, {"speed": 0.0}, {"valve": 0.1}, {"cylinders": 0}, {"rod": 0.03}]
)
def test_an_engine_that_cannot_be(change):
    values = {"bore": 0.0889, "stroke": 0.0813, "speed": 125.0, "cylinders": 4, "valve": 0.0445} | change
    with pytest.raises(InputError):
        demand(Engine(**values), SOUND)
