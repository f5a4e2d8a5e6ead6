"""The best floor of a bend of square section, against a plane channel solved and made best by another model."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse

from portgeo.calming.calm import ENERGY, search_in
from portgeo.core.port import port_from_readings
from portgeo.reshape.grid import moved
from portgeo.reshape.plan import room_for
from portgeo.reshape.solve import plate_energy
from portgeo.reshape.target import Target
from tests.calming.channel import area_between, best_floor, speeds_on_floor
from tests.conftest import elbow_readings

SIDE = 30.0


def all_across(search, room, blend):
    """The same search with bumps that are as deep all across the floor: the cuts of a plane channel."""
    cuts = search.cuts
    n, m = cuts.limit.shape
    floor = np.abs((cuts.grid.share + 2.0) % 4.0 - 4.0) % 4.0
    across = np.abs(cuts.grid.share - 2.0) <= 0.5
    rows = cuts.spread.toarray().reshape(n, m, -1)[:, np.argmin(floor)]
    along = rows[:, rows.max(axis=0) > 0.4]  # one bump at each station: that in the middle of the floor
    along = along / along.sum(axis=1).max()
    spread = sparse.csr_matrix(np.kron(along, across[:, None].astype(float)))
    most = np.full(along.shape[1], cuts.limit[:, across].min())
    held = sparse.csr_matrix((n * m, 0))
    # The price on bending, of the bumps as they run along.
    columns = np.arange(0, m, 5)
    plate, bed = (plate_energy(cuts.grid, room.rows, columns, fade) for fade in (blend, 0.0))
    nodes = np.kron(along[room.rows], np.ones((len(columns), 1)))
    energy = sparse.csc_matrix(ENERGY * across.mean() * (nodes.T @ (plate - bed) @ nodes))
    return replace(search, cuts=replace(cuts, spread=spread, most=most, held=held), energy=energy)


@pytest.mark.nightly
def test_the_best_floor_of_a_square_bend_is_that_of_a_plane_channel():
    port = port_from_readings(elbow_readings(SIDE, SIDE, 0.6, (36.0, 36.0), 30.0, 70.0))
    target = Target(blend=12.0, symmetric=True, greatest_depth=4.0)
    room = room_for(port, target)
    search = all_across(search_in(port, 0.1, target, room, slowing=0.0), room, target.blend)
    metal = 70.0 * SIDE
    best = search.best(search.at(np.zeros(len(search.cuts.most))), metal)[0]
    grid = search.cuts.grid
    m = grid.lean.shape[1]
    today, then = (
        grid.in_space(outlines)[:, [m // 2, 0]][..., [0, 2]] for outlines in (grid.outlines, moved(grid, best.travel))
    )
    (floor, roof), ours = (today[:, 0], today[:, 1]), then[:, 0]
    before = speeds_on_floor(floor, roof).max()
    area = area_between(floor, ours)
    _, theirs = best_floor(floor, roof, area, np.linspace(0.0, 1.0, 19), 4.0)
    mine = speeds_on_floor(ours, roof).max()
    print(f"channel: before {before:.5f}, ours {mine:.5f}, theirs {theirs:.5f}, area {area:.1f}")
    assert theirs < 0.9 * before
    assert mine < 1.03 * theirs
