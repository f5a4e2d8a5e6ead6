"""Scans of tubes with several bends: each is told by itself, whatever plane it lies in. Truth: R - d / 2."""

import numpy as np
import pytest

from portgeo.measuring import Survey, survey
from portgeo.scan import port_from_scan
from tests.scan import chains, make, molds

TUBES = {"S": chains.S_BEND, "two": chains.TWO_BENDS, "sideways and down": chains.SIDEWAYS_AND_DOWN}


def bends_of(scan: make.Scan, tube: chains.Chain) -> tuple[Survey, list[tuple[float, float, float]]]:
    """The survey, and for each bend of the tube its true radius, the one told, and its uncertainty."""
    port = port_from_scan(scan.vertices, scan.faces)
    found = survey(port)
    forward = np.linalg.norm(port.to_source(np.zeros(3))) < tube.length / 4.0
    told = [(bend.short.radius, bend.short.radius_u) for bend in found.bends]
    assert len(told) == len(tube.turns)
    true = tube.inner_radii if forward else tube.inner_radii[::-1]
    return found, [(radius, *each) for radius, each in zip(true, told, strict=True)]


@pytest.mark.parametrize("name", TUBES)
def test_each_bend_of_a_clean_scan_has_its_radius(name):
    tube = TUBES[name]
    found, bends = bends_of(make.tube(tube, 1.2), tube)
    assert found.volume == pytest.approx(tube.volume, rel=2e-4)
    for true, told, _ in bends:
        assert told == pytest.approx(true, rel=0.002)


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.nightly)])
@pytest.mark.parametrize("name", TUBES)
def test_each_bend_of_a_rough_scan_is_within_its_uncertainty(name, seed):
    """Two bends in each scan; JCGM 100: two standard uncertainties hold 19 times in 20."""
    tube = TUBES[name]
    scan = molds.scanned(make.tube(tube, 1.1), 0.025, np.random.default_rng(seed))
    found, bends = bends_of(scan, tube)
    assert abs(found.volume - tube.volume) < 2.0 * found.volume_u
    for true, told, u in bends:
        assert abs(told - true) < 2.5 * u
        assert told == pytest.approx(true, rel=0.03)
        assert u < 0.03 * true
