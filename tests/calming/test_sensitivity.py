"""How speeds change as the wall moves, against finite differences of the same solution."""

import numpy as np
import pytest
from scipy import sparse

from portgeo.flow.grid import Grid
from portgeo.flow.potential import solve, wall_speed
from portgeo.flow.sensitivity import wall_flow
from tests.calming.terms import slope_of, value_of
from tests.calming.test_search import random_cuts


@pytest.fixture(scope="module")
def laid(search, start):
    return search.grids.laid(start.travel)


def test_the_speeds_are_those_of_the_other_solver(laid):
    iterated = wall_speed(laid.wall, solve(laid).values[:, laid.pattern.wall])
    assert wall_flow(laid).speed == pytest.approx(iterated, rel=1e-7, abs=1e-9)


def test_changes_of_speed_are_the_differences_of_two_solutions(laid):
    nodes = laid.nodes
    ways = np.random.default_rng(3).normal(size=(nodes.size, 2))
    change = wall_flow(laid).change(sparse.csr_matrix(ways))
    for k in range(2):
        off = 1e-5 * ways[:, k].reshape(nodes.shape)
        there, back = (wall_flow(Grid(nodes + sign * off, laid.pattern)).speed for sign in (1.0, -1.0))
        differences = (there - back) / 2e-5
        assert np.abs(change[..., k] - differences).max() < 1e-6 * np.abs(differences).max()


def test_the_aim_changes_as_its_differences_have_it(search, start):
    # The 1 %, of the whole aim and of each of its terms, at an uncut wall and at a cut one.
    for place in (start, search.at(np.minimum(0.3, search.cuts.most))):
        for way in random_cuts(search, 3, seed=1):
            ahead, behind = (search.at(place.amount + step * way) for step in (1e-4, -1e-4))
            for k, term in enumerate(place.terms):
                slope = float(slope_of([term]) @ way)
                differences = term.share * (ahead.terms[k].soft_maximum - behind.terms[k].soft_maximum) / 2e-4
                assert slope == pytest.approx(differences, rel=0.01, abs=1e-6)


def test_the_metal_changes_as_the_mesh_has_it(search, start):
    way = np.random.default_rng(5).random(len(search.cuts.most))
    there, back = (search.at(start.amount + step * way).metal for step in (0.01, -0.01))
    assert float(start.metal_slope @ way) == pytest.approx((there - back) / 0.02, rel=1e-4)


def test_the_slope_back_is_the_change_forward(laid):
    rng = np.random.default_rng(4)
    flow = wall_flow(laid)
    ways, weights = rng.normal(size=(laid.nodes.size, 3)), rng.normal(size=flow.speed.shape)
    forward = np.einsum("np,npw->w", weights, flow.change(sparse.csr_matrix(ways)))
    np.testing.assert_allclose(flow.slope(weights) @ ways, forward, rtol=1e-8)


def test_the_aim_is_that_of_its_terms_and_changes_as_they_do(search, start):
    speed = start.flow.speed[search.grids.inside]
    assert search.aim.value(speed) == pytest.approx(value_of(start.terms), rel=1e-12)
    weights = np.zeros(start.flow.speed.shape)
    weights[search.grids.inside] = search.aim.by_speed(speed)
    slope = start.flow.slope(weights) @ (search.grids.follow @ search.cuts.spread)
    assert np.abs(slope - slope_of(start.terms)).max() < 1e-3 * np.abs(slope).max()  # the terms leave 1e-5 out
