"""How speeds change as the wall moves, against finite differences of the same solution."""

import numpy as np
import pytest
from scipy import sparse

from portgeo.flow.grid import Grid
from portgeo.flow.potential import solve, wall_speed
from portgeo.flow.sensitivity import speeds
from tests.calming.test_search import random_cuts


@pytest.fixture(scope="module")
def laid(search, start):
    return search.grids.laid(start.travel)[0]


def test_the_speeds_are_those_of_the_other_solver(laid):
    iterated = wall_speed(laid.wall, solve(laid).values[:, laid.pattern.wall])
    assert speeds(laid).speed == pytest.approx(iterated, rel=1e-7, abs=1e-9)


def test_changes_of_speed_are_the_differences_of_two_solutions(laid):
    nodes = laid.nodes
    ways = np.random.default_rng(3).normal(size=(nodes.size, 2))
    found = speeds(laid, sparse.csr_matrix(ways))
    for k in range(2):
        off = 1e-5 * ways[:, k].reshape(nodes.shape)
        there, back = (speeds(Grid(nodes + sign * off, laid.pattern)).speed for sign in (1.0, -1.0))
        differences = (there - back) / 2e-5
        assert np.abs(found.change[..., k] - differences).max() < 1e-6 * np.abs(differences).max()


def test_the_speed_aimed_at_changes_as_grids_laid_anew_have_it(search, start):
    # Inside, a grid laid anew sets its nodes a little otherwise than those of the old one follow the wall.
    for way in random_cuts(search, 2, seed=1):
        term = start.terms[0]
        weight = term.weights * np.exp(term.sharp * (term.values - term.values.max()))
        slope = float(weight @ (term.slopes @ way)) / float(weight.sum())
        ahead, behind = (search.at(step * way).terms[0].soft_maximum for step in (0.01, -0.01))
        assert slope == pytest.approx((ahead - behind) / 0.02, rel=0.02, abs=5e-4)


def test_the_metal_changes_as_the_mesh_has_it(search, start):
    way = np.random.default_rng(5).random(len(search.cuts.most))
    there, back = (search.at(start.amount + step * way).metal for step in (0.01, -0.01))
    assert float(start.metal_slope @ way) == pytest.approx((there - back) / 0.02, rel=1e-4)
