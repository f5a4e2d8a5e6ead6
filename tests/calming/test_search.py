"""The best cut for its metal: against other cuts of the same metal, other starts, and the limits."""

from dataclasses import replace

import numpy as np
import pytest

from portgeo.calming.calm import search_in
from portgeo.core.port import port_from_readings
from portgeo.flow.sensitivity import wall_flow
from portgeo.reshape.grid import areas_after
from portgeo.reshape.plan import plan_cut, room_for
from portgeo.reshape.target import Keep, ShortSideWanted, Target
from tests.calming.conftest import FLOW
from tests.calming.terms import value_of
from tests.conftest import elbow_readings

METAL = 400.0  # mm3


@pytest.fixture(scope="module")
def best(search, start):
    return search.best(start, METAL)[0]


def scaled_to(search, amount, metal):
    """Amounts of one shape, as much of it as takes so much metal; nothing over its bound."""
    low, high = 0.0, 50.0
    for _ in range(20):
        middle = (low + high) / 2.0
        taken = search.cuts.metal(search.cuts.travel(np.minimum(middle * amount, search.cuts.most)))[0]
        low, high = (middle, high) if taken < metal else (low, middle)
    return np.minimum(low * amount, search.cuts.most)


def random_cuts(search, count, seed):
    """Cuts of the kinds a person would try: spots of some width, and the whole wall a little, at random."""
    rng = np.random.default_rng(seed)
    tops = search.cuts.spread.argmax(axis=0)
    rows, columns = np.divmod(np.asarray(tops).ravel(), search.cuts.grid.lean.shape[1])
    points = search.cuts.grid.points[rows, columns]
    for _ in range(count):
        amount = np.zeros(len(points))
        for _ in range(rng.integers(1, 5)):
            away = np.linalg.norm(points - points[rng.integers(len(points))], axis=1)
            amount += rng.random() * np.exp(-((away / rng.uniform(4.0, 30.0)) ** 2))
        yield amount


def aim_at(search, travel_amount):
    place = search.at(travel_amount)
    return value_of(place.terms)


@pytest.mark.nightly
@pytest.mark.parametrize("count", [200])
def test_no_other_cut_of_the_same_metal_does_better(search, best, count):
    mine = aim_at(search, best.amount)
    for amount in random_cuts(search, count, seed=11):
        other = scaled_to(search, amount, METAL)
        assert mine < 1.01 * aim_at(search, other)


@pytest.mark.nightly
def test_no_cut_to_a_radius_does_better(search, start, port, target):
    lowest = value_of(start.terms)
    for radius in (9.0, 11.0, 13.0):
        plan = plan_cut(port, replace(target, short_side=ShortSideWanted(radius)))
        speed = wall_flow(search.grids.laid(plan.travel)).speed[search.grids.inside]
        theirs = search.aim.value(speed)
        mine = aim_at(search, search.best(start, max(plan.removed, 1.0))[0].amount)
        assert mine < 1.01 * min(theirs, lowest)


@pytest.mark.nightly
@pytest.mark.parametrize("count", [10])
def test_where_the_search_starts_does_not_matter(search, best, count):
    for amount in random_cuts(search, count, seed=7):
        found = search.best(search.at(scaled_to(search, amount, 0.9 * METAL)), METAL)[0]
        assert found.aim == pytest.approx(best.aim, rel=0.02)
        assert np.abs(found.travel - best.travel).max() < 0.05


@pytest.mark.nightly
def test_the_grid_does_not_matter(port, target, room):
    # Three grids of the search's own fineness and finer: cells of 2.8, 2.1 and 1.7 mm.
    found, cells = [], set()
    for unknowns in (12_000, 30_000, 60_000):
        search = search_in(port, FLOW, target, room, unknowns=unknowns)
        cells.add(search.grids.today.nodes.shape)
        found.append(search.best(search.at(np.zeros(len(search.cuts.most))), METAL)[0])
        off = np.abs(found[-1].travel - found[0].travel).max()
        print(f"{search.grids.today.nodes.shape}: aim {found[-1].aim:.5f}, off {off:.4f} mm")
    assert len(cells) == 3
    for other in found[:-1]:
        assert other.aim == pytest.approx(found[-1].aim, rel=0.02)
        assert np.abs(other.travel - found[-1].travel).max() < 0.05


@pytest.mark.parametrize("digit", [1e-12, -1e-12])
def test_last_digits_do_not_matter(search, start, digit):
    one, other = (search.best(replace(start, metal=start.metal + off), METAL)[0] for off in (0.0, digit))
    assert other.aim == pytest.approx(one.aim, rel=1e-4)
    assert np.abs(other.travel - one.travel).max() < 0.05


def test_a_throat_is_held_when_asked(port, target, room):
    held, free = (search_in(port, FLOW, target, room, unknowns=2500, hold_throat=hold) for hold in (True, False))
    found = [each.best(each.at(np.zeros(len(each.cuts.most))), 800.0)[0] for each in (held, free)]
    row = int(np.flatnonzero(np.isfinite(held.ceiling))[0])
    kept, opened = (areas_after(room.grid, each.travel)[row] / room.grid.areas[row] for each in found)
    assert kept < 1.001 < opened


@pytest.mark.nightly
def test_more_metal_never_does_worse(search, start):
    place, aims = start, [start.aim]
    for metal in (150.0, 600.0):
        place, _ = search.best(place, metal)
        assert place.metal <= metal * 1.005
        aims.append(place.aim)
    assert np.all(np.diff(aims) < 1e-4)


LIMITS = [
    Target(walls=("floor",), blend=9.0, greatest_depth=0.4, symmetric=True),
    Target(keep=(Keep("boss", 60.0, 80.0, 4.0, 6.0),), start=40.0, symmetric=True, blend=14.0),
]


@pytest.mark.parametrize("target", LIMITS, ids=["walls", "keep"])
def test_no_limit_is_passed(port, target):
    room = room_for(port, target)
    search = search_in(port, FLOW, target, room, unknowns=2500)
    found = search.best(search.at(np.zeros(len(search.cuts.most))), METAL)[0]
    assert found.travel.max() > 0.05
    assert (found.travel - room.limit).max() <= 1e-9
    assert found.travel.min() >= -1e-9


@pytest.mark.nightly
def test_no_limit_is_passed_in_a_hundred_problems(port):
    rng = np.random.default_rng(17)
    for _ in range(100):
        low, high = np.sort(rng.uniform(0.0, 108.0, 2))
        low, high = (low, high) if high - low > 40.0 else (10.0, 100.0)
        clock = rng.uniform(0.0, 12.0)
        keep = Keep(
            "kept", rng.uniform(0.0, 60.0), rng.uniform(65.0, 100.0), clock, (clock + rng.uniform(1.0, 5.0)) % 12.0
        )
        target = Target(
            greatest_depth=rng.uniform(0.1, 3.0), blend=rng.uniform(9.0, 14.0), symmetric=True, keep=(keep,),
            start=low, end=high,
        )  # fmt: skip
        room = room_for(port, target)
        search = search_in(port, FLOW, target, room, unknowns=2500)
        if len(search.cuts.most):
            found = search.best(search.at(np.zeros(len(search.cuts.most))), rng.uniform(50.0, 1500.0))[0]
            assert (found.travel - room.limit).max() <= 0.005
            assert found.travel.min() >= -1e-9


@pytest.mark.nightly
def test_a_least_speed_holds_the_areas(port, target, room):
    free = search_in(port, FLOW, target, room, unknowns=2500)
    start = free.at(np.zeros(len(free.cuts.most)))
    row = int(np.argmax(areas_after(free.cuts.grid, free.best(start, 1500.0)[0].travel) - free.cuts.grid.areas))
    ceiling = np.where(np.arange(len(free.ceiling)) == row, free.cuts.grid.areas[row] * 1.005, free.ceiling)
    held = replace(free, ceiling=ceiling)
    found = held.best(start, 1500.0)[0]
    assert areas_after(free.cuts.grid, found.travel)[row] <= ceiling[row] * 1.001


def test_limits_that_hold_the_whole_wall_leave_no_cut():
    port = port_from_readings(elbow_readings(36, 30, 4, (30, 30), 30, 80))
    target = Target(keep=(Keep("all of it", 0.0, 200.0),))
    assert len(search_in(port, FLOW, target, room_for(port, target), unknowns=2500).cuts.most) == 0
