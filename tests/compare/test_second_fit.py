"""Straight ports fit their cut state in more than one place: what is told then, and what settles it.

Truth is closed form: a rounded rectangle of width w, height h and corner r has the area w h - (4 - pi) r^2, and a
wall that moved out by d along its whole length took w d off; the meshes are manifold3d's.
"""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from portgeo.comparing.comparison import Comparison, compare_ports
from portgeo.core.port import Port
from portgeo.present.text.compare import comparison_text
from portgeo.results.changed import Changed
from portgeo.scan import ScanOptions, port_from_scan
from tests.compare.cuts import cut_mold, removed_and_added, step
from tests.compare.test_scans import SHAPE, read, rough
from tests.scan import make, molds
from tests.scan.odd_molds import straight_of

WIDTH, HEIGHT, CORNER, LENGTH = 30.0, 42.0, 6.0, 70.0
NOISE_MM = 0.03


def straight(floor: float, roof: float, seed: int, edge: float = 1.6, *, posed: bool = True) -> Port:
    """A scan of a straight port whose floor and roof were opened by so many mm."""
    rng = np.random.default_rng(seed)
    core = (WIDTH - 2.0 * CORNER, HEIGHT + floor + roof - 2.0 * CORNER)
    section = manifold3d.CrossSection.square(core, True).offset(CORNER, manifold3d.JoinType.Round, 2.0, 64)
    scan = molds.scanned(straight_of(section.translate((0.0, (roof - floor) / 2.0)), LENGTH, edge), NOISE_MM, rng)
    scan = make.posed(scan, make.random_pose(rng) if posed else np.eye(4))
    entry, exit_, up, middle = scan.placed(np.array([[0, 0, 0], [LENGTH, 0, 0], [0, 0, 1], [0, 0, 0]], dtype=float))
    return port_from_scan(scan.vertices, scan.faces, ScanOptions(entry, exit_, up - middle))


def codes(found: Comparison) -> list[str]:
    return [notice.code for notice in found.warnings]


@pytest.fixture(scope="module")
def stock() -> Port:
    return straight(0.0, 0.0, 1, posed=False)


@pytest.fixture(scope="module")
def alike(stock) -> Comparison:
    """Floor and roof both opened by half a millimetre."""
    return compare_ports(stock, straight(0.5, 0.5, 2, 1.5))


def errors_of(found: Comparison, floor: float, roof: float) -> tuple[np.ndarray, np.ndarray]:
    """Errors in their own u: of roof, floor, both, the deepest and the net (5,), and of two walls by row (2, n)."""
    assert "fits_in_two_places" in codes(found)
    taken = WIDTH * LENGTH
    # Moved up or down as a whole, the port holds as much.
    total = (floor + roof) * taken
    by_row = []
    off = [
        (found.removed - total) / found.removed_u,
        (found.depth.deepest - max(floor, roof)) / found.depth_u,
        (found.net - total) / found.net_u,
    ]
    for name, row, depth in (("floor", 1, floor), ("roof", 0, roof)):
        wall = found.walls[name]
        off.insert(0, (wall.removed - depth * taken) / wall.removed_u)
        by_row.append((getattr(found.rows, name) - depth) / found.row_depth_u[:, row])
    return np.abs(off), np.abs(by_row)


@pytest.mark.nightly
def test_a_straight_port_does_not_tell_floor_from_roof(alike):
    off, by_row = errors_of(alike, 0.5, 0.5)
    assert off[:4].max() < 2.0 and off[4] < 3.0
    assert (by_row < 2.0).mean(axis=1).min() > 0.9
    # And no less sure than is of use, on a cut of an ordinary depth.
    total = WIDTH * LENGTH
    assert max(2.0 * alike.walls[name].removed_u for name in ("floor", "roof")) < 1.5 * total
    assert max(2.0 * alike.removed_u, 3.0 * alike.net_u) < 0.12 * total


@pytest.mark.nightly
def test_many_straight_ports_do_not_tell_floor_from_roof(stock):
    """JCGM 100: two standard uncertainties hold 19 times in 20; here five figures of each of twelve ports."""
    off, by_row = [], []
    for seed in range(2, 14):
        floor, roof = np.random.default_rng(seed).uniform(0.15, 0.9, 2) * [1.0, seed % 3 > 0]
        errors = errors_of(compare_ports(stock, straight(floor, roof, seed, 1.5)), floor, roof)
        off.extend(errors[0])
        by_row.extend(errors[1].ravel())
    assert np.mean(np.array(off) < 2.0) > 0.9 and np.max(off) < 3.0
    assert np.mean(np.array(by_row) < 2.0) > 0.9


@pytest.mark.nightly
def test_what_is_told_of_two_places(alike):
    found = alike
    told = comparison_text(Changed.of(found, 2.68), "", "aluminum")
    assert "which wall was cut is not certain" in " ".join(told.split())
    other = Changed.of(found, 2.68).to_dict()["alignment"]["other_fits"]
    assert len(other) == 1
    assert {other[0]["agrees_here"], other[0]["agrees_there"]} == {"floor", "roof"}
    assert other[0]["apart_mm"] == pytest.approx(1.0, abs=0.05)


@pytest.mark.nightly
def test_wall_that_nobody_cut_settles_it(stock):
    """A box round the roof, or both files in one frame."""
    box = np.array([[[5.0, -8.0, 15.0], [LENGTH - 5.0, 8.0, 25.0]]])
    found = compare_ports(stock, straight(0.9, 0.0, 2, 1.5), "fixed", boxes=box, faces=("entry",))
    assert "fits_in_two_places" not in codes(found)
    assert np.abs(found.rows.floor - 0.9).max() < 0.1
    assert np.abs(found.rows.roof).max() < 0.1
    assert found.walls["floor"].mean_u < 0.03
    framed = compare_ports(stock, straight(0.5, 0.5, 3, 1.5, posed=False), "none")
    assert "fits_in_two_places" not in codes(framed)
    for name in ("floor", "roof"):
        assert np.abs(getattr(framed.rows, name) - 0.5).max() < 0.1


@pytest.mark.nightly
def test_a_naming_that_holds_nothing_settles_nothing(stock):
    """The entry's plane holds a straight port along its length and no other way."""
    found = compare_ports(stock, straight(0.5, 0.5, 2, 1.5), "fixed", faces=("entry",))
    assert "fits_in_two_places" in codes(found)
    assert found.walls["floor"].removed_u > 0.3 * WIDTH * LENGTH


def test_openings_tell_of_a_port_that_turns():
    """Floor and roof both opened by half a millimetre, square to the wall; the two planes stand 70 degrees apart."""

    def depths(s, turn):
        return 0.5 * step((0.16 - np.abs((turn + 0.25) % 0.5 - 0.25)) / 0.05) * np.ones_like(s)

    shape = replace(SHAPE, width=(30.0, 34.0), height=(46.0, 36.0), middle=(32.0, 40.0, 3.0))
    found = compare_ports(read(rough(shape, 1.4, 1), shape), read(rough(cut_mold(shape, depths), 1.3, 2), shape))
    assert "told_by_openings" in codes(found)
    assert "fits_in_two_places" not in codes(found)
    for row, name in enumerate(("roof", "floor")):
        off = np.abs(getattr(found.rows, name) - 0.5)
        assert off.max() < 0.12
        assert (off < 2.0 * found.row_depth_u[:, row]).mean() > 0.8
        assert found.row_depth_u[:, row].max() < 0.1
    removed, _ = removed_and_added(shape, depths)
    assert abs(found.removed - removed) < 2.0 * found.removed_u < 0.08 * removed
