"""A runner's rounded mouth reads its own radius at every hour of the clock, and a square end reads none."""

import numpy as np
import pytest

from portgeo.measuring.flare import flare
from portgeo.scan import port_from_scan
from tests.scan import make


@pytest.mark.parametrize(("noise", "share"), [(0.0, 0.01), (0.03, 0.1)])
def test_a_rounded_mouth_reads_its_radius_and_a_square_end_none(noise, share):
    scan = make.roughened(make.runner_mouth(6.0, 1.0), noise, np.random.default_rng(1))
    port = port_from_scan(scan.vertices, scan.faces)
    assert port.to_source(np.zeros(3))[2] == pytest.approx(0.0, abs=0.1)  # the mouth is the larger end
    assert flare(port).radius == pytest.approx(np.full(12, 6.0), rel=share)
    assert np.isnan(flare(port, at_exit=True).radius).all()
