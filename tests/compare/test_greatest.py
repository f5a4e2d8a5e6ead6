"""The greatest of a surface read with noise, against surfaces of closed form: level ones, and rounds of any width."""

import numpy as np
import pytest

from portgeo.comparing.greatest import greatest_of

NOISE_MM, REACH_MM = 0.05, 6.0  # of the waves; a third as much is white
CASES, MANY = 8, 24


def read(rng: np.random.Generator, radius: float | None) -> tuple[float, float, float]:
    """How far the greatest is off, its u and how far the greatest reading is off, on 8 mm by 12 mm of wall.

    radius : of a ball that the surface is part of, mm, its top anywhere on it; None for a level one.
    """
    places = np.column_stack([rng.uniform(-4.0, 4.0, 70), rng.uniform(-6.0, 6.0, 70), np.zeros(70)])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    noise = NOISE_MM**2 * np.exp(-apart / REACH_MM) + (NOISE_MM / 3.0) ** 2 * np.eye(70)
    surface = np.zeros(70)
    if radius is not None:
        top = rng.uniform(-2.0, 2.0, 2)
        surface = np.sqrt(radius**2 - ((places[:, :2] - top) ** 2).sum(axis=1)) - radius
    readings = surface + np.linalg.cholesky(noise) @ rng.standard_normal(70)
    found = greatest_of(places, readings, noise)
    return found.value - surface.max(), found.u, readings.max() - surface.max()


@pytest.mark.parametrize("radius", [None, 60.0])
def test_noise_adds_nothing_to_the_greatest(radius):
    assert_nothing_added(radius, CASES)


@pytest.mark.nightly
@pytest.mark.parametrize("radius", [None, 25.0, 60.0])
def test_noise_adds_nothing_to_the_greatest_in_many_trials(radius):
    assert_nothing_added(radius, MANY)


def assert_nothing_added(radius, cases):
    off, u, plain = np.array([read(np.random.default_rng(seed), radius) for seed in range(cases)]).T
    assert np.mean(off**2) < np.mean(plain**2)
    if radius is None:  # where no place is the deepest, the greatest reading is far too great
        assert plain.mean() > NOISE_MM
    assert abs(off.mean()) < 0.02
    assert np.sqrt(np.mean((off / u) ** 2)) < 1.4
    assert u.max() < 1.2 * NOISE_MM
