"""An opening's area is the tube's, whatever its end is like: domed, waved, chipped, rough. Truth is closed form."""

import numpy as np
import pytest

from portgeo.core.port import Port
from portgeo.measuring import Survey, survey
from portgeo.scan import port_from_scan
from tests.scan import molds
from tests.scan.make import Scan


def end_areas(scan: Scan, mold: molds.Mold) -> tuple[Port, Survey, np.ndarray]:
    """The port, its survey, and how far its two openings' areas are off, as shares."""
    port = port_from_scan(scan.vertices, scan.faces)
    measured = survey(port)
    truth = mold.area(np.array([0.0, mold.length]))
    if np.linalg.norm(port.to_source(np.zeros(3)) - scan.placed(np.zeros(3))) > mold.length / 4:
        truth = truth[::-1]
    return port, measured, measured.area[[0, -1]] / truth - 1.0


def both_ends(scan: Scan, made, *arguments) -> Scan:
    for at_exit in (False, True):
        scan = made(scan, *arguments[:2], at_exit, *arguments[2:])
    return scan


@pytest.mark.parametrize("height", [0.05, -0.3, pytest.param(0.3, marks=pytest.mark.nightly)])
def test_a_domed_end_has_the_area_of_its_tube(height):
    rng = np.random.default_rng(1)
    mold = molds.random_mold(rng)
    scan = molds.scanned(both_ends(molds.tube(mold, 0.9), molds.domed, mold, height), 0.02, rng)
    port, measured, off = end_areas(scan, mold)
    assert np.abs(off).max() < 0.0015
    assert measured.length == pytest.approx(mold.length, abs=0.05)
    told = [w for w in port.warnings if w.code == "end_not_flat"]
    assert len(told) == (2 if abs(height) > 0.1 else 0)
    for notice in told:  # seen over all but its highest and lowest fiftieth
        assert notice.values["band"] == pytest.approx(abs(height), rel=0.2)


@pytest.mark.parametrize("height", [0.2, *(pytest.param(h, marks=pytest.mark.nightly) for h in (0.05, 0.12))])
def test_a_waved_end_has_the_area_of_its_tube(height):
    rng = np.random.default_rng(2)
    mold = molds.random_mold(rng)
    scan = molds.scanned(both_ends(molds.tube(mold, 0.9), molds.waved, mold, height, rng), 0.02, rng, white=1.0)
    _, measured, off = end_areas(scan, mold)
    assert np.abs(off).max() < 0.002
    assert measured.length == pytest.approx(mold.length, abs=0.1)


@pytest.mark.parametrize("white", [0.3, pytest.param(1.0, marks=pytest.mark.nightly)])
def test_a_rough_flat_end_has_the_area_of_its_tube(white):
    rng = np.random.default_rng(3)
    mold = molds.random_mold(rng)
    _, measured, off = end_areas(molds.scanned(molds.tube(mold, 0.9), 0.05, rng, white=white), mold)
    assert np.abs(off).max() < 0.003
    assert measured.length == pytest.approx(mold.length, abs=0.05)


@pytest.mark.parametrize(
    ("seed", "depth"), [(6, 2.4), *(pytest.param(*each, marks=pytest.mark.nightly) for each in ((4, 1.0), (5, 1.7)))]
)
def test_a_chipped_end_is_carried_on_from_where_it_is_whole(seed, depth):
    rng = np.random.default_rng(seed)
    mold = molds.random_mold(rng)
    scan = molds.scanned(both_ends(molds.tube(mold, 0.9), molds.chipped, mold, depth, rng), 0.02, rng)
    _, measured, off = end_areas(scan, mold)
    u = measured.area_u[[0, -1]] / measured.area[[0, -1]]
    assert (np.abs(off) < 3.0 * u).all()
    assert np.abs(off).max() < 0.006
    assert u.max() < 0.025
    assert measured.volume == pytest.approx(mold.volume, rel=5e-4)
    assert measured.length == pytest.approx(mold.length, abs=0.1)
